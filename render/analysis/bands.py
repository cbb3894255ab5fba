"""What a record sounds like in short frames, heard once: power in octave bands, low end, loudness, onsets.

Conventions
-----------
- A frame is about 46 ms of sound under a Hann window, and frames follow each other by a quarter of that. The period
  is `hop / rate_hz` exactly; a frame's time is its middle.
- Power is the mean square of the samples, summed over channels; full scale at 1.0. Silence is 0, not a level.
- Octave bands have the nominal midbands of IEC 61260-1:2014; their edges lie half an octave to either side
  (base-two octaves). A band that a record's rate does not reach has no power. The lowest two share some power: frames
  short enough to tell a bar from the next one cannot part 31 from 63 Hz cleanly.
- Loudness-like power weighs the spectrum as ITU-R BS.1770-5, Annex 1, does; it is not gated.

Both channels go through one transform: the spectrum Z of left + i·right holds |L(f)|² + |R(f)|² =
(|Z(f)|² + |Z(−f)|²) / 2, so a pair that cancels in mono is heard as well.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.signal as dsp

from render.sound.k_weighting import K_OFFSET_DB, k_weighting_filters
from render.values import Audio

Powers = npt.NDArray[np.float32]

FRAME_S = 0.0464
"""Aimed at; the nearest power of two is taken. Long enough to tell a bass from a kick's body at 120 Hz."""
HOPS_PER_FRAME = 4
"""Hann-squared windows this far apart add up to a constant: no moment counts more than another."""
MIDBANDS_HZ = (31.5, 63.0, 125.0, 250.0, 500.0, 1_000.0, 2_000.0, 4_000.0, 8_000.0, 16_000.0)
LOW_END_HZ = (20.0, 120.0)
"""Kick and bass, and nothing of what plays above them."""
FLUX_EDGES_HZ = (120.0, 500.0, 2_000.0, 6_000.0, 16_000.0)
"""Between these, rises of level are counted apart: a hat is heard through a chord."""
LOUD_PERCENTILE = 95.0
LOW_FLUX_FLOOR_DB = -12.0
FLUX_FLOOR_DB = -30.0
"""Below a band's loud frames: what rises below this is no attack. Little rumbles in an empty low end would be
many; above it soft strokes count as well."""
FRAMES_AT_ONCE = 256


@dataclass(frozen=True)
class FrameFeatures:
    """One record, frame by frame. The middle of the first frame is the first sample."""

    period_s: float
    duration_s: float
    band_power: Powers
    """`(frames, 10)`: mean square in each octave band."""
    low_power: Powers
    """`(frames,)`: mean square from 20 to 120 Hz."""
    loudness_power: Powers
    """`(frames,)`: K-weighted mean square."""
    low_flux: Powers
    """`(frames,)`: how much the low end's level rises within two frames, nepers of power; 0 where it falls."""
    flux: Powers
    """`(frames,)`: the same above the low end, the mean of four bands."""

    def time_s(self) -> npt.NDArray[np.float64]:
        """The middle of each frame, `(frames,)`, from the start of the recording."""
        return np.asarray(np.arange(len(self.low_power)) * self.period_s, np.float64)


class BandListener:
    """Hears a record block by block, `(frames, 1 or 2)` at `rate_hz`."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._size = 2 ** round(np.log2(rate_hz * FRAME_S))
        self._hop = self._size // HOPS_PER_FRAME
        window = dsp.get_window("hann", self._size)
        self._window = (window / np.sqrt(np.sum(window**2) * self._size)).astype(np.float32)
        self._weights = _weights(rate_hz, self._size)
        self._kept = np.zeros(self._size // 2, np.complex64)  # the first frame's middle is the first sample
        self._heard_frames = 0
        self._channels: int | None = None
        self._rows: list[Powers] = []

    def feed(self, block: Audio) -> None:
        self._heard_frames += len(block)
        self._channels = block.shape[1]
        pair = np.empty(len(block), np.complex64)
        pair.real = block[:, 0]
        pair.imag = block[:, 1] if self._channels == 2 else 0.0
        self._take(np.concatenate([self._kept, pair]))

    def heard(self) -> FrameFeatures:
        """The features of everything fed so far, with silence after it."""
        kept = self._kept
        self._take(np.concatenate([kept, np.zeros(self._size // 2, np.complex64)]))
        rows = np.concatenate(self._rows) if self._rows else np.zeros((0, self._weights.shape[1]), np.float32)
        self._kept = kept
        bands = len(MIDBANDS_HZ)
        low, loudness, parts = rows[:, bands], rows[:, bands + 1], rows[:, bands + 2 :]
        return FrameFeatures(
            period_s=self._hop / self._rate_hz,
            duration_s=self._heard_frames / self._rate_hz,
            band_power=rows[:, :bands],
            low_power=low,
            loudness_power=loudness,
            low_flux=_rises(low, LOW_FLUX_FLOOR_DB),
            flux=np.asarray(np.mean([_rises(part, FLUX_FLOOR_DB) for part in parts.T], axis=0), np.float32),
        )

    def _take(self, signal: npt.NDArray[np.complex64]) -> None:
        frames = max(0, (len(signal) - self._size) // self._hop + 1)
        for first in range(0, frames, FRAMES_AT_ONCE):
            last = min(first + FRAMES_AT_ONCE, frames)
            span = signal[first * self._hop : (last - 1) * self._hop + self._size]
            framed = np.lib.stride_tricks.sliding_window_view(span, self._size)[:: self._hop]
            spectrum = scipy.fft.fft(framed * self._window, axis=1)
            power = np.square(spectrum.real) + np.square(spectrum.imag)
            self._rows.append(power @ self._weights)
        self._kept = signal[frames * self._hop :]


def _weights(rate_hz: int, size: int) -> Powers:
    """How much each bin counts in each measure, `(size, measures)`; both signs of a frequency count."""
    hz = np.abs(np.fft.fftfreq(size, 1.0 / rate_hz))
    edges = [(mid / np.sqrt(2.0), mid * np.sqrt(2.0)) for mid in MIDBANDS_HZ]
    columns = [_share(hz, rate_hz / size, low, high) for low, high in edges]
    columns.append(_share(hz, rate_hz / size, *LOW_END_HZ))
    columns.append(_k_weighting(hz, rate_hz))
    columns += [_share(hz, rate_hz / size, low, high) for low, high in pairwise(FLUX_EDGES_HZ)]
    return np.stack(columns, axis=1).astype(np.float32)


def _share(
    hz: npt.NDArray[np.float64], bin_hz: float, low_hz: float, high_hz: float
) -> npt.NDArray[np.float64]:
    """How much of each bin's width lies between two frequencies, from 0 to 1."""
    overlap = np.minimum(hz + bin_hz / 2, high_hz) - np.maximum(hz - bin_hz / 2, low_hz)
    share: npt.NDArray[np.float64] = np.clip(overlap / bin_hz, 0.0, 1.0)
    return share


def _k_weighting(hz: npt.NDArray[np.float64], rate_hz: int) -> npt.NDArray[np.float64]:
    """The K-weighting's power gain at frequencies (ITU-R BS.1770-5, Annex 1), −0.691 dB included."""
    sections = k_weighting_filters(rate_hz)
    _, response = dsp.freqz_sos(sections, worN=2 * np.pi * hz / rate_hz)
    gain: npt.NDArray[np.float64] = np.abs(response) ** 2 * 10.0 ** (K_OFFSET_DB / 10)
    return gain


def _rises(power: Powers, floor_db: float) -> Powers:
    """How much the logarithm of a power has risen within two frames; 0 where it has not.

    `floor_db` counts from the loud frames of the record. A frame hears an attack when its end reaches it, half a
    frame before its middle does; so a rise is put down that much later.
    """
    loud = float(np.percentile(power, LOUD_PERCENTILE)) if len(power) else 0.0
    floor = loud * 10.0 ** (floor_db / 10)
    level = np.log(power + np.float32(max(floor, np.finfo(np.float32).tiny)))
    rises: Powers = np.zeros_like(level)
    late = HOPS_PER_FRAME // 2
    np.maximum(level[2:-late] - level[: -2 - late], 0.0, out=rises[2 + late :])
    return rises
