"""Values with units, as a performer writes them: `8 beats`, `-1.5 dB`, `0.312 s`, `1:29.614`.

Every parser takes what YAML delivered (text or a number) and raises `PydanticCustomError` with a code, what is
wrong and what would be right; nothing is guessed.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

from pydantic_core import PydanticCustomError

from render.recipe.nodes import shortened

NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)"
CLOCK = r"\d+:[0-5]\d(?:\.\d+)?"
KEY = r"[A-G][#b]? (?:major|minor)"
LENGTH_UNITS = {"beats": "beats", "beat": "beats", "bars": "bars", "bar": "bars"}
MAX_MAGNITUDE = 1e6
"""Beyond this no quantity of a recipe means anything; it keeps arithmetic finite."""
MIN_BPM, MAX_BPM = 40, 300

_QUANTITY = re.compile(rf"({NUMBER})\s*([A-Za-z]*)")


@dataclass(frozen=True)
class Length:
    """A span counted in beats or in bars."""

    amount: float
    unit: Literal["beats", "bars"]

    def beats(self, beats_per_bar: int) -> float:
        return self.amount * beats_per_bar if self.unit == "bars" else self.amount


def wrong(code: str, what: str, right: str) -> PydanticCustomError:
    """An error whose two halves reach the performer as they are."""
    context = {"what": what, "right": right}
    return PydanticCustomError(code, "{what}; {right}", context)


def shown(raw: Any) -> str:
    """A value as a message repeats it: in the words of the file, not of the program."""
    match raw:
        case None:
            return "nothing"
        case dict():
            return "a mapping"
        case list() | tuple():
            return "a list"
        case bool():
            return f"'{str(raw).lower()}'"
        case float():
            return f"'{_decimal(raw)}'"
        case _:
            return f"'{shortened(str(raw))}'"


def as_text(raw: Any, right: str) -> str:
    """What YAML delivered, as one line of text without typographic minus signs."""
    if isinstance(raw, bool) or not isinstance(raw, str | int | float):
        what = "nothing is written" if raw is None else f"{shown(raw)} where one value belongs"
        raise wrong("wrong-type", what, right)
    text = _decimal(raw) if isinstance(raw, float) else str(raw)
    return " ".join(text.replace("\N{MINUS SIGN}", "-").split())


def _decimal(number: float) -> str:
    """A number without an exponent, in as few digits as tell it from its neighbours."""
    return f"{Decimal(repr(number)):f}"


def _quantity(
    raw: Any, units: dict[str, str], example: str, low: float = -MAX_MAGNITUDE, high: float = MAX_MAGNITUDE
) -> tuple[float, str]:
    """The amount, from `low` to `high`, and the unit; `units` gives each spelling's unit."""
    text = as_text(raw, f"write it like `{example}`")
    match = _QUANTITY.fullmatch(text)
    if not match:
        raise wrong(
            "not-a-quantity", f"{shown(text)} is not a number with a unit", f"write it like `{example}`"
        )
    amount, unit = float(match[1]), match[2]
    if not unit:
        named = next(iter(units))
        if abs(amount) == 1 and named.removesuffix("s") in units:
            named = named.removesuffix("s")
        right = f"write `{text} {named}`" if low <= amount <= high else f"write it like `{example}`"
        raise wrong("no-unit", f"{shown(text)} has no unit", right)
    if unit not in units:
        named = " or ".join(dict.fromkeys(units.values()))
        what = f"{shown(text)}: the unit '{shortened(unit)}' does not fit here"
        raise wrong("wrong-unit", what, f"use {named}, as in `{example}`")
    if not low <= amount <= high:
        right = f"use {low:g} to {high:g} {unit}" if high < MAX_MAGNITUDE else f"write it like `{example}`"
        raise wrong("out-of-range", f"{shown(text)} is out of range", right)
    return amount, units[unit]


def length(raw: Any) -> Length:
    """`8 beats` or `2 bars`, zero or more."""
    if isinstance(raw, Length):
        return raw
    amount, unit = _quantity(raw, LENGTH_UNITS, "8 beats", low=0.0)
    return Length(amount, "bars" if unit == "bars" else "beats")


def shift(raw: Any) -> float:
    """`1 beat`, `-2 beats`, `0.5 beats`: how far bar 1 moves, in whole or half beats."""
    beats = dict.fromkeys(("beats", "beat"), "beats")
    amount = _quantity(raw, beats, "1 beat", -64.0, 64.0)[0]
    if amount * 2 % 1:
        raise wrong("out-of-range", f"{amount:g} beats are neither whole nor half ones", "as in `0.5 beats`")
    return amount


def share(raw: Any) -> float:
    """A share from 0 to 1, as a plain number."""
    if isinstance(raw, bool) or not isinstance(raw, int | float) or not 0 <= raw <= 1:
        raise wrong("not-a-share", f"{shown(raw)} is not a share", "write a plain number from 0 to 1")
    return float(raw)


def decibels(raw: Any) -> float:
    return _quantity(raw, {"dB": "dB"}, "-1.5 dB", -60.0, 24.0)[0]


def ceiling(raw: Any) -> float:
    return _quantity(raw, {"dBTP": "dBTP"}, "-1 dBTP", -24.0, 0.0)[0]


def hertz(raw: Any) -> float:
    return _quantity(raw, {"Hz": "Hz"}, "150 Hz", 20.0, 1000.0)[0]


def milliseconds(raw: Any) -> float:
    return _quantity(raw, {"ms": "ms"}, "25 ms", -1000.0, 1000.0)[0]


def seconds(raw: Any) -> float:
    """`0.312 s`, `1:29.614`, or a plain number of seconds: a time inside a recording."""
    right = "write it like `0.312 s` or `1:29.614`"
    text = as_text(raw, right)
    if re.fullmatch(CLOCK, text):
        minutes, rest = text.split(":")
        amount = float(minutes) * 60 + float(rest)  # a float, for which no number of digits is too many
    elif re.fullmatch(NUMBER, text):
        amount = float(text)
    elif _QUANTITY.fullmatch(text):
        amount = _quantity(text, {"s": "s"}, "0.312 s")[0]
    else:
        raise wrong("not-a-time", f"{shown(text)} is not a time", right)
    if abs(amount) > MAX_MAGNITUDE:
        raise wrong("out-of-range", f"{shown(text)} is far out of range", right)
    return amount


def pitch(raw: Any) -> float | None:
    """`+1 semitone`, `0`, or `follow`: semitones on top of a kept pitch, or None to let it go with the tempo."""
    right = "write `+1 semitone` or `follow`"
    text = as_text(raw, right)
    if text == "follow":
        return None
    if re.fullmatch(r"[+-]?0+(?:\.0*)?", text):
        return 0.0
    if not _QUANTITY.fullmatch(text):
        raise wrong("not-a-pitch", f"{shown(text)} is not a pitch", right)
    units = {"semitones": "semitones", "semitone": "semitones"}
    return _quantity(text, units, "+1 semitone", -12.0, 12.0)[0]


def bpm(raw: Any) -> float:
    """A tempo as a plain number of beats a minute."""
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        right = "write a plain number, as in `174` or `171.5`"
        raise wrong("not-a-tempo", f"{shown(raw)} is not a tempo", right)
    if not MIN_BPM <= raw <= MAX_BPM:
        raise wrong("out-of-range", f"{shown(raw)} is out of range", f"use {MIN_BPM} to {MAX_BPM} BPM")
    return float(raw)


def key(raw: Any) -> str:
    """A musical key, as in `F minor`, `F# minor` or `Bb major`."""
    right = "write it like `F minor`, `F# minor` or `Bb major`"
    text = as_text(raw, right)
    if not re.fullmatch(KEY, text):
        raise wrong("not-a-key", f"{shown(text)} is not a key", right)
    return text
