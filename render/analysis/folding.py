"""A record laid over itself beat by beat: the exact period and where in it things happen.

Attack curves cut into blocks of a few beats and folded at a period give one profile a block. Its Fourier
coefficients say everything: if the period is off by a little, the profiles of later blocks are merely shifted, and a
shift is a turn of the coefficients by an angle proportional to their number. So one fold serves to try hundreds of
periods: the right one maximises the power of the summed profile without its mean, which by Parseval is the variance
of the profile of the whole record. (Folding at trial periods: Leahy et al., "On searches for pulsed emission with
application to four globular cluster X-ray sources", Astrophysical Journal 266, 1983.)

Conventions
-----------
- A position in the period is a phase in cycles, 0 at time 0 of the recording.
- Coefficient k of a profile p is Σ p(φ)·exp(−2πikφ); coefficient 0 is left out.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from render.analysis.onsets import Curve

Coefficients = npt.NDArray[np.complex128]

BINS = 512
HARMONICS = 200
"""Enough to see 2 ms in a beat of 400 ms. The sharper the profile, the less do instruments with soft attacks, which
come late, pull the period when they come in halfway through a record."""
BLUR_CYCLES = 0.0016
"""Gaussian blur of the profiles (0.6 ms in a beat of 400 ms), so that the last harmonics do not ring."""
SEARCH_CYCLES = 0.4
"""How far the last block may have to be turned against the first: what a first guess leaves open."""
STRETCH_BLOCKS = 2
LAG_REACH_CYCLES = 0.2
"""Less than a sixteenth, or one sixteenth would be taken for the next."""
LAG_BLUR_CYCLES = 0.01
CLEAR_MATCH = 0.3


@dataclass(frozen=True)
class Fold:
    """One curve folded at `period_s`, block by block; `coefficients`: (blocks, harmonics)."""

    period_s: float
    beats_per_block: int
    coefficients: Coefficients

    @property
    def blocks(self) -> int:
        return len(self.coefficients)

    def at(self, period_s: float) -> "Fold":
        """The same record folded at a period very near to this one."""
        turned = self.coefficients * _turns(self, period_s)
        return Fold(period_s, self.beats_per_block, turned)

    def profile(self, bins: int = 4 * BINS) -> Curve:
        """The folded profile without its mean, over one period from phase 0."""
        spectrum = np.zeros(bins // 2 + 1, dtype=np.complex128)
        spectrum[1 : HARMONICS + 1] = self.coefficients.sum(axis=0) * _blur()
        return np.asarray(np.fft.irfft(spectrum, bins))


def _blur() -> Curve:
    number = np.arange(1, HARMONICS + 1)
    return np.asarray(np.exp(-0.5 * (2 * np.pi * number * BLUR_CYCLES) ** 2))


def _turns(fold: Fold, period_s: float) -> Coefficients:
    """Factors that move each block from the fold's period to another.

    What lies at time t has phase t / P; between two periods the phase of a block's middle changes by
    t·(1/P' − 1/P), taken as one for the whole block.
    """
    return _turns_by_rate(fold, 1.0 / period_s - 1.0 / fold.period_s)


def _turns_by_rate(fold: Fold, change_hz: float) -> Coefficients:
    middle_s = (np.arange(fold.blocks) + 0.5) * fold.beats_per_block * fold.period_s
    return np.exp(-2j * np.pi * np.outer(middle_s * change_hz, np.arange(1, HARMONICS + 1)))


def _powers(fold: Fold, rates_hz: Curve) -> Curve:
    """The power of the folded profile at evenly spaced rates: from one to the next, every block turns by the same."""
    turned = fold.coefficients * _turns_by_rate(fold, float(rates_hz[0]) - 1.0 / fold.period_s)
    step = _turns_by_rate(fold, float(rates_hz[1] - rates_hz[0]))
    profiles = np.empty((len(rates_hz), HARMONICS), np.complex128)
    for each in range(len(rates_hz)):
        turned.sum(axis=0, out=profiles[each])
        turned *= step
    return np.asarray(np.sum(np.abs(profiles * _blur()) ** 2, axis=1))


def folded(curve: Curve, hop_s: float, period_s: float, beats_per_block: int = 8) -> Fold:
    """A curve `(hops,)` folded at a period, in blocks of whole beats from time 0 on."""
    beats = np.asarray((np.arange(len(curve)) + 0.5) * (hop_s / period_s), dtype=np.float64)
    return folded_by_beats(curve, beats, period_s, beats_per_block)


def folded_by_beats(curve: Curve, phase: Curve, period_s: float, beats_per_block: int = 8) -> Fold:
    """A curve folded where the beats are known hop by hop, `phase`: (hops,), from 0 up, in beats."""
    blocks = int(phase[-1] / beats_per_block) + 1 if len(curve) else 0
    attacks = np.flatnonzero(curve)  # most hops have none
    phase, curve = phase[attacks], curve[attacks]
    block = (phase / beats_per_block).astype(np.int64)
    place = (phase % 1.0) * BINS - 0.5
    lower = np.floor(place)
    share = place - lower
    sums = np.zeros(blocks * BINS)
    for offset, weight in ((0, 1.0 - share), (1, share)):
        index = block * BINS + (lower.astype(np.int64) + offset) % BINS
        sums += np.bincount(index, weights=curve * weight, minlength=blocks * BINS)
    number = np.arange(1, HARMONICS + 1)
    spectra = np.fft.rfft(sums.reshape(blocks, BINS), axis=1)[:, 1 : HARMONICS + 1]
    spectra = spectra * np.exp(-1j * np.pi * number / BINS)
    return Fold(period_s, beats_per_block, spectra)


def sharpest_period_s(fold: Fold, search_cycles: float = SEARCH_CYCLES) -> float:
    """The period near the fold's own at which the folded profile varies most, in seconds."""
    length_s = fold.blocks * fold.beats_per_block * fold.period_s
    span = np.arange(-search_cycles, search_cycles, 1.0 / (4 * HARMONICS))
    rates = 1.0 / fold.period_s + span / length_s
    powers = np.zeros(0)
    for _ in range(2):  # the second time round, finer
        powers = _powers(fold, rates)
        best = int(np.clip(np.argmax(powers), 1, len(rates) - 2))
        middle, step = rates[best], rates[1] - rates[0]
        rates = middle + step * np.linspace(-1.0, 1.0, 21)
    low, high_point, high = powers[best - 1 : best + 2]
    bend = low - 2 * high_point + high
    lean = 0.5 * (low - high) / bend if bend < 0 else 0.0
    return float(1.0 / (middle + lean * step))


def lags_cycles(fold: Fold) -> Curve:
    """How far each stretch of the record lies from the whole, in cycles of the period, positive where it is late.

    A stretch is `STRETCH_BLOCKS` blocks; those that do not resemble the whole (a pad, silence) are left out.
    """
    stretches = -(-fold.blocks // STRETCH_BLOCKS)
    blur = np.exp(-0.5 * (2 * np.pi * np.arange(1, HARMONICS + 1) * LAG_BLUR_CYCLES) ** 2)
    whole = fold.coefficients.sum(axis=0) * blur
    lags = []
    for each in range(stretches):
        part = fold.coefficients[each * STRETCH_BLOCKS : (each + 1) * STRETCH_BLOCKS].sum(axis=0) * blur
        size = np.linalg.norm(part) * np.linalg.norm(whole)
        if size <= 0.0:
            continue
        spectrum = np.zeros(BINS // 2 + 1, dtype=np.complex128)
        spectrum[1 : HARMONICS + 1] = part * np.conj(whole)
        match = np.fft.irfft(spectrum, BINS) * BINS / 2 / size
        reach = round(LAG_REACH_CYCLES * BINS)
        near = np.arange(-reach, reach + 1)
        best = int(near[np.argmax(match[near])])
        if match[best] >= CLEAR_MATCH:
            lags.append(best / BINS)
    return np.array(lags)
