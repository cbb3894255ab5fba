"""The book: what works, who said so and when; read from YAML that people edit.

    book: 1
    clips:
      lanterns-over-ironworks--both-drop:
        title: Lanterns over Ironworks
        tracks: [lanterns, ironworks]
        verdict: works                # by hand; left out, the listeners' last words decide
        tags: [opener]
        notes: after midnight only
        ratings:
          - {when: 2031-05-04 21:30:00 UTC, who: Mara, verdict: almost, pcm: 0a1b2c3d4e5f, note: two voices}

What counts is the last word of each listener. Where as many say one thing as another, the more careful one stands.
"""

import difflib
import io
import json
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from render.publish.ballots import PCM_DIGITS, VERDICTS, Verdict
from render.publish.lettering import cleaned
from render.recipe.syntax import explained

BOOK_VERSION = 1
NAMELESS = "somebody"
"""How a listener without a name is told of."""

_TOP_KEYS = ("book", "clips")
_ENTRY_KEYS = ("title", "tracks", "verdict", "tags", "notes", "ratings")
_RATING_KEYS = ("when", "who", "verdict", "pcm", "note")
_T_OF_TIMES = re.compile(r"(?<=^\d{4}-\d\d-\d\d)T")
_WHEN = re.compile(r"\d{4}-\d\d-\d\d(?!\d).*")


class BadBook(Exception):
    """A text that is not a book. Line and column count from 1."""

    def __init__(self, line: int, column: int, wrong: str, right: str) -> None:
        super().__init__(line, column, wrong, right)
        self.line, self.column, self.wrong, self.right = line, column, wrong, right


@dataclass(frozen=True)
class Rating:
    """What somebody said, and when. `pcm` tells which rendering was heard; empty where it was written by hand."""

    when: str
    who: str
    verdict: Verdict
    note: str = ""
    pcm: str = ""


@dataclass(frozen=True)
class Entry:
    """What is known of one clip. `stated` is the performer's own verdict, written by hand."""

    clip: str
    title: str
    tracks: tuple[str, ...]
    stated: Verdict | None
    tags: tuple[str, ...]
    notes: str
    ratings: tuple[Rating, ...]

    @property
    def last_words(self) -> dict[str, Rating]:
        """Of each listener the latest rating; of two at the same moment the one that stands first."""
        last: dict[str, Rating] = {}
        for rating in sorted(self.ratings, key=lambda one: one.when, reverse=True):
            last.setdefault(rating.who, rating)
        return last

    @property
    def verdict(self) -> Verdict | None:
        """What the performer stated, else what most listeners say; None where nobody said anything."""
        if self.stated:
            return self.stated
        counts = Counter(rating.verdict for rating in self.last_words.values())
        if not counts:
            return None
        careful_first: list[Verdict] = list(reversed(VERDICTS))
        return max(careful_first, key=counts.__getitem__)


Book = tuple[Entry, ...]


def keepers(book: Book) -> Book:
    """What works."""
    return tuple(entry for entry in book if entry.verdict == "works")


def found(book: Book, words: Iterable[str]) -> Book:
    """The entries in which every word occurs: as a verdict, a tag, a track, or within any text of it.

    A word that is a verdict means the verdict.
    """
    wanted = [word.casefold() for word in words]
    return tuple(entry for entry in book if all(_says(entry, word) for word in wanted))


def _says(entry: Entry, word: str) -> bool:
    if word in VERDICTS:
        return entry.verdict == word
    said = [text for rating in entry.ratings for text in (rating.who, rating.note)]
    return any(
        word in text.casefold()
        for text in (entry.clip, entry.title, *entry.tracks, *entry.tags, entry.notes, *said)
    )


def book_text(book: Book) -> str:
    """The book for people: a line for each clip, and below it what was said; ends without a line break."""
    return "\n".join(line for entry in book for line in _lines(entry))


def book_json(book: Book) -> str:
    data = [
        {
            "clip": entry.clip,
            "title": entry.title,
            "tracks": list(entry.tracks),
            "verdict": entry.verdict,
            "stated": entry.stated is not None,
            "tags": list(entry.tags),
            "notes": entry.notes,
            "ratings": [
                {"when": r.when, "who": r.who, "verdict": r.verdict, "pcm": r.pcm, "note": r.note}
                for r in entry.ratings
            ],
        }
        for entry in book
    ]
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


def _lines(entry: Entry) -> list[str]:
    tags = f"  [{', '.join(map(cleaned, entry.tags))}]" if entry.tags else ""
    own = "  (your own word)" if entry.stated else ""
    lines = [f"{entry.verdict or '-':<9} {cleaned(entry.clip)}  {cleaned(entry.title)}{tags}{own}"]
    if entry.notes:
        lines.append(f"{'':<9} {cleaned(entry.notes)}")
    for rating in sorted(entry.ratings, key=lambda one: one.when, reverse=True):
        who, note = cleaned(rating.who) or NAMELESS, f": {cleaned(rating.note)}" if rating.note else ""
        lines.append(f"{'':<9}   {rating.when[:10]:<10}  {rating.verdict:<6}  {who}{note}")
    return lines


def parsed(text: str) -> Any:
    """A book's YAML as ruamel keeps it, with comments; None for an empty text. Raises BadBook."""
    try:
        return round_trip().load(io.StringIO(text))
    except MarkedYAMLError as error:
        said = explained(error)
        mark = (error.context_mark if said.at_opening else None) or error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        if "duplicate key" in str(error.problem):
            raise BadBook(line, column, "a key that stands above already", "put both into one") from error
        raise BadBook(line, column, said.wrong, said.right) from error
    except (YAMLError, ValueError, RecursionError) as error:
        raise BadBook(1, 1, "this is not YAML", "write `book: 1`, then `clips:`") from error


def round_trip() -> YAML:
    """YAML that keeps comments, quotes and the order of keys, with a rating on one line however long it is."""
    yaml = YAML()
    yaml.preserve_quotes = True
    yaml.width = 2**20
    yaml.indent(mapping=2, sequence=4, offset=2)
    return yaml


def read_book(text: str) -> Book:
    """The entries of a book; none of an empty text. Raises BadBook for the first thing that is wrong."""
    return entries_of(parsed(text))


def entries_of(data: Any) -> Book:
    """The entries of a book that was parsed. Raises BadBook."""
    if data is None:
        return ()
    if not isinstance(data, dict) or data.get("book") != BOOK_VERSION or data["book"] is True:
        raise BadBook(1, 1, "this is not a book of ratings", f"a book begins with `book: {BOOK_VERSION}`")
    _refuse_unknown(data, _TOP_KEYS)
    clips = data.get("clips")
    if clips is None:
        return ()
    if not isinstance(clips, dict):
        raise _bad(data, "clips", "these are no clips by name", "write `NAME:` and below it what is known")
    return tuple(_entry(clips, name) for name in clips)


def _entry(clips: Any, name: Any) -> Entry:
    data = clips[name]
    if not isinstance(name, str):
        raise _bad_key(clips, name, "a clip's name that is no text", "put it in quotes")
    if data is None:
        data = {}
    if not isinstance(data, dict):
        raise _bad(clips, name, "nothing is known here by name", "write `title:`, `tags:`, `notes:` below it")
    _refuse_unknown(data, _ENTRY_KEYS)
    written = data.get("ratings")
    ratings: list[Any] = [] if written is None else written
    if not isinstance(ratings, list):
        raise _bad(data, "ratings", "the ratings are no list", "write each on a line that begins with `- `")
    return Entry(
        clip=name,
        title=_text(data, "title"),
        tracks=_texts(data, "tracks"),
        stated=_verdict(data) if data.get("verdict") is not None else None,
        tags=_texts(data, "tags"),
        notes=_text(data, "notes"),
        ratings=tuple(_rating(ratings, index) for index in range(len(ratings))),
    )


def _rating(ratings: Any, index: int) -> Rating:
    data = ratings[index]
    if not isinstance(data, dict):
        raise _bad(ratings, index, "this is no rating", "write {when: 2031-05-04, who: Mara, verdict: works}")
    _refuse_unknown(data, _RATING_KEYS)
    if data.get("verdict") is None:
        raise _bad(ratings, index, "this rating has no verdict", f"write one of {', '.join(VERDICTS)}")
    pcm = data.get("pcm")
    if pcm is not None and not isinstance(pcm, str):
        raise _bad(data, "pcm", "this is a number", f"put the {PCM_DIGITS} digits in quotes")
    when = _T_OF_TIMES.sub(" ", _text(data, "when"))  # moments sort as texts
    if when and not _WHEN.fullmatch(when):
        raise _bad(data, "when", f"{_shown(when)} is no date", "write it as in 2031-05-04")
    return Rating(when, _text(data, "who"), _verdict(data), _text(data, "note"), str(pcm or ""))


def _verdict(data: Any) -> Verdict:
    for verdict in VERDICTS:
        if data["verdict"] == verdict:
            return verdict
    wrong = f"{_shown(data['verdict'])} is no verdict"
    raise _bad(data, "verdict", wrong, f"write one of {', '.join(VERDICTS)}")


def _text(data: Any, key: str) -> str:
    """A text that may be left out; a number or a date counts as it is written."""
    value = data.get(key)
    if value is None:
        return ""
    if isinstance(value, dict | list):
        raise _bad(data, key, f"`{key}` is more than one text", "put it in quotes")
    return str(value)


def _texts(data: Any, key: str) -> tuple[str, ...]:
    value = data.get(key)
    if value is None:
        return ()
    if not isinstance(value, list):
        value = [value]
    if any(isinstance(one, dict | list) or one is None for one in value):
        raise _bad(data, key, f"`{key}` is no list of words", f"write {key}: [one, another]")
    return tuple(map(str, value))


def _refuse_unknown(data: Any, known: Sequence[str]) -> None:
    for key in data:
        if key not in known:
            close = difflib.get_close_matches(str(key), known, n=1)
            right = f"did you mean '{close[0]}'?" if close else f"what can stand here: {', '.join(known)}"
            raise _bad_key(data, key, f"no key is called {_shown(key)}", right)


def _shown(value: Any) -> str:
    return f"'{cleaned(str(value))[:32]}'"


def _bad(data: Any, key: Any, wrong: str, right: str) -> BadBook:
    """At the value of a key, or at an entry of a list."""
    return _at(data, data.lc.item if isinstance(key, int) else data.lc.value, key, wrong, right)


def _bad_key(data: Any, key: Any, wrong: str, right: str) -> BadBook:
    return _at(data, data.lc.key, key, wrong, right)


def _at(data: Any, place: Callable[[Any], tuple[int, int]], key: Any, wrong: str, right: str) -> BadBook:
    try:
        line, column = place(key)
    except (KeyError, TypeError):  # what an alias or a merge brings here was not written here
        line, column = data.lc.line, data.lc.col
    return BadBook(line + 1, column + 1, wrong, right)
