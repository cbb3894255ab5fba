"""What killed runs leave behind, and its removal."""

import contextlib
import os
import shutil
import tempfile
import time
from pathlib import Path

from render.files.temporary import TEMPORARY_FOLDER_PREFIX
from render.files.whole_file import TEMPORARY_PREFIX

OLD_S = 24 * 3600.0
"""A folder for a program's temporary files lives as long as the program runs: some minutes."""

_NOT_OURS = (FileNotFoundError, PermissionError)
"""What removing meets where somebody else is faster, or owns it."""


def remove_left_behind(folder: Path) -> None:
    """Remove the unfinished files in a folder of results, in which nobody else is at work."""
    for path in folder.glob(f"{TEMPORARY_PREFIX}*"):
        with contextlib.suppress(*_NOT_OURS):
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink()


def remove_old_temporary_folders() -> None:
    """Remove this user's folders of ours in the system's folder for temporary files that nothing can need any more."""
    for path in Path(tempfile.gettempdir()).glob(f"{TEMPORARY_FOLDER_PREFIX}*"):
        with contextlib.suppress(*_NOT_OURS):
            status = path.lstat()
            ours = not hasattr(os, "getuid") or status.st_uid == os.getuid()
            if ours and path.is_dir() and not path.is_symlink() and time.time() - status.st_mtime > OLD_S:
                shutil.rmtree(path)
