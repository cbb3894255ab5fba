"""The same record in every format: its drop lies where that of the WAV file lies."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from attack_lag import Beat, Heard
from outside_meter import ffmpeg
from recorded_material import LOOPS, RATE_HZ, Clip, Sound, clip_of, track_lines, write_recipe
from scipy import signal

from tests.cases import first_of

pytestmark = pytest.mark.debian

LOOP = LOOPS["loop_compus"]
DROP_BEAT = 32
WITHIN_MS = 1.0

FORMATS = {
    "wav": ("take.wav", []),
    "flac": ("take.flac", []),
    "vorbis": ("take.ogg", ["-c:a", "libvorbis", "-q:a", "6"]),
    "opus": ("take.opus", ["-c:a", "libopus", "-b:a", "160k"]),
    "mp3": ("take.mp3", ["-c:a", "libmp3lame", "-b:a", "192k"]),
    "mp3 without a gapless header": (
        "take.mp3",
        ["-c:a", "libmp3lame", "-b:a", "192k", "-write_xing", "0", "-id3v2_version", "0"],
    ),
    "m4a": ("take.m4a", ["-c:a", "aac", "-b:a", "256k"]),
}


@pytest.fixture(scope="module")
def original(loop_folder) -> Sound:
    return LOOP.tiled(loop_folder)


def layered_with_itself(folder: Path, original: Sound, form: str, tempo_bpm: float) -> Clip:
    """The record in one format, heard, over the same as WAV, turned down."""
    wav = folder / "original.wav"
    soundfile.write(wav, original, RATE_HZ, subtype="PCM_16")
    name, arguments = FORMATS[form]
    ffmpeg("-v", "error", "-i", wav, *arguments, folder / name)
    marker = f"{{drop: bar {DROP_BEAT // 4 + 1}}}"
    tracks = (
        track_lines("original", wav, LOOP.tempo_bpm, 0.0, markers=marker, gain="-60 dB"),
        track_lines("take", folder / name, LOOP.tempo_bpm, 0.0, markers=marker),
    )
    return clip_of(write_recipe(folder, *tracks, rest=f"tempo: {tempo_bpm:.9f}"))


@pytest.mark.parametrize("form", first_of(["flac", "opus", "mp3 without a gapless header"], FORMATS))
def test_a_record_of_any_format_lands_where_its_wav_lands(tmp_path, original, form: str):
    """At its own tempo nothing is stretched, so the waveforms themselves are compared, around the landing.

    The tolerance is what a landing may be off by; only a decoder's start is at stake, and it is 25 ms if forgotten.
    """
    clip = layered_with_itself(tmp_path, original, form, LOOP.tempo_bpm)
    audio, rate_hz = clip.sound()
    assert rate_hz == RATE_HZ
    reach, half = 2_000, RATE_HZ // 2
    landing = round(clip.landing_s * rate_hz)
    drop = round(DROP_BEAT * LOOP.beat_s * RATE_HZ)
    heard = audio[landing - half - reach : landing + half + reach].mean(axis=1)
    match = signal.correlate(heard, original[drop - half : drop + half].mean(axis=1), "valid")
    late_ms = (int(np.argmax(match)) - reach) * 1000 / rate_hz
    assert late_ms == pytest.approx(0.0, abs=WITHIN_MS)

    told = [finding for finding in clip.receipt["findings"] if finding["code"] == "start-delay"]
    assert [finding["track"] for finding in told] == (["take"] if "without" in form else [])


@pytest.mark.slow
@pytest.mark.parametrize("form", FORMATS)
def test_a_record_of_any_format_lands_at_another_tempo_too(tmp_path, original, form: str):
    tempo_bpm = LOOP.tempo_bpm * 0.97
    clip = layered_with_itself(tmp_path, original, form, tempo_bpm)
    audio, rate_hz = clip.sound()
    heard = Heard(audio.mean(axis=1), rate_hz, original.mean(axis=1), RATE_HZ, 0.97)
    assert heard.lags([Beat(clip.landing_s, DROP_BEAT * LOOP.beat_s)]).beats[0] == pytest.approx(
        0.0, abs=WITHIN_MS
    )
    assert clip.receipt["tracks"][1]["landing_error_ms"] == pytest.approx(0.0, abs=WITHIN_MS)
