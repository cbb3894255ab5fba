"""A lane as sound: its spans stretched, its passages joined, its low end cut."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from render.plan.model import ClipClock, Lane
from render.sound.low_cut import low_cut
from render.sound.seams import lane_of
from render.sound.spans import Span, placed_in
from render.sound.stretch import Engine, resampled, stretched_beside_plain
from render.values import Audio, db_to_gain


@dataclass(frozen=True)
class LaneSound:
    """A lane before its gain and low cut, and the same lane plainly resampled: (frames of the clip, channels).

    Plain resampling moves the pitch but nothing in time; that makes it the measure of how the lane landed.
    """

    lane: Lane
    heard: Audio
    reference: Audio


def lane_sound(
    lane: Lane,
    clock: ClipClock,
    source_rate_hz: int,
    spans: Sequence[Span],
    decoded: Mapping[Span, Audio],
    engine: Engine,
) -> LaneSound:
    """Stretch and join a lane.

    `spans` has one entry a passage; `decoded` holds each of them at the recording's rate, (frames, channels).
    """
    heard, plain = {}, {}
    for span, audio in decoded.items():
        at_rate = resampled(audio, source_rate_hz, clock.rate_hz)
        heard[span], plain[span] = stretched_beside_plain(
            at_rate, clock.rate_hz, span.speed, span.semitones, engine
        )

    def joined(sounds: Mapping[Span, Audio]) -> Audio:
        placed = placed_in(lane, spans, [sounds[span] for span in spans], source_rate_hz, clock.rate_hz)
        return lane_of(placed, clock.length_frames, clock.rate_hz, lane.fade_in_frames, lane.fade_out_frames)

    return LaneSound(lane, joined(heard), joined(plain))


def into_mix(sound: LaneSound, rate_hz: int, corner_hz: float, gain_db: float) -> Audio:
    """The lane as it goes into the mix: its low band removed wherever the plan cuts it, at its gain."""
    spans = [(cut.start_frames, cut.end_frames) for cut in sound.lane.cuts]
    return low_cut(sound.heard, rate_hz, corner_hz, spans) * db_to_gain(gain_db)


def overlap(lanes: Sequence[Lane]) -> slice | None:
    """The clip frames in which all lanes play and none is fading; None where there are none."""
    start = max(lane.start_frames + lane.fade_in_frames for lane in lanes)
    end = min(lane.end_frames - lane.fade_out_frames for lane in lanes)
    return slice(start, end) if start < end else None
