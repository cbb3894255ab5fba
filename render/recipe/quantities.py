"""Values with units, as a performer writes them: `8 beats`, `-1.5 dB`, `0.312 s`, `1:29.614`.

Every parser takes what YAML delivered (text or a number) and raises `PydanticCustomError` with a code, what is
wrong and what would be right; nothing is guessed.
"""

import re
from dataclasses import dataclass
from typing import Any, Literal

from pydantic_core import PydanticCustomError

NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)"
CLOCK = r"\d+:[0-5]\d(?:\.\d+)?"
LENGTH_UNITS = {"beat": "beats", "beats": "beats", "bar": "bars", "bars": "bars"}
MAX_MAGNITUDE = 1e6
"""Beyond this no quantity of a recipe means anything; it keeps arithmetic finite."""

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


def as_text(raw: Any) -> str:
    """What YAML delivered, as one line of text without typographic minus signs."""
    if isinstance(raw, bool) or not isinstance(raw, str | int | float):
        shown = "a list" if isinstance(raw, list) else "a mapping" if isinstance(raw, dict) else f"'{raw}'"
        raise wrong("wrong-type", f"{shown} where one value belongs", "write one value on the line")
    return " ".join(str(raw).replace("\N{MINUS SIGN}", "-").split())


def _quantity(raw: Any, units: dict[str, str], example: str) -> tuple[float, str]:
    text = as_text(raw)
    match = _QUANTITY.fullmatch(text)
    if not match:
        raise wrong("not-a-quantity", f"'{text}' is not a number with a unit", f"write it like `{example}`")
    amount, unit = float(match[1]), match[2]
    if not unit:
        right = f"`{text} {example.split()[-1]}` would be right"
        raise wrong("no-unit", f"'{text}' has no unit", right)
    if unit not in units:
        named = " or ".join(dict.fromkeys(units.values()))
        raise wrong(
            "wrong-unit", f"'{text}': the unit '{unit}' does not fit here", f"use {named}: `{example}`"
        )
    if abs(amount) > MAX_MAGNITUDE:
        raise wrong("out-of-range", f"'{text}' is far out of range", f"write it like `{example}`")
    return amount, units[unit]


def _within(amount: float, low: float, high: float, unit: str) -> float:
    if not low <= amount <= high:
        raise wrong("out-of-range", f"{amount:g} {unit} is out of range", f"use {low:g} to {high:g} {unit}")
    return amount


def length(raw: Any) -> Length:
    """`8 beats` or `2 bars`, zero or more."""
    if isinstance(raw, Length):
        return raw
    amount, unit = _quantity(raw, LENGTH_UNITS, "8 beats")
    if amount < 0:
        raise wrong("out-of-range", f"'{as_text(raw)}' is negative", "a length is zero or more")
    return Length(amount, "bars" if unit == "bars" else "beats")


def decibels(raw: Any) -> float:
    return _within(_quantity(raw, {"dB": "dB"}, "-1.5 dB")[0], -60.0, 24.0, "dB")


def ceiling(raw: Any) -> float:
    return _within(_quantity(raw, {"dBTP": "dBTP"}, "-1 dBTP")[0], -24.0, 0.0, "dBTP")


def hertz(raw: Any) -> float:
    return _within(_quantity(raw, {"Hz": "Hz"}, "150 Hz")[0], 20.0, 1000.0, "Hz")


def milliseconds(raw: Any) -> float:
    return _within(_quantity(raw, {"ms": "ms"}, "25 ms")[0], -1000.0, 1000.0, "ms")


def seconds(raw: Any) -> float:
    """`0.312 s`, `1:29.614`, or a plain number of seconds: a time inside a recording."""
    text = as_text(raw)
    if re.fullmatch(CLOCK, text):
        minutes, rest = text.split(":")
        amount = int(minutes) * 60 + float(rest)
    elif re.fullmatch(NUMBER, text):
        amount = float(text)
    elif ":" in text:
        raise wrong("not-a-time", f"'{text}' is not a time", "write m:ss.mmm, as in `1:29.614`")
    else:
        amount = _quantity(raw, {"s": "s"}, "0.312 s")[0]
    if amount > MAX_MAGNITUDE:
        raise wrong("out-of-range", f"'{text}' is far out of range", "write m:ss.mmm, as in `1:29.614`")
    return amount


def pitch(raw: Any) -> float | None:
    """`+1 semitone`, `0`, or `follow`: semitones on top of a kept pitch, or None to let it go with the tempo."""
    text = as_text(raw)
    if text == "follow":
        return None
    if re.fullmatch(r"[+-]?0+(?:\.0*)?", text):
        return 0.0
    units = {"semitone": "semitones", "semitones": "semitones"}
    return _within(_quantity(raw, units, "+1 semitone")[0], -12.0, 12.0, "semitones")


def bpm(raw: Any) -> float:
    """A tempo as a plain number of beats a minute."""
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        raise wrong(
            "not-a-tempo", f"{_shown(raw)} is not a tempo", "write a plain number, as in `174` or `171.5`"
        )
    return _within(float(raw), 40.0, 300.0, "BPM")


def _shown(raw: Any) -> str:
    return "a list" if isinstance(raw, list) else "a mapping" if isinstance(raw, dict) else f"'{raw}'"
