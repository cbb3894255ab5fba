"""What is known of one track: data only, each fact with where it came from."""

from dataclasses import dataclass
from typing import Generic, Literal, TypeVar

from render.values import Grid

T = TypeVar("T")

Origin = Literal["stated", "measured", "assumed"]


@dataclass(frozen=True)
class Fact(Generic[T]):
    """A value, where it came from, and how sure it is (1.0 for what the performer stated)."""

    value: T
    source: Origin = "stated"
    confidence: float = 1.0


@dataclass(frozen=True)
class Recording:
    """A sound file as it lies on the disk.

    `frames` counts what a listener hears: a decoder's start delay (`delay_frames`, see
    `render.files.audio_files`) is already taken off. `note` is a remark worth a warning, or empty.
    """

    path: str
    format: str
    rate_hz: int
    channels: int
    frames: int
    size_bytes: int
    delay_frames: int = 0
    note: str = ""

    @property
    def duration_s(self) -> float:
        return self.frames / self.rate_hz


@dataclass(frozen=True)
class TrackFacts:
    """The facts of one track that a plan needs. Times are seconds from the start of the recording."""

    name: str
    recording: Recording
    tempo_bpm: Fact[float]
    first_beat_s: Fact[float]
    beats_per_bar: Fact[int]
    drop_s: Fact[float]
    key: Fact[str] | None = None

    @property
    def grid(self) -> Grid:
        return Grid(self.first_beat_s.value, self.tempo_bpm.value, self.beats_per_bar.value)
