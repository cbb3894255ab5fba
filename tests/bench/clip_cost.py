"""What one clip costs over its bare parts: `python -m tests.bench.clip_cost`.

The clip has two lanes and 128 beats, and nothing is cached. The bare cost is that of decoding the same spans,
stretching them with the same engine and encoding once. Both are measured in turn in one process, imports done, and
the ratio of their medians is what counts: seconds depend on the machine. Peak memory is that of a fresh process that
makes the clip once.
"""

import multiprocessing
import os
import statistics
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any
from unittest.mock import patch

from render.files.audio_files import read_span
from render.files.engines import engines_here
from render.files.ffmpeg import encode
from render.files.store import CACHE_VARIABLE
from render.make import Done, Order, make
from render.night.job import read_work
from render.sound.engine import Engine
from render.sound.spans import spans_of
from tests.bench.costs import missing_engines, peak_mib_of
from tests.bench.full_length import ROUNDS, full_length_folder
from tests.bench.rows import Row, load, tell

BAR = 1.3
WHAT = "clip / bare decode + stretch + encode"
MEMORY_BAR_MIB = 1024.0
TOLD_SHARE = 0.01
"""Smaller parts of a clip's time are not told."""
STAGES = {
    "hash the records": ["render.files.shelf.known_sha256"],
    "decode": ["render.clip.lanes.read_span"],
    "stretch": ["render.sound.lane.stretched_beside_plain"],
    "put on the shelf": ["render.files.shelf._packed", "render.files.store._write"],
    "join": ["render.sound.lane.lane_of"],
    "match loudness": ["render.clip.lanes.integrated_lufs"],
    "read landings": ["render.clip.lanes.read_lane"],
    "low cut and gain": ["render.clip.lanes.into_mix"],
    "mix": ["render.clip.mixed.mix"],
    "read the mix": ["render.clip.mixed.read_levels"],
    "encode (the mix is read meanwhile)": ["render.files.to_ceiling.encode"],
    "decode and read again": ["render.files.to_ceiling.decode_clip", "render.files.to_ceiling.read_levels"],
    "tags, picture, receipt": [
        "render.clip.published.write_tags",
        "render.clip.published.picture_svg",
        "render.clip.published.write_whole",
    ],
}


def rows(quick: bool) -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as place, patch.dict(os.environ, {CACHE_VARIABLE: f"{place}/cache"}):
        folder = Path(place) / "desk"
        full_length_folder(folder)
        work = read_work([folder / "cost.yaml"])
        assert not work.faults, work.faults
        (order,) = work.orders(folder / "clips", force=True)
        for engine in engines_here():
            yield from engine_rows(order, engine, 2 if quick else ROUNDS[engine.name])
    yield from missing_engines(WHAT)


def engine_rows(order: Order, engine: Engine, rounds: int) -> Iterator[Row]:
    stages: dict[str, float] = defaultdict(float)
    bare, whole = [], []
    once(order, engine)
    with load() as during:
        for _ in range(rounds):
            bare.append(seconds(lambda: bare_parts(order, engine)))
            with timed_stages(stages):
                whole.append(seconds(lambda: once(order, engine)))
    pairs = [w / b for w, b in zip(whole, bare, strict=True)]
    ratio = f"{statistics.median(whole) / statistics.median(bare):.2f} ({min(pairs):.2f} to {max(pairs):.2f})"
    name = f"{engine.name} {engine.version}"
    yield Row(f"{WHAT}, {name}", ratio, f"≤ {BAR}", during)
    shares = sorted(((spent / sum(whole), stage) for stage, spent in stages.items()), reverse=True)
    told = ", ".join(f"{stage} {share:.1%}" for share, stage in shares if share >= TOLD_SHARE)
    yield Row(f"where its time goes, {name}", told, "", during)
    with load() as during:
        peak = f"{peak_mib(order, engine):.0f} MiB"
    yield Row(f"peak memory of making one clip, {name}", peak, f"≤ {MEMORY_BAR_MIB:.0f} MiB", during)


def once(order: Order, engine: Engine) -> None:
    assert isinstance(make(order, engine), Done)


def bare_parts(order: Order, engine: Engine) -> None:
    """Decode and stretch each span once, and encode once what comes out."""
    clock = order.plan.clock
    lanes = []
    for lane in order.plan.lanes:
        recording = order.facts[lane.track].recording
        for span in dict.fromkeys(spans_of(lane, recording.rate_hz)):
            decoded = read_span(recording, span.start_frame, span.frames)
            lanes.append(engine.stretch(decoded * 0.25, recording.rate_hz, span.speed, span.semitones or 0.0))
    length = min(clock.length_frames, *(len(lane) for lane in lanes))
    audio = sum((lane[:length] for lane in lanes[1:]), lanes[0][:length])
    with tempfile.NamedTemporaryFile(suffix=f".{order.plan.format}") as file:
        encode(audio, clock.rate_hz, order.plan.format, Path(file.name))


def seconds(work: Callable[[], None]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


@contextmanager
def timed_stages(stages: dict[str, float]) -> Iterator[None]:
    """Add up what each stage takes. Stages do not call one another."""

    def timed(stage: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def run(*args: Any, **more: Any) -> Any:
            start = time.perf_counter()
            try:
                return function(*args, **more)
            finally:
                stages[stage] += time.perf_counter() - start

        return run

    with ExitStack() as stack:
        for stage, names in STAGES.items():
            for name in names:
                module, _, function = name.rpartition(".")
                stack.enter_context(patch(name, timed(stage, getattr(sys.modules[module], function))))
        yield


def peak_mib(order: Order, engine: Engine) -> float:
    """Peak memory of a fresh process that makes the clip once, its children apart."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(_peak_mib, (order, engine))


def _peak_mib(order: Order, engine: Engine) -> float:
    once(order, engine)
    return peak_mib_of()


if __name__ == "__main__":
    tell(rows("--quick" in sys.argv[1:]))
