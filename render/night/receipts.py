"""Clips that are asked for by their receipt: made again as they were planned then, from the same records.

A receipt may come from anywhere. It is held to the bounds that a recipe is held to, and to the records as they lie
on the disk, so that it can neither ask for more than a recipe could nor for another clip than its own.
"""

import math
import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import asdict, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from render.clip.identity import matched_of
from render.clip.order import Matched
from render.facts import Recording, TrackFacts
from render.faults import SourceError, UsageError
from render.files.beat_marks import MOST_BEATS
from render.files.sound_file import sha256_of
from render.night.paths import CONTROL, content_of, unfit_for_a_name
from render.plan.align import SPEED_REFUSED
from render.plan.build import MAX_CLIP_S
from render.plan.model import ClipClock, ClipPlan, Lane, Passage
from render.publish.receipt import BadReceipt, plan_of, read_receipt
from render.recipe.quantities import MAX_BPM, MAX_MAGNITUDE, MIN_BPM

MAX_RECEIPT_BYTES = 16 * 1024 * 1024
"""The longest clip in loops of one beat comes to 2 MB for each track."""

CLIP_RATES_HZ = (44_100, 48_000)
SLACK_S = 0.001
"""By which a passage may be longer in its record than in the clip: both are rounded to whole frames."""
MAX_FRAMES = 2**40
"""Two months at 192 kHz; it keeps arithmetic on positions exact."""


def receipt_at(path: Path) -> dict[str, Any]:
    """The data of the receipt that lies at a path. Raises BadReceipt."""
    try:
        content = content_of(path, MAX_RECEIPT_BYTES + 1)
        if len(content) > MAX_RECEIPT_BYTES:
            raise BadReceipt("it is too large for a receipt")
        return read_receipt(content.decode("utf-8"))
    except UsageError as error:
        raise BadReceipt(error.wrong) from error
    except UnicodeDecodeError as error:
        raise BadReceipt("it is not text") from error


def from_receipt(path: Path, content: bytes) -> tuple[ClipPlan, dict[str, TrackFacts], Matched]:
    """The plan and the facts of a receipt that lies at `path`, and how loud its clip is.

    Raises UsageError where it is none, is damaged, or its records are not there as they were.
    """
    try:
        if len(content) > MAX_RECEIPT_BYTES:
            raise BadReceipt("it is too large for one")
        data = read_receipt(content.decode("utf-8"))
        plan, facts = plan_of(data)
        if not _fits(plan, facts):
            raise BadReceipt("its plan or its facts are damaged")
        matched = matched_of(data)
        hashes = {str(track["name"]): track["sha256"] for track in data["tracks"]}
    except BadReceipt as error:
        raise _not_a_receipt(path, textwrap.shorten(str(error), 120, placeholder="…")) from error
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        # Not UTF-8, a number of thousands of digits, nested without end, or tracks that are none.
        raise _not_a_receipt(path, "it is damaged") from error
    from render.files.audio_files import open_recording  # with its decoders, which take a while to load

    try:
        recordings = {name: open_recording(Path(known.recording.path)) for name, known in facts.items()}
        for name, recording in recordings.items():
            if not _same(recording, facts[name].recording) or sha256_of(Path(recording.path)) != hashes.get(
                name
            ):
                wrong = f"its record {recording.path} is not the one it was made from"
                raise UsageError(str(path), wrong, "render the recipe, or bring the record back")
    except SourceError as error:
        raise UsageError(str(path), f"{error.subject}: {error.wrong}", error.right) from error
    known = {name: replace(facts[name], recording=recording) for name, recording in recordings.items()}
    return plan, known, matched


def _not_a_receipt(path: Path, why: str) -> UsageError:
    return UsageError(str(path), f"not a receipt: {why}", "name a recipe, or the .json beside a clip")


def _same(one: Recording, other: Recording) -> bool:
    return replace(one, note="") == replace(other, note="")


def _fits(plan: ClipPlan, facts: Mapping[str, TrackFacts]) -> bool:
    """Whether a recipe could have led to this plan, as far as carrying it out depends on it."""
    clock = plan.clock
    return (
        all(map(_is_plain, _leaves([asdict(plan), *map(asdict, facts.values())])))
        and not unfit_for_a_name(plan.name)
        and _clock_fits(clock)
        and 20.0 <= plan.low_cut_hz <= 1000.0
        and -24.0 <= plan.ceiling_dbtp <= 0.0
        and len(plan.lanes) >= 2
        and {lane.track for lane in plan.lanes} == set(facts)
        and len(plan.lanes) == len(facts)
        and all(map(_facts_fit, facts.values()))
        and all(_lane_fits(lane, clock, facts[lane.track].recording.rate_hz) for lane in plan.lanes)
    )


def _leaves(value: Any) -> Iterator[Any]:
    if isinstance(value, dict):
        for item in value.values():
            yield from _leaves(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from _leaves(item)
    else:
        yield value


def _is_plain(value: Any) -> bool:
    if isinstance(value, str):
        return not CONTROL.search(value)
    return not isinstance(value, int | float) or (math.isfinite(value) and abs(value) <= MAX_FRAMES)


def _clock_fits(clock: ClipClock) -> bool:
    return (
        MIN_BPM <= clock.tempo_bpm <= MAX_BPM
        and clock.rate_hz in CLIP_RATES_HZ
        and 1 <= clock.beats_per_bar <= 32
        and clock.lead_beats >= 0
        and clock.tail_beats >= 1
        and (clock.lead_beats + clock.tail_beats) * 60.0 / clock.tempo_bpm <= MAX_CLIP_S
    )


def _facts_fit(facts: TrackFacts) -> bool:
    return (
        MIN_BPM <= facts.tempo_bpm.value <= MAX_BPM
        and 1 <= facts.beats_per_bar.value <= 32
        and abs(facts.first_beat_s.value) <= MAX_MAGNITUDE
        and abs(facts.drop_s.value) <= MAX_MAGNITUDE
        and facts.recording.rate_hz > 0
        and _beats_fit(facts)
    )


def _beats_fit(facts: TrackFacts) -> bool:
    """Whether a drifting record's beats are some, in order, and begin with its first."""
    beats_s = facts.beats_s
    return not beats_s or (
        2 <= len(beats_s) <= MOST_BEATS
        and beats_s[0] == facts.first_beat_s.value
        and beats_s[-1] <= MAX_MAGNITUDE
        and all(one < other for one, other in pairwise(beats_s))
    )


def _lane_fits(lane: Lane, clock: ClipClock, source_rate_hz: int) -> bool:
    return (
        len(lane.passages) > 0
        and lane.start_frames >= 0
        and lane.end_frames <= clock.length_frames
        and all(_passage_fits(passage, clock, source_rate_hz) for passage in lane.passages)
        and all(a.clip_end_frames == b.clip_start_frames for a, b in pairwise(lane.passages))
        and -60.0 <= lane.gain_db <= 24.0
        and min(lane.fade_in_frames, lane.fade_out_frames) >= 0
        and lane.fade_in_frames + lane.fade_out_frames <= lane.end_frames - lane.start_frames
        and all(0 <= cut.start_frames < cut.end_frames <= clock.length_frames for cut in lane.cuts)
        and all(a.end_frames <= b.start_frames for a, b in pairwise(lane.cuts))
    )


def _passage_fits(passage: Passage, clock: ClipClock, source_rate_hz: int) -> bool:
    in_record_s = (passage.source_end_frames - passage.source_start_frames) / source_rate_hz
    in_clip_s = passage.clip_frames / clock.rate_hz
    return (
        passage.clip_frames > 0
        and abs(clock.beat_frames(passage.start_beat) - passage.clip_start_frames) <= 1
        and abs(clock.beat_frames(passage.end_beat) - passage.clip_end_frames) <= 1
        and abs(passage.speed - 1.0) <= SPEED_REFUSED + 1e-9
        and abs(in_record_s - in_clip_s * passage.speed) <= SLACK_S
        and abs(passage.semitones or 0.0) <= 12.0
    )
