"""Beats that somebody marked: whether they can be a record's beats, and where its bars begin.

Conventions
-----------
- Times are seconds from the start of the recording.
- A beat's number is its place in the bar, from 1; it may be missing, for all beats or for some.
- A place says where in the file a mark stands, in a form to be put behind the file's name: `:12`, `, beat 12`.
- Notes begin with a place, too.

Bars of one length are looked for: the length and the phase that agree with most of the numbers. Where they agree
with some but not all, the bars are counted so and a note tells where the count breaks; where they agree with no
more than half, the marks are refused, for then any count would be a guess.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from render.facts import GivenBeats
from render.values import clock

FEWEST_BEATS = 8
"""Two bars of four: fewer say nothing of a record."""
MOST_BEATS = 100_000
"""Nine hours at 180 BPM."""
SHORTEST_BEAT_S = 0.1
"""600 BPM."""
LONGEST_BEAT_S = 3.0
"""20 BPM."""
MOST_BEATS_PER_BAR = 32
"""As in a recipe."""

_Whole = npt.NDArray[np.int64]

_AROUND_BEATS = 9
"""A beat's length is compared with the median of as many, itself in the middle."""
_ODD_RATIO = 1.5
"""A beat so much longer than those around it is more likely two with a mark missing; so much shorter, one too many."""


class BeatsFault(Exception):
    """What is wrong with marks, where, and what would be right."""

    def __init__(self, place: str, wrong: str, right: str) -> None:
        self.place, self.wrong, self.right = place, wrong, right
        super().__init__(place, wrong, right)


@dataclass(frozen=True)
class Mark:
    """One marked beat. `beats_per_bar` is that of its own bar, where the file says it."""

    place: str
    time_s: float
    number: int | None = None
    beats_per_bar: int | None = None


@dataclass(frozen=True)
class _Bars:
    index: int | None = None
    beats: int | None = None
    notes: tuple[str, ...] = ()


def beats_of(marks: Sequence[Mark]) -> tuple[GivenBeats, tuple[str, ...]]:
    """The beats that marks stand for, and notes on what is odd about them. Raises BeatsFault."""
    _check_times(marks)
    bars = _bars_of(marks)
    beats = GivenBeats(tuple(mark.time_s for mark in marks), bars.index, bars.beats)
    return beats, (*_odd_lengths(marks), *bars.notes)


def whole_number(value: float) -> int | None:
    """A beat's number, or how many beats a bar has; None for what cannot be one."""
    return int(value) if 1 <= value <= MOST_BEATS_PER_BAR and value == int(value) else None


def _check_times(marks: Sequence[Mark]) -> None:
    if len(marks) < FEWEST_BEATS:
        count = {0: "no beats", 1: "one beat"}.get(len(marks), f"{len(marks)} beats")
        raise BeatsFault("", f"it holds {count}", f"mark all of the record's beats, at least {FEWEST_BEATS}")
    if len(marks) > MOST_BEATS:
        raise BeatsFault("", f"it holds more than {MOST_BEATS:,} beats", "give the beats of one record")
    if marks[0].time_s < 0:
        wrong = f"a beat at {marks[0].time_s:g} s, before the record begins"
        raise BeatsFault(marks[0].place, wrong, "times count from the start of the recording")
    for before, mark in pairwise(marks):
        length_s = mark.time_s - before.time_s
        if length_s <= 0:
            wrong = f"a beat at {mark.time_s:.10g} s comes after one at {before.time_s:.10g} s"
            raise BeatsFault(mark.place, wrong, "give each beat once, in order of time")
        if length_s < SHORTEST_BEAT_S:
            wrong = f"a beat only {length_s:.3g} s after the one at {clock(before.time_s)}"
            raise BeatsFault(mark.place, wrong, f"beats last {SHORTEST_BEAT_S:g} to {LONGEST_BEAT_S:g} s")
        if length_s > LONGEST_BEAT_S:
            wrong = f"a gap of {length_s:.4g} s after the beat at {clock(before.time_s)}"
            raise BeatsFault(
                mark.place, wrong, f"mark every beat: they last {SHORTEST_BEAT_S:g} to {LONGEST_BEAT_S:g} s"
            )


def _odd_lengths(marks: Sequence[Mark]) -> list[str]:
    """A note on the first beat that seems to be missing, and on the first that seems to be one too many."""
    from scipy.ndimage import (
        median_filter,  # most records have no beats beside them, and this takes time to load
    )

    lengths_s = np.diff([mark.time_s for mark in marks])
    ratios = lengths_s / median_filter(lengths_s, size=_AROUND_BEATS, mode="mirror")
    notes = []
    for odd, told in (
        (ratios > _ODD_RATIO, "is a mark missing"),
        (ratios < 1 / _ODD_RATIO, "is there a mark too many"),
    ):
        found = np.flatnonzero(odd)
        if found.size:
            mark = marks[found[0]]
            more = f" (and {found.size - 1} more like it)" if found.size > 1 else ""
            notes.append(
                f"{mark.place}: the beat at {clock(mark.time_s)} lasts {ratios[found[0]]:.1f} times as long as "
                f"those around it{more}: {told}?"
            )
    return notes


def _bars_of(marks: Sequence[Mark]) -> _Bars:
    at = np.array([index for index, mark in enumerate(marks) if mark.number is not None], np.int64)
    numbers = np.array([mark.number for mark in marks if mark.number is not None], np.int64)
    if not at.size:
        return _Bars()
    said = Counter(mark.beats_per_bar for mark in marks if mark.beats_per_bar is not None)
    lengths = [said.most_common(1)[0][0]] if said else range(2, MOST_BEATS_PER_BAR + 1)
    votes = {length: _best_phase(at, numbers, length) for length in lengths}
    agreeing = max(count for count, _ in votes.values())
    likeliest = [length for length, (count, _) in votes.items() if count == agreeing]
    beats = likeliest[-1]  # marks on every fourth beat fit bars of two and of four: four is what they say
    if 2 * agreeing <= len(at):
        raise _irregular(marks, at, numbers)
    notes = []
    if agreeing < len(at):
        mark, told = _first_break(marks, beats)
        notes.append(
            f"{mark.place}: {told}: bars are counted so that {agreeing} of {len(at)} numbers are right"
        )
    if any(beats % length for length in likeliest):
        notes.append(": it cannot be told from its numbers how many beats a bar has")
        ones = at[numbers == 1]
        return _Bars(int(ones[0]) if ones.size else None, None, tuple(notes))
    return _Bars(votes[beats][1], beats, tuple(notes))


def _irregular(marks: Sequence[Mark], at: _Whole, numbers: _Whole) -> BeatsFault:
    """What to say of numbers that no one length of bar fits."""
    right = "number all bars alike, as in 1 2 3 4, or leave the numbers out"
    lengths = np.diff(at[numbers == 1])
    if not lengths.size:
        return BeatsFault(marks[at[0]].place, "its numbers do not count the beats of bars", right)
    if (numbers == 1).all() and (lengths == 1).all():
        wrong = "every beat is numbered 1, as if it began a bar"
        return BeatsFault(marks[at[0]].place, wrong, "mark and number all beats, as in 1 2 3 4")
    mark, told = _first_break(marks, int(np.bincount(lengths).argmax()))
    return BeatsFault(mark.place, f"{told}, and no one length of bar fits most of the beats", right)


def _best_phase(at: _Whole, numbers: _Whole, beats: int) -> tuple[int, int]:
    """How many numbers agree with bars of so many beats, and on which of the first beats such a bar begins."""
    fits = numbers <= beats
    votes = np.bincount((at[fits] - numbers[fits] + 1) % beats, minlength=beats)
    return int(votes.max()), int(votes.argmax())


def _first_break(marks: Sequence[Mark], beats: int) -> tuple[Mark, str]:
    """The first number that does not follow from the last one before it, and the words for it."""
    numbered = [(index, mark, mark.number) for index, mark in enumerate(marks) if mark.number is not None]
    for (index, _, number), (index_after, mark, number_after) in pairwise(numbered):
        expected = (number - 1 + index_after - index) % beats + 1
        if number_after != expected:
            return mark, f"beat {number_after} of a bar where beat {expected} is due"
    _, mark, number = numbered[0]
    return mark, f"beat {number} of a bar of {beats}"
