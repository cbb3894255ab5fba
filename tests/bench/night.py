"""What a night costs: `python -m tests.bench.night [--quick] [PART…]`, all parts or those named.

Parts are `variants`, `speedup`, `night` and `unchanged`.

Everything is measured in one run, what is compared in turn, and what counts are ratios; seconds depend on the
machine, and on what else it does: the load stands beside each number. Nights are run as a person runs them, in a
process of its own, with a cache of its own. A clip of full length has two lanes and 128 beats at 174 BPM (44 s);
the clips of the long night have 3 beats, so that it is over soon.
"""

import multiprocessing
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import permutations
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile
from threadpoolctl import threadpool_limits

from render.files.engines import EngineChoice, engine_of, engines_here
from render.files.shelf import shelf_of
from render.files.store import CACHE_VARIABLE
from render.make import Done, Order, make_together
from render.night.job import read_work
from render.sound.engine import Engine
from tests.bench.costs import missing_engines, peak_mib_of, processor_s
from tests.bench.full_length import FULL_LENGTH, ROUNDS, full_length_folder
from tests.bench.rows import Row, load, tell
from tests.cli.desk import RATE_HZ, record
from tests.processes import workers_of

VARIANT_BAR, SPEEDUP_BAR, RECOGNISED_BAR_S, MEMORY_BAR_MIB = 0.25, 1.8, 3.0, 1024.0
TRACKS, RECIPES, RECOGNISED = 40, 1000, 200
SHORT = """\
recipe: 1
title: {lead} over {other}
tempo: 140
lead: 1 beats
tail: 2 beats
tracks:
{tracks}clip: {{format: flac}}
"""
TRACK = """\
  {name}:
    file: tracks/{name}.wav
    bpm: {tempo}
    first_beat: 0.25 s
    markers: {{drop: bar 3}}
"""
TRY = "try: {darker: {low_cut: {below: 200 Hz}}}\n"
"""A variant that plays the same passages."""
SETTLED = 0.25
"""The part of a night after which its workers have all they need in memory."""
NIGHT_S = 8 * 3600.0


def rows(quick: bool, asked: Iterable[str] = ()) -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder:
        for part in asked or PARTS:
            yield from PARTS[part](Path(folder) / part, quick)


# --- a variant ---


def variants(folder: Path, quick: bool) -> Iterator[Row]:
    full_length_folder(folder)
    (folder / "cost.yaml").write_text(FULL_LENGTH + TRY, encoding="utf-8")
    (folder / "four.yaml").write_text(four_lanes(), encoding="utf-8")
    for engine in engines_here():
        with load() as during:
            costs = apart(variant_costs, folder, engine.name, 2 if quick else ROUNDS[engine.name])
        of_first = costs / costs[:, :1]
        for what, ratios in (("alone", of_first[:, 1]), ("made together with it", of_first[:, 2] - 1.0)):
            told = f"{np.median(ratios):.2f} ({ratios.min():.2f} to {ratios.max():.2f})"
            yield Row(f"second variant {what} / first clip, {engine.name}", told, f"≤ {VARIANT_BAR}", during)
        clip_s = float(np.median(costs[:, 0]))
        told = f"{clip_s:.1f} s of one core; at most {2 * NIGHT_S / clip_s:.0f} in 8 hours on two"
        yield Row(f"a clip of full length, {engine.name}", told, "", during)
        with load() as during:
            peak_mib = apart(peak_of_four_lanes, folder, engine.name)
        what = f"peak memory, four lanes of full length and a variant, {engine.name}"
        yield Row(what, f"{peak_mib:.0f} MiB", f"≤ {MEMORY_BAR_MIB:.0f} MiB", during)
    yield from missing_engines("second variant / first clip")


def four_lanes() -> str:
    """The two records of the usual recipe, and each once more."""
    before, tracks, after = re.split(r"(?<=tracks:\n)|(?=low_cut:)", FULL_LENGTH)
    return before + tracks + re.sub(r"^  (?=[a-z]+:$)", "  second-", tracks, flags=re.MULTILINE) + after + TRY


def apart(measure: Callable[..., Any], *arguments: object) -> Any:
    """What is measured in a process of its own."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(measure, arguments)


def variant_costs(folder: Path, choice: EngineChoice, rounds: int) -> npt.NDArray[np.float64]:
    """Seconds of processor time, (rounds, 3): a first clip, then its variant, and both together from nothing."""
    engine = engine_of(choice)
    with tempfile.TemporaryDirectory() as cache, threadpool_limits(1):
        os.environ[CACHE_VARIABLE] = cache
        first, second = read_work([folder / "cost.yaml"]).orders(folder / "clips", force=False)

        def spent_s(*orders: Order) -> float:
            empty(folder / "clips")
            return processor_s(lambda: made(orders, engine))

        costs = []
        for _ in range(rounds + 1):
            alone = spent_s(first), spent_s(second)
            empty(Path(cache))
            costs.append((*alone, spent_s(first, second)))
            empty(Path(cache))
    return np.array(costs[1:])  # the first round loads what is loaded once


def peak_of_four_lanes(folder: Path, choice: EngineChoice) -> float:
    """In MiB."""
    with tempfile.TemporaryDirectory() as cache, threadpool_limits(1):
        os.environ[CACHE_VARIABLE] = cache
        made(read_work([folder / "four.yaml"]).orders(folder / "clips", force=False), engine_of(choice))
    return peak_mib_of()


def made(orders: Sequence[Order], engine: Engine) -> None:
    came = make_together(orders, engine, shelf_of())
    assert came and all(isinstance(one, Done) for one, _ in came), came


def empty(folder: Path) -> None:
    for path in folder.iterdir():
        shutil.rmtree(path) if path.is_dir() else path.unlink()


# --- nights ---


@dataclass
class Night:
    """A run in a process of its own: how many clips came, and what memory its workers had then."""

    wall_s: float = 0.0
    processor_s: float = 0.0
    """Of all its processes together."""
    came: int = 0
    """How many clips have been told of."""
    memory: dict[int, list[tuple[int, float]]] = field(default_factory=lambda: defaultdict(list))
    """Of each worker: how many clips were there, and its memory (MiB) then."""
    peaks_mib: dict[int, float] = field(default_factory=dict)
    outcomes: dict[str, int] = field(default_factory=lambda: defaultdict(int))


def night(
    folder: Path, paths: list[str], out: str, cache: Path, jobs: int, engine: str = "signalsmith"
) -> Night:
    program = str(Path(sys.executable).with_name("dropkiln"))
    options = ["--out", out, "--jobs", str(jobs), "--engine", engine, "--plain"]
    environment = {**os.environ, CACHE_VARIABLE: str(cache)}
    came = Night()
    began_s, spent_s = time.monotonic(), processor_s_of_children()
    with subprocess.Popen(
        [program, "render", *paths, *options], cwd=folder, env=environment, stderr=subprocess.PIPE, text=True
    ) as run:
        assert run.stderr
        for line in run.stderr:
            if line.startswith("night "):  # the closing table
                break
            came.outcomes[line.split()[0]] += 1
            came.came += 1
            if came.came % 5 == 0:
                for worker in workers_of(run.pid):
                    look_at(worker, came.came, came)
        run.stderr.read()
    came.wall_s = time.monotonic() - began_s
    came.processor_s = processor_s_of_children() - spent_s
    assert run.returncode == 0, came.outcomes
    return came


def processor_s_of_children() -> float:
    times = os.times()
    return times.children_user + times.children_system


def look_at(worker: int, clips: int, into: Night) -> None:
    try:
        pages = int(Path(f"/proc/{worker}/statm").read_text().split()[1])
        into.peaks_mib[worker] = peak_mib_of(str(worker))
    except (FileNotFoundError, ProcessLookupError):  # the last clip has come, and it has ended
        return
    into.memory[worker].append((clips, pages * os.sysconf("SC_PAGE_SIZE") / 2**20))


def speedup(folder: Path, quick: bool) -> Iterator[Row]:
    """The same clips of full length by one worker and by two, in turn, each with an empty cache."""
    full_length_folder(folder)
    for engine in engines_here():
        clips, rounds = (16, 3) if engine.name == "signalsmith" and not quick else (8, 2)
        for number in range(clips):
            text = FULL_LENGTH.replace("tempo: 174", f"tempo: {174 - number * 0.1:.1f}")
            (folder / f"speed-{number:02d}.yaml").write_text(text, encoding="utf-8")
        paths = [f"speed-{number:02d}.yaml" for number in range(clips)]
        with load() as during:
            ratios = [one_over_two(folder, paths, engine.name) for _ in range(rounds)]
        told = f"{statistics.median(ratios):.2f} × ({min(ratios):.2f} to {max(ratios):.2f})"
        what = f"two workers over one, {clips} clips, the whole run, {engine.name}"
        yield Row(what, told, f"≥ {SPEEDUP_BAR} ×", during)


def one_over_two(folder: Path, paths: list[str], engine: str) -> float:
    seconds = []
    for jobs in (1, 2):
        with tempfile.TemporaryDirectory() as place:
            seconds.append(night(folder, paths, f"{place}/out", Path(place) / "cache", jobs, engine).wall_s)
    return seconds[0] / seconds[1]


def long_night(folder: Path, quick: bool) -> Iterator[Row]:
    recipes, desk, cache = 100 if quick else RECIPES, folder / "desk", folder / "cache"
    short_folder(desk, recipes)
    with load() as during:
        long = night(desk, ["."], "out", cache, jobs=2)
    assert long.outcomes == {"made": recipes}, long.outcomes
    told = f"{long.wall_s:.0f} s; {long.processor_s / recipes:.2f} s of one core a clip"
    yield Row(f"a night of {recipes} recipes over {TRACKS} records", told, "to the end", during)
    peak = f"{max(long.peaks_mib.values()):.0f} MiB"
    yield Row("peak memory of its workers", peak, f"≤ {MEMORY_BAR_MIB:.0f} MiB", during)
    for looks in long.memory.values():
        clips, mib = np.array([look for look in looks if look[0] > SETTLED * recipes]).T
        slope = np.polyfit(clips / 2, mib, 1)[0]  # each of the two makes half of them
        told = f"{slope:+.3f} MiB a clip over {len(clips) * 5 // 2} clips"
        yield Row("slope of a worker's memory", told, "flat", during)
    with load() as during:
        again = night(desk, ["."], "out", cache, jobs=2)
    assert again.outcomes == {"kept": recipes}, again.outcomes
    told = f"{again.wall_s:.1f} s; {again.processor_s:.1f} s of one core"
    yield Row(f"{recipes} unchanged clips recognised, the whole run", told, "", during)


def unchanged(folder: Path, quick: bool) -> Iterator[Row]:
    """A folder in which every clip is there already."""
    desk, cache = folder / "desk", folder / "cache"
    short_folder(desk, RECOGNISED)
    night(desk, ["."], "out", cache, jobs=2)
    with load() as during:
        kept = [night(desk, ["."], "out", cache, jobs=2) for _ in range(3 if quick else 5)]
    assert all(one.outcomes == {"kept": RECOGNISED} for one in kept)
    seconds, spent = ([getattr(one, name) for one in kept] for name in ("wall_s", "processor_s"))
    told = f"{statistics.median(seconds):.1f} s; {statistics.median(spent):.1f} s of one core"
    asked = f"≤ {RECOGNISED_BAR_S} s"
    yield Row(f"{RECOGNISED} unchanged clips recognised, the whole run", told, asked, during)


def short_folder(desk: Path, recipes: int) -> None:
    (desk / "tracks").mkdir(parents=True)
    names = [f"record{number:02d}" for number in range(TRACKS)]
    tempos = {name: 134.0 + 0.3 * number for number, name in enumerate(names)}
    for number, name in enumerate(names):
        sound = record(0.25, 50.0 + number, tempos[name])
        soundfile.write(desk / "tracks" / f"{name}.wav", sound, RATE_HZ)
    pairs = sorted(permutations(names, 2), key=lambda pair: hash_of(*pair))
    for number, (lead, other) in enumerate(pairs[:recipes]):
        tracks = "".join(TRACK.format(name=name, tempo=f"{tempos[name]:.1f}") for name in (lead, other))
        text = SHORT.format(lead=lead, other=other, tracks=tracks)
        (desk / f"{number:04d}.yaml").write_text(text, encoding="utf-8")


def hash_of(lead: str, other: str) -> int:
    """An order in which neighbours have nothing in common; the same every time, unlike Python's own hashes."""
    return int.from_bytes(f"{other}{lead}".encode()) % 99_991


PARTS: dict[str, Callable[[Path, bool], Iterator[Row]]] = {
    "variants": variants,
    "speedup": speedup,
    "night": long_night,
    "unchanged": unchanged,
}


if __name__ == "__main__":
    tell(rows("--quick" in sys.argv[1:], [word for word in sys.argv[1:] if word in PARTS]))
