"""Text that has to fit a drawing: made harmless, measured by estimate, shortened where it is too long.

An SVG breaks no lines, and which typeface a viewer has is not known when it is drawn. Widths are therefore
estimated by the kind of letter, on the wide side of what common sans-serif faces need.
"""

import unicodedata
from collections.abc import Sequence

NARROW_EM, USUAL_EM, CAPITAL_EM, WIDE_EM = 0.36, 0.62, 0.78, 1.0
"""Widths of letters in units of the type size: i, n, N and W of the wider of the faces that browsers fall back to."""
PICTOGRAM_EM = 1.4
NARROW, WIDE = frozenset("iIjl.,:;'|!()[]ft· \N{NO-BREAK SPACE}"), frozenset("mwMW@%&—…©®")
BOLD = 1.1
ELLIPSIS = "…"
MAX_MARKS = 2
"""Combining marks kept on one letter: every living script gets along with two, and more of them climb out of a line."""

_JOINERS = "\N{ZERO WIDTH JOINER}\N{ZERO WIDTH NON-JOINER}"
"""The only invisible characters that spell something: joined pictograms, Persian and Indic words."""

_NO_CHARACTERS = "\ufffe\uffff"
"""Outside of `Char` in XML 1.0 (fifth edition), production 2, as controls and surrogates are."""


def minus(text: str) -> str:
    """Numbers are set with a minus sign, which is as wide as a plus."""
    return text.replace("-", "−")


def spoken(names: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`; at least one."""
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]


def cleaned(text: str) -> str:
    """The text as one line without what XML forbids, what turns the direction of writing, and heaps of marks."""
    kept: list[str] = []
    marks = 0
    for character in " ".join(text.split()):
        category = unicodedata.category(character)
        marks = marks + 1 if category in ("Mn", "Me") else 0
        invisible = category in ("Cc", "Cs") or (category == "Cf" and character not in _JOINERS)
        if not invisible and character not in _NO_CHARACTERS and marks <= MAX_MARKS:
            kept.append(character)
    return "".join(kept)


def width_em(text: str) -> float:
    """How wide a line of regular type is at the most likely, in units of its size."""
    return sum(map(_letter_em, text))


def fitted(text: str, room_em: float) -> str:
    """The text cleaned and, where it would be wider than `room_em`, cut short with an ellipsis."""
    line = cleaned(text)
    if width_em(line) <= room_em:
        return line
    used, end = width_em(ELLIPSIS), 0
    for letter in line:
        used += _letter_em(letter)
        if used > room_em:
            break
        end += 1
    return line[:end].rstrip(f" {_JOINERS}") + ELLIPSIS


def _letter_em(letter: str) -> float:
    category = unicodedata.category(letter)
    if category in ("Mn", "Me", "Cf"):
        return 0.0
    if letter in NARROW:
        return NARROW_EM
    if letter in WIDE or unicodedata.east_asian_width(letter) in "WF":
        return PICTOGRAM_EM if category == "So" else WIDE_EM
    if category in ("So", "Cn"):
        return PICTOGRAM_EM
    return CAPITAL_EM if category in ("Lu", "Lt") else USUAL_EM
