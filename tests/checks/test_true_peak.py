"""The true peak is that of the whole signal, although only parts of it are interpolated."""

import math

import numpy as np
import pytest
from scipy import signal

from render.checks.true_peak import BLOCK, CHUNK, sample_peak_dbfs, true_peak_dbtp
from render.values import Audio


def interpolated_everywhere_dbtp(audio: Audio) -> float:
    return 20 * math.log10(np.abs(signal.resample_poly(audio, 4, 1, axis=0)).max())


def noise(seed: int, frames: int, level: float = 0.2) -> Audio:
    return (level * np.random.default_rng(seed).standard_normal((frames, 2))).astype(np.float32)


def drums(seed: int, drive: float) -> Audio:
    """Kicks, noise bursts and a bass note, pressed against full scale."""
    time_s = np.arange(5 * 44_100) / 44_100
    since_kick_s = time_s % 0.345
    kick = np.sin(2 * np.pi * (50 * since_kick_s + 4 * (1 - np.exp(-40 * since_kick_s)))) * np.exp(
        -12 * since_kick_s
    )
    snare = 0.6 * noise(seed, len(time_s), 1.0)[:, 0] * np.exp(-20 * ((time_s - 0.345) % 0.69))
    bass = 0.4 * np.sin(2 * np.pi * 55 * time_s)
    return np.tanh(drive * np.stack([kick + snare + bass, kick - snare + bass], axis=1)).astype(np.float32)


SIGNALS: dict[str, Audio] = {
    "drums": drums(1, 0.8),
    "pressed drums": drums(2, 2.0),
    "smashed drums": drums(3, 8.0),
    "noise": noise(4, 300_000),
    "clipped noise": np.clip(noise(5, 300_000, 1.0), -0.5, 0.5),
    "one sample": np.pad(np.ones((1, 2), np.float32), ((70_000, 9_999), (0, 0))),
    "shorter than a block": noise(6, BLOCK // 3),
    "alternating": (np.tile([[0.7], [-0.7]], (40_000, 2)) * np.hanning(80_000)[:, None]).astype(np.float32),
}


@pytest.mark.parametrize("name", SIGNALS)
def test_what_is_passed_over_never_holds_the_peak(name: str) -> None:
    audio = SIGNALS[name]
    # Rounding of float32 sums alone: a few parts in ten million, 1e-5 dB.
    assert true_peak_dbtp(audio) == pytest.approx(interpolated_everywhere_dbtp(audio), abs=1e-5)


@pytest.mark.parametrize("seam", [BLOCK, 5 * BLOCK, CHUNK, 2 * CHUNK])
@pytest.mark.parametrize("offset", [-3, -2, -1, 0, 1])
def test_a_peak_between_two_blocks_is_found(seam: int, offset: int) -> None:
    audio = np.zeros((3 * CHUNK, 1), np.float32)
    audio[10:20] = 0.5
    audio[seam + offset : seam + offset + 2] = 0.5  # the sinc pulses of two equal samples meet above both
    reading = true_peak_dbtp(audio)
    assert reading == pytest.approx(interpolated_everywhere_dbtp(audio), abs=1e-5)


@pytest.mark.parametrize("seam", [BLOCK, 9 * BLOCK, CHUNK, 2 * CHUNK])
def test_a_peak_in_a_silent_block_just_before_a_loud_one_is_found(seam: int) -> None:
    """Samples that start to alternate at full swing overshoot before the first of them, where all samples are 0."""
    audio = np.zeros((3 * CHUNK, 1), np.float32)
    audio[seam : seam + 40, 0] = 0.5 * (-1.0) ** np.arange(40) * np.linspace(1.0, 0.0, 40)
    finer = np.abs(signal.resample_poly(audio, 4, 1, axis=0))
    assert int(np.argmax(finer)) < 4 * seam
    assert true_peak_dbtp(audio) == pytest.approx(20 * math.log10(finer.max()), abs=1e-5)


def test_short_random_signals_read_the_same_either_way() -> None:
    random = np.random.default_rng(7)
    for _ in range(200):
        frames, sharpness = random.integers(200, 2_000), random.integers(1, 40)
        wave = random.random() * random.standard_normal(frames) * np.hanning(frames) ** sharpness
        audio = wave[:, None].astype(np.float32)
        assert true_peak_dbtp(audio) == pytest.approx(interpolated_everywhere_dbtp(audio), abs=1e-5)


def test_the_highest_channel_counts() -> None:
    loud = SIGNALS["drums"][:, 1:]
    quiet = np.float32(0.1) * SIGNALS["drums"][:, :1]
    both = np.concatenate([quiet, loud], axis=1)
    assert true_peak_dbtp(both) == true_peak_dbtp(loud)
    assert sample_peak_dbfs(both) == sample_peak_dbfs(loud)


def test_a_sample_peak_is_the_largest_magnitude() -> None:
    assert sample_peak_dbfs(np.array([[0.25], [-0.5], [0.1]], np.float32)) == pytest.approx(-6.0206, abs=1e-4)


@pytest.mark.parametrize("read", [true_peak_dbtp, sample_peak_dbfs])
def test_silence_has_no_peak(read) -> None:  # type: ignore[no-untyped-def]
    assert read(np.zeros((1000, 2), np.float32)) is None
    assert read(np.zeros((0, 2), np.float32)) is None


@pytest.mark.parametrize("read", [true_peak_dbtp, sample_peak_dbfs])
@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_samples_that_are_no_numbers_are_refused(read, value: float) -> None:  # type: ignore[no-untyped-def]
    audio = noise(1, 1000)
    audio[500, 1] = value
    with pytest.raises(ValueError, match="no numbers"):
        read(audio)
