"""The recipe's format: every key, its type and its meaning.

The models stand at the edge: they check what YAML delivered, and they are the recipe from there on. The JSON
Schema for editors (draft 2020-12) is made from them, so the two cannot drift apart.
"""

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from render.recipe.kinds import (
    NAME_PATTERN,
    BarSpans,
    Bpm,
    Ceiling,
    Decibels,
    FilePath,
    Hertz,
    InClip,
    InTrack,
    Keepers,
    LengthOf,
    Milliseconds,
    MusicalKey,
    Pitch,
    Seconds,
    Share,
    Shift,
    Tempo,
    TrackName,
    Version,
    Words,
)
from render.recipe.quantities import Length

SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"
LANDING_MARKER = "drop"
MAX_ENTRIES = 64
"""Of a list. A clip of 64 beats then has one on every beat; and a file can list no more than 255 chapters."""
LOW_CUT_CORNER_HZ = 150.0
"""Where the low end is counted from when a recipe does not say."""


def _default(written: str) -> dict[str, Any]:
    """A default as one would write it."""
    return {"default": written}


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
        json_schema_extra={"propertyNames": {"pattern": NAME_PATTERN}},
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

    @property
    def phrase_bars(self) -> float | None:
        """How many of its bars a phrase has, where that is stated."""
        return None if self.phrase is None else self.phrase.beats(self.beats_per_bar) / self.beats_per_bar


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
        json_schema_extra={"minProperties": 2, "propertyNames": {"pattern": NAME_PATTERN}},
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
