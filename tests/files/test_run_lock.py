"""One run at a time in an output folder, and no run kept out by one that is dead."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from render.faults import OutputError
from render.files.run_lock import HOLDER, LOCK, held

HOLDING = """
import sys, time
from pathlib import Path
from render.files.run_lock import held
with held(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.readline()
"""


@contextmanager
def other_run(folder: Path) -> Iterator["subprocess.Popen[str]"]:
    """Another process that holds the folder until it is killed, or told to go."""
    command = [sys.executable, "-c", HOLDING, str(folder)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout
            assert process.stdout.readline() == "held\n"
            yield process
        finally:
            process.kill()


def test_a_second_run_is_told_who_is_there_and_since_when(tmp_path: Path) -> None:
    with other_run(tmp_path) as process, pytest.raises(OutputError) as told, held(tmp_path):
        pass
    line = str(told.value)
    assert line.startswith(f"{tmp_path}: another run is at work here (process {process.pid} on ")
    assert line.endswith(" UTC); wait for it with --wait, or choose another output folder")
    assert "\n" not in line


def test_a_run_that_waits_is_told_for_whom_and_goes_on_when_that_has_ended(tmp_path: Path) -> None:
    with other_run(tmp_path) as process:
        told: list[str] = []

        def waiting(line: str) -> None:
            told.append(line)
            process.communicate("go\n")

        with held(tmp_path, waiting):
            assert json.loads((tmp_path / HOLDER).read_text())["process"] == os.getpid()
    assert len(told) == 1
    assert f"(process {process.pid} on " in told[0]


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
def test_a_killed_run_s_lock_does_no_harm(tmp_path: Path) -> None:
    with other_run(tmp_path) as process:
        process.kill()
        process.wait()
        assert (tmp_path / HOLDER).exists()
        with held(tmp_path):
            pass
    assert not (tmp_path / HOLDER).exists()


@pytest.mark.parametrize("content", ["", "{", "[]", '{"process": "x", "host": "h", "since": "then"}', "null"])
def test_what_is_written_about_the_holder_need_not_be_readable(tmp_path: Path, content: str) -> None:
    with other_run(tmp_path):
        (tmp_path / HOLDER).write_text(content)
        with pytest.raises(OutputError, match="another run is at work here; wait for it"), held(tmp_path):
            pass


def test_a_folder_is_free_again_after_a_run_that_failed(tmp_path: Path) -> None:
    with pytest.raises(ZeroDivisionError), held(tmp_path):
        raise ZeroDivisionError
    with held(tmp_path):
        pass


def test_a_lock_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / LOCK).mkdir()
    with pytest.raises(OutputError, match=r"\.lock"), held(tmp_path):
        pass
