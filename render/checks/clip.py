"""All checks of one clip: what was read and what it means."""

import math
from collections.abc import Mapping, Sequence

from render.checks.judge import judge_headroom, judge_lane, judge_levels, judge_low_end, judge_mono
from render.checks.landing import landing_findings, read_landing
from render.checks.loudness import integrated_lufs
from render.checks.low_end import low_end_overlap, low_mono_loss_db
from render.checks.model import Finding, LaneReadings, Readings
from render.checks.sources import is_silent
from render.plan.model import ClipPlan, Lane
from render.sound.lane import LaneSound, overlap
from render.sound.levels import matched_gains_db
from render.values import Audio, nearest_frame


def lane_gains_db(plan: ClipPlan, sounds: Sequence[LaneSound]) -> list[float]:
    """Each lane's gain: loudness matching over the overlap, and the recipe's gain on top.

    Where the lanes never play together, each is measured over all it plays.
    """
    together = overlap(plan.lanes)
    loudness = []
    for sound in sounds:
        part = together or slice(sound.lane.start_frames, sound.lane.end_frames)
        loudness.append(integrated_lufs(sound.heard[part], plan.clock.rate_hz))
    matched = matched_gains_db(loudness)
    return [gain_db + sound.lane.gain_db for gain_db, sound in zip(matched, sounds, strict=True)]


def read_lanes(plan: ClipPlan, sounds: Sequence[LaneSound]) -> tuple[LaneReadings, ...]:
    """How each lane landed."""
    clock = plan.clock
    readings = []
    for sound in sounds:
        lane = sound.lane
        landing = clock.beat_frames(0.0) if lane.start_beat <= 0 < lane.end_beat else None
        beats = [clock.beat_frames(beat) for beat in _whole_beats(lane)]
        readings.append(read_landing(lane.track, sound.heard, sound.reference, clock.rate_hz, landing, beats))
    return tuple(readings)


def low_end_share(plan: ClipPlan, lanes: Mapping[str, Audio]) -> float | None:
    """Share of the clip's beats in which two lanes carry low end; `lanes` are as they go into the mix."""
    return low_end_overlap(lanes, plan.clock.rate_hz, plan.low_cut_hz, beat_bounds(plan))


def beat_bounds(plan: ClipPlan) -> list[int]:
    """The clip frames at which its beats begin, and its end."""
    clock = plan.clock
    beats = range(math.ceil(-clock.lead_beats), math.ceil(clock.tail_beats))
    return [*(nearest_frame(clock.beat_frames(beat)) for beat in beats), clock.length_frames]


def findings_of(
    plan: ClipPlan,
    lanes: Mapping[str, Audio],
    lane_readings: Sequence[LaneReadings],
    mixed: Audio,
    mix_readings: Readings,
    encoded_readings: Readings,
    low_end_overlap_share: float | None,
) -> tuple[Finding, ...]:
    """What the plan and the readings mean for the performer, in the order of a clip's making."""
    found = [Finding(r.level, r.code, r.text, r.value, r.track) for r in plan.reasons]
    for readings in lane_readings:
        found += landing_findings(readings)
    for track, audio in lanes.items():
        found += judge_lane(track, is_silent(audio))
    found += judge_low_end(low_end_overlap_share, plan.low_cut_stated)
    found += judge_mono(low_mono_loss_db(mixed, plan.clock.rate_hz, plan.low_cut_hz))
    found += judge_levels("mix", mix_readings, plan.ceiling_dbtp)
    found += judge_levels("encoded", encoded_readings, plan.ceiling_dbtp)
    found += judge_headroom(headroom_needed_db(mix_readings))
    return tuple(found)


def headroom_needed_db(mix_readings: Readings) -> float:
    """By how many dB the sum of the matched lanes goes over full scale; 0.0 where it does not."""
    return max(0.0, mix_readings.true_peak_dbtp or 0.0)


def _whole_beats(lane: Lane) -> range:
    return range(math.ceil(lane.start_beat), math.ceil(lane.end_beat))
