"""MIDI pieces written here, so that tempo, beats and key are known by construction.

A piece is four chords of one key over and over, a bass, a tune that comes home to the tonic, and drums on the tenth
channel; a piece without a key is drums alone. The bytes follow the Standard MIDI File format 0 (MIDI Manufacturers
Association, Standard MIDI Files 1.0, RP-001): a header chunk, one track chunk, variable-length deltas.
"""

import struct
from dataclasses import dataclass

import numpy as np

from tests.ground_truth.songs import MAJOR, MINOR, PROGRESSIONS, TONICS

TICKS_PER_BEAT = 480
BEATS_PER_BAR = 4
DRUM_CHANNEL = 9
KICK, SNARE, HAT = 36, 38, 42
"""General MIDI level 1, percussion key map."""
PROGRAMS = ((0, 32, 73), (4, 33, 80), (48, 38, 11), (88, 39, 81))
"""General MIDI programs from 0 for chords, bass and tune: pianos, strings and pads, and what goes with them."""
TUNE = (0, 1, 2, 4, 3, 2, 1, 0, 2, 4, 5, 4, 2, 1, 6, 0)
"""Degrees of the scale, two a bar over a phrase of eight bars; it begins and ends on the tonic."""


@dataclass(frozen=True)
class Written:
    seed: int
    tempo_bpm: float
    tonic: int
    mode: str | None
    progression: tuple[int, ...] = (0, 3, 4, 0)
    bars: int = 40
    held_out: bool = False

    @property
    def key(self) -> str | None:
        return None if self.mode is None else f"{TONICS[self.tonic]} {self.mode}"

    @property
    def name(self) -> str:
        return f"written {self.seed:02d}, {self.key or 'drums alone'}"

    @property
    def stem(self) -> str:
        return self.name.replace(" ", "-").replace(",", "").replace("#", "-sharp")

    @property
    def microseconds_per_beat(self) -> int:
        return round(60e6 / self.tempo_bpm)

    @property
    def length_s(self) -> float:
        return self.bars * BEATS_PER_BAR * self.microseconds_per_beat / 1e6

    def notes(self) -> list[tuple[float, float, int, int, int]]:
        """(beat, beats, channel, note, velocity) of everything that is played."""
        played: list[tuple[float, float, int, int, int]] = []
        rng = np.random.default_rng([self.seed, 9])
        for bar in range(self.bars):
            start = bar * BEATS_PER_BAR
            played += [
                (start + beat, 0.25, DRUM_CHANNEL, KICK, 110) for beat in (0.0, 2.5 if bar % 2 else 2.0)
            ]
            played += [(start + beat, 0.25, DRUM_CHANNEL, SNARE, 100) for beat in (1.0, 3.0)]
            played += [(start + half / 2, 0.1, DRUM_CHANNEL, HAT, 80 - 20 * (half % 2)) for half in range(8)]
            if self.mode is None:
                continue
            degree = self.progression[bar % len(self.progression)]
            triad = [self._note(degree + third, 48) for third in (0, 2, 4)]
            played += [(start, 3.9, 0, note, 70) for note in triad]
            played += [(start + beat, 0.9, 1, self._note(degree, 36), 90) for beat in (0.0, 1.5, 3.0)]
            for half in (0, 1):
                step = TUNE[(2 * bar + half) % len(TUNE)]
                if rng.random() < 0.8:
                    played.append((start + 2 * half, 1.8, 2, self._note(step, 72), 85))
        return played

    def _note(self, degree: int, lowest: int) -> int:
        scale = MINOR if self.mode == "minor" else MAJOR
        return lowest + self.tonic % 12 + scale[degree % 7] + 12 * (degree // 7)

    def midi_file(self) -> bytes:
        """The piece as a Standard MIDI File."""
        events: list[tuple[int, bytes]] = [
            (0, b"\xff\x51\x03" + self.microseconds_per_beat.to_bytes(3, "big")),
            *(
                (0, bytes([0xC0 | channel, program]))
                for channel, program in enumerate(PROGRAMS[self.seed % 4])
            ),
        ]
        for beat, beats, channel, note, velocity in self.notes():
            events.append((round(beat * TICKS_PER_BEAT), bytes([0x90 | channel, note, velocity])))
            events.append((round((beat + beats) * TICKS_PER_BEAT), bytes([0x80 | channel, note, 0])))
        # Ends before beginnings where they meet, so that a repeated note sounds again.
        events.sort(key=lambda event: (event[0], event[1][0] & 0xF0 == 0x90))
        track, last = b"", 0
        for tick, data in events:
            track += _variable_length(tick - last) + data
            last = tick
        track += b"\x00\xff\x2f\x00"
        header = struct.pack(">4sIHHH", b"MThd", 6, 0, 1, TICKS_PER_BEAT)
        return header + struct.pack(">4sI", b"MTrk", len(track)) + track


def _variable_length(number: int) -> bytes:
    """Seven bits a byte, the highest first, all but the last with the top bit set."""
    out = [number & 0x7F]
    while number := number >> 7:
        out.append(0x80 | (number & 0x7F))
    return bytes(reversed(out))


def _draw(seed: int) -> Written:
    rng = np.random.default_rng([seed, 8])
    mode = None if seed % 8 == 7 else "minor" if rng.random() < 0.5 else "major"
    progressions = PROGRESSIONS[mode or "minor"]
    microseconds = round(60e6 / rng.uniform(88, 172))
    return Written(
        seed=seed,
        tempo_bpm=60e6 / microseconds,
        tonic=int(rng.integers(12)),
        mode=mode,
        progression=progressions[int(rng.integers(len(progressions)))],
        held_out=seed % 3 == 2,
    )


WRITTEN = tuple(_draw(seed) for seed in range(24))
