"""What recordings are, remembered: a file that looks as it did when it was opened is not opened again."""

from functools import cache
from importlib.metadata import version
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from render.facts import Recording
from render.files.known_hashes import file_state, has_settled, key_of
from render.files.store import Store

RECORDING_VERSION = 2
"""Raised whenever, within one version of this program, the same file comes to be opened as another recording, or to
be refused."""

READERS = ("dropkiln", "av", "soundfile")
"""Whose version can change what a file is taken for."""

_recording = TypeAdapter(Recording)


def known_recording(path: Path, store: Store) -> Recording:
    """The recording at a path, as `open_recording` gives it and as safely known as a hash is (`known_sha256`).

    A file that is refused is not remembered. Raises SourceError.
    """
    state = file_state(path)
    key = state and key_of("recording", RECORDING_VERSION, *_versions(), str(path), state)
    if key and (known := store.get(key)) is not None:
        try:
            return _recording.validate_json(known, strict=True)
        except ValidationError:  # of another version of this program
            pass
    from render.files.audio_files import open_recording  # with its decoders, which take a while to load

    settled = state is not None and has_settled(state)
    recording = open_recording(path)
    if key and settled and state == file_state(path):
        store.put(key, _recording.dump_json(recording))
    return recording


@cache
def _versions() -> tuple[str, ...]:
    return tuple(map(version, READERS))
