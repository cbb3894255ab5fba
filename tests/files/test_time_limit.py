"""A program that hangs is ended in time, with its descendants, and the borrowed module is given back whole.

`subprocess` of the standard library is the yardstick: same results, same exceptions (Python documentation,
Library Reference, `subprocess`).
"""

import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

from render.files.time_limit import time_limit
from tests.processes import is_running

LIMIT_S = 0.5
SOON_S = 5.0
"""A hang would last for a minute; a loaded machine may take seconds to start and kill a program."""

SLEEPER = [sys.executable, "-c", "import time; time.sleep(60)"]
PARENT_OF_A_SLEEPER = [
    sys.executable,
    "-c",
    "import subprocess, sys; child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)']);"
    "print(child.pid, file=open(sys.argv[1], 'w'), flush=True); child.wait()",
]


@pytest.fixture
def borrower() -> ModuleType:
    """A module that starts programs, as pydub and pyrubberband do."""
    module = ModuleType("borrower")
    module.subprocess = subprocess  # type: ignore[attr-defined]
    return module


@pytest.mark.parametrize(
    "call",
    [
        lambda module: module.subprocess.check_call(SLEEPER),
        lambda module: module.subprocess.Popen(SLEEPER).communicate(),
        lambda module: module.subprocess.Popen(
            SLEEPER, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        ).communicate(input=b"x" * 1_000_000),
    ],
    ids=["check_call", "communicate", "communicate through pipes nobody reads"],
)
def test_a_program_that_hangs_is_ended_in_time(borrower, call):
    began_s = time.monotonic()
    with pytest.raises(subprocess.TimeoutExpired) as caught, time_limit(borrower, LIMIT_S):
        call(borrower)
    assert time.monotonic() - began_s < SOON_S
    assert caught.value.timeout == LIMIT_S


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks at /proc, which only Linux has")
def test_what_the_program_started_dies_with_it(borrower, tmp_path):
    note = tmp_path / "pid"
    with pytest.raises(subprocess.TimeoutExpired), time_limit(borrower, 2.0):
        borrower.subprocess.check_call([*PARENT_OF_A_SLEEPER, str(note)])
    deadline_s = time.monotonic() + SOON_S
    while is_running(int(note.read_text())) and time.monotonic() < deadline_s:
        time.sleep(0.02)
    assert not is_running(int(note.read_text()))


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks at /proc, which only Linux has")
@pytest.mark.parametrize("moment", ["while it is started", "before it is waited for"])
def test_a_key_pressed_as_a_program_begins_leaves_nothing_behind(borrower, monkeypatch, moment):
    started = []
    execute = subprocess.Popen._execute_child

    def pressed(process, *given):
        execute(process, *given)
        started.append(process.pid)
        if moment == "while it is started":
            raise KeyboardInterrupt

    monkeypatch.setattr(subprocess.Popen, "_execute_child", pressed)
    with pytest.raises(KeyboardInterrupt), time_limit(borrower, 60.0):
        borrower.subprocess.Popen(SLEEPER)
        raise KeyboardInterrupt
    [pid] = started
    assert not is_running(pid)


def test_the_module_has_its_own_subprocess_back(borrower):
    with time_limit(borrower, LIMIT_S):
        assert borrower.subprocess is not subprocess
    assert borrower.subprocess is subprocess
    with pytest.raises(ZeroDivisionError), time_limit(borrower, LIMIT_S):
        _ = 1 / 0
    assert borrower.subprocess is subprocess


def test_a_program_that_ends_in_time_is_left_alone(borrower):
    with time_limit(borrower, 30.0):
        assert borrower.subprocess.check_call([sys.executable, "-c", "pass"]) == 0
        child = borrower.subprocess.Popen(
            [sys.executable, "-c", "import sys; print(sys.stdin.read().upper())"],
            stdin=borrower.subprocess.PIPE,
            stdout=borrower.subprocess.PIPE,
        )
        out, err = child.communicate(input=b"kick")
        assert (out.split(), err, child.returncode) == ([b"KICK"], None, 0)


def test_a_failing_program_fails_as_without_the_limit(borrower):
    with time_limit(borrower, 30.0):
        with pytest.raises(subprocess.CalledProcessError) as caught:
            borrower.subprocess.check_call([sys.executable, "-c", "raise SystemExit(3)"])
        assert caught.value.returncode == 3
        with pytest.raises(FileNotFoundError):
            borrower.subprocess.check_call(["no-program-has-this-name"])
