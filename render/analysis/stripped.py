"""Where a record, before its drop, is little but drums: the passage to jump back to when another record drops.

Such a passage keeps the time and leaves the room: every bar of it has attacks, hardly a tone, and nobody sings. It is
8 or 16 bars long and starts where a phrase or half of one starts (common practice).

Conventions
-----------
- Bars count from 1; a passage lies wholly before the drop.
- A score is the mean over its bars of attacks × no tone × no voice, 0 to 1.
"""

import numpy as np

from render.analysis.per_bar import BarFeatures, Values
from render.facts import StrippedPassage

LENGTHS_BARS = (16, 8)
START_EVERY_BARS = 4
BUSY_PERCENTILE = 75.0
DRUMS_FROM = 0.4
"""Every bar has this share of the attacks of a busy bar; a bar with less is a gap or a pad."""
TONE_UP_TO = 0.4
"""Tonal weight of a passage: drums that ring reach 0.3, a chord under drums 0.4 and more."""
VOICE_UP_TO = 0.3
LONGER_WORTH = 0.05
"""A passage of 16 bars may score this much less than one of 8: it repeats itself later."""


def stripped_passages(
    features: BarFeatures, tonal_weight: Values, voice: Values, drop_bar: int, phrase_first_bar: int = 1
) -> tuple[StrippedPassage, ...]:
    """The stripped passages before `drop_bar`, the best first, none sharing a bar with a better one.

    `tonal_weight` and `voice` are `(bars,)`, 0 to 1. Nothing that qualifies gives an empty answer.
    """
    attacks = features.flux.mean(axis=1) + features.low_flux.mean(axis=1)
    busy = max(float(np.percentile(attacks, BUSY_PERCENTILE)), 1e-12) if len(attacks) else 1.0
    drums = np.minimum(attacks / busy, 1.0)
    worth = drums * (1.0 - tonal_weight) * (1.0 - voice)
    possible: list[tuple[float, StrippedPassage]] = []
    for bars in LENGTHS_BARS:
        for first in range((phrase_first_bar - 1) % START_EVERY_BARS, drop_bar - bars, START_EVERY_BARS):
            span = slice(first, first + bars)
            if (
                drums[span].min() >= DRUMS_FROM
                and tonal_weight[span].mean() <= TONE_UP_TO
                and voice[span].max() <= VOICE_UP_TO
            ):
                score = float(worth[span].mean())
                passage = StrippedPassage(float(features.bars.starts_s[first]), first + 1, bars, score)
                possible.append((score + (LONGER_WORTH if bars == max(LENGTHS_BARS) else 0.0), passage))
    found: list[StrippedPassage] = []
    for _, passage in sorted(possible, key=lambda rated: -rated[0]):
        if all(
            passage.bar + passage.bars <= other.bar or other.bar + other.bars <= passage.bar
            for other in found
        ):
            found.append(passage)
    return tuple(found)
