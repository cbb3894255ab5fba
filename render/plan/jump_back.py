"""Jumping back: at a moment of the clip a lane goes on from an earlier place of its record, in phase.

In phase means that the place in the bar is kept: the jump is a whole number of bars of the record's own grid, and
of those the one that comes out at its marker, or on the next place after it that fits. A marker up to half a beat
late still counts as on time, since stated times are rounded.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from render.plan.align import Alignment
from render.values import Grid

EARLY_BEATS = 0.5


@dataclass(frozen=True)
class Jump:
    """One jump of a lane. `loop_beats` counts clip beats; None goes on without repeating."""

    index: int
    """Which entry of the recipe's `jump_back` it is."""
    at_beat: float
    marker: str
    to_s: float
    loop_beats: float | None


@dataclass(frozen=True)
class Leg:
    """A span of the clip in which a lane follows one line through its record, or a piece of one."""

    start_beat: float
    end_beat: float
    alignment: Alignment
    jump: Jump | None = None
    loop_pass: int = 0
    goes_on: bool = False
    """Whether it only goes on from the piece before it."""


def bars_back(grid: Grid, from_s: float, to_s: float) -> int:
    """How many whole bars a jump goes back: it comes out on the target, or less than a bar after it."""
    gap_beats = grid.beat_at(from_s) - grid.beat_at(to_s)
    return math.floor((gap_beats + EARLY_BEATS) / grid.beats_per_bar)


def jumped(line: Alignment, grid: Grid, jump: Jump) -> Alignment:
    """The line that a lane follows from a jump on."""
    bars = bars_back(grid, line.source_s(jump.at_beat), jump.to_s)
    return line.shifted(-bars * grid.beats_per_bar)


def legs(
    line: Alignment, grid: Grid, start_beat: float, end_beat: float, jumps: Sequence[Jump]
) -> Iterator[Leg]:
    """The spans of a lane between its entry, its jumps and its end, loops unrolled. They touch and never overlap."""
    edges = [*(jump.at_beat for jump in jumps), end_beat]
    if start_beat < edges[0]:
        yield Leg(start_beat, edges[0], line)
    for jump, until_beat in zip(jumps, edges[1:], strict=True):
        line = jumped(line, grid, jump)
        if jump.loop_beats is None:
            yield Leg(jump.at_beat, until_beat, line, jump)
            continue
        rounds = math.ceil((until_beat - jump.at_beat) / jump.loop_beats - 1e-9)
        for round_index in range(rounds):
            begin = jump.at_beat + round_index * jump.loop_beats
            end = min(begin + jump.loop_beats, until_beat)
            looped = line.shifted(-round_index * jump.loop_beats / line.fold)
            yield Leg(begin, end, looped, jump, round_index + 1)
        line = line.shifted(-(rounds - 1) * jump.loop_beats / line.fold)
