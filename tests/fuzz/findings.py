"""One input given to one target: what it must not do is noticed.

A finding is an exception that the target does not know, more processor time than a reader needs, or an attempt to
write, to remove, to start or to call anybody, which is told by the interpreter's audit events (PEP 578; "Audit events
table" in the documentation of Python) and stopped. A hook cannot be taken away again, so it lives in a process of its
own.
"""

import os
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass

SOON_S = 1.0
"""Processor time for an input of a few pages."""
SOON_S_PER_BYTE = 15e-6
"""The YAML reader needs 1 to 3 µs a byte here, and a book is read up to four times when ratings go into it."""
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
TOUCHING = (
    *(
        "os.chmod",
        "os.chown",
        "os.link",
        "os.mkdir",
        "os.remove",
        "os.rename",
        "os.rmdir",
        "os.setxattr",
        "os.symlink",
    ),
    *("os.truncate", "os.utime", "shutil.", "tempfile.", "sqlite3.connect"),
    *(
        "os.exec",
        "os.fork",
        "os.kill",
        "os.posix_spawn",
        "os.spawn",
        "os.startfile",
        "os.system",
        "pty.spawn",
    ),
    *("subprocess.Popen", "os.putenv", "os.unsetenv"),
    *("socket.bind", "socket.connect", "socket.getaddrinfo", "socket.sendto", "urllib."),
)
"""Beginnings of the names of audit events: files, processes, the network."""


class Touched(BaseException):
    """Raised in the place of what was attempted; no `except Exception` takes it for its own."""


@dataclass(frozen=True)
class Finding:
    """What an input brought up. `kind` and `place` tell findings apart; `trace` ends with what happened."""

    kind: str
    place: str
    trace: str


class _Watch:
    def __init__(self) -> None:
        self.on = False
        self.attempted: list[str] = []
        sys.addaudithook(self._hear)

    def _hear(self, event: str, arguments: tuple[object, ...]) -> None:
        if self.on and (_opens_for_writing(event, arguments) or _touches(event, arguments)):
            self.attempted.append(f"{event} {arguments!r}"[:300])
            raise Touched(self.attempted[-1])


def _opens_for_writing(event: str, arguments: tuple[object, ...]) -> bool:
    if event != "open":
        return False
    _, mode, flags = arguments
    by_mode = isinstance(mode, str) and bool(set(mode) & set("wax+"))
    return by_mode or (isinstance(flags, int) and bool(flags & WRITING))


def _touches(event: str, arguments: tuple[object, ...]) -> bool:
    """A target's own file is cut to length by its descriptor, which was opened beforehand."""
    own = event == "os.truncate" and isinstance(arguments[0], int)
    return event.startswith(TOUCHING) and not own


_watch: _Watch | None = None


def finding_of(target: Callable[[bytes], None], content: bytes) -> Finding | None:
    """What a target does with an input that it must not do; None where all is well."""
    global _watch
    _watch = _watch or _Watch()
    _watch.attempted.clear()
    found = None
    began_s = time.process_time()
    _watch.on = True
    try:
        target(content)
    except (Exception, Touched) as error:  # noqa: BLE001 - whatever comes out is the finding
        _watch.on = False
        last = traceback.extract_tb(error.__traceback__)[-1]
        found = Finding(type(error).__name__, f"{last.filename}:{last.lineno}", traceback.format_exc())
    finally:
        _watch.on = False
    took_s = time.process_time() - began_s
    if found is None and _watch.attempted:
        found = Finding("Touched", _watch.attempted[0], "the attempt was swallowed")
    if found is None and took_s > SOON_S + SOON_S_PER_BYTE * len(content):
        found = Finding("Slow", target.__name__, f"{took_s:.1f} s of processor time for {len(content)} bytes")
    return found
