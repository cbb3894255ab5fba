"""Does an engine keep time here? Clicks over a drone, stretched, against the same plainly resampled."""

import numpy as np

from render.sound.engine import Engine
from render.sound.onsets import onset_lags_ms
from render.sound.stretch import stretched_beside_plain
from render.values import Audio, Frames, nearest_frame

RATE_HZ = 44_100
TEMPO_BPM = 170.0
BEATS = 24
SPEEDS = (0.94, 1.024, 1.06)
"""Slower and faster than the record, as far as a tempo change goes without a warning, and a usual one."""
LIMIT_MS = 1.0
"""What a landing may be off by."""


def click_test_ms(engine: Engine) -> float:
    """The worst deviation of any click at any of SPEEDS, in milliseconds; infinite where a click is lost."""
    worst = 0.0
    audio, beats = _clicks()
    for speed in SPEEDS:
        heard, plain = stretched_beside_plain(audio, RATE_HZ, speed, 0.0, engine)
        lags = onset_lags_ms(heard, plain, RATE_HZ, [beat / speed for beat in beats[1:-1]])
        worst = max([worst, *(float("inf") if lag is None else abs(lag) for lag in lags)])
    return worst


def _clicks() -> tuple[Audio, list[Frames]]:
    """A click on every beat, each a 5 ms burst that decays, over a quiet fifth; (frames, 1), and where they are."""
    beats = [nearest_frame((beat + 1) * 60.0 / TEMPO_BPM * RATE_HZ) for beat in range(BEATS)]
    time_s = np.arange(beats[-1] + RATE_HZ // 2) / RATE_HZ
    sound = 0.05 * (np.sin(2 * np.pi * 110.0 * time_s) + np.sin(2 * np.pi * 165.0 * time_s))
    burst_s = np.arange(nearest_frame(0.005 * RATE_HZ)) / RATE_HZ
    burst = 0.5 * np.exp(-burst_s / 0.001) * np.random.default_rng(1).uniform(-1.0, 1.0, len(burst_s))
    for beat in beats:
        sound[beat : beat + len(burst)] += burst
    return sound.astype(np.float32)[:, None], beats
