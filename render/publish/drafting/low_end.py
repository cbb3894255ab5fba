"""Who keeps the low end of a draft: one bass at a time.

On the way in the record whose build has the most low end keeps it; from the landing the one with the strongest low
end after its drop (common practice: the lows are swapped on the one). What counts is the power below 120 Hz against
the record's own power after its drop, since lanes are matched in loudness there.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from render.publish.drafting.lanes import Lane, Span

HOLD_BARS = 16
"""How much of what follows a drop is compared."""
CLOSE_DB = 2.0
"""Two low ends that differ by less are as strong as each other to the ear (from memory)."""
NO_LOW_END_DB = -20.0
"""Below the record's level after its drop: less than this is a rumble, not a bass."""
_LEAST = 1e-6


@dataclass(frozen=True)
class LowEnds:
    """Of each lane by its name, in dB below its record's level after the drop: the low end in the lead and after."""

    before_db: dict[str, float]
    after_db: dict[str, float]

    def strongest_after(self) -> list[str]:
        return sorted(self.after_db, key=lambda name: -self.after_db[name])


@dataclass(frozen=True)
class Keeper:
    from_beat: int
    name: str


def low_ends(lanes: Sequence[Lane], span: Span) -> LowEnds:
    before, after = {}, {}
    for lane in lanes:
        name, line = lane.record.name, lane.line
        bars_per_beat = 1 / (line.fold * lane.record.grid.beats_per_bar)
        lead_bars = math.ceil(-span.plays_from(name) * bars_per_beat)
        drop = lane.candidate.bar - 1
        before[name] = _low_end_db(lane, max(0, drop - lead_bars), drop)
        after[name] = _low_end_db(lane, drop, drop + HOLD_BARS)
    return LowEnds(before, after)


def keeper_before(lanes: Sequence[Lane], span: Span, ends: LowEnds, after: str) -> str:
    """Who keeps the low end on the way in, of those that play from the start.

    Where none of them has a bass there, one that `after` can take it from at the landing.
    """
    names = [lane.record.name for lane in lanes]
    there = [name for name in names if span.plays_from(name) == -span.lead] or names
    best = max(there, key=lambda name: ends.before_db[name])
    if ends.before_db[best] >= NO_LOW_END_DB:
        return best
    return next((name for name in there if name != after), after)


def keepers(before: str, after: Sequence[str], span: Span) -> list[Keeper]:
    """Who keeps the low end from when on. `after` are all lanes in the order in which they take it.

    Where the keeper's record is over, the next one that still plays takes it.
    """
    kept = [Keeper(-span.lead, before)] if span.lead else []
    moment = 0
    while True:
        playing = [name for name in after if span.plays_until(name) > moment]
        if not playing or moment >= span.tail:
            return kept
        if not kept or kept[-1].name != playing[0]:
            kept.append(Keeper(moment, playing[0]))
        moment = span.plays_until(playing[0])


def _low_end_db(lane: Lane, first: int, end: int) -> float:
    """The low end of bars counted from 0, in dB against all of what follows the drop."""
    bars = lane.record.by.bars
    power = [sum(10 ** (level / 10) for level in levels) for levels in bars.bands_db]
    drop = lane.candidate.bar - 1
    whole = _mean(power[drop : drop + HOLD_BARS])
    low = _mean([share * own for share, own in zip(bars.low_end[first:end], power[first:end], strict=True)])
    return 10 * math.log10(max(low / max(whole, _LEAST), _LEAST))


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else 0.0
