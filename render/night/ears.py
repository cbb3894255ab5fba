"""Listening to a file from end to end."""

from pathlib import Path

from render.analysis.record import RecordListener
from render.facts import RecordFacts, Recording
from render.files.audio_files import blocks_of, open_recording


def listened(path: Path) -> tuple[Recording, RecordFacts]:
    """A recording and what is heard of it. Raises SourceError."""
    recording = open_recording(path)
    listener = RecordListener(recording.rate_hz)
    for block in blocks_of(recording):
        listener.feed(block)
    return recording, listener.heard()
