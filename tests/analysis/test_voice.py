"""In which bars somebody sings or speaks, as precision and recall over bars.

The singers are formants over a glottal source; the speech is espeak-ng's.
"""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from render.analysis.voice import VoiceListener, voice_bars
from render.demo.records import RECORDS
from render.values import Grid
from tests.analysis.heard_records import bars_in, hear, record, sound_of, voice_features_of

SENTENCES = (
    "Turn the lamp down and leave the kettle on the stove.",
    "Nobody counted the barrels before the tide came in.",
    "Seven grey horses walked along the harbour wall.",
    "We were never told who paid for the music.",
)


def precision_and_recall(said: set[int], truth: set[int]) -> tuple[float, float]:
    hits = len(said & truth)
    return hits / max(len(said), 1), hits / max(len(truth), 1)


def sung_bars(name: str) -> set[int]:
    grid = record(name).grid
    spans = [(round(grid.beat_at(a) / 4), round(grid.beat_at(b) / 4)) for a, b in record(name).voice_s]
    return {bar + 1 for first, last in spans for bar in range(first, last)}


def test_the_demo_singer_is_found_and_hardly_anything_else() -> None:
    said, truth = set(), set()
    for number, each in enumerate(RECORDS):
        if each.bass_tone == "growl":
            continue  # the next test
        voiced = voice_bars(voice_features_of(each.name), bars_in(each.name)).voiced
        said |= {1_000 * number + int(bar) + 1 for bar in np.flatnonzero(voiced)}
        truth |= {1_000 * number + bar for bar in sung_bars(each.name)}
    precision, recall = precision_and_recall(said, truth)
    assert precision >= 0.8
    assert recall >= 0.8


def test_a_growling_bass_that_passes_for_a_voice_is_told_with_little_confidence() -> None:
    growl = voice_bars(voice_features_of("ironworks"), bars_in("ironworks"))
    sung = voice_bars(voice_features_of("thimbleyard"), bars_in("thimbleyard"))
    singing = np.array(sorted(sung_bars("thimbleyard"))) - 1
    assert growl.voiced.any()
    assert np.mean(growl.voiced) < 0.15
    assert growl.confidence[growl.voiced].mean() < sung.confidence[singing].mean()


def test_bars_without_a_voice_are_sure_where_only_drums_play() -> None:
    quarrybread = record("quarrybread")
    bars = voice_bars(voice_features_of("quarrybread"), bars_in("quarrybread"))
    drums = slice(quarrybread.bar_of("drums") - 1, quarrybread.bar_of("drums") + 15)
    assert bars.value[drums].max() < 0.1
    assert bars.confidence[drums].min() > 0.5


def test_confidence_is_least_at_the_threshold() -> None:
    bars = voice_bars(voice_features_of("thimbleyard"), bars_in("thimbleyard"))
    assert np.all((bars.confidence >= 0) & (bars.confidence <= 1))
    near = np.argmin(bars.confidence)
    assert bars.confidence[near] < np.median(bars.confidence)


def test_what_is_heard_does_not_depend_on_the_blocks() -> None:
    sound, rate_hz = sound_of("thimbleyard")
    part = sound[12 * rate_hz : 80 * rate_hz]  # more than two pieces
    whole, cut = (hear(VoiceListener(rate_hz), part, block).likely for block in (65_536, 20_011))
    assert len(whole) == len(cut) == pytest.approx(6_800, abs=2)
    np.testing.assert_allclose(whole, cut, atol=1e-3)


def test_silence_and_nothing_have_no_voice() -> None:
    assert hear(VoiceListener(44_100), np.zeros((88_200, 2), np.float32)).likely.max() < 0.1
    assert len(hear(VoiceListener(44_100), np.zeros((0, 2), np.float32)).likely) == 0


@pytest.mark.debian
@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="the Debian package espeak-ng is not installed")
@pytest.mark.parametrize("voice", ["en+f3", "en+m3"])
def test_speech_over_drums_is_found(tmp_path: Path, voice: str) -> None:
    """Sentences over every other four bars of a drum section, 3 dB below the drums."""
    sound, rate_hz = sound_of("ironworks")
    ironworks = record("ironworks")
    start = round(ironworks.drums_s[0] * rate_hz)
    drums = sound[start : round((ironworks.drums_s[1] + 0.1) * rate_hz)].copy()
    grid = Grid(0.0, ironworks.tempo_bpm)
    speech = np.concatenate([_spoken(text, tmp_path, voice, rate_hz) for text in SENTENCES] * 2)
    speech *= np.std(drums) / np.std(speech) * 10 ** (-3 / 20)
    truth = {bar for bar in range(1, 17) if (bar - 1) % 8 >= 4}
    at = 0
    for first in (5, 13):
        begin, end = (round(grid.time_s(4 * (bar - 1)) * rate_hz) for bar in (first, first + 4))
        drums[begin:end] += speech[at : at + end - begin, None]
        at += end - begin
    assert at <= len(speech)
    features = hear(VoiceListener(rate_hz), drums)
    bars = bars_in("ironworks")
    edges = bars.beat_edges_s[:65] - bars.beat_edges_s[0]
    said = {int(bar) + 1 for bar in np.flatnonzero(voice_bars(features, type(bars)(edges, 4)).voiced)}
    precision, recall = precision_and_recall(said, truth)
    assert precision >= 0.8
    assert recall >= 0.8


def _spoken(text: str, folder: Path, voice: str, rate_hz: int) -> np.ndarray:
    path = folder / "spoken.wav"
    subprocess.run(["espeak-ng", "-v", voice, "-w", str(path), text], check=True, timeout=30)
    spoken, spoken_hz = soundfile.read(path, dtype="float32")
    loud = np.flatnonzero(np.abs(spoken) > 0.01)
    return soxr.resample(spoken[loud[0] : loud[-1]], spoken_hz, rate_hz)
