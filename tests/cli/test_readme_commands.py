"""The README's commands, typed in order and as they stand into a shell, in a copy of the project."""

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
import soundfile

from render.demo.records import RECORDS
from tests.demo_sounds import rendered

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
TYPED = re.search(r"^```sh\n(.*?)^```", README, re.MULTILINE | re.DOTALL)[1].splitlines()  # type: ignore[index]
NOT_COPIED = ("out", ".*", "*.egg-info", "__pycache__")
RECIPES = ("half-time-wickergauge", "lanterns-over-ironworks")
TRACKS = ("ironworks", "lanterns", "wickergauge")
"""As much of the demo as the commands name and these recipes need; CI makes all of it (`.ci/newcomer`)."""

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="typed into a POSIX shell"),
]


class Shell:
    """Where a newcomer sits: a copy of the project in which `.venv/bin/dropkiln` is there, and an empty HOME."""

    def __init__(self, folder: Path) -> None:
        self.project = folder / "dropkiln"
        shutil.copytree(ROOT, self.project, ignore=shutil.ignore_patterns(*NOT_COPIED))
        for path in (self.project / "recipes").glob("*.yaml"):
            if path.stem not in RECIPES:
                path.unlink()
        (self.project / "out/demo/tracks").mkdir(parents=True)
        for record in RECORDS:
            if record.name in TRACKS:
                soundfile.write(self.project / f"out/demo/tracks/{record.name}.flac", *rendered(record))
        (self.project / ".venv/bin").mkdir(parents=True)
        (self.project / ".venv/bin/dropkiln").symlink_to(Path(sys.executable).with_name("dropkiln"))
        (folder / "home").mkdir()
        self.environment = {**os.environ, "HOME": str(folder / "home"), "LANG": "C.UTF-8"}

    def type(self, line: str) -> str:
        done = subprocess.run(
            ["bash", "-euo", "pipefail", "-c", line],
            cwd=self.project,
            env=self.environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            check=False,
        )
        assert (done.returncode, "Traceback" in done.stderr) == (0, False), f"{line}\n{done.stderr}"
        return done.stdout

    def there(self, pattern: str) -> int:
        return len(list(self.project.glob(pattern)))

    def write_ballot(self) -> None:
        """What a friend sends back of the clip that the README shares."""
        receipt = json.loads((self.project / "out/clips/lanterns-over-ironworks.json").read_text("utf-8"))
        rating = {
            "clip": "lanterns-over-ironworks",
            "verdict": "works",
            "note": "",
            "pcm": receipt["pcm_sha256"][:12],
        }
        ballot = {"ballot": 1, "listener": "Mara", "made": datetime.now(UTC).isoformat(), "ratings": [rating]}
        (self.project / "ballot.json").write_text(json.dumps(ballot), encoding="utf-8")


Comes = Callable[[str, Shell], bool]
COMES: dict[str, Comes] = {
    "check": lambda out, shell: out.count("landing") >= len(RECIPES),
    "render recipes/": lambda out, shell: (
        shell.there("out/clips/*.json") == shell.there("out/clips/*.svg") >= 5
    ),
    "render recipes/ --format": lambda out, shell: (
        shell.there("out/lossless/clips/*.flac") == shell.there("out/clips/*.json")
    ),
    "page": lambda out, shell: out == f"{shell.there('out/clips/*.json')} clips on out/index.html\n",
    "look out/demo/tracks/lanterns.flac": lambda out, shell: "172" in out and "F minor" in out,
    "look out/demo/tracks/*.flac": lambda out, shell: shell.there("out/*.svg") == len(TRACKS),
    "draft": lambda out, shell: shell.there("recipes/*.yaml") == len(RECIPES) + 1,
    "card": lambda out, shell: shell.there("out/cards/lanterns-over-ironworks*.html") == 1,
    "share": lambda out, shell: shell.there("out/share.html") == 1,
    "ballots": lambda out, shell: "Mara, 1 new" in out and shell.there("recipes/book.yaml") == 1,
    "book works": lambda out, shell: out.startswith("works     lanterns-over-ironworks") and "Mara" in out,
    "playlist": lambda out, shell: (
        shell.there("out/playlists/*.m3u8") == shell.there("out/playlists/*.xspf") > 0
    ),
    "clean --dry-run": lambda out, shell: "GiB" in out or "MB" in out,
    "schema": lambda out, shell: json.loads(out)["$schema"].endswith("2020-12/schema"),
    "doctor": lambda out, shell: "keeps time" in out,
}
"""What has to be there, or to be said, after each: by how its line begins, the longest beginning first."""


def what_comes(line: str) -> Comes:
    begins = [key for key in COMES if line.startswith(f".venv/bin/dropkiln {key}")]
    return COMES[max(begins, key=len)]


def test_every_command_of_the_readme_does_what_stands_beside_it(tmp_path: Path) -> None:
    shell = Shell(tmp_path)
    for line in TYPED:
        if "ballot.json" in line:
            shell.write_ballot()
        assert what_comes(line)(shell.type(line), shell), line
    assert {what_comes(line) for line in TYPED} == set(COMES.values())
