"""From a decided song to its sound, and to its truth."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from render.values import Audio, nearest_frame
from tests.ground_truth.instruments import RATE_HZ, Mono, Voices, drum_kit, riser
from tests.ground_truth.songs import BEATS_PER_BAR, GROOVES, Section, Song
from tests.ground_truth.truth import Times, Truth

STEPS_PER_BAR = 16
STRENGTH = {"X": 1.0, "x": 0.7, "o": 0.35}
PAN = {"hat": 0.42, "open": 0.58, "shaker": 0.65, "rim": 0.3}
LEVEL = {"intro": 0.6, "verse": 0.65, "build": 0.7, "drop": 1.0, "break": 0.6, "outro": 0.6, "fake": 1.0}
HEARD_PARTS = {
    "intro": ("kick", "hat", "open", "shaker", "rim"),
    "verse": ("snare", "clap", "hat", "shaker", "rim"),
    "build": ("hat", "shaker"),
    "drop": ("kick", "snare", "clap", "hat", "open", "shaker", "rim"),
    "fake": ("kick", "snare", "clap", "hat", "open", "shaker", "rim"),
    "break": ("shaker", "rim"),
    "outro": ("kick", "snare", "clap", "hat", "open", "shaker", "rim"),
}
"""Which drums play where. Kick and bass together are kept for the drop."""
TAIL_S = 1.5
PEAK = 0.9
SINGER = 0.7
"""A singer stands in front of everything but the kick (common practice)."""
VERSE = (0, 2, 4, 2, 1, 4, 5, 4)
VOWEL_ORDER = ("ah", "oo", "eh", "ee", "aw", "ah", "ee", "oo")


def truth_of(song: Song, name: str, set_name: str, *, held_out: bool = False) -> Truth:
    """What follows from the decisions; nothing of it is measured."""
    beats = song.beats()
    drops_s = tuple(float(beats[(bar - 1) * BEATS_PER_BAR]) for bar in song.drop_bars)
    caveats = ("half-time: its stated tempo is a convention",) if song.style == "half-time" else ()
    return Truth(
        name=name,
        set=set_name,
        tempo_bpm=song.tempo_bpm,
        first_beat_s=song.first_beat_s,
        beats=beats[:-1],
        drop_s=drops_s[0],
        drops_s=drops_s,
        key=song.key,
        voice_bars=song.voice_bars,
        bars=song.bars,
        tonal=None if song.drums_only and song.voice_bars else not song.drums_only,
        held_out=held_out,
        fixed_tempo=song.warp[0] == 0.0,
        caveats=caveats,
    )


@dataclass
class Desk:
    """The mix as it grows, `(2, frames)`, and where each step of each bar lies in it."""

    mix: npt.NDArray[np.float32]
    beats: Times
    swing: float
    stray_s: float
    rng: np.random.Generator

    def at(self, bar: int, step: float) -> float:
        """Seconds of a sixteenth of a bar, the off ones late by the swing."""
        whole = int(step)
        if step == whole and whole % 2:
            step = whole - 1 + 2 * self.swing
        beat = (bar - 1) * BEATS_PER_BAR + step / 4
        return float(np.interp(beat, np.arange(self.beats.size), self.beats))

    def put(self, sound: Mono, bar: int, step: float, gain: float, pan: float = 0.5) -> None:
        stray_s = self.rng.uniform(-self.stray_s, self.stray_s) if self.stray_s else 0.0
        start = max(0, nearest_frame((self.at(bar, step) + stray_s) * RATE_HZ))
        part = sound[: max(0, self.mix.shape[1] - start)]
        self.mix[0, start : start + part.size] += part * np.float32(gain * np.cos(pan * np.pi / 2) * 1.414)
        self.mix[1, start : start + part.size] += part * np.float32(gain * np.sin(pan * np.pi / 2) * 1.414)


def desk_of(song: Song, mix: npt.NDArray[np.float32]) -> Desk:
    """The desk over a mix `(2, frames)` of that song."""
    return Desk(mix, song.beats(), song.swing, song.warp[1], np.random.default_rng([song.seed, 4]))


def sound_of(song: Song) -> Audio:
    """The record's sound, `(frames, 2)`, peaking below full scale."""
    rng = np.random.default_rng([song.seed, 2])
    beats = song.beats()
    frames = nearest_frame((beats[-1] + TAIL_S) * RATE_HZ)
    mix = np.zeros((2, frames), dtype=np.float32)
    desk = desk_of(song, mix)
    kit, voices = drum_kit(rng), Voices(brightness=float(rng.uniform(0.5, 1.1)))
    stab, arpeggio = rng.random() < 0.5, rng.random() < 0.6
    for section in song.sections:
        for bar in range(section.first_bar, section.first_bar + section.bars):
            _drums(desk, song, section, bar, kit)
            if not song.drums_only:
                _harmony(desk, song, section, bar, voices, stab=stab, arpeggio=arpeggio)
            if bar in song.voice_bars:
                _singer(desk, song, bar, voices)
        if section.part == "build":
            _build(desk, song, section, kit)
    if song.pick_up:  # a few strokes that lead into bar 1
        for step in (-2, -1):
            if song.first_beat_s > 2 * song.beat_s / 4:
                start = nearest_frame((song.first_beat_s + step * song.beat_s / 4) * RATE_HZ)
                mix[:, start : start + kit["rim"].size] += 0.5 * kit["rim"]
    sound = np.ascontiguousarray(mix.T)
    sound *= np.float32(PEAK / np.max(np.abs(sound)))
    return sound


def _drums(desk: Desk, song: Song, section: Section, bar: int, kit: dict[str, Mono]) -> None:
    patterns = GROOVES[song.style][song.groove]
    last = bar == section.first_bar + section.bars - 1
    for drum, turns in patterns.items():
        if drum not in HEARD_PARTS[section.part]:
            continue
        pattern = turns[(bar - 1) % len(turns)]
        if last and drum in ("snare", "clap"):
            pattern = pattern[:12] + "XoXx"
        for step, mark in enumerate(pattern):
            if mark != ".":
                gain = STRENGTH[mark] * LEVEL[section.part] * desk.rng.uniform(0.9, 1.0)
                desk.put(kit[drum], bar, step, gain, PAN.get(drum, 0.5))
    if bar == section.first_bar and section.part in ("drop", "fake", "break"):
        desk.put(kit["crash"], bar, 0, 0.7)


def _harmony(
    desk: Desk, song: Song, section: Section, bar: int, voices: Voices, *, stab: bool, arpeggio: bool
) -> None:
    root, triad = song.chord(bar)
    step_s = song.beat_s / 4
    level = LEVEL[section.part]
    if section.part in ("drop", "fake"):
        for step, mark in enumerate(song.bass):
            if mark == "X":
                held = len(song.bass[step + 1 :]) - len(song.bass[step + 1 :].lstrip("-"))
                desk.put(voices.bass(root, (1 + held) * step_s), bar, step, 0.55)
    if section.part in ("intro", "outro") and not stab:
        return
    if stab and section.part not in ("break", "build"):
        for step in (0, 3, 6, 10) if song.style != "four-on-the-floor" else (2, 6, 10, 14):
            desk.put(voices.chord(triad, 3 * step_s, True), bar, step, 0.3 * level, 0.55)
    else:
        desk.put(voices.chord(triad, 16 * step_s, False), bar, 0, 0.22 * level, 0.45)
    if arpeggio and section.part in ("verse", "drop", "break"):
        for step in range(0, STEPS_PER_BAR, 2):
            note = triad[step // 2 % 3] + 12
            desk.put(voices.pluck(note, 2 * step_s), bar, step, 0.16 * level, 0.35 + 0.3 * (step % 4) / 2)


def _singer(desk: Desk, song: Song, bar: int, voices: Voices) -> None:
    """Four syllables a bar, on the chord's notes, in the middle of the stereo image."""
    _, triad = song.chord(bar)
    for number, step in enumerate((0, 4, 7, 12)):
        vowel = VOWEL_ORDER[(number + 4 * bar) % len(VOWEL_ORDER)]
        note = triad[VERSE[(number + 4 * bar) % len(VERSE)] % 3] - 12 * (song.seed % 2)
        length_s = (3.6, 2.7, 4.5, 3.6)[number] * song.beat_s / 4
        desk.put(voices.sung(note, vowel, length_s), bar, step, SINGER * LEVEL[song.section_of(bar).part])


def _build(desk: Desk, song: Song, section: Section, kit: dict[str, Mono]) -> None:
    """A roll that doubles, and noise that swells, up to the bar line of the drop."""
    drum = kit.get("snare" if "snare" in GROOVES[song.style][song.groove] else "clap")
    assert drum is not None
    for bar in range(section.first_bar, section.first_bar + section.bars):
        done = (bar - section.first_bar) / section.bars
        every = 8 if done < 0.25 else 4 if done < 0.5 else 2 if done < 0.75 else 1
        for step in range(0, STEPS_PER_BAR, every):
            desk.put(drum, bar, step, 0.15 + 0.45 * done)
    start, end = desk.at(section.first_bar, 0), desk.at(section.first_bar + section.bars - 1, 15.9)
    noise = riser(nearest_frame((end - start) * RATE_HZ), np.random.default_rng([song.seed, 3]))
    desk.put(noise, section.first_bar, 0, 1.0)
