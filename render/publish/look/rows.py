"""Where the bars of a record are in its picture: rows of whole phrases, and what lies above and below a bar.

A row is built from its top down: room for discs, the bands, ticks, a strip for each other thing that is known of the
bars, and two lines of numbers. Bars count from 1, rows from 0; a row whose first phrase began before bar 1 is empty
until there.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from render.facts import USUAL_PHRASE_BARS, ByBars
from render.publish.drawing import WIDTH

LEFT, RIGHT = 84.0, 706.0
"""Between these lie the bars; left of them is room for `500 Hz` and `drums`."""
LINE = 25.0
"""From one line of small type to the next."""

ROW_BARS = 64
"""A row holds as many whole phrases as fit: eight of the usual ones."""
MOST_ROWS = 24
"""Where there would be more, each holds twice as many bars: an hour stays one picture."""

HEAD = 28.0
"""From a row's top to its bands."""
BAND, BANDS = 11.0, 10
TICK, STRIPS_GAP, STRIP, ROW_GAP = 6.0, 10.0, 23.0, 20.0
LABEL_GAP = 72.0
"""Numbers and times closer than this touch."""


@dataclass(frozen=True)
class Rows:
    """Where bars are on the page."""

    count: int
    origin_bar: int
    row_bars: int
    phrase_bars: int
    top: float
    strips: tuple[str, ...]

    @classmethod
    def of(cls, by: ByBars, top: float) -> "Rows":
        count = len(by.bars.voiced)
        phrase_bars = by.grid.phrase_bars or USUAL_PHRASE_BARS
        after = ((by.grid.phrase_first_bar or 1) - 1) % phrase_bars
        origin_bar = 1 + after - (phrase_bars if after else 0)
        row_bars = phrase_bars * max(1, ROW_BARS // phrase_bars)
        while math.ceil((count + 1 - origin_bar) / row_bars) > MOST_ROWS:
            row_bars *= 2
        voice, drums = any(by.bars.voiced), bool(by.stripped)
        strips = ("low", *["voice"] * voice, *["drums"] * drums)
        return cls(count, origin_bar, row_bars, phrase_bars, top, strips)

    @property
    def rows(self) -> int:
        return self.row_of(self.count) + 1

    @property
    def bar_units(self) -> float:
        return (RIGHT - LEFT) / self.row_bars

    @property
    def height(self) -> float:
        """From one row's top to the next."""
        return HEAD + BANDS * BAND + STRIPS_GAP + len(self.strips) * STRIP + 2 * LINE + ROW_GAP

    def row_of(self, bar: int) -> int:
        return (bar - self.origin_bar) // self.row_bars

    def x(self, bar: int) -> float:
        return LEFT + self._in_row(bar) * self.bar_units

    def row_top(self, row: int) -> float:
        return self.top + row * self.height

    def bands_top(self, row: int) -> float:
        return self.row_top(row) + HEAD

    def bands_foot(self, row: int) -> float:
        return self.bands_top(row) + BANDS * BAND

    def strip_top(self, row: int, strip: str) -> float:
        return self.bands_foot(row) + STRIPS_GAP + self.strips.index(strip) * STRIP

    def axis_top(self, row: int) -> float:
        return self.row_top(row + 1) - ROW_GAP - 2 * LINE

    def bars_of(self, row: int) -> range:
        first = self.origin_bar + row * self.row_bars
        return range(max(first, 1), min(first + self.row_bars, self.count + 1))

    def pieces(self, first: int, last: int) -> Iterator[tuple[int, float, float]]:
        """A run of bars as row, x and width, in a piece for each row it touches."""
        for row in range(self.row_of(first), self.row_of(last) + 1):
            bars = [bar for bar in self.bars_of(row) if first <= bar <= last]
            yield row, self.x(bars[0]), len(bars) * self.bar_units

    def phrases(self, gap: float) -> list[int]:
        """The bars that begin every 1st, 2nd, 4th … phrase of a row, so many that they lie a gap apart."""
        step = self.phrase_bars
        while step * self.bar_units < gap:
            step *= 2
        return [bar for row in range(self.rows) for bar in self.bars_of(row) if self._in_row(bar) % step == 0]

    def numbered(self) -> list[int]:
        """The bars to write a number and a time at: phrases, and bar 1, as far as there is room."""
        bars = [bar for bar in self.phrases(LABEL_GAP) if self.x(bar) + LABEL_GAP <= WIDTH]
        room = self.x(bars[0]) - self.x(1) if bars and self.row_of(bars[0]) == 0 else math.inf
        return [1, *bars] if room >= LABEL_GAP else bars

    def _in_row(self, bar: int) -> int:
        return (bar - self.origin_bar) % self.row_bars
