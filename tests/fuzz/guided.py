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
from types import CodeType

import atheris  # type: ignore[import-not-found,unused-ignore]
import jinja2

INSTRUMENTED = ["render", "ruamel.yaml", "html", "_markupbase"]
"""The project, and what reads text in Python for it or for a target; the last two read HTML."""


class WatchedTemplates(jinja2.Environment):
    """Templates become Python code when they are first used, through no import that could be watched."""

    def _compile(self, source: str, filename: str) -> CodeType:
        code: CodeType = atheris.patch_code(super()._compile(source, filename), trace_dataflow=True)
        return code


def main() -> None:
    name, findings, *arguments = sys.argv[1:]
    # What a target imports when it is first called would be written as bytecode.
    sys.dont_write_bytecode = True
    jinja2.Environment = WatchedTemplates  # type: ignore[misc]
    with atheris.instrument_imports(include=INSTRUMENTED):
        from tests.fuzz.targets import TARGETS
    from render.publish.templating import environment
    from tests.fuzz.findings import Finding, finding_of

    assert isinstance(environment(), WatchedTemplates), "the templates go unwatched"
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
