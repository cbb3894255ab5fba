"""Every measure of the ears on every set, so that any change shows its effect.

    python -m tests.ground_truth.scoreboard [--sets synthetic,loops] [--quick] [--true-grid] [--no-library]

The table has one column for each set and one, in brackets, for what of it is held out. Below it stands every answer
that was wrong. Two processes work at a low priority; costs are the processor's time, not the clock's.
"""

import argparse
import json
import multiprocessing
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.ground_truth import debian, spoken, synthetic
from tests.ground_truth.debian import Missing
from tests.ground_truth.ears import Heard, hear
from tests.ground_truth.scores import Score, score
from tests.ground_truth.tables import Result, drop_table, main_table, wrong_answers
from tests.ground_truth.truth import Record, Truth
from tests.recorded.conftest import cache_folder

SETS: dict[str, Callable[[], list[Record]]] = {
    "synthetic": synthetic.synthetic_records,
    "hard-drops": synthetic.hard_drop_records,
    "drifting": synthetic.drifting_records,
    "tape": synthetic.tape_records,
    "fresh": synthetic.fresh_records,
    "fresh-drops": synthetic.fresh_hard_drop_records,
    "fresh-tape": synthetic.fresh_tape_records,
    "spoken": spoken.spoken_records,
    "loops": debian.loop_records,
    "midi": debian.midi_records,
    "modules": debian.module_records,
    "produced": debian.produced_records,
}
QUICK_STEP = 5
"""Of a quick run: every fifth record, which meets every style and both sides of the hold-out."""
WORKERS = 2
NICENESS = 5


@dataclass(frozen=True)
class Task:
    """One record, by its place in its set: what a worker process can be told."""

    set: str
    place: int
    library: bool
    true_grid: bool


def work(task: Task) -> Result:
    record = SETS[task.set]()[task.place]
    truth = record.truth
    try:
        sound, rate_hz = record.sound()
        heard = hear(sound, rate_hz, truth, library=task.library, grid_given=task.true_grid)
        return Result(truth, heard, score(truth, heard), len(sound) / rate_hz)
    except Exception:  # noqa: BLE001 - one record that cannot be heard must not hide the others; it is told by name
        return Result(truth, Heard(), Score(), 0.0, traceback.format_exc())


def _begin_worker() -> None:
    os.nice(NICENESS)


def results_of(tasks: Sequence[Task]) -> list[Result]:
    """Every task's result, in their order."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
        os.environ[name] = "1"  # a core for each process, so that costs are those of one core
    # librosa's compiled parts, kept beside its sources by whoever ran it last, have crashed a worker.
    os.environ.setdefault("NUMBA_CACHE_DIR", str(cache_folder() / "numba"))
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(WORKERS, mp_context=spawn, initializer=_begin_worker) as pool:
        return list(pool.map(work, tasks))


def tasks_of(sets: Sequence[str], *, quick: bool, library: bool, true_grid: bool) -> list[Task]:
    tasks = []
    for name in sets:
        try:
            count = len(SETS[name]())
        except Missing as reason:
            sys.stderr.write(f"{name}: left out ({reason})\n")
            continue
        tasks += [
            Task(name, place, library, true_grid) for place in range(0, count, QUICK_STEP if quick else 1)
        ]
    return tasks


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.ground_truth.scoreboard", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--sets", default=",".join(SETS), help=f"some of {','.join(SETS)}")
    parser.add_argument("--quick", action="store_true", help=f"every {QUICK_STEP}th record only")
    parser.add_argument(
        "--true-grid", action="store_true", help="give the true grid and score what is heard by it"
    )
    parser.add_argument("--no-library", action="store_true", help="leave out librosa's column")
    parser.add_argument("--json", type=Path, help="write every answer to this file too")
    asked = parser.parse_args()
    sets = asked.sets.split(",")
    if unknown := [name for name in sets if name not in SETS]:
        parser.error(f"no set is called {', '.join(unknown)}; there are {', '.join(SETS)}")
    results = results_of(
        tasks_of(sets, quick=asked.quick, library=not asked.no_library, true_grid=asked.true_grid)
    )
    for text in (main_table(results), drop_table(results), wrong_answers(results)):
        sys.stdout.write(f"{text}\n")
    if asked.json:
        asked.json.write_text(json.dumps([_plain(result) for result in results], indent=1), encoding="utf-8")


def _plain(result: Result) -> dict[str, object]:
    truth: Truth = result.truth
    grid, finding = result.heard.grid, result.heard.finding
    return {
        "name": truth.name,
        "set": truth.set,
        "held_out": truth.held_out,
        "tempo_bpm": truth.tempo_bpm,
        "first_beat_s": truth.first_beat_s,
        "drops_s": truth.drops_s,
        "key": truth.key,
        "heard_tempo_bpm": grid and grid.tempo_bpm,
        "heard_first_beat_s": grid and grid.first_beat_s,
        "runner_up_bpm": finding and finding.runner_up_bpm,
        "tempo_confidence": finding and finding.tempo_confidence,
        "beat_confidence": finding and finding.beat_confidence,
        "bar_confidence": finding and finding.bar_confidence,
        "fits": finding and finding.fits,
        "heard_drops_s": result.heard.drops_s,
        "heard_key": result.heard.key,
        "tonal_weight": result.heard.tonal_weight,
        "cpu_s": result.heard.cpu_s,
        "score": asdict(result.score),
        "fell_over": result.fell_over,
    }


if __name__ == "__main__":
    main()
