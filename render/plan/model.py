"""The plan of a clip as plain data: what plays when. No audio, no files.

Whose clock
-----------
- *Clip beats* count from the landing, which is clip beat 0; the lead lies before it, below zero.
- *Clip frames* count from the clip's first frame, at the clip's rate.
- *Source frames* count from the recording's first frame, at the recording's own rate. They stay fractional:
  a source position is where a clip frame falls, and only the clip's frames are whole.
"""

from dataclasses import dataclass, replace
from typing import Literal

from render.values import nearest_frame, semitones_of

ClipFormat = Literal["mp3", "opus", "flac", "wav"]
ReasonLevel = Literal["note", "warning"]


@dataclass(frozen=True)
class Reason:
    """Something the performer should know about a decision; `track` is empty where it is about the clip."""

    level: ReasonLevel
    code: str
    text: str
    track: str = ""
    value: float | None = None


@dataclass(frozen=True)
class Passage:
    """One unbroken span of a track, mapped onto a span of the clip.

    One that begins "on" goes on where the one before it ends, at another speed: its record drifts. `speed` is source
    seconds per clip second. `semitones` is the pitch change that is wanted on top of a kept pitch; None lets the
    pitch follow the tempo. `loop_pass` is 0 outside loops and counts their rounds from 1.
    """

    start_beat: float
    end_beat: float
    clip_start_frames: int
    clip_end_frames: int
    source_start_frames: float
    source_end_frames: float
    speed: float
    semitones: float | None
    begins: Literal["enter", "jump", "loop", "on"] = "enter"
    marker: str = ""
    loop_pass: int = 0

    @property
    def clip_frames(self) -> int:
        return self.clip_end_frames - self.clip_start_frames


@dataclass(frozen=True)
class CutSpan:
    """A span of the clip in which a lane's low band is removed."""

    start_beat: float
    end_beat: float
    start_frames: int
    end_frames: int


@dataclass(frozen=True)
class Lane:
    """One track's part of the clip. Passages touch: each starts on the frame where the one before it ends."""

    track: str
    passages: tuple[Passage, ...]
    gain_db: float
    cuts: tuple[CutSpan, ...]
    fade_in_beats: float
    fade_out_beats: float
    fade_in_frames: int
    fade_out_frames: int
    drops: bool
    """Whether its drop is heard at the landing; False where it jumps away on that beat."""

    @property
    def legs(self) -> tuple[Passage, ...]:
        """The passages as they are told: each with those that only go on from it, at the speed of all of them."""
        legs: list[Passage] = []
        for passage in self.passages:
            if passage.begins == "on" and legs:
                legs[-1] = _as_one(legs[-1], passage)
            else:
                legs.append(passage)
        return tuple(legs)

    @property
    def speeds(self) -> tuple[float, float]:
        """The slowest and the fastest of its passages."""
        speeds = [passage.speed for passage in self.passages]
        return min(speeds), max(speeds)

    @property
    def usual_speed(self) -> float:
        """How fast the record runs over all of its passages."""
        slowest, fastest = self.speeds
        if slowest == fastest:
            return slowest
        frames = sum(passage.clip_frames for passage in self.passages)
        return sum(passage.speed * passage.clip_frames for passage in self.passages) / frames

    @property
    def semitones(self) -> float:
        """How far the record sounds above its own pitch."""
        stated = self.passages[0].semitones
        return semitones_of(self.usual_speed) if stated is None else stated

    @property
    def start_frames(self) -> int:
        return self.passages[0].clip_start_frames

    @property
    def end_frames(self) -> int:
        return self.passages[-1].clip_end_frames

    @property
    def start_beat(self) -> float:
        return self.passages[0].start_beat

    @property
    def end_beat(self) -> float:
        return self.passages[-1].end_beat


def _as_one(one: Passage, other: Passage) -> Passage:
    """Two passages that touch in the clip and in their record."""
    speed = (one.speed * one.clip_frames + other.speed * other.clip_frames) / (
        one.clip_frames + other.clip_frames
    )
    return replace(
        one,
        end_beat=other.end_beat,
        clip_end_frames=other.clip_end_frames,
        source_end_frames=other.source_end_frames,
        speed=speed,
    )


@dataclass(frozen=True)
class ClipClock:
    """The clip's own time: what every lane is laid against."""

    tempo_bpm: float
    beats_per_bar: int
    rate_hz: int
    lead_beats: float
    tail_beats: float

    @property
    def landing_frames(self) -> int:
        return nearest_frame(self.beat_frames(0.0))

    @property
    def landing_s(self) -> float:
        return self.landing_frames / self.rate_hz

    @property
    def length_frames(self) -> int:
        return nearest_frame(self.beat_frames(self.tail_beats))

    @property
    def duration_s(self) -> float:
        return self.length_frames / self.rate_hz

    def beat_frames(self, beat: float) -> float:
        """Where a clip beat lies in the clip, in fractional frames."""
        return (beat + self.lead_beats) * 60.0 / self.tempo_bpm * self.rate_hz

    def beat_s(self, beat: float) -> float:
        """Where a clip beat lies in the clip, in seconds."""
        return (beat + self.lead_beats) * 60.0 / self.tempo_bpm


@dataclass(frozen=True)
class ClipPlan:
    """Everything that is decided of one clip, before a sound is touched."""

    recipe: str
    variant: str
    title: str
    clock: ClipClock
    lanes: tuple[Lane, ...]
    low_cut_hz: float
    low_cut_stated: bool
    ceiling_dbtp: float
    format: ClipFormat
    reasons: tuple[Reason, ...]

    @property
    def name(self) -> str:
        """The clip's file name without its ending."""
        return f"{self.recipe}--{self.variant}" if self.variant else self.recipe

    @property
    def full_title(self) -> str:
        """The title, with the variant's name."""
        return f"{self.title} · {self.variant}" if self.variant else self.title
