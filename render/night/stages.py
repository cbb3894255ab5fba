"""The stages that workers tell of, on their way to whoever looks on: a pipe that no worker ever waits for.

A message is one write of a few bytes, which a pipe takes whole or not at all (POSIX, write(), PIPE_BUF), so that there
is no lock that a killed worker could hold.
"""

import contextlib
import logging
import multiprocessing
import os
import sys
from collections.abc import Iterator
from multiprocessing.connection import Connection

from render.clip.stage import LOGGER


@contextlib.contextmanager
def pipe() -> Iterator[tuple[Connection, Connection]]:
    """Where stages are read, and where they are told."""
    reader, writer = multiprocessing.Pipe(duplex=False)
    if sys.platform != "win32":
        os.set_blocking(writer.fileno(), False)
    with reader, writer:
        yield reader, writer


def read(reader: Connection) -> Iterator[tuple[str, str]]:
    """What has been told since the last time: clips, and what has begun for each."""
    while reader.poll():
        clip, _, what = reader.recv_bytes().decode("utf-8").partition("\t")
        yield clip, what


class _Told(logging.Handler):
    def __init__(self, to: Connection) -> None:
        super().__init__()
        self._to = to

    def emit(self, record: logging.LogRecord) -> None:
        with contextlib.suppress(BlockingIOError, BrokenPipeError):  # nobody looks on
            self._to.send_bytes(record.getMessage().encode("utf-8"))


def tell(to: Connection) -> logging.Handler:
    """From now on tell of the stages of this process, until the handler is taken from the logger."""
    handler = _Told(to)
    LOGGER.addHandler(handler)
    LOGGER.setLevel(logging.INFO)
    LOGGER.propagate = False
    return handler


@contextlib.contextmanager
def told(to: Connection | None) -> Iterator[None]:
    """Tell of the stages of this process meanwhile, where there is somewhere to."""
    handler = None if to is None else tell(to)
    try:
        yield
    finally:
        if handler:
            LOGGER.removeHandler(handler)
