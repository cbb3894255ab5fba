"""Beats as a plain table: one a line, its time in seconds and, if it is known, its number in the bar.

    # time, beat
    0.312, 1
    0.661, 2

A comma, a semicolon, a tab or spaces stand between the two. Blank lines, a first line of words and what follows a
`#` are passed over. Times have a decimal point; a decimal comma is refused, for it cannot be told from a separator.
"""

import io
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice, pairwise
from typing import NamedTuple

from render.files.beat_marks import MOST_BEATS, MOST_BEATS_PER_BAR, BeatsFault, Mark, whole_number
from render.files.one_line import quoted

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_BETWEEN = re.compile(r"\s*[,;]\s*|\s+")
_HEADER = re.compile(r"(?!\s*[+-]?(nan|inf|infinity)\b)\D+", re.IGNORECASE)
"""Words without a digit, but for those that some programs write for a number they do not have."""
_COMMA_INSIDE = re.compile(r"(?<![^\s;])\d+,\d+(?![^\s;])", re.ASCII)
_NO_POINT = re.compile(r"\d+(,\d+)?", re.ASCII)
_THREE_WHOLE = re.compile(r"\d+,\d+,\d+", re.ASCII)


class _Row(NamedTuple):
    line: int
    text: str


def marks_of_csv(text: str) -> list[Mark]:
    """The marks of a table, as they stand there; at most one more than a record may have. Raises BeatsFault."""
    rows = list(islice(_rows(text), MOST_BEATS + 1))
    _refuse_decimal_commas(rows)
    return [_mark(row) for row in rows]


def _rows(text: str) -> Iterator[_Row]:
    """The lines that hold anything, without comments and quotation marks."""
    first = True
    for line, written in enumerate(io.StringIO(text, newline=None), start=1):
        row = written.partition("#")[0].replace('"', "").strip()
        if row and not (first and _HEADER.fullmatch(row)):
            yield _Row(line, row)
        first = first and not row


def _refuse_decimal_commas(rows: Sequence[_Row]) -> None:
    for line, row in rows:
        whole = _COMMA_INSIDE.fullmatch(row)
        if found := _THREE_WHOLE.fullmatch(row) or (None if whole else _COMMA_INSIDE.search(row)):
            written = ",".join(found[0].split(",")[:2])
            raise _decimal_comma(line, written)
    commas = [row for row in rows if "," in row.text]
    if commas and all(_NO_POINT.fullmatch(row) for _, row in rows) and _look_like_fractions(rows):
        raise _decimal_comma(*commas[0])


def _look_like_fractions(rows: Iterable[_Row]) -> bool:
    """Whether lines such as `1,25` mean 1.25 s, rather than beat 25 of a bar at 1 s.

    They do where what follows the commas cannot count beats, or where two lines in a row have the same second.
    """
    pairs = [row.partition(",") for _, row in rows]
    numbers = [after for _, comma, after in pairs if comma]
    no_beat = any(number.startswith("0") or whole_number(float(number)) is None for number in numbers)
    return (
        no_beat
        or any(after != "1" and int(after) != int(before) + 1 for before, after in pairwise(numbers))
        or any(second == next_second for (second, *_), (next_second, *_) in pairwise(pairs))
    )


def _decimal_comma(line: int, written: str) -> BeatsFault:
    point = written.replace(",", ".")
    return BeatsFault(
        f":{line}", f"'{quoted(written)}' has a decimal comma", f"write it with a point, {quoted(point)}"
    )


def _mark(row: _Row) -> Mark:
    place = f":{row.line}"
    time, *others = _BETWEEN.split(row.text.rstrip(",; \t"))
    if len(others) > 1:
        right = "a line holds a beat's time and, if it is known, its number in the bar"
        raise BeatsFault(place, f"{1 + len(others)} columns", right)
    time_s = float(time) if _NUMBER.fullmatch(time) else math.nan
    if not math.isfinite(time_s):
        wrong = f"'{quoted(time)}' is no time" if time else "a line without a time"
        raise BeatsFault(place, wrong, "write seconds with a decimal point, as in 89.614")
    if not others:
        return Mark(place, time_s)
    number = whole_number(float(others[0])) if _NUMBER.fullmatch(others[0]) else None
    if number is None:
        wrong = f"'{quoted(others[0])}' is no beat of a bar"
        raise BeatsFault(place, wrong, f"beats of a bar count from 1, to {MOST_BEATS_PER_BAR} at the most")
    return Mark(place, time_s, number)
