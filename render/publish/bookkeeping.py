"""Ballots into the book's text: lines are added to it, and no other character of it changes.

Within a clip new ratings stand above the older ones; a new clip stands below the others. What was written is read once
more before it is handed on, and has to say exactly what the book said before and the ballots say.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from ruamel.yaml.nodes import MappingNode, Node, SequenceNode

from render.publish.ballots import Ballot
from render.publish.book import Entry, Rating
from render.publish.book_yaml import (
    BOOK_VERSION,
    BYTE_ORDER_MARK,
    BadBook,
    ReadBook,
    is_nothing,
    read_book,
    read_nodes,
)
from render.publish.lettering import cleaned

EMPTY_BOOK = f"""\
# What works, and who said so. Edit it as you like: what you write stays, comments too.
# `verdict:` below a clip is your own word and outweighs everybody's; `tags:` and `notes:` are yours as well.
book: {BOOK_VERSION}
clips:
"""
INDENT = 2
_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9]*([ ._-]{1,2}[A-Za-z0-9]+)*")
_NOT_PLAIN = ("null", "true", "false", "yes", "no", "on", "off", "y", "n")
"""Words that some version of YAML takes for something else than text."""
_END_OF_DOCUMENT = re.compile(r"^\.\.\.", re.MULTILINE)
_NO_NODES: tuple[Node | None, Node | None] = (None, None)


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


@dataclass(frozen=True)
class _Insertion:
    at: int
    text: str


def merged(text: str, ballots: Sequence[Ballot], clips: Mapping[str, Rendered]) -> Merged:
    """Ballots merged into a book's text; the same text where they say nothing new.

    Known clips are those in the book and those in `clips`. Raises BadBook where the text is none, and where nothing can
    be added to it as it is written.
    """
    plain = text.removeprefix(BYTE_ORDER_MARK).replace("\r\n", "\n")
    read = read_nodes(plain)
    if not read.top:
        plain += EMPTY_BOOK if not plain or plain.endswith("\n") else f"\n{EMPTY_BOOK}"
        read = read_nodes(plain)
    added, tallies = _new_ratings(read, ballots, clips)
    if not added:
        return Merged(text, tallies)
    fresh = {
        clip: Entry(clip, cleaned(known.title), known.tracks, None, (), "", ())
        for clip, known in clips.items()
        if clip in added and clip not in read.clips
    }
    written = _inserted(plain, _insertions(plain, read, added, fresh))
    wanted = tuple(
        replace(entry, ratings=(*added.get(entry.clip, ()), *entry.ratings))
        for entry in (*read.entries, *(fresh[clip] for clip in added if clip in fresh))
    )
    if read_book(written) != wanted:
        wrong = "ratings cannot be added without changing what stands here"
        raise BadBook(1, 1, wrong, "write it without anchors, aliases and tags, a key on each line")
    if "\r\n" in text:
        written = written.replace("\n", "\r\n")
    mark = BYTE_ORDER_MARK if text.startswith(BYTE_ORDER_MARK) else ""
    return Merged(mark + written, tallies)


def _new_ratings(
    read: ReadBook, ballots: Sequence[Ballot], clips: Mapping[str, Rendered]
) -> tuple[dict[str, list[Rating]], tuple[Tally, ...]]:
    """By clip what is not in the book yet, the last one first."""
    said = {entry.clip: set(entry.ratings) for entry in read.entries}
    added: dict[str, list[Rating]] = {}
    tallies = []
    for ballot in ballots:
        tallies.append(tally := Tally())
        when = f"{ballot.made:%Y-%m-%d %H:%M:%S} UTC"
        for rated in ballot.ratings:
            now = clips.get(rated.clip)
            rating = Rating(when, ballot.listener, rated.verdict, rated.note, rated.pcm)
            if now is None and rated.clip not in read.clips:
                tally.unknown.append(rated.clip)
            elif rating in said.setdefault(rated.clip, set()):
                tally.known += 1
            else:
                said[rated.clip].add(rating)
                added.setdefault(rated.clip, []).insert(0, rating)
                tally.new += 1
                tally.earlier += now is not None and not now.pcm_sha256.startswith(rated.pcm)
    return added, tuple(tallies)


def _insertions(
    text: str, read: ReadBook, added: Mapping[str, Sequence[Rating]], fresh: Mapping[str, Entry]
) -> list[_Insertion]:
    insertions = [_into_entry(text, read, clip, rows) for clip, rows in added.items() if clip not in fresh]
    if new := [(fresh[clip], rows) for clip, rows in added.items() if clip in fresh]:
        insertions.append(_new_entries(text, read, new))
    return insertions


def _into_entry(text: str, read: ReadBook, clip: str, ratings: Sequence[Rating]) -> _Insertion:
    key, entry = read.clips[clip]
    parts = read.parts[clip]
    rows = [_row(rating) for rating in ratings]
    if "ratings" in parts and not is_nothing(parts["ratings"][1]):
        return _into_list(text, parts["ratings"][1], rows)
    if "ratings" in parts:
        key = parts["ratings"][0]
        return _Insertion(_line_after(text, key), _listed(rows, key.start_mark.column + INDENT))
    if is_nothing(entry):
        column = key.start_mark.column + INDENT
        return _Insertion(_line_after(text, key), _under("ratings", rows, column))
    if _in_braces(text, entry):
        return _within(entry, f"ratings: [{', '.join(rows)}]")
    return _Insertion(_line_after(text, entry), _under("ratings", rows, entry.start_mark.column))


def _into_list(text: str, ratings: Node, rows: Sequence[str]) -> _Insertion:
    if _in_braces(text, ratings):
        return _within(ratings, ", ".join(rows))
    at = _line_start(text, ratings.start_mark.index)
    return _Insertion(at, _listed(rows, ratings.start_mark.column))


def _new_entries(text: str, read: ReadBook, new: Sequence[tuple[Entry, Sequence[Rating]]]) -> _Insertion:
    """Below all clips: where they are the last of the file, below the comments at its end too."""
    key, clips = read.top.get("clips", _NO_NODES)
    if clips is not None and _in_braces(text, clips):
        return _within(clips, ", ".join(_entry_in_braces(entry, ratings) for entry, ratings in new))
    column = clips.start_mark.column if read.clips and clips else INDENT
    block = "".join(_entry_block(entry, ratings, column) for entry, ratings in new)
    if key is None or clips is None:
        return _Insertion(_line_after(text, list(read.top.values())[-1][1]), f"clips:\n{block}")
    if list(read.top)[-1] == "clips" and not _END_OF_DOCUMENT.search(text):
        return _Insertion(len(text), block)
    return _Insertion(_line_after(text, key if is_nothing(clips) else clips), block)


def _entry_block(entry: Entry, ratings: Sequence[Rating], column: int) -> str:
    inner = column + INDENT
    lines = [
        f"{' ' * column}{_scalar(entry.clip)}:",
        f"{' ' * inner}title: {_scalar(entry.title)}",
        f"{' ' * inner}tracks: [{', '.join(map(_scalar, entry.tracks))}]",
    ]
    return "\n".join(lines) + "\n" + _under("ratings", [_row(rating) for rating in ratings], inner)


def _entry_in_braces(entry: Entry, ratings: Sequence[Rating]) -> str:
    tracks, rows = ", ".join(map(_scalar, entry.tracks)), ", ".join(map(_row, ratings))
    return f"{_scalar(entry.clip)}: {{title: {_scalar(entry.title)}, tracks: [{tracks}], ratings: [{rows}]}}"


def _under(key: str, rows: Sequence[str], column: int) -> str:
    return f"{' ' * column}{key}:\n{_listed(rows, column + INDENT)}"


def _listed(rows: Sequence[str], column: int) -> str:
    return "".join(f"{' ' * column}- {row}\n" for row in rows)


def _row(rating: Rating) -> str:
    who = f", who: {_scalar(rating.who)}" if rating.who else ""
    note = f", note: {_scalar(rating.note)}" if rating.note else ""
    return f'{{when: {rating.when}{who}, verdict: {rating.verdict}, pcm: "{rating.pcm}"{note}}}'


def _scalar(text: str) -> str:
    """A text as YAML: plain where nobody could take it for something else, else in double quotes (YAML 1.2.2, 7.3)."""
    if _PLAIN.fullmatch(text) and text.lower() not in _NOT_PLAIN:
        return text
    return f'"{"".join(map(_quotable, text))}"'


def _quotable(sign: str) -> str:
    if sign in '"\\':
        return f"\\{sign}"
    return sign if sign.isprintable() else f"\\U{ord(sign):08x}"


def _in_braces(text: str, node: Node) -> bool:
    return isinstance(node, MappingNode | SequenceNode) and text[node.start_mark.index] in "{["


def _within(node: Node, content: str) -> _Insertion:
    """Behind the opening bracket."""
    return _Insertion(node.start_mark.index + 1, content + (", " if node.value else ""))


def _line_start(text: str, index: int) -> int:
    return text.rfind("\n", 0, index) + 1


def _line_after(text: str, node: Node) -> int:
    """Where the line begins that follows a node's last one; of text below `|` or `>` the last that is not empty."""
    last = node
    while isinstance(last, MappingNode | SequenceNode) and last.value and not _in_braces(text, last):
        last = last.value[-1][1] if isinstance(last, MappingNode) else last.value[-1]
    end: int = last.end_mark.index
    if text[end - 1 : end] == "\n":
        keeps_all = "+" in text[last.start_mark.index : text.find("\n", last.start_mark.index)]
        return end if keeps_all else len(text[:end].rstrip()) + 1
    found = text.find("\n", end)
    return len(text) if found < 0 else found + 1


def _inserted(text: str, insertions: Sequence[_Insertion]) -> str:
    for one in sorted(insertions, key=lambda one: one.at, reverse=True):
        before, after = text[: one.at], text[one.at :]
        line_end = "\n" if one.text.endswith("\n") and before and not before.endswith("\n") else ""
        text = f"{before}{line_end}{one.text}{after}"
    return text
