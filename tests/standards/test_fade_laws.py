"""How two sounds are faded into each other, and one in and out: the laws of fades.

Common practice: equal power, a² + b² = 1, with a cosine and a sine, for sounds with nothing in common; equal gain,
a + b = 1, for identical ones. In the middle the gains are −3.01 dB and −6.02 dB. Lanes fade along half a raised cosine
(the Hann window: F. J. Harris, On the Use of Windows for Harmonic Analysis with the Discrete Fourier Transform, Proc.
IEEE 66(1), 1978, from memory). All values are computed from these formulas.
"""

import numpy as np
import numpy.typing as npt
import pytest

from render.sound.seams import Placed, crossfade_gains, join, lane_of, raised_cosine
from render.values import Audio

EQUAL_POWER_GAINS = [
    (0.0, 1.0, 0.0),
    (0.25, 0.9238795325112867, 0.3826834323650898),
    (0.5, 0.7071067811865476, 0.7071067811865475),
    (0.75, 0.38268343236508984, 0.9238795325112867),
    (1.0, 0.0, 1.0),
]
"""Progress, cos(π·p/2), sin(π·p/2)."""

RAISED_COSINE_GAINS = [(0.0, 0.0), (0.25, 0.1464466094), (0.5, 0.5), (0.75, 0.8535533906), (1.0, 1.0)]
"""Progress, (1 − cos(π·p))/2."""

MIDDLE_DB = {
    ("equal power", "strangers"): 0.0,
    ("equal power", "twins"): 3.010299957,
    ("equal gain", "strangers"): -3.010299957,
    ("equal gain", "twins"): 0.0,
}
"""How loud the middle of a crossfade is against its ends."""

NOISE_DB = 0.1
"""The middle holds 44,100 samples: the power of noise is known to 4.34 * sqrt(2/44,100) = 0.03 dB."""

FRAMES = 441_000
MIDDLE = slice(FRAMES // 2 - 11_025, FRAMES // 2 + 11_025)


def noise(seed: int) -> Audio:
    return (0.05 * np.random.default_rng(seed).standard_normal((FRAMES, 2))).astype(np.float32)


def level_db(audio: npt.NDArray[np.floating]) -> float:
    return 10 * float(np.log10(np.mean(np.square(audio, dtype=np.float64))))


PAIRS = {"strangers": (noise(1), noise(2)), "twins": (noise(1), noise(1))}


def middle_db(joined: npt.NDArray[np.floating], old: Audio) -> float:
    """Over this part the gains move by 0.04 to either side of the middle's."""
    return level_db(joined[MIDDLE]) - level_db(old[MIDDLE])


@pytest.mark.parametrize(("progress", "leaving", "coming"), EQUAL_POWER_GAINS)
def test_signals_with_nothing_in_common_cross_at_equal_power(
    progress: float, leaving: float, coming: float
) -> None:
    old, new = crossfade_gains(np.array([progress]), correlation=0.0)
    assert [old[0], new[0]] == pytest.approx([leaving, coming], abs=1e-12)


@pytest.mark.parametrize("progress", [0.0, 0.1, 0.25, 0.5, 0.8, 1.0])
def test_identical_signals_cross_at_equal_gain(progress: float) -> None:
    old, new = crossfade_gains(np.array([progress]), correlation=1.0)
    assert old[0] + new[0] == pytest.approx(1.0, abs=1e-12)
    if progress == 0.5:
        assert old[0] == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize("pair", PAIRS)
def test_the_middle_of_a_crossfade_is_as_loud_as_its_ends(pair: str) -> None:
    old, new = PAIRS[pair]
    assert middle_db(join(old, new), old) == pytest.approx(0.0, abs=NOISE_DB)


@pytest.mark.parametrize(("law", "pair"), MIDDLE_DB)
def test_one_law_for_all_would_be_noticed(law: str, pair: str) -> None:
    """Equal power makes the middle of twins louder, equal gain that of strangers fainter."""
    old, new = PAIRS[pair]
    progress = raised_cosine(FRAMES)[:, None]
    angle = 0.5 * np.pi * progress
    gains = (np.cos(angle), np.sin(angle)) if law == "equal power" else (1.0 - progress, progress)
    reading_db = middle_db(old * gains[0] + new * gains[1], old)
    expected_db = MIDDLE_DB[law, pair]
    assert reading_db == pytest.approx(expected_db, abs=NOISE_DB)
    assert (abs(reading_db) > NOISE_DB) == (expected_db != 0.0)


@pytest.mark.parametrize(("progress", "gain"), RAISED_COSINE_GAINS)
def test_a_lane_fades_in_and_out_along_half_a_raised_cosine(progress: float, gain: float) -> None:
    fade = 8_000
    steady = Placed(np.ones((3 * fade, 2), np.float32), 0, 3 * fade, 0)
    lane = lane_of([steady], 3 * fade, 44_100, fade, fade)
    frame = round(progress * fade)
    assert lane[frame] == pytest.approx(gain, abs=1e-6)
    if progress:  # on the frame after the last there is no lane
        assert lane[-frame] == pytest.approx(gain, abs=1e-6)


def test_a_raised_cosine_and_its_mirror_add_up_to_one() -> None:
    """What one lane of a hand-over loses, the other gains: as equal gain asks of what both have in common."""
    ramp = raised_cosine(1_000)
    np.testing.assert_allclose(ramp[1:] + ramp[:0:-1], 1.0, atol=1e-12)
