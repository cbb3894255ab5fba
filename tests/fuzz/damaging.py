"""The child of the fast test: targets and all their bad inputs, one line of JSON for each and for each finding.

python -m tests.fuzz.damaging [--input BASE64] TARGET…
"""

import argparse
import base64
import json
import resource
import sys
from dataclasses import asdict

from tests.fuzz.findings import finding_of
from tests.fuzz.nasty import nasty
from tests.fuzz.targets import TARGETS

MOST_S = 100
"""Of processor time, in all: the system ends the process then (setrlimit, IEEE Std 1003.1). It needs some 30."""


def main() -> None:
    sys.dont_write_bytecode = True
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_S, MOST_S))
    parser = argparse.ArgumentParser()
    parser.add_argument("--input", type=base64.b64decode, help="in the place of all the bad ones")
    parser.add_argument("targets", nargs="+")
    asked = parser.parse_args()
    for name in asked.targets:
        for what, content in nasty(name) if asked.input is None else [("given", asked.input)]:
            # Said before it is tried, so that the last line of a process that hangs or dies names the input.
            print(json.dumps({"target": name, "input": what}), flush=True)
            found = finding_of(TARGETS[name], content)
            for _ in range(2):  # a busy machine can only add to processor time: what is slow is so every time
                if found is not None and found.kind == "Slow":
                    found = finding_of(TARGETS[name], content)
            if found is not None:
                print(json.dumps({"target": name, "input": what, **asdict(found)}), flush=True)


if __name__ == "__main__":
    main()
