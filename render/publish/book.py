"""The book: what works, who said so and when.

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

import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from render.publish.ballots import VERDICTS, Verdict
from render.publish.lettering import cleaned

NAMELESS = "somebody"
"""How a listener without a name is told of."""


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
    tags = f"[{', '.join(map(cleaned, entry.tags))}]" if entry.tags else ""
    own = "(your own word)" if entry.stated else ""
    parts = [cleaned(entry.clip), cleaned(entry.title), tags, own]
    lines = [f"{entry.verdict or '-':<9} {'  '.join(part for part in parts if part)}"]
    if entry.notes:
        lines.append(f"{'':<9} {cleaned(entry.notes)}")
    for rating in _changes_of_mind(entry):
        who, note = cleaned(rating.who) or NAMELESS, f": {cleaned(rating.note)}" if rating.note else ""
        lines.append(f"{'':<9}   {rating.when[:10]:<10}  {rating.verdict:<6}  {who}{note}")
    return lines


def _changes_of_mind(entry: Entry) -> list[Rating]:
    """The ratings, the newest first, without those that only repeat what the same listener had said before."""
    newest_first = sorted(entry.ratings, key=lambda one: one.when, reverse=True)
    said: dict[str, tuple[str, str]] = {}
    news = []
    for rating in reversed(newest_first):
        if said.get(rating.who) != (rating.verdict, rating.note):
            news.append(rating)
        said[rating.who] = (rating.verdict, rating.note)
    return news[::-1]
