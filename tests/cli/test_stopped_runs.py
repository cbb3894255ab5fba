"""Programs that hang, fail or are not there; workers that are killed; a run that is stopped.

Whatever happens, what is finished is whole, nothing else has a clip's name, and every process is gone.
"""

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from desk import STRETCHED, Desk, wait_until

from render.files import rubberband as rubberband_module
from render.files.engines import engine_of
from render.make import Order
from render.night import run
from render.night.job import read_work
from render.night.outcome import Failed, Outcome

StandIn = Callable[[str], None]

SOON_S = 6.0
"""Ending takes a fraction of a second; the rest is for a busy machine. A hanging program would hang for a minute."""

posix = pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
linux = pytest.mark.skipif(sys.platform != "linux", reason="looks at /proc, which only Linux has")


# --- outside programs ---


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("echo no >&2; exit 3", "rubberband: ended with status 3; try it with `dropkiln doctor`"),
        ("exit 0", "rubberband: wrote no sound ("),
        ('for out; do :; done; echo rubbish >"$out"', "rubberband: wrote no sound ("),
        ("kill -9 $$", "rubberband: ended with status -9; try it with `dropkiln doctor`"),
    ],
    ids=["fails", "writes nothing", "writes rubbish", "is killed"],
)
def test_an_engine_that_gives_no_sound_fails_the_clips_that_need_it(
    desk: Desk, rubberband: StandIn, body: str, told: str
) -> None:
    rubberband(body)
    desk.recipe("a.yaml", STRETCHED)
    desk.recipe("b.yaml")
    ended = desk.run("render", ".", "--engine", "rubberband")
    assert (ended.status, ended.out) == (1, "")
    assert ended.outcomes == {"a": "failed", "b": "made"}
    assert ended.told[0].startswith(f"failed    a  {told}")
    assert desk.clips() == ["b.flac", "b.json", "b.svg"]


def test_an_engine_that_hangs_is_ended_and_told(
    desk: Desk, rubberband: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    rubberband("exec sleep 60")
    monkeypatch.setattr(rubberband_module, "LIMIT_S", 1.0)
    monkeypatch.setattr(rubberband_module, "LIMIT_PER_SECOND", 0.0)
    desk.recipe("test.yaml", STRETCHED)
    began_s = time.monotonic()
    ended = desk.run("render", "test.yaml", "--engine", "rubberband")
    assert time.monotonic() - began_s < SOON_S
    assert (ended.status, ended.out, desk.clips()) == (1, "", [])
    assert ended.told == ["failed    test  rubberband: did not end within 1 s; was killed; try again"]


def test_an_engine_that_is_asked_for_and_missing_is_told(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    engine_of.cache_clear()
    desk.recipe("test.yaml", STRETCHED)
    ended = desk.run("render", "test.yaml", "--engine", "rubberband")
    engine_of.cache_clear()
    assert (ended.status, ended.out, desk.clips()) == (1, "", [])
    assert ended.told == [
        "failed    test  rubberband: no `rubberband` with the fine engine (version 3 or newer) is on PATH; "
        "install it, or let `--engine auto` choose"
    ]


def test_without_the_executable_the_other_engine_serves(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    engine_of.cache_clear()
    desk.recipe("test.yaml", STRETCHED)
    ended = desk.run("render", "test.yaml", "--engine", "auto")
    engine_of.cache_clear()
    assert (ended.status, ended.outcomes) == (0, {"test": "made"})
    assert desk.receipt("test")["engine"] == "signalsmith"


# --- workers that are killed ---


@posix
def test_a_clip_that_kills_its_worker_fails_alone(desk: Desk, rubberband: StandIn) -> None:
    """Killed from outside, as by a system that is short of memory: here by the program the worker has started."""
    rubberband("kill -9 $PPID")
    for name in ("a", "b", "c"):
        desk.recipe(f"{name}.yaml")
    desk.recipe("aa-deadly.yaml", STRETCHED)
    ended = desk.run("render", ".", "--engine", "rubberband", "--jobs", "2", "--plain")
    assert (ended.status, ended.out) == (1, "")
    assert ended.outcomes == {"a": "made", "aa-deadly": "failed", "b": "made", "c": "made"}
    told = (
        "failed    aa-deadly  its worker was killed twice, perhaps for want of memory; close other programs"
    )
    assert told in ended.told
    assert desk.clips() == sorted(f"{name}.{ending}" for name in "abc" for ending in ("flac", "json", "svg"))
    for name in "abc":
        desk.assert_whole(name)


@pytest.mark.parametrize("deaths", [1, 2])
def test_what_was_at_work_when_a_pool_broke_is_tried_once_more_alone(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, deaths: int
) -> None:
    for name in "abcdef":
        desk.recipe(f"{name}.yaml")
    orders = read_work([desk.folder]).orders(desk.folder, force=False)
    deadly = {"c": deaths}
    pools: list[list[str]] = []

    def carry_out(order: Order, choice: str) -> Outcome:
        return Failed(order.plan.name, "carried out", "", ours=False)

    class Pool(Executor):
        """Carries out at once, and breaks for good at a deadly clip; `pools` has what each was given."""

        broken = False

        def submit(self, fn: Any, /, *arguments: Any, **options: Any) -> Future[Any]:
            if self.broken:
                raise BrokenExecutor
            name = arguments[0].plan.name
            pools[-1].append(name)
            future: Future[Any] = Future()
            if deadly.get(name, 0):
                deadly[name] -= 1
                self.broken = True
                future.set_exception(BrokenExecutor())
            else:
                future.set_result(fn(*arguments, **options))
            return future

    @contextmanager
    def workers(count: int) -> Iterator[Executor]:
        pools.append([])
        yield Pool()

    monkeypatch.setattr(run, "carry_out", carry_out)
    came = {outcome.name: outcome for outcome in run.outcomes(orders, "signalsmith", 2, workers)}
    assert sorted(came) == list("abcdef")
    reasons = {name: outcome.reason for name, outcome in came.items() if isinstance(outcome, Failed)}
    assert {name for name, reason in reasons.items() if reason == "carried out"} >= set("abdef")
    assert (reasons["c"] == "carried out") == (deaths == 1)
    assert all("c" not in given or given == ["c"] for given in pools[1:])  # alone, and in a pool of its own
    assert sum(given.count("c") for given in pools) == 2


# --- a run that is stopped ---


def pids(desk: Desk) -> list[int]:
    return [int(pid) for path in desk.folder.glob("pids-*") for pid in path.read_text().split()]


def is_running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


NOTING = 'echo "$$ $PPID" >pids-new-$$ && mv pids-new-$$ pids-$$; exec sleep 60'
"""A hanging engine that leaves its own number and that of the process which started it."""


@linux
@pytest.mark.parametrize("jobs", [1, 2])
def test_ctrl_c_ends_the_run_and_all_it_started(desk: Desk, rubberband: StandIn, jobs: int) -> None:
    """The terminal sends SIGINT to every process of the group (POSIX.1-2017, General Terminal Interface, 11.1.9)."""
    rubberband(NOTING)
    desk.recipe("a.yaml")
    for name in "bcd":
        desk.recipe(f"{name}.yaml", STRETCHED)
    temporary = desk.folder / "temporary"
    temporary.mkdir()
    arguments = ("render", ".", "--engine", "rubberband", "--jobs", str(jobs), "--plain")
    with desk.start(*arguments, env={**os.environ, "TMPDIR": str(temporary)}) as process:
        assert process.stderr
        assert process.stderr.readline().startswith("made      a  out/clips/a.flac")
        assert wait_until(lambda: len(list(desk.folder.glob("pids-[0-9]*"))) == jobs, 30.0)
        began_s = time.monotonic()
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert time.monotonic() - began_s < SOON_S
    assert (process.returncode, out, err) == (1, "", "stopped; what is finished stays\n")
    assert wait_until(lambda: not any(map(is_running, pids(desk))), SOON_S)
    assert desk.clips() == ["a.flac", "a.json", "a.svg"]
    assert list(temporary.iterdir()) == []
    desk.assert_whole("a")


def children(pid: int) -> list[int]:
    """The processes that a process has started, by the fourth field of their /proc/…/stat (proc(5))."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(path.read_text().rsplit(")", 1)[1].split()[1])
        except (FileNotFoundError, ProcessLookupError):
            continue
        found += [int(path.parent.name)] if parent == pid else []
    return found


@linux
def test_workers_leave_ctrl_c_to_the_run(desk: Desk) -> None:
    """From their first moment on: the key pressed time and again at the workers alone does nothing."""
    for name in "abc":
        desk.recipe(f"{name}.yaml")
    with desk.start("render", ".", "--engine", "signalsmith", "--jobs", "2", "--plain") as process:
        while process.poll() is None:
            for worker in children(process.pid):
                with suppress(ProcessLookupError):  # it is done
                    os.kill(worker, signal.SIGINT)
            time.sleep(0.02)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (0, "")
    assert sorted(line.split()[1] for line in err.splitlines()) == list("abc")


@linux
def test_ctrl_c_while_the_workers_start_ends_the_run(desk: Desk) -> None:
    for name in "abc":
        desk.recipe(f"{name}.yaml")
    with desk.start("render", ".", "--engine", "signalsmith", "--jobs", "2", "--plain") as process:
        assert wait_until(
            lambda: len(children(process.pid)) >= 3, 30.0
        )  # two workers, and Python's own tracker
        workers = children(process.pid)
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out, err) == (1, "", "stopped; what is finished stays\n")
    assert wait_until(lambda: not any(map(is_running, workers)), SOON_S)
    assert desk.clips() == []


@linux
def test_workers_end_when_their_run_is_killed(desk: Desk, rubberband: StandIn) -> None:
    rubberband(NOTING)
    for name in "ab":
        desk.recipe(f"{name}.yaml", STRETCHED)
    with desk.start("render", ".", "--engine", "rubberband", "--jobs", "2", "--plain") as process:
        assert wait_until(lambda: len(list(desk.folder.glob("pids-[0-9]*"))) == 2, 30.0)
        process.kill()
        process.communicate(timeout=60)
    assert wait_until(lambda: not any(map(is_running, pids(desk))), SOON_S)
    assert desk.clips() == []
