"""Made-up records as they might be heard, and what can be read off their pictures."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from render.facts import (
    BarFacts,
    ByBars,
    DropCandidate,
    GridFinding,
    KeyCandidate,
    RecordFacts,
    Recording,
    RecordLevels,
    StrippedPassage,
)
from render.publish.look.picture import look_picture
from render.values import Grid

SVG, XLINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}"
BAR_S = 4 * 60 / 172
LEVELS = (-6.0, -1.0, -9.5, -20.0, -29.9, -44.0, -45.0, -60.0, -33.3, -3.0)
"""Of the bands of every bar, the lowest first, where nothing else is asked for."""
EVERY_REASON = (
    "the low end comes in, +33 dB",
    "kick and bass start to hit",
    "a build rises into it",
    "stands half-way through a phrase",
    "no low end in the bars before",
    "louder by 6 dB",
    "more attacks than before",
)
CLOSE = ("172.00 BPM is a close call against 86.00", "which beat begins the bar is a close call")

Box = tuple[float, float, float, float]


def recording(name: str = "lanterns.flac", note: str = "") -> Recording:
    return Recording(f"crate/{name}", "flac", 44_100, 2, 44_100 * 158, 1, note=note)


def heard(
    bars: int = 112,
    *,
    phrase: tuple[int | None, int | None] = (8, 1),
    drops: Sequence[int] = (65, 17),
    voiced: Sequence[int] = (),
    stripped: Sequence[tuple[int, int]] = (),
    bands_db: Sequence[tuple[float, ...]] | None = None,
    warnings: tuple[str, ...] = (),
    sure: float = 0.99,
    clipped: int = 0,
) -> RecordFacts:
    """A record of 172 BPM, bar 1 at 0.312 s; `phrase` is its length and first bar, `stripped` are bars and lengths."""
    starts_s = tuple(0.312 + bar * BAR_S for bar in range(bars + 1))
    of_bars = BarFacts(
        starts_s=starts_s,
        voice=tuple(0.9 if bar in voiced else 0.0 for bar in range(1, bars + 1)),
        voice_confidence=(1.0,) * bars,
        voiced=tuple(bar in voiced for bar in range(1, bars + 1)),
        low_end=tuple((bar % 4) / 4 for bar in range(bars)),
        bands_db=tuple(bands_db or [LEVELS] * bars),
    )
    grid = GridFinding(
        Grid(0.312, 172.0), sure, 86.0 if sure < 0.9 else None, True, 0.5, 0.98, 0.97, *phrase, warnings
    )
    by = ByBars(
        grid=grid,
        drops=tuple(DropCandidate(starts_s[bar - 1], bar, 9.0, EVERY_REASON) for bar in drops),
        keys=(KeyCandidate("F minor", 0.9, 0.71), KeyCandidate("Ab major", 0.7, 0.2)),
        stripped=tuple(StrippedPassage(starts_s[bar - 1], bar, long, 0.8) for bar, long in stripped),
        bars=of_bars,
    )
    return RecordFacts(starts_s[-1] + 0.5, RecordLevels(-9.9, 6.2, -0.4, -0.5, clipped), 0.56, by)


def no_beat() -> RecordFacts:
    return RecordFacts(158.0, RecordLevels(-30.0, 1.0, -20.0, -20.1, 0), 0.97, None)


@dataclass(frozen=True)
class Lettering:
    """A line as it is drawn: what it says, where it is put, and the box `(left, top, right, foot)` of its outlines."""

    name: str
    text: str
    x: float
    y: float
    size: float
    box: Box


class Drawing:
    """An SVG of a record, read as one who sees it would: outlines in their places."""

    def __init__(self, svg: bytes) -> None:
        self.source = svg.decode()
        builder = ElementTree.TreeBuilder(insert_comments=True)
        self.tree = ElementTree.fromstring(svg, ElementTree.XMLParser(target=builder))
        _, _, self.width, self.height = map(float, self.tree.attrib["viewBox"].split())
        named = [group for group in self.tree.iter(f"{SVG}g") if group.get("id")]
        self.groups = {str(group.get("id")): group for group in named}
        assert len(self.groups) == len(named)  # no name is given twice
        self._glyphs = {
            path.get("id"): _points(path) for path in self.tree.iter(f"{SVG}path") if path.get("id")
        }
        self.letterings = [self._lettering(name, group) for name, group in self.groups.items() if "." in name]

    @classmethod
    def of(cls, facts: RecordFacts, of: Recording | None = None) -> "Drawing":
        return cls(look_picture(of or recording(), facts, "svg"))

    def texts(self, name: str = "") -> list[str]:
        return [line.text for line in self.letterings if line.name.startswith(name)]

    def outlines(self, name: str) -> list[Box]:
        """The extent of each closed or open piece of a shape."""
        paths = self.groups[name].iter(f"{SVG}path") if name in self.groups else []
        return [_extent(piece) for path in paths for piece in _pieces(path)]

    def colour(self, name: str) -> str:
        [path] = self.groups[name].iter(f"{SVG}path")
        return re.findall(r"(?:fill|stroke): (#[0-9a-f]{6})", path.get("style", ""))[0]

    def numbers(self) -> dict[int, tuple[float, float]]:
        """The numbers of bars on the axis: where each is."""
        return {int(line.text): (line.x, line.y) for line in self.letterings if line.name == "bar"}

    def line_of(self, bar: int) -> Box:
        """The phrase line that a bar's number stands beside."""
        x, y = self.numbers()[bar]
        beside = [
            line for line in self.outlines("phrases") if 0 < x - line[0] < 8 and line[1] < y <= line[3] + 1
        ]
        assert len(beside) == 1
        return beside[0]

    def _lettering(self, name: str, group: Element) -> Lettering:
        [drawn] = group.findall(f"{SVG}g")
        x, y, scale = map(
            float, re.findall(r"translate\((\S+) (\S+)\) scale\((\S+) ", drawn.attrib["transform"])[0]
        )
        points = []
        for use in drawn.findall(f"{SVG}use"):
            at = re.findall(r"translate\((\S+) (\S+)\)", use.get("transform", "translate(0 0)"))[0]
            glyph = self._glyphs[use.attrib[f"{XLINK}href"].removeprefix("#")]
            # A glyph is drawn 64 times as large as its place is counted.
            points += [
                (x + (gx / 64 + float(at[0])) * scale, y - (gy / 64 + float(at[1])) * scale)
                for gx, gy in glyph
            ]
        text = "".join(str(comment.text) for comment in group if comment.tag is ElementTree.Comment).strip()
        return Lettering(name.split(".")[0], text, x, y, scale * 100, _extent(points))


def overlapping(drawing: Drawing) -> list[tuple[str, str]]:
    """Pairs of lines whose outlines share paper; a numeral on its disc is a line like any other."""
    lines = drawing.letterings
    return [
        (one.text, other.text)
        for index, one in enumerate(lines)
        for other in lines[index + 1 :]
        if one.box[0] < other.box[2]
        and other.box[0] < one.box[2]
        and one.box[1] < other.box[3]
        and other.box[1] < one.box[3]
    ]


def _points(path: Element) -> list[tuple[float, float]]:
    return [point for piece in _pieces(path) for point in piece]


def _pieces(path: Element) -> list[list[tuple[float, float]]]:
    """The points of each piece of a path written with absolute M, L, Q, C and z; curves by their control points."""
    data = path.get("d", "")
    assert not set(re.findall(r"[A-Za-z]", data)) - set("MLQCz"), data[:60]
    pieces = []
    for piece in data.split("M")[1:]:
        values = [float(value) for value in re.findall(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", piece)]
        pieces.append(list(zip(values[::2], values[1::2], strict=True)))
    return pieces


def _extent(points: Sequence[tuple[float, float]]) -> Box:
    across, down = zip(*points, strict=True) if points else ((0.0,), (0.0,))
    return min(across), min(down), max(across), max(down)
