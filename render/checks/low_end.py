"""The low end: does only one lane at a time carry it, and is it still there in mono?

Conventions
-----------
- The low end is what `render.sound.low_cut.low_band` keeps below a frequency: the corner of the low cut where mono
  is asked about, two thirds of it where lanes are compared.
- Lanes are judged as they enter the mix: at their gain, cut and faded.
- A beat lasts from its frame to the next one in the list.

Neither question needs more than a few kHz of rate, so the sound is averaged down first.
"""

import math
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from render.sound.low_cut import low_band
from render.values import Audio

RATE_PER_CORNER = 32
"""The reduced rate, in corners. Averaging D frames lets what lies around rate/D through into the low end at
1/32 of its amplitude (−30 dB) at the corner and at less below; music has far less up there to begin with."""

COMPARED_BELOW = 2 / 3
"""Lanes are compared below this part of the corner. Around the corner a cut lane still sounds, by the slope of the
cut: −6 dB at the corner itself. Weighted like this, no tone of a cut lane is left at more than −20.5 dB."""

RIVAL_DB = -12.0
"""A lane's low end counts from this level on against the strongest lane of the same beat. A fainter one, a quarter
of the amplitude, moves the sum by no more than 20·log10(1 ± 1/4) = +1.9 or −2.5 dB even where the two are in step;
and what is left of a cut lane stays below."""

AUDIBLE_DB = -24.0
"""... and from this level on against the loudest beat of the clip: twice the step above. Where all lanes are fainter
than that, in a breakdown say, nothing competes with anything."""

SILENCE_POWER = 1e-12
"""Mean square below which there is no low end at all: −120 dBFS."""

MONO_LOSS_LIMIT_DB = 60.0
"""A larger loss is read as this one; nothing is left either way."""


def low_end_overlap(
    lanes: Mapping[str, Audio], rate_hz: int, corner_hz: float, beat_frames: Sequence[int]
) -> float | None:
    """Share, 0 to 1, of beats in which two or more lanes carry low end that competes.

    Lanes are (frames, channels) and start together; beats are bounded by `beat_frames`, rising, one more than
    there are beats. None where nothing can overlap: fewer than two lanes, no beat, no low end.
    """
    if len(lanes) < 2 or len(beat_frames) < 2:
        return None
    below_hz = COMPARED_BELOW * corner_hz
    powers = np.stack([_beat_powers(lane, rate_hz, below_hz, beat_frames) for lane in lanes.values()])
    loudest = float(powers.max())
    if loudest < SILENCE_POWER:
        return None
    audible = powers >= loudest * 10.0 ** (AUDIBLE_DB / 10.0)
    rivals = powers >= powers.max(axis=0) * 10.0 ** (RIVAL_DB / 10.0)
    return float(np.mean(np.sum(audible & rivals, axis=0) >= 2))


def low_mono_loss_db(mix: Audio, rate_hz: int, corner_hz: float) -> float | None:
    """By how many dB the low end of `mix` (frames, channels) falls when its channels are averaged to one.

    0.0 where the channels agree, 3.0 where two have nothing in common, up to MONO_LOSS_LIMIT_DB where they
    cancel; None where there is no low end.
    """
    low, _ = _reduced_low_band(mix, rate_hz, corner_hz)
    power = _mean_square(low)
    if power < SILENCE_POWER:
        return None
    mono_power = _mean_square(low.mean(axis=1, keepdims=True))
    if mono_power <= power * 10.0 ** (-MONO_LOSS_LIMIT_DB / 10.0):
        return MONO_LOSS_LIMIT_DB
    return max(0.0, 10.0 * math.log10(power / mono_power))


def _beat_powers(
    lane: Audio, rate_hz: int, below_hz: float, beat_frames: Sequence[int]
) -> npt.NDArray[np.float64]:
    """Mean square of the low end in each beat, the mean of all channels."""
    low, averaged = _reduced_low_band(lane, rate_hz, below_hz)
    bounds = np.clip(np.asarray(beat_frames) // averaged, 0, len(low))
    energy = np.concatenate([[0.0], np.cumsum(np.mean(low.astype(np.float64) ** 2, axis=1))])
    powers: npt.NDArray[np.float64] = np.diff(energy[bounds]) / np.maximum(np.diff(bounds), 1)
    return powers


def _reduced_low_band(audio: Audio, rate_hz: int, below_hz: float) -> tuple[Audio, int]:
    """The low band at a reduced rate, and how many frames were averaged into one."""
    averaged, channels = max(1, int(rate_hz / (RATE_PER_CORNER * below_hz))), audio.shape[1]
    frames = len(audio) // averaged
    each = np.tile(np.eye(channels, dtype=np.float32) / np.float32(averaged), (averaged, 1))
    reduced = audio[: frames * averaged].reshape(frames, averaged * channels) @ each
    return low_band(reduced, rate_hz // averaged, below_hz), averaged


def _mean_square(audio: Audio) -> float:
    return float(np.mean(np.square(audio, dtype=np.float64))) if audio.size else 0.0
