"""The sets that need no recording: songs, songs with hard drops, and songs whose tempo drifts.

A third of each is held out. Which third, and everything else, follows from the seeds below.
"""

from dataclasses import replace
from functools import partial

import numpy as np

from render.values import Audio, nearest_frame
from tests.ground_truth.damage import DAMAGES, Damage
from tests.ground_truth.instruments import RATE_HZ
from tests.ground_truth.perturbations import PERTURBATIONS, Perturbation
from tests.ground_truth.songs import GROOVES, Song, draw_song
from tests.ground_truth.sounding import sound_of, truth_of
from tests.ground_truth.truth import Record, Truth

STYLES = tuple(GROOVES)
SONGS = 48
SONGS_PER_PERTURBATION = 9
FIRST_SEED = {"synthetic": 4_100, "hard drops": 5_200, "drifting": 6_300}
WARPS = ((0.01, 0.0), (0.02, 0.0), (0.01, 0.008), (0.02, 0.008), (0.0, 0.008))
"""How far the tempo wanders and hits stray (seconds): 1 and 2 %, and the 8 ms of a live band."""
DRIFTING = 15
_LATE = ((1, 2), (0, 3))
"""Which styles of a round begin late, in turn: the first sound is then no bar line, often no beat."""


def _held_out(number: int) -> bool:
    return number % 3 == 2


def synthetic_records() -> list[Record]:
    """Every style with every damage."""
    records = []
    for number in range(SONGS):
        style = STYLES[number % len(STYLES)]
        damage = DAMAGES[number // len(STYLES) % len(DAMAGES)]
        song = draw_song(FIRST_SEED["synthetic"] + number, style)
        cut_frames = _cut_frames(song, number)
        name = f"{number:02d} {style}, {damage.name}{', cut' if cut_frames else ''}"
        truth = truth_of(song, name, "synthetic", held_out=_held_out(number))
        if cut_frames:
            truth = truth.cut(cut_frames / RATE_HZ)
        records.append(Record(truth.moved(damage.silence_s), partial(_damaged, song, damage, cut_frames)))
    return records


def _cut_frames(song: Song, number: int) -> int:
    """Where a record that was begun late begins: anywhere in its first phrase. Half of them are."""
    if number % 4 not in _LATE[number // 4 % 2]:
        return 0
    beats = np.random.default_rng([song.seed, 8]).uniform(0.1, 30.0)
    return nearest_frame((song.first_beat_s + beats * song.beat_s) * RATE_HZ)


def _damaged(song: Song, damage: Damage, cut_frames: int) -> tuple[Audio, int]:
    return damage.apply(sound_of(song)[cut_frames:], np.random.default_rng([song.seed, 5]))


def hard_drop_records() -> list[Record]:
    """Every perturbation on as many songs, alike but for what was done to them."""
    records = []
    for perturbation in PERTURBATIONS:
        for number in range(SONGS_PER_PERTURBATION):
            style = STYLES[number % len(STYLES)]
            seed = FIRST_SEED["hard drops"] + number
            song = draw_song(seed, style, drums_only=False, voice_bars=frozenset())
            song = perturbation.form(song)
            name = f"{perturbation.name} {number}, {style}"
            truth = truth_of(song, name, "hard drops", held_out=_held_out(number))
            truth = replace(truth, perturbation=perturbation.name)
            if (
                perturbation.name == "cut intro"
            ):  # the only one that moves the truth, and needs no sound for it
                _, truth = perturbation.sound(song, np.zeros((0, 2), np.float32), truth)
            records.append(Record(truth, partial(_perturbed, song, perturbation, truth)))
    return records


def _perturbed(song: Song, perturbation: Perturbation, truth: Truth) -> tuple[Audio, int]:
    sound, _ = perturbation.sound(song, sound_of(song), truth)
    return sound, RATE_HZ


def drifting_records() -> list[Record]:
    """A tape that wanders, a drummer who strays, and both."""
    records = []
    for number in range(DRIFTING):
        style = STYLES[number % len(STYLES)]
        warp = WARPS[number % len(WARPS)]
        song = draw_song(FIRST_SEED["drifting"] + number, style, warp=warp)
        wander, stray_s = warp
        name = f"{number:02d} {style}, tempo ±{100 * wander:g} %, hits ±{1000 * stray_s:g} ms"
        records.append(
            Record(truth_of(song, name, "drifting", held_out=_held_out(number)), partial(_played, song))
        )
    return records


def _played(song: Song) -> tuple[Audio, int]:
    return sound_of(song), RATE_HZ
