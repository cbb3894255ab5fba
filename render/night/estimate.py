"""What a run would do: which clips, which of them are there already, and about how long and how large it would be."""

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from render.clip.order import Order
from render.night.words import lasting, plural, sized

WALL_S_PER_CLIP_S = 0.2
"""What a second of a clip costs one core. The 13 clips of `dropkiln demo`, 575 s of them, took 90 s of processor time
by the fine engine on the machine this was written on, variants that share their passages included: 0.16, rounded up."""
BYTES_PER_CLIP_S: Mapping[str, float] = {
    "mp3": 40_000.0,
    "opus": 22_000.0,
    "flac": 212_000.0,
    "wav": 264_600.0,
}
"""MP3 has 320 kbit/s, WAV 24 bits of stereo at 44.1 kHz; of Opus and FLAC the demo's clips came to so much."""
BYTES_BESIDE = 27_000.0
"""A clip's receipt and picture together, in the middle of the demo's."""


@dataclass(frozen=True)
class Costs:
    """What a second of a clip costs, and where that is known from."""

    wall_s_per_clip_s: float = WALL_S_PER_CLIP_S
    bytes_per_clip_s: Mapping[str, float] = field(default_factory=lambda: BYTES_PER_CLIP_S)
    known_from: str = "what clips usually cost"


@dataclass(frozen=True)
class Estimate:
    clips: int
    clip_s: float
    wall_s: float
    size_bytes: float


def costs_of(report_text: str | None) -> Costs:
    """The costs that an earlier run's report tells of; the usual ones where it tells of none."""
    try:
        clips = json.loads(report_text or "{}").get("clips", [])
        made = [
            (str(c["format"]), float(c["duration_s"]), float(c["wall_s"]), float(c["size_bytes"]))
            for c in clips
            if c["outcome"] == "made" and c["size_bytes"] is not None
        ]
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):  # not a report, or damaged
        return Costs()
    sound_s = sum(duration_s for _, duration_s, _, _ in made)
    if not sound_s > 0:
        return Costs()
    sizes = dict(BYTES_PER_CLIP_S)
    for form in {form for form, *_ in made}:
        of_form = [(duration_s, size) for f, duration_s, _, size in made if f == form]
        sizes[form] = sum(size for _, size in of_form) / sum(duration_s for duration_s, _ in of_form)
    wall_s = sum(wall_s for _, _, wall_s, _ in made)
    return Costs(wall_s / sound_s, sizes, f"the {plural(len(made), 'clip')} of the last run")


def estimate(orders: Sequence[Order], kept: Collection[str], costs: Costs, jobs: int) -> Estimate:
    """What the clips that are not there yet would cost, `jobs` of them made at once."""
    plans = [order.plan for order in orders if order.plan.name not in kept]
    sound_s = sum(plan.clock.duration_s for plan in plans)
    size = sum(costs.bytes_per_clip_s[p.format] * p.clock.duration_s + BYTES_BESIDE for p in plans)
    at_once = max(1, min(jobs, len(plans)))
    return Estimate(len(plans), sound_s, costs.wall_s_per_clip_s * sound_s / at_once, size)


def dry_run_lines(orders: Sequence[Order], kept: Collection[str], costs: Costs, jobs: int) -> Iterator[str]:
    """One line for each clip that is asked for, and one for what all of them would cost."""
    for order in orders:
        clock = order.plan.clock
        there = "  (is there, kept)" if order.plan.name in kept else ""
        yield f"{file_of(order)}  {clock.duration_s:.1f} s at {clock.tempo_bpm:g} BPM{there}"
    cost = estimate(orders, kept, costs, jobs)
    if cost.clips:
        yield (
            f"to make: {plural(cost.clips, 'clip')}, {lasting(cost.clip_s)} of sound; estimated from "
            f"{costs.known_from}: about {lasting(cost.wall_s)} and {sized(cost.size_bytes)}"
        )
    else:
        yield "to make: nothing"


def dry_run_json(orders: Sequence[Order], kept: Collection[str], costs: Costs) -> str:
    """A list of objects: `name`, `clip` (its file's name), `duration_s`, `tempo_bpm`, `kept`, and estimates."""
    asked: list[dict[str, Any]] = []
    for order in orders:
        cost = estimate([order], kept, costs, jobs=1)
        asked.append(
            {
                "name": order.plan.name,
                "clip": file_of(order),
                "duration_s": order.plan.clock.duration_s,
                "tempo_bpm": order.plan.clock.tempo_bpm,
                "kept": order.plan.name in kept,
                "estimated_wall_s": round(cost.wall_s, 1),
                "estimated_bytes": round(cost.size_bytes),
            }
        )
    return json.dumps(asked, indent=2, ensure_ascii=False)


def file_of(order: Order) -> str:
    return f"{order.plan.name}.{order.plan.format}"
