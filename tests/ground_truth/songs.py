"""A synthetic record, decided completely before a sound is made: style, tempo, form, key, groove, who sings when.

Forms are built of phrases of eight bars, as club records are (common practice): intro, verse, build, drop, break,
build, drop, outro. A drop is the first beat on which kick and bass come in together at full level; a "fake" is one
that breaks off.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tests.ground_truth.truth import Times

Style = Literal["four-on-the-floor", "two-step", "broken beat", "half-time"]
Part = Literal["intro", "verse", "build", "drop", "break", "outro", "fake"]

PHRASE_BARS = 8
BEATS_PER_BAR = 4

TEMPI_BPM: dict[Style, tuple[float, float]] = {
    "four-on-the-floor": (112.0, 150.0),
    "two-step": (126.0, 180.0),
    "broken beat": (84.0, 176.0),
    "half-time": (130.0, 172.0),
}

Patterns = dict[str, tuple[str, ...]]
GROOVES: dict[Style, tuple[Patterns, ...]] = {
    "four-on-the-floor": (
        {"kick": ("X...X...X...X...",), "clap": ("....X.......X...",), "open": ("..x...x...x...x.",)},
        {
            "kick": ("X...X...X...X...", "X...X...X...X..x"),
            "clap": ("....X.......X...",),
            "hat": ("o.xoo.xoo.xoo.xo",),
            "rim": ("...x..x....x..x.", "...x..x..x...x.."),
        },
    ),
    "two-step": (
        {
            "kick": ("X.........X.....", "X.........X..x.."),
            "snare": ("....X.......X...",),
            "hat": ("x.x.x.xox.x.x.xo",),
        },
        {
            "kick": ("X.....x...X.....", "X..x......X....."),
            "snare": ("....X.......X...", "....X..o....X..o"),
            "hat": ("x.x.x.x.x.x.x.x.",),
            "shaker": ("oxoxoxoxoxoxoxox",),
        },
    ),
    "broken beat": (
        {
            "kick": ("X..X......X..X..", "X..X..X......X.."),
            "snare": ("....X.......X...", "....X..o.o..X..o"),
            "hat": ("x.x.x.x.x.x.x.x.",),
        },
        {
            "kick": ("X.X.......XX....", "X.X.......X....."),
            "snare": ("....X..o.o..X..o", "....X..o.o....X."),
            "hat": ("x.x.x.x.x.x.x.x.",),
        },
        {
            "kick": ("X.....X..X..X...", "X..X..X.....X.x."),
            "clap": ("....X..x....X...",),
            "shaker": ("x.oxx.oxx.oxx.ox",),
        },
    ),
    "half-time": (
        {
            "kick": ("X.....x.........", "X.........x...x."),
            "snare": ("........X.......",),
            "hat": ("x.x.x.x.x.x.x.x.", "x.x.x.x.x.x.xxx."),
        },
        {
            "kick": ("X..x............", "X.....x.....x..."),
            "clap": ("........X.......", "........X......o"),
            "hat": ("x.xxx.xxx.xxx.xx",),
        },
    ),
}
"""Sixteen steps a bar: X hard, x plain, o soft. One string a bar, in turn."""

BASSES: dict[Style, tuple[str, ...]] = {
    "four-on-the-floor": ("..X-..X-..X-..X-", "..XX..XX..XX..XX", "X---..X-X---..X-"),
    "two-step": ("X-----..X-X-....", "X-......X---..X-"),
    "broken beat": ("X--X--X-..X-....", "X-----X---......"),
    "half-time": ("X-------..X-....", "X---------------"),
}
"""X begins a note, - holds it."""

MINOR = (0, 2, 3, 5, 7, 8, 10)
MAJOR = (0, 2, 4, 5, 7, 9, 11)
PROGRESSIONS = {
    "minor": ((0, 0, 3, 4), (0, 5, 3, 4), (0, 3, 0, 6), (0, 5, 2, 6), (0, 0, 0, 0), (0, 6, 5, 0)),
    "major": ((0, 3, 4, 3), (0, 4, 5, 3), (0, 5, 3, 4), (0, 0, 3, 4), (0, 1, 4, 0), (0, 3, 0, 4)),
}
"""Degrees of the scale from 0; each begins on the tonic, which is also the first bass note of every phrase."""
TONICS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


@dataclass(frozen=True)
class Section:
    part: Part
    first_bar: int
    bars: int

    def holds(self, bar: int) -> bool:
        return self.first_bar <= bar < self.first_bar + self.bars


@dataclass(frozen=True)
class Song:
    """Everything that is decided of one record. Bars count from 1; `warp` wanders and jitters the beats."""

    seed: int
    style: Style
    tempo_bpm: float
    first_beat_s: float
    sections: tuple[Section, ...]
    groove: int
    bass: str
    tonic: int
    mode: Literal["major", "minor"]
    progression: tuple[int, ...]
    chord_bars: int
    swing: float
    drums_only: bool
    voice_bars: frozenset[int]
    pick_up: bool
    warp: tuple[float, float] = (0.0, 0.0)
    """How far the tempo wanders, as a part of it, and how far hits stray from their beats, in seconds."""

    @property
    def bars(self) -> int:
        return self.sections[-1].first_bar + self.sections[-1].bars - 1

    @property
    def beat_s(self) -> float:
        return 60.0 / self.tempo_bpm

    @property
    def key(self) -> str | None:
        return None if self.drums_only else f"{TONICS[self.tonic]} {self.mode}"

    @property
    def drop_bars(self) -> tuple[int, ...]:
        return tuple(section.first_bar for section in self.sections if section.part == "drop")

    def section_of(self, bar: int) -> Section:
        return next(section for section in self.sections if section.holds(bar))

    def beats(self) -> Times:
        """The time of every beat, and of the one after the last."""
        count = self.bars * BEATS_PER_BAR + 1
        number = np.arange(count)
        wander, _ = self.warp
        if not wander:
            return np.asarray(self.first_beat_s + number * self.beat_s)
        rng = np.random.default_rng([self.seed, 7])
        # Two slow waves: a tape's speed, or a drummer who pushes a chorus and drags after it.
        waves = zip((1.0, 0.6), rng.uniform(40, 120, 2), rng.uniform(0, 2 * np.pi, 2), strict=True)
        speed = np.sum(
            [part * np.sin(2 * np.pi * number / period + at) for part, period, at in waves], axis=0
        )
        lengths_s = self.beat_s / (1 + wander * speed / np.max(np.abs(speed)))
        return np.asarray(self.first_beat_s + np.concatenate([[0.0], np.cumsum(lengths_s[:-1])]))

    def chord(self, bar: int) -> tuple[int, tuple[int, ...]]:
        """The bass note and the triad of a bar, as MIDI note numbers."""
        scale = MINOR if self.mode == "minor" else MAJOR
        degree = self.progression[(bar - 1) // self.chord_bars % len(self.progression)]
        steps = [scale[(degree + third) % 7] + 12 * ((degree + third) // 7) for third in (0, 2, 4)]
        root = 28 + (self.tonic + steps[0] - 28) % 12  # E1 (41 Hz) to D#2 (78 Hz)
        return root, tuple(sorted(57 + (self.tonic + step - 57) % 12 for step in steps))


def draw_song(seed: int, style: Style, *, length_s: float | None = None, **stated: object) -> Song:
    """A song by its seed; the same seed gives the same song. `stated` replaces what was drawn."""
    rng = np.random.default_rng([seed, 1])
    tempo_bpm = round(float(rng.uniform(*TEMPI_BPM[style])), int(rng.choice([0, 1, 2, 3])))
    wanted_s = length_s or float(rng.uniform(95, 140))
    phrases = max(5, round(wanted_s * tempo_bpm / 60 / BEATS_PER_BAR / PHRASE_BARS))
    sections = _form(phrases, rng)
    mode: Literal["major", "minor"] = "minor" if rng.random() < 0.6 else "major"
    progressions = PROGRESSIONS[mode]
    decided = {
        "seed": seed,
        "style": style,
        "tempo_bpm": tempo_bpm,
        "first_beat_s": round(float(rng.uniform(0.02, 2.5)), 5),
        "sections": sections,
        "groove": int(rng.integers(len(GROOVES[style]))),
        "bass": str(rng.choice(BASSES[style])),
        "tonic": int(rng.integers(12)),
        "mode": mode,
        "progression": progressions[int(rng.integers(len(progressions)))],
        "chord_bars": int(rng.choice([1, 2])),
        "swing": float(rng.choice([0.5, 0.5, 0.54, 0.58, 0.62])),
        "drums_only": bool(rng.random() < 0.12),
        "voice_bars": singing(sections, rng) if rng.random() < 0.55 else frozenset(),
        "pick_up": bool(rng.random() < 0.2),
    }
    return Song(**{**decided, **stated})  # type: ignore[arg-type]


def _form(phrases: int, rng: np.random.Generator) -> tuple[Section, ...]:
    """Intro to outro in `phrases` phrases: one drop in short records, two where there is room."""
    plan: list[tuple[Part, int]]
    if phrases < 8:
        spare = phrases - 4
        verse = int(spare > 1 and rng.random() < 0.6)
        plan = [("intro", 1), ("verse", verse), ("build", 1), ("drop", 1 + spare - verse), ("outro", 1)]
    else:
        spare = phrases - 7
        intro = int(rng.integers(0, min(spare, 2) + 1))
        verse = int(spare - intro > 0 and rng.random() < 0.6)
        first = int(rng.integers(0, spare - intro - verse + 1))
        second = spare - intro - verse - first
        plan = [("intro", 1 + intro), ("verse", verse), ("build", 1), ("drop", 1 + first)]
        plan += [("break", 1), ("build", 1), ("drop", 1 + second), ("outro", 1)]
    sections, bar = [], 1
    for part, length in plan:
        if length:
            sections.append(Section(part, bar, length * PHRASE_BARS))
            bar += length * PHRASE_BARS
    return tuple(sections)


def singing(sections: tuple[Section, ...], rng: np.random.Generator) -> frozenset[int]:
    """Half phrases of singing: most of a verse or break, some of the rest."""
    chance = {
        "intro": 0.1,
        "verse": 0.9,
        "build": 0.35,
        "drop": 0.25,
        "break": 0.7,
        "outro": 0.0,
    }  # of half a phrase
    half = PHRASE_BARS // 2
    bars: set[int] = set()
    for section in sections:
        for first in range(section.first_bar, section.first_bar + section.bars, half):
            if rng.random() < chance[section.part]:
                bars.update(range(first, first + half))
    return frozenset(bars)
