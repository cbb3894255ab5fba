"""The tones of levels: one hue, even steps of lightness.

Colours are turned into CIELAB here from sRGB (IEC 61966-2-1, then CIE 15:2018, 8.2.1), the other way round than the
program does.
"""

import math
from itertools import pairwise

import pytest

from render.publish.tones import PAPER, STEPS, step_of, tone

D65 = (0.9505, 1.0, 1.089)


def lab(colour: str) -> tuple[float, float, float]:
    encoded = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in encoded)
    xyz = (
        0.4124 * red + 0.3576 * green + 0.1805 * blue,
        0.2126 * red + 0.7152 * green + 0.0722 * blue,
        0.0193 * red + 0.1192 * green + 0.9505 * blue,
    )
    f = [
        (part / white) ** (1 / 3)
        if part / white > (6 / 29) ** 3
        else part / white * (29 / 6) ** 2 / 3 + 4 / 29
        for part, white in zip(xyz, D65, strict=True)
    ]
    return 116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])


@pytest.mark.parametrize(
    ("colour", "expected"),
    # sRGB primaries and middle grey in CIELAB under D65: values given everywhere; from memory.
    [
        ("#ff0000", (53.24, 80.09, 67.20)),
        ("#0000ff", (32.30, 79.19, -107.86)),
        ("#777777", (50.03, 0.0, 0.0)),
    ],
)
def test_the_way_into_cielab_is_right(colour: str, expected: tuple[float, float, float]) -> None:
    assert lab(colour) == pytest.approx(expected, abs=0.06)


def test_every_step_is_as_much_darker_as_the_others() -> None:
    lightness = [lab(tone(step))[0] for step in range(STEPS + 1)]
    steps = [lighter - darker for lighter, darker in pairwise(lightness[1:])]
    # A channel of 8 bits leaves L* uncertain by about 0.2.
    assert steps == pytest.approx([70 / 14] * 14, abs=0.4)
    assert lightness[0] - lightness[1] == pytest.approx(5.0, abs=0.8)


def test_all_steps_have_one_hue() -> None:
    hues = [math.degrees(math.atan2(b, a)) for _, a, b in (lab(tone(step)) for step in range(1, STEPS + 1))]
    # At a chroma of 4, 8 bits leave the hue uncertain by some degrees.
    assert max(hues) - min(hues) < 10
    assert hues[-1] == pytest.approx(hues[STEPS // 2], abs=3)


def test_silence_is_paper() -> None:
    assert tone(0) == PAPER


@pytest.mark.parametrize(
    ("level_db", "step"),
    [
        (0.0, 15),
        (-2.9, 15),
        (-3.0, 14),
        (-22.5, 8),
        (-42.0, 1),
        (-44.9, 1),
        (-45.0, 0),
        (-60.0, 0),
        (0.1, 15),
    ],
)
def test_levels_take_steps_of_3_db(level_db: float, step: int) -> None:
    assert step_of(level_db) == step
