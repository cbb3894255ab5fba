"""The geometry of a clip's picture: beats to places, levels to bars, marks to labels that do not meet.

Units are those of the picture's own coordinates, `WIDTH` of them across. A telephone shows the picture 360 px wide,
half a pixel a unit, so nothing is lettered smaller than 18 units: 9 px there.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from render.plan.model import ClipClock, Lane, Passage
from render.publish.lettering import cleaned, fitted, width_em

WIDTH = 720.0
LEFT, RIGHT = 58.0, 706.0
"""Between these the beats lie; left of them is room for the words of a scale."""
BODY_HEIGHT = 64.0
"""Of a lane's span and of the strip of levels."""

SMALL = 18.0
"""Type of labels."""

LEVEL_RANGE_DB = 30.0
"""Between the top of a scale and its foot: a drop and the breakdown before it both show, a noise floor does not."""
LEVEL_STEP_DB = 6.0
"""Scales end on a multiple of this: a doubling of amplitude."""

LINE_GAP, LABEL_GAP = 5.0, 66.0
"""Lines closer than this run together, numbers closer than this touch."""
BAR_GAP = 0.45
"""Left free at either end of a bar where single beats are too narrow to stand apart."""
STROKE = 2.0
PAD = 6.0
"""Kept clear between a label and what is beside it."""
SHORTEST = 50.0
"""A label shortened to less than this says nothing."""


def number(value: float) -> str:
    """A coordinate: two decimals are finer than any screen."""
    return f"{round(value, 2) + 0.0:g}"


@dataclass(frozen=True)
class Axis:
    """Clip beats laid across the picture."""

    clock: ClipClock

    @property
    def beat_units(self) -> float:
        return (RIGHT - LEFT) / (self.clock.lead_beats + self.clock.tail_beats)

    def x(self, beat: float) -> float:
        return LEFT + (beat + self.clock.lead_beats) * self.beat_units

    def every(self, step_beats: float) -> list[float]:
        """The beats of the clip that are whole numbers of a step away from the landing, the landing left out."""
        first = math.ceil(-self.clock.lead_beats / step_beats)
        last = math.floor(self.clock.tail_beats / step_beats)
        return [step * step_beats for step in range(first, last + 1) if step]

    def lines(self, bars: int, top: float, bottom: float) -> str:
        """A path of lines, one every `bars` bars; empty where they would run together."""
        step = bars * self.clock.beats_per_bar
        if step * self.beat_units < LINE_GAP:
            return ""
        up, down = number(top), number(bottom)
        return "".join(f"M{number(self.x(beat))} {up}V{down}" for beat in self.every(step))

    def gaps(self, beat: float) -> tuple[float, float]:
        """What a beat's bar leaves free on its left and right: all stand apart, or those of a bar together."""
        if self.beat_units >= LINE_GAP - 1:
            return self.beat_units / 8, self.beat_units / 8
        first, last = beat % self.clock.beats_per_bar == 0, (beat + 1) % self.clock.beats_per_bar == 0
        gap = BAR_GAP if self.clock.beats_per_bar * self.beat_units >= LINE_GAP else 0.0
        return gap * first, gap * last

    def numbered(self) -> list[float]:
        """The beats to write a number at: every 1, 2, 4 ... bars, as many as there is room for."""
        step = self.clock.beats_per_bar
        while step * self.beat_units < LABEL_GAP:
            step *= 2
        return self.every(step)


@dataclass(frozen=True)
class Levels:
    """A scale of levels in dB, from its top down."""

    top_db: float

    @classmethod
    def holding(cls, levels_db: Iterable[float | None]) -> "Levels":
        loudest = max((level for level in levels_db if level is not None), default=0.0)
        return cls(LEVEL_STEP_DB * math.ceil(loudest / LEVEL_STEP_DB - 1e-9))

    def height(self, level_db: float) -> float:
        share = 1.0 + (level_db - self.top_db) / LEVEL_RANGE_DB
        return BODY_HEIGHT * min(max(share, 0.0), 1.0)

    def ticks(self) -> list[float]:
        """The levels to write a number at: even numbers of steps, from the top down."""
        step = 2 * LEVEL_STEP_DB
        first = math.floor(self.top_db / step)
        count = math.floor((first * step - self.top_db + LEVEL_RANGE_DB) / step)
        return [(first - index) * step for index in range(count + 1)]


@dataclass(frozen=True)
class Bar:
    left: float
    right: float
    height: float


def bars(axis: Axis, scale: Levels, levels_db: Sequence[float | None], start: float, end: float) -> list[Bar]:
    """A bar for every beat between two clip beats that has a level; `levels_db` begin with the clip."""
    made = []
    for index, level in enumerate(levels_db):
        beat = index - axis.clock.lead_beats
        left, right = max(beat, start), min(beat + 1, end, axis.clock.tail_beats)
        if level is not None and left < right and scale.height(level) > 0:
            gap_left, gap_right = axis.gaps(beat)
            made.append(Bar(axis.x(left) + gap_left, axis.x(right) - gap_right, scale.height(level)))
    return made


def bars_path(made: Sequence[Bar], foot: float) -> str:
    """Bars on a foot as one path; those that touch become one outline, so that no seams show between them."""
    path, before = "", None
    for bar in made:
        touches = before is not None and number(before) == number(bar.left)
        if not touches:
            path += f"V{number(foot)}Z" if path else ""
            path += f"M{number(bar.left)} {number(foot)}"
        path += f"V{number(foot - bar.height)}H{number(bar.right)}"
        before = bar.right
    return f"{path}V{number(foot)}Z" if path else ""


def passage_path(axis: Axis, lane: Lane, passage: Passage, top: float, foot: float) -> str:
    """The outline of a passage: as high as the lane is faded in."""
    start, end = lane.start_beat, lane.end_beat
    knees = (start + lane.fade_in_beats, end - lane.fade_out_beats)
    inside = sorted({knee for knee in knees if passage.start_beat < knee < passage.end_beat})
    path = f"M{number(axis.x(passage.start_beat))} {number(foot)}"
    for beat in (passage.start_beat, *inside, passage.end_beat):
        faded_in = (beat - start) / lane.fade_in_beats if lane.fade_in_beats else 1.0
        faded_out = (end - beat) / lane.fade_out_beats if lane.fade_out_beats else 1.0
        height = (foot - top) * max(min(faded_in, faded_out, 1.0), 0.0)
        path += f"L{number(axis.x(beat))} {number(foot - height)}"
    return f"{path}L{number(axis.x(passage.end_beat))} {number(foot)}Z"


@dataclass(frozen=True)
class Span:
    """A span of a lane's low end."""

    x: float
    width: float
    kept: bool

    def outline(self, top: float, height: float) -> str:
        """A path of a hollow box, `STROKE` wide inside of the span."""
        left, right = self.x + STROKE / 2, max(self.x + self.width - STROKE / 2, self.x + STROKE / 2)
        upper, lower = top + STROKE / 2, top + height - STROKE / 2
        return f"M{number(left)} {number(upper)}H{number(right)}V{number(lower)}H{number(left)}Z"


def low_end_spans(axis: Axis, lane: Lane) -> Iterator[Span]:
    """The lane from its start to its end, divided into where it has its low end and where that is cut."""
    edges = {lane.start_beat, lane.end_beat}
    for cut in lane.cuts:
        edges |= {min(max(beat, lane.start_beat), lane.end_beat) for beat in (cut.start_beat, cut.end_beat)}
    for start, end in pairwise(sorted(edges)):
        kept = not any(cut.start_beat < end and start < cut.end_beat for cut in lane.cuts)
        yield Span(axis.x(start), axis.x(end) - axis.x(start), kept)


MarkKind = Literal["jump", "drop", "fade", "loop"]
_WEIGHT: tuple[MarkKind, ...] = ("jump", "drop", "fade", "loop")
"""Whose label is placed first."""
_ROOM: dict[MarkKind, tuple[float, float]] = {
    "jump": (24.0, 3.0),
    "drop": (9.0, 9.0),
    "fade": (0.0, 0.0),
    "loop": (0.0, 0.0),
}
"""Units that the sign itself takes, left and right of its moment: an arrow back, a dot, nothing."""


@dataclass(frozen=True)
class Mark:
    """A moment of a lane that has a name."""

    kind: MarkKind
    beat: float
    text: str


def marks(axis: Axis, lane: Lane) -> Iterator[Mark]:
    """What happens in a lane, by name. Rounds of a loop are numbered where there is room, else counted at its jump."""
    for run in _runs(lane.legs):
        first, *rounds = run
        round_units = (first.end_beat - first.start_beat) * axis.beat_units
        numbered = round_units >= LABEL_GAP / 2
        if first.begins == "jump":
            count = f", ×{len(run)}" if rounds and not numbered else ""
            yield Mark("jump", first.start_beat, f"back to {first.marker}{count}")
        if round_units >= 2 * LINE_GAP:
            for again in rounds:
                yield Mark("loop", again.start_beat, f"×{again.loop_pass}" if numbered else "")
    if lane.drops:
        yield Mark("drop", 0.0, "drop")
    if lane.fade_in_beats:
        yield Mark("fade", lane.start_beat, "fades in")
    if lane.fade_out_beats:
        yield Mark("fade", lane.end_beat - lane.fade_out_beats, "fades out")


def _runs(passages: Iterable[Passage]) -> list[list[Passage]]:
    """Passages, those of one loop together."""
    runs: list[list[Passage]] = []
    for passage in passages:
        if passage.begins == "loop" and runs:
            runs[-1].append(passage)
        else:
            runs.append([passage])
    return runs


@dataclass(frozen=True)
class Label:
    x: float
    text: str
    kind: MarkKind
    anchor: Literal["start", "end"] = "start"


def labels(axis: Axis, found: Sequence[Mark]) -> list[Label]:
    """Labels beside their marks, the weightiest first, where none covers another or a mark; some find no room."""
    taken = [
        (axis.x(mark.beat) - before, axis.x(mark.beat) + after)
        for mark in found
        for before, after in (_ROOM[mark.kind],)
        if after
    ]
    made = []
    for mark in sorted(found, key=lambda mark: (_WEIGHT.index(mark.kind), mark.beat)):
        label = _label(axis, mark, taken) if mark.text else None
        if label:
            width = width_em(label.text) * SMALL
            left = label.x if label.anchor == "start" else label.x - width
            taken.append((left - PAD, left + width + PAD))
            made.append(label)
    return made


def _label(axis: Axis, mark: Mark, taken: Sequence[tuple[float, float]]) -> Label | None:
    """The label right of its mark, else left of it, else shortened on the side with more room."""
    before, after = _ROOM[mark.kind]
    right_x, left_x = axis.x(mark.beat) + after + PAD, axis.x(mark.beat) - before - PAD
    right_room = _room(right_x, taken, RIGHT)
    left_room = _room(-left_x, [(-right, -left) for left, right in taken], -LEFT)
    text = cleaned(mark.text)
    needed = width_em(text) * SMALL
    if needed <= right_room:
        return Label(right_x, text, mark.kind)
    if mark.kind in ("loop", "fade"):
        return None
    if needed <= left_room:
        return Label(left_x, text, mark.kind, "end")
    if max(left_room, right_room) < SHORTEST:
        return None
    if right_room >= left_room:
        return Label(right_x, fitted(text, right_room / SMALL), mark.kind)
    return Label(left_x, fitted(text, left_room / SMALL), mark.kind, "end")


def _room(x: float, taken: Sequence[tuple[float, float]], limit: float) -> float:
    """How far it is free from a place on, up to a limit."""
    if any(left < x < right for left, right in taken):
        return 0.0
    return min((left for left, _ in taken if left >= x), default=limit) - x
