"""A night that is killed at random moments, and goes on each time: fifty SIGKILLs, of the run or of a worker, and
between them SIGTERM and Ctrl-C.

Yardstick: the same night undisturbed. Each clip comes out the same to the sample; what is finished is never made
again; whoever looks, at any moment, sees whole files alone; and in the end nothing is left lying about.

DROPKILN_SEED chooses other moments, DROPKILN_KILLS how many SIGKILLs there are to be.
"""

import contextlib
import hashlib
import io
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import soundfile

from tests.cli.desk import STRETCHED, Desk, wait_until
from tests.processes import is_running, workers_of

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform != "linux", reason="looks at /proc, which only Linux has"),
]

SEED = int(os.environ.get("DROPKILN_SEED", "1"))
KILLS = int(os.environ.get("DROPKILN_KILLS", "50"))
BY_SIGKILL = ("kill", "worker")
"""What counts; the others come between."""
RECIPES = 5
"""With a variant each, so that a batch can be met between its clips."""
LOOK_EVERY_S = 0.01
SOON_S = 30.0
LONG_S = 600.0
"""A night takes half a minute; the rest is for a busy machine."""


@dataclass
class Onlooker:
    """Looks at the clips over and over. A file that once was there stays what it was, but for one made anew whole."""

    folder: Path
    wrong: list[str] = field(default_factory=list)
    looks: int = 0
    _known: dict[str, tuple[int, int]] = field(default_factory=dict)
    _over: threading.Event = field(default_factory=threading.Event)

    @contextlib.contextmanager
    def looking(self) -> Iterator[None]:
        thread = threading.Thread(target=self._look_on)
        thread.start()
        try:
            yield
        finally:
            self._over.set()
            thread.join()

    def _look_on(self) -> None:
        while not self._over.wait(LOOK_EVERY_S):
            try:
                self.look()
            except (OSError, ValueError, KeyError, soundfile.LibsndfileError) as error:
                self.wrong.append(repr(error))

    def look(self) -> None:
        self.looks += 1
        for path in self.folder.glob("[!.]*"):
            with contextlib.suppress(FileNotFoundError):
                state = path.stat()
                if self._known.get(path.name) == (state.st_ino, state.st_mtime_ns):
                    continue
                self._known[path.name] = (state.st_ino, state.st_mtime_ns)
                if not self._is_whole(path, path.read_bytes()):
                    self.wrong.append(path.name)

    def _is_whole(self, path: Path, content: bytes) -> bool:
        match path.suffix:
            case ".json":  # written last: what it speaks of is there, as it says
                receipt = json.loads(content)
                try:
                    clip = (self.folder / receipt["clip"]).read_bytes()
                except FileNotFoundError:
                    return not path.exists()
                return hashlib.sha256(clip).hexdigest() == receipt["file_sha256"]
            case ".svg":
                return content.rstrip().endswith(b"</svg>")
            case (
                ".flac"
            ):  # RFC 9639, section 8.2: how many samples there are in all, and no fewer can be read
                return _flac_is_whole(content)
        return path.suffix == ".log"


def _flac_is_whole(content: bytes) -> bool:
    with soundfile.SoundFile(io.BytesIO(content)) as file:
        return len(file.read()) == file.frames > 0


def hurt(run: "subprocess.Popen[str]", chance: random.Random) -> str:
    """Kill a run or one of its workers, or ask it to stop; what was done, or `late` where there was none any more."""
    workers = workers_of(run.pid)
    deeds = ["kill"] * 4 + ["term", "ctrl-c twice", "ctrl-c"] + (["worker"] * 4 if workers else [])
    deed = chance.choice(deeds)
    try:
        match deed:
            case "worker":
                os.kill(chance.choice(workers), signal.SIGKILL)
            case "kill":
                run.kill()
                return deed if run.wait(SOON_S) == -signal.SIGKILL else "late"
            case "term":
                run.terminate()
            case _:
                os.killpg(run.pid, signal.SIGINT)
                if deed == "ctrl-c twice":
                    time.sleep(chance.uniform(0, 0.2))
                    os.killpg(run.pid, signal.SIGINT)
    except ProcessLookupError:  # it has just ended by itself
        return "late"
    return deed


def kills(deeds: list[str]) -> int:
    return sum(deed in BY_SIGKILL for deed in deeds)


def interrupted_before_it_began(told: str) -> bool:
    """Whether Ctrl-C met Python while it started itself, and the program had no say yet in what is told."""
    return told.rstrip().endswith("KeyboardInterrupt") and "render" not in told


def undisturbed(desk: Desk, *asked: str) -> None:
    with desk.start(*asked) as run:
        _, err = run.communicate(timeout=LONG_S)
    assert run.returncode == 0, err


def finished(desk: Desk, calm: dict[str, dict[str, Any]]) -> dict[str, tuple[str, int]]:
    """Every clip made from what the calm night made it from: the hash of its samples, and which file its receipt is.

    A recipe whose worker is killed twice in one run is tried clip by clip, each as loud as it can be, and then once
    more together. Where the run is killed before that, a clip stands that was made alone, as its receipt says; the
    next run makes it anew.
    """
    found = {}
    for path in (desk.folder / "out" / "clips").glob("[!.]*.json"):
        receipt = json.loads(path.read_bytes())
        if receipt["group_sha256"] is not None:
            assert receipt["inputs_sha256"] == calm[path.stem]["inputs_sha256"]
            found[path.stem] = (receipt["pcm_sha256"], path.stat().st_ino)
    return found


def test_a_night_that_is_killed_fifty_times_comes_out_as_if_nothing_had_been(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DROPKILN_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    chance = random.Random(SEED)
    (tmp_path / "desk").mkdir()
    desk = Desk(tmp_path / "desk")
    names = []
    for number in range(RECIPES):
        name, keys = f"{number:02d}", (("lead: 4", f"lead: {2 + number % 3}"),)
        desk.recipe(f"{name}.yaml", STRETCHED, *keys, ("clip:", "try: {short: {tail: 3 beats}}\nclip:"))
        names += [name, f"{name}--short"]
    asked = ("render", ".", "--engine", "signalsmith", "--jobs", "2", "--plain")
    began_s = time.monotonic()
    undisturbed(desk, *asked, "--out", "calm")
    calm_s = time.monotonic() - began_s
    calm_receipts = {name: desk.receipt(name, "calm") for name in names}
    samples = {name: receipt["pcm_sha256"] for name, receipt in calm_receipts.items()}

    clips = desk.folder / "out" / "clips"
    clips.mkdir(parents=True)
    onlooker = Onlooker(clips)
    deeds: list[str] = []
    again = 0
    with onlooker.looking():
        while kills(deeds) < KILLS:
            before = finished(desk, calm_receipts)
            if len(before) == len(names):  # all is there: another night, with all that was made thrown away
                for path in sorted(clips.iterdir(), key=lambda path: path.suffix != ".json"):
                    path.unlink()
                before = {}
            with desk.start(*asked) as run:
                seen: set[int] = set()
                while run.poll() is None and kills(deeds) < KILLS:
                    with contextlib.suppress(subprocess.TimeoutExpired):
                        run.wait(chance.uniform(0.0, calm_s))
                    if run.poll() is None:
                        seen |= set(workers_of(run.pid))
                        deeds.append(hurt(run, chance))
                out, err = run.communicate(timeout=LONG_S)
            assert out == ""
            assert "Traceback" not in err or interrupted_before_it_began(err), err
            assert wait_until(lambda seen=seen: not any(map(is_running, seen)), SOON_S), deeds[-1]
            after = finished(desk, calm_receipts)
            again += sum(after[name] != file for name, file in before.items())
            assert {name: samples[name] for name in after} == {name: pcm for name, (pcm, _) in after.items()}
    undisturbed(desk, *asked)
    assert kills(deeds) == KILLS
    assert onlooker.looks > len(deeds)
    onlooker.look()
    assert onlooker.wrong == []
    assert again == 0
    assert set(deeds) >= {"kill", "term", "worker", "ctrl-c", "ctrl-c twice"} or KILLS < 50
    assert {name: pcm for name, (pcm, _) in finished(desk, calm_receipts).items()} == samples
    for name in names:
        desk.assert_whole(name)
    assert list((desk.folder / "out").rglob(".dropkiln-*")) == []
    assert sorted(path.name for path in clips.iterdir()) == sorted(
        f"{name}.{ending}" for name in names for ending in ("flac", "json", "svg")
    )
