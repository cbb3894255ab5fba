"""The child of `python -m tests.fuzz`: one target under atheris, which looks for inputs that reach new code.

    python -m tests.fuzz.guided TARGET FINDINGS [arguments of libFuzzer]

The fuzzer would end at the first exception; here each kind of finding becomes one line of JSON in the file FINDINGS,
and the search goes on. How many inputs were tried and how much code they reached, libFuzzer says on standard error.
"""

import base64
import json
import os
import sys
from dataclasses import asdict

import atheris  # type: ignore[import-not-found,unused-ignore]

INSTRUMENTED = ["render", "ruamel.yaml"]


def main() -> None:
    name, findings, *arguments = sys.argv[1:]
    # What a target imports when it is first called would be written as bytecode.
    sys.dont_write_bytecode = True
    with atheris.instrument_imports(include=INSTRUMENTED):
        from tests.fuzz.targets import TARGETS
    from tests.fuzz.findings import Finding, finding_of

    target = TARGETS[name]
    told = os.open(findings, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    known: set[tuple[str, str]] = set()

    def tell(found: Finding, content: bytes) -> None:
        if (found.kind, found.place) not in known:
            known.add((found.kind, found.place))
            line = {**asdict(found), "input": base64.b64encode(content).decode()}
            os.write(told, json.dumps(line).encode() + b"\n")

    def once(content: bytes) -> None:
        if (found := finding_of(target, content)) is not None:
            tell(found, content)

    atheris.Setup([sys.argv[0], *arguments], once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
