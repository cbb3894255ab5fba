"""Loudness and true peak of recordings, and of clips made from them, against FFmpeg's EBU R 128 meter."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from outside_meter import Levels, decoded, levels_of, reads_modules, rendered
from recorded_material import LOOPS, PIECES, RATE_HZ, clip_of, track_lines, write_recipe

from render.analysis.levels import LevelListener
from render.checks.loudness import integrated_lufs
from render.checks.true_peak import sample_peak_dbfs, true_peak_dbtp
from render.files.audio_files import blocks_of, open_recording
from render.values import Audio
from tests.cases import first_of
from tests.ground_truth.facts_of_recordings import MODULES, Module
from tests.recorded.conftest import package
from tests.standards.meters import of_a_record

pytestmark = pytest.mark.debian

LOUDNESS_APART_LU = 0.2
PEAK_APART_DB = 0.3
"""Two meters, of which EBU Tech 3341 V4 (November 2023), clause 2.9, allows each 0.1 LU, and +0.2 to −0.4 dB of true
peak."""

RANGE_APART_LU = 1.0
"""What EBU Tech 3342 V4 (November 2023), clause 5, allows each meter."""

EXCERPT_S = (60.0, 75.0)

ONE_OF_EACH_PACKAGE = {module.package: module for module in MODULES}.values()


def assert_reads_as_outside(audio: Audio, rate_hz: int, outside: Levels) -> None:
    """Measured in one piece, as a clip is, and block by block, as a record is."""
    record = of_a_record(audio, rate_hz)
    for loudness_lufs in (integrated_lufs(audio, rate_hz), record.integrated_lufs):
        assert loudness_lufs == pytest.approx(outside.integrated_lufs, abs=LOUDNESS_APART_LU)
    for peak_dbtp in (true_peak_dbtp(audio), record.true_peak_dbtp):
        assert peak_dbtp == pytest.approx(outside.true_peak_dbtp, abs=PEAK_APART_DB)


@pytest.mark.parametrize("name", LOOPS)
def test_a_loop_reads_as_outside(loop_folder: Path, name: str) -> None:
    file = loop_folder / f"{name}.flac"
    audio, rate_hz = soundfile.read(file, dtype="float32", always_2d=True)
    assert_reads_as_outside(audio, rate_hz, levels_of(file))


@pytest.fixture(scope="module")
def excerpts(piece_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The middle of each piece as WAV."""
    folder = tmp_path_factory.mktemp("excerpts")
    for name in PIECES:
        with soundfile.SoundFile(piece_folder / f"{name}.ogg") as record:
            start, end = (round(time_s * record.samplerate) for time_s in EXCERPT_S)
            record.seek(start)
            audio = record.read(end - start, dtype="float32", always_2d=True)
            soundfile.write(folder / f"{name}.wav", audio, record.samplerate, subtype="FLOAT")
    return {name: folder / f"{name}.wav" for name in PIECES}


@pytest.mark.parametrize("name", PIECES)
def test_a_produced_piece_reads_as_outside(excerpts: dict[str, Path], name: str) -> None:
    audio, rate_hz = soundfile.read(excerpts[name], dtype="float32", always_2d=True)
    assert_reads_as_outside(audio, rate_hz, levels_of(excerpts[name]))


def assert_a_whole_record_reads_as_outside(file: Path) -> None:
    """As the program reads it, each meter behind its own decoder."""
    recording = open_recording(file)
    listener = LevelListener(recording.rate_hz)
    for block in blocks_of(recording):
        listener.feed(block)
    heard, outside = listener.heard(), levels_of(file)
    assert recording.frames > 60 * recording.rate_hz
    assert heard.integrated_lufs == pytest.approx(outside.integrated_lufs, abs=LOUDNESS_APART_LU)
    assert heard.true_peak_dbtp == pytest.approx(outside.true_peak_dbtp, abs=PEAK_APART_DB)
    assert heard.loudness_range_lu == pytest.approx(outside.loudness_range_lu, abs=RANGE_APART_LU)


@pytest.mark.slow
@pytest.mark.parametrize("name", PIECES)
def test_a_whole_piece_reads_as_outside(piece_folder: Path, name: str) -> None:
    assert_a_whole_record_reads_as_outside(piece_folder / f"{name}.ogg")


@pytest.mark.slow
@pytest.mark.parametrize("module", ONE_OF_EACH_PACKAGE, ids=lambda module: module.name)
def test_a_whole_module_reads_as_outside(tmp_path: Path, module: Module) -> None:
    """Tracker music in floats; three of these rise beyond full scale, by 1.5 to 7.4 dB."""
    if not reads_modules():
        pytest.skip("needs an FFmpeg that was built with libopenmpt")
    file = rendered(package(module.package) / module.path, tmp_path)
    assert_a_whole_record_reads_as_outside(file)
    file.unlink()


def test_the_largest_samples_of_produced_pieces_would_not_do_for_their_peaks(
    excerpts: dict[str, Path],
) -> None:
    """Else the comparison of peaks would prove nothing."""
    rise_db = []
    for file in excerpts.values():
        sample_dbfs = sample_peak_dbfs(soundfile.read(file, dtype="float32", always_2d=True)[0])
        assert sample_dbfs is not None
        rise_db.append(levels_of(file).true_peak_dbtp - sample_dbfs)
    assert max(rise_db) > PEAK_APART_DB


@pytest.mark.parametrize("form", first_of(["mp3", "wav"], ["flac", "mp3", "opus", "wav"]))
def test_the_receipt_of_a_clip_tells_what_is_read_outside(
    tmp_path: Path, loop_folder: Path, form: str
) -> None:
    tracks = []
    for loop in (LOOPS["loop_amen_full"], LOOPS["loop_compus"]):
        file = tmp_path / f"{loop.name}.flac"
        soundfile.write(file, loop.tiled(loop_folder), RATE_HZ, subtype="PCM_16")
        tracks.append(track_lines(loop.name, file, loop.tempo_bpm, 0.0, markers="{drop: bar 9}"))
    clip = clip_of(write_recipe(tmp_path, *tracks, rest="tempo: 140", form=form))
    outside, told = levels_of(clip.path), clip.receipt["encoded"]
    assert told["integrated_lufs"] == pytest.approx(outside.integrated_lufs, abs=LOUDNESS_APART_LU)
    assert told["true_peak_dbtp"] == pytest.approx(outside.true_peak_dbtp, abs=PEAK_APART_DB)
    audio, rate_hz = decoded(clip.path, tmp_path)
    assert_reads_as_outside(audio.astype(np.float32), rate_hz, outside)
