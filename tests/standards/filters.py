"""How filters are measured: by what they make of an impulse."""

import numpy as np

from render.values import Audio

FRAMES = 88_200
"""Two seconds: a hundred times as long as the low cut rings."""


def impulse() -> Audio:
    audio = np.zeros((FRAMES, 1), np.float32)
    audio[FRAMES // 2] = 1.0
    return audio


def attenuation_db(response: Audio, frequency_hz: float, rate_hz: int) -> float:
    """Of an impulse response, by the Fourier sum at one frequency."""
    turns = np.exp(-2j * np.pi * frequency_hz / rate_hz * np.arange(FRAMES))
    return -20 * float(np.log10(np.abs(np.sum(response[:, 0] * turns))))


def bent_hz(ratio: float, corner_hz: float, rate_hz: int) -> float:
    """Where a digital filter does what the analogue one does at `ratio` times the corner.

    The bilinear transform puts tan(π·f/rate) in place of f: A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal
    Processing.
    """
    return float(rate_hz / np.pi * np.arctan(ratio * np.tan(np.pi * corner_hz / rate_hz)))
