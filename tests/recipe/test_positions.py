"""Positions are read as they are written, and stand for the right time.

Times are checked against exact fractions: beats · 60 / BPM from the first beat.
"""

from fractions import Fraction

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError
from spellings import written_bases, written_offsets

from render.recipe.known import time_in_record
from render.recipe.markers import MarkerCircle, UnknownMarker, circles, resolved
from render.recipe.positions import (
    AtBar,
    AtMarker,
    AtTime,
    ClipPosition,
    TrackPosition,
    clip_position,
    is_marker_name,
    track_position,
)
from render.recipe.quantities import Length
from render.recipe.schema import Track
from render.values import Grid

ROUNDING_S = 1e-9
"""Double precision keeps times of a few hours to about 1e-12 s; a thousand such roundings fit in here."""


@pytest.mark.parametrize(
    ("written", "base"),
    [
        ("1:29.614", AtTime(89.614)),
        ("0:05", AtTime(5.0)),
        ("75:00.5", AtTime(4500.5)),
        ("29.6 s", AtTime(29.6)),
        ("29.6s", AtTime(29.6)),
        (".5 s", AtTime(0.5)),
        ("89.614", AtTime(89.614)),
        (89.614, AtTime(89.614)),
        (90, AtTime(90.0)),
        (0.00001, AtTime(0.00001)),
        ("bar 1", AtBar(1, 1.0)),
        ("bar 65", AtBar(65, 1.0)),
        ("bar 65.3", AtBar(65, 3.0)),
        ("bar 65.3.5", AtBar(65, 3.5)),
        ("bar  65.12", AtBar(65, 12.0)),
        ("drop", AtMarker("drop")),
        ("pre-drop", AtMarker("pre-drop")),
        ("pre-drop-2", AtMarker("pre-drop-2")),
        ("drums_2", AtMarker("drums_2")),
        ("Außentür", AtMarker("Außentür")),
        ("barrage", AtMarker("barrage")),
    ],
)
def test_every_base_of_a_position_in_a_track_is_read(written, base):
    assert track_position(written).base == base
    assert track_position(written).offset == Length(0.0, "beats")


@pytest.mark.parametrize(
    ("written", "base", "amount", "unit"),
    [
        ("drop - 64 beats", AtMarker("drop"), -64.0, "beats"),
        ("drop + 64 beats", AtMarker("drop"), 64.0, "beats"),
        ("drop-64 beats", AtMarker("drop"), -64.0, "beats"),
        ("drop -64beats", AtMarker("drop"), -64.0, "beats"),
        ("drop − 64 beats", AtMarker("drop"), -64.0, "beats"),
        ("  drop   -  64   beats  ", AtMarker("drop"), -64.0, "beats"),
        ("drop + 1 beat", AtMarker("drop"), 1.0, "beats"),
        ("drop - 0.5 beats", AtMarker("drop"), -0.5, "beats"),
        ("drop - .5 beats", AtMarker("drop"), -0.5, "beats"),
        ("drop - 16 bars", AtMarker("drop"), -16.0, "bars"),
        ("drop - 1 bar", AtMarker("drop"), -1.0, "bars"),
        ("pre-drop - 2 bars", AtMarker("pre-drop"), -2.0, "bars"),
        ("pre-drop-2 bars", AtMarker("pre-drop"), -2.0, "bars"),
        ("bar 65 - 8 bars", AtBar(65, 1.0), -8.0, "bars"),
        ("bar 65.3 + 1 beat", AtBar(65, 3.0), 1.0, "beats"),
        ("1:29.614 - 4 beats", AtTime(89.614), -4.0, "beats"),
        ("29.6 s + 2 bars", AtTime(29.6), 2.0, "bars"),
    ],
)
def test_beats_and_bars_are_counted_from_every_base(written, base, amount, unit):
    position = track_position(written)
    assert (position.base, position.offset) == (base, Length(amount, unit))


@pytest.mark.parametrize(
    ("written", "base", "amount", "unit"),
    [
        ("start", "start", 0.0, "beats"),
        ("landing", "landing", 0.0, "beats"),
        ("end", "end", 0.0, "beats"),
        ("landing - 32 beats", "landing", -32.0, "beats"),
        ("landing-32 beats", "landing", -32.0, "beats"),
        ("landing − 32 beats", "landing", -32.0, "beats"),
        ("start + 2 bars", "start", 2.0, "bars"),
        ("end - 1 bar", "end", -1.0, "bars"),
    ],
)
def test_every_position_in_the_clip_is_read(written, base, amount, unit):
    position = clip_position(written)
    assert (position.base, position.offset) == (base, Length(amount, unit))


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("", "bad-position"),
        ("bar", "bad-position"),
        ("bar x", "bad-position"),
        ("bar 0", "bad-bar"),
        ("bar 65.0", "bad-bar"),
        ("bar 123456", "bad-position"),
        ("drop - 64", "no-unit"),
        ("drop - 64 s", "wrong-unit"),
        ("drop - 64 Beats", "wrong-unit"),
        ("drop - beats", "bad-position"),
        ("drop + -64 beats", "bad-position"),
        ("drop - 8 beats - 1 bar", "bad-position"),
        ("drop minus 64 beats", "bad-position"),
        ("drop - 1e3 beats", "bad-position"),
        ("drop - 10000000 beats", "out-of-range"),
        ("1:75", "not-a-time"),
        ("1:5", "not-a-time"),
        ("1:29:614", "not-a-time"),
        ("-1:29", "not-a-time"),
        ("12 m", "wrong-unit"),
        ("99999999 s", "out-of-range"),
        ("-5 s", "before-start"),
        (-5, "before-start"),
        (True, "wrong-type"),
        (None, "wrong-type"),
        (["drop"], "wrong-type"),
        ({"drop": 1}, "wrong-type"),
    ],
)
def test_what_is_no_position_in_a_track_is_refused(written, code):
    with pytest.raises(PydanticCustomError) as caught:
        track_position(written)
    assert caught.value.type == code


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("drop", "bad-position"),
        ("bar 65", "bad-position"),
        ("1:29.614", "bad-position"),
        ("Landing", "bad-position"),
        ("landing - 32", "no-unit"),
        ("landing - 2 s", "wrong-unit"),
        ("- 32 beats", "bad-position"),
        (64, "bad-position"),
        (None, "wrong-type"),
    ],
)
def test_what_is_no_position_in_the_clip_is_refused(written, code):
    with pytest.raises(PydanticCustomError) as caught:
        clip_position(written)
    assert caught.value.type == code


@given(written_bases(), written_offsets())
def test_every_spelling_of_a_track_position_is_read_as_meant(base, offset):
    read = track_position(base[0] + offset[0])
    assert read.offset == offset[1]
    if isinstance(base[1], AtTime):
        assert isinstance(read.base, AtTime)
        assert read.base.time_s == pytest.approx(base[1].time_s, abs=ROUNDING_S)
    else:
        assert read.base == base[1]


@given(st.sampled_from(["start", "landing", "end"]), written_offsets())
def test_every_spelling_of_a_clip_position_is_read_as_meant(base, offset):
    read = clip_position(base + offset[0])
    assert (read.base, read.offset) == (base, offset[1])


@given(written_bases(), written_offsets())
def test_what_is_kept_of_the_spelling_is_read_the_same(base, offset):
    read = track_position(base[0] + offset[0])
    assert track_position(read.written) == read
    assert track_position(read) is read


@given(st.text(max_size=30))
@example("pre-2beats")
@example("a-99999999beats")
def test_a_marker_can_have_every_name_that_a_position_can_say(text):
    assume(text == " ".join(text.split()))
    try:
        said = track_position(text).base == AtMarker(text)
    except PydanticCustomError:
        said = False
    assert is_marker_name(text) is said


@pytest.mark.parametrize(
    "name", ["bar", "2nd", "-drop", "a b", "drop!", "", "pre-2beats", "pre-2bars", "x-1bar"]
)
def test_a_name_that_would_mean_something_else_is_no_marker(name):
    assert not is_marker_name(name)


def time_of(position: TrackPosition, markers: dict[str, TrackPosition], grid: Grid) -> float:
    return time_in_record(Track(file="-", markers=markers), position, grid)


grids = st.tuples(st.integers(-500, 5000), st.integers(4000, 30_000), st.integers(1, 32))
"""First beat in ms, tempo in hundredths of a BPM, beats per bar."""


def grid_of(first_beat_ms: int, hundredth_bpm: int, beats_per_bar: int) -> Grid:
    return Grid(first_beat_ms / 1000, hundredth_bpm / 100, beats_per_bar)


@given(grids, st.integers(1, 400), st.integers(1, 32), st.integers(-8192, 8192))
def test_a_bar_lies_where_exact_fractions_put_it(grid, bar, beat, quarter_beats):
    first_beat_ms, hundredth_bpm, beats_per_bar = grid
    sign = "-" if quarter_beats < 0 else "+"
    position = track_position(f"bar {bar}.{beat} {sign} {abs(quarter_beats) / 4} beats")
    beats = (bar - 1) * beats_per_bar + (beat - 1) + Fraction(quarter_beats, 4)
    exact = Fraction(first_beat_ms, 1000) + beats * 60 / Fraction(hundredth_bpm, 100)
    assert time_of(position, {}, grid_of(*grid)) == pytest.approx(float(exact), abs=ROUNDING_S)


@given(grids, st.integers(0, 600_000), st.lists(st.integers(-128, 128), min_size=1, max_size=6))
def test_markers_that_lean_on_one_another_add_up_exactly(grid, drop_ms, bars):
    """A chain of markers, each so many bars from the one before."""
    _, hundredth_bpm, beats_per_bar = grid
    markers = {"m0": track_position(f"{drop_ms / 1000} s")}
    for index, count in enumerate(bars):
        sign = "-" if count < 0 else "+"
        markers[f"m{index + 1}"] = track_position(f"m{index} {sign} {abs(count)} bars")
    exact = Fraction(drop_ms, 1000) + sum(bars) * beats_per_bar * 60 / Fraction(hundredth_bpm, 100)
    found = time_of(track_position(f"m{len(bars)}"), markers, grid_of(*grid))
    assert found == pytest.approx(float(exact), abs=ROUNDING_S)


@given(
    st.sampled_from(["start", "landing", "end"]), st.integers(0, 512), st.integers(1, 512), st.integers(1, 32)
)
def test_a_clip_position_counts_from_the_landing(base, lead, tail, beats_per_bar):
    origin = {"start": -lead, "landing": 0, "end": tail}[base]
    assert clip_position(base).beat(lead, tail, beats_per_bar) == origin
    assert clip_position(f"{base} - 3 beats").beat(lead, tail, beats_per_bar) == origin - 3
    assert clip_position(f"{base} + 3 bars").beat(lead, tail, beats_per_bar) == origin + 3 * beats_per_bar


def test_an_unknown_marker_is_named():
    with pytest.raises(UnknownMarker) as caught:
        resolved(track_position("loop"), {"loop": track_position("dorp - 8 beats")}, 4)
    assert caught.value.name == "dorp"


def test_a_circle_of_markers_is_named_without_the_way_into_it():
    markers = {name: track_position(text) for name, text in {"a": "b", "b": "c + 1 beat", "c": "b"}.items()}
    with pytest.raises(MarkerCircle) as caught:
        resolved(track_position("a"), markers, 4)
    assert set(caught.value.names) == {"b", "c"}
    assert list(circles(markers)) == [("b", "c")]


@given(st.dictionaries(st.sampled_from("abcdefgh"), st.sampled_from("abcdefghx"), max_size=8))
@example({"a": "c", "b": "c", "c": "b"})
def test_circles_are_found_where_following_the_markers_never_ends(points_to):
    """Against plain following: whoever is met again after as many steps as there are markers is in a circle."""
    in_circles = set()
    for start in points_to:
        seen = start
        for _ in points_to:
            seen = points_to.get(seen, "")
        met = set()
        while seen in points_to and seen not in met:
            met.add(seen)
            seen = points_to[seen]
        in_circles |= met
    found = list(circles({name: TrackPosition(AtMarker(other)) for name, other in points_to.items()}))
    assert {name for circle in found for name in circle} == in_circles
    assert sum(map(len, found)) == len(in_circles)
    for circle in found:
        assert [points_to[name] for name in circle] == [*circle[1:], circle[0]]
        assert circle[0] == next(name for name in points_to if name in circle)


def test_a_read_clip_position_is_left_as_it_is():
    position = ClipPosition("landing", Length(-32.0, "beats"), "landing - 32 beats")
    assert clip_position(position) is position
