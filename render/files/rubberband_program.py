"""The outside program `rubberband`: whether there is one that serves, and its version."""

import functools
import re
import shutil
import subprocess
from pathlib import Path

PROGRAM = "rubberband"
FIRST_WITH_FINE_ENGINE = 3
"""Major version; `rubberband --help` of older ones knows no `--fine`."""
VERSION_LIMIT_S = 20.0


def find_rubberband() -> Path | None:
    """The program, where there is one that has the fine engine."""
    found = shutil.which(PROGRAM)
    if found is None:
        return None
    major = re.match(r"\d+", rubberband_version(Path(found)))
    return Path(found) if major and int(major[0]) >= FIRST_WITH_FINE_ENGINE else None


@functools.cache
def rubberband_version(program: Path) -> str:
    """What the program says its version is; empty where it says nothing."""
    try:
        told = subprocess.run(
            [program, "--version"], capture_output=True, text=True, timeout=VERSION_LIMIT_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return (told.stdout + told.stderr).strip().partition("\n")[0]  # it answers on the error channel
