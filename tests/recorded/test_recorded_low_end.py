"""Two recorded loops with a kick each: whether the low end is shared is told as it is, and a cut settles it."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
from recorded_material import LOOPS, RATE_HZ, Loop, Sound, clip_of, track_lines, write_recipe
from scipy import signal

pytestmark = pytest.mark.debian

ALWAYS, HALF = LOOPS["loop_industrial"], LOOPS["loop_compus"]
"""A low end in every beat, and a kick in two beats of four."""
TEMPO_BPM = 142.0
KEEP = "low_cut: {below: 150 Hz, keep: [{from: start, track: loop_compus}, {from: landing, track: loop_industrial}]}"


@pytest.fixture
def recipe(tmp_path, loop_folder) -> Path:
    """Both loops without a cut; a variant with it, and variants that turn one of them down."""
    tracks = []
    for loop in (ALWAYS, HALF):
        soundfile.write(tmp_path / f"{loop.name}.wav", loop.tiled(loop_folder), RATE_HZ, subtype="PCM_16")
        file = tmp_path / f"{loop.name}.wav"
        tracks.append(track_lines(loop.name, file, loop.tempo_bpm, 0.0, markers="{drop: bar 9}"))
    rest = (
        f"tempo: {TEMPO_BPM}\ntry:\n  cut: {{{KEEP}}}\n"
        f"  cut-industrial: {{{KEEP}, tracks: {{loop_compus: {{gain: -60 dB}}}}}}\n"
        f"  cut-compus: {{{KEEP}, tracks: {{loop_industrial: {{gain: -60 dB}}}}}}\n"
    )
    return write_recipe(tmp_path, *tracks, rest=rest)


def low_levels_db(sound: Sound, rate_hz: int, beat_frames: float) -> np.ndarray:
    """The level below 100 Hz of each beat."""
    low = signal.sosfiltfilt(signal.butter(4, 100.0, fs=rate_hz, output="sos"), sound.mean(axis=1))
    bounds = [round(beat * beat_frames) for beat in range(int(len(low) / beat_frames) + 1)]
    return np.array([10 * np.log10(np.mean(low[a:b] ** 2) + 1e-12) for a, b in pairwise(bounds)])


def carries_low_end(loop: Loop, folder: Path) -> np.ndarray:
    """Of each beat of a loop, whether it has a low end: within 12 dB of the strongest beat."""
    levels = low_levels_db(loop.sound(folder), RATE_HZ, loop.frames / loop.beats)
    return levels > levels.max() - 12


@pytest.mark.slow
def test_the_share_of_beats_with_two_low_ends_is_that_of_the_recordings(recipe, loop_folder):
    """One beat of the 32 either way, since a kick that rings into the next beat may count there or not."""
    assert carries_low_end(ALWAYS, loop_folder).all()
    share = carries_low_end(HALF, loop_folder).mean()
    assert share == 0.5
    clip = clip_of(recipe)
    assert clip.receipt["low_end_overlap"] == pytest.approx(share, abs=1.5 / 32)
    assert "low-end-overlap" in clip.codes("warning")


def test_a_cut_leaves_one_low_end_and_the_receipt_says_so(recipe):
    clip = clip_of(recipe, variant="cut")
    assert clip.receipt["low_end_overlap"] <= 1.5 / 32
    assert "low-end-overlap" not in clip.codes("warning")


@pytest.mark.parametrize(("name", "kept_after"), [("industrial", True), ("compus", False)])
def test_the_low_end_of_a_loop_is_gone_from_the_clip_where_it_is_cut(recipe, name: str, kept_after: bool):
    """What a cut at 150 Hz leaves below 100 Hz: by 1 - 1/(1 + (f/fc)^4) 15.7 dB less at 100 Hz and 32 at 60 Hz.

    Loud beats against loud beats, the beat on either side of the change left out.
    """
    clip = clip_of(recipe, variant=f"cut-{name}")
    audio, rate_hz = clip.sound()
    levels = low_levels_db(audio, rate_hz, 60 / TEMPO_BPM * rate_hz)
    before, after = levels[1:15].max(), levels[17:31].max()
    assert (after - before if kept_after else before - after) >= 15.7
