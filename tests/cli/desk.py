"""A performer's desk: a folder with two short records and recipes over them, and `dropkiln` run at it.

A clip of these recipes lasts eight beats, so that a whole run takes a moment.
"""

import contextlib
import hashlib
import io
import json
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import soundfile

from render.cli.app import main
from render.night import night
from render.night.pool import here, processes

RATE_HZ = 44_100
TEMPO_BPM = 140.0
BEATS = 16

RECIPE = """\
recipe: 1
title: Test
tempo: 140
lead: 4 beats
tail: 4 beats
tracks:
  ember:
    file: ember.wav
    bpm: 140
    first_beat: 0.25 s
    markers: {drop: bar 3}
  slate:
    file: slate.wav
    bpm: 140
    first_beat: 0.5 s
    markers: {drop: bar 3}
clip: {format: flac}
"""


def stretched(tempo_bpm: int) -> tuple[str, str]:
    """The change by which slate has to be stretched, which else it is not."""
    return "    bpm: 140\n    first_beat: 0.5 s", f"    bpm: {tempo_bpm}\n    first_beat: 0.5 s"


STRETCHED = stretched(137)
"""140/137 is 2.2 % faster."""


def record(first_beat_s: float, bass_hz: float, tempo_bpm: float = TEMPO_BPM) -> np.ndarray:
    """(frames, 2): a click and a thump on each of `BEATS` beats over a steady bass, and half a second after them."""
    rng = np.random.default_rng(round(bass_hz))
    time_s = np.arange(int((first_beat_s + BEATS * 60 / tempo_bpm + 0.5) * RATE_HZ)) / RATE_HZ
    sound = 0.08 * np.sin(2 * np.pi * bass_hz * time_s) + 1e-6 * rng.standard_normal(len(time_s))
    hit_s = np.arange(int(0.12 * RATE_HZ)) / RATE_HZ
    hit = 0.3 * np.exp(-hit_s / 0.0008) * rng.uniform(-1, 1, len(hit_s))
    hit += 0.2 * np.exp(-hit_s / 0.03) * np.sin(2 * np.pi * 190 * hit_s)
    for beat in range(BEATS):
        start = round((first_beat_s + beat * 60 / tempo_bpm) * RATE_HZ)
        sound[start : start + len(hit)] += hit
    return np.stack([sound, sound], axis=1)


EMBER, SLATE = record(0.25, 55.0), record(0.5, 82.4)


_COUNT = re.compile(r"  \(\d+ warnings?\)$")
_TABLE = re.compile(r"^night     .*?^listen    [^\n]*\n", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Ended:
    """How a run ended, and what it printed."""

    status: int
    out: str
    err: str

    def __post_init__(self) -> None:
        assert "Traceback" not in self.err, self.err
        assert "Error:" not in self.err, self.err

    @property
    def lines(self) -> list[str]:
        """The lines on standard error, without the closing table."""
        return _TABLE.sub("", self.err).splitlines()

    @property
    def told(self) -> list[str]:
        """These lines, without the count of warnings at their ends."""
        return [_COUNT.sub("", line) for line in self.lines]

    @property
    def table(self) -> list[str]:
        """The lines of the closing table; none where nothing was to be made."""
        found = _TABLE.search(self.err)
        return found.group().splitlines() if found else []

    @property
    def outcomes(self) -> dict[str, str]:
        """What came of each clip, by the run's lines."""
        return {name: outcome for outcome, name in (line.split(maxsplit=2)[:2] for line in self.told)}


class Desk:
    """A folder and what lies in it. `dropkiln` runs in it as its current folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.sound("ember.wav", EMBER)
        self.sound("slate.wav", SLATE)

    def sound(self, name: str, audio: np.ndarray, subtype: str | None = None) -> Path:
        path = self.folder / name
        soundfile.write(path, audio, RATE_HZ, subtype=subtype)
        return path

    def recipe(self, name: str, *changes: tuple[str, str]) -> Path:
        """A recipe over the two records. `name` may lead into a folder; each change replaces what stands once."""
        text = RECIPE
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        return self.text(name, text)

    def text(self, name: str, text: str | bytes) -> Path:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    def run(self, *arguments: str | Path) -> Ended:
        """`dropkiln` in this process. A render is done here too, by the engine that is always there.

        Asked for several jobs, it has processes of its own as always.
        """
        given = [str(argument) for argument in arguments]
        many = "--jobs" in given and given[given.index("--jobs") + 1 :][:1] != ["1"]
        if given[:1] == ["render"]:
            given[1:1] = [] if "--jobs" in given else ["--jobs", "1"]
            given[1:1] = [] if "--engine" in given else ["--engine", "signalsmith"]
        out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
        with (
            contextlib.chdir(self.folder),
            mock.patch.object(sys, "argv", ["dropkiln", *given]),
            mock.patch.object(night, "processes", processes if many else here),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            try:
                main()
            except SystemExit as left:
                status = left.code
        assert isinstance(status, int)
        told, printed = (stream.buffer.getvalue().decode() for stream in (err, out))
        return Ended(status, printed, told)

    def start(self, *arguments: str | Path, **options: Any) -> "subprocess.Popen[str]":
        """`dropkiln` as a process of its own, in a group of its own as a shell would start it."""
        program = Path(sys.executable).with_name("dropkiln")
        streams = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        options = {**streams, "text": True, "process_group": 0, **options}
        return subprocess.Popen([program, *arguments], cwd=self.folder, **options)

    def run_apart(self, *arguments: str | Path, **options: Any) -> Ended:
        with self.start(*arguments, **options) as process:
            return ended_of(process, 100.0)

    def contents(self) -> dict[str, str]:
        """Everything in the folder, by name: a digest of each file, and where each link leads."""
        return {str(path.relative_to(self.folder)): _digest(path) for path in self.folder.rglob("*")}

    @contextlib.contextmanager
    def nothing_written(self) -> Iterator[None]:
        before = self.contents()
        yield
        assert self.contents() == before

    def clips(self, out: str = "out") -> list[str]:
        """The names in the folder of the clips; hidden ones too."""
        folder = self.folder / out / "clips"
        return sorted(path.name for path in folder.iterdir()) if folder.exists() else []

    def receipt(self, name: str, out: str = "out") -> dict[str, Any]:
        path = self.folder / out / "clips" / f"{name}.json"
        receipt: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        return receipt

    def assert_whole(self, name: str, out: str = "out") -> None:
        """A clip is as its receipt says, and sounds from its first frame to its last."""
        receipt = self.receipt(name, out)
        clip = self.folder / out / "clips" / str(receipt["clip"])
        assert hashlib.sha256(clip.read_bytes()).hexdigest() == receipt["file_sha256"]
        audio, rate_hz = soundfile.read(clip)
        assert len(audio) == round(receipt["duration_s"] * rate_hz)
        assert np.abs(audio).max() > 0.1


def _digest(path: Path) -> str:
    if path.is_symlink():
        return f"-> {path.readlink()}"
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "folder"


def ended_of(process: "subprocess.Popen[str]", within_s: float = 60.0) -> Ended:
    """What comes of one that was started, once it has ended."""
    out, err = process.communicate(timeout=within_s)
    return Ended(process.returncode, out or "", err or "")


def wait_until(true: Callable[[], bool], seconds: float) -> bool:
    """Whether something comes true in time."""
    ends_s = time.monotonic() + seconds
    while not (came := true()) and time.monotonic() < ends_s:
        time.sleep(0.02)
    return came
