"""What a performer should know of the decisions about one lane."""

from collections.abc import Iterator, Sequence

from render.facts import TrackFacts
from render.plan.align import Alignment
from render.plan.jump_back import Leg
from render.plan.model import Passage, Reason
from render.values import semitones_of

OFF_BEAT_S = 0.005
"""A drop or a marker this far from its beat is worth a remark: from about here on two hits are heard as two (common
practice)."""
LATE_BEATS = 1 / 16
"""A jump that comes out this long after its marker is worth a remark."""
_WHOLE = 1e-9
"""Slack, in beats, of what is meant to be whole bars."""


def lane_remarks(
    facts: TrackFacts, line: Alignment, legs: Sequence[Leg], passages: Sequence[Passage]
) -> Iterator[Reason]:
    """Reasons about one lane, in the order of its decisions: tempo, pitch, drop, jumps."""
    if line.fold != 1.0:
        time, tempo = "double" if line.fold > 1 else "half", line.tempo_bpm
        text = f"{facts.name} is counted in {time} time: {tempo:g} as {tempo * line.fold:g} BPM"
        yield Reason("note", "folded", text, facts.name, line.fold)
    yield from _pitch(facts, line, passages)
    yield from _drop(facts)
    for leg in legs:
        if leg.jump and leg.loop_pass <= 1:
            yield from _jump(facts, leg)


def _pitch(facts: TrackFacts, line: Alignment, passages: Sequence[Passage]) -> Iterator[Reason]:
    fastest = max((passage.speed for passage in passages), key=lambda speed: abs(speed - 1.0))
    if passages[0].semitones is None and abs(fastest - 1.0) > 1e-9:
        shift = semitones_of(fastest)
        most = "up to " if line.drifting else ""
        text = f"{facts.name} changes pitch by {most}{shift:+.2f} semitones"
        yield Reason("note", "pitch-follows", text, facts.name, shift)


def _drop(facts: TrackFacts) -> Iterator[Reason]:
    off_ms = facts.grid.off_beat_s(facts.drop_s.value) * 1000
    if abs(off_ms) > OFF_BEAT_S * 1000:
        text = f"{facts.name} drops {off_ms:+.0f} ms off its own grid; the drop lands, its beats do not"
        yield Reason("warning", "off-grid", text, facts.name, off_ms)


def _jump(facts: TrackFacts, leg: Leg) -> Iterator[Reason]:
    grid, jump = facts.grid, leg.jump
    assert jump is not None
    moved = grid.beat_at(leg.alignment.source_s(jump.at_beat)) - grid.beat_at(jump.to_s)
    if moved > LATE_BEATS:
        text = f"{facts.name} comes out {moved:.3g} beats after '{jump.marker}', to keep its place in the bar"
        yield Reason("note", "jump-in-phase", text, facts.name, moved)
    if jump.loop_beats and jump.loop_beats / leg.alignment.fold % grid.beats_per_bar > _WHOLE:
        text = f"the loop of {facts.name} is not whole bars: its place in the bar moves with every round"
        yield Reason("warning", "loop-not-bars", text, facts.name, jump.loop_beats)
