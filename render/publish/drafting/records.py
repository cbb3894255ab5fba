"""A record in a draft: what was measured of it, and as which numbers that is written."""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from render.facts import ByBars, DropCandidate, RecordFacts, StrippedPassage
from render.plan.keys import TONAL_FROM
from render.values import Grid, clock

SURE = 0.8
"""Below this a finding is a close call, and a remark says so."""
STRAY_S = 0.0005
"""How far rounding the tempo may move a beat anywhere in the record: half of what a deck's display shows."""
FIRST_BEAT_DIGITS = 4
OFF_GRID_S = 0.001
"""A drop farther than this from its bar's place on the grid is written as a time."""
AROUND_BEATS = 128
"""Of a record in double time, as many may be played before and after its drop."""
_DIGITS = range(7)


@dataclass(frozen=True)
class Place:
    """A place in a record: how it is written, and when it is."""

    written: str
    at_s: float


@dataclass(frozen=True, eq=False)
class Record:
    """One record. `file` is as the recipe names it; `bpm` and `first_beat_s` are as they are written, if at all."""

    name: str
    file: str
    facts: RecordFacts
    by: ByBars
    bpm: float
    first_beat_s: float

    @property
    def drifts(self) -> bool:
        """Whether one tempo does not fit: then tempo and bar 1 are left to be measured, beat by beat."""
        return bool(self.by.grid.grid.beats_s)

    @property
    def grid(self) -> Grid:
        """The grid as it will be read."""
        heard = self.by.grid.grid
        return heard if self.drifts else Grid(self.first_beat_s, self.bpm, heard.beats_per_bar)

    @cached_property
    def tempi_bpm(self) -> tuple[float, float]:
        """The slowest and the fastest tempo of single beats where a clip may play it."""
        bars = [*(drop.bar for drop in self.by.drops[:2]), *(passage.bar for passage in self.by.stripped)]
        first, last = (int(self.grid.beat_of_bar(bar)) for bar in (min(bars), max(bars)))
        beats_s = self.by.grid.grid.beats_s[max(0, first - AROUND_BEATS) : last + AROUND_BEATS]
        tempi = [self.bpm, *(60.0 / (later - beat) for beat, later in pairwise(beats_s))]
        return min(tempi), max(tempi)

    @property
    def key(self) -> str | None:
        return self.by.keys[0].name if self.by.keys else None

    @property
    def tonal_key(self) -> str | None:
        """Its key, where there is tone enough for keys to matter."""
        return self.key if self.facts.tonal_weight >= TONAL_FROM else None

    @property
    def sings(self) -> bool:
        return any(self.by.bars.voiced)

    @property
    def drop_close(self) -> bool:
        """Whether the second candidate may be meant as well as the first."""
        return len(self.by.drops) > 1 and self.by.drop_confidence < SURE

    def place(self, candidate: DropCandidate | StrippedPassage) -> Place:
        """A bar line by its number, or by its time where the beats around it lie beside the grid."""
        if self.drifts:
            return Place(f"bar {candidate.bar}", candidate.at_s)
        bar_s = self.grid.time_s(self.grid.beat_of_bar(candidate.bar))
        if abs(candidate.at_s - bar_s) > OFF_GRID_S:
            return Place(clock(candidate.at_s), candidate.at_s)
        return Place(f"bar {candidate.bar}", bar_s)


def record_of(name: str, file: str, facts: RecordFacts, by: ByBars) -> Record:
    """A record with numbers short enough to read and long enough for every beat to stay where it was heard.

    The grid is held at its likeliest drop.
    """
    grid = by.grid.grid
    if grid.beats_s:
        return Record(name, file, facts, by, grid.tempo_bpm, grid.first_beat_s)
    bpm = _readable(grid.tempo_bpm, facts.duration_s)
    drop_beat = grid.beat_of_bar(by.drops[0].bar)
    return Record(
        name, file, facts, by, bpm, round(grid.time_s(drop_beat) - drop_beat * 60.0 / bpm, FIRST_BEAT_DIGITS)
    )


def _readable(tempo_bpm: float, duration_s: float) -> float:
    """The tempo with the fewest digits that moves no beat of the record by more than `STRAY_S`."""
    for digits in _DIGITS:
        rounded = round(tempo_bpm, digits)
        if rounded > 0 and abs(tempo_bpm / rounded - 1.0) * duration_s <= STRAY_S:
            return rounded
    return tempo_bpm
