"""A time limit for libraries that start an outside program and would wait for it for ever.

pyrubberband starts its program with `subprocess.check_call`, pydub with `subprocess.Popen` and
`communicate`, and neither takes a limit. For the length of one call such a module is lent a stand-in for
its `subprocess`: whatever it starts is killed, with all that this program started itself, once the time has
passed.

A child gets a session of its own, so that it and its descendants can be killed as one group. A Ctrl-C then
no longer reaches it, which is why it is killed on any exception that ends the call, not on the limit alone.
"""

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from types import ModuleType
from typing import Any

_one_at_a_time = threading.RLock()
"""The stand-in is seen by every thread of the process, so threads take turns."""


@contextlib.contextmanager
def time_limit(module: ModuleType, seconds: float) -> Iterator[None]:
    """Give each program that `module` starts through its `subprocess` at most `seconds` from its start.

    Covers `subprocess.Popen` (its `wait` and `communicate`) and `subprocess.check_call`; all other names are
    the real module's. The module has its own `subprocess` back afterwards, whatever happens.

    Raises subprocess.TimeoutExpired, after the program and its group were killed.
    """
    with _one_at_a_time:
        own, lent = module.subprocess, _Subprocess(seconds)
        module.subprocess = lent  # type: ignore[attr-defined]
        try:
            yield
        finally:
            module.subprocess = own  # type: ignore[attr-defined]
            lent.kill_left()


class _Subprocess:
    """What the module sees as `subprocess`."""

    def __init__(self, limit_s: float) -> None:
        self._limit_s = limit_s
        self._started: list[_LimitedProcess] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(subprocess, name)

    def Popen(self, command: Any, **options: Any) -> "_LimitedProcess":  # noqa: N802 - the name it stands in for
        return _LimitedProcess(command, self._limit_s, options, self._started)

    def check_call(self, command: Any, **options: Any) -> int:
        if status := self.Popen(command, **options).wait():
            raise subprocess.CalledProcessError(status, command)
        return 0

    def kill_left(self) -> None:
        """Kill what an exception has left at work that came before anybody waited for it."""
        for child in self._started:
            if hasattr(child, "pid") and child.poll() is None:
                child.kill_group()


class _LimitedProcess(subprocess.Popen[Any]):
    def __init__(
        self, command: Any, limit_s: float, options: dict[str, Any], started: "list[_LimitedProcess]"
    ) -> None:
        self._ends_at_s = time.monotonic() + limit_s
        self._limit_s = limit_s
        started.append(self)  # a program may be at work before it is known here
        super().__init__(command, **{**options, "start_new_session": True})

    def wait(self, timeout: float | None = None) -> int:
        with self._killed_on_failure():
            return super().wait(self._time_left(timeout))

    def communicate(self, input: Any = None, timeout: float | None = None) -> tuple[Any, Any]:  # noqa: A002
        with self._killed_on_failure():
            return super().communicate(input, self._time_left(timeout))

    def _time_left(self, timeout_s: float | None) -> float:
        left_s = max(0.0, self._ends_at_s - time.monotonic())
        return left_s if timeout_s is None else min(timeout_s, left_s)

    @contextlib.contextmanager
    def _killed_on_failure(self) -> Iterator[None]:
        try:
            yield
        except subprocess.TimeoutExpired as expired:
            self.kill_group()
            raise subprocess.TimeoutExpired(expired.cmd, self._limit_s) from None
        except BaseException:
            self.kill_group()
            raise

    def kill_group(self) -> None:
        if sys.platform == "win32":
            self.kill()
        else:
            with contextlib.suppress(ProcessLookupError):  # it ended by itself in the meantime
                os.killpg(self.pid, signal.SIGKILL)
        super().wait()
        for pipe in (self.stdin, self.stdout, self.stderr):
            if pipe is not None:
                with contextlib.suppress(BrokenPipeError):  # input that the program no longer reads
                    pipe.close()
