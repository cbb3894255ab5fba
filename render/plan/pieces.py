"""A leg of a drifting record, in pieces of one speed each.

A record whose tempo drifts runs faster and slower than the clip by turns. It is stretched bar by bar, each bar at the
one speed that brings both of its bar lines under the clip's; a bar that bends more than that can follow is divided
at beats. The landing always is an edge, so that the drop is placed exactly.
"""

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import chain, pairwise

from render.plan.jump_back import Leg
from render.values import Grid

BEND_S = 0.001
"""How far a beat may lie from its place inside a piece: what is sound for a landing (`render.checks.landing`). Fewer
pieces are better to hear than the last tenth of a millisecond."""
SHORTEST_BEATS = 1.0
"""Of the record or of the clip, whichever is shorter. Only a leg that itself begins or ends nearer to the landing has
a shorter piece there."""
_TOUCH = 1e-9
_NO_PIECE_BEATS = 1 / 16
"""A lane that begins or ends this near to the landing is not divided there."""


def pieces(leg: Leg) -> Iterator[Leg]:
    """The pieces of a leg, which touch; the leg itself where its record keeps its tempo."""
    line, grid = leg.alignment, leg.alignment.drifting
    if grid is None:
        yield leg
        return
    fixed = [leg.start_beat, leg.end_beat]
    if leg.start_beat < -_NO_PIECE_BEATS and leg.end_beat > _NO_PIECE_BEATS:
        fixed.insert(1, 0.0)
    origin = line.record_beat(0.0)
    shortest = SHORTEST_BEATS * min(1.0, 1.0 / line.fold)
    edges = [leg.start_beat]
    for start, end in pairwise(fixed):
        inner = edges_within(grid, line.record_beat(start), line.record_beat(end), shortest)
        edges += [*((beat - origin) * line.fold for beat in inner), end]
    for start, end in pairwise(edges):
        yield replace(leg, start_beat=start, end_beat=end, goes_on=start > leg.start_beat)


def edges_within(grid: Grid, start: float, end: float, shortest: float) -> list[int]:
    """The beats of the record, between two of its places, at which its speed has to change; in order.

    They leave no piece shorter than `shortest`, which is at most a beat.
    """
    lines = [beat for beat in _beats_within(start, end, shortest) if beat % grid.beats_per_bar == 0]
    bends = (_bends(grid, one, other, shortest) for one, other in pairwise([start, *lines, end]))
    return sorted([*lines, *chain.from_iterable(bends)])


def _beats_within(start: float, end: float, shortest: float) -> range:
    return range(math.ceil(start + shortest - _TOUCH), math.floor(end - shortest + _TOUCH) + 1)


def _bends(grid: Grid, start: float, end: float, shortest: float) -> list[int]:
    """The fewest beats, found by halving, between which all others lie within `BEND_S` of a straight line."""
    inner = _beats_within(start, end, shortest)
    speed = (grid.time_s(end) - grid.time_s(start)) / (end - start)
    bend_s = [abs(grid.time_s(beat) - grid.time_s(start) - (beat - start) * speed) for beat in inner]
    if max(bend_s, default=0.0) <= BEND_S:
        return []
    middle = inner[len(inner) // 2]
    return [*_bends(grid, start, middle, shortest), middle, *_bends(grid, middle, end, shortest)]
