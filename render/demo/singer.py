"""A voice that sings vowels: a glottal source through four formants, one harmonic at a time.

The gain of each harmonic follows the formants wherever pitch and vowel go, so vowels glide and vibrato colours the
sound as it does in a throat. Source and filter as in Fant, Acoustic Theory of Speech Production (1960): the glottal
spectrum falls by 12 dB an octave and the lips give 6 dB back, so harmonic n starts at 1/n; resonances in series.
A chanting voice presses: its harmonics fall by less (`PRESSED`), and its vowels differ less in level than a model's
(`LEVELLING`).
"""

import numpy as np
import scipy.signal as dsp

from render.demo.drums import noise_band
from render.demo.score import RATE_HZ, Curve, DemoRecord, Syllable, pitch_hz
from render.values import Audio

VOWELS_HZ = {
    "a": (850.0, 1220.0, 2810.0),
    "e": (610.0, 2330.0, 2990.0),
    "i": (310.0, 2790.0, 3310.0),
    "o": (590.0, 920.0, 2710.0),
    "u": (370.0, 950.0, 2670.0),
}
"""Formants of women's vowels: Peterson and Barney (1952), table II, as in father, head, heed, bought, who'd."""
UPPER_FORMANTS_HZ = (4_100.0, 5_000.0)
BANDWIDTHS_HZ = (80.0, 100.0, 130.0, 180.0, 250.0)
PRESSED = 0.75
"""Harmonic n starts at n to the power of minus this."""
LEVELLING = 0.7
"""How much of the level differences between vowels is evened out, in decibels per decibel."""
LOWEST_TONIC_HZ = 220.0
HIGHEST_PARTIAL_HZ = 7_000.0

CONTROL_FRAMES = 64
"""Pitch, vowel and loudness are decided every 1.5 ms and drawn straight in between."""
CONTROL_RATE_HZ = RATE_HZ / CONTROL_FRAMES
GLIDE_S = 0.035
VIBRATO_HZ = 5.4
VIBRATO_CENTS = 32.0
UNSTEADY_CENTS = 5.0
HISS_S = 0.09


def sung_phrase(record: DemoRecord, frames: int, rng: np.random.Generator) -> Audio:
    """The record's song from its first beat, sung twice, a take on either side; `(frames, 2)`."""
    near, far = _take(record, frames, rng), _take(record, frames, rng)
    return np.stack([near + np.float32(0.45) * far, far + np.float32(0.45) * near], axis=1)


def _take(record: DemoRecord, frames: int, rng: np.random.Generator) -> Audio:
    """One take, `(frames,)`, peaking at 1."""
    points = frames // CONTROL_FRAMES + 2
    beat_points = record.grid.beat_s * CONTROL_RATE_HZ
    log2_hz, since_onset_s = _pitch_curve(record, points, beat_points)
    vibrato = VIBRATO_CENTS * np.clip((since_onset_s - 0.15) / 0.4, 0, 1)
    vibrato *= np.sin(2 * np.pi * VIBRATO_HZ * np.arange(points) / CONTROL_RATE_HZ + rng.uniform(0, 6))
    unsteady = _smoothed(rng.standard_normal(points), 0.05)
    unsteady *= UNSTEADY_CENTS / np.std(unsteady)
    hz = 2.0 ** (log2_hz + (vibrato + unsteady) / 1200)
    loud = _loudness_curve(record.song, points, beat_points)

    at = np.arange(frames) / CONTROL_FRAMES
    control = np.arange(points)
    turn = np.cumsum(np.interp(at, control, hz)) / RATE_HZ
    turn = np.asarray(2 * np.pi * (turn % 1.0), dtype=np.float32)
    formants_hz = _formant_curves(record.song, points, beat_points)
    harmonics = range(1, int(HIGHEST_PARTIAL_HZ / hz.min()) + 1)
    gains = np.stack([_vocal_tract(n * hz, formants_hz) / n**PRESSED for n in harmonics])
    gains *= loud / np.sqrt(np.sum(gains**2, axis=0)) ** LEVELLING
    voiced = np.zeros(frames, dtype=np.float32)
    for n, gain in zip(harmonics, gains, strict=True):
        voiced += np.interp(at, control, gain).astype(np.float32) * np.sin(np.float32(n) * turn)
    breath = noise_band(rng, frames, 1_500.0, 8_000.0) * np.interp(at, control, loud).astype(np.float32)
    voiced /= np.max(np.abs(voiced))
    return np.asarray(voiced + 0.012 * breath + _hisses(record, frames, rng), dtype=np.float32)


def _pitch_curve(record: DemoRecord, points: int, beat_points: float) -> tuple[Curve, Curve]:
    """Log2 of the pitch, gliding from note to note, and the time since the last note began."""
    log2_hz = np.zeros(points)
    since_s = np.arange(points) / CONTROL_RATE_HZ
    for number, syllable in enumerate(record.song):
        first = 0 if number == 0 else round(syllable.beat * beat_points)
        log2_hz[first:] = np.log2(pitch_hz(record.key, syllable.degree, LOWEST_TONIC_HZ))
        since_s[first:] = np.arange(points - first) / CONTROL_RATE_HZ
    return _smoothed(log2_hz, GLIDE_S), since_s


def _loudness_curve(song: tuple[Syllable, ...], points: int, beat_points: float) -> Curve:
    """Each syllable swells in within 40 ms, sinks a little, and lets go over 90 ms."""
    loud = np.zeros(points)
    for syllable in song:
        first = round(syllable.beat * beat_points)
        length = min(round(syllable.beats * beat_points), points - first)
        place = np.arange(length)
        rise = np.clip(place / (0.04 * CONTROL_RATE_HZ), 0, 1)
        fall = np.clip((length - place) / (0.09 * CONTROL_RATE_HZ), 0, 1)
        loud[first : first + length] = (0.5 - 0.5 * np.cos(np.pi * rise * fall)) * (1 - 0.25 * place / length)
    return _smoothed(loud, 0.008)


def _formant_curves(song: tuple[Syllable, ...], points: int, beat_points: float) -> Curve:
    """The formants over time, `(5, points)`, in hertz."""
    curves = np.empty((5, points))
    curves[3:] = np.array(UPPER_FORMANTS_HZ)[:, None]
    for number, syllable in enumerate(song):
        first = 0 if number == 0 else round(syllable.beat * beat_points)
        glide = np.clip(np.arange(points - first) / (syllable.beats * beat_points), 0, 1)
        for which in range(3):
            start, end = np.log(VOWELS_HZ[syllable.vowel][which]), np.log(VOWELS_HZ[syllable.towards][which])
            curves[which, first:] = np.exp(start + (end - start) * glide)
    return np.stack([_smoothed(curve, GLIDE_S) for curve in curves])


def _vocal_tract(hz: Curve, formants_hz: Curve) -> Curve:
    """The magnitude of resonances in series at frequencies `hz`; 1 far below all of them."""
    gain = np.ones(hz.size)
    for formant, bandwidth in zip(formants_hz, BANDWIDTHS_HZ, strict=True):
        gain *= formant**2 / np.hypot(formant**2 - hz**2, hz * bandwidth)
    return gain


def _hisses(record: DemoRecord, frames: int, rng: np.random.Generator) -> Audio:
    """The consonants: short noise that leads into the syllables that ask for it."""
    sound = np.zeros(frames, dtype=np.float32)
    length = round(HISS_S * RATE_HZ)
    shape = np.hanning(length).astype(np.float32)
    for syllable in record.song:
        end = round((syllable.beat * record.grid.beat_s + 0.02) * RATE_HZ)
        if syllable.hiss and end >= length:
            sound[end - length : end] += 0.09 * shape * noise_band(rng, length, 4_500.0, 10_000.0)
    return sound


def _smoothed(curve: Curve, time_s: float) -> Curve:
    """A one-pole low-pass of a control curve, settled on its first value."""
    keep = float(np.exp(-1.0 / (time_s * CONTROL_RATE_HZ)))
    smooth, _ = dsp.lfilter([1 - keep], [1, -keep], curve, zi=[keep * curve[0]])
    return np.asarray(smooth)
