"""How fast a record goes: one tempo for the whole of it, with the next likely one and how close the call was.

Two questions are kept apart. *Which pulse?* is easy: the spectrum of the attack curve has lines at the beat rate and
its multiples, and a comb laid over it finds their common spacing. *Which multiple of it is the beat?* is where every
method errs, for a record is nearly as regular at 3/4 or 4/3 of its tempo, and at half and double, as at the tempo
itself. So each multiple is scored by several witnesses together, in points of log-likelihood:

- the comb: how much of the curve's variation repeats with this beat, relative to the best candidate;
- bars: how well the curve agrees with itself 4, 8 and 16 beats later. Dotted rhythms repeat at 3/4 of a beat but not
  at 16 times 3/4 of a beat, which tells the 3/4 family from the truth; the same for the low band, 4 and 8 beats
  against 2;
- beats: the same for 1, 2 and 3 beats, and for the low band alone after one;
- halves: the beat is divided in two by something (a hat as a rule), and not in three;
- the backbeat: hard hits in the range of snares and claps come every other beat, so that they agree with
  themselves better after two beats than after one. This is what tells 174 from 87: the snare on two and four of
  drum & bass is 0.69 s apart, that of a slow head-nod twice as far;
- what is usual, `usual_points`: a prior, stated below.

The weights are those of a conditional logistic regression over the candidates of records whose tempo is known
(synthetic records, tiled drum loops, tracker music, renderings of scores), rounded. So points are log-odds, and the
share of the best candidate in the sum of all is how sure the call is.
(Tempo from periodicity under a log-normal prior: Ellis, "Beat Tracking by Dynamic Programming", Journal of New Music
Research 36(1), 2007; multiples as the main error: Gouyon et al., IEEE TASLP 14(5), 2006.)
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from render.analysis.onsets import Curve, OnsetFeatures, Powers

SLOWEST_BPM = 60.0
FASTEST_BPM = 200.0
MULTIPLES = (1.0, 2.0, 0.5, 0.75, 4 / 3, 1.5, 2 / 3)
SAME_TEMPO = 0.015
"""Candidates nearer than this, relatively, are one."""
SEEDS = 5
"""Peaks of the comb that are candidates; the multiples of the first two are as well."""

COMB_TEETH = 8
COMB_HOPS = 4
"""The comb needs no more than about 4 ms."""
AGREEMENT_HOPS = 8
AGREEMENT_BLUR_HOPS = 6

USUAL_BPM = 125.0
USUAL_WIDTH_OCTAVES = 0.5
"""A log-normal prior around the middle of what is played in clubs. 174 is ahead of 87 by 0.4 points (odds of 3 to 2),
as drum & bass is what most records there are; the music has to say the rest."""
TOO_FAST_BPM = 180.0
TOO_FAST_POINTS = 22.0
"""Points lost per octave above: beats faster than those of drum & bass are eighths of something slower."""

COMB_POINTS = 1.5
BAR_POINTS = 2.7
BEAT_POINTS = 2.3
HALF_BEAT_POINTS = 4.4
THIRD_BEAT_POINTS = -3.0
BACKBEAT_POINTS = 3.6
LOW_BEAT_POINTS = 2.3
LOW_BAR_POINTS = 2.6
USUAL_POINTS = 2.25


@dataclass(frozen=True)
class TempoCandidate:
    """One possible beat and what speaks for it; every witness as described above, mostly from 0 to 1."""

    tempo_bpm: float
    comb: float
    bars: float
    beats: float
    halves: float
    thirds: float
    backbeat: float
    low_beats: float
    low_bars: float

    @property
    def points(self) -> float:
        return (
            COMB_POINTS * math.log(self.comb + 0.05)
            + BAR_POINTS * self.bars
            + BEAT_POINTS * self.beats
            + HALF_BEAT_POINTS * self.halves
            + THIRD_BEAT_POINTS * self.thirds
            + BACKBEAT_POINTS * self.backbeat
            + LOW_BEAT_POINTS * self.low_beats
            + LOW_BAR_POINTS * self.low_bars
            + usual_points(self.tempo_bpm)
        )


def usual_points(tempo_bpm: float) -> float:
    """The prior of a tempo, in points: highest at `USUAL_BPM`."""
    octaves = math.log2(tempo_bpm / USUAL_BPM)
    above = max(0.0, math.log2(tempo_bpm / TOO_FAST_BPM))
    return -USUAL_POINTS * (octaves / USUAL_WIDTH_OCTAVES) ** 2 - TOO_FAST_POINTS * above


def tempo_candidates(features: OnsetFeatures, curve: Curve) -> tuple[TempoCandidate, ...]:
    """All candidates, best first; empty where the record has no attacks. Tempi are good to about 0.1 %.

    `curve` is the attack curve of the whole record, `(hops,)`.
    """
    if len(curve) * features.hop_s < 4 * 60.0 / SLOWEST_BPM or not np.any(curve > 0):
        return ()
    rates_hz, comb = _comb(curve, features.hop_s)
    seeds = _peaks(rates_hz, comb, SEEDS)
    tempi: list[float] = []
    for rank, seed in enumerate(seeds):
        for multiple in MULTIPLES if rank < 2 else (1.0,):
            tempo = 60.0 * seed * multiple
            known = any(abs(tempo / other - 1) < SAME_TEMPO for other in tempi)
            if SLOWEST_BPM <= tempo <= FASTEST_BPM and not known:
                tempi.append(tempo)
    agreement = _Agreement(curve, features.hop_s)
    snares = _Agreement(amplitude_rises(features.power[:, 2], 8, 12), features.hop_s)
    kicks = _Agreement(amplitude_rises(features.power[:, 0], 16, 16), features.hop_s)
    candidates = []
    for tempo in tempi:
        apart = np.abs(60.0 * rates_hz / tempo - 1)
        near = np.flatnonzero(apart <= max(SAME_TEMPO / 5, float(apart.min())))
        best = int(near[np.argmax(comb[near])])
        beat_s = 1.0 / rates_hz[best]
        candidates.append(
            TempoCandidate(
                tempo_bpm=60.0 / beat_s,
                comb=float(comb[best] / comb.max()),
                bars=agreement.after(beat_s, 4, 8, 16),
                beats=agreement.after(beat_s, 1, 2, 3),
                halves=agreement.after(beat_s, 0.5),
                thirds=agreement.after(beat_s, 1 / 3, 2 / 3),
                backbeat=snares.after(beat_s, 2) - snares.after(beat_s, 1),
                low_beats=kicks.after(beat_s, 1),
                low_bars=kicks.after(beat_s, 4, 8) - kicks.after(beat_s, 2),
            )
        )
    return tuple(sorted(candidates, key=lambda candidate: -candidate.points))


@dataclass(frozen=True)
class TempoCall:
    """How sure the tempo is: the share of likelihood of what is counted, from 0 to 1, and what comes next."""

    confidence: float
    runner_up_bpm: float | None


def tempo_call(candidates: tuple[TempoCandidate, ...], multiple: float = 1.0) -> TempoCall:
    """The call for the best candidate. With a `multiple` other than 1 somebody has said which octave of it counts;
    then its half and double are no rivals."""
    if not candidates:
        return TempoCall(0.0, None)
    points = np.array([candidate.points for candidate in candidates])
    octaves = np.log2([candidate.tempo_bpm / candidates[0].tempo_bpm for candidate in candidates])
    same = np.abs(octaves - np.round(octaves)) < SAME_TEMPO if multiple != 1.0 else octaves == 0.0
    shares = np.exp(points - points[0])
    rivals = [candidate.tempo_bpm for candidate, own in zip(candidates, same, strict=True) if not own]
    return TempoCall(float(shares[same].sum() / shares.sum()), rivals[0] if rivals else None)


def _comb(curve: Curve, hop_s: float) -> tuple[Curve, Curve]:
    """Beat rates in hertz and the power of the curve at them and their multiples."""
    thin = _thinned(curve, COMB_HOPS)
    thin = thin - thin.mean()
    size = next_fast_len(4 * len(thin), real=True)
    power = np.abs(rfft(thin, size)) ** 2
    step_hz = 1.0 / (size * COMB_HOPS * hop_s)
    rates_hz = np.arange(0.8 * SLOWEST_BPM / 60.0, 1.1 * FASTEST_BPM / 60.0, step_hz)
    comb = np.zeros(len(rates_hz))
    for tooth in range(1, COMB_TEETH + 1):
        comb += power[np.round(rates_hz * tooth / step_hz).astype(np.int64)]
    return rates_hz, comb


def _peaks(rates_hz: Curve, comb: Curve, count: int) -> list[float]:
    left = comb.copy()
    peaks = []
    for _ in range(count):
        best = int(np.argmax(left))
        peaks.append(float(rates_hz[best]))
        left[np.abs(rates_hz / rates_hz[best] - 1) < 0.02] = 0.0
    return peaks


class _Agreement:
    """How well a curve agrees with itself some beats later: its autocorrelation, 1 at no delay."""

    def __init__(self, curve: Curve, hop_s: float) -> None:
        thin = _thinned(gaussian_filter1d(curve, AGREEMENT_BLUR_HOPS), AGREEMENT_HOPS)
        thin = thin - thin.mean()
        power = np.abs(rfft(thin, next_fast_len(2 * len(thin), real=True))) ** 2
        products = irfft(power)[: len(thin)] / np.arange(len(thin), 0, -1)
        self._values = products / products[0] if products[0] > 0 else np.zeros(len(thin))
        self._step_s = AGREEMENT_HOPS * hop_s

    def after(self, beat_s: float, *beats: float) -> float:
        """The mean agreement after these numbers of beats; 0 for those that the record is too short for."""
        sums = 0.0
        for count in beats:
            lag = round(count * beat_s / self._step_s)
            if lag + 3 < len(self._values) * 0.9:
                sums += float(self._values[lag - 2 : lag + 3].max())
        return sums / len(beats)


def amplitude_rises(power: Powers, smoothing_hops: int, rise_hops: int) -> Curve:
    """By how much the amplitude of a band rises within `rise_hops`, centred on the rise, `(hops,)`.

    Amplitude and not level, so that only what is loud counts.
    """
    amplitude = np.sqrt(np.maximum(uniform_filter1d(power.astype(np.float64), smoothing_hops), 0.0))
    rises = np.zeros(len(amplitude))
    before = rise_hops // 2
    if len(amplitude) > rise_hops:
        change = amplitude[rise_hops:] - amplitude[:-rise_hops]
        rises[before : before + len(change)] = np.maximum(change, 0.0)
    return rises


def _thinned(curve: Curve, hops: int) -> Curve:
    whole = len(curve) // hops * hops
    return np.asarray(curve[:whole].reshape(-1, hops).sum(axis=1))
