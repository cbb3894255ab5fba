"""One run at a time in an output folder.

The lock is the operating system's on an open file: it ends with the process that holds it, however that ends. What
stands beside it about its holder is for people, and says nothing where the lock is free.
"""

import contextlib
import json
import os
import platform
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from render.faults import OutputError
from render.files.whole_file import output_error, write_whole

LOCK = ".lock"
HOLDER = ".lock-holder.json"
_POLL_S = 0.5


@contextlib.contextmanager
def held(folder: Path, waiting: Callable[[str], None] | None = None) -> Iterator[None]:
    """Hold a folder that is there against other runs.

    Where another run holds it, `waiting` is told by whom, and it is waited for; without `waiting`, raises OutputError.
    """
    lock = FileLock(folder / LOCK)
    try:
        try:
            lock.acquire(timeout=0)
        except Timeout:
            holder = _holder(folder)
            if waiting is None:
                wrong = f"another run is at work here{holder}"
                right = "wait for it with --wait, or choose another output folder"
                raise OutputError(str(folder), wrong, right) from None
            waiting(f"waiting   {folder}: another run is at work here{holder}")
            lock.acquire(poll_interval=_POLL_S)
    except OSError as error:
        raise output_error(folder / LOCK, error) from error
    try:
        _sign(folder)
        yield
    finally:
        (folder / HOLDER).unlink(missing_ok=True)
        lock.release()


def _sign(folder: Path) -> None:
    since = datetime.now(UTC).isoformat(timespec="seconds")
    write_whole(
        folder / HOLDER, json.dumps({"process": os.getpid(), "host": platform.node(), "since": since}) + "\n"
    )


def _holder(folder: Path) -> str:
    """Who holds the folder, in brackets; nothing where that is not written yet, or is not ours."""
    try:
        told = json.loads((folder / HOLDER).read_text(encoding="utf-8"))
        process, host = int(told["process"]), str(told["host"])
        since = datetime.fromisoformat(told["since"]).astimezone(UTC)
    except (OSError, ValueError, TypeError, KeyError):
        return ""
    shown = "".join(sign for sign in host if sign.isprintable())
    return f" (process {process} on {shown}, since {since:%Y-%m-%d %H:%M:%S} UTC)"
