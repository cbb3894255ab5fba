"""The plan as text: what plays when, in beats, bars, clip time and each record's own time."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from render.facts import TrackFacts
from render.plan.model import ClipPlan, Lane, Passage
from render.values import clock


@dataclass(frozen=True)
class Event:
    """Something that happens at a clip beat; `source_s` is the place in the record, where there is one."""

    beat: float
    clip_s: float
    track: str
    what: str
    source_s: float | None = None
    bar: int | None = None
    bar_beat: float | None = None


def events(plan: ClipPlan, facts: Mapping[str, TrackFacts]) -> list[Event]:
    """Everything that happens in a clip, in order of time and then of lanes."""
    found = [event for lane in plan.lanes for event in _lane_events(plan, lane, facts[lane.track])]
    order = {lane.track: index for index, lane in enumerate(plan.lanes)}
    return sorted(found, key=lambda event: (event.beat, order[event.track]))


def explain(plan: ClipPlan, facts: Mapping[str, TrackFacts]) -> str:
    """The plan as a table for people, ending without a line break."""
    clip = plan.clock
    lines = [
        f"{plan.name}: {plan.title}",
        f"  {clip.tempo_bpm:g} BPM, {clip.lead_beats + clip.tail_beats:g} beats, {clock(clip.duration_s)}, "
        f"landing at {clock(clip.landing_s)}, {plan.format}, peak at {plan.ceiling_dbtp:g} dBTP at the most",
        "",
        *table(
            [
                ["track", "BPM", "tempo", "pitch", "gain", "key"],
                *(_lane_row(lane, facts) for lane in plan.lanes),
            ]
        ),
        "",
        *table(
            [
                ["beat", "bars", "clip", "track", "what", "in the record"],
                *(_event_row(event, clip.beats_per_bar) for event in events(plan, facts)),
            ]
        ),
    ]
    if plan.reasons:
        lines += ["", *(f"  {reason.level}: {reason.text}" for reason in plan.reasons)]
    return "\n".join(lines)


def _lane_events(plan: ClipPlan, lane: Lane, facts: TrackFacts) -> Iterator[Event]:
    def at(beat: float, what: str, source_s: float | None = None) -> Event:
        clip_s = plan.clock.beat_s(beat)
        if source_s is None:
            return Event(beat, clip_s, lane.track, what)
        # Stated times are rounded to a millisecond; a hundredth of a beat is about three.
        bar, bar_beat = facts.grid.bar_and_beat(round(facts.grid.beat_at(source_s), 2))
        return Event(beat, clip_s, lane.track, what, source_s, bar, bar_beat)

    rate = facts.recording.rate_hz
    for passage in lane.legs:
        if passage.loop_pass <= 1:
            yield at(passage.start_beat, _begin_text(lane, passage), passage.source_start_frames / rate)
    if lane.drops:
        yield at(0.0, "drops", facts.drop_s.value)
    for cut in lane.cuts:
        if cut.start_beat < lane.end_beat and cut.end_beat > lane.start_beat:
            yield at(max(cut.start_beat, lane.start_beat), f"low end cut below {plan.low_cut_hz:g} Hz")
            if cut.end_beat < lane.end_beat:
                yield at(cut.end_beat, "low end back")
    if lane.end_beat < plan.clock.tail_beats:
        yield at(lane.end_beat, "stops", lane.passages[-1].source_end_frames / rate)


def _begin_text(lane: Lane, passage: Passage) -> str:
    match passage.begins:
        case "enter":
            fade = f", fading in for {lane.fade_in_beats:g} beats" if lane.fade_in_beats else ""
            return f"starts{fade}"
        case _:
            beats = passage.end_beat - passage.start_beat
            loop = f", and repeats {beats:g} beats" if passage.loop_pass else ""
            return f"jumps back to {passage.marker}{loop}"


def _lane_row(lane: Lane, facts: Mapping[str, TrackFacts]) -> list[str]:
    known, passage = facts[lane.track], lane.passages[0]
    pitch = (
        "follows"
        if passage.semitones is None
        else f"{passage.semitones:+g} st"
        if passage.semitones
        else "kept"
    )
    key = known.key.value if known.key else "-"
    return [
        lane.track,
        f"{known.tempo_bpm.value:g}",
        drift_percent(lane) or f"{passage.speed - 1:+.2%}",
        pitch,
        f"{lane.gain_db:+g} dB",
        key,
    ]


def drift_percent(lane: Lane) -> str | None:
    """From and to what the tempo of a drifting record is changed; None where that does not show."""
    low, high = (f"{(speed - 1) * 100:+.1f}" for speed in lane.speeds)
    return None if low == high else f"{low} to {high} %"


def _event_row(event: Event, beats_per_bar: int) -> list[str]:
    there = ""
    if event.source_s is not None:
        there = f"bar {event.bar}.{event.bar_beat:g}  {clock(event.source_s)}"
    return [
        f"{event.beat:+g}",
        f"{event.beat / beats_per_bar:+g}",
        clock(event.clip_s),
        event.track,
        event.what,
        there,
    ]


def table(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  " + "  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in rows]
