"""Loudness, peaks and clipped runs of a record heard in blocks; what standards ask of them is in tests/standards."""

import numpy as np
import pytest

from render.analysis.levels import LevelListener
from render.checks.loudness import integrated_lufs
from render.checks.sources import clipped_runs
from render.checks.true_peak import sample_peak_dbfs, true_peak_dbtp
from tests.analysis.heard_records import hear, sound_of


@pytest.mark.parametrize("block", [65_536, 9_999])
def test_a_record_in_blocks_reads_as_it_does_in_one_piece(block: int) -> None:
    sound, rate_hz = sound_of("thimbleyard")
    loud = np.clip(sound[: 40 * rate_hz] * np.float32(1.4), -1.0, 1.0)
    levels = hear(LevelListener(rate_hz), loud, block)
    assert levels.integrated_lufs == pytest.approx(integrated_lufs(loud, rate_hz), abs=0.001)
    assert levels.true_peak_dbtp == pytest.approx(true_peak_dbtp(loud), abs=1e-4)
    assert levels.sample_peak_dbfs == sample_peak_dbfs(loud)
    assert levels.clipped_runs == clipped_runs(loud) > 0


def test_a_clipped_run_across_a_block_edge_is_one_run() -> None:
    sound = np.zeros((40, 2), np.float32)
    sound[8:12, 0] = 1.0
    sound[20:22, 1] = -1.0  # two samples only: a peak may touch full scale
    sound[37:, 1] = 1.0
    for block in range(1, 41):
        assert hear(LevelListener(48_000), sound, block).clipped_runs == 2


def test_silence_and_short_sounds_have_no_levels() -> None:
    silent = hear(LevelListener(44_100), np.zeros((44_100, 2), np.float32))
    assert silent.integrated_lufs is None
    assert silent.true_peak_dbtp is None
    short = hear(LevelListener(44_100), np.full((17_000, 1), 0.1, np.float32))  # 0.385 s, less than one block
    assert short.integrated_lufs is None
    assert short.sample_peak_dbfs == pytest.approx(-20.0, abs=1e-4)
