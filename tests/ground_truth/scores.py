"""How right what was heard is. Scores are mir_eval's where it has them: beat, tempo and key.

Conventions
-----------
- A tempo is *folded* when a power of two between the heard and the true one is forgiven; the *stated multiple* is not.
- `first_beat_ms` is the distance from the true first beat to the nearest beat heard, `right_beat` whether that is
  less than an eighth of a beat, `right_bar` whether bars begin where bars begin. They are asked only where the folded
  tempo is right, and `right_bar` only where beat and multiple are right too.
- A drop is found when a candidate lies within one beat of any true drop.
- `landings_ms` are, for every true drop, how far the beat that is heard there lies from it; asked only where that beat
  is right, to an eighth of a beat. `landings_by_grid_ms` are the same by the grid alone.

mir_eval: C. Raffel and others, mir_eval: a transparent implementation of common MIR metrics, ISMIR 2014.
"""

from dataclasses import dataclass

import mir_eval  # type: ignore[import-untyped]
import numpy as np

from render.facts import GridFinding
from render.values import Grid
from tests.ground_truth.ears import Heard
from tests.ground_truth.truth import Times, Truth, steady_beats

MULTIPLES = (0.25, 0.5, 1.0, 2.0, 4.0)
FINE = 2e-5
"""0.002 %: over five minutes this is 6 ms."""
COARSE = 5e-5
SAME_TEMPO = 5e-4
"""Near enough that the phase of the nearest beat means something."""
MULTIPLE_TOLERANCE = 0.01


@dataclass(frozen=True)
class Score:
    """One record's scores; None where the question does not arise or nobody answered."""

    tempo_error: float | None = None
    tempo_fine: bool | None = None
    tempo_coarse: bool | None = None
    right_multiple: bool | None = None
    first_beat_ms: float | None = None
    right_beat: bool | None = None
    right_bar: bool | None = None
    grid_judged_right: bool | None = None
    """Whether it was told apart if one tempo fits the whole record."""
    beat_f: float | None = None
    landings_ms: tuple[float, ...] = ()
    landings_by_grid_ms: tuple[float, ...] = ()
    drop_rank: int | None = None
    """From 1; 0 where none of the candidates is a drop."""
    key_score: float | None = None
    voice_hits: int = 0
    voice_false: int = 0
    voice_missed: int = 0
    voice_asked: bool = False
    library_multiple: bool | None = None
    library_fine: bool | None = None
    library_first_beat_ms: float | None = None
    library_beat_f: float | None = None


def detected(true_bpm: float, heard_bpm: float, tolerance: float) -> bool:
    """mir_eval's tempo detection for one tempo."""
    p_score, _, _ = mir_eval.tempo.detection(
        np.array([true_bpm, 0.0]), 1.0, np.array([heard_bpm, 0.0]), tol=tolerance
    )
    return bool(p_score == 1.0)


def folded(true_bpm: float, heard_bpm: float, tolerance: float) -> bool:
    return any(detected(true_bpm * multiple, heard_bpm, tolerance) for multiple in MULTIPLES)


def score(truth: Truth, heard: Heard) -> Score:
    scores: dict[str, object] = {}
    if heard.grid is not None:
        scores |= _tempo(truth, heard.grid)
        scores["beat_f"] = _beat_f(truth, _beats(truth, heard)) if truth.phase != "open" else None
    if heard.finding is not None:
        scores |= _landings(truth, heard.finding)
        if truth.fixed_tempo is not None:
            scores["grid_judged_right"] = heard.finding.fits == truth.fixed_tempo
    if heard.no_grid:
        asked = ("tempo_fine", "tempo_coarse", "right_multiple") if truth.fixed_tempo else ()
        scores |= {**dict.fromkeys(asked, False), "beat_f": 0.0}
    if heard.drops_s is not None and truth.drops_s:
        scores["drop_rank"] = drop_rank(truth, heard.drops_s)
    if heard.key is not None and truth.key is not None:
        scores["key_score"] = float(mir_eval.key.weighted_score(truth.key, heard.key))
    if heard.voice_per_bar is not None and heard.bar_edges_s is not None and truth.voice_bars is not None:
        scores |= _voice(truth, heard.voice_per_bar, heard.bar_edges_s)
    scores |= _library(truth, heard)
    return Score(**scores)  # type: ignore[arg-type]


def _tempo(truth: Truth, grid: Grid) -> dict[str, object]:
    if not truth.fixed_tempo:
        return {}
    true_bpm, heard_bpm = truth.tempo_bpm, grid.tempo_bpm
    right_multiple = detected(true_bpm, heard_bpm, MULTIPLE_TOLERANCE)
    scores: dict[str, object] = {
        "tempo_error": min(abs(heard_bpm / (true_bpm * multiple) - 1) for multiple in MULTIPLES),
        "tempo_fine": folded(true_bpm, heard_bpm, FINE),
        "tempo_coarse": folded(true_bpm, heard_bpm, COARSE),
        "right_multiple": right_multiple if truth.multiple_exact else None,
    }
    if not folded(true_bpm, heard_bpm, SAME_TEMPO) or truth.phase == "open":
        return scores
    off_s = first_beat_off_s(truth, grid)
    right_beat = abs(off_s) < truth.beat_s / 8
    scores |= {
        "first_beat_ms": 1000 * abs(off_s) if truth.phase == "exact" else None,
        "right_beat": right_beat,
    }
    if right_beat and right_multiple and truth.beats_per_bar:
        beats = round((grid.first_beat_s - truth.first_beat_s) / truth.beat_s)
        right_bar = beats % truth.beats_per_bar == 0 and grid.beats_per_bar == truth.beats_per_bar
        scores["right_bar"] = right_bar
    return scores


def first_beat_off_s(truth: Truth, grid: Grid) -> float:
    """From the true first beat to the nearest beat of the grid; slower grids are asked the other way round."""
    if grid.tempo_bpm > 0.75 * truth.tempo_bpm:
        beat = grid.beat_at(truth.first_beat_s)
        return float(grid.time_s(round(beat)) - truth.first_beat_s)
    beat = (grid.first_beat_s - truth.first_beat_s) / truth.beat_s
    return float((beat - round(beat)) * truth.beat_s)


def _landings(truth: Truth, finding: GridFinding) -> dict[str, object]:
    beats = [round(finding.grid.beat_at(drop_s)) for drop_s in truth.drops_s]
    local = [abs(finding.local_time_s(beat) - at) for beat, at in zip(beats, truth.drops_s, strict=True)]
    plain = [abs(finding.grid.time_s(beat) - at) for beat, at in zip(beats, truth.drops_s, strict=True)]
    asked = [off_s < truth.beat_s / 8 for off_s in plain]
    return {
        "landings_ms": tuple(1000 * off_s for off_s, right in zip(local, asked, strict=True) if right),
        "landings_by_grid_ms": tuple(
            1000 * off_s for off_s, right in zip(plain, asked, strict=True) if right
        ),
    }


def _beats(truth: Truth, heard: Heard) -> Times:
    assert heard.grid is not None
    if heard.grid.beats_s:
        return np.asarray(heard.grid.beats_s)
    first_s = heard.grid.first_beat_s % heard.grid.beat_s
    beats = steady_beats(first_s, heard.grid.tempo_bpm, float(truth.beats[-1]) + truth.beat_s / 2)
    heard_from: Times = beats[beats > truth.beats[0] - truth.beat_s / 2]
    return heard_from


def _beat_f(truth: Truth, beats: Times) -> float:
    """mir_eval's F-measure at ±70 ms, without the first five seconds, as is usual."""
    true, heard = mir_eval.beat.trim_beats(truth.beats), mir_eval.beat.trim_beats(beats)
    return float(mir_eval.beat.f_measure(true, heard))


def drop_rank(truth: Truth, candidates_s: tuple[float, ...]) -> int:
    """The place of the first candidate that is a drop, from 1; 0 where none is."""
    for rank, at_s in enumerate(candidates_s, start=1):
        if any(abs(at_s - drop_s) <= truth.beat_s for drop_s in truth.drops_s):
            return rank
    return 0


def _voice(truth: Truth, voice_per_bar: tuple[bool, ...], bar_edges_s: Times) -> dict[str, object]:
    """True bars against what was heard in the middle of each."""
    assert truth.voice_bars is not None and truth.beats_per_bar is not None
    hits = false = missed = 0
    for bar in range(1, truth.bars + 1):
        middle = (bar - 1) * truth.beats_per_bar + truth.beats_per_bar // 2
        if middle >= len(truth.beats):
            break
        heard_bar = int(np.searchsorted(bar_edges_s, truth.beats[middle], "right")) - 1
        heard = 0 <= heard_bar < len(voice_per_bar) and voice_per_bar[heard_bar]
        sung = bar in truth.voice_bars
        hits += heard and sung
        false += heard and not sung
        missed += sung and not heard
    return {"voice_hits": hits, "voice_false": false, "voice_missed": missed, "voice_asked": True}


def _library(truth: Truth, heard: Heard) -> dict[str, object]:
    scores: dict[str, object] = {}
    if heard.library_beats_s is not None and len(heard.library_beats_s) and truth.phase != "open":
        scores["library_beat_f"] = _beat_f(truth, heard.library_beats_s)
    if heard.library_tempo_bpm is None or heard.library_beats_s is None or not truth.fixed_tempo:
        return scores
    tempo_bpm = heard.library_tempo_bpm
    scores["library_fine"] = folded(truth.tempo_bpm, tempo_bpm, COARSE)
    scores["library_multiple"] = detected(truth.tempo_bpm, tempo_bpm, MULTIPLE_TOLERANCE)
    if truth.phase == "exact" and folded(truth.tempo_bpm, tempo_bpm, SAME_TEMPO):
        beats_s = heard.library_beats_s
        first_s = float(np.mean(beats_s - np.arange(len(beats_s)) * 60.0 / tempo_bpm))
        scores["library_first_beat_ms"] = 1000 * abs(first_beat_off_s(truth, Grid(first_s, tempo_bpm)))
    return scores
