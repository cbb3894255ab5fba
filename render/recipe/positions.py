"""Positions in a track and in the clip, as they are written.

    in a track    base [± N beats|bars]     base: m:ss.mmm | N s | bar N | bar N.b | drop N | a marker's name
    in the clip   base [± N beats|bars]     base: start | landing | end

Positions in a track count in the track's own beats; positions in the clip count in the clip's.
"""

import re
from dataclasses import dataclass
from typing import Any, Literal

from render.recipe.nodes import shortened
from render.recipe.quantities import (
    CLOCK,
    LENGTH_UNITS,
    MAX_MAGNITUDE,
    NUMBER,
    Length,
    as_text,
    seconds,
    shown,
    wrong,
)

NAME = r"[^\W\d][\w-]*"
"""A marker's name: a letter, then letters, digits, `_` or `-`."""

_OFFSET = re.compile(
    r"(?P<base>.*?)\s*(?P<sign>[+-])\s*(?P<amount>\d+(?:\.\d*)?|\.\d+)\s*(?P<unit>[A-Za-z]+)"
)
_NO_UNIT = re.compile(r".*\w\s*[+-]\s*\d+(?:\.\d*)?")
_BAR = re.compile(r"bar\s+(\d{1,5})(?:\.(\d{1,2}(?:\.\d+)?))?")
_DROP = re.compile(r"drop\s+(\d{1,3})")
_BARS = re.compile(r"bars?\s+(\d{1,5})(?:\s*(?:to|-|–)\s*(\d{1,5}))?")
NO_VOICE = "none"
_TRACK_EXAMPLE = "write `1:29.614`, `29.6 s`, `bar 65`, `bar 65.3`, or a marker as in `drop - 64 beats`"
_CLIP_EXAMPLE = "write `start`, `landing` or `end`, as in `landing - 32 beats`"


@dataclass(frozen=True)
class AtTime:
    time_s: float


@dataclass(frozen=True)
class AtBar:
    bar: int
    beat: float


@dataclass(frozen=True)
class AtDrop:
    """One of the places where the record was heard to drop, the likeliest being 1."""

    number: int


@dataclass(frozen=True)
class AtMarker:
    name: str


@dataclass(frozen=True)
class TrackPosition:
    """A base in a track and an offset in the track's beats or bars."""

    base: AtTime | AtBar | AtDrop | AtMarker
    offset: Length = Length(0.0, "beats")
    written: str = ""


@dataclass(frozen=True)
class ClipPosition:
    """A base in the clip and an offset in the clip's beats or bars."""

    base: Literal["start", "landing", "end"]
    offset: Length = Length(0.0, "beats")
    written: str = ""

    def beat(self, lead_beats: float, tail_beats: float, beats_per_bar: int) -> float:
        """The clip beat, counted from the landing."""
        origin = {"start": -lead_beats, "landing": 0.0, "end": tail_beats}[self.base]
        return origin + self.offset.beats(beats_per_bar)


def track_position(raw: Any) -> TrackPosition:
    """Read a position in a track. Raises PydanticCustomError with what would be right."""
    if isinstance(raw, TrackPosition):
        return raw
    text = as_text(raw, _TRACK_EXAMPLE)
    base, offset = _split(text)
    if match := _BAR.fullmatch(base):
        bar, beat = int(match[1]), float(match[2] or 1)
        if bar < 1 or beat < 1:
            raise wrong("bad-bar", f"'{base}': bars and their beats count from 1", "`bar 1` is the first bar")
        return TrackPosition(AtBar(bar, beat), offset, text)
    if match := _DROP.fullmatch(base):
        if int(match[1]) < 1:
            raise wrong("bad-drop", f"'{base}': drops count from 1", "`drop 2` is the second likeliest place")
        return TrackPosition(AtDrop(int(match[1])), offset, text)
    if is_marker_name(base):
        return TrackPosition(AtMarker(base), offset, text)
    if re.fullmatch(rf"{CLOCK}|{NUMBER}(?:\s*[A-Za-z]+)?", base) or ":" in base:
        time_s = seconds(base)
        if time_s < 0:
            raise wrong("before-start", f"{shown(text)} is before the record starts", "count from 0:00")
        return TrackPosition(AtTime(time_s), offset, text)
    _refuse_missing_unit(text)
    raise wrong("bad-position", f"{shown(text)} is not a position in a track", _TRACK_EXAMPLE)


def bar_spans(raw: Any) -> tuple[tuple[int, int], ...]:
    """Read `bars 9 to 24`, a list of such, or `none`: pairs of first and last bar."""
    right = "write `bars 9 to 24`, a list of such, or `none`"
    spans = []
    for item in raw if isinstance(raw, list | tuple) else [raw]:
        if isinstance(item, tuple):
            spans.append(item)
            continue
        text = as_text(item, right)
        match = _BARS.fullmatch(text)
        if match is None:
            if text == NO_VOICE and not isinstance(raw, list):
                return ()
            raise wrong("bad-bars", f"{shown(text)} is no span of bars", right)
        first = int(match[1])
        last = int(match[2] or first)
        if not 1 <= first <= last:
            raise wrong("bad-bars", f"{shown(text)} does not count upwards from 1", right)
        spans.append((first, last))
    if not spans:
        raise wrong("empty", "an empty list", right)
    return tuple(spans)


def clip_position(raw: Any) -> ClipPosition:
    """Read a position in the clip. Raises PydanticCustomError with what would be right."""
    if isinstance(raw, ClipPosition):
        return raw
    text = as_text(raw, _CLIP_EXAMPLE)
    base, offset = _split(text)
    match base:
        case "start" | "landing" | "end":
            return ClipPosition(base, offset, text)
        case _:
            _refuse_missing_unit(text)
            raise wrong("bad-position", f"{shown(text)} is not a position in the clip", _CLIP_EXAMPLE)


def is_marker_name(text: str) -> bool:
    """Whether a position that consists of this text means a marker: `pre-2beats` is two beats before `pre`."""
    counted = _OFFSET.fullmatch(text)
    return (
        re.fullmatch(NAME, text) is not None
        and text != "bar"
        and not (counted and counted["unit"] in LENGTH_UNITS)
    )


def _split(text: str) -> tuple[str, Length]:
    """The base of a position and its signed offset."""
    match = _OFFSET.fullmatch(text)
    if not match or not match["base"]:
        return text, Length(0.0, "beats")
    unit = LENGTH_UNITS.get(match["unit"])
    if unit is None:
        if re.fullmatch(NAME, text):
            return text, Length(0.0, "beats")
        what = f"{shown(text)}: the unit '{shortened(match['unit'])}' does not fit here"
        right = f"use beats or bars, as in `{shortened(match['base'])} {match['sign']} 8 beats`"
        raise wrong("wrong-unit", what, right)
    amount = float(match["amount"])
    if amount > MAX_MAGNITUDE:
        raise wrong(
            "out-of-range", f"{shown(text)} is far out of range", "count beats or bars within the record"
        )
    return match["base"], Length(
        amount if match["sign"] == "+" else -amount, "bars" if unit == "bars" else "beats"
    )


def _refuse_missing_unit(text: str) -> None:
    if _NO_UNIT.fullmatch(text):
        raise wrong("no-unit", f"{shown(text)} has no unit", f"write `{shortened(text)} beats`, or bars")
