"""A record that runs r times as fast is 12·log2(r) equal semitones higher, and 1/r as long (common practice).

The ratio of a semitone is the twelfth root of 2, so that n of them are a factor of 2^(n/12). Expected values are
computed from that definition; what becomes of a tone of 440 Hz was also measured with sox's `speed`: 446.4144 Hz, read
from a spectrum, and 1,303,991 frames.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest

from render.sound.stretch import stretched
from render.values import Audio, semitones_of
from tests.plan.planning import Record, planned

RATE_HZ = 44_100

SHIFTS = [
    (0.9, -1.8240371213405995), (0.92, -1.4435308046125412), (0.94, -1.0712080571650489),
    (0.97, -0.5273201710511647), (171.5 / 174, -0.2505447561109919), (174 / 171.5, 0.2505447561109926),
    (174 / 170, 0.40263071653231713), (1.03, 0.5117320489019247), (1.06, 1.0087711774616945),
    (4 / 3, 4.980449991346125), (45 / (100 / 3), 5.1955128873132725), (174 / 128, 5.315321950184739),
    (1.5, 7.019550008653875), (2.0, 12.0),
]  # fmt: skip
"""Speed, semitones. 100/3 and 45 are the turns a minute of two kinds of record."""

SEMITONE_AWAY_BPM = [
    (128.0, 120.81591202325677, -1), (128.0, 135.6112760779898, 1), (174.0, 164.23413040661467, -1),
]  # fmt: skip
"""BPM, and the BPM at which it is so many semitones off: 128·2^(±1/12), 174·2^(-1/12)."""

TONE_HZ, FASTER_HZ = 440.0, 446.4139941690962
"""440 Hz, and 440·174/171.5 Hz."""


@pytest.mark.parametrize(("speed", "semitones"), SHIFTS)
def test_pitch_follows_speed(speed: float, semitones: float) -> None:
    assert semitones_of(speed) == pytest.approx(semitones, abs=1e-9)
    assert 100 * semitones_of(speed) == pytest.approx(1200 * math.log2(speed), abs=1e-7)  # in cents


@pytest.mark.parametrize(("bpm", "moved_bpm", "semitones"), SEMITONE_AWAY_BPM)
def test_a_semitone_is_the_twelfth_root_of_2(bpm: float, moved_bpm: float, semitones: int) -> None:
    assert semitones_of(moved_bpm / bpm) == pytest.approx(semitones, abs=1e-12)


BROKEN: dict[str, Callable[[float], float]] = {
    "the wrong way round": lambda speed: 12 * math.log2(1 / speed),
    "natural logarithm": lambda speed: 12 * math.log(speed),
    "six percent a semitone": lambda speed: (speed - 1) / 0.06,
    "an octave of ten": lambda speed: 10 * math.log2(speed),
}


@pytest.mark.parametrize("broken", BROKEN)
def test_another_formula_would_be_noticed(broken: str) -> None:
    assert all(BROKEN[broken](speed) != pytest.approx(semitones, abs=1e-9) for speed, semitones in SHIFTS)


class NoEngine:
    """A pitch that follows the tempo is not asked of an engine."""

    name, version = "none", ""

    def stretch(self, audio: Audio, rate_hz: int, speed: float, semitones: float) -> Audio:
        raise AssertionError("a pitch that follows needs no engine")


def frequency_hz(sound: Audio) -> float:
    """Of a steady tone of 25 s or more.

    First the highest bin of a spectrum of 2^20 frames, half a bin (0.021 Hz) off at the most; then by how much the
    phase turns against that between two Hann windows of a second, 20 s apart, which is one turn for 0.05 Hz.
    """
    frames = 2**20
    near_hz = int(np.argmax(np.abs(np.fft.rfft(sound[:frames, 0] * np.hanning(frames))))) * RATE_HZ / frames
    still = sound[:, 0] * np.exp(-2j * np.pi * near_hz * np.arange(len(sound)) / RATE_HZ)
    starts = (2 * RATE_HZ, 22 * RATE_HZ)
    first, last = (np.sum(still[start : start + RATE_HZ] * np.hanning(RATE_HZ)) for start in starts)
    return near_hz + float(np.angle(last / first)) / (2 * np.pi * 20)


def test_a_tone_of_a_faster_record_is_higher_and_shorter() -> None:
    time_s = np.arange(30 * RATE_HZ) / RATE_HZ
    tone = (0.5 * np.sin(2 * np.pi * TONE_HZ * time_s)).astype(np.float32)[:, None]
    heard = stretched(tone, RATE_HZ, 174 / 171.5, None, NoEngine())
    assert len(heard) == 1_303_991
    assert frequency_hz(heard) == pytest.approx(FASTER_HZ, abs=1e-6)
    # A pitch that was kept would read this:
    assert frequency_hz(tone) == pytest.approx(TONE_HZ, abs=1e-6)


def told(code: str, bpm: float, clip_bpm: float, pitch: str, key: str = "F minor") -> list[tuple[str, float]]:
    lines = "first_beat: 0; markers: {drop: 100 s}"
    tracks = {
        "flint": Record(f"bpm: {bpm!r}; {lines}; key: {key}; pitch: {pitch}"),
        "steel": Record(f"bpm: {clip_bpm!r}; {lines}; key: F minor"),
    }
    reasons = planned(tracks, f"tempo: {clip_bpm!r}\nlead: 16 beats\ntail: 16 beats").reasons
    return [(reason.text, reason.value or 0.0) for reason in reasons if reason.code == code]


def test_the_plan_tells_the_shift() -> None:
    [(text, shift)] = told("pitch-follows", 171.5, 174.0, "follow")
    assert shift == pytest.approx(0.2505447561109926, abs=1e-9)
    assert text == "flint changes pitch by +0.25 semitones"
    assert told("pitch-follows", 171.5, 174.0, "0") == []


@pytest.mark.parametrize(
    ("bpm", "clip_bpm", "key", "sounds_in"),
    [
        (164.23413040661467, 174.0, "E minor", "F minor"),
        (174.0, 164.23413040661467, "F# minor", "F minor"),
        (120.81591202325677, 128.0, "B major", "C major"),
        (135.6112760779898, 128.0, "C major", "B major"),
        (171.5, 174.0, "F minor", None),  # a quarter of a semitone: between two keys
        (172.5, 174.0, "F minor", "F minor"),  # 0.15 semitones
    ],
)
def test_the_key_of_a_record_moves_with_its_pitch(
    bpm: float, clip_bpm: float, key: str, sounds_in: str | None
) -> None:
    texts = [text for text, _ in told("keys", bpm, clip_bpm, "follow", key)]
    assert [text.split(" over ")[0] for text in texts] == ([f"flint in {sounds_in}"] if sounds_in else [])
    kept = [text for text, _ in told("keys", bpm, clip_bpm, "0", key)]
    assert [text.split(" over ")[0] for text in kept] == [f"flint in {key}"]
