"""The book's YAML to its entries, with the place of everything in it.

Everything in a book is text: the YAML parser's nodes are taken as they are written, so no date, `no` or `0123` becomes
anything else.
"""

import difflib
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from render.publish.ballots import VERDICTS, Verdict
from render.publish.book import Book, Entry, Rating
from render.publish.lettering import cleaned
from render.recipe.syntax import explained

BOOK_VERSION = 1
MAX_DEPTH = 16
"""The format needs six levels; where thousands are opened on one line, the parser needs seconds to give up."""
BYTE_ORDER_MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"

_TOP_KEYS = ("book", "clips")
_ENTRY_KEYS = ("title", "tracks", "verdict", "tags", "notes", "ratings")
_RATING_KEYS = ("when", "who", "verdict", "pcm", "note")
_WHEN = re.compile(r"\d{4}-\d\d-\d\d(?!\d).*")
_T_OF_TIMES = re.compile(r"(?<=^\d{4}-\d\d-\d\d)T")
_NULL = re.compile("~|null|Null|NULL|")


class BadBook(Exception):
    """A text that is not a book. Line and column count from 1."""

    def __init__(self, line: int, column: int, wrong: str, right: str) -> None:
        super().__init__(line, column, wrong, right)
        self.line, self.column, self.wrong, self.right = line, column, wrong, right


Keys = dict[str, tuple[Node, Node]]
"""The nodes of a mapping's keys and values, by key."""


@dataclass(frozen=True)
class ReadBook:
    """A book's entries, and its nodes for whoever writes into its text.

    `top` has the book's own keys, `clips` the clips by name, and `parts` the keys of each clip.
    """

    entries: Book = ()
    top: Keys = field(default_factory=dict)
    clips: Keys = field(default_factory=dict)
    parts: dict[str, Keys] = field(default_factory=dict)


def read_book(text: str) -> Book:
    """The entries of a book; none of an empty text. Raises BadBook for the first thing that is wrong."""
    return read_nodes(text.removeprefix(BYTE_ORDER_MARK)).entries


def read_nodes(text: str) -> ReadBook:
    """A book's text, read; nothing of an empty one. Raises BadBook."""
    root = _composed(text)
    if root is None or is_nothing(root):
        return ReadBook()
    begin = f"a book begins with `book: {BOOK_VERSION}`"
    if not isinstance(root, MappingNode):
        raise BadBook(1, 1, "this is not a book of ratings", begin)
    top = _keys(root)
    if "book" not in top or top["book"][1].value != str(BOOK_VERSION):
        raise BadBook(1, 1, "this is not a book of ratings", begin)
    _refuse_unknown(top, _TOP_KEYS)
    clips = _mapping(top, "clips", "these are no clips by name", "write `NAME:` and below it what is known")
    parts = {
        name: _mapping(
            clips, name, "nothing is known here by name", "write `title:`, `tags:`, `notes:` below it"
        )
        for name in clips
    }
    return ReadBook(tuple(_entry(name, keys) for name, keys in parts.items()), top, clips, parts)


def is_nothing(node: Node) -> bool:
    """Whether a value was left out, or is YAML's null."""
    return isinstance(node, ScalarNode) and not node.style and bool(_NULL.fullmatch(node.value))


def _composed(text: str) -> Node | None:
    reader = YAML(typ="safe", pure=True)
    reader.max_depth = MAX_DEPTH
    try:
        node: Node | None = reader.compose(io.StringIO(text))
    except MarkedYAMLError as error:
        said = explained(error)
        mark = (error.context_mark if said.at_opening else None) or error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        raise BadBook(line, column, said.wrong, said.right) from error
    except (YAMLError, ValueError, OverflowError, RecursionError) as error:
        # Strange characters, an escape beyond all of them, or nested without end.
        raise BadBook(1, 1, "this is not YAML", "write `book: 1`, then `clips:`") from error
    return node


def _keys(mapping: MappingNode) -> Keys:
    keys: Keys = {}
    for key, value in mapping.value:
        if not isinstance(key, ScalarNode):
            raise _bad(key, "a key that is not a plain word", "write `name: value`")
        if key.value in keys:
            raise _bad(key, f"{_shown(key.value)} stands above already", "put both into one")
        keys[key.value] = (key, value)
    return keys


def _mapping(keys: Keys, key: str, wrong: str, right: str) -> Keys:
    """The keys of a value; none where it was left out."""
    if key not in keys or is_nothing(keys[key][1]):
        return {}
    value = keys[key][1]
    if not isinstance(value, MappingNode):
        raise _bad(value, wrong, right)
    return _keys(value)


def _entry(name: str, keys: Keys) -> Entry:
    _refuse_unknown(keys, _ENTRY_KEYS)
    ratings: Sequence[Node] = ()
    if "ratings" in keys and not is_nothing(written := keys["ratings"][1]):
        if not isinstance(written, SequenceNode):
            raise _bad(written, "the ratings are no list", "write each on a line that begins with `- `")
        ratings = written.value
    return Entry(
        clip=name,
        title=_text(keys, "title"),
        tracks=_texts(keys, "tracks"),
        stated=_verdict(keys),
        tags=_texts(keys, "tags"),
        notes=_text(keys, "notes"),
        ratings=tuple(map(_rating, ratings)),
    )


def _rating(node: Node) -> Rating:
    if not isinstance(node, MappingNode):
        raise _bad(node, "this is no rating", "write {when: 2031-05-04, who: Mara, verdict: works}")
    keys = _keys(node)
    _refuse_unknown(keys, _RATING_KEYS)
    verdict = _verdict(keys)
    if verdict is None:
        raise _bad(node, "this rating has no verdict", f"write one of {', '.join(VERDICTS)}")
    when = _T_OF_TIMES.sub(" ", _text(keys, "when"))  # moments sort as texts
    if when and not _WHEN.fullmatch(when):
        raise _bad(keys["when"][1], f"{_shown(when)} is no date", "write it as in 2031-05-04")
    return Rating(when, _text(keys, "who"), verdict, _text(keys, "note"), _text(keys, "pcm"))


def _verdict(keys: Keys) -> Verdict | None:
    written = _text(keys, "verdict")
    for verdict in VERDICTS:
        if written == verdict:
            return verdict
    if not written:
        return None
    raise _bad(keys["verdict"][1], f"{_shown(written)} is no verdict", f"write one of {', '.join(VERDICTS)}")


def _text(keys: Keys, key: str) -> str:
    """A text as it is written; an empty one where it was left out."""
    if key not in keys or is_nothing(value := keys[key][1]):
        return ""
    if not isinstance(value, ScalarNode):
        raise _bad(value, f"`{key}` is more than one text", "put it in quotes")
    return str(value.value)


def _texts(keys: Keys, key: str) -> tuple[str, ...]:
    """A list of words, or a single one."""
    if key not in keys or is_nothing(value := keys[key][1]):
        return ()
    words = value.value if isinstance(value, SequenceNode) else [value]
    if not all(isinstance(word, ScalarNode) for word in words):
        raise _bad(value, f"`{key}` is no list of words", f"write {key}: [one, another]")
    return tuple(str(word.value) for word in words)


def _refuse_unknown(keys: Keys, known: Sequence[str]) -> None:
    for key, (node, _) in keys.items():
        if key not in known:
            close = difflib.get_close_matches(key, known, n=1)
            right = f"did you mean '{close[0]}'?" if close else f"what can stand here: {', '.join(known)}"
            raise _bad(node, f"no key is called {_shown(key)}", right)


def _shown(text: str) -> str:
    return f"'{cleaned(text)[:32]}'"


def _bad(node: Node, wrong: str, right: str) -> BadBook:
    return BadBook(node.start_mark.line + 1, node.start_mark.column + 1, wrong, right)
