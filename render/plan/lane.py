"""One track's lane: where it starts, which passages it plays, and what stands against it."""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Literal

from render.facts import TrackFacts
from render.plan.align import EDGE_S, SPEED_REFUSED, SPEED_WARNED, Alignment, landing_alignment
from render.plan.jump_back import Jump, Leg, bars_back, legs
from render.plan.lane_remarks import lane_remarks
from render.plan.low_cut import Keeping, cut_spans
from render.plan.model import ClipClock, Lane, Passage, Reason, ReasonLevel
from render.plan.pieces import pieces
from render.recipe.known import time_in_record
from render.recipe.nodes import Path, Problem
from render.recipe.positions import AtMarker, ClipPosition
from render.recipe.schema import JumpBack, Recipe
from render.values import clock as clock_text
from render.values import nearest_frame

_TOUCH = 1e-9
"""Slack, in beats, for positions that are meant to be equal."""


class LanePlanner:
    """Decides the lane of one track, and collects what is wrong with it and what the performer should know."""

    def __init__(
        self, recipe: Recipe, name: str, facts: TrackFacts, clock: ClipClock, keepings: Sequence[Keeping]
    ) -> None:
        self.recipe, self.name, self.facts, self.clock, self.keepings = recipe, name, facts, clock, keepings
        self.track = recipe.tracks[name]
        self.line = landing_alignment(facts, clock.tempo_bpm)
        self.problems: list[Problem] = []
        self.reasons: list[Reason] = []

    def lane(self) -> Lane | None:
        """The lane, or None where `problems` tell why there is none."""
        self._check_tempo()
        self._check_drop()
        start, end = self._span()
        if self.problems:
            return None
        end = self._end_within_record(start, end)
        jumps = self._jumps(start, end)
        self._check_fades(start, end)
        if self.problems:
            return None
        run = list(legs(self.line, self.facts.grid, start, end, jumps))
        self._check_legs(run)
        if self.problems:
            return None
        passages = tuple(self._passage(piece) for leg in run for piece in pieces(leg))
        self._check_pieces(passages)
        if self.problems:
            return None
        self.reasons += lane_remarks(self.facts, self.line, run, passages)
        bar = self.clock.beats_per_bar
        fade_in, fade_out = self.track.fade_in.beats(bar), self.track.fade_out.beats(bar)
        return Lane(
            track=self.name,
            passages=passages,
            gain_db=self.track.gain,
            cuts=cut_spans(self.name, self.keepings, self.clock.tail_beats, self.clock.beat_frames),
            fade_in_beats=fade_in,
            fade_out_beats=fade_out,
            fade_in_frames=self._frames(start + fade_in) - self._frames(start),
            fade_out_frames=self._frames(end) - self._frames(end - fade_out),
            drops=start < _TOUCH < end and not any(jump.at_beat < _TOUCH for jump in jumps),
        )

    def _frames(self, beat: float) -> int:
        return nearest_frame(self.clock.beat_frames(beat))

    def _problem(self, path: Path, code: str, wrong: str, right: str) -> None:
        self.problems.append(Problem(path, code, wrong, right))

    def _reason(self, level: ReasonLevel, code: str, text: str, value: float | None = None) -> None:
        self.reasons.append(Reason(level, code, text, self.name, value))

    def _check_tempo(self) -> None:
        """Of a record that keeps its tempo; what one that drifts comes to is known when its pieces are."""
        if self.line.drifting:
            return
        change = self.line.speed - 1.0
        if abs(change) > SPEED_REFUSED:
            low, high = (self.clock.tempo_bpm / self.line.fold / (1 + s * SPEED_REFUSED) for s in (1, -1))
            self._problem(
                ("tracks", self.name, "bpm"),
                "tempo-change",
                f"'{self.name}' would run {change:+.1%} to reach {self.clock.tempo_bpm:g} BPM, beyond ±16 %",
                f"a record of {low:.1f} to {high:.1f} BPM, or another `tempo`, would fit",
            )
        elif abs(change) > SPEED_WARNED:
            text = f"{self.name} runs {change:+.2%}, beyond ±6 %: it will sound changed"
            self._reason("warning", "tempo-change", text, change)

    def _check_pieces(self, passages: Sequence[Passage]) -> None:
        """The tempo change of a drifting record, where it is largest."""
        if not self.line.drifting:
            return
        worst = max(passages, key=lambda passage: abs(passage.speed - 1.0))
        change = worst.speed - 1.0
        where = f"{change:+.1%} at beat {round(worst.start_beat, 2) + 0.0:+g}"
        if abs(change) > SPEED_REFUSED:
            tempos = [self.clock.tempo_bpm / passage.speed for passage in passages]
            low, high = max(tempos) * (1 - SPEED_REFUSED), min(tempos) * (1 + SPEED_REFUSED)
            self._problem(
                ("tracks", self.name, "bpm"),
                "tempo-change",
                f"'{self.name}' drifts: it would run {where} to reach {self.clock.tempo_bpm:g} BPM, beyond ±16 %",
                f"a `tempo` of {low:.1f} to {high:.1f} BPM would fit"
                if low <= high
                else "a passage that keeps its tempo better would fit",
            )
        elif abs(change) > SPEED_WARNED:
            text = f"{self.name} drifts and runs {where}, beyond ±6 %: it will sound changed"
            self._reason("warning", "tempo-change", text, change)

    def _check_drop(self) -> None:
        drop_s, length_s = self.facts.drop_s.value, self.facts.recording.duration_s
        if not -EDGE_S <= drop_s < length_s:
            self._problem(
                ("tracks", self.name, "markers", "drop"),
                "outside-record",
                f"'{self.name}' drops at {clock_text(drop_s)}, but the record lasts {clock_text(length_s)}",
                "a time within the record",
            )

    def _span(self) -> tuple[float, float]:
        """Where the lane starts and ends by the recipe, in clip beats."""
        start = self._clip_beat(self.track.enter, -self.clock.lead_beats, "enter")
        end = self._clip_beat(self.track.leave, self.clock.tail_beats, "leave")
        if not self.problems and start >= end:
            wrong = f"'{self.name}' would leave before it enters"
            self._problem(("tracks", self.name, "leave"), "outside-clip", wrong, "leave after `enter`")
        if not self.problems and self.line.source_s(start) < -EDGE_S:
            self._too_early(start)
        return start, end

    def _clip_beat(self, position: ClipPosition | None, left_out: float, key: str) -> float:
        if position is None:
            return left_out
        lead, tail = self.clock.lead_beats, self.clock.tail_beats
        beat = position.beat(lead, tail, self.clock.beats_per_bar)
        if not -lead - _TOUCH <= beat <= tail + _TOUCH:
            wrong = f"'{position.written}' is outside the clip"
            right = f"the clip reaches from {-lead:g} to {tail:g} beats around the landing"
            self._problem(("tracks", self.name, key), "outside-clip", wrong, right)
        return beat

    def _too_early(self, start: float) -> None:
        """The lane would have to start before its record does: say how much there is, and what would fit."""
        there = -self.line.clip_beat(0.0)
        whole = int(there + EDGE_S)
        wrong = (
            f"'{self.name}' would have to start {-start - there:.3g} beats before its record does: "
            f"there are {there:.4g} beats before its drop"
        )
        fits = f"`enter: landing - {whole} beats`" if whole >= 1 else "`enter: landing`"
        path: Path = ("tracks", self.name, "enter" if self.track.enter else "markers", "drop")
        if self.track.enter:
            self._problem(path[:3], "before-record", wrong, f"{fits} would fit")
        else:
            self._problem(path, "before-record", wrong, f"{fits} or `lead: {max(whole, 1)} beats` would fit")

    def _end_within_record(self, start: float, end: float) -> float:
        """The lane's end, brought forward to a whole beat where the record is over before it."""
        if any(jump.track == self.name for jump in self.recipe.jump_back):
            return end
        last = self.line.clip_beat(self.facts.recording.duration_s + EDGE_S)
        if last >= end:
            return end
        whole = float(math.floor(last))
        if whole <= start:
            wrong = f"the record of '{self.name}' is over before it enters"
            self._problem(("tracks", self.name, "enter"), "outside-record", wrong, "enter earlier")
            return end
        text = f"{self.name} is over {end - whole:g} beats before the clip is"
        self._reason("warning", "record-ends", text, end - whole)
        return whole

    def _jumps(self, start: float, end: float) -> list[Jump]:
        """The lane's jumps in order; problems are added for those that cannot be."""
        jumps = [
            jump
            for index, entry in enumerate(self.recipe.jump_back)
            if entry.track == self.name and (jump := self._jump(index, entry, start, end))
        ]
        jumps.sort(key=lambda jump: jump.at_beat)
        for earlier, later in pairwise(jumps):
            if later.at_beat - earlier.at_beat < _TOUCH:
                wrong = f"'{self.name}' jumps twice at the same moment"
                self._problem(("jump_back", later.index, "at"), "two-jumps", wrong, "keep one of the two")
        return jumps

    def _jump(self, index: int, entry: JumpBack, start: float, end: float) -> Jump | None:
        path: Path = ("jump_back", index)
        at = entry.at.beat(self.clock.lead_beats, self.clock.tail_beats, self.clock.beats_per_bar)
        if not start + _TOUCH < at < end - _TOUCH:
            wrong = f"'{self.name}' does not play at '{entry.at.written}'"
            right = f"it plays from {start:g} to {end:g} beats around the landing; jump within that"
            self._problem((*path, "at"), "outside-lane", wrong, right)
            return None
        loop = None if entry.loop is None else entry.loop.beats(self.clock.beats_per_bar)
        if loop is not None and loop < 1.0:
            wrong = f"a loop of {loop:g} beats is shorter than a beat"
            self._problem((*path, "loop"), "short-loop", wrong, "one beat or more, as in `loop: 32 beats`")
            return None
        base = entry.to.base
        marker = base.name if isinstance(base, AtMarker) and not entry.to.offset.amount else entry.to.written
        return Jump(
            index, at, marker, time_in_record(self.track, entry.to, self.facts.grid, self.facts.drops_s), loop
        )

    def _check_fades(self, start: float, end: float) -> None:
        bar = self.clock.beats_per_bar
        fade_in, fade_out = self.track.fade_in.beats(bar), self.track.fade_out.beats(bar)
        if fade_in + fade_out > end - start + _TOUCH:
            key = "fade_in" if fade_in >= fade_out else "fade_out"
            wrong = f"'{self.name}' fades for {fade_in + fade_out:g} beats but plays for {end - start:g}"
            self._problem(
                ("tracks", self.name, key), "long-fade", wrong, f"{end - start:g} beats are the most"
            )

    def _check_legs(self, run: list[Leg]) -> None:
        """Every leg must lie within the record, and every jump must go back."""
        length_s = self.facts.recording.duration_s
        before = run[0].alignment
        for leg in run:
            first_s, last_s = leg.alignment.source_s(leg.start_beat), leg.alignment.source_s(leg.end_beat)
            jump = leg.jump
            if jump and leg.loop_pass <= 1:
                path: Path = ("jump_back", jump.index, "to")
                here_s = before.source_s(leg.start_beat)
                if bars_back(self.facts.grid, here_s, jump.to_s) < 1:
                    to, here = clock_text(jump.to_s), clock_text(here_s)
                    wrong = f"'{jump.marker}' at {to} is not a bar or more before {here}"
                    self._problem(path, "not-back", wrong, "jump back to an earlier marker")
                elif first_s < -EDGE_S:
                    wrong = f"the jump to '{jump.marker}' would come out before the record starts"
                    self._problem(path, "outside-record", wrong, "a marker within the record")
            before = leg.alignment
            if last_s > length_s + EDGE_S and not self.problems:
                over = leg.end_beat - leg.alignment.clip_beat(length_s)
                key = (
                    ("jump_back", jump.index, "loop" if jump.loop_beats else "to")
                    if jump
                    else ("tracks", self.name, "markers", "drop")
                )
                wrong = f"'{self.name}' would play {over:.3g} beats beyond the end of its record"
                self._problem(
                    key, "outside-record", wrong, "a shorter loop, an earlier marker or an earlier jump"
                )

    def _passage(self, leg: Leg) -> Passage:
        """A leg, or a piece of one, in frames: source positions are taken at the whole clip frames."""
        rate = self.facts.recording.rate_hz
        start, end = self._frames(leg.start_beat), self._frames(leg.end_beat)
        return Passage(
            start_beat=leg.start_beat,
            end_beat=leg.end_beat,
            clip_start_frames=start,
            clip_end_frames=end,
            source_start_frames=self._source_s(leg.alignment, start) * rate,
            source_end_frames=self._source_s(leg.alignment, end) * rate,
            speed=leg.alignment.speed_between(leg.start_beat, leg.end_beat),
            semitones=self.track.pitch,
            begins=_begins(leg),
            marker=leg.jump.marker if leg.jump else "",
            loop_pass=leg.loop_pass,
        )

    def _source_s(self, line: Alignment, clip_frames: int) -> float:
        return line.source_s_after((clip_frames - self.clock.landing_frames) / self.clock.rate_hz)


def _begins(leg: Leg) -> Literal["enter", "jump", "loop", "on"]:
    if leg.goes_on:
        return "on"
    if leg.jump is None:
        return "enter"
    return "jump" if leg.loop_pass <= 1 else "loop"
