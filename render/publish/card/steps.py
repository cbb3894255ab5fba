"""What to do at which beat: the part of a stage card that is read from top to bottom while the records play.

Beats are those of the clip, counted from the landing. A loop is counted in the record's own beats, as a deck counts it.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from render.facts import TrackFacts
from render.plan.model import ClipPlan, Lane
from render.publish.card.markers import TOUCH, Place, marker_of, place_of
from render.publish.lettering import spoken
from render.values import counted

LANDING = "DROP"
_START, _LANDING, _JUMP, _LOW_END, _FADE, _STOP, _END = range(7)
"""The order of what happens at the same beat."""


@dataclass(frozen=True)
class Step:
    """Something to do at a beat. `record` is empty where it concerns several; `place` is where the record then is."""

    beat: float
    record: str
    what: str
    place: Place | None = None
    is_landing: bool = False


Ranked = tuple[int, Step]


def steps(plan: ClipPlan, facts: Mapping[str, TrackFacts]) -> tuple[Step, ...]:
    """Everything to do, in order."""
    found = [*_landing(plan), *_low_end(plan), (_END, Step(plan.clock.tail_beats, "", "the preview ends"))]
    for lane in plan.lanes:
        found += _of_lane(plan, lane, facts)
    return tuple(step for _, step in sorted(found, key=lambda one: (round(one[1].beat, 6), one[0])))


def has_low_end(lane: Lane, beat: float) -> bool:
    """Whether a lane keeps its low end from a beat on."""
    return not any(cut.start_beat - TOUCH < beat < cut.end_beat - TOUCH for cut in lane.cuts)


def plays(lane: Lane, beat: float) -> bool:
    """Whether a lane is heard from a beat on."""
    return lane.start_beat - TOUCH < beat < lane.end_beat - TOUCH


def _of_lane(plan: ClipPlan, lane: Lane, facts: Mapping[str, TrackFacts]) -> Iterator[Ranked]:
    known = facts[lane.track]
    for leg in lane.legs:
        place = place_of(known, leg.source_start_frames)
        match leg.begins:
            case "enter":
                yield _START, Step(leg.start_beat, lane.track, _start_text(plan, lane, facts), place)
            case "jump":
                to = marker_of(plan, lane, known, leg)
                loop = f", loop {counted(to.loop_beats)}" if to.loop_beats else ""
                yield _JUMP, Step(leg.start_beat, lane.track, f"jump back to {to.name}{loop}", place)
            case "loop" | "on":
                continue
    if lane.fade_out_beats:
        what = f"fade out for {counted(lane.fade_out_beats)}"
        yield _FADE, Step(lane.end_beat - lane.fade_out_beats, lane.track, what)
    if lane.end_beat < plan.clock.tail_beats - TOUCH:
        yield _STOP, Step(lane.end_beat, lane.track, "stop")


def _start_text(plan: ClipPlan, lane: Lane, facts: Mapping[str, TrackFacts]) -> str:
    words = ["start"]
    if not has_low_end(lane, lane.start_beat):
        words.append("low end down")
    if lane.fade_in_beats:
        words.append(f"fade in for {counted(lane.fade_in_beats)}")
    running = [
        other
        for other in plan.lanes
        if other.start_beat < lane.start_beat - TOUCH and plays(other, lane.start_beat)
    ]
    if running:
        first = min(running, key=lambda other: other.start_beat)
        there = place_of(facts[first.track], _source_frames(first, lane.start_beat))
        words.append(f"when {first.track} is at {there.bar}")
    return ", ".join(words)


def _source_frames(lane: Lane, beat: float) -> float:
    """Where in its record a lane is at a beat at which it plays."""
    passage = next(p for p in lane.passages if beat < p.end_beat - TOUCH)
    share = (beat - passage.start_beat) / (passage.end_beat - passage.start_beat)
    return passage.source_start_frames + share * (passage.source_end_frames - passage.source_start_frames)


def _landing(plan: ClipPlan) -> Iterator[Ranked]:
    """Whose drops are heard; the landing stands on a card also where nobody's is."""
    dropping = [lane.track for lane in plan.lanes if lane.drops]
    record = dropping[0] if len(dropping) == 1 else ""
    what = f"{LANDING}: {spoken(dropping)}" if len(dropping) > 1 else LANDING if dropping else "the landing"
    yield _LANDING, Step(0.0, record, what, is_landing=True)


def _low_end(plan: ClipPlan) -> Iterator[Ranked]:
    """Who takes the low end over from whom. How a record starts is said where it starts."""
    moments = sorted({b for lane in plan.lanes for cut in lane.cuts for b in (cut.start_beat, cut.end_beat)})
    for beat in moments:
        going = [lane for lane in plan.lanes if plays(lane, beat) and lane.start_beat < beat - TOUCH]
        down = [lane.track for lane in going if _changes(lane, beat) and not has_low_end(lane, beat)]
        up = [lane.track for lane in going if _changes(lane, beat) and has_low_end(lane, beat)]
        if down and up:
            yield _LOW_END, Step(beat, "", f"low end from {spoken(down)} to {spoken(up)}")
        elif down or up:
            moved = down or up
            record = moved[0] if len(moved) == 1 else ""
            what = f"low end {'up' if up else 'down'}" + ("" if record else f": {spoken(moved)}")
            if not any(has_low_end(lane, beat) for lane in plan.lanes if plays(lane, beat)):
                what += ", nobody has it now"
            yield _LOW_END, Step(beat, record, what)


def _changes(lane: Lane, beat: float) -> bool:
    return has_low_end(lane, beat) != has_low_end(lane, beat - 2 * TOUCH)
