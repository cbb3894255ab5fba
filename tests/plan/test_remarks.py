"""What a plan says of keys and voices, on made-up records whose keys and singing are stated."""

from dataclasses import replace

import pytest
from planning import Record, facts_of, planned, recipe_of

from render.plan.build import plan_clip
from render.plan.keys import transposed
from render.plan.model import Reason

LINES = "bpm: 120; first_beat: 0; markers: {drop: bar 33}"


def reasons(one: str, two: str, code: str, rest: str = "") -> list[Reason]:
    plan = planned({"flint": Record(f"{LINES}; {one}"), "steel": Record(f"{LINES}; {two}")}, rest)
    return [reason for reason in plan.reasons if reason.code == code]


@pytest.mark.parametrize(
    ("key", "semitones", "becomes"),
    [
        ("E minor", 1, "F minor"),
        ("B minor", 1, "C minor"),
        ("C major", -1, "B major"),
        ("Ab minor", 0, "G# minor"),
    ],
)
def test_a_key_moves_with_the_pitch(key, semitones, becomes):
    assert transposed(key, semitones) == becomes


def test_keys_that_quarrel_are_warned_of_at_the_pitch_they_sound_at():
    (far,) = reasons("key: F minor", "key: E minor", "keys")
    assert (far.level, far.value) == ("warning", 5.0)
    assert far.text == "flint in F minor over steel in E minor: 2 of 7 notes in common"
    (near,) = reasons("key: F minor", "key: E minor; pitch: +1 semitone", "keys")
    assert (near.level, near.text) == ("note", "flint in F minor over steel in F minor: the same key")


def test_the_key_of_drums_does_not_matter():
    (drums,) = reasons("key: F minor", "key: E minor; tonal_weight: 0.1", "keys")
    assert drums.level == "note"
    assert "steel being mostly drums" in drums.text


def test_a_record_between_two_keys_is_not_compared():
    """A turntable 3 % faster is 12·log2(1.03) = 0.51 semitones higher."""
    assert reasons("key: F minor", "key: F minor; pitch: follow", "keys")
    slow = Record("bpm: 116.5; first_beat: 0; markers: {drop: bar 33}; key: F minor; pitch: follow")
    plan = planned({"flint": Record(f"{LINES}; key: F minor"), "steel": slow})
    assert not [reason for reason in plan.reasons if reason.code == "keys"]


def test_a_close_call_heard_is_warned_of_with_the_track_s_name():
    records = {"flint": Record(LINES), "steel": Record(LINES)}
    recipe = recipe_of(records)
    known = facts_of(recipe, records)
    known["flint"] = replace(known["flint"], warnings=("60% sure, or 90 BPM", "the off-beat may be the beat"))
    unsure = [reason for reason in plan_clip(recipe, known, "test").reasons if reason.code == "unsure"]
    assert [(reason.level, reason.track, reason.text) for reason in unsure] == [
        ("warning", "flint", "flint: 60% sure, or 90 BPM"),
        ("warning", "flint", "flint: the off-beat may be the beat"),
    ]


def test_two_voices_at_once_are_warned_of_with_how_long_and_from_where():
    # Both drop at bar 33, so bar 31 lies at -8 beats; they meet in bars 31 to 34: 16 beats from -8 on.
    (met,) = reasons("voice: bars 25 to 34", "voice: [bars 31 to 40]", "two-voices")
    assert met.level == "warning"
    assert met.value == pytest.approx(16.0)
    assert met.text == "flint and steel both have a voice for 16 beats, from -8 on"


@pytest.mark.parametrize("other", ["bars 35 to 40", "none", "bars 1 to 4"])
def test_voices_that_do_not_meet_in_the_clip_are_no_matter(other):
    assert not reasons("voice: bars 25 to 34", f"voice: {other}", "two-voices")


def test_a_voice_that_is_jumped_over_is_not_heard():
    rest = "jump_back:\n  - {track: flint, at: landing, to: bar 9, loop: 32 beats}"
    assert reasons("voice: bars 33 to 40", "voice: bars 33 to 40", "two-voices")
    assert not reasons("voice: bars 33 to 40", "voice: bars 33 to 40", "two-voices", rest)


@pytest.mark.parametrize(
    ("loop", "said"),
    [
        ("16.012 s", ["flint: 'loop' lies 12 ms after a beat"]),
        ("15.99 s", ["flint: 'loop' lies 10 ms before a beat"]),
        ("16.004 s", []),
        ("bar 9", []),
    ],
)
def test_a_marker_beside_the_beat_is_told_with_its_distance(loop, said):
    """At 120 BPM from 0 s on, a beat falls on every half second."""
    record = Record(f"bpm: 120; first_beat: 0; markers: {{drop: bar 33, loop: {loop}}}")
    plan = planned({"flint": record, "steel": Record(LINES)})
    assert [reason.text for reason in plan.reasons if reason.code == "marker-off-beat"] == said
