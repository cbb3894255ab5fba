"""Values with units are read as written, and nothing is guessed where the unit is missing or wrong."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError

from render.recipe import quantities
from render.recipe.quantities import Length


@pytest.mark.parametrize(
    ("parser", "written", "value"),
    [
        (quantities.length, "8 beats", Length(8.0, "beats")),
        (quantities.length, "1 beat", Length(1.0, "beats")),
        (quantities.length, "8beats", Length(8.0, "beats")),
        (quantities.length, "+8 beats", Length(8.0, "beats")),
        (quantities.length, "0.5 beats", Length(0.5, "beats")),
        (quantities.length, "2 bars", Length(2.0, "bars")),
        (quantities.length, "0 beats", Length(0.0, "beats")),
        (quantities.decibels, "-1.5 dB", -1.5),
        (quantities.decibels, "−1.5 dB", -1.5),
        (quantities.decibels, "+3dB", 3.0),
        (quantities.decibels, "0 dB", 0.0),
        (quantities.ceiling, "-1 dBTP", -1.0),
        (quantities.ceiling, "−2.5 dBTP", -2.5),
        (quantities.ceiling, "0 dBTP", 0.0),
        (quantities.hertz, "150 Hz", 150.0),
        (quantities.hertz, "20 Hz", 20.0),
        (quantities.milliseconds, "25 ms", 25.0),
        (quantities.milliseconds, "-25.06 ms", -25.06),
        (quantities.seconds, "0.312 s", 0.312),
        (quantities.seconds, "-0.1 s", -0.1),
        (quantities.seconds, "−0.1 s", -0.1),
        (quantities.seconds, 0.312, 0.312),
        (quantities.seconds, 7, 7.0),
        (quantities.seconds, 0.00001, 0.00001),
        (quantities.seconds, "1:32", 92.0),
        (quantities.seconds, "1:29.614", 89.614),
        (quantities.pitch, "+1 semitone", 1.0),
        (quantities.pitch, "-2 semitones", -2.0),
        (quantities.pitch, "−0.5 semitones", -0.5),
        (quantities.pitch, 0, 0.0),
        (quantities.pitch, 0.0, 0.0),
        (quantities.pitch, "follow", None),
        (quantities.bpm, 174, 174.0),
        (quantities.bpm, 171.5, 171.5),
        (quantities.bpm, 40, 40.0),
        (quantities.bpm, 300, 300.0),
        (quantities.key, "F minor", "F minor"),
        (quantities.key, "F#  minor", "F# minor"),
        (quantities.key, "Bb major", "Bb major"),
    ],
)
def test_a_value_is_read_with_its_unit(parser, written, value):
    assert parser(written) == value


@pytest.mark.parametrize(
    ("parser", "written", "code", "wrong", "right"),
    [
        (quantities.length, 8, "no-unit", "'8' has no unit", "write `8 beats`"),
        (quantities.length, 1, "no-unit", "'1' has no unit", "write `1 beat`"),
        (quantities.length, -8, "no-unit", "'-8' has no unit", "write it like `8 beats`"),
        (
            quantities.length,
            "-8 beats",
            "out-of-range",
            "'-8 beats' is out of range",
            "write it like `8 beats`",
        ),
        (
            quantities.length,
            "8 s",
            "wrong-unit",
            "'8 s': the unit 's' does not fit here",
            "use beats or bars, as in `8 beats`",
        ),
        (
            quantities.length,
            "eight",
            "not-a-quantity",
            "'eight' is not a number with a unit",
            "write it like `8 beats`",
        ),
        (quantities.decibels, 3, "no-unit", "'3' has no unit", "write `3 dB`"),
        (quantities.decibels, "30 dB", "out-of-range", "'30 dB' is out of range", "use -60 to 24 dB"),
        (
            quantities.decibels,
            "3 db",
            "wrong-unit",
            "'3 db': the unit 'db' does not fit here",
            "use dB, as in `-1.5 dB`",
        ),
        (
            quantities.decibels,
            "-1,5 dB",
            "not-a-quantity",
            "'-1,5 dB' is not a number with a unit",
            "write it like `-1.5 dB`",
        ),
        (
            quantities.ceiling,
            "-1 dB",
            "wrong-unit",
            "'-1 dB': the unit 'dB' does not fit here",
            "use dBTP, as in `-1 dBTP`",
        ),
        (quantities.ceiling, 1, "no-unit", "'1' has no unit", "write it like `-1 dBTP`"),
        (quantities.ceiling, "1 dBTP", "out-of-range", "'1 dBTP' is out of range", "use -24 to 0 dBTP"),
        (
            quantities.hertz,
            "150 kHz",
            "wrong-unit",
            "'150 kHz': the unit 'kHz' does not fit here",
            "use Hz, as in `150 Hz`",
        ),
        (quantities.hertz, "5 Hz", "out-of-range", "'5 Hz' is out of range", "use 20 to 1000 Hz"),
        (
            quantities.milliseconds,
            "25 s",
            "wrong-unit",
            "'25 s': the unit 's' does not fit here",
            "use ms, as in `25 ms`",
        ),
        (
            quantities.seconds,
            "soon",
            "not-a-time",
            "'soon' is not a time",
            "write it like `0.312 s` or `1:29.614`",
        ),
        (
            quantities.seconds,
            "5 ms",
            "wrong-unit",
            "'5 ms': the unit 'ms' does not fit here",
            "use s, as in `0.312 s`",
        ),
        (
            quantities.seconds,
            -1e9,
            "out-of-range",
            "'-1000000000.0' is far out of range",
            "write it like `0.312 s` or `1:29.614`",
        ),
        *(
            (
                quantities.seconds,
                "1" * digits + ":00",
                "out-of-range",
                f"'{'1' * 47}…' is far out of range",
                "write it like `0.312 s` or `1:29.614`",
            )
            for digits in (400, 5000)  # more than a float holds, and more than Python reads as a whole number
        ),
        (quantities.pitch, 1, "no-unit", "'1' has no unit", "write `1 semitone`"),
        (quantities.pitch, "up", "not-a-pitch", "'up' is not a pitch", "write `+1 semitone` or `follow`"),
        (
            quantities.pitch,
            "13 semitones",
            "out-of-range",
            "'13 semitones' is out of range",
            "use -12 to 12 semitones",
        ),
        (
            quantities.bpm,
            "174 BPM",
            "not-a-tempo",
            "'174 BPM' is not a tempo",
            "write a plain number, as in `174` or `171.5`",
        ),
        (quantities.bpm, 39.9, "out-of-range", "'39.9' is out of range", "use 40 to 300 BPM"),
        (quantities.bpm, 10**400, "out-of-range", None, "use 40 to 300 BPM"),
        (
            quantities.key,
            "Fm",
            "not-a-key",
            "'Fm' is not a key",
            "write it like `F minor`, `F# minor` or `Bb major`",
        ),
        (
            quantities.key,
            "H minor",
            "not-a-key",
            "'H minor' is not a key",
            "write it like `F minor`, `F# minor` or `Bb major`",
        ),
        (
            quantities.length,
            ["8 beats"],
            "wrong-type",
            "a list where one value belongs",
            "write it like `8 beats`",
        ),
        (
            quantities.seconds,
            {"s": 1},
            "wrong-type",
            "a mapping where one value belongs",
            "write it like `0.312 s` or `1:29.614`",
        ),
        (quantities.hertz, True, "wrong-type", "'true' where one value belongs", "write it like `150 Hz`"),
        (
            quantities.pitch,
            None,
            "wrong-type",
            "nothing is written",
            "write `+1 semitone` or `follow`",
        ),
    ],
)
def test_a_wrong_value_is_told_with_what_would_be_right(parser, written, code, wrong, right):
    with pytest.raises(PydanticCustomError) as caught:
        parser(written)
    context = caught.value.context
    assert context is not None
    assert (caught.value.type, context["right"]) == (code, right)
    if wrong is not None:
        assert context["what"] == wrong


@pytest.mark.parametrize(
    "parser",
    [
        quantities.length,
        quantities.decibels,
        quantities.ceiling,
        quantities.hertz,
        quantities.milliseconds,
        quantities.pitch,
    ],
)
@given(number=st.integers(-9, 9) | st.sampled_from([150, -1.5, 0.5]))
def test_a_suggested_value_is_itself_accepted(parser, number):
    """Whoever writes what the message says is done."""
    if parser is quantities.pitch and number == 0:
        return
    with pytest.raises(PydanticCustomError) as caught:
        parser(number)
    context = caught.value.context
    assert context is not None
    suggested = context["right"].split("`")[1]
    parser(suggested)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
        lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(), inner, max_size=2),
        max_leaves=4,
    )
)
def test_a_parser_returns_finite_numbers_or_says_what_is_wrong(raw):
    for parser in (
        quantities.length,
        quantities.decibels,
        quantities.ceiling,
        quantities.hertz,
        quantities.milliseconds,
        quantities.seconds,
        quantities.pitch,
        quantities.bpm,
        quantities.key,
    ):
        try:
            value = parser(raw)
        except PydanticCustomError as error:
            assert error.context is not None
            assert error.context["what"]
            assert error.context["right"]
        else:
            amount = value.amount if isinstance(value, Length) else value
            assert isinstance(amount, str | None) or math.isfinite(amount)


@given(st.integers(0, 999), st.integers(0, 59_999))
def test_minutes_and_seconds_add_up(minutes, milliseconds):
    written = f"{minutes}:{milliseconds // 1000:02d}.{milliseconds % 1000:03d}"
    # A double holds these times to better than a tenth of a microsecond.
    assert quantities.seconds(written) == pytest.approx(minutes * 60 + milliseconds / 1000, abs=1e-7)


@given(st.floats(-1e5, 1e5, allow_nan=False))
def test_a_plain_number_of_seconds_is_taken_to_the_last_digit(number):
    assert quantities.seconds(number) == number


def test_bars_are_beats_by_the_length_of_a_bar():
    assert Length(2.0, "bars").beats(4) == 8.0
    assert Length(2.0, "bars").beats(3) == 6.0
    assert Length(8.0, "beats").beats(3) == 8.0
