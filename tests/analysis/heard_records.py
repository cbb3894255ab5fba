"""The invented records as each listener hears them; every one is made and heard once for a test run."""

from functools import cache
from typing import Protocol, TypeVar

from render.analysis.bands import BandListener
from render.analysis.per_bar import BarFeatures, Bars, bar_features, bars_of
from render.analysis.tonal import TonalFeatures, TonalListener
from render.analysis.voice import VoiceFeatures, VoiceListener
from render.demo.records import RECORDS
from render.demo.score import DemoRecord
from render.values import Audio, Grid
from tests.demo_sounds import rendered

BLOCK = 65_536

Heard_co = TypeVar("Heard_co", covariant=True)


class Listener(Protocol[Heard_co]):
    def feed(self, block: Audio) -> None: ...

    def heard(self) -> Heard_co: ...


def hear(listener: Listener[Heard_co], sound: Audio, block: int = BLOCK) -> Heard_co:
    """Everything of a sound through one listener, in blocks."""
    for start in range(0, len(sound), block):
        listener.feed(sound[start : start + block])
    return listener.heard()


def record(name: str) -> DemoRecord:
    return next(record for record in RECORDS if record.name == name)


def sound_of(name: str) -> tuple[Audio, int]:
    return rendered(record(name))


@cache
def bars_in(name: str) -> Bars:
    sound, rate_hz = sound_of(name)
    return bars_of(record(name).grid, len(sound) / rate_hz)


@cache
def bar_features_of(name: str) -> BarFeatures:
    sound, rate_hz = sound_of(name)
    return bar_features(hear(BandListener(rate_hz), sound), bars_in(name))


@cache
def tonal_features_of(name: str) -> TonalFeatures:
    sound, rate_hz = sound_of(name)
    return hear(TonalListener(rate_hz), sound)


@cache
def voice_features_of(name: str) -> VoiceFeatures:
    sound, rate_hz = sound_of(name)
    return hear(VoiceListener(rate_hz), sound)


def bars_heard(sound: Audio, rate_hz: int, grid: Grid) -> BarFeatures:
    """A sound on a grid, by bars."""
    frames = hear(BandListener(rate_hz), sound)
    return bar_features(frames, bars_of(grid, frames.duration_s))
