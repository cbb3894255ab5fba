"""Ballots into the book's text: what is new is written in, and everything else stays as somebody wrote it.

Within a clip new ratings stand above the older ones, a new clip stands below the others. That is also how comments
keep their places: YAML's round trip counts a comment to what stands above it.
"""

import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from ruamel.yaml.comments import CommentedMap, CommentedSeq

from render.publish.ballots import Ballot, Rated
from render.publish.book import (
    BOOK_VERSION,
    BadBook,
    Entry,
    Rating,
    entries_of,
    parsed,
    read_book,
    round_trip,
)

EMPTY_BOOK = f"""\
# What works, and who said so. Edit it as you like: what you write stays, comments too.
# `verdict:` below a clip is your own word and outweighs everybody's; `tags:` and `notes:` are yours as well.
book: {BOOK_VERSION}
clips:
"""
Part = TypeVar("Part", CommentedMap, CommentedSeq)

_BYTE_ORDER_MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"
_COMMENT = re.compile(r"(?:^|\s)(#.*\S)", re.MULTILINE)


@dataclass(frozen=True)
class Rendered:
    """What a clip is called and made of, and the SHA-256 of its sound as it is now."""

    title: str
    tracks: tuple[str, ...]
    pcm_sha256: str


@dataclass
class Tally:
    """What came of one ballot, in numbers of ratings; `unknown` are clips that nobody here made."""

    new: int = 0
    known: int = 0
    earlier: int = 0
    """Of the new ones, those of a clip that sounds different by now."""
    unknown: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Merged:
    """The book's text with the ballots in it, and a tally for each ballot in their order."""

    text: str
    tallies: tuple[Tally, ...]


def merged(text: str, ballots: Sequence[Ballot], clips: Mapping[str, Rendered]) -> Merged:
    """Ballots merged into a book's text; the same text where they say nothing new.

    Known clips are those in the book and those in `clips`. Raises BadBook where the text is none, and where a comment
    stands where it could not be kept.
    """
    plain = text.removeprefix(_BYTE_ORDER_MARK).replace("\r\n", "\n")
    if parsed(plain) is None:
        plain += EMPTY_BOOK if not plain or plain.endswith("\n") else f"\n{EMPTY_BOOK}"
    data = parsed(plain)
    book = {entry.clip: entry for entry in entries_of(data)}
    ratings = {clip: list(entry.ratings) for clip, entry in book.items()}
    added: dict[str, list[Rating]] = {}
    tallies = []
    for ballot in ballots:
        tally = Tally()
        tallies.append(tally)
        for rated in ballot.ratings:
            if rated.clip not in book and rated.clip not in clips:
                tally.unknown.append(rated.clip)
                continue
            rating = _rating(ballot, rated)
            said = ratings.setdefault(rated.clip, [])
            if _repeats(said, rating):
                tally.known += 1
                continue
            said.insert(0, rating)
            added.setdefault(rated.clip, []).insert(0, rating)
            tally.new += 1
            now = clips.get(rated.clip)
            tally.earlier += now is not None and not now.pcm_sha256.startswith(rated.pcm)
    if not added:
        return Merged(text, tuple(tallies))
    _write_in(data, added, clips)
    wanted = [
        *(_with(entry, tuple(ratings[clip])) for clip, entry in book.items()),
        *(_fresh(clip, ratings[clip], clips[clip]) for clip in added if clip not in book),
    ]
    written = _dumped(data, plain, tuple(wanted))
    if "\r\n" in text:
        written = written.replace("\n", "\r\n")
    mark = _BYTE_ORDER_MARK if text.startswith(_BYTE_ORDER_MARK) else ""
    return Merged(mark + written, tuple(tallies))


def _rating(ballot: Ballot, rated: Rated) -> Rating:
    when = f"{ballot.made:%Y-%m-%d %H:%M:%S} UTC"
    return Rating(when, ballot.listener, rated.verdict, rated.note, rated.pcm)


def _repeats(said: Iterable[Rating], rating: Rating) -> bool:
    """Whether a rating is there already, or says what the same listener had said last by then."""
    before = [one for one in said if one.who == rating.who and one.when <= rating.when]
    if rating in before:
        return True
    last = max(before, key=lambda one: one.when, default=None)
    return last is not None and (last.verdict, last.note, last.pcm) == (
        rating.verdict,
        rating.note,
        rating.pcm,
    )


def _write_in(
    data: CommentedMap, added: Mapping[str, Sequence[Rating]], clips: Mapping[str, Rendered]
) -> None:
    if data.get("clips") is None:
        data["clips"] = CommentedMap()
    entries = data["clips"]
    for clip, ratings in added.items():
        if clip not in entries:
            known = clips[clip]
            entries[clip] = CommentedMap(title=known.title, tracks=_in_a_line(CommentedSeq(known.tracks)))
            entries[clip]["ratings"] = CommentedSeq()
        elif entries[clip] is None:
            entries[clip] = CommentedMap(ratings=CommentedSeq())
        entry = entries[clip]
        if entry.get("ratings") is None:
            entry.pop("ratings", None)
            entry.insert(max(len(entry) - 1, 0), "ratings", CommentedSeq())
        for rating in reversed(ratings):
            entry["ratings"].insert(0, _row(rating))


def _row(rating: Rating) -> CommentedMap:
    row = CommentedMap(when=rating.when)
    if rating.who:
        row["who"] = rating.who
    row["verdict"] = rating.verdict
    row["pcm"] = rating.pcm
    if rating.note:
        row["note"] = rating.note
    return _in_a_line(row)


def _in_a_line(part: Part) -> Part:
    part.fa.set_flow_style()
    return part


def _with(entry: Entry, ratings: tuple[Rating, ...]) -> Entry:
    return Entry(entry.clip, entry.title, entry.tracks, entry.stated, entry.tags, entry.notes, ratings)


def _fresh(clip: str, ratings: Sequence[Rating], known: Rendered) -> Entry:
    return Entry(clip, known.title, known.tracks, None, (), "", tuple(ratings))


def _dumped(data: CommentedMap, source: str, wanted: tuple[Entry, ...]) -> str:
    """The text of what was parsed from `source` and added to. Raises BadBook where it would not say all of it."""
    file = io.StringIO()
    round_trip().dump(data, file)
    text = file.getvalue()
    for comment in _COMMENT.finditer(source):
        if text.count(comment[1]) < source.count(comment[1]):
            line = source.count("\n", 0, comment.start(1)) + 1
            column = comment.start(1) - source.rfind("\n", 0, comment.start(1))
            wrong = "this comment would be lost where it stands"
            raise BadBook(line, column, wrong, "move it to a line of its own above a clip or a rating")
    if read_book(text) != wanted:
        wrong = "ratings cannot be added without changing what stands here"
        raise BadBook(1, 1, wrong, "write it without anchors, aliases and merges")
    return text
