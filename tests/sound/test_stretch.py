"""Both engines, one contract: length, landing, pitch, level, and the same bytes twice.

Truth is arithmetic: what a perfect stretch would give is synthesised (`exact_passages`), hits at time / speed. That
a semitone is a factor of 2^(1/12) is equal temperament.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from exact_passages import CHORD_HZ, RATE_HZ, beats_of, passage
from scipy import signal

from render.faults import ToolError
from render.files.rubberband import Rubberband
from render.files.rubberband_program import find_rubberband
from render.sound.onsets import onset_lags_ms
from render.sound.signalsmith import Signalsmith
from render.sound.stretch import HEADROOM, RESIDUAL_LIMIT_MS, SHORTEST_S, resampled, stretched
from render.values import Audio
from tests.cases import first_of

ENGINES = [
    pytest.param(
        "rubberband",
        marks=pytest.mark.skipif(
            find_rubberband() is None, reason="no `rubberband` with the fine engine here"
        ),
    ),
    "signalsmith",
]
SPEEDS = first_of([0.9, 1.06], [0.9, 0.94, 0.98, 1.024, 1.06, 1.1])
DRUMS = ("kick+hat", "snare+hat", "kick+hat", "snare+hat")
LANDING_MS, MEDIAN_MS, WORST_BEAT_MS = 1.0, 0.3, 2.0
"""What the program promises of every clip."""
CENT = 1.0
"""A fifth of the least change of pitch a listener notices, about 5 cents (from memory)."""


@pytest.fixture(params=ENGINES)
def engine(request):
    if request.param == "signalsmith":
        return Signalsmith()
    return Rubberband(find_rubberband())


def click_deviations_ms(heard, beats, rate_hz=RATE_HZ):
    """Where the highest peak above 4 kHz lies within 8 ms of each beat: clicks, freed of what sounds below."""
    sections = signal.butter(4, 4000.0, "highpass", fs=rate_hz, output="sos")
    sound = np.abs(signal.sosfiltfilt(sections, heard[:, 0].astype(np.float64)))
    reach = round(0.008 * rate_hz)
    centres = np.round(beats).astype(int)
    peaks = np.array([np.argmax(sound[at - reach : at + reach]) - reach + at for at in centres])
    return (peaks - beats) * 1000.0 / rate_hz


def inner(beats):
    """Without the beats in the pads, which no clip uses."""
    return beats[1:-1]


@pytest.mark.parametrize("speed", SPEEDS)
def test_clicks_over_kicks_and_a_chord_fall_where_they_belong(engine, speed):
    source = passage("click+kick", chord_hz=CHORD_HZ)
    heard = stretched(source, RATE_HZ, speed, 0.0, engine)
    deviations_ms = click_deviations_ms(heard, inner(beats_of(speed)))
    assert np.abs(deviations_ms).max() <= LANDING_MS
    assert np.median(np.abs(deviations_ms)) <= MEDIAN_MS


@pytest.mark.parametrize("speed", SPEEDS)
def test_drums_under_a_chord_land(engine, speed):
    heard = stretched(passage(*DRUMS, chord_hz=CHORD_HZ), RATE_HZ, speed, 0.0, engine)
    truth = passage(*DRUMS, chord_hz=CHORD_HZ, speed=speed)
    lags_ms = onset_lags_ms(heard, truth, RATE_HZ, inner(beats_of(speed)))
    assert None not in lags_ms
    assert abs(lags_ms[len(lags_ms) // 2]) <= LANDING_MS
    assert np.abs(lags_ms).max() <= WORST_BEAT_MS
    assert np.median(np.abs(lags_ms)) <= MEDIAN_MS


@pytest.mark.parametrize("semitones", [-1.0, 1.0])
@pytest.mark.parametrize("speed", first_of([1.06], [0.94, 1.0, 1.06]))
def test_moving_the_pitch_moves_no_attack(engine, speed, semitones):
    heard = stretched(passage("click"), RATE_HZ, speed, semitones, engine)
    deviations_ms = click_deviations_ms(heard, inner(beats_of(speed)))
    assert np.abs(deviations_ms).max() <= LANDING_MS


@pytest.mark.parametrize("rate_hz", [32_000, 48_000])
def test_other_rates_land_as_well(engine, rate_hz):
    source = np.repeat(passage("click+kick", chord_hz=CHORD_HZ, rate_hz=rate_hz), 2, axis=1)
    heard = stretched(source, rate_hz, 1.06, 0.0, engine)
    deviations_ms = click_deviations_ms(heard, inner(beats_of(1.06, rate_hz)), rate_hz)
    assert np.abs(deviations_ms).max() <= LANDING_MS


def cents_off(heard, partials_hz):
    """How far each partial is from where it should be: the drift of its phase, read every half second.

    A Hann window of half a second hears nothing but noise of partials 50 Hz away.
    """
    partials_hz = np.asarray(partials_hz)
    span = RATE_HZ // 2
    sound = heard[RATE_HZ:-RATE_HZ, 0].astype(np.float64)
    pieces = sound[: len(sound) // span * span].reshape(-1, span) * np.hanning(span)
    carrier = np.exp(-2j * np.pi * np.outer(np.arange(span) / RATE_HZ, partials_hz))
    starts_s = np.arange(len(pieces))[:, None] * 0.5
    phases = np.angle(pieces @ carrier * np.exp(-2j * np.pi * starts_s * partials_hz))
    drift = np.polyfit(starts_s[:, 0], np.unwrap(phases, axis=0), 1)[0]
    return 1200 * np.log2(1 + drift / (2 * np.pi * partials_hz))


@pytest.mark.parametrize("speed", SPEEDS)
def test_a_chord_keeps_its_pitch(engine, speed):
    heard = stretched(passage(chord_hz=CHORD_HZ), RATE_HZ, speed, 0.0, engine)
    assert np.abs(cents_off(heard, CHORD_HZ)).max() <= CENT


@pytest.mark.parametrize("semitones", [-2.0, 1.0])
@pytest.mark.parametrize("speed", first_of([0.98], [0.98, 1.0, 1.06]))
def test_a_chord_moves_by_the_semitones_asked_for(engine, speed, semitones):
    heard = stretched(passage(chord_hz=CHORD_HZ), RATE_HZ, speed, semitones, engine)
    assert np.abs(cents_off(heard, np.array(CHORD_HZ) * 2 ** (semitones / 12))).max() <= CENT


@pytest.mark.parametrize("speed", SPEEDS)
def test_a_pitch_that_follows_is_exact_to_the_sample(speed):
    time_s = np.arange(6 * RATE_HZ) / RATE_HZ
    tone = np.sin(2 * np.pi * 997.0 * time_s).astype(np.float32)[:, None]
    heard = stretched(tone, RATE_HZ, speed, None, NoEngine())
    wanted = np.sin(2 * np.pi * 997.0 * speed * np.arange(len(heard)) / RATE_HZ)
    # 1e-5 is what a shift by 0.0001 frames would do; the very ends lack one side of the filter.
    assert np.abs(heard[2000:-2000, 0] - wanted[2000:-2000]).max() < 1e-5
    clicks = stretched(passage("click"), RATE_HZ, speed, None, NoEngine())
    # The peak of a click is found on whole frames: 0.011 ms.
    assert np.abs(click_deviations_ms(clicks, beats_of(speed))).max() < 0.012


@pytest.mark.parametrize("semitones", [0.0, 1.0, None])
@pytest.mark.parametrize("frames", first_of([0, 1, 12_345], [0, 1, 2, 100, 12_345]))
@pytest.mark.parametrize("channels", first_of([2], [1, 2]))
def test_any_length_comes_out_exact(engine, frames, channels, semitones):
    noise = 0.1 * np.random.default_rng(4).standard_normal((frames, channels))
    for speed in (0.94, 1.0, 1.06):
        heard = stretched(noise.astype(np.float32), RATE_HZ, speed, semitones, engine)
        assert heard.shape == (int(np.floor(frames / speed + 0.5)), channels)
        assert heard.dtype == np.float32
        assert np.isfinite(heard).all()


def test_silence_stays_silence_and_asks_no_engine():
    heard = stretched(np.zeros((44_100, 2), dtype=np.float32), RATE_HZ, 1.05, 0.0, NoEngine())
    assert heard.shape == (42_000, 2)
    assert not heard.any()


@pytest.mark.parametrize("semitones", [0.0, None])
def test_nothing_to_do_leaves_the_sound_untouched_and_apart(semitones):
    source = passage("click")
    heard = stretched(source, RATE_HZ, 1.0, semitones, NoEngine())
    assert np.array_equal(heard, source)
    assert not np.shares_memory(heard, source)


def test_the_same_passage_gives_the_same_bytes(engine):
    source = np.repeat(passage(*DRUMS, chord_hz=CHORD_HZ, noise=0.01)[: 4 * RATE_HZ], 2, axis=1)
    before = source.copy()
    first = stretched(source, RATE_HZ, 1.03, 0.0, engine)
    assert first.tobytes() == stretched(source, RATE_HZ, 1.03, 0.0, engine).tobytes()
    assert np.array_equal(source, before)


@pytest.mark.parametrize("peak", first_of([1.4, 0.001], [1.4, 1.0, 0.01, 0.001]))
def test_level_is_kept_loud_and_quiet(engine, peak):
    """A chord at full scale, above it (as a decoder may give it), and 40 and 60 dB below.

    0.3 dB: the partials of the fine engine breathe by that much.
    """
    chord = passage(chord_hz=CHORD_HZ[2:5], noise=1e-7)
    source = (chord * (peak / np.abs(chord).max())).astype(np.float32)
    heard = stretched(source, RATE_HZ, 1.024, 0.0, engine)
    inside = slice(RATE_HZ, -RATE_HZ)
    gain_db = 10 * np.log10(np.mean(heard[inside] ** 2.0) / np.mean(source[inside] ** 2.0))
    assert abs(gain_db) < 0.3


def test_a_clipped_record_is_not_cut_off_again(engine):
    """A square wave at full scale rises well above it once its partials have other phases."""
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    square = np.sign(np.sin(2 * np.pi * 100.3 * time_s)).astype(np.float32)[:, None]
    heard = stretched(square, RATE_HZ, 1.024, 0.0, engine)
    inside = heard[RATE_HZ // 2 : -RATE_HZ // 2]
    assert np.abs(inside).max() > 1.1
    assert abs(10 * np.log10(np.mean(inside**2))) < 0.3


def test_the_channels_stay_apart(engine):
    left = passage("click")[:, 0]
    source = np.stack([left, np.zeros_like(left)], axis=1)
    heard = stretched(source, RATE_HZ, 1.024, 0.0, engine)
    assert np.abs(heard[:, 0]).max() > 0.1
    assert np.abs(heard[:, 1]).max() < 1e-4  # 74 dB below the clicks


class NoEngine:
    name, version = "none", "0"

    def stretch(self, audio, rate_hz, speed, semitones):
        raise AssertionError("no engine is needed here")


@dataclass
class LateEngine:
    """Exact but for a delay, with the pitch following the tempo."""

    late_frames: int
    name: str = "late"
    version: str = "0"
    peaks: list[float] = field(default_factory=list)
    lengths: list[int] = field(default_factory=list)

    def stretch(self, audio, rate_hz, speed, semitones):
        self.peaks.append(float(np.abs(audio).max()))
        self.lengths.append(len(audio))
        exact = resampled(audio, rate_hz * speed, rate_hz)
        return np.pad(exact, ((self.late_frames, 0), (0, 0)))


@pytest.mark.parametrize("late_frames", [0, 1, 20, 70])
def test_a_delay_all_attacks_share_is_taken_out(late_frames):
    """To a frame: the lag is read between steps of eight."""
    source = passage(*DRUMS, chord_hz=CHORD_HZ)
    heard = stretched(source, RATE_HZ, 1.024, 0.0, LateEngine(late_frames))
    plain = stretched(source, RATE_HZ, 1.024, None, NoEngine())
    inside = plain[2000:-2000]  # the ends lack one side of the resampling filter
    off = [np.abs(heard[2000 + by : len(heard) - 2000 + by] - inside).max() for by in (-1, 0, 1)]
    assert min(off) < 1e-5


@pytest.mark.parametrize(
    ("pattern", "chord_hz", "late_ms"),
    [(DRUMS, (), 2 * RESIDUAL_LIMIT_MS), ((), CHORD_HZ, 1.0)],
    ids=["more than any engine", "nothing to measure"],
)
def test_a_delay_that_cannot_be_right_or_told_is_left_alone(pattern, chord_hz, late_ms):
    source = passage(*pattern, chord_hz=chord_hz)
    late_frames = round(late_ms * RATE_HZ / 1000)
    heard = stretched(source, RATE_HZ, 1.024, 0.0, LateEngine(late_frames))
    plain = stretched(source, RATE_HZ, 1.024, None, NoEngine())
    assert np.abs(heard[2000:-2000] - plain[2000 - late_frames : -2000 - late_frames]).max() < 1e-5


@pytest.mark.parametrize("gain", [3.0, 1.0, 0.3, 1e-3])
def test_an_engine_is_given_headroom_and_no_whisper(gain):
    late = LateEngine(0)
    stretched((passage("click") * gain).astype(np.float32), RATE_HZ, 1.024, 0.0, late)
    assert HEADROOM / 2 <= late.peaks[0] <= HEADROOM


def test_an_engine_is_given_enough_to_work_with():
    late = LateEngine(0)
    heard = stretched(np.ones((1, 1), dtype=np.float32), RATE_HZ, 0.94, 0.0, late)
    assert late.lengths == [round(SHORTEST_S * RATE_HZ)]
    assert heard.shape == (1, 1)


@dataclass(frozen=True)
class _Broken:
    """An engine that gives something else than sound of the right length."""

    gives: Callable[[Audio, float], Audio]
    name: str = "broken"
    version: str = "0"

    def stretch(self, audio: Audio, rate_hz: int, speed: float, semitones: float) -> Audio:
        return self.gives(audio, speed)


@pytest.mark.parametrize(
    ("gives", "wrong"),
    [
        (lambda audio, speed: audio[:0], "0.00 s of sound"),
        (lambda audio, speed: audio[:100], "0.00 s of sound"),
        (lambda audio, speed: audio[: round(len(audio) / speed), :1], "shape"),
        (lambda audio, speed: audio[: round(len(audio) / speed)] * 0, "silence"),
        (lambda audio, speed: audio[: round(len(audio) / speed)] * np.float32("nan"), "no numbers"),
    ],
)
def test_an_engine_that_fails_without_saying_so_is_found_out(gives, wrong):
    noise = np.random.default_rng(3).standard_normal((44_100, 2)).astype(np.float32)
    with pytest.raises(ToolError, match=wrong):
        stretched(noise, 44_100, 1.05, 0.0, _Broken(gives))
