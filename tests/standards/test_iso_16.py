"""ISO 16:1975, Acoustics, Standard tuning frequency: A in the treble stave is 440 Hz.

Published: the frequency. Common practice: twelve equal semitones to an octave, the twelfth root of 2 each, and middle
C, nine of them below that A.
"""

import numpy as np
import pytest

from render.analysis.tonal import STEPS_PER_SEMITONE, TonalListener
from render.demo.score import pitch_hz
from tests.analysis.heard_records import hear
from tests.ground_truth.instruments import note_hz

RATE_HZ = 22_050
MIDDLE_C_HZ = 261.6255653005986
"""440 · 2^(-9/12), computed."""

RATIOS = (
    1.0, 1.0594630943592953, 1.122462048309373, 1.189207115002721, 1.2599210498948732, 1.3348398541700344,
    1.4142135623730951, 1.4983070768766815, 1.5874010519681994, 1.681792830507429, 1.7817974362806785,
    1.8877486253633868, 2.0,
)  # fmt: skip
"""2^(k/12) for 0 to 12 semitones, computed; music21 and librosa give the same frequencies."""

MAJOR_STEPS = (0, 2, 4, 5, 7, 9, 11, 12)
MINOR_STEPS = (0, 2, 3, 5, 7, 8, 10, 12)


def test_a_is_440_hz() -> None:
    assert note_hz(69) == 440.0
    assert pitch_hz("A minor", 1, 430.0) == pytest.approx(440.0, rel=1e-12)
    assert note_hz(60) == pytest.approx(MIDDLE_C_HZ, rel=1e-12)
    assert pitch_hz("C minor", 1, 250.0) == pytest.approx(MIDDLE_C_HZ, rel=1e-12)


@pytest.mark.parametrize(("mode", "steps"), [("major", MAJOR_STEPS), ("minor", MINOR_STEPS)])
def test_a_scale_is_equally_tempered(mode: str, steps: tuple[int, ...]) -> None:
    found = [pitch_hz(f"C {mode}", degree, 250.0) / MIDDLE_C_HZ for degree in range(1, 9)]
    assert found == pytest.approx([RATIOS[step] for step in steps], rel=1e-12)


def test_every_semitone_is_the_same_step() -> None:
    assert [note_hz(60 + step) / MIDDLE_C_HZ for step in range(13)] == pytest.approx(RATIOS, rel=1e-12)


def test_a_pure_fifth_or_another_a_would_be_noticed() -> None:
    assert RATIOS[7] != pytest.approx(3 / 2, rel=1e-12)
    assert pytest.approx(440.0, rel=1e-12) != 432.0


@pytest.mark.parametrize(
    ("hz", "step"),
    [
        (440.0, 9 * STEPS_PER_SEMITONE),
        (MIDDLE_C_HZ, 0),
        (MIDDLE_C_HZ * RATIOS[4] / 2, 4 * STEPS_PER_SEMITONE),
        # 12·log2(432/440) = -0.318 and 12·log2(442/440) = +0.079 semitones: other tunings are told apart.
        (432.0, 9 * STEPS_PER_SEMITONE - 3),
        (442.0, 9 * STEPS_PER_SEMITONE + 1),
    ],
)
def test_a_tone_is_heard_at_its_pitch(hz: float, step: int) -> None:
    """In tenths of a semitone from C."""
    tone = 0.2 * np.sin(2 * np.pi * hz * np.arange(2 * RATE_HZ) / RATE_HZ)
    features = hear(TonalListener(RATE_HZ), tone[:, None].astype(np.float32))
    assert int(np.argmax(features.upper.sum(axis=0))) == step
