"""Signals that standards describe, made as they describe them."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from render.values import Audio

Wave = npt.NDArray[np.float64]
"""Shape (frames,)."""

Parts = tuple[tuple[float, float], ...]
"""(seconds, dBFS peak) after (seconds, dBFS peak)."""


def tone(
    frequency_hz: float, duration_s: float, rate_hz: int, level_db: float = 0.0, channels: int = 1
) -> Audio:
    """A sine of a peak level in dBFS on every channel, starting at zero."""
    wave = 10 ** (level_db / 20) * np.sin(
        2 * np.pi * frequency_hz * np.arange(round(duration_s * rate_hz)) / rate_hz
    )
    return np.repeat(wave[:, None], channels, axis=1).astype(np.float32)


@lru_cache(maxsize=2)
def tone_in_parts(parts: Parts, rate_hz: int = 48_000) -> Audio:
    """One 1 kHz sine in phase on two channels, whose level changes in steps; not to be written to."""
    frames = [round(seconds * rate_hz) for seconds, _ in parts]
    gains = np.repeat(np.array([10 ** (db / 20) for _, db in parts], np.float32), frames)
    mono = tone(1000.0, sum(frames) / rate_hz, rate_hz) * gains[:, None]
    return np.broadcast_to(mono, (len(mono), 2))


def periodic(period_frames: int, amplitude: float, phase_degrees: float, frames: int = 48_000) -> Audio:
    """A faded sine on two channels that repeats every `period_frames`."""
    wave = amplitude * np.sin(2 * np.pi * np.arange(frames) / period_frames + np.radians(phase_degrees))
    return stereo(faded(wave, 48_000))


def faded(wave: Wave, rate_hz: int) -> Wave:
    """10 ms of fade at either end: a tone that starts abruptly rings above its own peak."""
    position = np.arange(len(wave))
    return wave * np.minimum(1.0, np.minimum(position, position[::-1]) / (0.010 * rate_hz))


def stereo(wave: Wave) -> Audio:
    return np.repeat(wave[:, None], 2, axis=1).astype(np.float32)


def in_one_channel(audio: Audio, channel: int, channels: int) -> Audio:
    """A mono signal in one of several channels, silence in the others."""
    spread = np.zeros((len(audio), channels), np.float32)
    spread[:, channel] = audio[:, 0]
    return spread


def noise_in_steps(
    seed: int, levels_db: Sequence[float], step_s: float = 0.5, rate_hz: int = 48_000
) -> Audio:
    """Two channels of noise that falls off towards the treble, its level changing at every step: like music."""
    random = np.random.default_rng(seed)
    level = np.repeat(10 ** (np.asarray(levels_db) / 20), round(step_s * rate_hz))
    white = random.standard_normal((len(level), 2))
    # Each sample holds 0.9 of the one before it: a low-pass of order 1, as a sum over the 100 that still count.
    tail = 0.9 ** np.arange(100)
    tilted = np.stack([np.convolve(channel, tail)[: len(level)] for channel in white.T], axis=1)
    return (0.3 * level[:, None] * tilted).astype(np.float32)
