"""How the beats of a record come, before anybody asks which of them begins a bar: as given, or as measured.

What is given wins, in this order:

- marked beats are the beats. Where one straight line fits them they are one tempo, by least squares; else they
  are followed one by one;
- a tempo is taken at its exact period, and only the phase is left to be found;
- otherwise the measured tempo counts, in half or double time where that is asked for, and where the stretches of the
  record do not lie over each other, its beats are counted one by one (`drifting`).

Conventions
-----------
- `anchor_beats` is a place of the clock where somebody said that a beat is; None where nobody did.
- `residual_ms` is how far the beats of single stretches lie from the pulse, or marked beats from their line: the 80th
  percentile.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from render.analysis.clock import Clock, counted_clock, hop_middles_s, marked_clock
from render.analysis.drifting import counted_beats
from render.analysis.folding import Fold, folded, folded_by_beats, lags_cycles, sharpest_period_s
from render.analysis.onsets import Curve
from render.analysis.tempo import TempoCandidate
from render.facts import Given, GivenBeats

FIT_MS = 10.0
"""Stretches of a record with one tempo scatter by less; the hand of a drummer or a worn tape by more."""
LINE_MS = 5.0
LINE_PERCENTILE = 95.0
"""A straight line fits marked beats where so many of them lie this near to it: beats told in hundredths of a second
do, and what lies further apart is heard as a flam (from memory)."""
CHECK_PERCENTILE = 80.0
FAR_FROM_MEASURED = 0.005
"""A stated tempo further than this, relatively, from the measured one, its half and its double is told."""


@dataclass(frozen=True)
class Pulse:
    """`fold` is the record folded by `clock`; `fits` says whether one tempo serves."""

    clock: Clock
    fold: Fold
    fits: bool
    residual_ms: float
    anchor_beats: float | None = None
    bar_said: bool = False
    """Whether the anchor also begins bar 1."""


def pulse_of(
    curve: Curve, hop_s: float, candidates: tuple[TempoCandidate, ...], given: Given
) -> Pulse | None:
    """The pulse of a record with this attack curve, `(hops,)`; None where there is nothing to go by."""
    if given.beats is not None:
        pulse = _marked(curve, hop_s, given.beats, given.multiple)
    elif given.tempo_bpm is not None and (given.first_beat_s is not None or np.any(curve > 0)):
        fold = folded(curve, hop_s, 60.0 / given.tempo_bpm)
        residual_ms = fold_residual_ms(fold)
        pulse = Pulse(Clock(fold.period_s), fold, residual_ms <= FIT_MS, residual_ms)
    elif candidates:
        pulse = _measured(curve, hop_s, candidates, given.multiple)
    else:
        return None
    return pulse if given.first_beat_s is None else _anchored(pulse, given.first_beat_s)


def exact_period_s(curve: Curve, hop_s: float, about_s: float) -> float:
    """The period near `about_s`: a wide search, and a narrow one where the wide one ended."""
    wide = sharpest_period_s(folded(curve, hop_s, about_s))
    return sharpest_period_s(folded(curve, hop_s, wide), 0.03)


def fold_residual_ms(fold: Fold) -> float:
    lags = lags_cycles(fold)
    if not lags.size:
        return 0.0
    return float(np.percentile(np.abs(lags), CHECK_PERCENTILE)) * fold.period_s * 1000.0


def straight_line(times_s: Curve) -> tuple[float, float, Curve]:
    """The first beat and the length of a beat of the line through marked beats, and how far each lies off it, in
    seconds. Least squares."""
    number = np.arange(len(times_s))
    beat_s, first_s = np.polyfit(number, times_s, 1)
    return float(first_s), float(beat_s), np.asarray(times_s - (first_s + number * beat_s))


def _measured(curve: Curve, hop_s: float, candidates: tuple[TempoCandidate, ...], multiple: float) -> Pulse:
    period_s = exact_period_s(curve, hop_s, 60.0 / candidates[0].tempo_bpm)
    fold = folded(curve, hop_s, period_s)
    residual_ms = fold_residual_ms(fold)
    beat_s = period_s / multiple
    if residual_ms <= FIT_MS:
        fold = fold if multiple == 1.0 else folded(curve, hop_s, beat_s)
        return Pulse(Clock(beat_s), fold, True, residual_ms)
    counted = counted_beats(curve, hop_s, beat_s)
    fold = folded_by_beats(curve, counted, beat_s)
    return Pulse(counted_clock(counted, hop_s, beat_s), fold, False, residual_ms)


def _marked(curve: Curve, hop_s: float, beats: GivenBeats, multiple: float) -> Pulse:
    times_s = np.array(beats.times_s)
    first_s, marked_s, off_s = straight_line(times_s)
    off_ms = np.abs(off_s) * 1000.0
    fits = float(np.percentile(off_ms, LINE_PERCENTILE)) <= LINE_MS
    said = beats.bar_index or 0
    if fits:
        clock = Clock(marked_s / multiple)
        anchor = clock.beat_at(first_s + said * marked_s)
    else:
        clock = marked_clock(times_s, multiple)
        anchor = clock.beat_at(float(times_s[said]))
    fold = folded_by_beats(curve, clock.beats_at(hop_middles_s(len(curve), hop_s)), clock.beat_s)
    residual_ms = float(np.percentile(off_ms, CHECK_PERCENTILE))
    return Pulse(clock, fold, fits, residual_ms, anchor, beats.bar_index is not None)


def _anchored(pulse: Pulse, first_beat_s: float) -> Pulse:
    """The same pulse with bar 1 where it is said to be; beats that were marked stay where they are."""
    anchor = pulse.clock.beat_at(first_beat_s)
    if pulse.anchor_beats is not None:
        anchor = pulse.anchor_beats + round(anchor - pulse.anchor_beats)
    return replace(pulse, anchor_beats=anchor, bar_said=True)


def misfits(
    pulse: Pulse, given: Given, curve: Curve, hop_s: float, candidates: tuple[TempoCandidate, ...]
) -> Iterator[str]:
    """What of a record speaks against its pulse, for a performer to read."""
    off = f"{pulse.residual_ms:.0f} ms off"
    if given.beats is not None:
        if not pulse.fits:
            yield f"one tempo does not fit the marked beats: they lie {off}, so they are followed one by one"
    elif given.tempo_bpm is not None:
        if not candidates:
            return
        measured_bpm = 60.0 / exact_period_s(curve, hop_s, 60.0 / candidates[0].tempo_bpm)
        if all(
            abs(given.tempo_bpm / (multiple * measured_bpm) - 1) > FAR_FROM_MEASURED
            for multiple in (0.5, 1.0, 2.0)
        ):
            yield f"{measured_bpm:.2f} BPM was measured, not {given.tempo_bpm:.2f}"
        elif not pulse.fits:
            yield f"at {given.tempo_bpm:.2f} BPM stretches lie {off}; {measured_bpm:.3f} BPM was measured"
    elif not pulse.fits:
        yield f"one tempo does not fit: stretches lie {off}, so beats are counted one by one"
