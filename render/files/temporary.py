"""The system's folder for temporary files, through which sound is handed to outside programs.

What is ours in it are folders that begin with `TEMPORARY_FOLDER_PREFIX`; each lives as long as one program runs.
"""

import shutil
import tempfile

from render.faults import DiskFull

TEMPORARY_FOLDER_PREFIX = "dropkiln-"


def require_room(needed_bytes: int) -> None:
    """Raises DiskFull where so much does not fit, before a program meets that in words of its own."""
    if shutil.disk_usage(tempfile.gettempdir()).free < needed_bytes:
        raise temporary_folder_full()


def temporary_folder_full() -> DiskFull:
    right = "make room, or set TMPDIR to a folder with room"
    return DiskFull(tempfile.gettempdir(), "the disk is full", right)
