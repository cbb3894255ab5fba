"""For whatever recipe: drops fall on clip beat 0, passages leave no hole, jumps keep the place in the bar."""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from planning import Record, facts_of, planned, recipe_of

from render.plan.build import PlanError, plan_clip
from render.plan.model import ClipPlan, Lane

HALF_A_FRAME = 0.5 + 1e-6
"""Positions are rounded once, to the nearest clip frame."""

tempos = st.integers(6000, 20000).map(lambda hundredths: hundredths / 100)
leads = st.integers(0, 128)
tails = st.integers(1, 128)
folds = st.sampled_from([Fraction(1), Fraction(2), Fraction(1, 2)])


@st.composite
def records(draw: st.DrawFn, clip_tempo: float) -> Record:
    """A track within ±15 % of the clip's tempo, counted as it is, doubled or halved, that drops late enough."""
    fold = float(draw(folds))
    change = draw(st.integers(-150, 150)) / 1000
    bpm = clip_tempo / (1 + change) / fold
    assume(40 <= bpm <= 300)
    first_beat = draw(st.integers(0, 3000)) / 1000
    drop_s = draw(st.integers(200_000, 400_000)) / 1000
    rate = draw(st.sampled_from([8_000, 22_050, 44_100, 48_000, 96_000, 192_000]))
    lines = f"bpm: {bpm!r}; first_beat: {first_beat} s; markers: {{drop: {drop_s} s}}"
    return Record(lines, 900.0, rate)


@st.composite
def recipes(draw: st.DrawFn) -> tuple[dict[str, Record], str, float, int, int]:
    tempo, lead, tail = draw(tempos), draw(leads), draw(tails)
    count = draw(st.integers(2, 4))
    tracks = {f"t{index}": draw(records(tempo)) for index in range(count)}
    return tracks, f"tempo: {tempo!r}\nlead: {lead} beats\ntail: {tail} beats", tempo, lead, tail


def source_at(lane: Lane, clip_frame: float) -> float:
    """The source frame that a lane sounds at a clip frame, by linear interpolation within its passage."""
    passage = next(p for p in lane.passages if p.clip_start_frames <= clip_frame < p.clip_end_frames)
    share = (clip_frame - passage.clip_start_frames) / passage.clip_frames
    return passage.source_start_frames + share * (passage.source_end_frames - passage.source_start_frames)


def check_whole(plan: ClipPlan) -> None:
    """What holds for every lane of every plan: its passages touch, at one speed, from its start to its end."""
    for lane in plan.lanes:
        for one, other in pairwise(lane.passages):
            assert one.clip_end_frames == other.clip_start_frames
            assert one.end_beat == other.start_beat
        for passage in lane.passages:
            assert passage.clip_frames > 0
            length = passage.source_end_frames - passage.source_start_frames
            rate = length / passage.clip_frames
            assert rate == pytest.approx(lane.passages[0].speed * rate / passage.speed)
        assert 0 <= lane.start_frames < lane.end_frames <= plan.clock.length_frames


@given(recipes())
def test_every_drop_falls_on_the_landing_whatever_the_tempo_the_lead_and_the_fold(recipe):
    tracks, rest, tempo, lead, _ = recipe
    plan = planned(tracks, rest)
    exact_landing = Fraction(lead) * 60 / Fraction(tempo) * plan.clock.rate_hz
    assert abs(plan.clock.landing_frames - exact_landing) <= HALF_A_FRAME
    facts = facts_of(recipe_of(tracks, rest), tracks)
    for lane in plan.lanes:
        known = facts[lane.track]
        drop = known.drop_s.value * known.recording.rate_hz
        # In clip frames: a source frame at 8 kHz is many clip frames long.
        clip_frames_per_source_frame = plan.clock.rate_hz / known.recording.rate_hz / lane.passages[0].speed
        assert abs(source_at(lane, plan.clock.landing_frames) - drop) * clip_frames_per_source_frame <= 1e-3
        assert lane.drops
    check_whole(plan)


@given(recipes())
def test_every_beat_of_a_lane_lies_under_the_beat_of_the_clip(recipe):
    """Against exact fractions: clip beat b is source beat b / fold after the drop."""
    tracks, rest, tempo, lead, tail = recipe
    plan = planned(tracks, rest)
    facts = facts_of(recipe_of(tracks, rest), tracks)
    for lane in plan.lanes:
        known = facts[lane.track]
        fold = min(
            (Fraction(1), Fraction(2), Fraction(1, 2)), key=lambda f: abs(tempo - known.tempo_bpm.value * f)
        )
        for beat in {-lead, -lead // 2, tail // 2}:
            clip_frame = (Fraction(beat) + lead) * 60 / Fraction(tempo) * plan.clock.rate_hz
            source_s = Fraction(known.drop_s.value) + Fraction(beat) * 60 / (
                Fraction(known.tempo_bpm.value) * fold
            )
            sounded_s = source_at(lane, float(clip_frame)) / known.recording.rate_hz
            assert abs(sounded_s - source_s) * plan.clock.rate_hz <= 1.0


@given(recipes(), st.data())
def test_a_jump_keeps_the_place_in_the_bar_and_leaves_no_hole(recipe, data):
    tracks, rest, _, lead, tail = recipe
    assume(lead + tail >= 8)
    at = data.draw(st.integers(-lead + 1, tail - 1))
    bars = data.draw(st.integers(1, 24))
    late = data.draw(st.integers(-400, 3400)) / 1000
    loop = data.draw(st.sampled_from([None, 1, 4, 8, 32, 2.5]))
    facts = facts_of(recipe_of(tracks, rest), tracks)
    known = facts["t0"]
    before = planned(tracks, rest).lanes[0]
    clock = planned(tracks, rest).clock
    here_s = source_at(before, clock.beat_frames(at)) / known.recording.rate_hz
    to_s = here_s - (bars * 4 + late) * known.grid.beat_s
    jump = f"\njump_back: [{{track: t0, at: landing + {at} beats, to: {to_s!r} s"
    jump = jump.replace("+ -", "- ") + (f", loop: {loop} beats" if loop else "") + "}]"
    plan = planned(tracks, rest + jump)
    check_whole(plan)
    lane = plan.lanes[0]
    jumped = next(p for p in lane.passages if p.begins == "jump")
    assert jumped.start_beat == at
    came_out_s = jumped.source_start_frames / known.recording.rate_hz
    back_beats = (here_s - came_out_s) / known.grid.beat_s
    tolerance_beats = 1.5 / clock.rate_hz / known.grid.beat_s
    assert back_beats == pytest.approx(round(back_beats / 4) * 4, abs=tolerance_beats * 4)
    after_marker_beats = (came_out_s - to_s) / known.grid.beat_s
    assert -0.5 - tolerance_beats * 4 <= after_marker_beats < 3.5 + tolerance_beats * 4
    if loop:
        rounds = [p for p in lane.passages if p.marker == jumped.marker and p.begins in ("jump", "loop")]
        assert [p.loop_pass for p in rounds] == list(range(1, len(rounds) + 1))
        for one in rounds[1:]:
            gap = one.source_start_frames - jumped.source_start_frames
            assert abs(gap) / known.recording.rate_hz * clock.rate_hz / jumped.speed <= 1.0 + 1e-6
    assert lane.drops == (at > 0)


@given(recipes())
def test_the_order_of_tracks_changes_nothing_but_the_order_of_lanes(recipe):
    tracks, rest, *_ = recipe
    rest += (
        "\nlow_cut: {keep: [{from: start, track: t0}, {from: landing, track: t1}]}" if "t1" in tracks else ""
    )
    assume("lead: 0 " not in rest)
    plan = planned(tracks, rest)
    turned = planned(dict(reversed(tracks.items())), rest)
    assert turned.lanes == tuple(reversed(plan.lanes))
    assert turned.clock == plan.clock
    assert sorted(turned.reasons, key=str) == sorted(plan.reasons, key=str)


@given(recipes())
def test_one_keeper_means_one_low_end_at_every_moment(recipe):
    tracks, rest, _, lead, _ = recipe
    assume(lead > 0)
    rest += "\nlow_cut: {keep: [{from: start, track: t0}, {from: landing, track: t1}]}"
    plan = planned(tracks, rest)
    for frame in (0, plan.clock.landing_frames - 1, plan.clock.landing_frames, plan.clock.length_frames - 1):
        keepers = [
            lane.track
            for lane in plan.lanes
            if not any(c.start_frames <= frame < c.end_frames for c in lane.cuts)
        ]
        assert keepers == (["t0"] if frame < plan.clock.landing_frames else ["t1"])


@given(recipes(), st.integers(1, 4))
def test_a_plan_that_cannot_be_carried_out_is_never_returned(recipe, shorter):
    """With records too short for it, planning either says what is wrong or stays within every record."""
    tracks, rest, *_ = recipe
    cut = {name: Record(record.lines, 400.0 / shorter, record.rate_hz) for name, record in tracks.items()}
    read = recipe_of(cut, rest)
    facts = facts_of(read, cut)
    try:
        plan = plan_clip(read, facts, "test")
    except PlanError as error:
        assert error.problems
        return
    for lane in plan.lanes:
        known = facts[lane.track].recording
        for passage in lane.passages:
            assert passage.source_start_frames >= -0.0011 * known.rate_hz
            assert passage.source_end_frames <= known.frames + 0.0011 * known.rate_hz
