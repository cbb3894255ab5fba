"""What is fed with hostile bytes: every reader of what people and programs write, by name.

A target takes bytes and returns. What a reader is documented to raise, it catches and looks at; all else it lets pass,
and so it is a finding. Where a text is accepted, a target checks what holds for every accepted text.
"""

import json
import os
import re
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

from pydantic_core import PydanticCustomError

from render.facts import Recording
from render.faults import Fault, SourceError, UsageError
from render.files.beats_beside import beats_beside
from render.night.books import book_at
from render.plan.build import PlanError, plan_clip
from render.plan.explain import explain
from render.publish.ballots import BadBallot, Ballot, Rated, ballot_text, read_ballot
from render.publish.book import book_json, book_text, found, keepers
from render.publish.book_yaml import BadBook, read_book
from render.publish.bookkeeping import Rendered, merged
from render.publish.share import SharedClip, Sound, share_html
from render.recipe import positions, quantities
from render.recipe.known import UnknownFacts, track_facts
from render.recipe.nodes import MAX_TEXT_BYTES, plain_scalar
from render.recipe.reader import Reading, faults_of, read

NOW = datetime(2031, 5, 4, 21, 30, tzinfo=UTC)
RECORDING_RATE_HZ, RECORDING_FRAMES = 44_100, 44_100 * 400
"""Every track of a recipe is taken for a record of 6 min 40 s."""
PCM = "0a1b2c3d4e5f"
PARTS = b"\x00"
"""Between the parts of an input that has several."""

_kept = tempfile.TemporaryDirectory(prefix="dropkiln-fuzz-")
"""Until the process ends."""
_folder = Path(_kept.name)
_files: dict[str, int] = {}
"""Opened once and before any input: a target itself opens nothing for writing."""


def _file(name: str) -> Path:
    path = _folder / name / name
    if name not in _files:
        path.parent.mkdir()
        _files[name] = os.open(path, os.O_RDWR | os.O_CREAT)
    return path


def _filled(name: str, content: bytes) -> Path:
    """The file of that name, holding these bytes and nothing else."""
    os.ftruncate(_files[name], 0)
    os.pwrite(_files[name], content, 0)
    return _folder / name / name


_JAMS, _TABLE, _BOOK = (_file(name) for name in ("lanterns.jams", "lanterns.beats.csv", "book.yaml"))


_GARBLING = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\u202a-\u202e\u2066-\u2069]")
"""Controls, line ends, half characters, and what turns the direction of writing (Unicode Standard Annex 9, sections 2.1
to 2.4)."""


def _one_line(text: str) -> None:
    assert not _GARBLING.search(text), ascii(text)
    assert text.strip()
    assert len(text) < 1000, ascii(text)


def _told(fault: Fault) -> None:
    assert fault.line >= 1
    assert fault.column >= 1
    assert fault.wrong
    assert fault.right
    _one_line(str(fault))


def _readings(content: bytes) -> list[Reading]:
    return read(content.decode("utf-8", "surrogateescape"), "night/lanterns.yaml")


def recipe(content: bytes) -> None:
    """A recipe's text is read into recipes or into faults."""
    readings = _readings(content)
    faults = faults_of(readings)
    for fault in faults:
        _told(fault)
    assert faults or all(reading.recipe is not None for reading in readings)


def plan(content: bytes) -> None:
    """What can be read of a recipe is planned over made-up records, or refused with its reasons."""
    readings = _readings(content)
    refused = []
    for reading in readings[:4]:
        if reading.recipe is None or not reading.plannable:
            continue
        try:
            facts = {
                name: track_facts(
                    reading.recipe,
                    name,
                    Recording(track.file, "WAV", RECORDING_RATE_HZ, 2, RECORDING_FRAMES, 1),
                )
                for name, track in reading.recipe.tracks.items()
                if reading.is_whole(name)
            }
            clip = plan_clip(reading.recipe, facts, "lanterns", reading.variant)
        except (PlanError, UnknownFacts) as error:
            refused += [(reading, problem) for problem in error.problems]
        else:
            assert len(explain(clip, facts)) > 0
    for fault in faults_of(readings, refused):
        _told(fault)


_QUANTITIES: tuple[Callable[[object], object], ...] = (
    positions.track_position,
    positions.clip_position,
    positions.bar_spans,
    quantities.length,
    quantities.shift,
    quantities.share,
    quantities.decibels,
    quantities.ceiling,
    quantities.hertz,
    quantities.milliseconds,
    quantities.seconds,
    quantities.pitch,
    quantities.bpm,
    quantities.key,
)


def position(content: bytes) -> None:
    """One value of a recipe, taken for every kind of position and quantity, as text and as YAML reads it."""
    text = content[:MAX_TEXT_BYTES].decode("utf-8", "replace")
    positions.is_marker_name(" ".join(text.split()))
    for raw in (text, plain_scalar(text), [text, text]):
        for taken_for in _QUANTITIES:
            try:
                taken_for(raw)
            except PydanticCustomError as error:
                assert 0 < len(error.message()) < 1000


def ballot(content: bytes) -> None:
    """A ballot's file, or a message around its short text; what is read says the same in either form."""
    try:
        one = read_ballot(content, NOW)
    except BadBallot as error:
        _one_line(error.wrong)
        _one_line(error.right)
        return
    _one_line(f"{one.listener}.")
    for rated in one.ratings:
        _one_line(f"{rated.note}.")
    try:
        text = content.decode("utf-8-sig")
        if not isinstance(json.loads(text), dict):
            return  # it was the short text in quotes
    except ValueError:
        return  # it was the short text
    assert read_ballot(ballot_text(text).encode(), NOW) == one


class _Page(HTMLParser):
    """The tags and the attributes' names of a page, in order, and the headings' texts."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, tuple[str, ...]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, tuple(name for name, _ in attrs)))


def _tags(name: str, title: str, variant: str, layered: str) -> list[tuple[str, tuple[str, ...]]]:
    clip = SharedClip(name, PCM, title, variant, layered, Sound(b"sound", "audio/mpeg"))
    page = _Page()
    page.feed(share_html([clip]))
    page.close()
    return page.tags


_HARMLESS_TAGS = _tags("lanterns", "Lanterns", "short", "two records")


def share(content: bytes) -> None:
    """Names and titles that are markup stay text on the page for friends: its tags are those of any other."""
    parts = [part.decode("utf-8", "replace") for part in content.split(PARTS, 3)]
    name, title, variant, layered = (*parts, *[""] * (4 - len(parts)))
    assert _tags(name, title, variant, layered) == _HARMLESS_TAGS


def _beats(path: Path) -> None:
    try:
        read = beats_beside(path.with_name("lanterns.flac"))
    except SourceError as error:
        _one_line(str(error))
        return
    assert read is not None
    for note in read.notes:
        _one_line(note)


def jams(content: bytes) -> None:
    """Beats beside a record, as JAMS."""
    _beats(_filled(_JAMS.name, content))


def table(content: bytes) -> None:
    """Beats beside a record, as a plain table."""
    _beats(_filled(_TABLE.name, content))


def book(content: bytes) -> None:
    """A book somebody has edited: what it says is printed, searched, and written as JSON."""
    try:
        entries = book_at(_filled(_BOOK.name, content))
    except UsageError as error:
        _one_line(str(error))
        return
    assert set(keepers(entries)) <= set(entries)
    assert found(entries, []) == entries
    assert not _GARBLING.search(book_text(entries).replace("\n", ""))
    assert len(json.loads(book_json(entries))) == len(entries)


def bookkeeping(content: bytes) -> None:
    """Ratings go into a book as somebody has edited it: once, and nothing that stood there is lost."""
    text, _, note = (part.decode("utf-8", "replace") for part in content.partition(PARTS))
    try:
        before = read_book(text)
    except BadBook as error:
        _one_line(error.wrong)
        _one_line(error.right)
        return
    names = dict.fromkeys(["lanterns", *(entry.clip for entry in before[:2])])
    one = Ballot("Mara", NOW, tuple(Rated(name, "works", note, PCM) for name in names))
    clips = {"lanterns": Rendered(note, ("lanterns", note), PCM)}
    try:
        after = merged(text, [one], clips).text
    except BadBook as error:
        _one_line(error.wrong)
        _one_line(error.right)
        return
    assert merged(after, [one], clips).text == after
    said = {entry.clip: entry for entry in read_book(after)}
    for entry in before:
        assert set(entry.ratings) <= set(said[entry.clip].ratings)
        assert (entry.title, entry.notes, entry.tags) == (
            said[entry.clip].title,
            said[entry.clip].notes,
            said[entry.clip].tags,
        )


TARGETS: dict[str, Callable[[bytes], None]] = {
    target.__name__: target
    for target in (recipe, plan, position, ballot, share, jams, table, book, bookkeeping)
}
