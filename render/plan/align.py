"""Where a track lies under the clip, so that its drop falls on the landing.

For a track of `B` beats a minute under a clip of `T`, folded to half or double time where that is nearer, a clip
beat lasts `60 / (B·fold)` seconds of the recording: source seconds run `T / (B·fold)` times as fast as clip
seconds, and clip beat 0 is the drop.

Where the tempo of a record drifts, its beats are counted instead: clip beat `b` is the record's beat `b / fold` after
the drop, whenever that comes.
"""

import math
from dataclasses import dataclass, replace

from render.facts import TrackFacts
from render.values import Grid

FOLDS = (1.0, 2.0, 0.5)
"""As counted, double time, half time: common practice when records of 87 and 174 BPM are layered."""
SPEED_REFUSED = 0.16
"""A tempo change beyond ±16 % is refused: no engine and few listeners take it."""
SPEED_WARNED = 0.06
"""A tempo change beyond ±6 % is warned of: it is heard as a change of the record."""
EDGE_S = 0.001
"""How far outside a recording a lane may reach: stated times are rounded to a millisecond."""


SAME_BEATS = 9
"""Decimals to which a place in beats is known: the rounds of a loop differ by less, and are to be one sound."""


@dataclass(frozen=True)
class Alignment:
    """From the clip's clock to one recording's: a straight line, or beat by beat along `drifting`."""

    origin_s: float
    """Where in the recording clip beat 0 lies."""
    tempo_bpm: float
    fold: float
    clip_tempo_bpm: float
    drifting: Grid | None = None
    """The record's grid where its tempo drifts; `tempo_bpm` is then its usual one."""

    @property
    def speed(self) -> float:
        """Source seconds per clip second, at the usual tempo."""
        return self.clip_tempo_bpm / (self.tempo_bpm * self.fold)

    @property
    def clip_beat_s(self) -> float:
        """Seconds of the recording under one clip beat, at the usual tempo."""
        return 60.0 / (self.tempo_bpm * self.fold)

    def record_beat(self, clip_beat: float) -> float:
        """The record's own beat under a clip beat; from bar 1 where the tempo drifts, else from clip beat 0."""
        origin = self.drifting.beat_at(self.origin_s) if self.drifting else 0.0
        return origin + clip_beat / self.fold

    def source_s(self, clip_beat: float) -> float:
        if self.drifting:
            return self.drifting.time_s(self.record_beat(clip_beat))
        return self.origin_s + clip_beat * self.clip_beat_s

    def source_s_after(self, clip_s: float) -> float:
        """What is heard so many clip seconds after clip beat 0."""
        if self.drifting:
            return self.source_s(clip_s * self.clip_tempo_bpm / 60.0)
        return self.origin_s + clip_s * self.speed

    def clip_beat(self, source_s: float) -> float:
        if self.drifting:
            return (self.drifting.beat_at(source_s) - self.record_beat(0.0)) * self.fold
        return (source_s - self.origin_s) / self.clip_beat_s

    def speed_between(self, start_beat: float, end_beat: float) -> float:
        """The one speed that leads from one clip beat to another."""
        if not self.drifting:
            return self.speed
        start, end = (round(self.record_beat(beat), SAME_BEATS) for beat in (start_beat, end_beat))
        clip_s = (end - start) * self.fold * 60.0 / self.clip_tempo_bpm
        return (self.drifting.time_s(end) - self.drifting.time_s(start)) / clip_s

    def shifted(self, by_beats: float) -> "Alignment":
        """The same, from another place in the recording on, so many of the record's beats later."""
        if self.drifting:
            return replace(self, origin_s=self.drifting.time_s(self.record_beat(0.0) + by_beats))
        return replace(self, origin_s=self.origin_s + by_beats * (60.0 / self.tempo_bpm))


def fold_of(tempo_bpm: float, clip_tempo_bpm: float) -> float:
    """The factor on a track's tempo that brings it nearest to the clip's; as counted where two are as near."""
    return min(FOLDS, key=lambda fold: round(abs(math.log(clip_tempo_bpm / (tempo_bpm * fold))), 9))


def landing_alignment(facts: TrackFacts, clip_tempo_bpm: float) -> Alignment:
    """The alignment that makes a track's drop fall on clip beat 0."""
    tempo = facts.tempo_bpm.value
    drifting = facts.grid if len(facts.beats_s) > 1 else None
    return Alignment(facts.drop_s.value, tempo, fold_of(tempo, clip_tempo_bpm), clip_tempo_bpm, drifting)
