"""The instruments of the synthetic records: every sound begins on its first frame.

They are made for this yardstick alone and share nothing with the invented records of the demo, so that the ears are
not tested against the sounds they may have been built beside. Each kit and each bass draws its own pitches, decays
and brightness, as records do.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import signal

RATE_HZ = 44_100

Mono = npt.NDArray[np.float32]
"""Shape (frames,)."""

A4_HZ = 440.0
"""ISO 16:1975, standard tuning frequency."""
A4_NOTE = 69

VOWELS_HZ = {
    "ah": ((730.0, 1090.0, 2440.0), (850.0, 1220.0, 2810.0)),
    "eh": ((530.0, 1840.0, 2480.0), (610.0, 2330.0, 2990.0)),
    "ee": ((270.0, 2290.0, 3010.0), (310.0, 2790.0, 3310.0)),
    "aw": ((570.0, 840.0, 2410.0), (590.0, 920.0, 2710.0)),
    "oo": ((300.0, 870.0, 2240.0), (370.0, 950.0, 2670.0)),
}
"""Formants of vowels, men's and women's: Peterson and Barney, Control methods used in a study of the vowels, J. Acoust.
Soc. Am. 24 (1952), table II."""
UPPER_FORMANTS_HZ = (3_600.0, 4_700.0)
WIDTHS_HZ = (80.0, 100.0, 130.0, 200.0, 260.0)
WOMEN_FROM_HZ = 200.0
"""Sung lower than this, a vowel is a man's."""


def note_hz(note: float) -> float:
    """Equal temperament: a twelfth of an octave a semitone, from A4."""
    return float(A4_HZ * 2.0 ** ((note - A4_NOTE) / 12.0))


def _time_s(length_s: float) -> npt.NDArray[np.float64]:
    return np.arange(max(1, round(length_s * RATE_HZ))) / RATE_HZ


def _mono(sound: npt.ArrayLike) -> Mono:
    return np.asarray(sound, dtype=np.float32)


def _band(rng: np.random.Generator, frames: int, low_hz: float, high_hz: float | None = None) -> Mono:
    edges = low_hz if high_hz is None else [low_hz, high_hz]
    sos = signal.butter(2, edges, "highpass" if high_hz is None else "bandpass", fs=RATE_HZ, output="sos")
    noise = signal.sosfilt(sos, rng.standard_normal(frames))
    return _mono(noise / np.std(noise))


def drum_kit(rng: np.random.Generator) -> dict[str, Mono]:
    """A kit of its own: kick, snare, clap, hat, open, rim, shaker, crash."""
    return {
        "kick": _kick(rng),
        "snare": _snare(rng),
        "clap": _clap(rng),
        "hat": _noise_hit(rng, rng.uniform(0.02, 0.05), rng.uniform(5_000, 9_000), 0.25),
        "open": _noise_hit(rng, rng.uniform(0.09, 0.16), rng.uniform(5_000, 8_000), 0.25),
        "shaker": _noise_hit(rng, rng.uniform(0.015, 0.03), rng.uniform(3_000, 5_000), 0.12),
        "rim": _rim(rng),
        "crash": _noise_hit(rng, 0.7, 3_500.0, 0.3, length_s=2.5),
    }


def _kick(rng: np.random.Generator) -> Mono:
    time_s = _time_s(0.32)
    low_hz, fall_hz, fall_s = rng.uniform(44, 58), rng.uniform(90, 260), rng.uniform(0.012, 0.035)
    cycles = low_hz * time_s + fall_hz * fall_s * (1 - np.exp(-time_s / fall_s))
    body = np.sin(2 * np.pi * cycles + 0.3) * np.exp(-time_s / rng.uniform(0.08, 0.16))
    tick = rng.uniform(0.1, 0.35) * _band(rng, time_s.size, 2_000, 9_000) * np.exp(-time_s / 0.002)
    end = np.minimum(1.0, (time_s[-1] - time_s) / 0.05)
    return _mono((np.tanh(1.5 * body) + tick) * end)


def _snare(rng: np.random.Generator) -> Mono:
    time_s = _time_s(0.28)
    tone_hz = rng.uniform(170, 230)
    skin = np.sin(2 * np.pi * tone_hz * time_s + 0.5) * np.exp(-time_s / 0.05)
    skin += 0.5 * np.sin(2 * np.pi * 1.63 * tone_hz * time_s + 0.5) * np.exp(-time_s / 0.03)
    wires = _band(rng, time_s.size, 700, 11_000) * np.exp(-time_s / rng.uniform(0.05, 0.1))
    return _mono(0.5 * skin + 0.32 * wires)


def _clap(rng: np.random.Generator) -> Mono:
    """Four hands: three short bursts 9 ms apart and a tail; the first burst is the beat."""
    time_s = _time_s(0.25)
    shape = np.exp(-time_s / 0.07) * 0.6
    for burst in range(3):
        since_s = time_s - 0.009 * burst
        shape += np.where(since_s >= 0, np.exp(-np.maximum(since_s, 0) / 0.004), 0)
    return _mono(0.22 * shape * _band(rng, time_s.size, 800, 5_000))


def _noise_hit(
    rng: np.random.Generator, decay_s: float, low_hz: float, gain: float, length_s: float | None = None
) -> Mono:
    time_s = _time_s(length_s or 5 * decay_s)
    return _mono(gain * _band(rng, time_s.size, low_hz) * np.exp(-time_s / decay_s))


def _rim(rng: np.random.Generator) -> Mono:
    time_s = _time_s(0.08)
    hz = rng.uniform(500, 1_400)
    click = np.sin(2 * np.pi * hz * time_s + 0.8) + 0.6 * np.sin(2 * np.pi * 2.41 * hz * time_s + 0.8)
    return _mono(0.35 * click * np.exp(-time_s / 0.018))


@dataclass
class Voices:
    """Pitched sounds, each made once: the same note of the same length is the same sound."""

    brightness: float = 1.0
    kept: dict[tuple[str | float, ...], Mono] = field(default_factory=dict)

    def bass(self, note: float, length_s: float) -> Mono:
        return self._once("bass", note, length_s)

    def chord(self, notes: tuple[int, ...], length_s: float, stab: bool) -> Mono:
        """Sawtooth-like tones, two to a note and a few cents apart; a stab dies away, a pad stays."""
        key = ("stab" if stab else "pad", *notes, round(length_s, 6))
        if key not in self.kept:
            kind = "stab" if stab else "pad"
            tones = [self._once(kind, note + cents / 100, length_s) for note in notes for cents in (-4, 5)]
            self.kept[key] = _mono(np.sum(tones, axis=0) / len(tones))
        return self.kept[key]

    def pluck(self, note: float, length_s: float) -> Mono:
        return self._once("pluck", note, length_s)

    def sung(self, note: float, vowel: str, length_s: float) -> Mono:
        """A sung vowel: harmonics of a wavering pitch under three formants."""
        key = ("sung", note, vowel, round(length_s, 6))
        if key not in self.kept:
            self.kept[key] = _sung(note, VOWELS_HZ[vowel], length_s)
        return self.kept[key]

    def _once(self, kind: str, note: float, length_s: float) -> Mono:
        key = (kind, note, round(length_s, 6))
        if key not in self.kept:
            self.kept[key] = _tone(kind, note_hz(note), length_s, self.brightness)
        return self.kept[key]


HARMONICS = {"bass": 5, "stab": 9, "pad": 7, "pluck": 6}
ATTACK_S = {"bass": 0.003, "stab": 0.003, "pad": 0.03, "pluck": 0.001}
DECAY_S = {"bass": 1.2, "stab": 0.18, "pad": 30.0, "pluck": 0.12}


def _tone(kind: str, hz: float, length_s: float, brightness: float) -> Mono:
    """Harmonics that fall as a sawtooth's, or steeper where the sound is darker, under an envelope."""
    time_s = _time_s(length_s)
    sound = np.zeros(time_s.size, dtype=np.float32)
    turn = np.asarray(2 * np.pi * ((hz * time_s) % 1.0), dtype=np.float32)
    for harmonic in range(1, HARMONICS[kind] + 1):
        sound += np.sin(np.float32(harmonic) * turn) * np.float32(harmonic ** -(2.0 - 0.9 * brightness))
    shape = np.minimum(1.0, time_s / ATTACK_S[kind]) * np.exp(-time_s / DECAY_S[kind])
    return _mono(sound * shape * np.minimum(1.0, (time_s[-1] - time_s) / 0.02))


def _sung(note: float, formants_hz: tuple[tuple[float, ...], tuple[float, ...]], length_s: float) -> Mono:
    """A hiss leads into a note whose pitch scoops, wavers and is a little unsteady; breath goes with it."""
    rng = np.random.default_rng([round(10 * note), round(1000 * length_s)])
    time_s = _time_s(length_s)
    waver = 0.35 * np.minimum(time_s / 0.3, 1.0) * np.sin(2 * np.pi * 5.5 * time_s)
    points = int(length_s / 0.02) + 2
    unsteady = np.interp(time_s, 0.02 * np.arange(points), _walk(rng, points))
    hz = note_hz(note) * 2.0 ** ((waver - 1.5 * np.exp(-time_s / 0.05) + unsteady) / 12)
    turn = np.asarray(2 * np.pi * ((np.cumsum(hz) / RATE_HZ) % 1.0), dtype=np.float32)
    formants = (*formants_hz[note_hz(note) >= WOMEN_FROM_HZ], *UPPER_FORMANTS_HZ)
    sound = np.zeros(time_s.size, dtype=np.float32)
    for harmonic in range(1, int(6_000 / note_hz(note)) + 1):
        at_hz = harmonic * note_hz(note)
        gain = harmonic**-0.9
        for formant, width in zip(formants, WIDTHS_HZ, strict=True):
            gain *= formant**2 / np.hypot(formant**2 - at_hz**2, at_hz * width)
        sound += np.float32(gain) * np.sin(np.float32(harmonic) * turn)
    shape = np.minimum(1.0, time_s / 0.05) * np.minimum(1.0, (time_s[-1] - time_s) / 0.08)
    breath = 0.02 * _band(rng, time_s.size, 1_500, 8_000)
    hiss = 0.12 * _band(rng, time_s.size, 4_000, 10_000) * np.exp(-(((time_s - 0.03) / 0.025) ** 2))
    return _mono((sound / np.max(np.abs(sound)) + breath) * shape + hiss)


def _walk(rng: np.random.Generator, points: int) -> npt.NDArray[np.float64]:
    """Unsteadiness of a held pitch in semitones: some 8 cents, never far from home."""
    steps = signal.lfilter([1.0], [1.0, -0.9], rng.standard_normal(points))
    return np.asarray(0.08 * steps / max(float(np.std(steps)), 1e-9))


def riser(frames: int, rng: np.random.Generator) -> Mono:
    """Noise that swells over a build and brightens as it does."""
    swell = np.linspace(0, 1, frames, dtype=np.float32)
    noise = rng.standard_normal(frames, dtype=np.float32)
    bright = np.diff(noise, prepend=np.float32(0))
    return _mono(0.09 * swell**2 * (noise * (1 - swell) * 0.6 + bright * swell))
