"""Levels as tones of one hue: paper for nothing, and even steps of lightness down to the darkest for the loudest.

The steps are even in CIELAB, where equal distances look about equal (CIE 15:2018, 8.2.1), and its L* is what the eye
takes for lightness.
"""

import math

STEP_DB = 3.0
STEPS = 15
"""45 dB in all: the top octaves of a full bar lie 15 to 40 dB below its bass."""
RANGE_DB = STEPS * STEP_DB

PAPER = "#fcfbf7"
_LIGHTEST, _DARKEST = 94.0, 24.0
"""L* of the first and the last step; paper has 98.5."""
_CHROMA = 4.0, 18.0
_HUE_DEGREES = 68.0
"""The warm side of the paper's own tint."""

_D65 = 0.95047, 1.0, 1.08883
_XYZ_TO_RGB = (
    (3.2406, -1.5372, -0.4986),
    (-0.9689, 1.8758, 0.0415),
    (0.0557, -0.2040, 1.0570),
)
"""IEC 61966-2-1, for white D65."""


def step_of(level_db: float) -> int:
    """Which step a level takes, in dB below the loudest: `STEPS` down to −3 dB, 0 from −45 dB on."""
    return min(max(math.ceil((level_db + RANGE_DB) / STEP_DB), 0), STEPS)


def tone(step: int) -> str:
    """The colour of a step, `#rrggbb`."""
    if step == 0:
        return PAPER
    share = (step - 1) / (STEPS - 1)
    chroma = _CHROMA[0] + share * (_CHROMA[1] - _CHROMA[0])
    hue = math.radians(_HUE_DEGREES)
    lightness = _LIGHTEST + share * (_DARKEST - _LIGHTEST)
    return _srgb(lightness, chroma * math.cos(hue), chroma * math.sin(hue))


def _srgb(lightness: float, a: float, b: float) -> str:
    """A colour of CIELAB in sRGB: CIE 15:2018, 8.2.1, turned round, then IEC 61966-2-1."""
    middle = (lightness + 16) / 116
    xyz = [
        white * (f**3 if f > 6 / 29 else 3 * (6 / 29) ** 2 * (f - 4 / 29))
        for white, f in zip(_D65, (middle + a / 500, middle, middle - b / 200), strict=True)
    ]
    linear = [sum(share * part for share, part in zip(row, xyz, strict=True)) for row in _XYZ_TO_RGB]
    encoded = [12.92 * c if c <= 0.0031308 else 1.055 * c ** (1 / 2.4) - 0.055 for c in linear]
    return "#" + "".join(f"{round(255 * min(max(c, 0.0), 1.0)):02x}" for c in encoded)
