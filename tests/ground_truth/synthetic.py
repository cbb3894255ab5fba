"""The sets that need no recording: songs, songs with hard drops, and songs whose tempo drifts.

A third of each is held out. Which third, and everything else, follows from the seeds below. The fresh sets are held
out wholly: nobody who changes the ears looks at single records of theirs, and whoever did draws new seeds.
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
FRESH_SONGS = 24
FRESH_SONGS_PER_PERTURBATION = 4
FRESH_TAPES = 6
FIRST_SEED = {
    "synthetic": 4_100,
    "hard drops": 5_200,
    "drifting": 6_300,
    "tape": 6_800,
    "fresh": 70_100,
    "fresh drops": 71_200,
    "fresh tape": 72_300,
}
WARPS = ((0.01, 0.0), (0.02, 0.0), (0.01, 0.008), (0.02, 0.008), (0.0, 0.008))
"""How far the tempo wanders and hits stray (seconds): 1 and 2 %, and the 8 ms of a live band."""
DRIFTING = 15
TAPE_WARPS = ((0.0003, 0.0), (0.0006, 0.0), (0.001, 0.0), (0.0003, 0.004), (0.0006, 0.004))
"""Wow that one grid nearly fits: beats lie a few milliseconds off it, some 16 bars long."""
TAPES = 15
NEARLY_STEADY = 0.005
"""Of a tempo that wanders less than this, relatively, nobody is asked whether it has one."""
_LATE = ((1, 2), (0, 3))
"""Which styles of a round begin late, in turn: the first sound is then no bar line, often no beat."""


def _held_out(number: int) -> bool:
    return number % 3 == 2


def synthetic_records() -> list[Record]:
    return [_damaged_record("synthetic", number, held_out=_held_out(number)) for number in range(SONGS)]


def fresh_records() -> list[Record]:
    return [_damaged_record("fresh", number, held_out=True) for number in range(FRESH_SONGS)]


def hard_drop_records() -> list[Record]:
    return _hard_drops("hard drops", SONGS_PER_PERTURBATION, all_held_out=False)


def fresh_hard_drop_records() -> list[Record]:
    return _hard_drops("fresh drops", FRESH_SONGS_PER_PERTURBATION, all_held_out=True)


def drifting_records() -> list[Record]:
    """A tape that wanders, a drummer who strays, and both."""
    return [_warped("drifting", number, WARPS, held_out=_held_out(number)) for number in range(DRIFTING)]


def tape_records() -> list[Record]:
    """A tape that wanders so little that one grid may be said to fit."""
    return [_warped("tape", number, TAPE_WARPS, held_out=_held_out(number)) for number in range(TAPES)]


def fresh_tape_records() -> list[Record]:
    return [_warped("fresh tape", number, TAPE_WARPS, held_out=True) for number in range(FRESH_TAPES)]


def _damaged_record(set_name: str, number: int, *, held_out: bool) -> Record:
    """Every style with every damage, in turn."""
    style = STYLES[number % len(STYLES)]
    damage = DAMAGES[number // len(STYLES) % len(DAMAGES)]
    song = draw_song(FIRST_SEED[set_name] + number, style)
    cut_frames = _cut_frames(song, number)
    name = f"{number:02d} {style}, {damage.name}{', cut' if cut_frames else ''}"
    truth = truth_of(song, name, set_name, held_out=held_out)
    if cut_frames:
        truth = truth.cut(cut_frames / RATE_HZ)
    return Record(truth.moved(damage.silence_s), partial(_damaged, song, damage, cut_frames))


def _cut_frames(song: Song, number: int) -> int:
    """Where a record that was begun late begins: anywhere in its first phrase. Half of them are."""
    if number % 4 not in _LATE[number // 4 % 2]:
        return 0
    beats = np.random.default_rng([song.seed, 8]).uniform(0.1, 30.0)
    return nearest_frame((song.first_beat_s + beats * song.beat_s) * RATE_HZ)


def _damaged(song: Song, damage: Damage, cut_frames: int) -> tuple[Audio, int]:
    return damage.apply(sound_of(song)[cut_frames:], np.random.default_rng([song.seed, 5]))


def _hard_drops(set_name: str, songs: int, *, all_held_out: bool) -> list[Record]:
    """Every perturbation on as many songs, alike but for what was done to them."""
    records = []
    for perturbation in PERTURBATIONS:
        for number in range(songs):
            style = STYLES[number % len(STYLES)]
            song = draw_song(FIRST_SEED[set_name] + number, style, drums_only=False, voice_bars=frozenset())
            song = perturbation.form(song)
            name = f"{perturbation.name} {number}, {style}"
            truth = truth_of(song, name, set_name, held_out=all_held_out or _held_out(number))
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


def _warped(set_name: str, number: int, warps: tuple[tuple[float, float], ...], *, held_out: bool) -> Record:
    style = STYLES[number % len(STYLES)]
    wander, stray_s = warp = warps[number % len(warps)]
    song = draw_song(FIRST_SEED[set_name] + number, style, warp=warp)
    name = f"{number:02d} {style}, tempo ±{100 * wander:g} %, hits ±{1000 * stray_s:g} ms"
    truth = truth_of(song, name, set_name, held_out=held_out)
    if wander < NEARLY_STEADY:
        truth = replace(truth, fixed_tempo=None if wander else True)
    return Record(truth, partial(_played, song))


def _played(song: Song) -> tuple[Audio, int]:
    return sound_of(song), RATE_HZ
