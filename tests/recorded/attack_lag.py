"""How late a lane of a clip is: a plain measure of these tests' own, so that the program's is not tested by itself.

The source is resampled to where each frame of the clip should sound it, and both are turned into the rise of the
envelope in three bands. Around each beat the shift is found at which the rises agree best; for a lane as a whole,
the shift at which they agree best around all of its beats together.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import signal

Samples = npt.NDArray[np.float64]
"""Shape (frames,)."""

BANDS_HZ = ((150.0, 800.0), (800.0, 3_500.0), (3_500.0, 14_000.0))
SMOOTHING_S = 0.002
"""Longer, what stretching smears around an attack counts for more than the attack."""
BEFORE_S, AFTER_S = 0.012, 0.050
"""What belongs to a beat: played-in drums come early by less, and a flam is over by then."""
REACH_S = 0.012
"""The largest shift looked for."""
MARGIN_S = 0.050
"""For the filters to settle: the longest rings for 10 ms."""
CLEAR_ATTACK_DB = 9.0
"""Least rise of a band within 10 ms to be an attack."""
CLEAR_MATCH = 0.6
"""Least correlation, 1 being equality, of a beat that can be told on its own. Below, a beat of a stretched loop reads
what stretching does to the noise in it rather than where it lies."""
RIVAL_MATCH, RIVAL_APART_S = 0.9, 0.002
"""Another shift that fits nearly as well, so far from the best one, leaves open which of the two it is."""
OVERSAMPLED = 8


@dataclass(frozen=True)
class Beat:
    """Where a beat lies in the clip and in the source, in seconds."""

    clip_s: float
    source_s: float


@dataclass(frozen=True)
class Lags:
    """How late a lane is, in milliseconds: each of its beats, where its attack is clear enough to tell, and all of
    them together, where any has an attack."""

    beats: tuple[float | None, ...]
    common: float | None

    @property
    def told(self) -> list[float]:
        return [lag for lag in self.beats if lag is not None]


@dataclass(frozen=True)
class Heard:
    """A lane heard alone in a clip, and what it should sound: `speed` is source seconds per clip second."""

    clip: Samples
    rate_hz: int
    source: Samples
    source_rate_hz: int
    speed: float

    def lags(self, beats: Sequence[Beat]) -> Lags:
        """Positive where the clip is late."""
        matches = [self._match(beat) for beat in beats]
        clear = [match if match is not None and _is_clear(match, self.rate_hz) else None for match in matches]
        attacks = [match for match in matches if match is not None]
        return Lags(
            beats=tuple(None if match is None else _peak_ms(match, self.rate_hz) for match in clear),
            common=_peak_ms(np.mean(attacks, axis=0), self.rate_hz) if attacks else None,
        )

    def _match(self, beat: Beat) -> Samples | None:
        """The correlation at every shift from -REACH_S to REACH_S; None without an attack, or at the clip's ends."""
        half = round((BEFORE_S + AFTER_S + REACH_S + MARGIN_S) * self.rate_hz)
        frames = np.arange(-half, half) + round(beat.clip_s * self.rate_hz)
        if frames[0] < 0 or frames[-1] >= len(self.clip):
            return None
        times_s = beat.source_s + (frames / self.rate_hz - beat.clip_s) * self.speed
        wanted = _sounded_at(self.source, self.source_rate_hz, times_s)
        core = slice(half - round(BEFORE_S * self.rate_hz), half + round(AFTER_S * self.rate_hz))
        reach = round(REACH_S * self.rate_hz)
        field = slice(core.start - reach, core.stop + reach)
        bands = []
        for band_hz in BANDS_HZ:
            heard_rise, _ = _rise(self.clip[frames], self.rate_hz, band_hz)
            wanted_rise, rise_db = _rise(wanted, self.rate_hz, band_hz)
            if rise_db[core].max() < CLEAR_ATTACK_DB:
                continue
            shape, ground = wanted_rise[core], heard_rise[field]
            energy = np.convolve(ground**2, np.ones(len(shape)), "valid") * np.sum(shape**2)
            bands.append(np.correlate(ground, shape, "valid") / np.sqrt(energy + 1e-20))
        return np.mean(bands, axis=0) if bands else None


def _is_clear(match: Samples, rate_hz: int) -> bool:
    """Whether the best match of one beat is good, and the only good one."""
    best = int(np.argmax(match))
    apart = np.abs(np.arange(len(match)) - best) >= round(RIVAL_APART_S * rate_hz)
    return bool(match[best] >= CLEAR_MATCH and match[apart].max() < RIVAL_MATCH * match[best])


def _peak_ms(match: Samples, rate_hz: int) -> float | None:
    """The shift of the best match, between the steps by a parabola; None at the edge."""
    reach, best = len(match) // 2, int(np.argmax(match))
    if not 0 < best < len(match) - 1:
        return None
    left, middle, right = match[best - 1 : best + 2]
    vertex = 0.5 * (left - right) / (left - 2 * middle + right)
    return float((best - reach + vertex) * 1000.0 / rate_hz)


def _sounded_at(source: Samples, rate_hz: int, times_s: Samples) -> Samples:
    """The source at any times, band-limited: oversampled through its Fourier transform, then interpolated."""
    first, last = int(times_s[0] * rate_hz) - 512, int(times_s[-1] * rate_hz) + 512
    padded = np.pad(source[max(first, 0) : max(last, 0)], (max(-first, 0), max(last - len(source), 0)))
    fine = signal.resample(padded, len(padded) * OVERSAMPLED)
    return np.interp((times_s * rate_hz - first) * OVERSAMPLED, np.arange(len(fine)), fine)


def _rise(sound: Samples, rate_hz: int, band_hz: tuple[float, float]) -> tuple[Samples, Samples]:
    """How fast the envelope of a band rises, and by how many dB it has risen in 10 ms."""
    filtered = signal.sosfiltfilt(signal.butter(2, band_hz, "bandpass", fs=rate_hz, output="sos"), sound)
    window = signal.windows.hann(round(SMOOTHING_S * rate_hz) + 2)[1:-1]
    energy = np.convolve(filtered**2, window / window.sum(), "same")
    envelope = np.sqrt(np.maximum(energy, 1e-12))
    back = round(0.010 * rate_hz)
    before = np.concatenate([np.full(back, np.inf), envelope[:-back]])
    rise = np.maximum(np.diff(envelope, prepend=envelope[0]), 0.0)
    return rise, 20 * np.log10(envelope / before + 1e-9)
