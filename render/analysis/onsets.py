"""Where things begin, band by band: a record's attack curves, heard in one pass.

The record is mixed to mono, split into four broad bands, and the power of each band is kept once every hop of
about a millisecond. A hop is a whole number of frames, so its true length is `hop_s` = hop / rate: at 44.1 kHz 44
frames are 0.99773 ms, and to call them 1 ms would be wrong by 2,270 parts in a million, hundreds of times the error
a grid may have.

From the powers an *attack curve* is made: by how many decibels a band rises above the loudest moment of the last
`MEMORY_S`. Levels, not amplitudes, so that a soft hat beside a loud kick still counts; above a memory, because the
beating of chords and the flicker of noise rise again and again but do not exceed themselves; capped, because the
first sound after silence is not more of a beat than any other. (Log-energy rise in bands: Klapuri, "Sound Onset
Detection by Applying Psychoacoustic Knowledge", ICASSP 1999.)

Beside them stand twelve pitch-class energies every tenth of a second, by which bars hear a chord change.

Conventions
-----------
- Powers are mean squares, shape (hops, 4), lowest band first; attack curves are decibels, same shape.
- Hop k covers the time from k · hop_s to (k + 1) · hop_s; an attack inside it shows in hop k.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import butter, sosfilt

from render.values import Audio

Curve = npt.NDArray[np.float64]
Powers = npt.NDArray[np.float32]

BAND_EDGES_HZ = (30.0, 150.0, 800.0, 4000.0)
"""Lower edges of the bands: kick and bass; body; voices and snares; hats. Each ends where the next begins."""
BANDS = len(BAND_EDGES_HZ)
HOP_S = 0.001
ENOUGH_RATE_HZ = 44_100
"""Higher rates are averaged down to at least this: what lies above says nothing new about attacks."""

SMOOTHING_HOPS = (12, 6, 4, 3)
"""Span over which a band's power is averaged; a low band needs half a period of its lowest tone."""
MEMORY_S = (0.030, 0.020, 0.016, 0.012)
RANGE_DB = 36.0
"""What lies further below the loud moments of a band (their 99th percentile) is silence."""
GATE_DB = 1.5
"""Smaller rises within one hop are flicker."""
CAP_DB = 10.0

PITCH_HOP_S = 0.1
PITCH_WINDOW_S = 0.19
"""Long enough to part semitones from 110 Hz up."""
PITCH_RANGE_HZ = (110.0, 1760.0)
TUNING_HZ = 440.0
"""A above middle C (ISO 16:1975)."""


@dataclass(frozen=True)
class OnsetFeatures:
    """What `OnsetListener` heard. `power`: (hops, 4); `pitch`: (moments, 12), C first."""

    hop_s: float
    power: Powers
    pitch_hop_s: float
    pitch: Powers

    @property
    def duration_s(self) -> float:
        return len(self.power) * self.hop_s


class OnsetListener:
    """Hears a record block by block; memory grows by about 20 KB a second of record, whatever its rate."""

    def __init__(self, rate_hz: int) -> None:
        self._thin = max(1, rate_hz // ENOUGH_RATE_HZ)
        rate = rate_hz / self._thin
        self._rate_hz = rate
        self._hop = max(1, round(rate * HOP_S))
        self._filters = [_band_filter(band, rate) for band in range(BANDS)]
        self._states = [np.zeros((len(sos), 2), dtype=np.float32) for sos in self._filters]
        self._left_raw = np.zeros(0, dtype=np.float32)
        self._left_bands = np.zeros((BANDS, 0), dtype=np.float32)
        self._powers: list[Powers] = []
        self._window = round(rate * PITCH_WINDOW_S)
        self._step = round(rate * PITCH_HOP_S)
        self._tail = np.zeros(self._window // 2, dtype=np.float32)
        self._pitches: list[Powers] = []
        self._hann = np.hanning(self._window).astype(np.float32)
        self._classes = _pitch_classes(self._window, rate)

    def feed(self, block: Audio) -> None:
        """Hear the next block, `(frames, channels)`."""
        mono = block.mean(axis=1, dtype=np.float32)
        if self._thin > 1:
            mono = np.concatenate((self._left_raw, mono))
            whole = len(mono) // self._thin * self._thin
            self._left_raw = mono[whole:]
            mono = mono[:whole].reshape(-1, self._thin).mean(axis=1)
        if mono.size:
            self._hear_bands(mono)
            self._hear_pitch(mono)

    def heard(self) -> OnsetFeatures:
        power = np.concatenate(self._powers) if self._powers else np.zeros((0, BANDS), np.float32)
        pitch = np.stack(self._pitches) if self._pitches else np.zeros((0, 12), np.float32)
        return OnsetFeatures(self._hop / self._rate_hz, power, self._step / self._rate_hz, pitch)

    def _hear_bands(self, mono: npt.NDArray[np.float32]) -> None:
        bands = np.empty((BANDS, len(mono)), dtype=np.float32)
        for band, sos in enumerate(self._filters):
            bands[band], self._states[band] = sosfilt(sos, mono, zi=self._states[band])
        bands = np.concatenate((self._left_bands, bands), axis=1)
        hops = bands.shape[1] // self._hop
        whole = bands[:, : hops * self._hop].reshape(BANDS, hops, self._hop)
        self._powers.append(np.einsum("bhf,bhf->hb", whole, whole) / np.float32(self._hop))
        self._left_bands = bands[:, hops * self._hop :]

    def _hear_pitch(self, mono: npt.NDArray[np.float32]) -> None:
        sound = np.concatenate((self._tail, mono))
        start = 0
        while start + self._window <= len(sound):
            spectrum = np.abs(np.fft.rfft(sound[start : start + self._window] * self._hann))
            self._pitches.append((self._classes @ spectrum[: self._classes.shape[1]]).astype(np.float32))
            start += self._step
        self._tail = sound[start:]


def _band_filter(band: int, rate_hz: float) -> npt.NDArray[np.float32]:
    """Second-order sections of one band, low enough in order to be quick in time."""
    highest = 0.4 * rate_hz
    low = min(BAND_EDGES_HZ[band], highest)
    above = butter(2, low, "highpass", fs=rate_hz, output="sos")
    if band + 1 == BANDS or BAND_EDGES_HZ[band + 1] >= highest:
        return np.asarray(above, dtype=np.float32)
    below = butter(2, BAND_EDGES_HZ[band + 1], "lowpass", fs=rate_hz, output="sos")
    return np.asarray(np.concatenate((above, below)), dtype=np.float32)


def _pitch_classes(window: int, rate_hz: float) -> Powers:
    """Which bin of a spectrum belongs to which pitch class, `(12, bins)`; equal temperament."""
    frequency_hz = np.arange(window // 2 + 1) * rate_hz / window
    low_hz, high_hz = PITCH_RANGE_HZ
    used = (frequency_hz >= low_hz) & (frequency_hz <= min(high_hz, 0.45 * rate_hz))
    classes = np.zeros((12, int(np.flatnonzero(used)[-1]) + 1), dtype=np.float32)
    for each in np.flatnonzero(used):
        semitone = round(12 * np.log2(frequency_hz[each] / TUNING_HZ)) + 9
        classes[semitone % 12, each] = 1.0
    return classes


def attack_curves(features: OnsetFeatures) -> Curve:
    """Decibels by which each band exceeds its recent past, hop by hop, `(hops, 4)`."""
    rises = np.zeros(features.power.shape)
    for band in range(features.power.shape[1]):
        power = features.power[:, band].astype(np.float64)
        loud = float(np.percentile(power, 99)) if power.size else 0.0
        if loud <= 0.0:
            continue
        span = SMOOTHING_HOPS[band]
        causal = -(span // 2) if span % 2 == 0 else -((span - 1) // 2)
        smooth = uniform_filter1d(power, span, mode="constant", origin=-causal - (span % 2 == 0))
        level_db = 10 * np.log10(np.maximum(smooth, 0.0) / loud + 10 ** (-RANGE_DB / 10))
        memory = round(MEMORY_S[band] / features.hop_s)
        before_db = maximum_filter1d(level_db, memory, mode="nearest", origin=(memory - 1) // 2)
        rise = level_db[1:] - before_db[:-1]
        rises[1:, band] = np.clip(np.where(rise > GATE_DB, rise, 0.0), 0.0, CAP_DB)
    return rises
