"""What cannot be carried out is refused with what would fit; what is worth knowing is said."""

import pytest
from planning import Record, planned, problems_of

A = Record("bpm: 174; first_beat: 0 s; markers: {drop: bar 33, loop: bar 17, late: bar 60}")
B = Record("bpm: 172; first_beat: 0.5 s; markers: {drop: bar 33}")


def only(problems: list[str]) -> str:
    assert len(problems) == 1, problems
    return problems[0]


def test_a_lane_that_would_start_before_its_record_says_how_many_beats_there_are_and_what_fits():
    early = Record("bpm: 174; first_beat: 0 s; markers: {drop: bar 13}")
    said = only(problems_of({"a": early, "b": B}))
    assert said.startswith(
        "before-record: 'a' would have to start 16 beats before its record does: there are 48 beats"
    )
    assert said.endswith("`enter: landing - 48 beats` or `lead: 48 beats` would fit")
    assert not problems_of({"a": Record(early.lines + "; enter: landing - 48 beats"), "b": B})
    assert not problems_of({"a": early, "b": B}, "lead: 48 beats")


@pytest.mark.parametrize(("bpm", "fits"), [(150.1, True), (149.9, False), (207.0, True), (207.5, False)])
def test_a_tempo_change_beyond_sixteen_percent_is_refused(bpm, fits):
    other = Record(f"bpm: {bpm}; first_beat: 0 s; markers: {{drop: bar 33}}")
    problems = problems_of({"a": A, "b": other}, "tempo: 174")
    assert (problems == []) == fits
    if not fits:
        assert "beyond ±16 %" in problems[0]


@pytest.mark.parametrize(
    ("tempo", "told"),
    [
        (174, "b is counted in double time: 87 as 174 BPM"),
        (87, "a is counted in half time: 174 as 87 BPM"),
    ],
)
def test_half_and_double_time_are_folded_before_the_tempo_change_is_judged(tempo, told):
    half = Record("bpm: 87; first_beat: 0 s; markers: {drop: bar 17}")
    plan = planned({"a": A, "b": half}, f"tempo: {tempo}\nlead: 16 beats\ntail: 16 beats")
    assert [lane.passages[0].speed for lane in plan.lanes] == [1.0, 1.0]
    assert [r.text for r in plan.reasons if r.code == "folded"] == [told]


@pytest.mark.parametrize(
    ("bpm", "warned_of"),
    [(164.3, False), (164.0, True), (184.9, False), (185.3, True)],
    ids=["+5.90 %", "+6.10 %", "-5.90 %", "-6.10 %"],  # 174 over each of them
)
def test_a_change_beyond_six_percent_is_warned_of(bpm, warned_of):
    other = Record(f"bpm: {bpm}; first_beat: 0 s; markers: {{drop: bar 33}}")
    reasons = planned({"a": A, "b": other}, "tempo: 174").reasons
    said = [(r.level, r.track) for r in reasons if r.code == "tempo-change"]
    assert said == ([("warning", "b")] if warned_of else [])


@pytest.mark.parametrize(
    ("rest", "code"),
    [
        ("jump_back: [{track: a, at: landing, to: late}]", "not-back"),
        ("jump_back: [{track: a, at: end + 4 beats, to: loop}]", "outside-lane"),
        ("jump_back: [{track: a, at: start, to: loop}]", "outside-lane"),
        ("jump_back: [{track: a, at: landing, to: loop, loop: 0.5 beats}]", "short-loop"),
        ("jump_back: [{track: a, at: landing, to: loop}, {track: a, at: landing, to: loop}]", "two-jumps"),
        ("tail: 0 beats", "no-tail"),
        ("tail: 9000 beats", "too-long"),
        ("low_cut: {keep: [{from: end + 1 beats, track: a}]}", "outside-clip"),
        ("low_cut: {keep: [{from: landing, track: a}, {from: landing, track: b}]}", "out-of-order"),
    ],
)
def test_what_cannot_be_is_refused_by_name(rest, code):
    assert only(problems_of({"a": A, "b": B}, rest)).startswith(f"{code}: ")


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        ("markers: {drop: 9:59.0}", "outside-record"),
        ("markers: {drop: bar 33}; enter: start - 4 beats", "outside-clip"),
        ("markers: {drop: bar 33}; enter: landing; leave: landing", "outside-clip"),
        ("markers: {drop: bar 33}; fade_in: 200 beats", "long-fade"),
    ],
)
def test_a_track_that_cannot_be_laid_is_refused_by_name(lines, code):
    track = Record(f"bpm: 174; first_beat: 0 s; {lines}")
    assert only(problems_of({"a": track, "b": B})).startswith(f"{code}: ")


def test_a_record_that_ends_in_the_tail_stops_on_a_whole_beat_and_is_warned_of():
    short = Record("bpm: 174; first_beat: 0 s; markers: {drop: bar 33}", duration_s=(128 + 20.5) * 60 / 174)
    plan = planned({"a": short, "b": B})
    assert plan.lanes[0].end_beat == 20
    assert [(r.level, r.value) for r in plan.reasons if r.code == "record-ends"] == [("warning", 44)]


def test_all_that_is_wrong_is_told_at_once():
    early = Record("bpm: 174; first_beat: 0 s; markers: {drop: bar 13}")
    other = Record("bpm: 120; first_beat: 0 s; markers: {drop: bar 33}")
    assert len(problems_of({"a": early, "b": other}, "tempo: 174")) == 2


def test_a_rounded_marker_does_not_throw_a_jump_out_of_phase():
    """m:ss.mmm rounds by up to half a millisecond; the jump is still whole bars."""
    rounded = Record("bpm: 174; first_beat: 0 s; markers: {drop: bar 33, loop: 0:22.068}")
    plan = planned({"a": rounded, "b": B}, "jump_back: [{track: a, at: landing, to: loop}]")
    jump = plan.lanes[0].passages[1]
    assert jump.source_start_frames == pytest.approx(64 * 60 / 174 * 44_100, abs=0.51)
