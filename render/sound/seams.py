"""How the passages of a lane are put together so that no seam is heard.

Conventions
-----------
- A seam *ends* on its clip frame: from that frame on only the new passage sounds, untouched, so that an attack
  on the beat keeps every sample. What happens before the frame is a crossfade from the last frames of the old
  passage to the pre-roll of the new one, the source audio that lies just before it.
- Ramps of N frames have their first value at 0 and would reach 1 on the frame after their last.
- A passage without pre-roll (it opens its recording, say) cannot be crossfaded into: the old one is then faded
  away before the seam, and the first moment of the new one is faded in.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from render.values import Audio, nearest_frame

SEAM_S = 0.008
"""Length of a crossfade: half a period of 60 Hz, so a bass line does not jump, and short enough that no
attack of the old passage fits into it beside the one on the beat."""

EDGE_S = 0.005
"""Length of the ramp at an open end of a lane. It lies before the first beat, where there is room for it."""

ONSET_S = 0.0015
"""Length of the ramp that has to lie inside the music because there is nothing before it. A drum's attack
takes a few milliseconds to its peak; this is enough to take the click from a start away from zero."""


@dataclass(frozen=True)
class Placed:
    """One passage as sound, and the clip frame it goes to.

    `audio` is (frames, 1 or 2). Frames before `body_start` are pre-roll, frames from `body_end` on post-roll:
    source audio around the passage. The body `audio[body_start:body_end]` is laid down from clip frame `at` on.
    """

    audio: Audio
    body_start: int
    body_end: int
    at: int

    @property
    def body(self) -> Audio:
        return self.audio[self.body_start : self.body_end]

    @property
    def end(self) -> int:
        """The clip frame after the last one of the body."""
        return self.at + self.body_end - self.body_start

    def pre_roll(self, frames: int) -> Audio:
        """The last `frames` frames before the body."""
        return self.audio[self.body_start - frames : self.body_start]


def raised_cosine(frames: int) -> npt.NDArray[np.float64]:
    """A ramp of `frames` values from 0 towards 1 that is flat at both ends: sin²(π·k / 2·frames)."""
    return np.sin(0.5 * np.pi * np.arange(frames) / frames) ** 2 if frames else np.zeros(0)


def crossfade_gains(
    progress: npt.NDArray[np.float64], correlation: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Gains of the old and the new signal where the crossfade has come to `progress` (0 to 1).

    The sum of two signals of equal power and correlation r has the power a² + b² + 2·r·a·b. The equal-power
    pair a = cos(π·p/2), b = sin(π·p/2) keeps that at 1 for r = 0, but lets two identical signals (r = 1) rise
    by 3 dB in the middle. Both gains are therefore divided by √(1 + r·sin(π·p)), which makes the power 1
    for every r from 0 to 1: equal power at one end, equal gain (a + b = 1) at the other. Below 0 the signals
    cancel each other, and lifting them against that would only be loud; r is taken as 0 there.

    The idea of matching the law to the correlation: M. Fink, M. Holters, U. Zölzer, Signal-Matched
    Power-Complementary Cross-Fading and Dry-Wet Mixing, DAFx-16, 2016 (from memory; the formula is derived
    above).
    """
    angle = 0.5 * np.pi * progress
    scale = 1.0 / np.sqrt(1.0 + min(max(correlation, 0.0), 1.0) * np.sin(2.0 * angle))
    return np.cos(angle) * scale, np.sin(angle) * scale


def correlation_of(one: Audio, other: Audio) -> float:
    """Normalised correlation of two pieces of one shape, all channels together; 0.0 if either is silent."""
    a, b = one.astype(np.float64), other.astype(np.float64)
    power = float(np.sqrt(np.sum(a * a) * np.sum(b * b)))
    return float(np.sum(a * b)) / power if power > 0 else 0.0


def join(old: Audio, new: Audio) -> Audio:
    """Crossfade from `old` to `new`, two pieces of one shape (frames, channels), over their whole length.

    The power stays even whatever the two have in common (`crossfade_gains`). Progress runs along a raised
    cosine, so that neither signal gets a corner where the crossfade begins or ends.
    """
    leaving, coming = crossfade_gains(raised_cosine(len(old)), correlation_of(old, new))
    return (old * leaving[:, None] + new * coming[:, None]).astype(np.float32)


def lane_of(
    placed: Sequence[Placed], length_frames: int, rate_hz: int, fade_in_frames: int, fade_out_frames: int
) -> Audio:
    """A whole lane, (length_frames, 2), from its passages; silent where it does not play.

    Passages lie end to end, as in the plan. Each body is heard unchanged but for the last moment before a
    seam and the lane's own ends. Mono passages are heard on both sides. With fade frames of 0 the ends only
    lose their click.

    Raises ValueError where passages do not touch, leave the clip, or have neither one nor two channels.
    """
    _require_a_lane(placed, length_frames)
    lane = np.zeros((length_frames, 2), np.float32)
    for passage in placed:
        lane[passage.at : passage.end] = passage.body
    for old, new in pairwise(placed):
        _seam(lane, old, new, rate_hz)
    end = placed[-1].end
    _open(lane, placed[0], rate_hz, fade_in_frames, end)
    fall = min(fade_out_frames or nearest_frame(EDGE_S * rate_hz), end - placed[0].at)
    lane[end - fall : end] *= 1.0 - raised_cosine(fall)[:, None]
    return lane


def _require_a_lane(placed: Sequence[Placed], length_frames: int) -> None:
    if not placed:
        raise ValueError("a lane has no passage; it needs at least one")
    if placed[0].at < 0 or placed[-1].end > length_frames:
        raise ValueError(
            f"a lane plays from frame {placed[0].at} to {placed[-1].end}; the clip has 0 to {length_frames}"
        )
    for passage in placed:
        if passage.audio.ndim != 2 or passage.audio.shape[1] not in (1, 2):
            raise ValueError(f"a passage has the shape {passage.audio.shape}; it must be (frames, 1 or 2)")
        if not 0 <= passage.body_start < passage.body_end <= len(passage.audio):
            raise ValueError(
                f"a passage's body is {passage.body_start} to {passage.body_end}"
                f"; it must be a part of its {len(passage.audio)} frames"
            )
    for old, new in pairwise(placed):
        if old.end != new.at:
            raise ValueError(
                f"a passage ends on frame {old.end}, the next starts on {new.at}; they must touch"
            )


def _seam(lane: Audio, old: Placed, new: Placed, rate_hz: int) -> None:
    """Crossfade into `new`, whose body and the one before it lie in the lane already."""
    frames = min(nearest_frame(SEAM_S * rate_hz), old.end - old.at)
    before = slice(new.at - min(frames, new.body_start), new.at)
    if new.body_start >= nearest_frame(ONSET_S * rate_hz):
        pre_roll = np.broadcast_to(new.pre_roll(before.stop - before.start), lane[before].shape)
        lane[before] = join(lane[before], pre_roll)
    else:
        lane[new.at - frames : new.at] *= 1.0 - raised_cosine(frames)[:, None]
        _ramp_up(lane, new.at, nearest_frame(ONSET_S * rate_hz), new.end)


def _open(lane: Audio, first: Placed, rate_hz: int, fade_in_frames: int, end: int) -> None:
    """Start the lane: by its fade, else by an edge before the first frame, else by the shortest one after it."""
    edge = min(nearest_frame(EDGE_S * rate_hz), first.at, first.body_start)
    onset = nearest_frame(ONSET_S * rate_hz)
    if fade_in_frames:
        _ramp_up(lane, first.at, fade_in_frames, end)
    elif edge >= onset:
        lane[first.at - edge : first.at] = first.pre_roll(edge) * raised_cosine(edge)[:, None]
    else:
        _ramp_up(lane, first.at, onset, first.end)


def _ramp_up(lane: Audio, start: int, frames: int, end: int) -> None:
    stop = min(start + frames, end)
    lane[start:stop] *= raised_cosine(frames)[: stop - start, None]
