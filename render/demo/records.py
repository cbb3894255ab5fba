"""The demo's records: rendered, mastered, and written as FLAC files that are made only once.

A file says in its comment what it was made from; one that says the same as would be made now, and whose sound
still has the checksum that FLAC keeps of it, is left alone.
"""

import hashlib
import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from render.demo.arrangement import mixed
from render.demo.catalogue import RECORDS
from render.demo.score import RATE_HZ, DemoRecord
from render.files.whole_file import make_folder, write_whole
from render.values import Audio, db_to_gain

__all__ = ["RECORDS", "DemoRecord", "render_record", "write_records"]

CEILING_DBFS = -0.4
"""What the soft clip never quite reaches."""
NOISE_FLOOR_DBFS = -96.0
"""RMS of the noise that runs through a record, so that no two frames are exactly silent."""

MD5_IN_FLAC = slice(26, 42)
"""After the four letters, a block header of four bytes and eighteen bytes of stream information."""


def render_record(record: DemoRecord) -> tuple[Audio, int]:
    """The mastered record, `(frames, 2)`, and its rate in hertz. The same record gives the same frames."""
    ceiling = np.float32(db_to_gain(CEILING_DBFS))
    sound = mixed(record)
    sound *= np.float32(db_to_gain(record.drive_db)) / ceiling
    np.tanh(sound, out=sound)
    sound *= ceiling
    noise = np.random.default_rng(record.seed).standard_normal(sound.shape, dtype=np.float32)
    sound += noise * np.float32(db_to_gain(NOISE_FLOOR_DBFS))
    return sound, RATE_HZ


def write_records(folder: Path, done: Callable[[Path], None] = lambda path: None) -> list[Path]:
    """Make `<name>.flac` (16 bit) of every record in a folder; what is there and whole is kept.

    `done` hears of each file as soon as it can be used. Raises OutputError where a file cannot be written.
    """
    make_folder(folder)
    paths = []
    for record in RECORDS:
        path = folder / f"{record.name}.flac"
        made_from = _made_from(record)
        if not _is_whole(path, made_from):
            write_whole(path, _flac(record, made_from))
        done(path)
        paths.append(path)
    return paths


def _flac(record: DemoRecord, made_from: str) -> bytes:
    """The record as the content of a FLAC file."""
    sound, rate_hz = render_record(record)
    content = io.BytesIO()
    with soundfile.SoundFile(content, "w", rate_hz, sound.shape[1], "PCM_16", format="FLAC") as file:
        file.title = record.title
        file.comment = made_from
        file.write(sound)
    return content.getvalue()


def _made_from(record: DemoRecord) -> str:
    """A name for everything a file depends on: the record's data and the program text beside this file."""
    digest = hashlib.sha256(repr(record).encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return f"synthesised from {digest.hexdigest()}"


def _is_whole(path: Path, made_from: str) -> bool:
    """Whether a file is there, says it was made from the same, and decodes to what its checksum says.

    FLAC keeps the MD5 of the unencoded little-endian samples in its stream information (RFC 9639, 8.2).
    """
    if not path.is_file():
        return False
    try:
        with soundfile.SoundFile(path) as file:
            if file.comment != made_from:
                return False
            samples = file.read(dtype="int16").astype("<i2").tobytes()
    except soundfile.LibsndfileError:  # not FLAC, or not any more
        return False
    return hashlib.md5(samples, usedforsecurity=False).digest() == path.read_bytes()[MD5_IN_FLAC]
