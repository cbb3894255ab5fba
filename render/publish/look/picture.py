"""The picture of a record, drawn: a sheet as the bytes of an SVG or a PNG file.

The same record gives the same bytes: nothing is dated, names within the file are derived from their content, and
neither a style of the user's nor the machine's typefaces play a part.
"""

import io
import re
from typing import Literal, assert_never
from xml.sax.saxutils import escape

import matplotlib
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Circle, PathPatch
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.transforms import Affine2D, Transform
from matplotlib.typing import RcKeyType

from render.facts import RecordFacts, Recording
from render.publish.drawing import STROKE, WIDTH
from render.publish.look.sheet import DISC, Boxes, Disc, Ink, Lines, Shape, Sheet, look_sheet
from render.publish.outlines import face_of
from render.publish.tones import PAPER, tone

Form = Literal["svg", "png"]
FORMS: tuple[Form, ...] = ("svg", "png")

POINTS_PER_INCH = 72
"""One unit is one point."""
PNG_DOTS_PER_UNIT = 2

INKS: dict[Ink, str] = {
    "ink": "#23211e",
    "quiet": "#5d5953",
    "grey": "#857f76",
    "second": "#b03a1e",
    "paper": PAPER,
}
"""Those of the clip's picture in light surroundings."""

_SETTINGS: dict[RcKeyType, object] = {
    "svg.fonttype": "path",
    "svg.hashsalt": "dropkiln",
    "text.hinting": "none",
    "path.simplify": False,
}


def look_picture(recording: Recording, heard: RecordFacts, form: Form) -> bytes:
    """What was heard of a record, drawn on as high a page as it needs.

    An SVG takes the width it is given; a PNG is `PNG_DOTS_PER_UNIT * WIDTH` dots wide.
    """
    sheet = look_sheet(recording, heard)
    content = io.BytesIO()
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_SETTINGS)
        figure = _figure(sheet)
        if form == "svg":
            figure.savefig(
                content, format="svg", metadata={"Title": sheet.title, "Date": None, "Creator": None}
            )
            return _for_readers(content.getvalue().decode(), sheet.summary).encode()
        dpi = POINTS_PER_INCH * PNG_DOTS_PER_UNIT
        figure.savefig(content, format="png", dpi=dpi, metadata={"Title": sheet.title, "Software": None})
    return content.getvalue()


def _figure(sheet: Sheet) -> Figure:
    size = (WIDTH / POINTS_PER_INCH, sheet.height / POINTS_PER_INCH)
    figure = Figure(figsize=size, dpi=POINTS_PER_INCH, facecolor=PAPER)
    to_page = (
        Affine2D().scale(1 / POINTS_PER_INCH, -1 / POINTS_PER_INCH).translate(0.0, size[1])
        + figure.dpi_scale_trans
    )
    drawn = [artist for shape in sheet.shapes for artist in _artists(shape)]
    for index, words in enumerate(sheet.words):
        text = Text(
            words.x,
            words.y,
            words.text,
            color=INKS[words.ink],
            fontproperties=face_of(words.face, words.size),
            horizontalalignment=words.anchor,
            verticalalignment="baseline",
            parse_math=False,
        )
        text.set_gid(f"{words.name}.{index}")
        drawn.append(text)
    for order, artist in enumerate(drawn):
        artist.set_zorder(order)
        _place(figure, artist, to_page)
    return figure


def _place(figure: Figure, artist: Artist, to_page: Transform) -> None:
    artist.set_transform(to_page)
    figure.add_artist(artist)


def _artists(shape: Shape) -> list[Artist]:
    match shape:
        case Boxes():
            return [_boxes(shape)]
        case Lines():
            line = Path.make_compound_path(*(Path([(x, top), (x, foot)]) for x, top, foot in shape.lines))
            halo = _stroked(line, "paper", shape.width + 2 * shape.halo)
            inked = _stroked(line, shape.ink, shape.width)
            inked.set_gid(shape.name)
            return [halo, inked] if shape.halo else [inked]
        case Disc():
            disc = Circle((shape.x, shape.y), DISC, facecolor=INKS["second"], edgecolor="none")
            disc.set_gid(shape.name)
            return [disc]
        case _:
            assert_never(shape)


def _boxes(shape: Boxes) -> Artist:
    """Boxes as one path. Filled ones keep to whole dots, so that no seam shows between neighbours."""
    inset = STROKE / 2 if shape.hollow else 0.0
    path = Path.make_compound_path(
        *(
            Path(
                [
                    (x + inset, y + inset),
                    (x + width - inset, y + inset),
                    (x + width - inset, y + height - inset),
                    (x + inset, y + height - inset),
                    (x + inset, y + inset),
                ],
                closed=True,
            )
            for x, y, width, height in shape.boxes
        )
    )
    if shape.hollow:
        artist = _stroked(path, "ink", STROKE)
    else:
        colour = tone(shape.fill) if isinstance(shape.fill, int) else INKS[shape.fill]
        artist = PathPatch(path, facecolor=colour, edgecolor="none", antialiased=False)
    artist.set_gid(shape.name)
    return artist


def _stroked(path: Path, ink: Ink, width: float) -> PathPatch:
    return PathPatch(
        path, fill=False, edgecolor=INKS[ink], linewidth=width, capstyle="butt", joinstyle="miter"
    )


def _for_readers(svg: str, summary: str) -> str:
    """The drawing with its description in words, and free to be as wide as where it is shown."""
    head, rest = svg.split("<svg ", 1)
    tag, content = rest.split(">", 1)
    tag = re.sub(r'(?:width|height)="[\d.]+pt" ?', "", tag)
    before, after = content.split("</title>", 1)
    return f'{head}<svg role="img" {tag}>{before}</title>\n <desc>{escape(summary)}</desc>{after}'
