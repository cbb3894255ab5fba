"""Which parts of a recording a lane needs, and where each passage's sound is in them.

Only the passages are decoded and stretched, with a pad on either side, never the whole record. The rounds of a loop
share their spans, so that what repeats is stretched once.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

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
    groups: list[list[Passage]] = []
    of_loops: dict[tuple[int, float], list[int]] = {}
    numbers: list[int] = []
    jumps = 0
    for passage in lane.passages:
        jumps += passage.begins == "jump"
        alike = of_loops.setdefault((jumps, passage.speed), []) if passage.loop_pass else []
        number = next((number for number in alike if _same_place(groups[number][0], passage)), len(groups))
        if number == len(groups):
            groups.append([])
            alike.append(number)
        groups[number].append(passage)
        numbers.append(number)
    spans = [_span_of(group, source_rate_hz) for group in groups]
    return [spans[number] for number in numbers]


def _same_place(one: Passage, other: Passage) -> bool:
    """Whether two passages begin on the same place of the record, each rounded to its own nearest clip frame."""
    source_frames_per_clip_frame = (one.source_end_frames - one.source_start_frames) / one.clip_frames
    return abs(one.source_start_frames - other.source_start_frames) < 1.5 * source_frames_per_clip_frame


def _span_of(passages: Sequence[Passage], source_rate_hz: int) -> Span:
    pad = PAD_S * source_rate_hz
    start = math.floor(min(passage.source_start_frames for passage in passages) - pad)
    end = math.ceil(max(passage.source_end_frames for passage in passages) + pad)
    return Span(start, end - start, passages[0].speed, passages[0].semitones)


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
