"""What is known of the recorded material, and recipes and clips over it.

The titles are the names of the packages' files and stand nowhere but in these tests.
"""

import json
import math
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from render.files.engines import EngineChoice, engine_of
from render.make import Done, make
from render.night.job import read_work

Sound = npt.NDArray[np.float64]
"""Shape (frames, channels)."""

RATE_HZ = 44_100
TILED_S = 40.0
LEAD_BEATS = TAIL_BEATS = 16

NEEDS_RUBBERBAND = pytest.mark.skipif(
    not shutil.which("rubberband"), reason="needs the rubberband executable"
)
ENGINES = [
    pytest.param("signalsmith", id="signalsmith"),
    pytest.param("rubberband", id="rubberband", marks=NEEDS_RUBBERBAND),
]


@dataclass(frozen=True)
class Loop:
    """A recorded loop of whole bars. Its tempo follows from its length and is exact."""

    name: str
    frames: int
    beats: int

    @property
    def tempo_bpm(self) -> float:
        return self.beats * 60.0 * RATE_HZ / self.frames

    @property
    def beat_s(self) -> float:
        return self.frames / self.beats / RATE_HZ

    def sound(self, folder: Path) -> Sound:
        audio: Sound
        audio, rate_hz = soundfile.read(folder / f"{self.name}.flac", always_2d=True)
        assert rate_hz == RATE_HZ
        return audio

    def tiled(self, folder: Path) -> Sound:
        """The loop, one after another for at least `TILED_S`."""
        return np.tile(self.sound(folder), (math.ceil(TILED_S * RATE_HZ / self.frames), 1))


LOOPS = {
    loop.name: loop
    for loop in (
        Loop("loop_amen_full", 302_400, 16),
        Loop("loop_breakbeat", 84_000, 4),
        Loop("loop_compus", 286_054, 16),
        Loop("loop_garzul", 352_800, 16),
        Loop("loop_mika", 352_800, 16),
        Loop("loop_mehackit2", 109_114, 4),
        Loop("loop_perc1", 109_114, 4),
        Loop("loop_amen", 77_321, 4),
        Loop("loop_industrial", 38_973, 2),
    )
}
"""Of the package sonic-pi-samples: lengths as counted in the files, beats as counted by ear."""


@dataclass(frozen=True)
class Piece:
    """A produced piece of constant tempo.

    Tempo and first beat are a consensus of two measurements (a beat tracker's and the spectrum of the onsets), not
    exact: the tempo to about 0.01 %, the beat to some 25 ms.
    """

    name: str
    tempo_bpm: float
    first_beat_s: float

    def time_s(self, beat: float) -> float:
        return self.first_beat_s + beat * 60.0 / self.tempo_bpm


_MEASURED_FROM_S = 15.0
PIECES = {
    name: Piece(name, tempo_bpm, _MEASURED_FROM_S + first_beat_s)
    for name, tempo_bpm, first_beat_s in (
        ("beast-of-insanity", 140.0, 0.4263),
        ("brokenlight", 140.0, 0.4263),
        ("infight", 140.0876, 0.0022),
        ("sixtyfour_revisited", 127.0, 0.1993),
        ("desert3", 138.0, 0.2468),
        ("northern-lights", 105.0, 0.4375),
    )
}
"""Of the package nexuiz-music."""


def track_lines(name: str, file: Path, tempo_bpm: float, first_beat_s: float, **more: str) -> str:
    """A track's lines in a recipe."""
    keys = {"file": f"'{file}'", "bpm": f"{tempo_bpm:.9f}", "first_beat": f"{first_beat_s:.6f} s", **more}
    return f"  {name}:\n" + "".join(f"    {key}: {value}\n" for key, value in keys.items())


def write_recipe(folder: Path, *tracks: str, rest: str, form: str = "flac") -> Path:
    path = folder / "layers.yaml"
    path.write_text(
        f"recipe: 1\ntitle: Layers\nlead: {LEAD_BEATS} beats\ntail: {TAIL_BEATS} beats\n"
        f"clip: {{format: {form}}}\n{rest}\ntracks:\n{''.join(tracks)}",
        encoding="utf-8",
    )
    return path


@dataclass(frozen=True)
class Clip:
    """A clip that was made and published."""

    path: Path
    receipt: dict[str, Any]

    @property
    def landing_s(self) -> float:
        landing_s: float = self.receipt["landing_s"]
        return landing_s

    def sound(self) -> tuple[Sound, int]:
        """The samples of a FLAC clip, and their rate."""
        audio, rate_hz = soundfile.read(self.path, always_2d=True)
        return audio, rate_hz

    def codes(self, level: str) -> list[str]:
        return [finding["code"] for finding in self.receipt["findings"] if finding["level"] == level]


def clip_of(recipe: Path, choice: EngineChoice = "signalsmith", variant: str = "") -> Clip:
    """Make one clip of a recipe, next to it."""
    work = read_work([recipe])
    assert not work.faults, [str(fault) for fault in work.faults]
    folder = recipe.parent / "clips"
    folder.mkdir(exist_ok=True)
    order = next(order for order in work.orders(folder, False) if order.plan.variant == variant)
    outcome = make(order, engine_of(choice))
    assert isinstance(outcome, Done), outcome
    receipt = json.loads(outcome.clip.with_suffix(".json").read_text(encoding="utf-8"))
    return Clip(outcome.clip, receipt)
