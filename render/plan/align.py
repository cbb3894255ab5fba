"""Where a track lies under the clip, so that its drop falls on the landing.

For a track of `B` beats a minute under a clip of `T`, folded to half or double time where that is nearer, a clip
beat lasts `60 / (B·fold)` seconds of the recording: source seconds run `T / (B·fold)` times as fast as clip
seconds, and clip beat 0 is the drop.
"""

import math
from dataclasses import dataclass

from render.facts import TrackFacts

FOLDS = (1.0, 2.0, 0.5)
"""As counted, double time, half time: common practice when records of 87 and 174 BPM are layered."""
SPEED_REFUSED = 0.16
"""A tempo change beyond ±16 % is refused: no engine and few listeners take it."""
SPEED_WARNED = 0.06
"""A tempo change beyond ±6 % is warned of: it is heard as a change of the record."""
EDGE_S = 0.001
"""How far outside a recording a lane may reach: stated times are rounded to a millisecond."""


@dataclass(frozen=True)
class Alignment:
    """The straight line from the clip's clock to one recording's."""

    origin_s: float
    """Where in the recording clip beat 0 lies."""
    tempo_bpm: float
    fold: float
    clip_tempo_bpm: float

    @property
    def speed(self) -> float:
        """Source seconds per clip second."""
        return self.clip_tempo_bpm / (self.tempo_bpm * self.fold)

    @property
    def clip_beat_s(self) -> float:
        """Seconds of the recording under one clip beat."""
        return 60.0 / (self.tempo_bpm * self.fold)

    def source_s(self, clip_beat: float) -> float:
        return self.origin_s + clip_beat * self.clip_beat_s

    def clip_beat(self, source_s: float) -> float:
        return (source_s - self.origin_s) / self.clip_beat_s

    def shifted(self, by_s: float) -> "Alignment":
        """The same line, from another place in the recording on."""
        return Alignment(self.origin_s + by_s, self.tempo_bpm, self.fold, self.clip_tempo_bpm)


def fold_of(tempo_bpm: float, clip_tempo_bpm: float) -> float:
    """The factor on a track's tempo that brings it nearest to the clip's; as counted where two are as near."""
    return min(FOLDS, key=lambda fold: round(abs(math.log(clip_tempo_bpm / (tempo_bpm * fold))), 9))


def landing_alignment(facts: TrackFacts, clip_tempo_bpm: float) -> Alignment:
    """The alignment that makes a track's drop fall on clip beat 0."""
    tempo = facts.tempo_bpm.value
    return Alignment(facts.drop_s.value, tempo, fold_of(tempo, clip_tempo_bpm), clip_tempo_bpm)
