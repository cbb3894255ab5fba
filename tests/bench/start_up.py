"""How long `dropkiln --help` takes beside a Python that does nothing: `python -m tests.bench.start_up`.

Both are started in turn. The least is told beside the median: it is what the machine does when it is left alone.
"""

import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from tests.bench.rows import Row, load, tell

ROUNDS, QUICK_ROUNDS = 25, 9
HELP_BAR_S = 0.3


def rows(quick: bool) -> Iterator[Row]:
    program = str(Path(sys.executable).with_name("dropkiln"))
    rounds = QUICK_ROUNDS if quick else ROUNDS
    help_s, bare_s = [], []
    with load() as during:
        for _ in range(rounds):
            bare_s.append(wall_s([sys.executable, "-c", "pass"]))
            help_s.append(wall_s([program, "--help"]))
    took_s, python_s = statistics.median(help_s), statistics.median(bare_s)
    told = f"{took_s:.2f} s (least {min(help_s):.2f}), {took_s / python_s:.1f} × a bare Python"
    yield Row(f"start of `dropkiln --help`, median of {rounds}", told, f"≤ {HELP_BAR_S} s", during)
    told = f"{python_s:.3f} s (least {min(bare_s):.3f})"
    yield Row("start of a bare Python, `python -c pass`", told, "", during)


def wall_s(command: list[str]) -> float:
    start_s = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start_s


if __name__ == "__main__":
    tell(rows("--quick" in sys.argv[1:]))
