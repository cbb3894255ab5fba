"""Where a record drops: the few bars that come in with the most weight, each with its reasons.

Every bar line is weighed by what changes there. A change is a jump of level or of attacks from the bars before to the
bars after, and it saturates (tanh): one huge jump, like the first sound after silence, must not outweigh several
changes that agree. What a performer calls a drop brings the low end back after bars without it, is louder and
busier than what led up to it, comes after a build, and stays (common practice). So the level of the eight bars after
counts as well, and a change that is taken back after a bar or two gains little.

The two beats before a bar line are left out of what was before: there stand bass pick-ups, fills and the gap in
which everything holds its breath. A record with no low end, or with a drone below everything, is judged by the rest.

Conventions
-----------
- Bars count from 1. Levels are decibels below the record's loud bars and end at `FLOOR_DB`.
- A score is a plain sum of weights, comparable within one record only; as the weights come from a softmax fit, the
  difference of two scores is about their log odds. A performer hears the candidates anyway.
"""

import numpy as np

from render.analysis.per_bar import BarFeatures, Values
from render.facts import DropCandidate

MOST_CANDIDATES = 4
SPACING_BARS = 8
"""Of two candidates closer than a phrase only the better one is offered."""
BEFORE_BARS = 4
HOLD_BARS = 8
"""How long a drop is expected to stay: a phrase."""
PICK_UP_BEATS = 2
AWAY_BARS = 4
AWAY_DB = 12.0
LEAD_BARS = 16
"""64 beats: what a performer wants before a drop (common practice). A bar with less before it is less likely one."""
FLOOR_DB = -40.0
"""Below the record's loud bars: from here on, nothing is heard beside them."""
LOUD_PERCENTILE = 90.0

LOW_STEP_DB = 6.0
LOUD_STEP_DB = 3.0
"""A jump of this size counts three quarters of what an endless one does (tanh 1 = 0.76)."""
ATTACK_STEP = 0.5
"""The same for attacks: half of what the record has in its busy bars."""
LEVEL_STEP_DB = 6.0

WEIGHTS = {
    "low end": 1.0,
    "kicks": 0.9,
    "louder": 0.2,
    "busier": 0.2,
    "stays low": 0.4,
    "stays loud": 0.5,
    "arrives": 0.3,
    "away": 0.4,
    "build": 0.8,
    "phrase": 0.5,
    "early": 0.3,
}
"""Rounded from a softmax fit on invented records; a riser can be as loud as what it leads to, so loudness is little."""
HALF_PHRASE = 0.8
"""A build of four bars or twelve is nearly as usual as one of eight or sixteen."""
SAID_FROM = 0.35
"""A change that reaches this share of its weight is worth telling."""


def drop_candidates(
    features: BarFeatures, phrase_bars: int = 8, phrase_first_bar: int = 1
) -> tuple[DropCandidate, ...]:
    """Up to four bars at which the record may drop, the likeliest first.

    `phrase_first_bar` is any bar that starts a phrase. A record of less than two bars has no candidate.
    """
    if features.bars.count < 2:
        return ()
    evidence = _evidence(features, phrase_bars, phrase_first_bar)
    scores = sum((WEIGHTS[name] * values for name, values in evidence.items()), np.zeros(features.bars.count))
    found: list[DropCandidate] = []
    for bar in np.argsort(-scores[1:], kind="stable") + 1:  # nothing comes before bar 1
        if all(abs(bar + 1 - other.bar) >= SPACING_BARS for other in found):
            why = _reasons(features, evidence, int(bar))
            found.append(
                DropCandidate(float(features.bars.starts_s[bar]), int(bar) + 1, float(scores[bar]), why)
            )
        if len(found) == MOST_CANDIDATES:
            break
    return tuple(found)


def _evidence(features: BarFeatures, phrase_bars: int, phrase_first_bar: int) -> dict[str, Values]:
    """What speaks for each bar, `(bars,)` each, from −1 to 1."""
    low, loud = features.low_power, features.loudness_power
    low_db, loud_db = _levels_db(low.mean(axis=1)), _levels_db(loud.mean(axis=1))
    bright_db = _levels_db(features.band_power[:, 6:].sum(axis=1))
    numbers = np.arange(features.bars.count)
    in_phrase = (numbers + 1 - phrase_first_bar) % phrase_bars
    return {
        "low end": np.tanh(_jump_db(low) / LOW_STEP_DB),
        "kicks": np.tanh(np.maximum(_jump(features.low_flux), 0.0) / ATTACK_STEP),
        "louder": np.tanh(_jump_db(loud) / LOUD_STEP_DB),
        "busier": np.tanh(_jump(features.flux) / ATTACK_STEP),
        "stays low": np.tanh(_held(low_db) / LEVEL_STEP_DB),
        "stays loud": np.tanh(_held(loud_db) / LEVEL_STEP_DB),
        "arrives": np.tanh(np.minimum(low_db - _held(low_db), 0.0) / LEVEL_STEP_DB),
        "away": _away(low_db),
        "build": np.tanh(np.maximum(_rise_before(bright_db), 0.0) / LEVEL_STEP_DB),
        "phrase": np.where(in_phrase == 0, 1.0, np.where(in_phrase == phrase_bars // 2, HALF_PHRASE, 0.0)),
        "early": np.minimum(numbers / LEAD_BARS, 1.0) - 1.0,
    }


def _levels_db(power: Values) -> Values:
    """Decibels below the record's loud bars, not below `FLOOR_DB`; the same shape."""
    loud = float(np.percentile(power, LOUD_PERCENTILE))
    floor = max(loud, 1e-12) * 10.0 ** (FLOOR_DB / 10)
    levels: Values = 10.0 * np.log10(np.maximum(power, floor) / max(loud, 1e-12))
    return levels


def _around(values: Values) -> tuple[Values, Values]:
    """What a measure `(bars, beats)` is before and after each bar line, `(bars,)` each.

    After is the lesser of two bars, and before the greater of four bars and the last: so a bar line next to the
    drop's, which has one bar of the drop on its wrong side, sees no jump, and a silent bar before the drop is no
    reason to see one where it starts. Before bar 1 there is nothing, which is given as the mean after it: no jump.
    """
    bars, beats = values.shape
    flat = np.concatenate([[0.0], np.cumsum(values.ravel())])
    line = np.arange(bars) * beats
    each = values.mean(axis=1)
    after = np.minimum(each, np.append(each[1:], each[-1]))
    start = np.maximum(line - BEFORE_BARS * beats, 0)
    end = np.maximum(line - PICK_UP_BEATS, start + 1)
    before = (flat[end] - flat[start]) / (end - start)
    opening = values[:, : max(1, beats - PICK_UP_BEATS)].mean(axis=1)
    before[1:] = np.maximum(before[1:], opening[:-1])
    before[0] = after[0]
    return before, after


def _jump_db(power: Values) -> Values:
    """How many decibels a power `(bars, beats)` jumps at each bar line, `(bars,)`."""
    before, after = _around(power)
    loud = max(float(np.percentile(power.mean(axis=1), LOUD_PERCENTILE)), 1e-12)
    floor = loud * 10.0 ** (FLOOR_DB / 10)
    jump: Values = 10.0 * np.log10(np.maximum(after, floor) / np.maximum(before, floor))
    return jump


def _jump(attacks: Values) -> Values:
    """How much attacks `(bars, beats)` grow at each bar line, as a share of the record's busy bars, `(bars,)`."""
    before, after = _around(attacks)
    busy = max(float(np.percentile(attacks.mean(axis=1), LOUD_PERCENTILE)), 1e-12)
    jump: Values = (after - before) / busy
    return jump


def _held(level_db: Values) -> Values:
    """The mean level of the `HOLD_BARS` from each bar on, `(bars,)`."""
    return np.array([level_db[bar : bar + HOLD_BARS].mean() for bar in range(len(level_db))])


def _away(low_db: Values) -> Values:
    """Whether in `AWAY_BARS` of the phrase before a bar the low end was away, 0 to 1, `(bars,)`.

    Away is `AWAY_DB` below what follows.
    """
    gone = [
        np.count_nonzero(low_db[max(0, bar - HOLD_BARS) : bar] < held - AWAY_DB)
        for bar, held in enumerate(_held(low_db))
    ]
    return np.minimum(np.array(gone) / AWAY_BARS, 1.0)


def _rise_before(bright_db: Values) -> Values:
    """How far the top has risen through the phrase before each bar, in decibels, `(bars,)`."""
    rise = np.zeros(len(bright_db))
    for bar in range(HOLD_BARS // 2, len(bright_db)):
        first = max(0, bar - HOLD_BARS)
        rise[bar] = (
            bright_db[max(first, bar - 2) : bar].max() - bright_db[first : max(first + 1, bar - 2)].min()
        )
    return rise


def _reasons(features: BarFeatures, evidence: dict[str, Values], bar: int) -> tuple[str, ...]:
    """What speaks for a bar, counted from 0 here, in a performer's words."""
    low_db = float(_jump_db(features.low_power)[bar])
    loud_db = float(_jump_db(features.loudness_power)[bar])
    words = {
        "low end": f"the low end comes in, {low_db:+.0f} dB",
        "kicks": "kick and bass start to hit",
        "louder": f"louder by {loud_db:.0f} dB",
        "busier": "more attacks than before",
        "away": "no low end in the bars before",
        "build": "a build rises into it",
        "phrase": "starts a phrase" if evidence["phrase"][bar] == 1.0 else "stands half-way through a phrase",
    }
    telling = {name: WEIGHTS[name] * float(evidence[name][bar]) for name in words}
    return tuple(
        words[name]
        for name in sorted(telling, key=lambda name: -telling[name])
        if telling[name] >= SAID_FROM * WEIGHTS[name]
    )
