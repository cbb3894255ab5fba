"""A table with records whose clips differ in what they can reach below a ceiling, and what is made of them."""

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from render.files.engines import engine_of
from render.files.shelf import shelf_of
from render.make import Done, Kept, Made, Order, make_together
from render.night.job import read_work
from render.sound.engine import Engine
from render.values import Audio
from tests.clips.exact_records import RATE_HZ, ExactRecord, write_recipe

SHORT = "tempo: 140\nlead: 4 beats\ntail: 4 beats"
HITS = ExactRecord("hits", 140.0, 0.25, 6, 55.0)
"""Clicks over a soft bass: a high peak for its loudness."""
PAD = ExactRecord("pad", 136.0, 0.4103, 6, 82.4)
"""A held chord in place of its beats: a low peak for its loudness. It has to be stretched."""
DROP = "{drop: bar 3}"
TRY = """\
try:
  bare: {tracks: {pad: {gain: -50 dB}}}
  soft: {tracks: {hits: {gain: -50 dB}}}
"""
"""`bare` has to be quiet, so that its hits stay below the ceiling, `soft` could be some 10 LU louder."""


@dataclass
class Counting:
    """An engine that counts what it is asked to stretch."""

    engine: Engine = field(default_factory=lambda: engine_of("signalsmith"))
    stretched: int = 0
    version_of_its_own: str = ""

    @property
    def name(self) -> str:
        return self.engine.name

    @property
    def version(self) -> str:
        return self.version_of_its_own or self.engine.version

    def stretch(self, audio: Audio, rate_hz: int, speed: float, semitones: float) -> Audio:
        self.stretched += 1
        return self.engine.stretch(audio, rate_hz, speed, semitones)


class Table:
    """A folder with two records and recipes over them; clips lie in `clips`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.clips = folder / "clips"
        self.clips.mkdir()
        HITS.write(folder)
        self.pad()

    def pad(self, gain: float = 1.0) -> Path:
        time_s = np.arange(int(PAD.beat_s(24) * RATE_HZ) + RATE_HZ) / RATE_HZ
        chord = sum(np.sin(2 * np.pi * hz * time_s + hz) for hz in (220.0, 277.2, 329.6, 440.0))
        noise = np.random.default_rng(1).standard_normal(len(time_s))
        path = self.folder / "pad.wav"
        sound = gain * (0.1 * chord + 0.02 * noise)
        soundfile.write(path, np.stack([sound, sound], axis=1), RATE_HZ, subtype="PCM_24")
        return path

    def recipe(self, rest: str = "", name: str = "test", clip: str = "clip: {format: flac}") -> Path:
        return write_recipe(
            self.folder,
            HITS.lines(markers=DROP),
            PAD.lines(markers=DROP),
            rest=f"{SHORT}\n{clip}\n{rest}",
            name=name,
        )

    def orders(self, recipe: Path, force: bool = False) -> list[Order]:
        work = read_work([recipe])
        assert not work.faults, [str(fault) for fault in work.faults]
        return work.orders(self.clips, force)


def together(orders: list[Order], engine: Engine | None = None) -> list[Made | Exception]:
    """What comes of orders, by a shelf as a batch has it."""
    shelf = shelf_of(fresh=any(order.force for order in orders))
    return [outcome for outcome, _ in make_together(orders, engine or engine_of("signalsmith"), shelf)]


def receipts(outcomes: list[Made | Exception]) -> dict[str, dict[str, Any]]:
    """The receipts of clips that are all there, by their variants; the recipe's own has the name ''."""
    assert all(isinstance(outcome, Done | Kept) for outcome in outcomes), outcomes
    found = [receipt_of(outcome) for outcome in outcomes]
    return {receipt["variant"]: receipt for receipt in found}


def receipt_of(outcome: Any) -> dict[str, Any]:
    text = outcome.clip.with_suffix(".json").read_text(encoding="utf-8")
    receipt: dict[str, Any] = json.loads(text)
    return receipt


def samples_of(outcomes: list[Made | Exception]) -> list[str]:
    """The hashes of the samples of clips that were made."""
    assert all(isinstance(outcome, Done) for outcome in outcomes), outcomes
    return [str(receipt_of(outcome)["pcm_sha256"]) for outcome in outcomes]
