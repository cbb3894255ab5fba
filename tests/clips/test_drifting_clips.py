"""A clip with a record that drifts, by the beats marked beside it: made, told, and made again from its receipt."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from exact_records import ExactRecord, clip_of, made, write_recipe

from render.faults import UsageError
from render.files.engines import engine_of
from render.make import make
from render.night.job import read_work
from render.night.receipts import from_receipt

SHORT = "tempo: 140\nlead: 16 beats\ntail: 16 beats\nclip: {format: flac}"


class Wandering(ExactRecord):
    """An exact record whose tempo swings by one percent within 40 beats."""

    def beat_s(self, beat: float) -> float:
        numbers = np.arange(self.bars * 4 + 1)
        lengths_s = 60.0 / self.tempo_bpm / (1.0 + 0.01 * np.sin(2 * np.pi * numbers / 40))
        times_s = self.first_beat_s + np.concatenate([[0.0], np.cumsum(lengths_s[:-1])])
        return float(np.interp(beat, numbers, times_s))

    def write_with_beats(self, folder: Path) -> None:
        sound = self.audio()
        soundfile.write(folder / f"{self.name}.wav", sound, self.rate_hz, subtype="PCM_24")
        rows = [f"{self.beat_s(beat):.6f}, {beat % 4 + 1}" for beat in range(self.bars * 4)]
        (folder / f"{self.name}.beats.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def clip(folder: Path) -> Path:
    """The receipt of a clip of a wandering record that jumps back, and a steady one."""
    ember, slate = Wandering("ember", 138.0, 0.25, 24, 55.0), ExactRecord("slate", 140.0, 0.4103, 24, 82.4)
    ember.write_with_beats(folder), slate.write(folder)
    track = "  ember:\n    file: ember.wav\n    markers: {drop: bar 13, loop: bar 5}\n"
    jump = "jump_back: [{track: ember, at: landing + 8 beats, to: loop, loop: 4 beats}]"
    outcome = made(write_recipe(folder, track, slate.lines(), rest=f"{SHORT}\n{jump}"))
    clip_of(outcome)
    return outcome.clip.with_suffix(".json")


@pytest.fixture(scope="module")
def receipt_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return clip(tmp_path_factory.mktemp("drifting"))


def passages(receipt: dict[str, Any]) -> list[dict[str, Any]]:
    return receipt["plan"]["lanes"][0]["passages"]


def test_a_clip_of_a_drifting_record_lands_and_says_so(receipt_path: Path) -> None:
    receipt = json.loads(receipt_path.read_text(encoding="utf-8"))
    track = receipt["tracks"][0]
    marked_s = [Wandering("ember", 138.0, 0.25, 24, 55.0).beat_s(beat) for beat in range(96)]
    assert receipt["facts"]["ember"]["beats_s"][:96] == pytest.approx(marked_s, abs=1e-6)
    assert track["landing_error_ms"] == pytest.approx(0.0, abs=1.0)
    assert track["worst_beat_ms"] <= 2.0
    assert track["beats_measured"] >= 24
    begun = [passage["begins"] for passage in passages(receipt)]
    assert [what for what in begun if what != "on"] == ["enter", "jump", "loop"]
    assert begun.count("on") >= 6


def test_a_receipt_of_a_drifting_record_makes_the_same_samples_again(
    receipt_path: Path, tmp_path: Path
) -> None:
    order = read_work([receipt_path]).orders(tmp_path, force=False)[0]
    again = clip_of(make(order, engine_of("signalsmith")))[2]
    assert again["pcm_sha256"] == json.loads(receipt_path.read_text(encoding="utf-8"))["pcm_sha256"]


def beats(change: Callable[[list[float]], list[Any]]) -> Callable[[dict[str, Any]], None]:
    def spoil(receipt: dict[str, Any]) -> None:
        known = receipt["facts"]["ember"]
        known["beats_s"] = change(known["beats_s"])

    return spoil


SPOILT: dict[str, Callable[[dict[str, Any]], None]] = {
    "beats out of order": beats(lambda times: [*times[:5], times[6], times[5], *times[7:]]),
    "a beat twice": beats(lambda times: [*times[:5], times[4], *times[6:]]),
    "one beat": beats(lambda times: times[:1]),
    "a first beat elsewhere": beats(lambda times: times[1:]),
    "beats without end": beats(lambda times: [times[0] + at / 1000 for at in range(100_001)]),
    "a beat that is no number": beats(lambda times: [*times[:-1], float("nan")]),
    "a beat of next year": beats(lambda times: [*times[:-1], 1e12]),
    "a word for a beat": beats(lambda times: [*times[:-1], "last"]),
    "a piece that begins with a word": lambda receipt: passages(receipt)[1].update(begins="off"),
    "a piece in another place": lambda receipt: passages(receipt)[1].update(speed=1.1),
}


@pytest.mark.parametrize("case", SPOILT)
def test_spoilt_beats_or_pieces_in_a_receipt_are_told_in_one_line(receipt_path: Path, case: str) -> None:
    receipt = json.loads(receipt_path.read_text(encoding="utf-8"))
    SPOILT[case](receipt)
    with pytest.raises(UsageError, match="not a receipt: its plan or its facts are damaged"):
        from_receipt(receipt_path, json.dumps(receipt).encode())
