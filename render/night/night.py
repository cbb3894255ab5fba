"""One night: work in, clips and a report out."""

import os
import shutil
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path

from render.clip.order import Done, Kept
from render.faults import EXIT_ALL_MADE, EXIT_IN_ERROR, EXIT_SOME_FAILED, OutputError, ToolError
from render.files.engines import EngineChoice, serving
from render.files.left_behind import remove_left_behind, remove_old_temporary_folders
from render.files.run_lock import held
from render.files.whole_file import make_folder, write_whole
from render.night.ahead import ahead_of
from render.night.batch import Batch
from render.night.cluster import Cluster
from render.night.estimate import costs_of, dry_run_json, dry_run_lines
from render.night.job import Work
from render.night.listening import PAGE, write_page
from render.night.log import remove_log, write_log
from render.night.outcome import Failed, Outcome
from render.night.paths import CLIPS
from render.night.pool import here, processes
from render.night.progress import Watch, watched
from render.night.report import Entry, Report, entry_of, report_json, table
from render.night.run import outcomes
from render.night.stages import pipe
from render.night.stopping import Stopping
from render.night.tasks import Workers
from render.night.there import told_apart
from render.night.words import plural, say, sized

REPORT = "report.json"
"""The report within the output folder."""
REPORT_EVERY_S = 60.0
"""How often the report is brought up to date while a run is at work, for one that is killed."""


@dataclass(frozen=True)
class Wishes:
    """How a run is to go about its work."""

    jobs: int = 0
    """So many clips at once; 0: one for each core, or for each worker of the cluster."""
    engine: EngineChoice = "auto"
    force: bool = False
    plain: bool = False
    wait: bool = False
    cluster: Cluster | None = None
    """Who makes the clips; None: processes of this machine."""


def run(work: Work, out: Path, wishes: Wishes) -> Report:
    """Make all that can be made, in `out`, where the report will also lie; nothing is written for nothing to make.

    A run that is asked to stop ends early, and its report says so. Raises OutputError where the folder cannot be
    written or another run holds it, ToolError where the cluster cannot make clips in it, and KeyboardInterrupt where
    it is stopped while it waits for that one.
    """
    night = _Night(work, out if wishes.cluster is None else out.absolute(), wishes)
    if night.batches:
        make_folder(out / CLIPS)
        with held(out, say if wishes.wait else None):
            night.spend()
    return night.report()


def exit_status(report: Report) -> int:
    """0 where every clip is there, 1 where one is not, 2 where a recipe is in error."""
    if report.faults:
        return EXIT_IN_ERROR
    made = not report.left and not report.counts["failed"] and not report.counts["refused"]
    return EXIT_ALL_MADE if made else EXIT_SOME_FAILED


class _Night:
    """A run at work in a folder that it holds."""

    def __init__(self, work: Work, out: Path, wishes: Wishes) -> None:
        self.batches = work.batches(out / CLIPS, wishes.force)
        self._out, self._wishes, self._faults = out, wishes, work.faults
        self._sources = {one.plan.name: one.source for one in work.planned}
        self._orders = {order.plan.name: order for batch in self.batches for order in batch.orders}
        self._jobs = jobs_of(wishes, self.batches)
        self._entries: dict[str, Entry] = {}
        self._at_work: set[str] = set()
        self._started, self._began_s, self._spent_s = datetime.now(UTC), time.monotonic(), _processor_s()

    def spend(self) -> None:
        """Make everything, as far as it can be made."""
        self._sweep()
        with (
            pipe() as (reader, writer),
            self._workers(writer) as workers,
            watched(self.batches, self._wishes.plain, reader) as watch,
        ):
            stopping = Stopping(lambda: watch.say(self._finishing()))
            with stopping.heeded():
                try:
                    self._carry_out(workers, watch, stopping)
                except KeyboardInterrupt:  # from here on, what is left to be done takes a moment
                    stopping.asked = True
                except ToolError as error:  # the cluster is gone
                    stopping.asked = True
                    watch.say(str(error))
                self._sweep()
                self._write_report(watch)
                self._write_page(watch)
            if self._is_full():
                watch.say(self._need_of_room())
            watch.ended([*table(self.report(), str(self._out / REPORT)), f"listen    {self._out / PAGE}"])
            if stopping.asked and self.report().left:
                watch.say("stopped; what is finished stays")

    def report(self) -> Report:
        """What has come of the run until now."""
        return Report(
            started=self._started,
            ended=datetime.now(UTC),
            wall_s=time.monotonic() - self._began_s,
            processor_s=None if self._wishes.cluster else _processor_s() - self._spent_s,
            jobs=self._jobs,
            asked=list(self._orders),
            entries=dict(self._entries),
            faults=self._faults,
        )

    @contextmanager
    def _workers(self, stages: Connection) -> Iterator[Workers]:
        if self._wishes.cluster is not None:
            with self._wishes.cluster.in_folder(self._out) as workers:
                yield workers
        else:  # one clip alone has no others to be kept from harm, and starts sooner in this process
            yield partial(processes if len(self._orders) > 1 else here, stages=stages)

    def _engine(self) -> EngineChoice:
        """On a cluster what serves here, as all its machines have to take the same."""
        if self._wishes.cluster is None or self._wishes.engine != "auto":
            return self._wishes.engine
        return "rubberband" if serving("auto").name == "rubberband" else "signalsmith"

    def _carry_out(self, workers: Workers, watch: Watch, stopping: Stopping) -> None:
        def began(batch: Batch) -> None:
            self._at_work |= set(batch.names)
            watch.began(batch)

        kept, batches = told_apart(self.batches, self._engine())
        for one in kept:
            self._take(one)
            watch.came(one)
        if not batches:
            return
        came = outcomes(batches, self._engine(), self._jobs, workers, began, lambda: stopping.asked)
        self._write_report(watch)
        written_s = time.monotonic()
        with closing(came):
            for outcome in came:
                self._take(outcome)
                watch.came(outcome)
                if time.monotonic() - written_s > REPORT_EVERY_S:
                    self._write_report(watch)
                    written_s = time.monotonic()

    def _take(self, outcome: Outcome) -> None:
        name = outcome.name
        order, log = self._orders[name], None
        if isinstance(outcome, Failed):
            log = write_log(order, outcome, self._sources[name], self._wishes.engine)
        else:
            remove_log(order)
        self._entries[name] = entry_of(order, outcome, log)
        self._at_work.discard(name)

    def _sweep(self) -> None:
        """Remove what killed runs, or workers that had to be killed, have left behind."""
        remove_left_behind(self._out)
        remove_left_behind(self._out / CLIPS)
        remove_old_temporary_folders()

    def _write_report(self, watch: Watch) -> None:
        try:
            write_whole(self._out / REPORT, report_json(self.report()))
        except OutputError as error:  # the clips are worth more than their report
            if not self._is_full():  # else it is told once, with what is needed
                watch.say(str(error))

    def _write_page(self, watch: Watch) -> None:
        try:
            write_page(self._out, self._out / CLIPS, watch.say)
        except OutputError as error:
            if not self._is_full():  # else it is told once, with what is needed
                watch.say(str(error))

    def _finishing(self) -> str:
        return f"finishing {plural(len(self._at_work), 'clip')}; press again to stop"

    def _is_full(self) -> bool:
        return any(
            isinstance(e.outcome, Failed) and e.outcome.cause == "full" for e in self._entries.values()
        )

    def _need_of_room(self) -> str:
        there = [name for name, entry in self._entries.items() if isinstance(entry.outcome, Done | Kept)]
        left = [order for name, order in self._orders.items() if name not in there]
        need_bytes = costs_of(report_json(self.report())).size_bytes(left)
        free = shutil.disk_usage(self._out).free
        return (
            f"{self._out}: stopped, for the disk is full: {plural(len(left), 'clip')} not made need about "
            f"{sized(need_bytes)}, {sized(free)} are free; make room and run again, what is finished stays"
        )


def jobs_of(wishes: Wishes, batches: Sequence[Batch]) -> int:
    """How many batches are to be at work at once."""
    there = wishes.cluster.count if wishes.cluster else os.cpu_count()
    return max(1, min(wishes.jobs or there or 1, len(batches)))


def _processor_s() -> float:
    """Processor time of this process and of those that it has started and that are over."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def dry_run_text(work: Work, out: Path, wishes: Wishes, as_json: bool) -> str:
    """What a run would make, for people or as JSON, ending with a line break."""
    batches = work.batches(out / CLIPS, wishes.force)
    ahead = ahead_of(batches, wishes.engine)
    try:
        costs = costs_of((out / REPORT).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError):  # there is none yet
        costs = costs_of(None)
    if as_json:
        return dry_run_json(ahead, costs) + "\n"
    jobs = jobs_of(wishes, [batch for batch in batches if any(name in ahead.to_make for name in batch.names)])
    return "".join(f"{line}\n" for line in dry_run_lines(ahead, costs, jobs))
