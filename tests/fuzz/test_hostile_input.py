"""Whatever is put before a reader: it is read or refused in one line, soon, and nothing is touched."""

import base64
import json
import subprocess
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from tests.fuzz.guiding import HERE, ROOT, fuzzed
from tests.fuzz.nasty import GOOD, nasty, seeds
from tests.fuzz.targets import TARGETS

FUZZING_S = 6
"""By the clock, for one target; what a long search finds becomes a test of its own."""


@pytest.fixture(scope="module")
def tried() -> list[Mapping[str, str]]:
    """What came of all bad inputs, tried in one process; one that hangs ends it, and the last line says at which."""
    command = [sys.executable, "-m", "tests.fuzz.damaging", *TARGETS]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    lines: list[Mapping[str, str]] = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.returncode == 0, f"{lines[-1:]}: {done.returncode} {done.stderr}"
    return lines


@pytest.mark.slow
@pytest.mark.parametrize("target", TARGETS)
def test_bad_input_is_told_soon_and_touches_nothing(target: str, tried: Sequence[Mapping[str, str]]) -> None:
    mine = [one for one in tried if one["target"] == target]
    found = [f"{one['input']}: {one['trace']}" for one in mine if "trace" in one]
    assert not found, "\n".join(found)
    assert len(mine) == sum(1 for _ in nasty(target)) > 100


def test_no_two_bad_inputs_have_one_name() -> None:
    for target in TARGETS:
        assert max(Counter(name for name, _ in nasty(target)).values()) == 1
    assert set(GOOD) == set(TARGETS)


CAUGHT = """
import os, sys
from pathlib import Path
from tests.fuzz.findings import finding_of

def target(content):
    exec(content)

print(finding_of(target, sys.argv[1].encode()).kind)
"""
BUSY = "import time\nends = time.process_time() + 2\nwhile time.process_time() < ends: pass"
"""Twice as long as an input may take, on the fastest machine too."""


@pytest.mark.parametrize(
    ("does", "kind"),
    [
        ("open('left', 'w')", "Touched"),
        ("Path('left').write_text('x')", "Touched"),
        ("Path('left').touch()", "Touched"),
        ("os.open('left', os.O_CREAT)", "Touched"),
        ("os.mkdir('left')", "Touched"),
        ("try:\n  os.remove('left')\nexcept BaseException:\n  pass", "Touched"),
        ("import tempfile; tempfile.mkdtemp()", "Touched"),
        ("os.system('touch left')", "Touched"),
        ("import subprocess; subprocess.run(['true'])", "Touched"),
        ("import socket; socket.create_connection(('127.0.0.1', 9))", "Touched"),
        ("int('x')", "ValueError"),
        pytest.param(BUSY, "Slow", marks=pytest.mark.slow),
    ],
)
def test_the_watch_sees_what_it_watches_for(does: str, kind: str, tmp_path: Path) -> None:
    command = [sys.executable, "-c", CAUGHT, does]
    env = {"PYTHONPATH": str(ROOT), "PATH": ""}
    done = subprocess.run(command, cwd=tmp_path, env=env, capture_output=True, text=True, check=True)
    assert done.stdout.split() == [kind]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
@pytest.mark.skipif(not HERE, reason="atheris exists for Linux on x86-64 only")
@pytest.mark.parametrize("target", TARGETS)
def test_a_fuzzer_that_is_guided_by_coverage_finds_nothing(target: str, tmp_path: Path) -> None:
    came = fuzzed(target, FUZZING_S, tmp_path)
    assert not came.findings, "\n".join(
        f"{found['trace']}input: {base64.b64decode(found['input'])!r}" for found in came.findings
    )
    # It did look: at more inputs than it began with, in code that it saw.
    assert came.tried > len(seeds(target))
    assert came.covered > 0
