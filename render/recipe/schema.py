"""The recipe's format: every key, its type and its meaning.

The models stand at the edge: they check what YAML delivered, and they are the recipe from there on. The JSON
Schema for editors (draft 2020-12) is made from them, so the two cannot drift apart.
"""

import re
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from render.recipe import positions, quantities
from render.recipe.positions import ClipPosition, TrackPosition
from render.recipe.quantities import CLOCK, Length

FORMAT_VERSION = 1
SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"
LANDING_MARKER = "drop"
MAX_ENTRIES = 64
"""Of a list. A clip of 64 beats then has one on every beat; and a file can list no more than 255 chapters."""
LOW_CUT_CORNER_HZ = 150.0
"""Where the low end is counted from when a recipe does not say."""

_UNSIGNED = r"(?:\d+(?:\.\d*)?|\.\d+)"
_BEATS = rf"{_UNSIGNED}\s*(?:beats?|bars?)"
_SIGNS = r"\x21-\x2c\x2e\x2f\x3a-\x40\x5b-\x5e\x60\x7b-\x7e"
_NAME = rf"^[^\s\d\x2d{_SIGNS}][^\s{_SIGNS}]*$"
"""A name, for editors: in their patterns `\\w` is ASCII, so the signs are ruled out instead."""


def _written(pattern: str, *examples: str, also: dict[str, Any] | None = None) -> WithJsonSchema:
    text: dict[str, Any] = {"type": "string", "pattern": f"^(?:{pattern})$", "examples": list(examples)}
    return WithJsonSchema({"anyOf": [text, also]} if also else text)


def _unit(unit: str, *examples: str) -> WithJsonSchema:
    return _written(rf"[+−-]?{_UNSIGNED}\s*{unit}", *examples)


def _default(written: str) -> dict[str, Any]:
    """A default as one would write it."""
    return {"default": written}


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
    WithJsonSchema({"anyOf": [_BPM, {"type": "string", "pattern": _NAME}]}),
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


class Part(BaseModel):
    """A mapping of the recipe: unknown keys are errors, and nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Track(Part):
    """One record: where it lies, what is known of it, and how it comes in. Facts that are left out are measured."""

    file: FilePath = Field(description="The recording, relative to the recipe's folder.")
    bpm: Bpm | None = Field(None, description="Its tempo, as a plain number.")
    count: Literal["half", "double"] | None = Field(
        None, description="Counts the measured tempo in half or double time."
    )
    first_beat: Seconds | None = Field(None, description="When bar 1 beat 1 sounds.")
    nudge: Milliseconds = Field(
        0.0,
        description="Moves the measured beats: `5 ms` makes them later.",
        json_schema_extra=_default("0 ms"),
    )
    shift: Shift = Field(
        0.0,
        description="Moves measured bars: `1 beat` begins them a beat later, `0.5 beats` leaves the off-beat.",
        json_schema_extra=_default("0 beats"),
    )
    beats_per_bar: int = Field(4, ge=1, le=32, strict=True, description="Beats in one of its bars.")
    phrase: LengthOf | None = Field(None, description="How long its phrases are, as in `8 bars`.")
    markers: dict[str, InTrack] = Field(
        default_factory=dict,
        description="Named positions in the record; `drop` is the one that lands.",
        json_schema_extra={"propertyNames": {"pattern": _NAME}},
    )
    key: MusicalKey | None = Field(None, description="Its key, as in `F minor`.")
    tonal_weight: Share | None = Field(
        None, description="How much of it is notes rather than drums, from 0 to 1."
    )
    voice: BarSpans | None = Field(None, description="Its bars with a voice: `bars 9 to 24`, or `none`.")
    offset: Milliseconds = Field(
        0.0,
        description="Added to all of its times, for a file whose start is off.",
        json_schema_extra=_default("0 ms"),
    )
    gain: Decibels = Field(
        0.0, description="On top of loudness matching.", json_schema_extra=_default("0 dB")
    )
    pitch: Pitch = Field(0.0, description="Semitones, or `follow` to let the pitch go with the tempo.")
    enter: InClip | None = Field(None, description="Where in the clip it starts; left out: the clip's start.")
    leave: InClip | None = Field(None, description="Where in the clip it stops; left out: the clip's end.")
    fade_in: LengthOf = Field(
        Length(0.0, "beats"),
        description="How long it takes to come in.",
        json_schema_extra=_default("0 beats"),
    )
    fade_out: LengthOf = Field(
        Length(0.0, "beats"), description="How long it takes to go.", json_schema_extra=_default("0 beats")
    )


class Keep(Part):
    """From a moment on, who keeps the low end."""

    from_: InClip = Field(alias="from", description="From when on.")
    track: Keepers = Field(description="A track, a list of tracks, `all` or `none`.")


class LowCut(Part):
    """Who keeps the low end; the others lose theirs."""

    below: Hertz = Field(
        LOW_CUT_CORNER_HZ,
        description="The corner: what lies below is the low end.",
        json_schema_extra=_default("150 Hz"),
    )
    keep: tuple[Keep, ...] = Field(
        min_length=1, max_length=MAX_ENTRIES, description="In the order of their moments."
    )


class JumpBack(Part):
    """At a moment of the clip a track leaves its place and goes on from an earlier one, in phase."""

    track: TrackName = Field(description="The track that jumps.")
    at: InClip = Field(description="When, in the clip.")
    to: InTrack = Field(description="Where to, in the track.")
    loop: LengthOf | None = Field(None, description="Repeat so many of the clip's beats from there on.")


class Clip(Part):
    """The file that comes out."""

    format: Literal["mp3", "opus", "flac", "wav"] = Field("mp3", description="How it is encoded.")
    ceiling: Ceiling = Field(
        -1.0,
        description="The highest true peak the encoded file may have.",
        json_schema_extra=_default("-1 dBTP"),
    )


class Recipe(Part):
    """A Dropkiln recipe: two or more records whose drops land on the same beat."""

    recipe: Version = Field(description="The version of this format.")
    title: Words = Field(description="What the combination is called.")
    tempo: Tempo | None = Field(
        None, description="BPM of the clip, or a track's name; left out: the first track's."
    )
    lead: LengthOf = Field(
        Length(64.0, "beats"),
        description="How much of the clip lies before the landing.",
        json_schema_extra=_default("64 beats"),
    )
    tail: LengthOf = Field(
        Length(64.0, "beats"), description="How much lies after it.", json_schema_extra=_default("64 beats")
    )
    tracks: dict[str, Track] = Field(
        description="Two or more, by names of your own.",
        json_schema_extra={"minProperties": 2, "propertyNames": {"pattern": _NAME}},
    )
    low_cut: LowCut | None = Field(None, description="Left out: nothing is cut and the overlap is reported.")
    jump_back: tuple[JumpBack, ...] = Field((), max_length=MAX_ENTRIES, description="In any order.")
    try_: dict[str, dict[str, Any]] = Field(
        default_factory=dict,
        alias="try",
        description="Variants: each a JSON Merge Patch (RFC 7396) over this recipe.",
        json_schema_extra={"propertyNames": {"pattern": "^[A-Za-z0-9]+(?:[_-][A-Za-z0-9]+)*$"}},
    )
    clip: Clip = Field(
        default_factory=lambda: Clip.model_validate({}), description="The file that comes out."
    )


def json_schema() -> dict[str, Any]:
    """The format as JSON Schema 2020-12, for editors that check while typing."""
    made = Recipe.model_json_schema(by_alias=True)
    return {"$schema": SCHEMA_DIALECT, **made, "title": "Dropkiln recipe"}
