"""The stage card: what has to be set on each record beforehand, and what has to be done at which beat.

It is made from the plan, so it says what the clip does. Every number on it is written for somebody who has nothing but
the card and the records: a clip played by them lies within 5 ms of the rendered one at every beat, which is less than
is heard as two hits instead of one (common practice).
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from pathlib import PurePath
from typing import Any

from render.facts import TrackFacts
from render.plan.align import fold_of
from render.plan.keys import relation
from render.plan.lane_remarks import OFF_BEAT_S
from render.plan.model import ClipPlan, Lane, Passage
from render.plan.remarks import between_keys
from render.publish.card.markers import Marker, markers
from render.publish.card.numbers import USUAL_DECIMALS, drift_ms, percent, tempo
from render.publish.card.steps import Step, steps
from render.values import counted, semitones_of

SMALLEST_SHIFT = 0.005
"""Semitones below which a pitch is as recorded: it would be written 0.00."""
USUAL_RANGE = 0.08
"""The tempo range that decks usually start with (common practice)."""
TOLD = ("off-grid", "record-ends", "loop-not-bars", "two-voices")
"""Reasons of a plan that matter on a stage; what else there is to say of it was heard in the clip."""


@dataclass(frozen=True)
class Levels:
    """What was measured when the clip was made: headroom that the sum needs, and what was done to each record."""

    headroom_db: float
    gains_db: Mapping[str, float]


@dataclass(frozen=True)
class RecordCard:
    """What has to be set on one record. `tempo_change` is a signed percentage without its sign for percent."""

    name: str
    file: str
    tempo_bpm: str
    sounds_bpm: str
    tempo_change: str
    pitch: str
    level: str
    markers: tuple[Marker, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """Everything on the page. Beats are those of the clip, `tempo_bpm` is how fast they come."""

    name: str
    title: str
    tempo_bpm: str
    lead: str
    tail: str
    beats_per_bar: int
    headroom: str
    records: tuple[RecordCard, ...]
    steps: tuple[Step, ...]
    keys: tuple[str, ...]
    notes: tuple[str, ...]


def card_of(plan: ClipPlan, facts: Mapping[str, TrackFacts], levels: Levels | None = None) -> Card:
    """The card of a plan; `levels` are those of its clip, where there is one."""
    clock = plan.clock
    longest_s = max(clock.lead_beats, clock.tail_beats) * 60.0 / clock.tempo_bpm
    return Card(
        name=plan.name,
        title=plan.full_title,
        tempo_bpm=tempo(clock.tempo_bpm, longest_s),
        lead=counted(clock.lead_beats),
        tail=counted(clock.tail_beats),
        beats_per_bar=clock.beats_per_bar,
        headroom=_headroom(levels),
        records=tuple(_record(plan, lane, facts[lane.track], levels) for lane in plan.lanes),
        steps=steps(plan, facts),
        keys=tuple(_keys(plan, facts)),
        notes=tuple(_notes(plan)),
    )


def levels_of(receipt: Mapping[str, Any], plan: ClipPlan) -> Levels | None:
    """The levels of a plan's clip by its receipt; None where it does not hold them."""
    try:
        found = {track["name"]: float(track["gain_db"]) for track in receipt["tracks"]}
        gains_db = {lane.track: found[lane.track] for lane in plan.lanes}
        levels = Levels(float(receipt["headroom_needed_db"]), gains_db)
    except (KeyError, TypeError, ValueError):
        return None
    return levels if all(map(math.isfinite, (levels.headroom_db, *gains_db.values()))) else None


def _record(plan: ClipPlan, lane: Lane, known: TrackFacts, levels: Levels | None) -> RecordCard:
    clock = plan.clock
    span_s = (lane.end_beat - lane.start_beat) * 60.0 / clock.tempo_bpm
    fold = fold_of(known.tempo_bpm.value, clock.tempo_bpm)
    speed = lane.usual_speed
    drifts = lane.speeds[0] != lane.speeds[1]
    return RecordCard(
        name=lane.track,
        file=PurePath(known.recording.path).name,
        tempo_bpm=tempo(known.tempo_bpm.value, span_s),
        sounds_bpm=tempo(clock.tempo_bpm / fold, span_s),
        tempo_change=percent(speed, 0.0 if drifts else span_s),
        pitch=_pitch(lane, known, speed),
        level=_level(lane, levels),
        markers=tuple(markers(plan, lane, known)),
        notes=tuple(_record_notes(plan, lane, known, speed, span_s)),
    )


def _pitch(lane: Lane, known: TrackFacts, speed: float) -> str:
    """What the preview did to the pitch, and what becomes of it on decks that do not."""
    wanted, follows = lane.passages[0].semitones, semitones_of(speed)
    moves = abs(follows) >= SMALLEST_SHIFT
    if wanted:
        shift = f"shifted {wanted:+g} semitone{'' if abs(wanted) == 1 else 's'} in the preview"
        key = f" from {known.key.value}" if known.key else ""
        return f"{shift}{key}; without that {follows + 0.0:+.2f} with the tempo, or as recorded"
    if not moves:
        return "as recorded"
    if wanted is None:
        return f"follows the tempo, {follows:+.2f} semitones: switch pitch-keeping off"
    return f"kept in the preview; {follows:+.2f} semitones without pitch-keeping"


def _level(lane: Lane, levels: Levels | None) -> str:
    if levels:
        return f"{levels.gains_db[lane.track] + 0.0:+.1f} dB in the preview"
    by_ear = "as loud as the others"
    return f"{by_ear}, then {lane.gain_db:+g} dB" if lane.gain_db else by_ear


def _record_notes(
    plan: ClipPlan, lane: Lane, known: TrackFacts, speed: float, span_s: float
) -> Iterator[str]:
    fold = fold_of(known.tempo_bpm.value, plan.clock.tempo_bpm)
    if fold > 1:
        yield f"half as fast: {counted(fold)} of the count pass in one of its own"
    elif fold < 1:
        yield f"twice as fast: {counted(1 / fold)} of its own pass in one of the count"
    if lane.speeds[0] != lane.speeds[1]:
        yield _drift(plan, lane, known, speed, fold)
    elif (late_ms := drift_ms(speed, span_s)) > OFF_BEAT_S * 1000:
        yield f"with {USUAL_DECIMALS} decimals it is {late_ms:.0f} ms off at the end: nudge it"
    if abs(speed - 1.0) > USUAL_RANGE:
        yield f"more than ±{USUAL_RANGE:.0%}: set a wider tempo range"
    if known.recording.delay_frames:
        yield "a deck may count the times of this file otherwise: if its drop lies elsewhere, move all marks alike"


def _drift(plan: ClipPlan, lane: Lane, known: TrackFacts, speed: float, fold: float) -> str:
    """By how much a record's tempo drifts where it is played, and what comes of it when nobody follows."""
    slow, fast = (plan.clock.tempo_bpm / fold / one for one in reversed(lane.speeds))
    low, high = ((one - 1.0) * 100.0 for one in lane.speeds)
    off_ms = max(abs(late_s) for late_s in _late_s(plan, lane, known, speed)) * 1000.0
    return (
        f"its tempo drifts, {slow:.1f} to {fast:.1f} BPM: ride it between {low:+.1f} and {high:+.1f} %; "
        f"left alone it comes to be {off_ms:.0f} ms off"
    )


def _late_s(plan: ClipPlan, lane: Lane, known: TrackFacts, speed: float) -> Iterator[float]:
    """How far from its place it would be at the end of each passage, set to one speed since it was last placed."""
    start: Passage = lane.passages[0]
    for passage in lane.passages:
        if passage.begins != "on":
            start = passage
        clip_s = (passage.clip_end_frames - start.clip_start_frames) / plan.clock.rate_hz
        source_s = (passage.source_end_frames - start.source_start_frames) / known.recording.rate_hz
        yield source_s - clip_s * speed


def _headroom(levels: Levels | None) -> str:
    if levels is None:
        return "headroom to leave: not known yet, as the clip has not been rendered"
    if levels.headroom_db <= 0:
        return "headroom to leave: none, together they stay below full scale"
    enough_db = math.ceil(levels.headroom_db * 10 - 1e-6) / 10  # rounded up: what is left must do
    return f"headroom to leave: {enough_db:.1f} dB"


def _keys(plan: ClipPlan, facts: Mapping[str, TrackFacts]) -> Iterator[str]:
    """How the keys agree as they sound in the clip, and what they would be without what it did to them."""
    yield from (reason.text for reason in plan.reasons if reason.code == "keys")
    unknown = [lane.track for lane in plan.lanes if facts[lane.track].key is None]
    if unknown:
        yield f"not known of {', '.join(unknown)}"
    for lane in plan.lanes:
        key = facts[lane.track].key
        if key and between_keys(lane):
            yield f"{lane.track}, {key.value} as recorded, sounds between two keys"
    shifted = {lane.track for lane in plan.lanes if lane.passages[0].semitones}
    for one, other in combinations([lane.track for lane in plan.lanes], 2):
        first, second = facts[one].key, facts[other].key
        if first and second and {one, other} & shifted:
            keys = f"{one} in {first.value} over {other} in {second.value}"
            yield f"without shifting, {keys}: {relation(first.value, second.value)}"


def _notes(plan: ClipPlan) -> Iterator[str]:
    if any(lane.cuts for lane in plan.lanes):
        yield f"low end down: in the preview everything below {plan.low_cut_hz:g} Hz is taken out"
    if not plan.low_cut_stated:
        yield "in the preview every record keeps its low end"
    yield from (reason.text for reason in plan.reasons if reason.code in TOLD)
