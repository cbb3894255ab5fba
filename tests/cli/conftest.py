"""A desk for every test, and disks that do not take everything."""

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from desk import Desk

from render.files.engines import engine_of


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    folder = tmp_path / "desk"
    folder.mkdir()
    return Desk(folder)


@pytest.fixture
def rubberband(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    """Puts a `rubberband` of the test's own first on PATH: a shell script that says it is version 3, and then this."""
    if sys.platform == "win32":
        pytest.skip("the stand-in is a shell script")

    def stand_in(body: str) -> None:
        program = tmp_path / "bin" / "rubberband"
        program.parent.mkdir()
        program.write_text(f'#!/bin/sh\n[ "$1" = --version ] && echo 3.1.2 && exit\n{body}\n')
        program.chmod(0o755)
        monkeypatch.setenv("PATH", f"{program.parent}{os.pathsep}{os.environ['PATH']}")
        monkeypatch.setenv(
            "TMPDIR", str(tmp_path)
        )  # a worker that is killed leaves its temporary folder behind
        engine_of.cache_clear()

    yield stand_in
    engine_of.cache_clear()


@pytest.fixture
def mounted(tmp_path: Path) -> Iterator[Callable[[str], None]]:
    """Mounts a disk in memory at the desk's folder `out`, with options."""
    folder = tmp_path / "desk" / "out"
    disks: list[Path] = []

    def mount(options: str) -> None:
        if sys.platform != "linux" or os.geteuid() != 0:
            pytest.skip("only the superuser of a Linux system can mount a disk")
        folder.mkdir()
        command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            pytest.skip(f"no disk can be mounted here: {done.stderr.strip()}")
        disks.append(folder)

    yield mount
    for disk in disks:  # let go also where a failed test holds a file open
        subprocess.run(["umount", "--lazy", disk], check=True)
