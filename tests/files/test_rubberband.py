"""The outside program through its library: what it says, how it fails, and that nothing of it is left behind.

The failures are played by small programs called `rubberband` on a PATH of their own.
"""

import os
import sys
import tempfile
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile
from pyrubberband import pyrb

from render.faults import DiskFull, ToolError, ToolStopped
from render.files import rubberband
from render.files.rubberband import Rubberband
from render.files.rubberband_program import find_rubberband

RATE_HZ = 44_100
needs_rubberband = pytest.mark.skipif(
    find_rubberband() is None, reason="no `rubberband` with the fine engine here"
)
needs_scripts = pytest.mark.skipif(sys.platform == "win32", reason="the stand-ins are scripts")


def noise(level_db=-20.0, seconds=1.0):
    rng = np.random.default_rng(7)
    return (10 ** (level_db / 20) * rng.standard_normal((round(seconds * RATE_HZ), 1))).astype(np.float32)


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    """The folder that temporary folders are made in."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


@pytest.fixture
def stand_in(tmp_path, monkeypatch):
    """Puts a program called `rubberband` alone on the PATH."""

    def install(body: str) -> Path:
        folder = tmp_path / "bin"
        folder.mkdir()
        program = folder / "rubberband"
        program.write_text(f"#!{sys.executable}\nimport sys, time\n{body}\n")
        program.chmod(0o755)
        monkeypatch.setenv("PATH", str(folder))
        return program

    return install


@needs_scripts
def test_a_program_that_hangs_is_ended_and_told(stand_in, temporary, monkeypatch):
    program = stand_in("time.sleep(60)")
    monkeypatch.setattr(rubberband, "LIMIT_S", 0.5)
    monkeypatch.setattr(rubberband, "LIMIT_PER_SECOND", 1.0)
    with pytest.raises(ToolStopped, match=r"^rubberband: did not end within 2 s; ."):
        Rubberband(program).stretch(noise(), RATE_HZ, 1.02, 0.0)
    assert list(temporary.iterdir()) == []


@needs_scripts
@pytest.mark.parametrize(("body", "passing"), [("os.kill(os.getpid(), 9)", True), ("sys.exit(9)", False)])
def test_a_program_that_was_killed_is_told_apart_from_one_that_failed(stand_in, temporary, body, passing):
    with pytest.raises(ToolError, match=r"^rubberband: ended with status -?9; .") as caught:
        Rubberband(stand_in(f"import os; {body}")).stretch(noise(), RATE_HZ, 1.02, 0.0)
    assert isinstance(caught.value, ToolStopped) == passing
    assert list(temporary.iterdir()) == []


@needs_scripts
@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("sys.exit(3)", "ended with status 3"),
        ("pass", "wrote no sound"),
        ("open(sys.argv[-1], 'w').write('no sound')", "wrote no sound"),
    ],
    ids=["fails", "writes nothing", "writes nonsense"],
)
def test_a_program_that_fails_is_told(stand_in, temporary, body, told):
    program = stand_in(body)
    with pytest.raises(ToolError, match=f"^rubberband: {told}.*; .") as caught:
        Rubberband(program).stretch(noise(), RATE_HZ, 1.02, 0.0)
    assert "\n" not in str(caught.value)
    assert list(temporary.iterdir()) == []


def test_a_missing_program_is_told(temporary, monkeypatch):
    monkeypatch.setenv("PATH", os.devnull)
    assert find_rubberband() is None
    with pytest.raises(ToolError, match=r"^rubberband: cannot be started; install rubberband 3"):
        Rubberband(Path("rubberband")).stretch(noise(), RATE_HZ, 1.02, 0.0)
    assert list(temporary.iterdir()) == []


def test_a_full_disk_is_told_and_nothing_is_left_on_it(temporary, monkeypatch):
    def half_written(path, audio, rate_hz):
        Path(path).write_bytes(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(rubberband._FloatFiles, "write", half_written)
    with pytest.raises(DiskFull, match=f"^{temporary}: the disk is full; make room, or set TMPDIR"):
        Rubberband(Path("rubberband")).stretch(noise(), RATE_HZ, 1.02, 0.0)
    assert list(temporary.iterdir()) == []


def test_a_disk_with_no_room_for_the_sound_is_told_before_anything_is_written(temporary, monkeypatch):
    monkeypatch.setattr("shutil.disk_usage", lambda folder: SimpleNamespace(free=100))
    with pytest.raises(DiskFull, match="the disk is full"):
        Rubberband(Path("rubberband")).stretch(noise(), RATE_HZ, 1.02, 0.0)
    assert list(temporary.iterdir()) == []


@needs_scripts
@pytest.mark.parametrize(
    ("says", "serves"),
    [
        ("2.0.2", False),
        ("1.9", False),
        ("3.0.0", True),
        ("4.1", True),
        ("10.0", True),
        ("who knows", False),
        ("", False),
    ],
)
def test_only_a_program_with_the_fine_engine_is_found(stand_in, says, serves):
    """The fine engine came with version 3.0 (from memory); an older program does not know the option."""
    program = stand_in(f"print({says!r}, file=sys.stderr)")
    assert find_rubberband() == (program if serves else None)


@needs_scripts
def test_the_version_is_read_once(stand_in, tmp_path):
    log = tmp_path / "log"
    program = stand_in(f"print('3.9.9'); open({str(log)!r}, 'a').write('asked ')")
    engine = Rubberband(program)
    assert (engine.name, engine.version, engine.version) == ("rubberband", "3.9.9", "3.9.9")
    assert log.read_text() == "asked "


@needs_scripts
def test_what_was_borrowed_is_given_back_after_a_failure(stand_in, temporary):
    before = pyrb.sf, pyrb.subprocess, tempfile.tempdir
    program = stand_in("sys.exit(1)")
    with pytest.raises(ToolError):
        Rubberband(program).stretch(noise(), RATE_HZ, 1.02, 0.0)
    assert (pyrb.sf, pyrb.subprocess, tempfile.tempdir) == before
    assert pyrb.sf is soundfile


@needs_rubberband
def test_each_call_has_its_own_speed_and_pitch(temporary):
    """A dictionary of options used twice keeps the first speed; the lengths tell. Two frames of rounding."""
    engine = Rubberband(find_rubberband())
    sound = noise()
    for speed, semitones in [(1.1, 0.0), (0.9, 0.0), (1.0, 1.0), (1.05, -1.0)]:
        heard = engine.stretch(sound, RATE_HZ, speed, semitones)
        assert abs(len(heard) - len(sound) / speed) <= 2
        assert heard.dtype == np.float32
    assert list(temporary.iterdir()) == []


@needs_rubberband
def test_sound_far_below_full_scale_is_not_lost_in_the_files(temporary):
    """16 bit has its noise at -98 dBFS (6.02 dB a bit and 1.76 dB, a sine against the rounding of its samples;
    W. R. Bennett, Spectra of Quantized Signals, 1948). Noise at -110 dBFS would come back far louder or not at all.

    6 dB: so near its own idea of silence the engine lets 4 dB go.
    """
    heard = Rubberband(find_rubberband()).stretch(noise(-110.0), RATE_HZ, 1.02, 0.0)
    level_db = 10 * np.log10(np.mean(heard[8000:-8000] ** 2.0))
    assert abs(level_db + 110.0) < 6.0


@needs_rubberband
def test_a_clipping_output_does_not_make_it_start_again_more_quietly(temporary):
    """Peaks above full scale are cut off, which costs a square wave 0.1 dB; starting again cost 2.5 dB."""
    time_s = np.arange(RATE_HZ) / RATE_HZ
    square = np.sign(np.sin(2 * np.pi * 100.3 * time_s)).astype(np.float32)[:, None]
    heard = Rubberband(find_rubberband()).stretch(square, RATE_HZ, 1.02, 0.0)
    assert np.abs(heard).max() >= 0.99
    assert abs(10 * np.log10(np.mean(heard[8000:-8000] ** 2.0))) < 0.5
