"""The values of a recipe as types: how each is read, and how it is written, for editors.

Each type reads what YAML delivered by its parser (`quantities`, `positions`), and gives JSON Schema the pattern of what
one may write.
"""

import re
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, WithJsonSchema

from render.recipe import positions, quantities
from render.recipe.positions import ClipPosition, TrackPosition
from render.recipe.quantities import CLOCK, Length

FORMAT_VERSION = 1

_UNSIGNED = r"(?:\d+(?:\.\d*)?|\.\d+)"
_BEATS = rf"{_UNSIGNED}\s*(?:beats?|bars?)"
_SIGNS = r"\x21-\x2c\x2e\x2f\x3a-\x40\x5b-\x5e\x60\x7b-\x7e"
NAME_PATTERN = rf"^[^\s\d\x2d{_SIGNS}][^\s{_SIGNS}]*$"
"""A name, for editors: in their patterns `\\w` is ASCII, so the signs are ruled out instead."""


def _written(pattern: str, *examples: str, also: dict[str, Any] | None = None) -> WithJsonSchema:
    text: dict[str, Any] = {"type": "string", "pattern": f"^(?:{pattern})$", "examples": list(examples)}
    return WithJsonSchema({"anyOf": [text, also]} if also else text)


def _unit(unit: str, *examples: str) -> WithJsonSchema:
    return _written(rf"[+−-]?{_UNSIGNED}\s*{unit}", *examples)


def _version(raw: Any) -> int:
    if raw != FORMAT_VERSION or isinstance(raw, bool):
        what = f"{quantities.shown(raw)} is no format that is known here"
        raise quantities.wrong("version", what, f"this program reads `recipe: {FORMAT_VERSION}`")
    return FORMAT_VERSION


def _text(raw: Any) -> str:
    if isinstance(raw, bool | int | float):
        # A plain number has lost its spelling: `007` is 7 by now.
        what = f"{quantities.shown(raw) if isinstance(raw, bool) else 'a plain number'} where text belongs"
        raise quantities.wrong("wrong-type", what, "put it in quotes")
    if not isinstance(raw, str):
        what = f"{quantities.shown(raw)} where text belongs"
        raise quantities.wrong("wrong-type", what, "write it on the line, in quotes if it begins with a sign")
    if not raw.strip():
        raise quantities.wrong("empty", "nothing is written", "write a word or more")
    return raw


def _words(raw: Any) -> str:
    return " ".join(_text(raw).split())


def _path(raw: Any) -> str:
    """A file's name stays as it is written: it may hold any sign and any number of spaces."""
    path = _text(raw).strip("\n")
    if "\n" in path:
        raise quantities.wrong("line-break", "a line break inside a file's name", "write it on one line")
    return path


def _name(raw: Any) -> str:
    text = quantities.as_text(raw, "write the name of a track")
    if not text:
        raise quantities.wrong("empty", "nothing is written", "write the name of a track")
    return text


def _tempo(raw: Any) -> float | str:
    if isinstance(raw, str) and not re.match(r"[-+.\d]", raw):
        return _name(raw)
    return quantities.bpm(raw)


def _keep(raw: Any) -> tuple[str, ...]:
    if not isinstance(raw, list):
        return (_name(raw),)
    if not raw:
        raise quantities.wrong("empty", "an empty list", "write `none` where nobody keeps the low end")
    return tuple(_name(item) for item in raw)


Version = Annotated[Literal[1], BeforeValidator(_version)]
LengthOf = Annotated[
    Length,
    BeforeValidator(quantities.length),
    _written(rf"\+?{_BEATS}", "8 beats", "2 bars"),
]
Decibels = Annotated[float, BeforeValidator(quantities.decibels), _unit("dB", "-1.5 dB")]
Ceiling = Annotated[float, BeforeValidator(quantities.ceiling), _unit("dBTP", "-1 dBTP")]
Hertz = Annotated[float, BeforeValidator(quantities.hertz), _unit("Hz", "150 Hz")]
Shift = Annotated[float, BeforeValidator(quantities.shift), _unit("beats?", "1 beat", "0.5 beats")]
Share = Annotated[
    float,
    BeforeValidator(quantities.share),
    WithJsonSchema({"type": "number", "minimum": 0, "maximum": 1}),
]
_BARS = {
    "type": "string",
    "pattern": r"^(?:bars?\s+\d+(?:\s*(?:to|-|–)\s*\d+)?)$",
    "examples": ["bars 9 to 24"],
}
BarSpans = Annotated[
    tuple[tuple[int, int], ...],
    BeforeValidator(positions.bar_spans),
    WithJsonSchema(
        {"anyOf": [{"const": positions.NO_VOICE}, _BARS, {"type": "array", "items": _BARS, "minItems": 1}]}
    ),
]
Milliseconds = Annotated[float, BeforeValidator(quantities.milliseconds), _unit("ms", "25 ms")]
Seconds = Annotated[
    float,
    BeforeValidator(quantities.seconds),
    _written(
        rf"[+−-]?{_UNSIGNED}\s*s?|{CLOCK}",
        "0.312 s",
        "1:29.614",
        also={"type": "number"},
    ),
]
Pitch = Annotated[
    float | None,
    BeforeValidator(quantities.pitch),
    _written(
        rf"follow|[+−-]?0|[+−-]?{_UNSIGNED}\s*semitones?",
        "+1 semitone",
        "follow",
        also={"const": 0},
    ),
]
_BPM = {"type": "number", "minimum": quantities.MIN_BPM, "maximum": quantities.MAX_BPM}
Bpm = Annotated[float, BeforeValidator(quantities.bpm), WithJsonSchema(_BPM)]
Tempo = Annotated[
    float | str,
    BeforeValidator(_tempo),
    WithJsonSchema({"anyOf": [_BPM, {"type": "string", "pattern": NAME_PATTERN}]}),
]
Words = Annotated[str, BeforeValidator(_words), WithJsonSchema({"type": "string", "minLength": 1})]
FilePath = Annotated[str, BeforeValidator(_path), WithJsonSchema({"type": "string", "minLength": 1})]
MusicalKey = Annotated[str, BeforeValidator(quantities.key), _written(quantities.KEY, "F minor", "Bb major")]
TrackName = Annotated[str, BeforeValidator(_name), WithJsonSchema({"type": "string", "minLength": 1})]
InTrack = Annotated[
    TrackPosition,
    BeforeValidator(positions.track_position),
    WithJsonSchema(
        {
            "anyOf": [{"type": "string", "minLength": 1}, {"type": "number", "minimum": 0}],
            "examples": ["1:29.614", "29.6 s", "bar 65", "bar 65.3", "drop - 64 beats", "drop 2"],
        }
    ),
]
InClip = Annotated[
    ClipPosition,
    BeforeValidator(positions.clip_position),
    _written(rf"(?:start|landing|end)(?:\s*[+−-]\s*{_BEATS})?", "landing", "landing - 32 beats"),
]
Keepers = Annotated[
    tuple[str, ...],
    BeforeValidator(_keep),
    WithJsonSchema(
        {
            "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}, "minItems": 1}],
            "examples": ["lanterns", "all", "none", ["lanterns", "ironworks"]],
        }
    ),
]
