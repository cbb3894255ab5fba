"""Disks for the tests that need one of their own."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of one mebibyte, which is soon full."""
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("only the superuser of a Linux system can mount a small disk")
    folder = tmp_path / "disk"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"no small disk can be mounted here: {done.stderr.strip()}")
    yield folder
    subprocess.run(
        ["umount", "--lazy", folder], check=True
    )  # let go also where a failed test holds a file open
