"""What is known of a track: data only.

`RecordFacts` is what was measured of a recording. `TrackFacts` is what a plan goes by, fact by fact with where it
came from: stated in the recipe, read from a file of beats beside the record, measured, or assumed.

Conventions
-----------
- Times are seconds from the start of the recording; bars and candidates count from 1.
- Shares and confidences lie between 0 and 1.
- What is kept for each bar begins with bar 1 and holds whole bars only.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Generic, Literal, TypeVar

import numpy as np

from render.values import Grid

T = TypeVar("T")

Origin = Literal["stated", "beside", "measured", "assumed"]

USUAL_PHRASE_BARS = 8
"""Common practice: dance records are built of eight bars; taken where nothing else was heard."""

FACTS_VERSION = 2
"""Raised whenever records are heard differently, or `RecordFacts` is made differently: older ones are measured anew."""


@dataclass(frozen=True)
class Fact(Generic[T]):
    """A value, where it came from, and how sure it is (1.0 for what the performer stated)."""

    value: T
    source: Origin = "stated"
    confidence: float = 1.0


@dataclass(frozen=True)
class Recording:
    """A sound file as it lies on the disk.

    `frames` counts what a listener hears: a decoder's start delay (`delay_frames`, see
    `render.files.audio_files`) is already taken off. `note` is a remark worth a warning, or empty.
    """

    path: str
    format: str
    rate_hz: int
    channels: int
    frames: int
    size_bytes: int
    delay_frames: int = 0
    note: str = ""
    sound_frames: int | None = None
    """How far it is known to be undamaged, where it is known to be damaged from there on."""

    @property
    def duration_s(self) -> float:
        return self.frames / self.rate_hz


@dataclass(frozen=True)
class GivenBeats:
    """Beats that somebody marked, in order; `bar_index` is the first of them that begins a bar, where that is said."""

    times_s: tuple[float, ...]
    bar_index: int | None = None
    beats_per_bar: int | None = None


@dataclass(frozen=True)
class Given:
    """What is known of a record before it is heard; what is None is measured.

    `multiple` counts the measured tempo in half (0.5) or double (2.0) time. `nudge_s` and `shift_beats` move the beats
    and bar 1, whether measured or marked.
    """

    tempo_bpm: float | None = None
    multiple: float = 1.0
    first_beat_s: float | None = None
    nudge_s: float = 0.0
    shift_beats: float = 0.0
    beats_per_bar: int | None = None
    phrase_bars: int | None = None
    beats: GivenBeats | None = None


NOTHING_GIVEN = Given()


@dataclass(frozen=True)
class GridFinding:
    """Where the beats are, and how sure that is.

    `grid.beats_s` is filled where one tempo does not fit. `late` holds, where one does, how many seconds late single
    stretches of the record lie: pairs of beat and seconds, in order.
    """

    grid: Grid
    tempo_confidence: float
    runner_up_bpm: float | None
    fits: bool
    residual_ms: float
    beat_confidence: float
    bar_confidence: float
    phrase_bars: int | None
    phrase_first_bar: int | None
    reasons: tuple[str, ...]
    late: tuple[tuple[float, float], ...] = ()

    def local_time_s(self, beat: float) -> float:
        """When a beat is heard, by the stretch of the record around it."""
        if not self.late:
            return self.grid.time_s(beat)
        beats, late_s = zip(*self.late, strict=True)
        return self.grid.time_s(beat) + float(np.interp(beat, beats, late_s))


@dataclass(frozen=True)
class DropCandidate:
    """A bar line where the record may drop. `why` tells the reasons, the weightiest first."""

    at_s: float
    bar: int
    score: float
    why: tuple[str, ...]


@dataclass(frozen=True)
class KeyCandidate:
    """A key, its score (a correlation, at most 1), and its confidence."""

    name: str
    score: float
    confidence: float


@dataclass(frozen=True)
class StrippedPassage:
    """A passage of little but drums."""

    at_s: float
    bar: int
    bars: int
    score: float

    @property
    def last_bar(self) -> int:
        return self.bar + self.bars - 1


@dataclass(frozen=True)
class RecordLevels:
    """The levels of one record; None where there is nothing to read."""

    integrated_lufs: float | None
    loudness_range_lu: float | None
    true_peak_dbtp: float | None
    sample_peak_dbfs: float | None
    clipped_runs: int


def runs(said: Sequence[bool]) -> list[tuple[int, int]]:
    """The first and the last bar, from 1, of each run of bars that are True."""
    found = []
    for value, together in groupby(enumerate(said, 1), key=lambda bar: bar[1]):
        bars = [bar for bar, _ in together]
        if value:
            found.append((bars[0], bars[-1]))
    return found


@dataclass(frozen=True)
class BarFacts:
    """What each bar holds: one entry a bar in every field.

    `starts_s` has one more, the end of the last bar. `bands_db` are levels in the ten octave bands of
    `render.analysis.bands`, in dB below the record's loudest bar and band.
    """

    starts_s: tuple[float, ...]
    voice: tuple[float, ...]
    voice_confidence: tuple[float, ...]
    voiced: tuple[bool, ...]
    low_end: tuple[float, ...]
    bands_db: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class ByBars:
    """What is heard once it is known where the bars are. `stripped` lies before the likeliest drop."""

    grid: GridFinding
    drops: tuple[DropCandidate, ...]
    keys: tuple[KeyCandidate, ...]
    stripped: tuple[StrippedPassage, ...]
    bars: BarFacts

    @property
    def drop_confidence(self) -> float:
        """The first drop's share of likelihood: scores are log odds (see `render.analysis.drops`)."""
        return 1.0 / sum(math.exp(drop.score - self.drops[0].score) for drop in self.drops)


@dataclass(frozen=True)
class RecordFacts:
    """Everything that was measured of one recording. `by_bars` is None where no beat could be found."""

    duration_s: float
    levels: RecordLevels
    tonal_weight: float
    by_bars: ByBars | None
    version: int = FACTS_VERSION


@dataclass(frozen=True)
class TrackFacts:
    """The facts of one track that a plan goes by. `beats_s` are those of a record whose tempo drifts,
    `drops_s` are the places where it was heard to drop, the likeliest first.
    `voice_s` are the spans in which somebody sings or speaks; None where nobody listened. `warnings` are what a
    performer should know before trusting what was measured.
    """

    name: str
    recording: Recording
    tempo_bpm: Fact[float]
    first_beat_s: Fact[float]
    beats_per_bar: Fact[int]
    drop_s: Fact[float]
    key: Fact[str] | None = None
    beats_s: tuple[float, ...] = ()
    drops_s: tuple[float, ...] = ()
    phrase_bars: Fact[int] | None = None
    tonal_weight: Fact[float] | None = None
    voice_s: Fact[tuple[tuple[float, float], ...]] | None = None
    warnings: tuple[str, ...] = ()

    @property
    def grid(self) -> Grid:
        return Grid(self.first_beat_s.value, self.tempo_bpm.value, self.beats_per_bar.value, self.beats_s)
