"""The same night on a Dask cluster: two workers of one thread, each a process with a nanny, as `dask worker` has it.

Yardstick: what the processes of this machine make of the same recipes, sample for sample.
"""

import importlib.util
import os
import re
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import dask
import pytest
from distributed import Client, KilledWorker, LocalCluster

from render.faults import ToolError
from render.night.cluster import connected
from tests.cli.desk import STRETCHED, Desk, stretched, wait_until

SOON_S = 20.0
"""For what takes a second or two; the rest is for a busy machine."""

linux = pytest.mark.skipif(
    sys.platform != "linux", reason="stand-ins are shell scripts, and /proc is looked at"
)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    folder = tmp_path / "desk"
    folder.mkdir()
    return Desk(folder)


@contextmanager
def two_workers(threads: int = 1) -> Iterator[LocalCluster]:
    """A worker's first death is told, instead of its fourth, so that a deadly clip does not kill eight of them."""
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        LocalCluster(n_workers=2, threads_per_worker=threads, dashboard_address=None) as cluster,
    ):
        yield cluster


def on(cluster: LocalCluster, *more: str) -> list[str]:
    return [
        "render",
        ".",
        "--engine",
        "signalsmith",
        "--scheduler",
        cluster.scheduler_address,
        "--plain",
        *more,
    ]


def workers_at_work(cluster: LocalCluster) -> int:
    with Client(cluster, set_as_default=False) as client:
        return sum(map(bool, client.processing().values()))


@pytest.mark.slow
def test_a_cluster_makes_the_same_clips_and_keeps_them(desk: Desk) -> None:
    for name in "abc":
        desk.recipe(f"{name}.yaml", STRETCHED, ("clip:", "try: {short: {tail: 3 beats}}\nclip:"))
    local = desk.run_apart("render", ".", "--engine", "signalsmith", "--out", "local", "--plain")
    with two_workers() as cluster:
        first, second = (desk.run_apart(*on(cluster)) for _ in range(2))
    names = {name + variant for name in "abc" for variant in ("", "--short")}
    assert (local.status, first.status, first.out) == (0, 0, "")
    assert first.outcomes == dict.fromkeys(names, "made")
    assert second.outcomes == dict.fromkeys(names, "kept")
    for name in names:
        desk.assert_whole(name)
        assert desk.receipt(name)["pcm_sha256"] == desk.receipt(name, "local")["pcm_sha256"]
    assert not list((desk.folder / "out").rglob(".dropkiln-*"))


@pytest.mark.parametrize(
    ("address", "status", "told"),
    [
        (
            "tcp://127.0.0.1:1",
            1,
            "tcp://127.0.0.1:1: no scheduler answers there; start `dask scheduler` and ",
        ),
        (
            "nonsense://desk",
            2,
            "--scheduler: 'nonsense://desk' is not an address; give the address of a scheduler",
        ),
    ],
)
def test_a_scheduler_that_is_not_there_is_told_in_one_line(
    desk: Desk, address: str, status: int, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("render.night.cluster.ANSWER_S", 1.0)
    desk.recipe("a.yaml")
    with desk.nothing_written():
        ended = desk.run("render", "a.yaml", "--scheduler", address)
    assert (ended.status, ended.out, len(ended.told)) == (status, "", 1)
    assert ended.told[0].startswith(told)


def test_without_dask_it_is_said_what_to_install(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    real = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name == "distributed" else real(name)
    )
    desk.recipe("a.yaml")
    with desk.nothing_written():
        ended = desk.run("render", "a.yaml", "--scheduler", "tcp://127.0.0.1:1")
    assert (ended.status, ended.out, ended.told) == (
        1,
        "",
        [
            "--scheduler: it needs Dask, which is not installed; "
            "install it with `pip install 'dropkiln[cluster]'`"
        ],
    )


# --- what Dask tells ---


def stand_in(desk: Desk, body: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A `rubberband` first on the PATH of all that is started from here: a shell script of version 3."""
    program = desk.folder.parent / "bin" / "rubberband"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\n[ "$1" = --version ] && echo 3.1.2 && exit\n{body}\n')
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{program.parent}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setenv("TMPDIR", str(desk.folder.parent))  # a killed worker leaves its temporary folder there


@pytest.mark.slow
@linux
def test_a_clip_that_kills_its_worker_fails_alone(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    stand_in(desk, "kill -9 $PPID", monkeypatch)
    for name in ("a", "b", "c"):
        desk.recipe(f"{name}.yaml")
    desk.recipe("aa-deadly.yaml", STRETCHED)
    with two_workers() as cluster:
        ended = desk.run_apart(*on(cluster, "--engine", "rubberband"))
    assert (ended.status, ended.out) == (1, "")
    told = [line for line in ended.told if line.split()[0] in ("made", "failed")]
    assert {line.split()[1]: line.split()[0] for line in told} == {
        **dict.fromkeys("abc", "made"),
        "aa-deadly": "failed",
    }
    assert any("its worker was killed twice" in line for line in told)
    for name in "abc":
        desk.assert_whole(name)


@pytest.mark.slow
@linux
def test_a_scheduler_that_goes_ends_the_night_and_what_is_finished_stays(desk: Desk) -> None:
    names = [f"{number:02d}" for number in range(40)]
    for name in names:
        desk.recipe(f"{name}.yaml")
    with two_workers() as cluster, desk.start(*on(cluster)) as process:
        assert process.stderr
        first = process.stderr.readline()
        cluster.close()
        out, err = process.communicate(timeout=100)
    assert first.startswith("made ")
    assert (process.returncode, out) == (1, "")
    assert "its scheduler is gone; start it and run again" in err
    assert "stopped; what is finished stays" in err
    made = {name.removesuffix(".json") for name in desk.clips() if name.endswith(".json")}
    assert made
    for name in made:
        desk.assert_whole(name)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("lost", "error", "told"),
    [
        (OSError("the stream is closed"), ToolError, "its scheduler is gone; start it and run again"),
        (KilledWorker("its task", SimpleNamespace(address="tcp://desk:1"), 0), BrokenExecutor, "its task"),
    ],
)
def test_a_result_that_is_lost_on_its_way_here_is_told(
    desk: Desk, lost: Exception, error: type[Exception], told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It lies with a worker, which is asked for it once the work is done, and may be gone by then."""

    async def gone(*_: object) -> None:
        raise lost

    with (
        two_workers() as cluster,
        connected(cluster.scheduler_address) as there,
        there.in_folder(desk.folder) as workers,
        workers(1) as pool,
    ):
        assert pool.submit(str.upper, "made").result(SOON_S) == "MADE"
        monkeypatch.setattr(there.client, "_gather_remote", gone)
        with pytest.raises(error, match=told):
            pool.submit(str.upper, "made").result(SOON_S)


HANGING = "echo $$ >pid-new-$$ && mv pid-new-$$ pid-$$; exec sleep 60"


@pytest.mark.slow
@linux
def test_ctrl_c_finishes_what_is_at_work_and_twice_ends_it(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    noted = shlex.quote(str(desk.folder))
    stand_in(desk, f"cd {noted}; {HANGING}", monkeypatch)
    # Each waits for no other's passage.
    for name, tempo_bpm in zip("abcd", (136, 137, 138, 139), strict=True):
        desk.recipe(f"{name}.yaml", stretched(tempo_bpm))
    with two_workers() as cluster:
        with desk.start(*on(cluster, "--engine", "rubberband")) as process:
            assert wait_until(lambda: len(list(desk.folder.glob("pid-[0-9]*"))) == 2, 60.0)
            os.killpg(process.pid, signal.SIGINT)
            assert process.stderr
            assert process.stderr.readline() == "finishing 2 clips; press again to stop\n"
            time.sleep(0.5)
            assert process.poll() is None
            os.killpg(process.pid, signal.SIGINT)
            out, err = process.communicate(timeout=60)
        assert (process.returncode, out) == (1, "")
        assert err.endswith("stopped; what is finished stays\n")
        assert wait_until(lambda: workers_at_work(cluster) == 0, SOON_S)
        ended = desk.run_apart(*on(cluster))  # the workers are there again
        assert ended.status == 0
    assert desk.clips() == sorted(f"{name}.{ending}" for name in "abcd" for ending in ("flac", "json", "svg"))


@pytest.mark.slow
@linux
def test_a_machine_that_does_not_share_the_output_folder_is_told(desk: Desk) -> None:
    """A worker in a mount namespace of its own (unshare(1)), with another disk where the output folder is."""
    if os.geteuid() != 0:
        pytest.skip("only the superuser can mount a disk")
    desk.recipe("a.yaml")
    out = desk.folder / "out"
    out.mkdir()
    with LocalCluster(n_workers=0, dashboard_address=None) as cluster:
        worker = f"{sys.executable} -m distributed.cli.dask_worker {cluster.scheduler_address} --nthreads 1 --no-nanny"
        command = f"mount -t tmpfs tmpfs {shlex.quote(str(out))} && exec {worker} --no-dashboard"
        with subprocess.Popen(["unshare", "--mount", "sh", "-c", command], **_quiet()) as started:
            try:
                ended = desk.run_apart(*on(cluster))
            finally:
                started.terminate()
    assert (ended.status, ended.out, ended.told) == (
        1,
        "",
        [
            f"{out}: a worker of the cluster does not see what is written here; "
            "choose an output folder that all machines share under one path"
        ],
    )
    assert desk.clips() == []


@pytest.mark.slow
def test_a_machine_with_another_version_is_told(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """The workers are processes of their own, and have the version that is installed."""
    monkeypatch.setattr("render.night.cluster.version", lambda _: "0.0.1")
    desk.recipe("a.yaml")
    with two_workers() as cluster:
        ended = desk.run(*on(cluster))
    assert (ended.status, ended.out, len(ended.told)) == (1, "", 1)
    installed = re.escape(version("dropkiln"))
    assert re.search(rf"its worker \S+ has dropkiln {installed}, this is 0\.0\.1; ", ended.told[0])
    assert desk.clips() == []


def _quiet() -> dict[str, Any]:
    return {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
