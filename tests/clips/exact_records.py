"""Records whose truth is exact, and recipes over them, for tests of whole clips.

Every beat of such a record begins on the frame nearest to its time: a kick with a 2 ms click on it, and noise
between. Each bar sounds a tone of its own, so that it can be told which bar is heard; the record's bass is a steady
sine, so that it can be told whose low end is heard.
"""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from render.files.engines import EngineChoice, engine_of
from render.make import Done, Kept, Refused, make
from render.night.job import read_work

RATE_HZ = 44_100
BAR_TONES_HZ = tuple(400.0 * 2 ** (step / 12) for step in range(0, 36, 1))
"""Tones of successive bars, a semitone apart, so that every bar of a short record has its own."""


@dataclass(frozen=True)
class ExactRecord:
    name: str
    tempo_bpm: float
    first_beat_s: float
    bars: int
    bass_hz: float
    rate_hz: int = RATE_HZ
    tones: bool = True

    def beat_s(self, beat: float) -> float:
        return self.first_beat_s + beat * 60.0 / self.tempo_bpm

    def audio(self) -> np.ndarray:
        """(frames, 2) float64."""
        rng = np.random.default_rng(sum(map(ord, self.name)))
        frames = int(self.beat_s(self.bars * 4) * self.rate_hz) + self.rate_hz
        time_s = np.arange(frames) / self.rate_hz
        sound = 0.08 * np.sin(2 * np.pi * self.bass_hz * time_s)
        sound += 1e-6 * rng.standard_normal(frames)
        for beat in range(self.bars * 4):
            start = int(np.floor(self.beat_s(beat) * self.rate_hz + 0.5))
            click_s = np.arange(int(0.004 * self.rate_hz)) / self.rate_hz
            click = 0.5 * np.exp(-click_s / 0.0008) * rng.uniform(-1, 1, len(click_s))
            click[0] = 0.5
            sound[start : start + len(click)] += click
            thump_s = np.arange(int(0.12 * self.rate_hz)) / self.rate_hz
            sound[start : start + len(thump_s)] += (
                0.2 * np.exp(-thump_s / 0.03) * np.sin(2 * np.pi * 190 * thump_s)
            )
        if self.tones:
            for bar in range(self.bars):
                start, end = (int(self.beat_s(b) * self.rate_hz) for b in (bar * 4, bar * 4 + 4))
                tone = np.sin(2 * np.pi * BAR_TONES_HZ[bar % len(BAR_TONES_HZ)] * time_s[start:end])
                sound[start:end] += 0.04 * tone * np.hanning(end - start)
        return np.stack([sound, sound], axis=1)

    def write(self, folder: Path, gain: float = 1.0) -> Path:
        path = folder / f"{self.name}.wav"
        soundfile.write(path, self.audio() * gain, self.rate_hz, subtype="PCM_24")
        return path

    def lines(self, **more: str) -> str:
        """The track's lines in a recipe; `more` adds keys or replaces them."""
        keys = {
            "file": f"{self.name}.wav",
            "bpm": repr(self.tempo_bpm),
            "first_beat": f"{self.first_beat_s!r} s",
            "markers": "{drop: bar 13}",
            **more,
        }
        return f"  {self.name}:\n" + "".join(f"    {key}: {value}\n" for key, value in keys.items())


def write_recipe(folder: Path, *tracks: str, rest: str = "", name: str = "test") -> Path:
    path = folder / f"{name}.yaml"
    path.write_text(f"recipe: 1\ntitle: Test\n{rest}\ntracks:\n{''.join(tracks)}", encoding="utf-8")
    return path


def made(recipe: Path, choice: EngineChoice = "signalsmith", variant: str = "", force: bool = False) -> Any:
    """Make one clip of a recipe next to it; what came of it."""
    work = read_work([recipe])
    assert not work.faults, [str(fault) for fault in work.faults]
    folder = recipe.parent / "clips"
    folder.mkdir(exist_ok=True)
    order = next(order for order in work.orders(folder, force) if order.plan.variant == variant)
    return make(order, engine_of(choice))


def clip_of(outcome: Done | Kept | Refused) -> tuple[np.ndarray, int, dict[str, Any]]:
    """The clip's samples (frames, channels), its rate, and its receipt."""
    assert isinstance(outcome, Done | Kept), outcome
    audio, rate = soundfile.read(outcome.clip, always_2d=True)
    return audio, rate, json.loads(outcome.clip.with_suffix(".json").read_text(encoding="utf-8"))


def level_db(audio: np.ndarray, rate_hz: int, tone_hz: float, start_s: float, end_s: float) -> float:
    """The level of a steady tone in a span of a clip, by its Fourier coefficient under a Hann window."""
    part = audio[int(start_s * rate_hz) : int(end_s * rate_hz), 0]
    window = np.hanning(len(part))
    time_s = np.arange(len(part)) / rate_hz
    amplitude = 2 * abs(np.sum(part * window * np.exp(-2j * np.pi * tone_hz * time_s))) / window.sum()
    return float(20 * np.log10(max(amplitude, 1e-9)))
