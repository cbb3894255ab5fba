"""Programs that hang, fail or are not there; workers that are killed; a run that is stopped.

Whatever happens, what is finished is whole, nothing else has a clip's name, and every process is gone.
"""

import json
import os
import re
import signal
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import pytest
from desk import STRETCHED, Desk, ended_of, stretched, wait_until

from render.files import rubberband as rubberband_module
from render.files.engines import engine_of
from render.night import run
from tests.processes import children, is_running

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
    assert any(line.startswith(f"failed    a  {told}") for line in ended.told)
    assert desk.clips() == ["a.log", "b.flac", "b.json", "b.svg"]


def test_an_engine_that_hangs_is_ended_tried_once_more_and_told(
    desk: Desk, rubberband: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    rubberband(": >began-$$; exec sleep 60")
    monkeypatch.setattr(rubberband_module, "LIMIT_S", 1.0)
    monkeypatch.setattr(rubberband_module, "LIMIT_PER_SECOND", 0.0)
    desk.recipe("test.yaml", STRETCHED)
    began_s = time.monotonic()
    ended = desk.run("render", "test.yaml", "--engine", "rubberband")
    assert time.monotonic() - began_s < SOON_S
    assert (ended.status, ended.out, desk.clips()) == (1, "", ["test.log"])
    assert ended.told == ["failed    test  rubberband: did not end within 1 s; was killed; try again"]
    assert len(list(desk.folder.glob("began-*"))) == 2


def test_an_engine_that_is_asked_for_and_missing_is_told(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    engine_of.cache_clear()
    desk.recipe("test.yaml", STRETCHED)
    ended = desk.run("render", "test.yaml", "--engine", "rubberband")
    engine_of.cache_clear()
    assert (ended.status, ended.out, desk.clips()) == (1, "", ["test.log"])
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


def test_where_the_executable_is_installed_it_serves(desk: Desk, rubberband: StandIn) -> None:
    """Seen from its failing, as the other engine would make the clip."""
    rubberband("exit 3")
    desk.recipe("test.yaml", STRETCHED)
    ended = desk.run("render", "test.yaml", "--engine", "auto")
    assert (ended.status, desk.clips()) == (1, ["test.log"])
    assert ended.told == ["failed    test  rubberband: ended with status 3; try it with `dropkiln doctor`"]


# --- workers that are killed ---


@posix
@pytest.mark.slow
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
    made = [f"{name}.{ending}" for name in "abc" for ending in ("flac", "json", "svg")]
    assert desk.clips() == sorted([*made, "aa-deadly.log"])
    for name in "abc":
        desk.assert_whole(name)


# --- a run that is stopped ---


def pids(desk: Desk) -> list[int]:
    return [int(pid) for path in desk.folder.glob("pids-*") for pid in path.read_text().split()]


NOTING = 'echo "$$ $PPID" >pids-new-$$ && mv pids-new-$$ pids-$$; exec sleep 60'
"""A hanging engine that leaves its own number and that of the process which started it."""


def begun(desk: Desk, count: int) -> bool:
    """Whether so many hanging engines have been started."""
    return wait_until(lambda: len(list(desk.folder.glob("pids-[0-9]*"))) == count, 300.0)  # on a busy machine


def report_of(desk: Desk) -> dict[str, Any]:
    report: dict[str, Any] = json.loads((desk.folder / "out" / "report.json").read_text(encoding="utf-8"))
    return report


STOPPED = "stopped; what is finished stays"


@linux
@pytest.mark.slow
def test_ctrl_c_finishes_what_is_at_work_and_begins_nothing_more(desk: Desk) -> None:
    """The terminal sends SIGINT to every process of the group (POSIX.1-2017, General Terminal Interface, 11.1.9)."""
    names = [f"{number:02d}" for number in range(24)]
    for name in names:
        desk.recipe(f"{name}.yaml")
    with desk.start("render", ".", "--engine", "signalsmith", "--jobs", "2", "--plain") as process:
        assert process.stderr
        first = process.stderr.readline()
        os.killpg(process.pid, signal.SIGINT)
        ended = ended_of(process)
    lines = [first.rstrip("\n"), *ended.told]
    assert (ended.status, ended.out, lines.pop()) == (1, "", STOPPED)
    (finishing,) = [line for line in lines if line.startswith("finishing ")]
    assert re.fullmatch(r"finishing \d clips?; press again to stop", finishing)
    made = {line.split()[1] for line in lines if line.startswith("made ")}
    after = lines[lines.index(finishing) + 1 :]
    assert len(after) <= 4  # two at work, and what came while the key was pressed
    assert desk.clips() == sorted(f"{name}.{ending}" for name in made for ending in ("flac", "json", "svg"))
    assert 0 < len(made) < len(names)
    for name in made:
        desk.assert_whole(name)
    report = report_of(desk)
    assert (report["complete"], set(report["left"])) == (False, set(names) - made)
    again = desk.run_apart("render", ".", "--engine", "signalsmith", "--jobs", "2", "--plain")
    assert again.outcomes == {name: "kept" if name in made else "made" for name in names}
    assert report_of(desk)["complete"] is True


@pytest.mark.slow
@linux
@pytest.mark.parametrize("jobs", [1, 2])
@pytest.mark.parametrize("key", ["ctrl-c twice", "SIGTERM"])
def test_a_run_that_is_told_so_stops_at_once_with_all_it_started(
    desk: Desk, rubberband: StandIn, jobs: int, key: str
) -> None:
    rubberband(NOTING)
    desk.recipe("a.yaml")
    for name, tempo_bpm in zip("bcd", (137, 138, 139), strict=True):  # each waits for no other's passage
        desk.recipe(f"{name}.yaml", stretched(tempo_bpm))
    temporary = desk.folder / "temporary"
    temporary.mkdir()
    arguments = ("render", ".", "--engine", "rubberband", "--jobs", str(jobs), "--plain")
    with desk.start(*arguments, env={**os.environ, "TMPDIR": str(temporary)}) as process:
        assert process.stderr
        assert process.stderr.readline().startswith("made      a  out/clips/a.flac")
        assert begun(desk, jobs)
        if key == "SIGTERM":
            process.terminate()
        else:
            os.killpg(process.pid, signal.SIGINT)
            plural = "s" if jobs > 1 else ""
            assert process.stderr.readline() == f"finishing {jobs} clip{plural}; press again to stop\n"
            os.killpg(process.pid, signal.SIGINT)
        began_s = time.monotonic()
        ended = ended_of(process)
    assert time.monotonic() - began_s < SOON_S
    assert (ended.status, ended.out, ended.told) == (1, "", [STOPPED])
    assert wait_until(lambda: not any(map(is_running, pids(desk))), SOON_S)
    assert desk.clips() == ["a.flac", "a.json", "a.svg"]
    assert list(temporary.iterdir()) == []
    desk.assert_whole("a")
    report = report_of(desk)
    assert (report["complete"], report["left"]) == (False, ["b", "c", "d"])


@linux
@pytest.mark.slow
def test_a_run_of_one_clip_is_stopped_by_the_same_keys(desk: Desk, rubberband: StandIn) -> None:
    rubberband(NOTING)
    desk.recipe("a.yaml", STRETCHED)
    with desk.start("render", "a.yaml", "--engine", "rubberband", "--plain") as process:
        assert begun(desk, 1)
        os.killpg(process.pid, signal.SIGINT)
        assert process.stderr
        assert process.stderr.readline() == "finishing 1 clip; press again to stop\n"
        began_s = time.monotonic()
        os.killpg(process.pid, signal.SIGINT)
        ended = ended_of(process)
    assert time.monotonic() - began_s < SOON_S
    assert (ended.status, ended.out, ended.told) == (1, "", [STOPPED])
    assert wait_until(lambda: not any(map(is_running, pids(desk))), SOON_S)
    assert desk.clips() == []


@pytest.mark.slow
@linux
def test_a_clip_over_its_limit_is_ended_and_the_others_are_made(
    desk: Desk, rubberband: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The engine's own limit is a minute; the limit of the clip is met before it."""
    rubberband(NOTING)
    monkeypatch.setattr(run, "limit_s", lambda batch: 20.0 if batch.names == ("b",) else 300.0)
    for name in "acd":
        desk.recipe(f"{name}.yaml")
    desk.recipe("b.yaml", STRETCHED)
    ended = desk.run("render", ".", "--engine", "rubberband", "--jobs", "2")
    assert (ended.status, ended.outcomes) == (1, {"a": "made", "b": "failed", "c": "made", "d": "made"})
    assert "failed    b  it did not end within 20 s; try it alone" in ended.told
    assert wait_until(lambda: not any(map(is_running, pids(desk))), SOON_S)


@linux
@pytest.mark.slow
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
        ended = ended_of(process)
    assert (ended.status, ended.out) == (0, "")
    assert sorted(line.split()[1] for line in ended.told) == list("abc")


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
        assert process.stderr
        assert process.stderr.readline().startswith("finishing 2 clips")
        os.killpg(process.pid, signal.SIGINT)
        ended = ended_of(process)
    assert (ended.status, ended.out, ended.told) == (1, "", [STOPPED])
    assert wait_until(lambda: not any(map(is_running, workers)), SOON_S)
    assert desk.clips() == []


@posix
@pytest.mark.parametrize("library", ["typer", "ruamel"])
def test_ctrl_c_while_the_program_is_being_loaded_is_told_in_one_line(desk: Desk, library: str) -> None:
    """What takes long to load is a stand-in for a library, found before it, that tells when its turn has come."""
    desk.recipe("a.yaml")
    slow = "import pathlib, time\npathlib.Path('loading').touch()\ntime.sleep(60)\n"
    desk.text(f"slow/{library}.py", slow)
    with desk.start(
        "render", "a.yaml", env={**os.environ, "PYTHONPATH": str(desk.folder / "slow")}
    ) as process:
        assert wait_until((desk.folder / "loading").exists, 60.0)
        os.killpg(process.pid, signal.SIGINT)
        ended = ended_of(process)
    assert (ended.status, ended.out, ended.told) == (1, "", [STOPPED])
    assert not (desk.folder / "out").exists()


@linux
@pytest.mark.slow
def test_workers_end_when_their_run_is_killed(desk: Desk, rubberband: StandIn) -> None:
    rubberband(NOTING)
    desk.recipe("a.yaml", stretched(137))
    desk.recipe("b.yaml", stretched(138))
    with desk.start("render", ".", "--engine", "rubberband", "--jobs", "2", "--plain") as process:
        assert begun(desk, 2)
        process.kill()
        process.communicate(timeout=60)
    assert wait_until(lambda: not any(map(is_running, pids(desk))), SOON_S)
    assert desk.clips() == []
