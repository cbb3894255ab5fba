"""What a process has used: memory, and the processor's time. And which engine's costs cannot be told here."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

from render.files.engines import engines_here
from tests.bench.rows import Row, without


def peak_mib_of(process: str = "self") -> float:
    """A process's own peak, `VmHWM` of proc(5); what `resource` tells begins with that of whoever started it."""
    for line in Path(f"/proc/{process}/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    raise AssertionError(process)


def processor_s(work: Callable[[], None]) -> float:
    """Of this process and of the programs that it starts: what others do meanwhile counts for little."""
    before = os.times()
    work()
    after = os.times()
    return sum(after[:4]) - sum(before[:4])


def missing_engines(what: str) -> Iterator[Row]:
    if all(engine.name != "rubberband" for engine in engines_here()):
        yield without(f"{what}, rubberband", "there is no `rubberband` of version 3 or newer on PATH")
