"""The recorded material is what it is taken for, and the tests' own measure of lateness can be trusted."""

import numpy as np
import pytest
import soundfile
from attack_lag import Beat, Heard
from recorded_material import LOOPS, PIECES, RATE_HZ, Loop
from scipy import signal

from tests.cases import first_of

pytestmark = pytest.mark.debian


@pytest.mark.parametrize("loop", LOOPS.values(), ids=LOOPS)
def test_a_loop_has_the_length_its_tempo_was_computed_from(loop_folder, loop: Loop):
    info = soundfile.info(loop_folder / f"{loop.name}.flac")
    assert (info.frames, info.samplerate) == (loop.frames, RATE_HZ)


def test_the_tempos_that_lengths_give_are_the_loops_known_ones():
    """To the digits in which they were worked out elsewhere: beats · 60 · 44100 / frames."""
    known = {
        "loop_amen_full": 140.0,
        "loop_breakbeat": 126.0,
        "loop_compus": 148.00003,
        "loop_garzul": 120.0,
        "loop_mika": 120.0,
        "loop_mehackit2": 96.99947,
        "loop_amen": 136.8839,
        "loop_industrial": 135.78631,
    }
    assert {name: LOOPS[name].tempo_bpm for name in known} == pytest.approx(known, abs=5e-5)


def test_every_piece_is_there_and_reaches_beyond_where_it_is_played(piece_folder):
    for piece in PIECES.values():
        assert soundfile.info(piece_folder / f"{piece.name}.ogg").duration > 90


@pytest.mark.parametrize("late_ms", first_of([-2.3], [-2.3, 0.0, 0.7]))
@pytest.mark.parametrize("name", ["loop_amen_full", "loop_compus", "loop_perc1"])
def test_the_measure_reads_a_known_lag_of_a_recorded_loop(loop_folder, name, late_ms):
    """A lag made in the frequency domain, which is exact to a fraction of a frame."""
    loop = LOOPS[name]
    sound = loop.tiled(loop_folder).mean(axis=1)[: 12 * RATE_HZ]
    turns = np.exp(-2j * np.pi * np.fft.rfftfreq(len(sound), 1 / RATE_HZ) * late_ms / 1000)
    late = np.fft.irfft(np.fft.rfft(sound) * turns, len(sound))
    beats = [Beat(beat * loop.beat_s, beat * loop.beat_s) for beat in range(1, 17)]
    lags = Heard(late, RATE_HZ, sound, RATE_HZ, speed=1.0).lags(beats)
    assert len(lags.told) >= 8
    assert [*lags.told, lags.common] == pytest.approx([late_ms] * (len(lags.told) + 1), abs=0.02)


def test_the_measure_is_not_led_astray_by_another_speed(loop_folder):
    """The loop resampled as a whole by another library's filter lies where the measure expects it."""
    loop = LOOPS["loop_compus"]
    sound = loop.tiled(loop_folder).mean(axis=1)[: 12 * RATE_HZ]
    faster = signal.resample_poly(sound, 20, 21)
    beats = [Beat(beat * loop.beat_s / 1.05, beat * loop.beat_s) for beat in range(1, 25)]
    lags = Heard(faster, RATE_HZ, sound, RATE_HZ, speed=1.05).lags(beats)
    assert len(lags.told) >= 20
    assert [*lags.told, lags.common] == pytest.approx([0.0] * (len(lags.told) + 1), abs=0.02)
