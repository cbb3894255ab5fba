"""Which parts of a recording a lane needs, and where each passage's sound is in them.

Only the passages are decoded and stretched, with a pad on either side, never the whole record. The rounds of a loop
share one span, so that what repeats is stretched once.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from render.plan.model import Lane, Passage
from render.sound.seams import Placed
from render.values import Audio, nearest_frame

PAD_S = 0.25
"""Source seconds on either side of a passage: enough for an engine to settle (without it, it loses 3 dB in the
first 10 ms) and for the crossfades at seams."""


@dataclass(frozen=True)
class Span:
    """A run of whole source frames that is decoded and stretched once. It may reach outside the recording."""

    start_frame: int
    frames: int
    speed: float
    semitones: float | None


def spans_of(lane: Lane, source_rate_hz: int) -> list[Span]:
    """One span for each passage of a lane; equal where passages share one."""
    spans: list[Span] = []
    for _, group in groupby(enumerate(lane.passages), key=_loop_of):
        passages = [passage for _, passage in group]
        pad = PAD_S * source_rate_hz
        start = math.floor(min(p.source_start_frames for p in passages) - pad)
        end = math.ceil(max(p.source_end_frames for p in passages) + pad)
        span = Span(start, end - start, passages[0].speed, passages[0].semitones)
        spans += [span] * len(passages)
    return spans


def _loop_of(numbered: tuple[int, Passage]) -> int:
    """The same number for all rounds of one loop, another for every other passage."""
    index, passage = numbered
    return index - max(passage.loop_pass - 1, 0)


def placed_in(
    lane: Lane, spans: Sequence[Span], sounds: Sequence[Audio], source_rate_hz: int, clip_rate_hz: int
) -> list[Placed]:
    """Each passage in its span's sound, with the clip frame it goes to.

    `sounds` holds, for each passage, its span at the clip's rate and speed: output frame k sounds the source
    frame `span.start_frame + k · speed · source_rate / clip_rate`. The one rounding is that of where the passage
    begins, half a clip frame at the most.
    """
    placed = []
    for passage, span, sound in zip(lane.passages, spans, sounds, strict=True):
        clip_frames_per_source_frame = clip_rate_hz / source_rate_hz / passage.speed
        offset = (passage.source_start_frames - span.start_frame) * clip_frames_per_source_frame
        begin = nearest_frame(offset)
        placed.append(Placed(sound, begin, begin + passage.clip_frames, passage.clip_start_frames))
    return placed
