"""Passages whose every sound lies at a time known exactly, at any speed: what a perfect stretch would give.

Each hit is one waveform, moved to its place, whole frame or not, through its Fourier transform (the shift theorem:
a delay of d frames turns the phase at w radians a frame by -w·d). At another speed the hits lie at other times and
sound the same; the chord keeps its pitch and the noise its colour.
"""

from collections.abc import Sequence
from functools import cache

import numpy as np
import numpy.typing as npt

from render.values import Audio

RATE_HZ = 44_100
TEMPO_BPM = 170.0
SECONDS = 8.0
FIRST_BEAT_S = 0.5
LEAD_IN = 32
"""Silent frames before the attack in each waveform, so that a fractional shift has room to ring."""
CHORD_HZ = (55.0, 110.3, 220.9, 277.7, 330.2, 441.7, 660.5, 1046.5)
"""Partials 55 Hz and more apart, which is what a block of a sixth of a second can tell apart."""
NOISE_FLOOR = 1e-6
"""-120 dBFS, as in any recording; sound without it is a special case for some engines."""

Wave = npt.NDArray[np.float64]


@cache
def hits(rate_hz: int) -> dict[str, Wave]:
    """A click (one frame, 12 kHz wide), and a kick, a snare and a hat, each a quarter of a second."""
    rng = np.random.default_rng(1)
    time_s = np.arange(rate_hz // 4) / rate_hz
    click = np.zeros(rate_hz // 100)
    click[0] = 1.0
    sweep = 2 * np.pi * (50 * time_s + 6 * (1 - np.exp(-30 * time_s)))
    kick = np.sin(sweep) * np.exp(-12 * time_s) * np.minimum(1, time_s / 0.001)
    rattle = rng.standard_normal(len(time_s)) * np.exp(-25 * time_s)
    snare = 0.5 * (rattle + 0.5 * np.sin(2 * np.pi * 190 * time_s) * np.exp(-20 * time_s))
    hiss = rng.standard_normal(len(time_s)) * np.exp(-60 * time_s)
    hat = 0.25 * (hiss - _below(hiss, 7000.0, rate_hz))
    waves = {"click": click, "kick": kick, "snare": snare * np.minimum(1, time_s / 0.0005), "hat": hat}
    return {name: _below(np.pad(wave, LEAD_IN), 12_000.0, rate_hz) for name, wave in waves.items()}


def beats_of(speed: float, rate_hz: int = RATE_HZ) -> Wave:
    """Where the beats of a passage at `speed` are, in fractional frames."""
    beat_s = 60.0 / TEMPO_BPM
    count = int((SECONDS - 2 * FIRST_BEAT_S) / beat_s)
    return (FIRST_BEAT_S + np.arange(count) * beat_s) * rate_hz / speed


def passage(
    *pattern: str,
    speed: float = 1.0,
    chord_hz: Sequence[float] = (),
    noise: float = NOISE_FLOOR,
    late_ms: float = 0.0,
    rate_hz: int = RATE_HZ,
) -> Audio:
    """`pattern` names the hits of successive beats, `+` joining several; everything is `late_ms` late.

    Shape (frames, 1).
    """
    frames = int(np.floor(SECONDS * rate_hz / speed + 0.5))
    sound = noise * np.random.default_rng(2).standard_normal(frames)
    time_s = np.arange(frames) / rate_hz - late_ms / 1000.0
    for at, partial_hz in enumerate(chord_hz):
        sound += 0.05 * np.sin(2 * np.pi * partial_hz * time_s + 1.7 * at)
    waves = hits(rate_hz)
    for beat, position in enumerate(beats_of(speed, rate_hz)):
        for name in pattern[beat % len(pattern)].split("+") if pattern else ():
            _add(sound, 0.5 * waves[name], position + late_ms * rate_hz / 1000.0 - LEAD_IN)
    return sound.astype(np.float32)[:, None]


def _add(sound: Wave, wave: Wave, position: float) -> None:
    """Add `wave` with its first frame at a fractional position."""
    whole = int(np.floor(position))
    size = len(wave) + 2 * LEAD_IN
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(size) * (position - whole))
    sound[whole : whole + size] += np.fft.irfft(np.fft.rfft(wave, size) * turn, size)


def _below(wave: Wave, edge_hz: float, rate_hz: int) -> Wave:
    """The part of a wave below a frequency, without delay."""
    frequency_hz = np.fft.rfftfreq(len(wave), 1.0 / rate_hz)
    return np.fft.irfft(np.fft.rfft(wave) / (1.0 + (frequency_hz / edge_hz) ** 8), len(wave))
