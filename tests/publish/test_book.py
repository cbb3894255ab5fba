"""The book as people write it, and what it says."""

import json
import time

import pytest

from render.publish.book import Rating, book_json, book_text, found, keepers
from render.publish.book_yaml import BadBook, read_book

BOOK = """\
# What works
book: 1
clips:
  lanterns-over-ironworks:
    title: Lanterns over Ironworks
    tracks: [lanterns, ironworks]
    tags: [opener, Long Night]
    notes: after midnight only
    ratings:
      - {when: 2031-05-04 21:30:00 UTC, who: Mara, verdict: works, pcm: 0a1b2c3d4e5f, note: "goosebumps: yes"}
      - {when: 2031-05-01, who: Mara, verdict: no}
      - {when: 2031-05-02T08:00:00Z, who: Oke, verdict: works}
  half-time:
    title: Half-time Wickergauge
    verdict: no
    ratings:
      - {when: 2031-05-04, who: Mara, verdict: works}
      - {when: 2031-05-04, who: Oke, verdict: works}
  tied:
    ratings:
      - {who: Mara, verdict: works}
      - {who: Oke, verdict: almost}
  unheard: {title: Nobody rated this, tags: later}
  named-only:
"""


def verdicts(text: str) -> dict[str, str | None]:
    return {entry.clip: entry.verdict for entry in read_book(text)}


def names(*words: str) -> list[str]:
    return [entry.clip for entry in found(read_book(BOOK), words)]


def test_the_last_word_of_each_listener_counts_and_the_performer_s_own_above_all() -> None:
    assert verdicts(BOOK) == {
        "lanterns-over-ironworks": "works",
        "half-time": "no",
        "tied": "almost",
        "unheard": None,
        "named-only": None,
    }
    assert [entry.clip for entry in keepers(read_book(BOOK))] == ["lanterns-over-ironworks"]


@pytest.mark.parametrize(
    ("said", "stands"),
    [
        (("works", "works", "no"), "works"),
        (("almost", "no", "almost"), "almost"),
        (("works", "no"), "no"),
        (("works", "almost"), "almost"),
        (("works", "almost", "no"), "no"),
        (("works", "works", "almost", "almost", "no"), "almost"),
    ],
    ids=lambda value: value if isinstance(value, str) else " ".join(value),
)
def test_what_most_listeners_say_counts_and_of_a_tie_the_more_careful(
    said: tuple[str, ...], stands: str
) -> None:
    ratings = ", ".join(f"{{who: listener {n}, verdict: {verdict}}}" for n, verdict in enumerate(said))
    assert verdicts(f"book: 1\nclips: {{a: {{ratings: [{ratings}]}}}}") == {"a": stands}


def test_who_said_it_twice_at_the_same_moment_said_what_stands_first() -> None:
    rows = "[{when: 2031-05-04, who: Mara, verdict: no}, {when: 2031-05-04, who: Mara, verdict: works}]"
    assert verdicts(f"book: 1\nclips: {{a: {{ratings: {rows}}}}}") == {"a": "no"}


def test_ratings_are_read_as_they_are_written() -> None:
    first, second, third = read_book(BOOK)[0].ratings
    assert first == Rating("2031-05-04 21:30:00 UTC", "Mara", "works", "goosebumps: yes", "0a1b2c3d4e5f")
    assert second == Rating("2031-05-01", "Mara", "no")
    assert third.when.startswith("2031-05-02 08:00:00")


@pytest.mark.parametrize("text", ["", "# nothing yet\n", "book: 1\n", "book: 1\nclips:\n", "---\n"])
def test_an_empty_book_is_one(text: str) -> None:
    assert read_book(text) == ()


def test_words_find_verdicts_tags_tracks_and_texts() -> None:
    assert names() == ["lanterns-over-ironworks", "half-time", "tied", "unheard", "named-only"]
    assert names("works") == ["lanterns-over-ironworks"]
    assert names("NO") == ["half-time"]
    assert names("ironworks") == ["lanterns-over-ironworks"]
    assert names("long night") == ["lanterns-over-ironworks"]
    assert names("goosebumps") == ["lanterns-over-ironworks"]
    assert names("midnight", "mara") == ["lanterns-over-ironworks"]
    assert names("midnight", "oke", "no") == []


def test_people_read_a_line_for_each_clip_and_below_it_what_was_said_the_newest_first() -> None:
    lines = book_text(read_book(BOOK)).splitlines()
    assert lines[:5] == [
        "works     lanterns-over-ironworks  Lanterns over Ironworks  [opener, Long Night]",
        "          after midnight only",
        "            2031-05-04  works   Mara: goosebumps: yes",
        "            2031-05-02  works   Oke",
        "            2031-05-01  no      Mara",
    ]
    assert lines[5] == "no        half-time  Half-time Wickergauge  (your own word)"
    assert lines[-1] == "-         named-only"


def test_scripts_get_all_of_it() -> None:
    first = json.loads(book_json(read_book(BOOK)))[0]
    assert first["verdict"] == "works"
    assert first["tags"] == ["opener", "Long Night"]
    assert first["ratings"][0]["note"] == "goosebumps: yes"


def test_nothing_that_was_written_into_it_moves_a_terminal() -> None:
    text = 'book: 1\nclips: {"a\\e[2J": {title: "\\x9b2J", notes: "x\\ry", ratings: [{who: "\\e[0m", verdict: no}]}}'
    assert all(line.isprintable() for line in book_text(read_book(text)).splitlines())


FAULTS = [
    ("lanterns: 1", 1, 1, "not a book"),
    ("book: 2\n", 1, 1, "not a book"),
    ("- book: 1", 1, 1, "not a book"),
    ("book: 1\nclip: {}", 2, 1, "no key is called 'clip'"),
    ("book: 1\nclips: [a]", 2, 8, "no clips by name"),
    ("book: 1\nclips:\n  a: works\n", 3, 6, "nothing is known here by name"),
    ("book: 1\nclips:\n  a:\n    verdct: no\n", 4, 5, "no key is called 'verdct'"),
    ("book: 1\nclips:\n  a:\n    verdict: maybe\n", 4, 14, "'maybe' is no verdict"),
    ("book: 1\nclips:\n  a:\n    ratings: 7\n", 4, 14, "the ratings are no list"),
    ("book: 1\nclips:\n  a:\n    ratings:\n      - works\n", 5, 9, "no rating"),
    ("book: 1\nclips:\n  a:\n    ratings:\n      - {who: Mara}\n", 5, 9, "no verdict"),
    ("book: 1\nclips:\n  a:\n    ratings:\n      - {verdict: no, when: once}\n", 5, 29, "'once' is no date"),
    ("book: 1\nclips:\n  a:\n    tags: {x: y}\n", 4, 11, "`tags` is no list of words"),
    ("book: 1\nclips:\n  a:\n    notes: [x]\n", 4, 12, "`notes` is more than one text"),
    ("book: 1\nclips:\n  ? [a]\n  : {}\n", 3, 5, "a key that is not a plain word"),
    ("book: 1\nclips:\n  a: *b\n", 3, 6, "not YAML"),
    ("book: 1\nclips:\n  a: {}\n  a: {}\n", 4, 3, "stands above already"),
    ("book: 1\nclips:\n  a: [x\n  b: y\n", 4, 4, "bracket opened in line 3"),
    ("book: 1\nclips:\n\ta: b\n", 3, 1, "a tab"),
    ("book: 1\nclips:\n  a:\n    notes: 'open\n", 4, 12, "a quote that is never closed"),
    ("book: 1\n\x00", 1, 1, "not YAML"),
    ('book: 1\nclips: {a: {title: "\\Uffffffff"}}', 1, 1, "not YAML"),
    ("book: 1\n---\nbook: 1\n", 2, 1, "not YAML"),
]


@pytest.mark.parametrize(("text", "line", "column", "wrong"), FAULTS, ids=[wrong for *_, wrong in FAULTS])
def test_what_is_no_book_is_told_with_its_place(text: str, line: int, column: int, wrong: str) -> None:
    with pytest.raises(BadBook) as told:
        read_book(text)
    assert wrong in told.value.wrong
    assert (told.value.line, told.value.column) == (line, column)
    assert told.value.right.isprintable()


def test_brackets_without_end_are_given_up_soon() -> None:
    """Of processor time, whatever else the machine does. Without a bound the parser needs about 3 s for these."""
    began_s = time.process_time()
    with pytest.raises(BadBook, match="not YAML"):
        read_book("[" * 20_000)
    assert time.process_time() - began_s < 1.5
