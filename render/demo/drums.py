"""The drums: what is hit when, and how each hit sounds.

Every hit begins on its first frame, so that where a hit is placed is where it is heard. Kicks stand on straight
eighths; what falls on an off sixteenth is swung.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy.signal as dsp

from render.demo.score import BEATS_PER_BAR, RATE_HZ, Groove, Part
from render.values import Audio, db_to_gain

STEPS_PER_BAR = 16
STEP_DB = {"X": 0.0, "x": -4.0, "o": -11.0}
PHRASE_BARS = 8
"""The last bar of every phrase is a fill."""

_Bars = tuple[str, ...]

GROOVES: dict[Groove, dict[Part, _Bars]] = {
    "breaks": {
        "kick": ("X.........X.....", "X.........X.....", "X.........X.....", "X.....x...X....."),
        "snare": ("....X..o.o..X..o", "....X..o.o..X...", "....X..o.o..X..o", "....X..o....X.o."),
        "hats": ("x.o.x.o.x.o.x.oo", "x.o.x.oox.o.x.o."),
        "ride": ("X...x...X...x...",),
    },
    "stepper": {
        "kick": ("X.....x...X.....", "X.....x...X...x."),
        "snare": ("....X.......X..o", "....X.....o.X..."),
        "hats": ("o.x.o.x.o.x.o.xo", "o.x.o.x.o.xoo.x."),
        "ride": ("x.x.x.x.x.x.x.x.",),
    },
    "two-step": {
        "kick": ("X.........X.....", "X.....x...X....."),
        "snare": ("....X.......X...", "....X..o....X..o"),
        "hats": ("o.xoo.xoo.xoo.xo", "o.xo.oxoo.xoo.xx"),
        "ride": ("..x...x...x...x.",),
    },
    "four-floor": {
        "kick": ("X...X...X...X...",),
        "snare": ("....X.......X...", "....X.......X..o"),
        "hats": ("o.xoo.xoo.xoo.xo",),
        "ride": ("x.x.x.x.x.x.x.x.",),
        "metal": ("...X..x....X..x.", "...X..x.x..X...x", "...X..x....X..x.", ".x.X..x.x..X.xx."),
    },
    "head-nod": {
        "kick": ("X.....x...X.....", "X.........X...x."),
        "snare": ("....X.......X...", "....X..o....X..o"),
        "hats": ("x.xox.x.x.xox.xo", "x.xox.xox.x.x.xo"),
        "ride": ("x...x...x...x...",),
    },
}
FILL = "....X..oX.x.XxXX"
LAST_FILL = "X.x.X.xxX.xxXXXX"
"""A fill replaces the snare's bar; the last bar of a section has the longer one."""

OFF_HAT_STEPS = {"four-floor": 4, "two-step": 4}
"""Grooves whose hat opens on the off-beat: every so many steps, two after the beat."""

RUMBLE_FILTER = dsp.butter(1, 22.0, "highpass", fs=RATE_HZ, output="sos")
"""Takes what is too low to hear, and any offset, out of the kick."""


@dataclass(frozen=True)
class Hit:
    """One stroke: `beat` counts from the section's start, `take` says which of a drum's takes it is."""

    drum: str
    beat: float
    gain: float
    take: int


def step_beat(step: int, swing: float) -> float:
    """The beat of a sixteenth in its bar; the off ones lie at `swing` of their eighth."""
    return step / 4 if step % 2 == 0 else (step - 1) / 4 + swing / 2


def section_hits(groove: Groove, swing: float, parts: tuple[Part, ...], bars: int) -> Iterator[Hit]:
    """Every stroke of a section, in the order of the parts."""
    for part, patterns in GROOVES[groove].items():
        if part not in parts:
            continue
        for bar in range(bars):
            pattern = patterns[bar % len(patterns)]
            if part == "snare" and (bar + 1) % PHRASE_BARS == 0:
                pattern = LAST_FILL if bar + 1 == bars else FILL
            for step, mark in enumerate(pattern):
                if mark == ".":
                    continue
                opens = part == "hats" and step % OFF_HAT_STEPS.get(groove, STEPS_PER_BAR + 1) == 2
                beat = bar * BEATS_PER_BAR + step_beat(step, swing)
                yield Hit("open hat" if opens else part, beat, db_to_gain(STEP_DB[mark]), step + bar)


def roll_hits(bars: int) -> Iterator[Hit]:
    """A snare roll over a build: quarters, eighths, sixteenths, thirty-seconds, and a beat of nothing."""
    beats = bars * BEATS_PER_BAR
    beat = 0.0
    while beat < beats - 1:
        done = beat / beats
        yield Hit("snare", beat, db_to_gain(-20.0 + 17.0 * done), int(beat * 8))
        beat += 1.0 if done < 0.5 else 0.5 if done < 0.75 else 0.25 if done < 0.875 else 0.125


def drum_kit(rng: np.random.Generator) -> dict[str, tuple[Audio, ...]]:
    """Every drum's takes, each `(frames, 2)`."""
    return {
        "kick": (_kick(rng),),
        "snare": tuple(_snare(rng) for _ in range(2)),
        "hats": tuple(_hat(rng, 0.028, pan) for pan in (0.42, 0.5, 0.58)),
        "open hat": (_hat(rng, 0.11, 0.46),),
        "ride": tuple(_hat(rng, 0.2, pan, low_hz=5_000.0) * np.float32(0.6) for pan in (0.62, 0.66)),
        "metal": tuple(_metal(hz, pan) for hz, pan in ((613.0, 0.3), (745.0, 0.7), (521.0, 0.55))),
        "crash": (_crash(rng),),
    }


def _time_s(length_s: float) -> Audio:
    return np.arange(round(length_s * RATE_HZ), dtype=np.float32) / np.float32(RATE_HZ)


def _ending(sound: Audio, fade_s: float = 0.01) -> Audio:
    """Bring the last moments of a mono sound to nothing, so that it does not end in a click."""
    fade = round(fade_s * RATE_HZ)
    sound[-fade:] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
    return sound


def _panned(sound: Audio, pan: float) -> Audio:
    """A mono sound as `(frames, 2)` at constant power; 0 is left, 1 is right."""
    sides = np.array([np.cos(pan * np.pi / 2), np.sin(pan * np.pi / 2)], dtype=np.float32)
    return np.asarray(sound[:, None] * sides * np.float32(np.sqrt(2.0)), dtype=np.float32)


def noise_band(rng: np.random.Generator, frames: int, low_hz: float, high_hz: float | None = None) -> Audio:
    """White noise above `low_hz`, and below `high_hz` if that is given; `(frames,)`, about 1 RMS."""
    band = [low_hz, high_hz] if high_hz else low_hz
    sections = dsp.butter(2, band, "bandpass" if high_hz else "highpass", fs=RATE_HZ, output="sos")
    noise = dsp.sosfilt(sections, rng.standard_normal(frames, dtype=np.float32))
    return np.asarray(noise / np.std(noise), dtype=np.float32)


def _kick(rng: np.random.Generator) -> Audio:
    """A sine that falls from 210 to 50 Hz within some hundredths of a second, and the beater's click."""
    time_s = _time_s(0.3)
    fall_s = 0.024
    cycles = 50.0 * time_s + 160.0 * fall_s * (1.0 - np.exp(-time_s / fall_s))
    body = np.sin(2 * np.pi * cycles) * np.exp(-time_s / 0.13)
    click = noise_band(rng, time_s.size, 1_500.0, 9_000.0) * np.exp(-time_s / 0.0025)
    click[0] = 1.0  # the first frame already sounds, whatever the noise happens to start with
    struck = dsp.sosfilt(RUMBLE_FILTER, np.tanh(1.6 * body) + 0.16 * click)
    return _panned(_ending(np.asarray(struck, dtype=np.float32), 0.08), 0.5)


def _snare(rng: np.random.Generator) -> Audio:
    """Two modes of a skin and the wires below it; nothing under 150 Hz."""
    time_s = _time_s(0.26)
    skin = np.sin(2 * np.pi * 205.0 * time_s) * np.exp(-time_s / 0.055)
    skin += 0.7 * np.sin(2 * np.pi * 338.0 * time_s) * np.exp(-time_s / 0.035)
    wires = noise_band(rng, time_s.size, 600.0, 10_000.0) * np.exp(-time_s / 0.075)
    mono = dsp.sosfilt(dsp.butter(3, 150.0, "highpass", fs=RATE_HZ, output="sos"), 0.62 * skin + 0.42 * wires)
    side = noise_band(rng, time_s.size, 2_500.0) * np.exp(-time_s / 0.05) * 0.06
    return np.stack([_ending(np.asarray(mono + sign * side, np.float32)) for sign in (1, -1)], axis=1)


def _hat(rng: np.random.Generator, decay_s: float, pan: float, low_hz: float = 7_500.0) -> Audio:
    time_s = _time_s(5 * decay_s)
    noise = noise_band(rng, time_s.size, low_hz) * np.exp(-time_s / decay_s) * 0.3
    return _panned(_ending(np.asarray(noise, dtype=np.float32), 0.005), pan)


def _metal(base_hz: float, pan: float) -> Audio:
    """A struck bar: the first modes of a free bar, whose ratios make no chord.

    Ratios 1, 2.756, 5.404, 8.933: Fletcher and Rossing, The Physics of Musical Instruments, chapter on bars
    (from memory).
    """
    time_s = _time_s(0.35)
    modes = ((1.0, 0.09), (2.756, 0.06), (5.404, 0.04), (8.933, 0.02))
    sound = sum(np.sin(2 * np.pi * base_hz * k * time_s) * np.exp(-time_s / decay) for k, decay in modes)
    return _panned(_ending(np.asarray(0.3 * np.asarray(sound), dtype=np.float32)), pan)


def _crash(rng: np.random.Generator) -> Audio:
    time_s = _time_s(2.4)
    sides = [noise_band(rng, time_s.size, 3_500.0) * np.exp(-time_s / 0.55) * 0.3 for _ in range(2)]
    return np.stack([_ending(np.asarray(side, dtype=np.float32), 0.3) for side in sides], axis=1)
