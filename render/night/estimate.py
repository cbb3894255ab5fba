"""About how long a run would take and how large it would be, and how a dry run tells what lies ahead."""

import json
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from render.clip.order import Order
from render.night.ahead import Ahead, Passages
from render.night.words import lasting, plural, sized

WALL_S_PER_STRETCHED_S: Mapping[str, float] = {"rubberband": 0.135, "signalsmith": 0.042}
WALL_S_PER_CLIP_S = 0.03
"""What one core takes for a second of a record that an engine is given, and for all the rest of a second of a clip. By
processor time of a clip of two lanes, 44 s (`tests/bench/full_length.py`), the least of three to ten rounds on a
machine whose two cores had other work as well: both lanes stretched 13.2 s by rubberband and 5.0 s by signalsmith; one
of them 7.3 and 3.2 s; neither 1.6 s; a variant that plays what was stretched before 1.1 s."""
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
    """What clips cost, and where that is known from."""

    slowness: float = 1.0
    """How many times as long as usual they take."""
    bytes_per_clip_s: Mapping[str, float] = field(default_factory=lambda: BYTES_PER_CLIP_S)
    known_from: str = "what clips usually cost"

    def wall_s(self, order: Order, passages: Passages, engine: str) -> float:
        """What one core takes for a clip."""
        return self.slowness * usual_wall_s(engine, passages.stretched_s, order.plan.clock.duration_s)

    def size_bytes(self, orders: Iterable[Order]) -> float:
        """What clips take on the disk, with their receipts and pictures."""
        plans = [order.plan for order in orders]
        return sum(self.bytes_per_clip_s[p.format] * p.clock.duration_s + BYTES_BESIDE for p in plans)


@dataclass(frozen=True)
class Estimate:
    clips: int
    clip_s: float
    wall_s: float
    size_bytes: float


def usual_wall_s(engine: str, stretched_s: float, clip_s: float) -> float:
    """What one core usually takes for so much stretched, and for so much of clips."""
    return WALL_S_PER_STRETCHED_S[engine] * stretched_s + WALL_S_PER_CLIP_S * clip_s


def costs_of(report_text: str | None) -> Costs:
    """The costs that an earlier run's report tells of; the usual ones where it tells of none.

    How long its clips took is held against what is usual for what was stretched for them: the clips of the next run
    may find more on the shelf, or less.
    """
    try:
        clips = json.loads(report_text or "{}").get("clips", [])
        made = [c for c in clips if c["outcome"] == "made" and c["size_bytes"] is not None]
        wall_s = sum(float(c["wall_s"]) for c in made)
        usual_s = sum(
            usual_wall_s(c["engine"], float(c["stretched_s"]), float(c["duration_s"])) for c in made
        )
        sounds_s, sizes = (_by_format(made, what) for what in ("duration_s", "size_bytes"))
    except (ArithmeticError, AttributeError, KeyError, RecursionError, TypeError, ValueError):
        return Costs()  # it is no report, is damaged, or of another version
    if not all(0 < told < math.inf for told in (usual_s, wall_s, *sizes.values())):
        return Costs()
    of_forms = {form: sizes[form] / sound_s for form, sound_s in sounds_s.items() if sound_s > 0}
    return Costs(
        wall_s / usual_s, {**BYTES_PER_CLIP_S, **of_forms}, f"the {plural(len(made), 'clip')} of the last run"
    )


def _by_format(clips: Iterable[Mapping[str, Any]], what: str) -> Mapping[str, float]:
    sums: dict[str, float] = defaultdict(float)
    for clip in clips:
        sums[clip["format"]] += float(clip[what])
    return sums


def estimate(ahead: Ahead, costs: Costs, jobs: int) -> Estimate:
    """What the clips that are not there yet would cost, `jobs` recipes at work at once."""
    orders = [order for order in ahead.orders if order.plan.name in ahead.to_make]
    sound_s = sum(order.plan.clock.duration_s for order in orders)
    wall_s = sum(costs.wall_s(order, ahead.to_make[order.plan.name], ahead.engine) for order in orders)
    return Estimate(len(orders), sound_s, wall_s / jobs, costs.size_bytes(orders))


def dry_run_lines(ahead: Ahead, costs: Costs, jobs: int) -> Iterator[str]:
    """One line for each clip that is asked for, and one for what all of them would cost."""
    for order in ahead.orders:
        clock = order.plan.clock
        there = _there(ahead.to_make.get(order.plan.name))
        yield f"{file_of(order)}  {clock.duration_s:.1f} s at {clock.tempo_bpm:g} BPM{there}"
    cost = estimate(ahead, costs, jobs)
    if not cost.clips:
        yield "to make: nothing"
        return
    takes = [lasting(cost.wall_s), sized(cost.size_bytes)]
    told = " and ".join(takes)
    if ahead.cache_bytes:
        told = f"{', '.join(takes)}, and {sized(ahead.cache_bytes)} in the cache"
    yield (
        f"to make: {plural(cost.clips, 'clip')}, {lasting(cost.clip_s)} of sound; estimated from "
        f"{costs.known_from}: about {told}"
    )


def _there(passages: Passages | None) -> str:
    """What of a clip is there already."""
    if passages is None:
        return "  (is there, kept)"
    before = passages.cached + passages.shared
    return f"  ({before} of its {plural(passages.count, 'passage')} stretched before)" if before else ""


def dry_run_json(ahead: Ahead, costs: Costs) -> str:
    """A list of objects: `name`, `clip` (its file's name), `duration_s`, `tempo_bpm`, `kept`, and what making it takes.

    That is `passages`, `passages_cached` (those of them that lie in the cache), and estimates.
    """
    asked: list[dict[str, Any]] = []
    for order in ahead.orders:
        name = order.plan.name
        kept = name not in ahead.to_make
        passages = ahead.to_make.get(name, Passages())
        asked.append(
            {
                "name": name,
                "clip": file_of(order),
                "duration_s": order.plan.clock.duration_s,
                "tempo_bpm": order.plan.clock.tempo_bpm,
                "kept": kept,
                "passages": passages.count,
                "passages_cached": passages.cached,
                "estimated_wall_s": 0.0 if kept else round(costs.wall_s(order, passages, ahead.engine), 1),
                "estimated_bytes": 0 if kept else round(costs.size_bytes([order])),
            }
        )
    return json.dumps(asked, indent=2, ensure_ascii=False)


def file_of(order: Order) -> str:
    return f"{order.plan.name}.{order.plan.format}"
