"""The low cut: one lane's low band taken out, so that another one's can be heard.

Conventions
-----------
- The low band L of a signal x is x filtered forwards and backwards by a Butterworth low-pass of order 2. Its
  magnitude is the square of that filter's, 1 / (1 + (f/fc)⁴), −6.02 dB at the corner: the fourth-order crossover
  of S. H. Linkwitz, Active Crossover Networks for Noncoincident Drivers, JAES 24(1), 1976. Its phase is zero.
- The rest is x − L, with the magnitude (f/fc)⁴ / (1 + (f/fc)⁴). So nothing is delayed, the two add up to x, and
  automation is no more than a gain on L.
- A ramp *ends* on the boundary it belongs to. On a hand-over on a beat the new owner has its whole low end on
  that beat, the old one has none left, and on the way there their two gains add up to 1.
- Outside its array a lane is silent.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy import signal

from render.sound.seams import raised_cosine
from render.values import Audio, nearest_frame

RAMP_S = 0.02
"""Length of a hand-over: the gain of a 50 Hz tone moves within one period of it, slowly enough that nothing is
heard above the band, and the ramp is shorter than half of a sixteenth note at 180 BPM (42 ms of 83 ms)."""

RING_PERIODS = 5.0
"""Periods of the corner after which the filter has rung out. A Butterworth filter of order 2 decays by
exp(−√2·π·fc·t): after 5 periods to exp(−22) = 2·10⁻¹⁰, below what a float32 sample can tell."""


def low_band(audio: Audio, rate_hz: int, corner_hz: float) -> Audio:
    """The part of `audio` (frames, channels) below the corner, in its place: no frame is delayed.

    Raises ValueError for a corner outside 0 to half the rate.
    """
    return _low_band(audio, rate_hz, corner_hz).astype(np.float32)


def low_cut(audio: Audio, rate_hz: int, corner_hz: float, spans: Sequence[tuple[int, int]]) -> Audio:
    """`audio` (frames, channels) without its low band in the spans (start, end), in frames of the array.

    Spans are in order and do not overlap; they may touch. The low band is gone from a span's start on and
    whole again on its end; a span that reaches the array's end stays cut to the last frame. Frames outside
    spans and their ramps come back bit for bit, and without spans the very same array does.

    Raises ValueError for spans out of order, and for a corner outside 0 to half the rate.
    """
    _require_a_corner(rate_hz, corner_hz)
    _require_in_order(spans)
    if not spans:
        return audio
    cut = audio.copy()
    frames = len(audio)
    ramp = nearest_frame(RAMP_S * rate_hz)
    ring = nearest_frame(RING_PERIODS * rate_hz / corner_hz)
    rise = raised_cosine(ramp)
    for start, end in spans:
        first, last = max(0, start - ramp), min(end, frames)
        if first >= last:
            continue
        # Only what can be heard in the span is filtered: beyond `ring` frames nothing reaches into it.
        context = max(0, first - ring)
        low = _low_band(audio[context : last + ring], rate_hz, corner_hz)[first - context : last - context]
        removed = np.ones(last - first)
        opening = removed[: start - first]
        opening *= rise[len(rise) - (start - first) :][: len(opening)]
        if end < frames:
            closing = removed[max(0, end - ramp - first) :]
            closing -= rise[len(rise) - len(closing) :]
        low *= removed[:, None]
        cut[first:last] -= low
    return cut


def _low_band(audio: Audio, rate_hz: int, corner_hz: float) -> npt.NDArray[np.float64]:
    """The low band in float64. Silence is put around the array, so that the filter can ring out in it."""
    _require_a_corner(rate_hz, corner_hz)
    ring = nearest_frame(RING_PERIODS * rate_hz / corner_hz)
    sections = signal.butter(2, corner_hz, fs=rate_hz, output="sos")
    frames, channels = audio.shape
    surrounded = np.zeros((channels, ring + frames + ring))  # a channel lies in one piece: filters like that
    surrounded[:, ring : ring + frames] = audio.T
    low: npt.NDArray[np.float64] = signal.sosfiltfilt(sections, surrounded, axis=1, padtype=None)
    return low[:, ring : ring + frames].T


def _require_a_corner(rate_hz: int, corner_hz: float) -> None:
    if not 0 < corner_hz < rate_hz / 2:
        raise ValueError(f"the corner is {corner_hz} Hz; it must lie between 0 and {rate_hz / 2} Hz")


def _require_in_order(spans: Sequence[tuple[int, int]]) -> None:
    ends_before = 0
    for start, end in spans:
        if start < ends_before or end <= start:
            raise ValueError(
                f"the span {start} to {end} comes after frame {ends_before}; spans must be in order"
            )
        ends_before = end
