"""Where each record of a draft lies under the clip: what there is before and after its drop, and who leaves early.

Positions are clip beats, 0 at the landing. Spans are counted in eights and their doubles, as phrases are (common
practice); only a record with less than a bar before its drop enters on a single beat.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from render.facts import DropCandidate, StrippedPassage
from render.plan.align import EDGE_S, Alignment, fold_of
from render.plan.jump_back import Jump, jumped
from render.publish.drafting.records import Place, Record

USUAL_BEATS = 64
"""How much of a record is played before its drop, and after it (common practice)."""
SPANS_BEATS = (32, 16, 8, 4, 2, 1, 0)
BAR_BEATS = 4
LOOP_BEATS = 32
_SLACK_S = EDGE_S / 2
"""A beat that a record lacks by less than this is there: times are rounded to a tenth of a millisecond."""


@dataclass(frozen=True)
class Lane:
    """A record with the drop that is to land, on its straight line under the clip."""

    record: Record
    candidate: DropCandidate
    line: Alignment

    @property
    def drop(self) -> Place:
        return self.record.place(self.candidate)

    @property
    def before_beats(self) -> int:
        """Whole beats of the record before its drop."""
        return math.floor(-self.line.clip_beat(-_SLACK_S))

    @property
    def after_beats(self) -> int:
        return math.floor(self.line.clip_beat(self.record.facts.duration_s + _SLACK_S))

    def drums(self) -> StrippedPassage | None:
        """The most stripped passage of drums that can be jumped back to from the landing and looped."""
        if self.before_beats < 1:
            return None
        possible = (one for one in self.record.by.stripped if one.bar + one.bars <= self.candidate.bar)
        return next((one for one in possible if self._comes_out_s(one) >= 0), None)

    def _comes_out_s(self, passage: StrippedPassage) -> float:
        """Where in the record a jump from the landing to a passage goes on, in phase."""
        jump = Jump(0, 0.0, "", self.record.place(passage).at_s, None)
        return jumped(self.line, self.record.grid, jump).source_s(0.0)

    def loop_beats(self, passage: StrippedPassage) -> int:
        """How much of a passage repeats, in clip beats: whole bars of the record."""
        beats = round(passage.bars * self.record.grid.beats_per_bar * self.line.fold)
        return min(LOOP_BEATS, beats)

    def voiced_beats(self) -> list[tuple[float, float]]:
        """The spans of the clip's clock in which somebody sings or speaks."""
        bars = self.record.by.bars
        spans: list[tuple[float, float]] = []
        for bar, voiced in enumerate(bars.voiced):
            if voiced:
                start, end = (self.line.clip_beat(bars.starts_s[bar + side]) for side in (0, 1))
                if spans and start - spans[-1][1] < 0.5:
                    start = spans.pop()[0]
                spans.append((start, end))
        return spans


def lane_of(record: Record, candidate: DropCandidate, clip_bpm: float) -> Lane:
    at_s = record.place(candidate).at_s
    fold = fold_of(record.bpm, clip_bpm)
    drifting = record.grid if record.drifts else None
    return Lane(record, candidate, Alignment(at_s, record.bpm, fold, clip_bpm, drifting))


@dataclass(frozen=True)
class Span:
    """How long a clip is, and who enters late or leaves early, in clip beats from the landing."""

    lead: int
    tail: int
    enters: Mapping[str, int]
    leaves: Mapping[str, int]

    def plays_from(self, name: str) -> int:
        return self.enters.get(name, -self.lead)

    def plays_until(self, name: str) -> int:
        return self.leaves.get(name, self.tail)


def usual_span(lanes: Sequence[Lane]) -> Span:
    """As long as is usual and as the records allow: the lead is one that all have, if it is 32 beats or more."""
    before, after = ([count(lane) for lane in lanes] for count in (_before, _after))
    lead = USUAL_BEATS if min(before) >= USUAL_BEATS else _longest(max(before))
    tail = USUAL_BEATS if max(after) >= USUAL_BEATS else _longest(max(after))
    return span_of(lanes, lead, max(tail, 1))


def span_of(lanes: Iterable[Lane], lead: int, tail: int) -> Span:
    """Who enters late and leaves early in a clip of this length."""
    enters = {one.record.name: -_longest(_before(one)) for one in lanes if _before(one) < lead}
    leaves = {one.record.name: _bars(_after(one)) for one in lanes if _after(one) < tail}
    return Span(lead, tail, enters, leaves)


def _before(lane: Lane) -> int:
    return lane.before_beats


def _after(lane: Lane) -> int:
    return lane.after_beats


def _longest(beats: int) -> int:
    return next(span for span in SPANS_BEATS if span <= beats)


def _bars(beats: int) -> int:
    """Whole bars of the clip, or single beats where there is not one."""
    return beats // BAR_BEATS * BAR_BEATS or max(beats, 1)
