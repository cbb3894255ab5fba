"""What an invented record is, as data: tempo, key, sections, and who plays what in them. No sound.

Conventions
-----------
- Bars count from 1 and have four beats; every section is a whole number of bars.
- A scale degree is 1 for the tonic and 8 for the octave above it; 0 and below lie under the tonic.
- A melody is written in eighths: a degree starts a note, `-` holds it, `.` rests; `|` is for the eye.
- A drum bar is written in sixteenths: `X` loud, `x` medium, `o` soft, `.` nothing.
- All times are computed from the first beat and rounded to a frame once.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from render.values import Grid, nearest_frame

RATE_HZ = 44_100
BEATS_PER_BAR = 4
EIGHTHS_PER_BAR = 8
TAIL_S = 1.5
"""Room after the last bar for what still rings."""

Part = Literal["kick", "snare", "hats", "ride", "metal", "bass", "pad", "lead", "voice", "riser", "roll"]
Groove = Literal["breaks", "stepper", "two-step", "four-floor", "head-nod"]
BassTone = Literal["round", "growl"]
LeadTone = Literal["reed", "bell"]

Curve = npt.NDArray[np.float64]
"""Shape (frames,) or (points,): a time axis or something that is controlled over time."""

NOTE_NAMES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SCALES = {"minor": (0, 2, 3, 5, 7, 8, 10), "major": (0, 2, 4, 5, 7, 9, 11)}


@dataclass(frozen=True)
class Section:
    """A stretch of whole bars and the parts that play in it.

    `level_db` sets the pitched parts against the drop; `swell_db` is how much they grow until the end.
    """

    name: str
    bars: int
    parts: tuple[Part, ...]
    level_db: float = 0.0
    swell_db: float = 0.0


@dataclass(frozen=True)
class Note:
    """One note of a melody, in beats from the melody's start."""

    beat: float
    beats: float
    degree: int


@dataclass(frozen=True)
class Syllable:
    """One sung note: the vowel glides from `vowel` to `towards`; `hiss` puts a breathy consonant before it."""

    beat: float
    beats: float
    degree: int
    vowel: str
    towards: str
    hiss: bool = False


@dataclass(frozen=True)
class DemoRecord:
    """One invented record. `swing` is where the off sixteenth lies in its eighth: 0.5 is straight."""

    name: str
    title: str
    tempo_bpm: float
    first_beat_s: float
    key: str
    groove: Groove
    swing: float
    chords: tuple[int, ...]
    bass_tone: BassTone
    bass_line: str
    lead_tone: LeadTone
    lead_line: str
    sections: tuple[Section, ...]
    drive_db: float
    """Gain of the mix into the soft clip: how loud the record is mastered."""
    seed: int
    song: tuple[Syllable, ...] = ()
    song_bars: int = 8

    @property
    def grid(self) -> Grid:
        return Grid(self.first_beat_s, self.tempo_bpm, BEATS_PER_BAR)

    @property
    def bars(self) -> int:
        return sum(section.bars for section in self.sections)

    @property
    def frames(self) -> int:
        return nearest_frame((self.grid.time_s(self.bars * BEATS_PER_BAR) + TAIL_S) * RATE_HZ)

    def frame_at(self, beat: float) -> int:
        return nearest_frame(self.grid.time_s(beat) * RATE_HZ)

    def placed(self) -> tuple[tuple[int, Section], ...]:
        """Each section with the number of bars before it."""
        bars_before = [sum(s.bars for s in self.sections[:i]) for i in range(len(self.sections))]
        return tuple(zip(bars_before, self.sections, strict=True))

    def bar_of(self, name: str) -> int:
        """The bar, from 1, on which the first section of this name starts. Raises KeyError."""
        for bars_before, section in self.placed():
            if section.name == name:
                return bars_before + 1
        raise KeyError(name)

    @property
    def markers(self) -> dict[str, float]:
        """Where each section starts, in seconds from the start of the recording."""
        return {
            section.name: self.grid.time_s(bars_before * BEATS_PER_BAR)
            for bars_before, section in reversed(self.placed())
        }

    @property
    def drop_s(self) -> float:
        return self.markers["drop"]

    def ranges_s(self, part: Part) -> tuple[tuple[float, float], ...]:
        """The spans, in seconds, of the sections a part plays in; it is silent outside of them."""
        return tuple(
            (
                self.grid.time_s(bars_before * BEATS_PER_BAR),
                self.grid.time_s((bars_before + section.bars) * BEATS_PER_BAR),
            )
            for bars_before, section in self.placed()
            if part in section.parts
        )

    @property
    def voice_s(self) -> tuple[tuple[float, float], ...]:
        """Where somebody sings."""
        return self.ranges_s("voice")

    @property
    def drums_s(self) -> tuple[float, float]:
        """The stripped drum passage: the section called `drums`."""
        start = self.markers["drums"]
        bars = next(section.bars for section in self.sections if section.name == "drums")
        return start, start + bars * BEATS_PER_BAR * self.grid.beat_s


def pitch_hz(key: str, degree: int, lowest_hz: float) -> float:
    """The frequency of a scale degree; degree 1 is the first tonic at or above `lowest_hz`.

    Equal temperament with A at 440 Hz (ISO 16:1975).
    """
    tonic, mode = key.split()
    scale = SCALES[mode]
    octave, step = divmod(degree - 1, len(scale))
    tonic_hz = 440.0 * 2.0 ** ((NOTE_NAMES[tonic] - 9) / 12 - 8)
    while tonic_hz < lowest_hz:
        tonic_hz *= 2.0
    return float(tonic_hz * 2.0 ** (octave + scale[step] / 12))


def notes_of(melody: str) -> tuple[tuple[Note, ...], int]:
    """The notes of a melody and its length in bars."""
    tokens = melody.replace("|", " ").split()
    notes: list[Note] = []
    for eighth, token in enumerate(tokens):
        if token == "-":
            held = notes.pop()
            notes.append(Note(held.beat, held.beats + 0.5, held.degree))
        elif token != ".":
            notes.append(Note(eighth / 2, 0.5, int(token)))
    return tuple(notes), len(tokens) // EIGHTHS_PER_BAR
