"""Type that is drawn as outlines, so that it looks the same where no typeface is installed.

The faces are those that matplotlib carries along. Which letters they have and how wide a line is are therefore known
exactly, unlike in a drawing that leaves its text to the viewer (`render.publish.lettering`).
"""

import unicodedata
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Literal

import matplotlib
from matplotlib.font_manager import FontProperties, get_font
from matplotlib.textpath import text_to_path

from render.publish.lettering import ELLIPSIS, cleaned

Face = Literal["text", "strong", "title"]
_FILES: dict[Face, str] = {"text": "DejaVuSans", "strong": "DejaVuSans-Bold", "title": "DejaVuSerif"}
NO_GLYPH = "\N{WHITE SQUARE}"
"""Stands for a letter that the faces do not have."""
_EM = 100.0
"""Lines are measured at this size, and their widths grow with it."""
_UNSEEN = ("Mn", "Me", "Cf")
"""Marks and joiners: what they belong to is drawn without them."""


def face_of(face: Face, size: float) -> FontProperties:
    return FontProperties(fname=_file(face), size=size)


def drawable(text: str, face: Face) -> str:
    """The text as one line of letters that the face has."""
    return "".join(_drawn(letter, _letters(face)) for letter in cleaned(text))


def width_of(text: str, face: Face, size: float) -> float:
    """How wide a drawable line is, in the unit of its size."""
    return _width_at_em(text, face) * size / _EM


def cut_to(text: str, face: Face, size: float, room: float) -> str:
    """The text, drawable; where it would be wider than `room`, cut short with an ellipsis."""
    line = drawable(text, face)
    if width_of(line, face, size) <= room:
        return line
    while line and width_of(line + ELLIPSIS, face, size) > room:
        line = line[:-1].rstrip()
    return line + ELLIPSIS


def broken(pieces: Iterable[str], joint: str, face: Face, size: float, room: float) -> list[str]:
    """Pieces joined to lines that fit, broken between pieces only; one too wide for a line is cut."""
    lines: list[str] = []
    for piece in pieces:
        longer = f"{lines[-1]}{joint}{drawable(piece, face)}" if lines else ""
        if lines and width_of(longer, face, size) <= room:
            lines[-1] = longer
        else:
            lines.append(cut_to(piece, face, size, room))
    return lines


@cache
def _file(face: Face) -> str:
    return str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / f"{_FILES[face]}.ttf")


@cache
def _letters(face: Face) -> frozenset[int]:
    return frozenset(get_font(_file(face)).get_charmap())


@cache
def _width_at_em(text: str, face: Face) -> float:
    width, _, _ = text_to_path.get_text_width_height_descent(text, face_of(face, _EM), False)
    return float(width)


def _drawn(letter: str, letters: frozenset[int]) -> str:
    if ord(letter) in letters:
        return letter
    return "" if unicodedata.category(letter) in _UNSEEN else NO_GLYPH
