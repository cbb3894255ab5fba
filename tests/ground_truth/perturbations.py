"""Drops that are hard to find: each is the same kind of song with one thing done to it."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import signal

from render.values import Audio, nearest_frame
from tests.ground_truth.instruments import RATE_HZ, Voices
from tests.ground_truth.songs import BEATS_PER_BAR, PHRASE_BARS, Section, Song
from tests.ground_truth.sounding import desk_of
from tests.ground_truth.truth import Truth

Heard = tuple[Audio, Truth]
RAMP_S = 0.01
DRONE_HZ = 46.0
LEVEL = 0.14
"""Mean amplitude (RMS) of a record brought to equal loudness: -17 dB."""
LOW_END_HZ = 200.0


@dataclass(frozen=True)
class Perturbation:
    """`form` changes the song before it is played, `sound` what was played, and its truth where that moves."""

    name: str
    form: Callable[[Song], Song]
    sound: Callable[[Song, Audio, Truth], Heard]


def _same_song(song: Song) -> Song:
    return song


def _same_sound(_: Song, sound: Audio, truth: Truth) -> Heard:
    return sound, truth


def _bar_start(song: Song, bar: float) -> int:
    """The frame of a bar's first beat; fractions of bars are taken in beats."""
    return nearest_frame((song.first_beat_s + (bar - 1) * BEATS_PER_BAR * song.beat_s) * RATE_HZ)


def _silent_bar(song: Song, sound: Audio, truth: Truth) -> Heard:
    for bar in song.drop_bars:
        start, end = _bar_start(song, bar - 1), _bar_start(song, bar)
        ramp = round(RAMP_S * RATE_HZ)
        sound[start : start + ramp] *= np.linspace(1, 0, ramp, dtype=np.float32)[:, None]
        sound[start + ramp : end] = 0
    return sound, truth


def _bass_pick_up(song: Song, sound: Audio, truth: Truth) -> Heard:
    """The bass walks up to its drop through the half bar before it."""
    mix = np.ascontiguousarray(sound.T)
    desk, voices = desk_of(song, mix), Voices()
    for bar in song.drop_bars:
        root, _ = song.chord(bar)
        for step, below in ((8, 5), (10, 3), (12, 2), (14, 1)):
            desk.put(voices.bass(root - below + 12, 0.5 * song.beat_s), bar - 1, step, 0.5)
    return np.ascontiguousarray(mix.T), truth


def _equal_loudness(song: Song, sound: Audio, truth: Truth) -> Heard:
    """Every bar is brought to the same power, so that loudness tells nothing."""
    gains, points = [], []
    for bar in range(1, song.bars + 1):
        start, end = _bar_start(song, bar), _bar_start(song, bar + 1)
        gain = LEVEL / float(np.sqrt(np.mean(np.square(sound[start:end]))))
        points += [start, end - round(RAMP_S * RATE_HZ)]
        gains += [gain, gain]
    curve = np.interp(np.arange(len(sound)), points, gains).astype(np.float32)
    return np.tanh(sound * curve[:, None]), truth


def _sub_drone(_: Song, sound: Audio, truth: Truth) -> Heard:
    drone = 0.14 * np.sin(2 * np.pi * DRONE_HZ * np.arange(len(sound)) / RATE_HZ)
    return np.clip(sound + drone.astype(np.float32)[:, None], -1, 1), truth


def _with_fake(song: Song) -> Song:
    """Two bars of drop where it is expected, and six bars of build before it truly comes."""
    sections: list[Section] = []
    late = 0
    for section in song.sections:
        if section.part == "drop" and not late:
            sections.append(Section("fake", section.first_bar, 2))
            sections.append(Section("build", section.first_bar + 2, PHRASE_BARS - 2))
            late = PHRASE_BARS
        sections.append(replace(section, first_bar=section.first_bar + late))
    return replace(song, sections=tuple(sections))


def _cut_intro(song: Song, sound: Audio, truth: Truth) -> Heard:
    """The recording begins in the middle of the phrase before the drop, on no beat at all."""
    bar = song.drop_bars[0] - PHRASE_BARS // 2
    cut = _bar_start(song, bar) - round(0.37 * song.beat_s * RATE_HZ)
    return sound[cut:], truth.cut(cut / RATE_HZ)


def _no_low_end(_: Song, sound: Audio, truth: Truth) -> Heard:
    sos = signal.butter(6, LOW_END_HZ, "highpass", fs=RATE_HZ, output="sos")
    return np.asarray(signal.sosfilt(sos, sound, axis=0), dtype=np.float32), truth


PERTURBATIONS = (
    Perturbation("silent bar", _same_song, _silent_bar),
    Perturbation("bass pick-up", _same_song, _bass_pick_up),
    Perturbation("equal loudness", _same_song, _equal_loudness),
    Perturbation("sub drone", _same_song, _sub_drone),
    Perturbation("fake drop", _with_fake, _same_sound),
    Perturbation("cut intro", _same_song, _cut_intro),
    Perturbation("no low end", _same_song, _no_low_end),
)
