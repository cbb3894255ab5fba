"""The picture of a record, decided: what is written and drawn where.

A record is set like music on a page: bars run along rows, and every row holds the same number of phrases, so that
phrases stand below each other. Over each bar stand the levels of its octave bands, below it what else is known of
it. The second ink marks where the record may drop; the reasons are written on top.

Units are those of the clip's picture: `WIDTH` across, nothing lettered smaller than `SMALL`. y grows downwards.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

from render.facts import BarFacts, ByBars, RecordFacts, Recording, runs
from render.publish.drawing import SMALL, WIDTH
from render.publish.lettering import cleaned
from render.publish.look import words
from render.publish.look.rows import BAND, BANDS, HEAD, LABEL_GAP, LEFT, LINE, RIGHT, TICK, Rows
from render.publish.outlines import Face, broken, cut_to, drawable, width_of
from render.publish.tones import RANGE_DB, STEP_DB, STEPS, step_of

Ink = Literal["ink", "quiet", "grey", "second", "paper"]
Anchor = Literal["left", "center", "right"]

MARGIN = 14.0
TITLE, LONG_TITLE = 30.0, 23.0
INDENT = 44.0
"""Of what is written about a candidate, beside its disc."""
DISC, DISC_GAP = 11.0, 24.0
"""Radius of a candidate's disc, and the least from the middle of one to the next."""
STRIP_BODY = 14.0
MIDBANDS = {1: "63 Hz", 4: "500 Hz", 7: "4 kHz"}
"""Which bands, from the lowest, are written at: nominal midbands of IEC 61260-1:2014."""
TICK_GAP, LINE_GAP = 4.0, 24.0
"""Bar ticks closer than this run together, lines closer than this crowd out what is between them."""


@dataclass(frozen=True)
class Words:
    name: str
    text: str
    x: float
    y: float
    face: Face = "text"
    size: float = SMALL
    ink: Ink = "ink"
    anchor: Anchor = "left"


@dataclass(frozen=True)
class Boxes:
    """Boxes `(x, y, width, height)` filled with an ink or a step of the tones; hollow ones are only outlined."""

    name: str
    fill: Ink | int
    boxes: tuple[tuple[float, float, float, float], ...]
    hollow: bool = False


@dataclass(frozen=True)
class Lines:
    """Upright lines `(x, top, bottom)`; `halo` is how much paper is left free on either side of them."""

    name: str
    ink: Ink
    width: float
    lines: tuple[tuple[float, float, float], ...]
    halo: float = 0.0


@dataclass(frozen=True)
class Disc:
    name: str
    x: float
    y: float


Shape = Boxes | Lines | Disc


@dataclass
class Sheet:
    """A page that grows downwards; shapes are drawn in their order, and words over them."""

    title: str
    summary: str
    height: float = MARGIN
    words: list[Words] = field(default_factory=list)
    shapes: list[Shape] = field(default_factory=list)

    def write(
        self, name: str, lines: list[str], face: Face = "text", ink: Ink = "ink", x: float = MARGIN
    ) -> None:
        for line in lines:
            self.height += LINE
            self.words.append(Words(name, line, x, self.height - 6.0, face, ink=ink))


def look_sheet(recording: Recording, heard: RecordFacts) -> Sheet:
    """The whole page about a record."""
    name = words.file_name(recording)
    sheet = Sheet(title=cleaned(name), summary=words.summary(recording, heard))
    room = WIDTH - 2 * MARGIN
    face: Face = "title" if drawable(name, "title") == drawable(name, "text") else "text"  # has more scripts
    size = TITLE if width_of(drawable(name, face), face, TITLE) <= room else LONG_TITLE
    sheet.height += 34.0
    sheet.words.append(Words("title", cut_to(name, face, size, room), MARGIN, sheet.height - 8.0, face, size))
    sheet.write("facts", broken(words.facts_items(heard), " · ", "text", SMALL, room), ink="quiet")
    for warning in words.warnings(recording, heard):
        sheet.write("warning", broken(f"Beware: {warning}".split(), " ", "text", SMALL, room), ink="second")
    reason = words.nothing_to_draw(heard)
    if heard.by_bars is None or reason:
        sheet.height += 12.0
        sheet.write("reason", broken(str(reason).split(), " ", "text", SMALL, room))
    else:
        _write_candidates(sheet, heard.by_bars)
        _draw_rows(sheet, heard.by_bars)
        _draw_legend(sheet, heard.by_bars)
    sheet.height += MARGIN
    return sheet


def _write_candidates(sheet: Sheet, by: ByBars) -> None:
    sheet.height += 8.0
    if not by.drops:
        sheet.write("no-drop", ["No bar stands out as a drop."])
    for number, drop in enumerate(by.drops, 1):
        _numbered_disc(sheet, f"listed-{number}", number, MARGIN + DISC, sheet.height + LINE - 12.0)
        sheet.write(f"place-{number}", [words.candidate_place(drop)], "strong", x=INDENT)
        why = broken(", ".join(drop.why).split(), " ", "text", SMALL, WIDTH - MARGIN - INDENT)
        sheet.write(f"why-{number}", why, ink="quiet", x=INDENT)
        sheet.height += 4.0


def _numbered_disc(sheet: Sheet, name: str, number: int, x: float, y: float) -> None:
    sheet.shapes.append(Disc(name, x, y))
    sheet.words.append(Words(f"{name}-number", str(number), x, y + 6.5, "strong", SMALL, "paper", "center"))


def _draw_rows(sheet: Sheet, by: ByBars) -> None:
    rows = Rows.of(by, sheet.height + 12.0)
    sheet.shapes += [*_tones(rows, by.bars), *_rulings(rows), *_strips(rows, by)]
    sheet.words += _labels(rows, by.bars)
    for number, drop in enumerate(by.drops, 1):
        row = rows.row_of(drop.bar)
        line = (rows.x(drop.bar), rows.row_top(row) + HEAD / 2, rows.axis_top(row) - 4.0)
        sheet.shapes.append(Lines(f"candidate-{number}", "second", 3.0, (line,), halo=1.5))
    for number, (x, row) in _disc_places(rows, [drop.bar for drop in by.drops]).items():
        _numbered_disc(sheet, f"drop-{number}", number, x, rows.row_top(row) + HEAD / 2 - 2.0)
    sheet.height = rows.row_top(rows.rows)


def _disc_places(rows: Rows, bars: Sequence[int]) -> dict[int, tuple[float, int]]:
    """x and row of each candidate's disc: over its line, or moved aside where rows hold so much that discs meet."""
    places: dict[int, tuple[float, int]] = {}
    for number, bar in sorted(enumerate(bars, 1), key=lambda numbered: numbered[1]):
        row = rows.row_of(bar)
        free = max((x + DISC_GAP for x, other_row in places.values() if other_row == row), default=0.0)
        places[number] = max(rows.x(bar), free), row
    for number, (x, row) in sorted(places.items(), key=lambda placed: -placed[1][0]):
        others = [other for other, other_row in places.values() if other_row == row and other > x]
        places[number] = min(x, min((other - DISC_GAP for other in others), default=RIGHT)), row
    return places


def _tones(rows: Rows, bars: BarFacts) -> Iterator[Boxes]:
    """For each step the cells that reach it: darker ones lie on lighter ones, so that no paper shows between them."""
    steps = [[step_of(level_db) for level_db in levels_db] for levels_db in bars.bands_db]
    for step in range(1, STEPS + 1):
        cells = [
            (x, rows.bands_foot(row) - (band + 1) * BAND, width, BAND)
            for band in range(BANDS)
            for first, last in runs([of_bar[band] >= step for of_bar in steps])
            for row, x, width in rows.pieces(first, last)
        ]
        if cells:
            yield Boxes(f"tone-{step}", step, tuple(cells))


def _strips(rows: Rows, by: ByBars) -> Iterator[Boxes]:
    low = [
        (rows.x(bar), rows.strip_top(rows.row_of(bar), "low"), share)
        for bar, share in enumerate(by.bars.low_end, 1)
    ]
    bodies = [
        (x, top + STRIP_BODY * (1 - share), rows.bar_units, STRIP_BODY * share)
        for x, top, share in low
        if share
    ]
    yield Boxes("low", "ink", tuple(bodies))
    for name, spans in (
        ("voice", runs(by.bars.voiced)),
        ("drums", [(passage.bar, passage.last_bar) for passage in by.stripped]),
    ):
        if spans:
            aside = 1.5 if name == "drums" else 0.0  # neighbours stay two
            boxes = tuple(
                (x + aside, rows.strip_top(row, name) + 2.0, width - 2 * aside, STRIP_BODY - 4.0)
                for first, last in spans
                for row, x, width in rows.pieces(first, last)
            )
            yield Boxes(name, "grey" if name == "voice" else "ink", boxes, hollow=name == "drums")


def _rulings(rows: Rows) -> Iterator[Lines]:
    """Short ticks for bars, lines through the row for phrases, and an edge where the record ends."""
    if rows.bar_units >= TICK_GAP:
        ticks = [
            (rows.x(bar), rows.bands_foot(rows.row_of(bar)), rows.bands_foot(rows.row_of(bar)) + TICK)
            for bar in range(1, rows.count + 1)
        ]
        yield Lines("bar-ticks", "quiet", 0.8, tuple(ticks))
    numbered = rows.numbered()
    phrases = []
    for bar in rows.phrases(LINE_GAP):
        row = rows.row_of(bar)
        below = LINE * 2 - 4.0 if bar in numbered else -4.0
        phrases.append((rows.x(bar), rows.bands_top(row) - 5.0, rows.axis_top(row) + below))
    yield Lines("phrases", "quiet", 1.8, tuple(phrases), halo=1.2)


def _labels(rows: Rows, bars: BarFacts) -> Iterator[Words]:
    beside = LEFT - 8.0
    for row in range(rows.rows):
        for band, text in MIDBANDS.items():
            y = rows.bands_foot(row) - (band + 0.5) * BAND + 6.5
            yield Words("band", text, beside, y, ink="quiet", anchor="right")
        for strip in rows.strips:
            y = rows.strip_top(row, strip) + STRIP_BODY - 1.0
            yield Words("strip", strip, beside, y, ink="quiet", anchor="right")
        yield Words("unit", "bar", beside, rows.axis_top(row) + LINE - 8.0, ink="quiet", anchor="right")
        yield Words("unit", "m:ss", beside, rows.axis_top(row) + 2 * LINE - 8.0, ink="quiet", anchor="right")
    for bar in rows.numbered():
        x, top = rows.x(bar), rows.axis_top(rows.row_of(bar))
        fits = x + LABEL_GAP <= WIDTH  # else it is bar 1 at a row's end, with nothing before it
        side: Anchor = "left" if fits else "right"
        x += 6.0 if fits else -6.0
        time = words.minutes(bars.starts_s[bar - 1])
        yield Words("bar", str(bar), x, top + LINE - 8.0, anchor=side)
        yield Words("time", time, x, top + 2 * LINE - 8.0, ink="quiet", anchor=side)


def _draw_legend(sheet: Sheet, by: ByBars) -> None:
    width = (RIGHT - LEFT) / STEPS
    for step in range(1, STEPS + 1):
        box = (LEFT + (STEPS - step) * width, sheet.height, width, STRIP_BODY)
        sheet.shapes.append(Boxes(f"key-{step}", step, (box,)))
    sheet.height += STRIP_BODY
    for step in range(0, STEPS, 3):
        text = f"−{step * STEP_DB:g}" if step else "0"
        sheet.words.append(Words("scale", text, LEFT + step * width, sheet.height + 19.0, ink="quiet"))
    sheet.words.append(
        Words("scale", f"−{RANGE_DB:g}", RIGHT, sheet.height + 19.0, ink="quiet", anchor="right")
    )
    sheet.height += LINE
    room = RIGHT - LEFT
    sheet.write("legend", broken(words.tone_scale().split(), " ", "text", SMALL, room), ink="quiet", x=LEFT)
    sheet.write("legend", broken(words.legend(by), " · ", "text", SMALL, room), ink="quiet", x=LEFT)
