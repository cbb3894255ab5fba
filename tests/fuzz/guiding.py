"""Targets run under the coverage-guided fuzzer, each in a process of its own, and what came of it."""

import base64
import importlib.util
import json
import os
import re
import resource
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tests.fuzz.nasty import ROOT, WORDS, seeds

HERE = importlib.util.find_spec("atheris") is not None
"""Whether the fuzzer is installed; it exists for Linux on x86-64 only."""
LONGEST_INPUT_BYTES = 4096
HANG_S = 120
"""By the clock, for one input; what merely takes long is a finding before."""
MOST_MEMORY_MIB = 2048
_TRIED = re.compile(r"stat::number_of_executed_units:\s*(\d+)")
_COVERED = re.compile(r"cov: (\d+) ft: (\d+)")


@dataclass(frozen=True)
class Fuzzed:
    """What came of fuzzing one target, in `used_s` of processor time.

    `covered` are edges of the instrumented code, `features` edges with how often they were taken. Each finding is its
    kind, its trace and, in base64, the input that brought it up.
    """

    target: str
    used_s: float
    tried: int
    covered: int
    features: int
    findings: tuple[Mapping[str, str], ...]


def fuzzed(target: str, seconds: int, folder: Path, seed: int = 0) -> Fuzzed:
    """One target, fuzzed for a time by the clock. `folder` takes the corpus, which grows there, and the findings.

    `seed` 0 lets the fuzzer draw its own.
    """
    corpus = folder / target
    corpus.mkdir(parents=True, exist_ok=True)
    for number, content in enumerate(seeds(target)):
        (corpus / f"seed-{number}").write_bytes(content)
    words = folder / "words"
    words.write_text("".join(f'"{_quoted(word)}"\n' for word in WORDS))
    findings = folder / f"{target}.findings"
    command = [sys.executable, "-m", "tests.fuzz.guided", target, str(findings), str(corpus)]
    command += [f"-max_total_time={seconds}", f"-max_len={LONGEST_INPUT_BYTES}", f"-dict={words}"]
    command += [
        f"-timeout={HANG_S}",
        f"-rss_limit_mb={MOST_MEMORY_MIB}",
        f"-artifact_prefix={folder}/{target}-",
    ]
    command += ["-print_final_stats=1", f"-seed={seed}"]
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    # The fuzzer ends its process without Python's tidying up, so what is left has to lie here.
    env = {**os.environ, "TMPDIR": str(folder)}
    done = subprocess.run(
        command, cwd=ROOT, env=env, capture_output=True, text=True, errors="replace", check=False
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    lines = findings.read_text().splitlines() if findings.exists() else []
    found = [one for one in map(json.loads, lines) if one["kind"] != "Slow" or _is_slow(target, one["input"])]
    tried, covered = _TRIED.findall(done.stderr), _COVERED.findall(done.stderr)
    if done.returncode or not tried or not covered:
        ended = {
            "kind": "Ended",
            "place": target,
            "trace": done.stderr[-3000:],
            "input": _last_input(folder, target),
        }
        found.append(ended)
    edges, features = covered[-1] if covered else (0, 0)
    count = int(tried[-1]) if tried else 0
    return Fuzzed(target, used_s, count, int(edges), int(features), tuple(found))


def _is_slow(target: str, packed: str) -> bool:
    """Whether an input takes long without the fuzzer too, whose instruments slow some loops down tenfold."""
    command = [sys.executable, "-m", "tests.fuzz.damaging", "--input", packed, target]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return done.returncode != 0 or '"kind": "Slow"' in done.stdout


def _last_input(folder: Path, target: str) -> str:
    """What libFuzzer left of an input that ended or hung the process."""
    left = sorted(folder.glob(f"{target}-*"))
    return base64.b64encode(left[-1].read_bytes()).decode() if left else ""


def _quoted(word: str) -> str:
    """As libFuzzer's dictionaries write it (LLVM documentation, "libFuzzer", Dictionaries)."""
    return word.replace("\\", "\\\\").replace('"', '\\"')
