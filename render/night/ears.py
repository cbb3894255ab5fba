"""Listening to recordings from end to end."""

from collections.abc import Sequence
from pathlib import Path

from render.analysis.record import RecordListener
from render.facts import Given, RecordFacts, Recording
from render.faults import SourceError
from render.files.audio_files import blocks_of, open_recording


def listened(path: Path) -> tuple[Recording, RecordFacts]:
    """A recording and what is heard of it. Raises SourceError."""
    recording = open_recording(path)
    return recording, _measured(recording, Given())


def facts_of_records(wanted: Sequence[tuple[Recording, Given]], jobs: int) -> list[RecordFacts | SourceError]:
    """What is heard of each recording, in the order of `wanted`, `jobs` of them at once (0: one for each core)."""
    return [_measured_or_error(recording, given) for recording, given in wanted]


def _measured_or_error(recording: Recording, given: Given) -> RecordFacts | SourceError:
    try:
        return _measured(recording, given)
    except SourceError as error:
        return error


def _measured(recording: Recording, given: Given) -> RecordFacts:
    known = () if given == Given() else (given,)
    listener = RecordListener(recording.rate_hz, *known)
    for block in blocks_of(recording):
        listener.feed(block)
    return listener.heard()
