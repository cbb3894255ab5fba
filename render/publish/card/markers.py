"""The places in a record that are marked beforehand: where it starts, where it drops, where it jumps to.

Two jumps to one marker of a recipe may come out at different places, as a jump keeps its place in the bar. The second
place then gets a number.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from render.facts import TrackFacts
from render.plan.align import fold_of
from render.plan.model import ClipPlan, Lane, Passage
from render.publish.card.numbers import bar_and_beat

START, DROP = "start", "drop"
SAME_PLACE_S = 0.0005
"""Places that are nearer than this read the same."""
TOUCH = 1e-6
"""Beats that differ by less are one moment."""


@dataclass(frozen=True)
class Place:
    """A place in a record: its bar and beat, and seconds from the start of its file."""

    bar: str
    time_s: float

    def is_at(self, other: "Place") -> bool:
        return abs(self.time_s - other.time_s) < SAME_PLACE_S


@dataclass(frozen=True)
class Marker:
    """A place to mark beforehand; `loop_beats` counts the record's own beats, 0 where nothing is looped."""

    name: str
    place: Place
    loop_beats: float = 0.0


def markers(plan: ClipPlan, lane: Lane, known: TrackFacts) -> list[Marker]:
    """Every place that has to be marked, in the order in which they are needed."""
    return [marker for _, marker in _named(plan, lane, known)]


def marker_of(plan: ClipPlan, lane: Lane, known: TrackFacts, jump: Passage) -> Marker:
    """The marker that a jump goes to, with the loop that begins there."""
    place = place_of(known, jump.source_start_frames)
    names = [
        one.name
        for wanted, one in _named(plan, lane, known)
        if wanted == jump.marker and one.place.is_at(place)
    ]
    return Marker(names[0], place, loop_beats(plan, known, jump))


def place_of(known: TrackFacts, source_frames: float) -> Place:
    """A place by its source frame; a record that is said to begin a rounding before its file does begins with it."""
    time_s = max(source_frames / known.recording.rate_hz, 0.0)
    return Place(bar_and_beat(known.grid, time_s), time_s)


def loop_beats(plan: ClipPlan, known: TrackFacts, jump: Passage) -> float:
    """How many of a record's own beats repeat after a jump, 0 where none do."""
    if not jump.loop_pass:
        return 0.0
    fold = fold_of(known.tempo_bpm.value, plan.clock.tempo_bpm)
    return round((jump.end_beat - jump.start_beat) / fold, 6)


def _named(plan: ClipPlan, lane: Lane, known: TrackFacts) -> list[tuple[str, Marker]]:
    """The name that each place goes by in the plan, and its marker, whose name no other has."""
    kept: list[tuple[str, Marker]] = []
    for one in _wanted(plan, lane, known):
        alike = [other for wanted, other in kept if wanted == one.name]
        if not any(other.place.is_at(one.place) for other in alike):
            name = f"{one.name} ({len(alike) + 1})" if alike else one.name
            kept.append((one.name, Marker(name, one.place, one.loop_beats)))
    return kept


def _wanted(plan: ClipPlan, lane: Lane, known: TrackFacts) -> Iterator[Marker]:
    yield Marker(START, place_of(known, lane.passages[0].source_start_frames))
    if lane.drops or _leaves_its_drop(lane):
        yield Marker(DROP, place_of(known, known.drop_s.value * known.recording.rate_hz))
    for leg in lane.legs:
        if leg.begins == "jump":
            place = place_of(known, leg.source_start_frames)
            yield Marker(leg.marker, place, loop_beats(plan, known, leg))


def _leaves_its_drop(lane: Lane) -> bool:
    """Whether it comes up to its drop and jumps away from there."""
    first = lane.legs[0]
    return first.begins == "enter" and abs(first.end_beat) < TOUCH and len(lane.legs) > 1
