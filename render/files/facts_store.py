"""What was heard of records, kept between runs: nobody wants to wait twice for the same facts.

Facts belong to a record's content, whatever its name, to what was given before it was heard, and to the version of
the ears (`FACTS_VERSION`).
"""

import functools
import json
from dataclasses import asdict, dataclass
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from render.facts import FACTS_VERSION, Given, RecordFacts, Recording
from render.files.known_hashes import FileState, file_state, key_of, known_sha256
from render.files.store import Store, cache_folder

FACTS_LIMIT_BYTES = 256 * 1024 * 1024
"""Some twenty thousand records: the facts of one of two and a half minutes take 13 kB."""

_facts = TypeAdapter(RecordFacts)
_given = TypeAdapter(Given)


@dataclass(frozen=True)
class Place:
    """Where the facts of one record are kept, as long as it is what it was when this place was asked for."""

    store: Store
    key: str
    path: Path
    state: FileState | None

    def get(self) -> RecordFacts | None:
        content = self.store.get(self.key)
        return None if content is None else facts_of_json(content)

    def put(self, facts: RecordFacts) -> None:
        """Keep facts, unless the record may have been changed while it was heard."""
        if self.state is not None and self.state == file_state(self.path):
            self.store.put(self.key, facts_json(facts))


def facts_store() -> Store:
    """The store in the user's cache folder; the same one for a whole run, so that its trouble is told once."""
    return _store_in(cache_folder())


def place_of(recording: Recording, given: Given, store: Store) -> Place:
    """Where to look for the facts of a recording, and to keep them. Raises SourceError."""
    path = Path(recording.path)
    state = file_state(path)
    content = known_sha256(path, store)
    known = asdict(_given.validate_python(asdict(given)))  # 174 and 174.0 are one tempo
    return Place(store, key_of("facts", FACTS_VERSION, content, known), path, state)


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
