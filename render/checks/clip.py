"""All checks of one clip: what was read and what it means."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from render.checks.judge import judge_headroom, judge_levels, judge_low_end, judge_mono, judge_silent
from render.checks.landing import landing_findings, read_landing
from render.checks.low_end import low_end_overlap, low_mono_loss_db
from render.checks.model import Finding, LaneReadings, Readings
from render.checks.sources import is_silent
from render.plan.model import ClipClock, ClipPlan, Lane
from render.sound.lane import overlap
from render.sound.levels import matched_gains_db
from render.values import Audio, nearest_frame


def loudness_parts(plan: ClipPlan) -> list[slice]:
    """The clip frames over which each lane is matched in loudness: those in which all of them play.

    Where the lanes never play together, each is measured over all it plays.
    """
    together = overlap(plan.lanes)
    return [together or slice(lane.start_frames, lane.end_frames) for lane in plan.lanes]


def lane_gains_db(plan: ClipPlan, loudness_lufs: Sequence[float | None]) -> list[float]:
    """Each lane's gain: loudness matching, and the recipe's gain on top."""
    matched = matched_gains_db(loudness_lufs)
    return [gain_db + lane.gain_db for gain_db, lane in zip(matched, plan.lanes, strict=True)]


@dataclass(frozen=True)
class MixReadings:
    """What a mix shows besides its levels."""

    lanes: tuple[LaneReadings, ...]
    low_end_overlap: float | None
    """Share of the beats in which two lanes carry low end."""
    low_mono_loss_db: float | None
    silent_tracks: tuple[str, ...]


def read_mix(
    plan: ClipPlan, landings: Sequence[LaneReadings], lanes: Mapping[str, Audio], mixed: Audio
) -> MixReadings:
    """Everything that is read of a mix but its levels; `lanes` are as they go into it."""
    rate_hz, corner_hz = plan.clock.rate_hz, plan.low_cut_hz
    return MixReadings(
        lanes=tuple(landings),
        low_end_overlap=low_end_overlap(lanes, rate_hz, corner_hz, beat_bounds(plan)),
        low_mono_loss_db=low_mono_loss_db(mixed, rate_hz, corner_hz),
        silent_tracks=tuple(track for track, audio in lanes.items() if is_silent(audio)),
    )


def read_lane(clock: ClipClock, lane: Lane, heard: Audio, reference: Audio) -> LaneReadings:
    """How one lane landed, held against the same lane plainly resampled."""
    landing = clock.beat_frames(0.0) if lane.start_beat <= 0 < lane.end_beat else None
    beats = range(math.ceil(lane.start_beat), math.ceil(lane.end_beat))
    beat_frames = [clock.beat_frames(beat) for beat in beats]
    return read_landing(lane.track, heard, reference, clock.rate_hz, landing, beat_frames)


def beat_bounds(plan: ClipPlan) -> list[int]:
    """The clip frames at which its beats begin, and its end."""
    clock = plan.clock
    beats = range(math.ceil(-clock.lead_beats), math.ceil(clock.tail_beats))
    return [*(nearest_frame(clock.beat_frames(beat)) for beat in beats), clock.length_frames]


def findings_of(plan: ClipPlan, levels: Readings, mix: MixReadings, encoded: Readings) -> tuple[Finding, ...]:
    """What the plan and the readings mean for the performer, in the order of a clip's making."""
    found = [Finding(r.level, r.code, f"{r.text}.", r.value, r.track) for r in plan.reasons]
    for lane in mix.lanes:
        found += landing_findings(lane)
    found += judge_silent(mix.silent_tracks)
    found += judge_low_end(mix.low_end_overlap, plan.low_cut_stated)
    found += judge_mono(mix.low_mono_loss_db)
    found += judge_levels("mix", levels, plan.ceiling_dbtp)
    found += judge_levels("encoded", encoded, plan.ceiling_dbtp)
    found += judge_headroom(headroom_needed_db(levels))
    return tuple(found)


def headroom_needed_db(mix_readings: Readings) -> float:
    """By how many dB the sum of the matched lanes goes over full scale; 0.0 where it does not."""
    return max(0.0, mix_readings.true_peak_dbtp or 0.0)
