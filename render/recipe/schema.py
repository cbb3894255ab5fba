"""The recipe's format: every key, its type and its meaning.

The models stand at the edge: they check what YAML delivered, and they are the recipe from there on. The JSON
Schema for editors (draft 2020-12) is made from them, so the two cannot drift apart.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from render.recipe import positions, quantities
from render.recipe.positions import NAME, ClipPosition, TrackPosition
from render.recipe.quantities import NUMBER, Length

FORMAT_VERSION = 1
SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"
LANDING_MARKER = "drop"
LOW_CUT_CORNER_HZ = 150.0
"""Where the low end is counted from when a recipe does not say."""

_BEATS = r"\s*(?:beats?|bars?)"


def _written(pattern: str, *examples: str, also_number: bool = False) -> WithJsonSchema:
    text: dict[str, Any] = {"type": "string", "pattern": f"^(?:{pattern})$", "examples": list(examples)}
    return WithJsonSchema({"anyOf": [text, {"type": "number"}]} if also_number else text)


def _unit(unit: str, *examples: str) -> WithJsonSchema:
    return _written(rf"[+−-]?(?:\d+(?:\.\d*)?|\.\d+)\s*{unit}", *examples)


def _one_word(raw: Any) -> str:
    text = quantities.as_text(raw)
    if not text:
        raise quantities.wrong("empty", "nothing is written", "write a value or leave the key out")
    return text


def _tempo(raw: Any) -> float | str:
    return _one_word(raw) if isinstance(raw, str) else quantities.bpm(raw)


def _keep(raw: Any) -> tuple[str, ...]:
    if isinstance(raw, list):
        return tuple(_one_word(item) for item in raw)
    return (_one_word(raw),)


LengthOf = Annotated[
    Length,
    BeforeValidator(quantities.length),
    _written(rf"{NUMBER}{_BEATS}", "8 beats", "2 bars"),
]
Decibels = Annotated[float, BeforeValidator(quantities.decibels), _unit("dB", "-1.5 dB")]
Ceiling = Annotated[float, BeforeValidator(quantities.ceiling), _unit("dBTP", "-1 dBTP")]
Hertz = Annotated[float, BeforeValidator(quantities.hertz), _unit("Hz", "150 Hz")]
Milliseconds = Annotated[float, BeforeValidator(quantities.milliseconds), _unit("ms", "25 ms")]
Seconds = Annotated[
    float,
    BeforeValidator(quantities.seconds),
    _written(r"[+−-]?[\d.]+\s*s?|\d+:[0-5]\d(?:\.\d+)?", "0.312 s", "1:29.614", also_number=True),
]
Pitch = Annotated[
    float | None,
    BeforeValidator(quantities.pitch),
    _written(r"follow|[+−-]?[\d.]+\s*semitones?", "+1 semitone", "follow", also_number=True),
]
Bpm = Annotated[
    float, BeforeValidator(quantities.bpm), WithJsonSchema({"type": "number", "minimum": 40, "maximum": 300})
]
Tempo = Annotated[
    float | str,
    BeforeValidator(_tempo),
    WithJsonSchema({"anyOf": [{"type": "number", "minimum": 40, "maximum": 300}, {"type": "string"}]}),
]
Text = Annotated[str, BeforeValidator(_one_word), WithJsonSchema({"type": "string", "minLength": 1})]
InTrack = Annotated[
    TrackPosition,
    BeforeValidator(positions.track_position),
    WithJsonSchema(
        {
            "anyOf": [{"type": "string", "minLength": 1}, {"type": "number", "minimum": 0}],
            "examples": ["1:29.614", "29.6 s", "bar 65", "bar 65.3", "drop - 64 beats"],
        }
    ),
]
InClip = Annotated[
    ClipPosition,
    BeforeValidator(positions.clip_position),
    _written(rf"(?:start|landing|end)(?:\s*[+−-]\s*[\d.]+{_BEATS})?", "landing", "landing - 32 beats"),
]
Keepers = Annotated[
    tuple[str, ...],
    BeforeValidator(_keep),
    WithJsonSchema(
        {
            "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}],
            "examples": ["lanterns", "all", "none", ["lanterns", "ironworks"]],
        }
    ),
]


class Part(BaseModel):
    """A mapping of the recipe: unknown keys are errors, and nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Track(Part):
    """One record: where it lies, what is known of it, and how it comes in."""

    file: Text = Field(description="The recording, relative to the recipe's folder.")
    bpm: Bpm = Field(description="Its tempo, as a plain number.")
    first_beat: Seconds = Field(description="When bar 1 beat 1 sounds.")
    beats_per_bar: int = Field(4, ge=1, le=32, strict=True, description="Beats in one of its bars.")
    markers: dict[str, InTrack] = Field(
        description="Named positions in the record; `drop` is the one that lands.",
        json_schema_extra={"propertyNames": {"pattern": f"^{NAME}$"}},
    )
    key: Text | None = Field(None, description="Its key, as in `F minor`.")
    offset: Milliseconds = Field(0.0, description="Added to all of its times, for a file whose start is off.")
    gain: Decibels = Field(0.0, description="On top of loudness matching.")
    pitch: Pitch = Field(0.0, description="Semitones, or `follow` to let the pitch go with the tempo.")
    enter: InClip | None = Field(None, description="Where in the clip it starts; left out: the clip's start.")
    leave: InClip | None = Field(None, description="Where in the clip it stops; left out: the clip's end.")
    fade_in: LengthOf = Field(Length(0.0, "beats"), description="How long it takes to come in.")
    fade_out: LengthOf = Field(Length(0.0, "beats"), description="How long it takes to go.")


class Keep(Part):
    """From a moment on, who keeps the low end."""

    from_: InClip = Field(alias="from", description="From when on.")
    track: Keepers = Field(description="A track, a list of tracks, `all` or `none`.")


class LowCut(Part):
    """Who keeps the low end; the others lose theirs."""

    below: Hertz = Field(LOW_CUT_CORNER_HZ, description="The corner: what lies below is the low end.")
    keep: tuple[Keep, ...] = Field(min_length=1, description="In the order of their moments.")


class JumpBack(Part):
    """At a moment of the clip a track leaves its place and goes on from an earlier one, in phase."""

    track: Text = Field(description="The track that jumps.")
    at: InClip = Field(description="When, in the clip.")
    to: InTrack = Field(description="Where to, in the track.")
    loop: LengthOf | None = Field(None, description="Repeat so many of the clip's beats from there on.")


class Clip(Part):
    """The file that comes out."""

    format: Literal["mp3", "opus", "flac", "wav"] = Field("mp3", description="How it is encoded.")
    ceiling: Ceiling = Field(-1.0, description="The highest true peak the encoded file may have.")


class Recipe(Part):
    """A Dropkiln recipe: two or more records whose drops land on the same beat."""

    recipe: Literal[1] = Field(description="The version of this format.")
    title: Text = Field(description="What the combination is called.")
    tempo: Tempo | None = Field(
        None, description="BPM of the clip, or a track's name; left out: the first track's."
    )
    lead: LengthOf = Field(Length(64.0, "beats"), description="How much of the clip lies before the landing.")
    tail: LengthOf = Field(Length(64.0, "beats"), description="How much lies after it.")
    tracks: dict[str, Track] = Field(
        description="Two or more, by names of your own.",
        json_schema_extra={"minProperties": 2, "propertyNames": {"pattern": f"^{NAME}$"}},
    )
    low_cut: LowCut | None = Field(None, description="Left out: nothing is cut and the overlap is reported.")
    jump_back: tuple[JumpBack, ...] = Field((), description="In any order.")
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
    return {"$schema": SCHEMA_DIALECT, "title": "Dropkiln recipe", **made}
