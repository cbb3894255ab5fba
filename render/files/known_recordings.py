"""What recordings are, remembered: a file that looks as it did when it was opened is not opened again."""

from functools import cache
from importlib.metadata import version
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from render.facts import Recording
from render.files.known_hashes import remembered
from render.files.store import Store

RECORDING_VERSION = 2
"""Raised whenever, within one version of this program, the same file comes to be opened as another recording, or to
be refused."""

READERS = ("dropkiln", "av", "soundfile")
"""Whose version can change what a file is taken for."""

_recording = TypeAdapter(Recording)


def known_recording(path: Path, store: Store) -> Recording:
    """The recording at a path, as `open_recording` gives it, `remembered`.

    A file that is refused is not remembered. Raises SourceError.
    """

    def told() -> bytes:
        from render.files.audio_files import open_recording  # with its decoders, which take a while to load

        return _recording.dump_json(open_recording(path))

    of = ("recording", RECORDING_VERSION, *_versions(), str(path))
    try:
        return _recording.validate_json(remembered(store, path, of, told), strict=True)
    except ValidationError:  # remembered by another version of this program
        return _recording.validate_json(told(), strict=True)


@cache
def _versions() -> tuple[str, ...]:
    return tuple(map(version, READERS))
