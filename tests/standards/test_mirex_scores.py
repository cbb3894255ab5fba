"""MIREX's scores, as mir_eval 0.8 counts them and the yardstick of the ears uses them.

Published:
- Audio Key Detection, Evaluation Procedures (MIREX wiki, 2015 to 2019): 1 for the key, 0.5 for a perfect fifth, 0.3
  for the relative, 0.2 for the parallel, 0 for others. mir_eval counts the fifth above only; MIREX names no direction.
- Audio Beat Tracking, F-measure with a window of 70 ms on either side: M. Davies, N. Degara, M. Plumbley, Evaluation
  methods for musical audio beat tracking algorithms, C4DM-TR-09-06 (2009). The first 5 s are left out.
- Audio Tempo Estimation: a tempo counts as found within 8 %.

C. Raffel and others, mir_eval: a transparent implementation of common MIR metrics, ISMIR 2014.
"""

import mir_eval
import numpy as np
import pytest

from render.plan.keys import key_name
from render.values import Grid
from tests.ground_truth.ears import Heard
from tests.ground_truth.scores import FINE, Score, detected, score
from tests.ground_truth.truth import Truth

TEMPO_BPM = 174.0
BEATS_S = np.arange(6, 30, 60 / TEMPO_BPM)
"""70 beats, all later than the first 5 s."""

KEY_SCORES = [
    ("C major", "C major", 1.0),
    ("C major", "G major", 0.5),
    ("A minor", "E minor", 0.5),
    ("C major", "A minor", 0.3),
    ("A minor", "C major", 0.3),
    ("C major", "C minor", 0.2),
    ("C major", "F major", 0.0),
    ("A minor", "D minor", 0.0),
    ("C major", "D major", 0.0),
    ("C major", "E minor", 0.0),
    ("F minor", "C minor", 0.5),
    ("F minor", "Ab major", 0.3),
    ("F minor", "G# major", 0.3),
    ("F minor", "F major", 0.2),
    ("F minor", "B major", 0.0),
]
"""True key, key heard, score. The last five follow from the weights, the others were read from mir_eval."""

BEAT_SCORES = [
    (0.0, 1.0),
    (0.03, 1.0),
    (0.0699, 1.0),
    (0.0701, 0.0),
    (0.1, 0.0),
    (-0.0699, 1.0),
    (-0.0701, 0.0),
]
"""By how many seconds all beats are late, and their F-measure."""


def scored(heard: Heard, key: str | None = None) -> Score:
    truth = Truth("t", "s", TEMPO_BPM, float(BEATS_S[0]), BEATS_S, key=key)
    return score(truth, heard)


@pytest.mark.parametrize(("true", "heard", "points"), KEY_SCORES)
def test_a_key_is_scored_by_its_relation_to_the_true_one(true: str, heard: str, points: float) -> None:
    assert mir_eval.key.weighted_score(true, heard) == points
    assert scored(Heard(key=heard), true).key_score == points


def test_every_key_the_ears_can_name_can_be_scored() -> None:
    for number in range(24):
        mir_eval.key.validate_key(key_name(number))


def test_true_and_heard_key_the_wrong_way_round_would_be_noticed() -> None:
    """A fifth above is not a fifth below: half of the fifths would change their score."""
    turned = [scored(Heard(key=true), heard).key_score for true, heard, _ in KEY_SCORES]
    assert turned != [points for *_, points in KEY_SCORES]


@pytest.mark.parametrize(("late_s", "f_measure"), BEAT_SCORES)
def test_a_beat_is_found_within_70_ms(late_s: float, f_measure: float) -> None:
    assert mir_eval.beat.f_measure(BEATS_S, BEATS_S + late_s) == pytest.approx(f_measure, abs=1e-12)
    one_tempo = Grid(float(BEATS_S[0]) + late_s, TEMPO_BPM)
    drifting = Grid(float(BEATS_S[0]) + late_s, TEMPO_BPM, beats_s=tuple(BEATS_S + late_s))
    for grid in (one_tempo, drifting):
        assert scored(Heard(grid=grid)).beat_f == pytest.approx(f_measure, abs=1e-12)


@pytest.mark.parametrize(
    "beats_s", [BEATS_S[::2], np.sort(np.append(BEATS_S, BEATS_S + 30 / TEMPO_BPM))], ids=["half", "double"]
)
def test_half_and_double_time_find_two_thirds(beats_s: np.ndarray) -> None:
    """F = 2PR / (P + R) with a precision of 1 and a recall of 1/2, or the other way round."""
    grid = Grid(float(beats_s[0]), TEMPO_BPM, beats_s=tuple(beats_s))
    assert scored(Heard(grid=grid)).beat_f == pytest.approx(2 / 3, abs=1e-9)


def test_what_is_heard_in_the_first_five_seconds_does_not_count() -> None:
    early_s = np.append([1.0, 2.3, 4.9], BEATS_S)
    assert scored(Heard(grid=Grid(1.0, TEMPO_BPM, beats_s=tuple(early_s)))).beat_f == 1.0
    later_s = np.append([5.1], BEATS_S)
    assert scored(Heard(grid=Grid(5.1, TEMPO_BPM, beats_s=tuple(later_s)))).beat_f == pytest.approx(140 / 141)


@pytest.mark.parametrize(("tolerance", "source"), [(0.08, "MIREX"), (FINE, "what mixing asks for")])
def test_a_tempo_is_found_within_its_tolerance(tolerance: float, source: str) -> None:
    for side in (-1, 1):
        assert detected(TEMPO_BPM, TEMPO_BPM * (1 + side * 0.99 * tolerance), tolerance), source
        assert not detected(TEMPO_BPM, TEMPO_BPM * (1 + side * 1.01 * tolerance), tolerance), source
    assert not detected(TEMPO_BPM, TEMPO_BPM * 1.5, tolerance)


def test_what_mirex_forgives_the_yardstick_does_not() -> None:
    judged = scored(Heard(grid=Grid(float(BEATS_S[0]), TEMPO_BPM * 1.079)))
    assert (judged.tempo_fine, judged.tempo_coarse, judged.right_multiple) == (False, False, False)
