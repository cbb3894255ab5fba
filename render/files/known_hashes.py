"""The hashes of files, remembered: a file that looks as it did when it was hashed is not read again."""

import hashlib
import json
import time
from pathlib import Path

from render.files.sound_file import sha256_of
from render.files.store import Store

_SETTLED_NS = 2_000_000_000
"""Two changes of a file may carry the same time within the clock of its disk, whose coarsest (FAT) ticks every 2 s."""

FileState = tuple[int, ...]


def known_sha256(path: Path, store: Store) -> str:
    """A file's hash, taken from the store where the file looks as it did when it was hashed. Raises SourceError.

    That misses a file of the same name, number, length and times but other bytes. Where a disk notes when a file was
    last changed (all of Linux and macOS do), no program can set this time, so nothing is missed but a change while
    the computer's clock is wrong. On others (Windows, FAT) a file replaced by one of the same length, whose time was
    set to the old one's, is missed.
    """
    state = file_state(path)
    if state is None:
        return sha256_of(path)
    key = key_of("sha256", str(path.absolute()), state)
    if (hashed := store.get(key)) is not None:
        return hashed.decode()
    settled = has_settled(state)
    sha256 = sha256_of(path)
    if settled and state == file_state(path):
        store.put(key, sha256.encode())
    return sha256


def file_state(path: Path) -> FileState | None:
    """What changes when a file is changed or replaced; None where it cannot be asked."""
    try:
        status = path.stat()
    except OSError:  # reading it will tell what is wrong
        return None
    return (status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns)


def has_settled(state: FileState) -> bool:
    """Whether a later change of the file would show in its state."""
    return time.time_ns() - max(state[-2:]) > _SETTLED_NS


def key_of(*of: object) -> str:
    """The key, for a store, of what depends on all of these and nothing else: what JSON can hold."""
    return hashlib.sha256(json.dumps(of, sort_keys=True, allow_nan=False).encode()).hexdigest()
