"""`python -m tests.fuzz [TARGET…] [--seconds N]`: hostile input, looked for by a coverage-guided fuzzer."""

import argparse
import base64
import sys
import tempfile
from pathlib import Path

from tests.fuzz.guiding import HERE, fuzzed
from tests.fuzz.nasty import GOOD


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("targets", nargs="*", metavar="TARGET", help=f"left out: all of {', '.join(GOOD)}")
    parser.add_argument("--seconds", type=int, default=60, help="by the clock, for each target (default 60)")
    asked = parser.parse_args()
    if unknown := set(asked.targets) - set(GOOD):
        parser.error(f"no target is called {min(unknown)}: there are {', '.join(GOOD)}")
    if not HERE:
        parser.error("atheris is not installed: pip install atheris, on Linux and x86-64")
    findings = 0
    with tempfile.TemporaryDirectory(prefix="dropkiln-fuzz-") as folder:
        for target in asked.targets or GOOD:
            came = fuzzed(target, asked.seconds, Path(folder))
            findings += len(came.findings)
            print(
                f"{target:<12} {came.used_s:>6.0f} s of processor time  {came.tried:>9,} inputs  "
                f"{came.covered:>6,} edges  {came.features:>6,} features  {len(came.findings)} findings",
                flush=True,
            )
            for found in came.findings:
                print(f"{found['trace']}input: {base64.b64decode(found['input'])!r}\n", flush=True)
    return 1 if findings else 0


if __name__ == "__main__":
    sys.exit(main())
