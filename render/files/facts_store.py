"""What was heard of records, kept between runs: nobody wants to wait twice for the same facts.

Facts belong to a record's content, whatever its name, to what was given before it was heard, and to the version of
the ears (`FACTS_VERSION`).
"""

import functools
import hashlib
import json
import time
from dataclasses import asdict, dataclass
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from render.facts import FACTS_VERSION, Given, RecordFacts, Recording
from render.files.audio_files import sha256_of
from render.files.store import Store, cache_folder

FACTS_LIMIT_BYTES = 256 * 1024 * 1024
"""Some twenty thousand records: the facts of one of two and a half minutes take 13 kB."""

_SETTLED_NS = 2_000_000_000
"""Two changes of a file may carry the same time within the clock of its disk, whose coarsest (FAT) ticks every 2 s."""

_State = tuple[int, ...]
_facts = TypeAdapter(RecordFacts)
_given = TypeAdapter(Given)


@dataclass(frozen=True)
class Place:
    """Where the facts of one record are kept, as long as it is what it was when this place was asked for."""

    store: Store
    key: str
    path: Path
    state: _State | None

    def get(self) -> RecordFacts | None:
        content = self.store.get(self.key)
        return None if content is None else facts_of_json(content)

    def put(self, facts: RecordFacts) -> None:
        """Keep facts, unless the record may have been changed while it was heard."""
        if self.state is not None and self.state == _state(self.path):
            self.store.put(self.key, facts_json(facts))


def facts_store() -> Store:
    """The store in the user's cache folder; the same one for a whole run, so that its trouble is told once."""
    return _store_in(cache_folder())


def place_of(recording: Recording, given: Given, store: Store) -> Place:
    """Where to look for the facts of a recording, and to keep them. Raises SourceError."""
    path = Path(recording.path)
    state = _state(path)
    content = _sha256(path, state, store)
    known = asdict(_given.validate_python(asdict(given)))  # 174 and 174.0 are one tempo
    return Place(store, _key("facts", FACTS_VERSION, content, known), path, state)


def facts_json(facts: RecordFacts) -> bytes:
    # Not by pydantic, which writes an infinite number as null.
    return json.dumps(asdict(facts), separators=(",", ":")).encode()


def facts_of_json(content: bytes) -> RecordFacts | None:
    """Facts as they were; None where this is no facts, or they are of another version."""
    try:
        facts = _facts.validate_json(content, strict=True)
    except ValidationError:
        return None
    return facts if facts.version == FACTS_VERSION else None


@functools.cache
def _store_in(folder: Path | None) -> Store:
    return Store(None if folder is None else folder / "facts", FACTS_LIMIT_BYTES)


def _sha256(path: Path, state: _State | None, store: Store) -> str:
    """A file's hash, taken from the store where the file looks as it did when it was hashed.

    That misses a file of the same name, number, length and times but other bytes. Where a disk notes when a file was
    last changed (all of Linux and macOS do), no program can set this time, so nothing is missed but a change while
    the computer's clock is wrong. On others (Windows, FAT) a file replaced by one of the same length, whose time was
    set to the old one's, is missed.
    """
    if state is None:
        return sha256_of(path)
    key = _key("sha256", str(path.absolute()), state)
    if (hashed := store.get(key)) is not None:
        return hashed.decode()
    settled = time.time_ns() - max(state[-2:]) > _SETTLED_NS
    sha256 = sha256_of(path)
    if settled and state == _state(path):
        store.put(key, sha256.encode())
    return sha256


def _state(path: Path) -> _State | None:
    """What changes when a file is changed or replaced; None where it cannot be asked."""
    try:
        status = path.stat()
    except OSError:  # reading it will tell what is wrong
        return None
    return (status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns)


def _key(*of: object) -> str:
    return hashlib.sha256(json.dumps(of, sort_keys=True).encode()).hexdigest()
