"""What clips share: sounds that were costly to make, and readings of them, kept between clips, variants and nights.

Everything lies in a store by a key of all it depends on, so what is found there is what would be made again, to the
bit. Nothing fails where nothing can be kept.
"""

import json
import math
import os
import shutil
import struct
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from pydantic import TypeAdapter, ValidationError

from render.faults import OutputError, UsageError
from render.files.facts_store import facts_store
from render.files.known_hashes import known_sha256
from render.files.store import Store, cache_folder
from render.values import Audio

T = TypeVar("T")

Sounds = tuple[dict[str, Any], Sequence[Audio]]
"""Notes, and arrays of (frames, channels)."""

LIMIT_VARIABLE = "DROPKILN_CACHE_LIMIT"
SOUNDS_LIMIT_GIB = 8.0
"""Some 370 lanes of 44 s: each is kept in stereo and once on one channel, 4 bytes a sample."""
READINGS_LIMIT_BYTES = 32 * 1024 * 1024
"""Some thirty thousand lanes: one takes 1 kB with its hashes."""
ROOM_LEFT_BYTES = 2 * 1024**3
"""What is left free on the disk: clips need room as well, and what is kept here only saves time."""

_HEAD = struct.Struct("<I")
_SHAPE = struct.Struct("<QI")


@dataclass
class Shelf:
    """Sounds and readings by their keys. One that is `fresh` gives only what was put on it by this run's own hand."""

    folder: Path | None
    sounds: Store
    readings: Store
    hashes: Store
    """The one in which those of records that were listened to lie, so that each record is hashed once."""
    fresh: bool = False
    _own: set[str] = field(default_factory=set, init=False)

    def sound(self, key: str) -> Sounds | None:
        """What lies there, not to be written to; None where nothing does."""
        content = self.sounds.get(key) if self._may_give(key) else None
        return None if content is None else _unpacked(content)

    def has_sound(self, key: str) -> bool:
        """Whether something lies there, as far as can be told without reading it."""
        return self._may_give(key) and self.sounds.has(key)

    def sound_made_once(self, key: str, make: Callable[[], Sounds]) -> Sounds:
        """What lies there, else what `make` makes now, which is kept. What another process is making is waited for."""
        if (kept := self.sound(key)) is not None:
            return kept
        may_wait = not self.fresh and self.takes(1)
        with self.sounds.alone(key) if may_wait else nullcontext():
            if may_wait and (kept := self.sound(key)) is not None:
                return kept
            notes, arrays = make()
            self.keep_sound(key, notes, arrays)
            return notes, arrays

    def keep_sound(self, key: str, notes: dict[str, Any], arrays: Sequence[Audio]) -> None:
        if self.takes(sum(array.nbytes for array in arrays)):
            self.sounds.put(key, _packed(notes, arrays))
            self._own.add(key)

    def takes(self, size_bytes: int) -> bool:
        """Whether sound of this size is kept, others being forgotten for it, as the disk is now."""
        return self.sounds.takes(size_bytes) and size_bytes <= _spare_bytes(self.folder)

    @property
    def room_bytes(self) -> int:
        """By how much the sounds may still grow."""
        try:
            return max(0, math.floor(min(self.sounds.room_bytes, _spare_bytes(self.folder))))
        except OutputError:  # the folder cannot even be listed
            return 0

    def reading(self, key: str, kind: TypeAdapter[T], read: Callable[[], T]) -> T:
        """What was read before, else what `read` says now, which is kept."""
        if self._may_give(key) and (content := self.readings.get(key)) is not None:
            try:
                return kind.validate_json(content)
            except ValidationError:  # of another version of this program, or of none
                pass
        value = read()
        self.readings.put(key, kind.dump_json(value))
        self._own.add(key)
        return value

    def sha256(self, path: Path) -> str:
        """The hash of a file's content. Raises SourceError."""
        return known_sha256(path, self.hashes)

    def _may_give(self, key: str) -> bool:
        return not self.fresh or key in self._own


def shelf_of(fresh: bool = False) -> Shelf:
    """The shelf in the user's cache folder. Raises UsageError for a limit that is none."""
    folder = cache_folder()
    sounds, readings = (None if folder is None else folder / name for name in ("sounds", "readings"))
    return Shelf(
        folder,
        Store(sounds, sounds_limit_bytes()),
        Store(readings, READINGS_LIMIT_BYTES),
        facts_store(),
        fresh,
    )


def sounds_limit_bytes() -> int:
    """How much may be kept: DROPKILN_CACHE_LIMIT, in GiB. Raises UsageError."""
    stated = os.environ.get(LIMIT_VARIABLE) or str(SOUNDS_LIMIT_GIB)
    try:
        limit_bytes = int(float(stated) * 1024**3)
    except (ValueError, OverflowError):
        limit_bytes = -1
    if limit_bytes < 0:
        raise UsageError(LIMIT_VARIABLE, f"{stated!r} is no size", "give a number of GiB, as in `8`")
    return limit_bytes


def _spare_bytes(folder: Path | None) -> float:
    """What may be taken of the disk. Where it cannot be asked, trying to write will tell."""
    try:
        there = next(one for one in (folder, *folder.parents) if one.exists()) if folder else None
        return shutil.disk_usage(there).free - ROOM_LEFT_BYTES if there else 0
    except OSError:
        return math.inf


def _packed(notes: dict[str, Any], arrays: Sequence[Audio]) -> bytes:
    text = json.dumps(notes).encode()
    parts = [_HEAD.pack(len(text)), text]
    for array in arrays:
        parts += [_SHAPE.pack(*array.shape), array.astype("<f4", copy=False).tobytes()]
    return b"".join(parts)


def _unpacked(content: bytes) -> tuple[dict[str, Any], list[Audio]]:
    """The store has checked that these are the bytes that were packed."""
    (length,) = _HEAD.unpack_from(content)
    at = _HEAD.size + length
    notes: dict[str, Any] = json.loads(content[_HEAD.size : at])
    arrays = []
    while at < len(content):
        frames, channels = _SHAPE.unpack_from(content, at)
        at += _SHAPE.size
        arrays.append(np.frombuffer(content, "<f4", frames * channels, at).reshape(frames, channels))
        at += 4 * frames * channels
    return notes, arrays
