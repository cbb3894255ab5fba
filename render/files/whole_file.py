"""Results appear whole or not at all.

A file is written under a hidden temporary name in the folder it belongs to, forced onto the disk, and only
then given its name, which is one indivisible step on every file system that keeps POSIX's promise about
`rename` (IEEE Std 1003.1, rename()). Whoever looks sees the old file or the new one, never a part. What a
killed run leaves behind starts with `TEMPORARY_PREFIX` and nothing else does.
"""

import contextlib
import errno
import os
import secrets
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path, PureWindowsPath

from render.faults import DiskFull, OutputError

TEMPORARY_PREFIX = ".dropkiln-"
NAME_LIMIT_BYTES = 255
"""The longest file name that ext4, XFS, Btrfs, APFS and NTFS all take (NTFS counts UTF-16 units)."""

NO_SPACE = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
"""What an OSError's number may be when there is no room: on the disk, in a quota, in one file."""


def tells_full_disk(error: BaseException) -> bool:
    """Whether an error is for want of room."""
    return isinstance(error, DiskFull) or (isinstance(error, OSError) and error.errno in NO_SPACE)


@contextlib.contextmanager
def whole_file(path: Path, lasting: bool = True) -> Iterator[Path]:
    """A temporary path beside `path`, with its suffix; what is written there becomes `path` at the end.

    An existing `path` stays as it is until then. Any exception leaves nothing behind. What need not be `lasting`, as
    its reader finds out whether it is whole, is not waited for until it is on the disk.
    Raises OutputError where the folder, the name or the disk does not let it be written; an OSError that is
    about something else goes through unchanged.
    """
    temporary = path.with_name(f"{TEMPORARY_PREFIX}{secrets.token_hex(6)}{path.suffix}")
    try:
        _refuse_hopeless(path)
        yield temporary
        if lasting:
            _force_to_disk(temporary)
        temporary.replace(path)
        if lasting and sys.platform != "win32":  # where a folder cannot be opened, and renaming is journalled
            _force_to_disk(path.parent)
    except OutputError as error:
        if error.subject != str(temporary):
            raise
        raise type(error)(str(path), error.wrong, error.right) from error
    except OSError as error:
        if error.errno in NO_SPACE or error.filename in (str(path), str(temporary), str(path.parent)):
            raise output_error(path, error) from error
        raise
    finally:
        if temporary.exists():
            temporary.unlink()


def write_whole(path: Path, content: bytes | str) -> None:
    """Write a file whole: bytes as they are, text as UTF-8 with its line ends untouched.

    Raises OutputError.
    """
    data = content.encode() if isinstance(content, str) else content
    with whole_file(path) as temporary:
        write_bytes(temporary, data)


def write_bytes(path: Path, data: bytes) -> None:
    """Write to a path that `whole_file` gave. Raises OutputError that says how much was needed."""
    try:
        path.write_bytes(data)
    except OSError as error:
        if error.errno in NO_SPACE:
            path.unlink(missing_ok=True)  # what was written of it would be missed in what is told to be free
        raise output_error(path, error, needed_bytes=len(data)) from error


def output_error(path: Path, error: OSError, needed_bytes: int | None = None) -> OutputError:
    """What an OSError met while writing `path` means to the person who waits for the file."""
    folder = path.parent
    match error.errno:
        case number if number in NO_SPACE:
            wrong = f"the disk is full{_space(folder, needed_bytes)}"
            return DiskFull(str(path), wrong, "make room or choose another output folder")
        case errno.EROFS:
            wrong, right = "the disk is read-only", "choose an output folder that can be written"
        case errno.EACCES | errno.EPERM:
            wrong, right = f"{folder} may not be written", "choose an output folder that can be written"
        case errno.ENAMETOOLONG:
            wrong = f"the name has {len(os.fsencode(path.name))} bytes"
            right = f"use a name of at most {NAME_LIMIT_BYTES} bytes in a folder not too deep"
        case errno.ENOENT | errno.ENOTDIR:
            wrong, right = f"{folder} is not a folder", "create it or choose another output folder"
        case errno.EISDIR:
            wrong, right = "a folder of this name is in the way", "rename the folder or the recipe"
        case _:
            reason = error.strerror or type(error).__name__
            wrong, right = f"it cannot be written ({reason})", "choose another output folder"
    return OutputError(str(path), wrong, right)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, where they are not there yet. Raises OutputError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        raise OutputError(
            str(folder), "a file of this name is in the way", "choose another output folder"
        ) from error
    except OSError as error:
        met = output_error(folder / "any", error)
        raise type(met)(str(folder), met.wrong, met.right) from error


def inside(folder: Path, name: str) -> Path:
    """The path of a result called `name`, which lies in `folder` and nowhere else.

    Raises OutputError for a name that is empty, too long or not one plain name on every system, and where a
    symbolic link of that name leads out of the folder.
    """
    path = folder / name
    plain = name not in ("", ".", "..") and "\0" not in name
    if not plain or Path(name).name != name or PureWindowsPath(name).name != name:
        raise OutputError(str(folder), f"{name!r} is not a file name", "use a name without / \\ : and ..")
    if len(os.fsencode(name)) > NAME_LIMIT_BYTES:
        raise output_error(path, OSError(errno.ENAMETOOLONG, os.strerror(errno.ENAMETOOLONG)))
    if path.is_symlink() and path.resolve().parent != folder.resolve():
        raise OutputError(str(path), f"it is a link to {path.resolve()}", "remove the link")
    return path


def _refuse_hopeless(path: Path) -> None:
    """Say at once, before any work is done, what would only show when the file gets its name."""
    with contextlib.suppress(FileNotFoundError):
        os.lstat(path)  # a name that is too long fails here
    if path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if not path.parent.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(path))


def _force_to_disk(path: Path) -> None:
    """fsync a file or a folder; without it a power cut could leave the new name on an empty file."""
    descriptor = os.open(path, os.O_RDWR if path.is_file() else os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _space(folder: Path, needed_bytes: int | None) -> str:
    if needed_bytes is None:
        return ""
    free_bytes = shutil.disk_usage(folder).free
    return f" ({needed_bytes / 1e6:.1f} MB needed, {free_bytes / 1e6:.1f} MB free)"
