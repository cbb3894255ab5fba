"""What is stated wins, what is left out is measured, and each fact says where it came from."""

import pytest

from render.facts import (
    BarFacts,
    ByBars,
    DropCandidate,
    Fact,
    Given,
    GivenBeats,
    GridFinding,
    KeyCandidate,
    RecordFacts,
    Recording,
    RecordLevels,
    TrackFacts,
)
from render.recipe.known import UnknownFacts, given_of, needs_hearing, time_in_record, track_facts
from render.recipe.positions import track_position
from render.recipe.reader import read
from render.recipe.schema import Recipe
from render.values import Grid

RECORDING = Recording("flint.flac", "FLAC", 44_100, 2, 44_100 * 240, 1)
GRID = Grid(0.5, 120.0)
BARS = 64
LATE = ((0.0, 0.0), (128.0, 0.004))
"""By beat 128 the record lies 4 ms late."""
HEARD = RecordFacts(
    duration_s=240.0,
    levels=RecordLevels(-9.0, 6.0, -0.2, -0.3, 0),
    tonal_weight=0.45,
    by_bars=ByBars(
        grid=GridFinding(GRID, 0.97, 60.0, True, 1.0, 0.9, 0.7, 8, 1, ("a close call",), late=LATE),
        drops=(DropCandidate(64.5, 33, 4.0, ("low end",)), DropCandidate(96.5, 49, 3.0, ("louder",))),
        keys=(KeyCandidate("F minor", 0.8, 0.6),),
        stripped=(),
        bars=BarFacts(
            starts_s=tuple(GRID.time_s(4 * bar) for bar in range(BARS + 1)),
            voice=(0.0,) * BARS,
            voice_confidence=(1.0,) * BARS,
            voiced=tuple(8 <= bar < 16 or bar == 20 for bar in range(BARS)),
            low_end=(0.5,) * BARS,
            bands_db=((-10.0,) * 10,) * BARS,
        ),
    ),
)
SILENT = RecordFacts(10.0, RecordLevels(None, None, None, None, 0), 0.0, None)


def recipe(lines: str, jump: str = "") -> Recipe:
    tracks = f"  flint: {{file: flint.flac{lines}}}\n  steel: {{file: steel.flac}}\n"
    text = f"recipe: 1\ntitle: Test\ntracks:\n{tracks}{jump}"
    (reading,) = read(text, "test.yaml")
    assert reading.recipe is not None and not reading.problems, reading.problems
    return reading.recipe


def facts(lines: str) -> TrackFacts:
    return track_facts(recipe(lines), "flint", RECORDING, HEARD)


def problem(lines: str, heard: RecordFacts | None = HEARD, jump: str = "") -> str:
    with pytest.raises(UnknownFacts) as caught:
        track_facts(recipe(lines, jump), "flint", RECORDING, heard)
    (only,) = caught.value.problems
    return f"{'.'.join(map(str, only.path))}: {only.wrong}; {only.right}"


def test_a_record_without_any_statement_goes_by_what_was_heard():
    known = facts("")
    assert (known.tempo_bpm.value, known.tempo_bpm.source, known.tempo_bpm.confidence) == (
        120.0,
        "measured",
        0.97,
    )
    # Bar 1 is as sure as the less sure of the beat and the bar.
    assert (known.first_beat_s.source, known.first_beat_s.confidence) == ("measured", 0.7)
    assert (known.drop_s.value, known.drop_s.source) == (64.5, "measured")
    assert 0.5 < known.drop_s.confidence < 1.0
    assert known.key is not None and (known.key.value, known.key.source) == ("F minor", "measured")
    assert known.tonal_weight is not None and known.tonal_weight.value == 0.45
    assert known.warnings == ("a close call",)


def test_the_bars_with_a_voice_become_spans_of_time():
    known = facts("")
    assert known.voice_s is not None
    # Bars 9 to 16 and 21 of two seconds each, from 0.5 s on.
    assert known.voice_s.value == ((16.5, 32.5), (40.5, 42.5))


def test_what_is_stated_wins_and_says_so():
    known = facts(", bpm: 121, key: C minor, tonal_weight: 0.1, voice: bars 2 to 3, markers: {drop: 70 s}")
    assert (known.key, known.tonal_weight) == (Fact("C minor"), Fact(0.1))
    assert [fact.source for fact in (known.tempo_bpm, known.drop_s)] == ["stated", "stated"]
    assert known.first_beat_s.source == "measured"
    assert known.drop_s.value == 70.0
    assert known.voice_s is not None and known.voice_s.value == ((2.5, 6.5),)


def test_beats_from_beside_the_record_are_told_apart():
    marked = Given(beats=GivenBeats((0.5, 1.0), 0, 4))
    known = track_facts(recipe(""), "flint", RECORDING, HEARD, marked, ("a remark",))
    facts = (known.tempo_bpm, known.first_beat_s, known.beats_per_bar, known.drop_s)
    assert [fact.source for fact in facts] == ["beside", "beside", "beside", "measured"]
    assert known.warnings == ("a remark", "a close call")
    unnumbered = track_facts(recipe(""), "flint", RECORDING, HEARD, Given(beats=GivenBeats((0.5, 1.0))))
    assert unnumbered.beats_per_bar.source == "assumed"


@pytest.mark.parametrize(
    ("lines", "drop_s"),
    [
        (", markers: {drop: drop 2}", 96.5),
        (", markers: {drop: drop 2 - 8 beats}", 92.5),
        (", markers: {build: drop 1 - 16 bars, drop: build + 16 bars}", 64.5),
        # A bar of a measured grid is taken where this stretch of the record lies: 4 ms late from beat 128 on.
        (", markers: {drop: bar 33}", 64.504),
        (", markers: {drop: bar 17}", 32.502),
        # A bar of a stated grid is taken by the grid alone.
        (", bpm: 120, first_beat: 0.5, markers: {drop: bar 33}", 64.5),
        # Times as stated are moved by `offset`, measured ones are the file's own.
        (", offset: 25 ms, markers: {drop: 70 s}", 70.025),
        (", offset: 25 ms", 64.5),
    ],
)
def test_the_drop_is_where_it_was_stated_to_be(lines, drop_s):
    assert facts(lines).drop_s.value == pytest.approx(drop_s, abs=1e-9)


def test_a_marker_may_lean_on_a_drop_that_nobody_stated():
    (track, *_) = recipe(", markers: {loop: drop - 64 beats}").tracks.values()
    assert time_in_record(track, track_position("loop"), GRID, (64.5, 96.5)) == pytest.approx(32.5)
    assert time_in_record(track, track_position("drop 2 - 1 bar"), GRID, (64.5, 96.5)) == pytest.approx(94.5)


def test_on_a_grid_that_drifts_beats_are_counted_by_its_own_beats():
    grid = Grid(0.0, 120.0, 4, (0.0, 0.5, 1.1, 1.8, 2.4, 2.9))
    (track, *_) = recipe("").tracks.values()
    assert time_in_record(track, track_position("bar 1.3"), grid) == pytest.approx(1.1)
    assert time_in_record(track, track_position("1.8 s - 2 beats"), grid) == pytest.approx(0.5)
    assert time_in_record(track, track_position("bar 2.2 + 2 beats"), grid) == pytest.approx(3.9)


JUMP = "jump_back:\n  - {track: flint, at: landing, to: drop 2}\n"


@pytest.mark.parametrize(
    ("lines", "needs"),
    [
        ("", True),
        (", bpm: 120, first_beat: 0", True),
        (", bpm: 120, markers: {drop: 60}", True),
        (", first_beat: 0, markers: {drop: 60}", True),
        (", bpm: 120, first_beat: 0, markers: {drop: drop 2}", True),
        (", bpm: 120, first_beat: 0, markers: {drop: bar 9}", False),
    ],
)
def test_only_what_is_left_out_is_listened_for(lines, needs):
    assert needs_hearing(recipe(lines), "flint") is needs


def test_a_jump_to_a_heard_drop_is_listened_for():
    assert needs_hearing(recipe(", bpm: 120, first_beat: 0, markers: {drop: bar 9}", JUMP), "flint")


def test_what_is_stated_of_a_record_is_known_before_it_is_heard():
    lines = ", count: half, nudge: -4 ms, shift: 0.5 beats, beats_per_bar: 3, phrase: 16 bars"
    (track, *_) = recipe(lines).tracks.values()
    assert given_of(track) == Given(
        multiple=0.5, nudge_s=-0.004, shift_beats=0.5, beats_per_bar=3, phrase_bars=16
    )
    (stated, *_) = recipe(", bpm: 120, first_beat: 1 s, offset: 25 ms, phrase: 32 beats").tracks.values()
    assert given_of(stated) == Given(tempo_bpm=120.0, first_beat_s=1.025, phrase_bars=8)


def test_a_drop_that_was_not_heard_is_told_where_it_is_asked_for():
    assert problem(", markers: {drop: drop 3}") == (
        "tracks.flint.markers.drop: 'drop 3': the record of 'flint' was heard to drop in 2 places; "
        "use up to `drop 2`, or state a time"
    )
    nothing = problem(", bpm: 120, first_beat: 0, markers: {drop: bar 9}", SILENT, JUMP)
    assert nothing.startswith(
        "jump_back.0.to: 'drop 2': the record of 'flint' was heard to drop in no place; "
    )


def test_a_record_without_a_beat_asks_for_what_it_needs():
    assert problem("", SILENT) == (
        "tracks.flint: no beat was found in the record of 'flint'; "
        "state `bpm`, `first_beat` and the marker `drop`"
    )


def test_a_record_without_a_drop_asks_for_one():
    assert "no drop was found" in problem(", bpm: 120, first_beat: 0", SILENT)
