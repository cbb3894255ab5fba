"""The README's commands for a cluster, typed as they stand there; only the address is the one that is told.

Yardstick: what the processes of this machine make of the same recipes, sample for sample.
"""

import json
import os
import re
import shlex
import signal
import socket
import subprocess
import sys
from contextlib import ExitStack, suppress
from pathlib import Path

import pytest

from tests.cli.desk import STRETCHED, Desk, wait_until

README = " ".join((Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8").split())
[RENDER] = re.findall(r"`(dropkiln render [^`]*--scheduler [^`]+)`", README)
[SCHEDULER] = re.findall(r"`(dask scheduler[^`]*)`", README)
[WORKER] = re.findall(r"`(dask worker[^`]*)`", README)
PORT = 8786
"""Where `dask scheduler` listens unless told otherwise; where that is taken, it ends in error."""
THERE_S = 60.0
"""For a command to load its libraries on a busy machine."""

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="typed into a POSIX shell"),
]


class Terminals:
    """Terminals in one folder, in each of which one command is typed and runs on."""

    def __init__(self, folder: Path, closing: ExitStack) -> None:
        folder.mkdir()
        self._folder, self._closing, self._count = folder, closing, 0
        path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
        self._environment = {**os.environ, "PATH": path, "TMPDIR": str(folder)}

    def type(self, line: str) -> Path:
        """What the command tells, which goes on growing."""
        self._count += 1
        told = self._folder / f"told-{self._count}.txt"
        with told.open("wb") as file:
            started = subprocess.Popen(
                ["bash", "-c", line],
                cwd=self._folder,
                env=self._environment,
                stdin=subprocess.DEVNULL,
                stdout=file,
                stderr=subprocess.STDOUT,
                process_group=0,
            )
        self._closing.callback(_end, started)
        return told


def _end(started: "subprocess.Popen[bytes]") -> None:
    """End a command and all that it has started."""
    try:
        os.killpg(started.pid, signal.SIGTERM)
        started.wait(timeout=20)
    except subprocess.TimeoutExpired:
        pass
    finally:
        with suppress(ProcessLookupError):
            os.killpg(started.pid, signal.SIGKILL)
        started.wait()


def told(file: Path, pattern: str) -> str:
    """What a command tells, once it does."""
    assert wait_until(lambda: bool(re.search(pattern, file.read_text())), THERE_S), file.read_text()
    return re.findall(pattern, file.read_text())[0]


def filled_in(command: str, stands: str, address: str) -> str:
    assert command.split().count(stands) == 1
    return command.replace(stands, address)


def test_a_cluster_that_is_started_by_hand_makes_the_same_clips(tmp_path: Path) -> None:
    with socket.socket() as probe:
        if probe.connect_ex(("127.0.0.1", PORT)) == 0:
            pytest.skip(f"something else listens at port {PORT}, where the README's scheduler would")
    (tmp_path / "desk").mkdir()
    desk = Desk(tmp_path / "desk")
    for name in "abc":
        files = [(f"file: {track}.wav", f"file: ../{track}.wav") for track in ("ember", "slate")]
        desk.recipe(f"recipes/{name}.yaml", STRETCHED, *files)
    local = desk.run_apart("render", "recipes/", "--engine", "signalsmith", "--out", "local", "--plain")
    with ExitStack() as closing:
        typed = Terminals(tmp_path / "elsewhere", closing)
        scheduler = typed.type(SCHEDULER)
        address = told(scheduler, r"Scheduler at: +(tcp://\S+)\n")
        for worker in [typed.type(filled_in(WORKER, "ADDRESS", address)) for _ in range(2)]:
            assert told(worker, r"Registered to: +(\S+)\n") == address
        program, *arguments = shlex.split(filled_in(RENDER, "tcp://desk:8786", address))
        ended = desk.run_apart(*arguments, "--engine", "signalsmith", "--plain")
        assert "Receive client connection" in scheduler.read_text()
    assert (program, local.status, ended.status, ended.out) == ("dropkiln", 0, 0, ""), ended.err
    assert ended.outcomes == dict.fromkeys("abc", "made")
    for name in "abc":
        desk.assert_whole(name)
        assert desk.receipt(name)["pcm_sha256"] == desk.receipt(name, "local")["pcm_sha256"]
    report = json.loads((desk.folder / "out/report.json").read_text(encoding="utf-8"))
    assert (report["jobs"], report["processor_s"]) == (2, None)
