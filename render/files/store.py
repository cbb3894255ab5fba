"""What was costly to find out, kept as files between runs: a cache, never the only place of anything.

An entry is one file, named by its key. It begins with a checksum over its key and its content, so that one that is
damaged, cut short or under a wrong name is found out, removed and never trusted; none has to be forced onto the disk.
Entries are read whole, not mapped: the checksum needs every byte, and a mapped file that somebody cuts short ends
the process.

Anybody may delete any of it at any time, also while it is in use, and any number of processes may use one store.
"""

import contextlib
import hashlib
import os
import re
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import platformdirs
from filelock import FileLock, Timeout

from render.faults import OutputError
from render.files.whole_file import TEMPORARY_PREFIX, make_folder, output_error, whole_file

CACHE_VARIABLE = "DROPKILN_CACHE"

LOCK = ".lock"
"""Held by whoever forgets entries, so that two do not forget twice as many."""

_KEY = re.compile("[0-9a-f]{64}")
_MAGIC = b"dropkiln-store-1"
_HEAD_BYTES = len(_MAGIC) + hashlib.sha256().digest_size
_LOCK_WAIT_S = 10.0
"""Forgetting takes milliseconds; whoever holds the lock for longer was stopped, and forgets when it goes on."""
_LOCK_POLL_S = 0.01
_MAKING_WAIT_S = 120.0
"""For what another process makes; whoever takes longer was stopped, and then it is made twice."""
_LEFT_BEHIND_S = 3600.0
"""A temporary file of this age was left behind by a run that was killed: writing one takes a second at most."""

_DELETED = (FileNotFoundError, NotADirectoryError, FileExistsError)
"""What writing in a folder meets where somebody deletes it at that moment: the last from Python's `mkdir`, to which
it is there when it is made, and not when it is looked at."""
_LOOKS_PER_LIMIT = 64
"""How often a process that fills a whole store looks whether it is full: a look at 20,000 entries takes 0.2 s."""
_TRIES = 3
"""To make a folder that somebody may be deleting; one that really cannot be made fails as quickly each time."""


def cache_folder() -> Path | None:
    """The folder of what this program keeps for the next time; None where the system has none for this user.

    The environment variable DROPKILN_CACHE names another one than the system's.
    """
    if named := os.environ.get(CACHE_VARIABLE):
        return Path(named).absolute()
    try:
        usual = platformdirs.user_cache_path("dropkiln", appauthor=False)
    except RuntimeError:  # the user has no home; some versions leave a `~` in the path instead
        return None
    return usual if usual.is_absolute() else None


@dataclass(frozen=True)
class Entry:
    """What is kept under one key. `used_s` is when it was last put or got, in seconds since 1970."""

    key: str
    size_bytes: int
    used_s: float


class Store:
    """Contents by their keys, 64 hexadecimal digits each, in a folder of its own of at most `limit_bytes`.

    Beyond the limit (or a 64th more for each process at work) what was longest not used is forgotten. Where nothing
    can be written, or without a folder, nothing is kept and nothing fails.
    """

    def __init__(self, folder: Path | None, limit_bytes: int) -> None:
        self._folder = folder
        self._limit_bytes = limit_bytes
        self._unseen_bytes = limit_bytes  # what is there already
        self._trouble: str | None = None
        self._told = False

    def get(self, key: str) -> bytes | None:
        """What was put under a key; None where it is no longer there, or not as it was."""
        if self._folder is None:
            return None
        path = _path(self._folder, key)
        try:
            with path.open("rb", buffering=0) as file:
                fits = os.fstat(file.fileno()).st_size <= self._limit_bytes  # else it is none of ours
                head, content = (file.read(_HEAD_BYTES), file.read()) if fits else (b"", b"")
        except OSError:  # not there, or not to be read: it will be made again
            return None
        if head != _head(key, content):
            with contextlib.suppress(OSError):  # gone already, or not ours to remove: it stays found out
                path.unlink()
            return None
        with contextlib.suppress(OSError):  # gone already, or only to be read: it just seems longer unused
            os.utime(path)
        return content

    def has(self, key: str) -> bool:
        """Whether something is there, which is not read for this: it may be damaged."""
        if self._folder is None:
            return False
        with contextlib.suppress(OSError):
            return _path(self._folder, key).is_file()
        return False

    def takes(self, size_bytes: int) -> bool:
        """Whether a content of this size is ever kept."""
        return self._folder is not None and _HEAD_BYTES + size_bytes <= self._limit_bytes

    def put(self, key: str, content: bytes | memoryview) -> None:
        """Keep a content, whole or not at all; after the first trouble nothing more is tried."""
        if self._trouble is not None:
            return
        data = memoryview(content).cast("B")
        if self._folder is None:
            self._trouble = "there is no folder to keep things in"
        elif self.takes(len(data)):
            try:
                _make_folder(self._folder)
                with contextlib.suppress(*_DELETED), _told(self._folder):
                    _write(_path(self._folder, key), _head(key, data), data)
                    self._unseen_bytes += _HEAD_BYTES + len(data)
                    if self._unseen_bytes * _LOOKS_PER_LIMIT >= self._limit_bytes:
                        self._forget(self._folder)
                        self._unseen_bytes = 0
            except OutputError as error:
                self._trouble = f"{self._folder}: {error.wrong}"

    @contextlib.contextmanager
    def alone(self, key: str) -> Iterator[None]:
        """While nobody else is to make what belongs under a key: who asks as well waits until it is made, or given up.

        Where nothing can be written, nobody waits.
        """
        with contextlib.ExitStack() as stack:
            if self._folder is not None and self._trouble is None:
                path = self._folder / f"{TEMPORARY_PREFIX}{key}{LOCK}"
                # It may be too long a wait, and there may be no room, or no such locks here.
                with contextlib.suppress(OSError, NotImplementedError):
                    stack.enter_context(FileLock(path).acquire(_MAKING_WAIT_S, _LOCK_POLL_S))
                    stack.callback(path.unlink, missing_ok=True)
            yield

    def trouble(self) -> str | None:
        """Why nothing more is kept, in one line for a person; said once, then None."""
        if self._trouble is None or self._told:
            return None
        self._told = True
        return (
            f"{self._trouble}; nothing is kept for the next time: let {CACHE_VARIABLE} name a folder for it"
        )

    def entries(self) -> list[Entry]:
        """What is kept, the longest unused first. Raises OutputError where the folder cannot be listed."""
        if self._folder is None:
            return []
        with _told(self._folder):
            return _entries(self._folder)

    @property
    def size_bytes(self) -> int:
        return _size_bytes(self.entries())

    @property
    def room_bytes(self) -> int:
        """By how much it may still grow. Raises OutputError where the folder cannot be listed."""
        return max(0, self._limit_bytes - self.size_bytes)

    def clear(self) -> None:
        """Remove all that is kept. Raises OutputError where that is not allowed."""
        if self._folder is None:
            return
        with _told(self._folder):
            for file in _files(self._folder):
                if _KEY.fullmatch(file.name) or file.name.startswith(TEMPORARY_PREFIX) or file.name == LOCK:
                    Path(file.path).unlink(missing_ok=True)

    def _forget(self, folder: Path) -> None:
        """Bring the store back within its limit."""
        _remove_left_behind(folder)
        if _size_bytes(_entries(folder)) <= self._limit_bytes:
            return
        lock = FileLock(folder / LOCK)
        with contextlib.suppress(Timeout), lock.acquire(timeout=_LOCK_WAIT_S, poll_interval=_LOCK_POLL_S):
            entries = _entries(folder)
            over_bytes = _size_bytes(entries) - self._limit_bytes
            for entry in entries:
                if over_bytes <= 0:
                    break
                _path(folder, entry.key).unlink(missing_ok=True)
                over_bytes -= entry.size_bytes


def _path(folder: Path, key: str) -> Path:
    if not _KEY.fullmatch(key):
        raise ValueError(f"{key!r} is not a key of 64 hexadecimal digits")
    return folder / key


def _head(key: str, content: bytes | memoryview) -> bytes:
    checksum = hashlib.sha256(bytes.fromhex(key))
    checksum.update(content)
    return _MAGIC + checksum.digest()


def _make_folder(folder: Path) -> None:
    for _ in range(_TRIES - 1):
        with contextlib.suppress(OutputError):
            return make_folder(folder)
    return make_folder(folder)


def _write(path: Path, head: bytes, content: memoryview) -> None:
    with whole_file(path, lasting=False) as temporary, temporary.open("wb") as file:
        file.write(head)
        file.write(content)


@contextlib.contextmanager
def _told(folder: Path) -> Iterator[None]:
    """What goes wrong in `folder` as an OutputError, but what is gone from it as one of `_DELETED`."""
    try:
        yield
    except _DELETED:
        raise
    except OutputError as error:
        if isinstance(error.__cause__, _DELETED):
            raise error.__cause__ from error
        raise
    except OSError as error:
        raise output_error(folder / LOCK, error) from error


def _files(folder: Path) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as found:
            return [file for file in found if file.is_file(follow_symlinks=False)]
    except _DELETED:
        return []


def _entries(folder: Path) -> list[Entry]:
    entries = []
    for file in _files(folder):
        if _KEY.fullmatch(file.name):
            with contextlib.suppress(FileNotFoundError):  # another process has forgotten it
                status = file.stat(follow_symlinks=False)
                entries.append(Entry(file.name, status.st_size, status.st_mtime))
    return sorted(entries, key=lambda entry: entry.used_s)


def _size_bytes(entries: list[Entry]) -> int:
    return sum(entry.size_bytes for entry in entries)


def _remove_left_behind(folder: Path) -> None:
    for file in _files(folder):
        if file.name.startswith(TEMPORARY_PREFIX):
            with contextlib.suppress(
                FileNotFoundError
            ):  # it has its name by now, or another process removed it
                if time.time() - file.stat(follow_symlinks=False).st_mtime > _LEFT_BEHIND_S:
                    Path(file.path).unlink()
