"""How a stage card fits on paper: widths of its columns, and the largest type at which all of it stands on one page.

Paper is A4 or Letter, whichever the printer holds; the page is planned for the width of the one and the height of the
other. Widths and heights are in units of the type (em), by estimate and on the safe side.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from render.publish.card.words import CardWords, RecordWords
from render.publish.lettering import BOLD, width_em

MARGIN_MM = 11.0
WIDTH_PT, HEIGHT_PT = (mm / 25.4 * 72.0 for mm in (210.0 - 2 * MARGIN_MM, 279.4 - 2 * MARGIN_MM))
"""A4 is 210 × 297 mm (ISO 216), Letter 215.9 × 279.4 mm (ANSI/ASME Y14.1)."""
SIZES_PT = (17.0, 16.0, 15.0, 14.0, 13.0, 12.0, 11.0, 10.0, 9.0, 8.0, 7.0)
"""Type sizes that are tried; what does not fit at the last one goes on on a second page."""
LINE = 1.25
"""Height of a line in units of its type."""
TITLE, NAME, LANDING = 1.4, 1.15, 1.15
"""Larger type: of the title, of a record's name, of the landing's row."""
TITLE_LINES = 2
SPACE = 0.5
"""Above each part and each record, with the rule that begins it."""
ROW = 0.32
"""What padding and the rule add to a row of a table."""
GAP = 0.7
"""Between two columns."""
DIGITS = 0.95
"""Digits are narrower than letters, and as wide in bold type."""
MOST_NAME, MOST_BAR = 0.25, 0.3
"""The most of a table's width that names, and that bars and beats may take."""
_WORD_SPACE = 0.36


@dataclass(frozen=True)
class Layout:
    """The type's size, how many records stand beside each other, and the widths of a table's columns."""

    size_pt: float
    columns: int
    marker_em: tuple[float, ...]
    step_em: tuple[float, ...]
    title_room_em: float


def layout(words: CardWords) -> Layout:
    """The layout in the largest type at which everything fits, else in the smallest."""
    for size_pt in SIZES_PT:
        made = _layout(words, size_pt)
        if _height_em(words, made) * size_pt <= HEIGHT_PT:
            break
    return made


def _layout(words: CardWords, size_pt: float) -> Layout:
    page_em = WIDTH_PT / size_pt
    columns = 1 if len(words.records) == 1 else 2
    record_em = (page_em - GAP * (columns - 1)) / columns
    marker_rows = [row for record in words.records for row in record.markers]
    step_rows = [words.step_heads, *words.steps]
    return Layout(
        size_pt,
        columns,
        _with_the_rest(record_em, 0, [0.0, *_widths(marker_rows, (1, 2), record_em)]),
        _with_the_rest(page_em, 3, _step_widths(step_rows, page_em)),
        TITLE_LINES * page_em / TITLE * 0.9,  # lines seldom end where the paper does
    )


def _step_widths(rows: Sequence[Sequence[str]], page_em: float) -> list[float]:
    beat, bars, bar, time = _widths(rows, (0, 1, 4, 5), page_em)
    who = max(width_em(row[2]) for row in rows) * BOLD + GAP
    return [beat, bars, min(who, page_em * MOST_NAME), 0.0, bar, time]


def _widths(rows: Sequence[Sequence[str]], columns: Iterable[int], room_em: float) -> list[float]:
    """Widths of columns of numbers by what stands in them, with the gap after each."""
    return [
        min(max(width_em(row[column]) for row in rows) * DIGITS, room_em * MOST_BAR) + GAP
        for column in columns
    ]


def _with_the_rest(room_em: float, flexible: int, widths: list[float]) -> tuple[float, ...]:
    widths[flexible] = room_em - sum(widths)
    return tuple(widths)


def _height_em(words: CardWords, made: Layout) -> float:
    page_em = WIDTH_PT / made.size_pt
    head = min(_lines(words.title, page_em / TITLE / BOLD), TITLE_LINES) * TITLE
    head += _lines(words.count, page_em) + _lines(words.headroom, page_em / BOLD)
    heights = [_record_em(record, made) for record in words.records]
    beside = [heights[first : first + made.columns] for first in range(0, len(heights), made.columns)]
    steps = (
        sum(_row_em(row, made.step_em) for row in (words.step_heads, *words.steps)) + (LANDING - 1) * 3 * LINE
    )
    foot = sum(_lines(text, page_em) for text in words.foot)
    return (head + foot) * LINE + sum(map(max, beside)) + steps + 3 * SPACE


def _record_em(record: RecordWords, made: Layout) -> float:
    room_em = sum(made.marker_em)
    lines = _lines(record.name, room_em / NAME / BOLD) * NAME + _lines(record.file, room_em)
    lines += _lines(record.tempo, room_em / BOLD) + sum(_lines(text, room_em) for text in record.rest)
    return SPACE + lines * LINE + sum(_row_em(row, made.marker_em) for row in record.markers)


def _row_em(row: Sequence[str], widths: Sequence[float]) -> float:
    cells = zip(row, widths, strict=True)
    return max(_lines(text, (width - GAP) / BOLD) for text, width in cells) * LINE + ROW


def _lines(text: str, room_em: float) -> int:
    """How many lines a text takes, broken between words, and within one that is longer than a line."""
    lines, used = 1, 0.0
    for word in text.split(" "):
        wide = width_em(word)
        if used and used + wide > room_em:
            lines, used = lines + 1, 0.0
        over = max(math.ceil(wide / room_em) - 1, 0)
        lines += over
        used += wide - over * room_em + _WORD_SPACE
    return lines
