"""Beats that lie beside a record, in a file of their own: they take the place of the measured ones.

For `lanterns.flac` it may be called, and there may be one of these only:

    lanterns.flac.jams          lanterns.jams            JAMS (see `beats_jams`)
    lanterns.flac.beats.csv     lanterns.beats.csv       a plain table (see `beats_csv`)

Where a recipe states the tempo, the recipe wins and the file is not opened. A JAMS file in which nobody marked beats
counts as none, with a note. Files are opened for reading only.
"""

import codecs
import os
import stat
from dataclasses import dataclass, replace
from pathlib import Path

from render.facts import Given, GivenBeats, Recording
from render.faults import SourceError
from render.files.beat_marks import BeatsFault, beats_of
from render.files.beats_csv import marks_of_csv
from render.files.beats_jams import marks_of_jams
from render.values import clock

MOST_BYTES = 16 * 1024 * 1024
"""A hundred times what the beats of a long record need; JAMS files may hold much else."""

SLACK_S = 3.0
"""How far the last beat may lie behind the record's end: the longest beat that is taken for one."""

_JAMS = ".jams"
_TABLE = ".beats.csv"


@dataclass(frozen=True)
class BeatsFile:
    """A file of beats, and what it says; `beats` is None where it holds no beats. Each note is worth a warning."""

    path: Path
    beats: GivenBeats | None
    notes: tuple[str, ...]


def given_with_beats(recording: Recording, given: Given) -> tuple[Given, tuple[str, ...]]:
    """What is known of a record, with the beats that lie beside it, if any, and notes that are worth a warning.

    Raises SourceError.
    """
    if given.tempo_bpm is not None:
        return given, ()
    found = beats_beside(Path(recording.path))
    if found is None:
        return given, ()
    last_s = found.beats.times_s[-1] if found.beats else 0.0
    if last_s > recording.duration_s + SLACK_S:
        wrong = f"its last beat lies at {clock(last_s)}, but the record ends at {clock(recording.duration_s)}"
        raise SourceError(str(found.path), wrong, "put the beats of this record there")
    return replace(given, beats=found.beats), found.notes


def beats_beside(recording: Path) -> BeatsFile | None:
    """The file of beats that lies beside a recording; None where there is none.

    Raises SourceError, whose subject is the file with the line or the beat, if there are several, or if the one
    there is cannot be read or holds what cannot be a record's beats.
    """
    names = (recording.name + _JAMS, recording.stem + _JAMS, recording.name + _TABLE, recording.stem + _TABLE)
    # A link that leads nowhere is there, too: whoever made it meant it.
    found = [path for path in map(recording.with_name, dict.fromkeys(names)) if os.path.lexists(path)]
    if len(found) > 1:
        others = " and ".join(path.name for path in found[1:])
        right = f"remove or rename {others}, or whichever is wrong, so that one is left"
        raise SourceError(str(found[0]), f"{others} gives beats for {recording.name}, too", right)
    return _read(found[0]) if found else None


def _read(path: Path) -> BeatsFile:
    content = _content(path)
    try:
        text = content.removeprefix(codecs.BOM_UTF8).decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise SourceError(f"{path}:{line}", "this is not UTF-8 text", "save it as UTF-8") from error
    try:
        marks, notes = marks_of_jams(text) if path.suffix == _JAMS else (marks_of_csv(text), ())
        beats, odd = beats_of(marks) if marks is not None else (None, ())
    except BeatsFault as fault:
        raise SourceError(f"{path}{fault.place}", fault.wrong, fault.right) from fault
    told = tuple(f"{path.name}{note}" for note in (*notes, *odd))
    return BeatsFile(path, beats, told)


def _content(path: Path) -> bytes:
    """A whole file, if it is not too large. Raises SourceError."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):  # opening a pipe would wait for somebody to write
            raise SourceError(str(path), "it is no file", "remove it or put a file of beats there")
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        wrong = f"it cannot be read ({os.strerror(error.errno or 0)})"
        raise SourceError(str(path), wrong, "allow reading it, or remove it") from error
    if len(content) > MOST_BYTES:
        wrong = f"it is larger than {MOST_BYTES // 1024**2} MiB"
        raise SourceError(str(path), wrong, "keep the beats in a file of their own")
    return content
