"""The pitched instruments: bass, pad, lead, and the riser of a build.

Everything but the bass stays above 150 Hz, so that the low end of a record is its kick and its bass alone.
"""

import numpy as np
import scipy.fft
import scipy.signal as dsp

from render.demo.drums import noise_band
from render.demo.score import RATE_HZ, BassTone, Curve, LeadTone
from render.values import Audio

PAD_FRAMES = 2**18
"""Length of a pad before it repeats without a seam: 5.9 s, longer than two bars of any record here."""
PAD_SPREAD = 0.006
"""Width of a smeared partial as a part of its frequency, about 10 cents: an ensemble, still in tune."""
TABLE_SIZE = 4096
TOP_HZ = 16_000.0


def bass_note(tone: BassTone, hz: float, frames: int) -> Audio:
    """One bass note, `(frames,)`: a sine with a little warmth, or detuned saws that growl over it."""
    time_s = np.arange(frames) / RATE_HZ
    sub = np.tanh(1.3 * np.sin(2 * np.pi * hz * time_s))
    match tone:
        case "round":
            overtones = 0.22 * np.sin(4 * np.pi * hz * time_s) + 0.10 * np.sin(6 * np.pi * hz * time_s)
            note = sub + overtones * np.exp(-time_s / 0.35)
        case "growl":
            opening = 0.5 - 0.5 * np.cos(2 * np.pi * np.minimum(time_s / 0.34, 1.0))
            saws = [_saw(hz * 2 * detune, time_s, opening) for detune in (0.9955, 1.0045)]
            note = 0.9 * sub + 0.6 * (saws[0] + saws[1])
    return _shaped(np.asarray(0.8 * note, dtype=np.float32), attack_s=0.004, release_s=0.03)


def pad_pair(notes_hz: tuple[float, ...], rng: np.random.Generator) -> tuple[Audio, Audio]:
    """A chord, dark and bright, `(PAD_FRAMES, 2)` each; the two fade into each other without a beat.

    Each partial is a narrow band of the spectrum with random phases, so that the sound shimmers like many
    players; transformed back, it repeats seamlessly.
    """
    bins = PAD_FRAMES // 2 + 1
    dark, bright = np.zeros(bins), np.zeros(bins)
    hz_per_bin = RATE_HZ / PAD_FRAMES
    for note_hz in notes_hz:
        for harmonic in range(1, int(9_000.0 / note_hz)):
            hz = note_hz * harmonic
            width_hz = max(hz * PAD_SPREAD, 1.0)
            first, last = int((hz - 4 * width_hz) / hz_per_bin), int((hz + 4 * width_hz) / hz_per_bin)
            offset = (np.arange(first, last) * hz_per_bin - hz) / width_hz
            partial = np.exp(-0.5 * offset**2) / np.sqrt(width_hz) / harmonic
            dark[first:last] += partial / (1 + (hz / 700.0) ** 2)
            bright[first:last] += partial / (1 + (hz / 3_600.0) ** 2)
    turns = np.exp(2j * np.pi * rng.random((2, bins)))
    level = 1.0 / np.sqrt(np.sum(bright**2)) * PAD_FRAMES / np.sqrt(2.0)
    return (
        np.asarray(scipy.fft.irfft(level * dark * turns).T, dtype=np.float32),
        np.asarray(scipy.fft.irfft(level * bright * turns).T, dtype=np.float32),
    )


def lead_note(tone: LeadTone, hz: float, frames: int) -> Audio:
    """One lead note, `(frames,)`: a hollow reed with vibrato, or a bell that rings on."""
    time_s = np.arange(frames) / RATE_HZ
    match tone:
        case "reed":
            depth = 0.05 * np.minimum(time_s / 0.3, 1.0)
            phase = 2 * np.pi * hz * time_s + depth * hz / 100.0 * np.sin(2 * np.pi * 5.2 * time_s)
            odd = range(1, min(12, int(TOP_HZ / hz)), 2)
            sound = sum(np.sin(k * phase) / k ** (1.0 + 0.5 * (k > 3)) for k in odd)
            note = np.asarray(sound) + 0.3 * np.sin(2 * phase)
        case "bell":
            wobble = 2.2 * np.exp(-time_s / 0.25) * np.sin(2 * np.pi * 3.5 * hz * time_s)
            note = np.sin(2 * np.pi * hz * time_s + wobble) * np.exp(-time_s / 0.7)
    return _shaped(np.asarray(0.5 * note, dtype=np.float32), attack_s=0.006, release_s=0.05)


def riser(frames: int, rng: np.random.Generator) -> Audio:
    """Noise that climbs from 400 Hz to the top and a tone that climbs two octaves; `(frames, 2)`."""
    position = np.linspace(0.0, 1.0, frames, dtype=np.float32)
    edges_hz = 400.0 * 2.0 ** np.arange(6)
    sides = []
    for _ in range(2):
        side = np.zeros(frames, dtype=np.float32)
        for band, low_hz in enumerate(edges_hz):
            near = np.exp(-0.5 * ((position * (len(edges_hz) - 1) - band) / 0.8) ** 2)
            side += near * noise_band(rng, frames, float(low_hz), float(min(2 * low_hz, 18_000.0)))
        sides.append(side)
    climb = np.cumsum(330.0 * 4.0 ** position.astype(np.float64)) / RATE_HZ
    tone = sum(np.sin(2 * np.pi * k * climb) / k for k in (1, 2, 3))
    sound = 0.30 * np.stack(sides, axis=1) + 0.16 * np.asarray(tone)[:, None]
    loudness = (0.03 + 0.97 * position**2)[:, None]
    return np.asarray(sound * loudness * _edges(frames, 0.5, 0.02)[:, None], dtype=np.float32)


def with_echo(phrase: Audio, delay: int, feedback: float) -> Audio:
    """A mono phrase, as `(frames, 2)`, with three echoes that change sides; it ends when the phrase ends."""
    sides = np.repeat(phrase[:, None], 2, axis=1)
    for repeat in (1, 2, 3):
        late = phrase[: max(phrase.size - repeat * delay, 0)] * np.float32(feedback**repeat)
        sides[phrase.size - late.size :, repeat % 2] += late
    return sides


def in_a_room(dry: Audio, decay_s: float, wet: float, rng: np.random.Generator) -> Audio:
    """A phrase `(frames, 2)` in a room of decaying noise; the room stops with the phrase.

    The room has no low end, and does not answer before 12 ms, so that attacks stay where they are.
    """
    time_s = np.arange(round(2.5 * decay_s * RATE_HZ)) / RATE_HZ
    sides = []
    for channel in range(2):
        answer = noise_band(rng, time_s.size, 300.0, 7_000.0) * np.exp(-time_s / decay_s * 2.5)
        answer[: round(0.012 * RATE_HZ)] = 0.0
        answer /= np.sqrt(np.sum(answer**2))
        sides.append(dsp.oaconvolve(dry[:, channel], answer)[: len(dry)])
    return np.asarray(dry + np.float32(wet) * np.stack(sides, axis=1), dtype=np.float32)


def _saw(hz: float, time_s: Curve, opening: Curve) -> Curve:
    """A band-limited saw whose upper harmonics come in with `opening`, from 0 to 1."""
    harmonics = np.arange(1, max(2, int(TOP_HZ / hz)))
    dull = harmonics**-1.0 / (1 + (harmonics * hz / 450.0) ** 3)
    sharp = harmonics**-1.0 / (1 + (harmonics * hz / 3_000.0) ** 2)
    phase = (hz * time_s) % 1.0
    positions = np.linspace(0.0, 1.0, TABLE_SIZE + 1)
    partials = np.sin(2 * np.pi * np.outer(positions, harmonics))
    # summed by numpy alone: a matrix product may round otherwise with another number of threads
    dull_wave, sharp_wave = (
        np.interp(phase, positions, np.sum(partials * weights, axis=1)) for weights in (dull, sharp)
    )
    return np.asarray(dull_wave + opening * (sharp_wave - dull_wave))


def _edges(frames: int, attack_s: float, release_s: float) -> Audio:
    """An envelope `(frames,)` with raised-cosine edges."""
    envelope = np.ones(frames, dtype=np.float32)
    rise, fall = min(round(attack_s * RATE_HZ), frames), min(round(release_s * RATE_HZ), frames)
    envelope[:rise] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(rise, dtype=np.float32) / rise)
    envelope[frames - fall :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, fall + 1, dtype=np.float32) / fall)
    return envelope


def _shaped(note: Audio, attack_s: float, release_s: float) -> Audio:
    return np.asarray(note * _edges(note.size, attack_s, release_s), dtype=np.float32)
