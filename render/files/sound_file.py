"""A sound file as a file: whether it is there and may be read, how large it is, and its hash.

What is in it is asked of `render.files.audio_files`, whose libraries take longer to load than this takes to tell.
"""

import hashlib
import stat
from pathlib import Path

from render.faults import SourceError


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file's bytes, in hexadecimal. Raises SourceError."""
    size_of(path)
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise SourceError(str(path), f"it cannot be read ({error.strerror})", "check its disk") from error


def size_of(path: Path) -> int:
    """The size in bytes of a regular file that may be read. Raises SourceError."""
    name = str(path)
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise SourceError(name, "it is a folder", "give a sound file")
        if not stat.S_ISREG(status.st_mode):
            raise SourceError(name, "it is a device or a pipe", "give a sound file")
        with path.open("rb"):
            pass
        name.encode()
    except (FileNotFoundError, NotADirectoryError) as error:
        raise SourceError(name, "there is no such file", "check its name and folder") from error
    except PermissionError as error:
        raise SourceError(name, "it may not be read", "allow reading it") from error
    except OSError as error:
        raise SourceError(
            name, f"it cannot be opened ({error.strerror})", "check its name and disk"
        ) from error
    except UnicodeEncodeError as error:
        shown = name.encode(errors="backslashreplace").decode()
        raise SourceError(shown, "its name is not UTF-8", "rename it") from error
    if status.st_size == 0:
        raise SourceError(name, "it is empty", "get a whole copy of it")
    return status.st_size
