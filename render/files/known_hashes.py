"""What is known of files, remembered, such as their hashes: one that looks as it did then is not read again."""

import hashlib
import json
import time
from collections.abc import Callable
from pathlib import Path

from render.files.sound_file import sha256_of
from render.files.store import Store

_SETTLED_NS = 2_000_000_000
"""Two changes of a file may carry the same time within the clock of its disk, whose coarsest (FAT) ticks every 2 s."""

FileState = tuple[int, ...]


def known_sha256(path: Path, store: Store) -> str:
    """A file's hash, `remembered`. Raises SourceError."""
    return remembered(
        store, path, ("sha256", str(path.absolute())), lambda: sha256_of(path).encode()
    ).decode()


def remembered(store: Store, path: Path, of: tuple[object, ...], told: Callable[[], bytes]) -> bytes:
    """What `told` says of a file, taken from the store where the file looks as it did when it said so.

    `of` is what the answer depends on beside the file's content, for `key_of`. That misses a file of the same name,
    number, length and times but other bytes. Where a disk notes when a file was last changed (all of Linux and macOS
    do), no program can set this time, so nothing is missed but a change while the computer's clock is wrong. On others
    (Windows, FAT) a file replaced by one of the same length, whose time was set to the old one's, is missed.
    """
    state = file_state(path)
    if state is None:
        return told()
    key = key_of(*of, state)
    if (known := store.get(key)) is not None:
        return known
    settled = time.time_ns() - max(state[-2:]) > _SETTLED_NS
    answer = told()
    if settled and state == file_state(path):
        store.put(key, answer)
    return answer


def file_state(path: Path) -> FileState | None:
    """What changes when a file is changed or replaced; None where it cannot be asked."""
    try:
        status = path.stat()
    except OSError:  # reading it will tell what is wrong
        return None
    return (status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns)


def key_of(*of: object) -> str:
    """The key, for a store, of what depends on all of these and nothing else: what JSON can hold."""
    return hashlib.sha256(json.dumps(of, sort_keys=True, allow_nan=False).encode()).hexdigest()
