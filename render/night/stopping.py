"""Being asked to stop.

Ctrl-C once: what is at work is finished, nothing more is begun. Ctrl-C again, and SIGTERM: at once.
"""

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType


class Stopping:
    """Whether a run has been asked to stop. `tell` says so to the person who asked."""

    def __init__(self, tell: Callable[[], None]) -> None:
        self.asked = False
        self._tell = tell

    @contextlib.contextmanager
    def heeded(self) -> Iterator[None]:
        """Heed signals for the length of a `with`. Raises KeyboardInterrupt when the run is to stop at once."""
        if threading.current_thread() is not threading.main_thread():  # elsewhere, signals never arrive
            yield
            return
        before = {
            number: signal.signal(number, answer)
            for number, answer in ((signal.SIGINT, self._finish), (signal.SIGTERM, self._end))
        }
        try:
            yield
        finally:
            for number, answer in before.items():
                signal.signal(number, answer)

    def _finish(self, number: int, frame: FrameType | None) -> None:
        if self.asked:
            self._end(number, frame)
        self.asked = True
        with contextlib.suppress(RuntimeError):  # the signal came in the middle of writing a line
            self._tell()

    def _end(self, number: int, frame: FrameType | None) -> None:
        self.asked = True
        raise KeyboardInterrupt
