"""A lane as sound: its spans stretched, its passages joined, its low end cut."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from render.plan.model import ClipClock, Lane
from render.sound.engine import Engine
from render.sound.low_cut import low_cut
from render.sound.phases import in_phase
from render.sound.seams import Placed, lane_of
from render.sound.spans import Span, placed_in
from render.sound.stretch import resampled, stretched_beside_plain
from render.values import Audio, db_to_gain


@dataclass(frozen=True)
class StretchedSpan:
    """A span at the clip's rate and speed: as it is heard, (frames, channels), and plainly resampled, (frames, 1)."""

    heard: Audio
    plain: Audio


def stretched_span(
    span: Span, decoded: Audio, source_rate_hz: int, clip_rate_hz: int, engine: Engine
) -> StretchedSpan:
    """Stretch a span; `decoded` holds it at the recording's rate, (frames, channels)."""
    at_rate = resampled(decoded, source_rate_hz, clip_rate_hz)
    return StretchedSpan(*stretched_beside_plain(at_rate, clip_rate_hz, span.speed, span.semitones, engine))


@dataclass(frozen=True)
class LaneSound:
    """A lane before its gain and low cut, (frames of the clip, channels)."""

    lane: Lane
    heard: Audio
    _reference: Callable[[], Audio]

    def reference(self) -> Audio:
        """The same lane plainly resampled.

        Plain resampling moves the pitch but nothing in time; that makes it the measure of how the lane landed.
        """
        return self._reference()


def lane_sound(
    lane: Lane,
    clock: ClipClock,
    source_rate_hz: int,
    spans: Sequence[Span],
    stretched: Mapping[Span, StretchedSpan],
) -> LaneSound:
    """Join a lane from its spans, of which `spans` has one entry a passage."""
    heard = {span: sound.heard for span, sound in stretched.items()}
    plain = {span: sound.plain for span, sound in stretched.items()}

    def placed(sounds: Mapping[Span, Audio]) -> list[Placed]:
        return placed_in(lane, spans, [sounds[span] for span in spans], source_rate_hz, clock.rate_hz)

    def joined(passages: Sequence[Placed]) -> Audio:
        return lane_of(
            passages, clock.length_frames, clock.rate_hz, lane.fade_in_frames, lane.fade_out_frames
        )

    # What is plainly resampled is in phase with itself at any speed.
    out_of_phase = [p.begins == "on" and p.semitones is not None for p in lane.passages]
    return LaneSound(
        lane,
        joined(in_phase(placed(heard), out_of_phase, clock.rate_hz)),
        lambda: joined(placed(plain)),
    )


def into_mix(lane: Lane, heard: Audio, rate_hz: int, corner_hz: float, gain_db: float) -> Audio:
    """The lane as it goes into the mix: its low band removed wherever the plan cuts it, at its gain."""
    spans = [(cut.start_frames, cut.end_frames) for cut in lane.cuts]
    return low_cut(heard, rate_hz, corner_hz, spans) * db_to_gain(gain_db)


def overlap(lanes: Sequence[Lane]) -> slice | None:
    """The clip frames in which all lanes play and none is fading; None where there are none."""
    start = max(lane.start_frames + lane.fade_in_frames for lane in lanes)
    end = min(lane.end_frames - lane.fade_out_frames for lane in lanes)
    return slice(start, end) if start < end else None
