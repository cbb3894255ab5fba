"""What an engine is: whatever stretches with the pitch kept."""

from dataclasses import dataclass
from typing import Protocol

from render.values import Audio


class EngineName(Protocol):
    """Which engine it is; that is all that a clip's identity depends on."""

    @property
    def name(self) -> str: ...

    @property
    def version(self) -> str: ...


class Engine(EngineName, Protocol):
    """It is never given silence, an empty array or a peak above `render.sound.stretch.HEADROOM`."""

    def stretch(self, audio: Audio, rate_hz: int, speed: float, semitones: float) -> Audio:
        """About `frames / speed` frames; the first is the sound of the first."""
        ...


@dataclass
class Metered:
    """An engine, and how many seconds of sound it has been given."""

    engine: Engine
    given_s: float = 0.0

    @property
    def name(self) -> str:
        return self.engine.name

    @property
    def version(self) -> str:
        return self.engine.version

    def stretch(self, audio: Audio, rate_hz: int, speed: float, semitones: float) -> Audio:
        self.given_s += len(audio) / rate_hz
        return self.engine.stretch(audio, rate_hz, speed, semitones)
