"""A record that drifts goes on at another speed: held sounds stay even, nothing clicks, attacks stay in place."""

import shutil
from functools import cache

import numpy as np
import pytest

from render.files.engines import EngineChoice, engine_of
from render.sound.onsets import onset_lags_ms
from render.sound.phases import BLOCK_S, TURN_S, in_phase
from render.sound.seams import Placed, lane_of
from render.sound.stretch import stretched_beside_plain
from render.values import Audio
from tests.cases import first_of

RATE_HZ = 44_100
ENGINES = [
    pytest.param(
        "rubberband",
        marks=pytest.mark.skipif(not shutil.which("rubberband"), reason="needs the rubberband executable"),
    ),
    "signalsmith",
]
BAR = 61_740
"""Clip frames of a bar of 1.4 s, about 171 BPM."""
SPEEDS = (1.012, 1.008, 1.0, 0.994, 0.995, 1.002, 1.009)
"""A tempo that wanders by one percent from bar to bar."""
SEAMS = [BAR * bar for bar in range(1, len(SPEEDS))]
PAD = RATE_HZ // 4
HELD = {
    "a tone": (252.4,),
    "a bass": (55.0,),
    "a pad": (55.0, 110.3, 220.9, 277.7, 330.2, 441.7, 660.5, 1046.5),
}


def starts() -> list[float]:
    """Source frames at which the bars begin, and the last ends."""
    return [float(RATE_HZ + at) for at in np.concatenate([[0.0], np.cumsum(np.multiply(SPEEDS, BAR))])]


def held(tones_hz: tuple[float, ...]) -> Audio:
    """Steady tones over a noise floor of -120 dB; (frames, 1)."""
    time_s = np.arange(int(starts()[-1]) + RATE_HZ) / RATE_HZ
    sound = sum(np.sin(2 * np.pi * hz * time_s + 1.7 * at) for at, hz in enumerate(tones_hz))
    noise = 1e-6 * np.random.default_rng(2).standard_normal(len(time_s))
    return (0.1 * sound / np.sqrt(len(tones_hz)) + noise).astype(np.float32)[:, None]


def with_hits(sound: Audio) -> Audio:
    """Bursts of noise on every beat, softer ones on the last three sixteenths of each bar."""
    burst = np.random.default_rng(1).uniform(-1, 1, 2500) * np.exp(-np.arange(2500) / 300)
    struck = sound.copy()
    for start, end in zip(starts()[:-1], starts()[1:], strict=True):
        for step in (0, 4, 8, 12, 13, 14, 15):
            at = round(start + (end - start) * step / 16)
            struck[at : at + 2500, 0] += (0.4 if step % 4 == 0 else 0.2) * burst
    return struck


def bars(sound: Audio, choice: EngineChoice) -> tuple[list[Placed], list[Placed]]:
    """The bars stretched by an engine, and plainly resampled."""
    heard, plain = [], []
    for bar, (start, end, speed) in enumerate(zip(starts()[:-1], starts()[1:], SPEEDS, strict=True)):
        first = int(start) - PAD
        both = stretched_beside_plain(sound[first : int(end) + PAD], RATE_HZ, speed, 0.0, engine_of(choice))
        body = round((start - first) / speed)
        for passages, audio in zip((heard, plain), both, strict=True):
            passages.append(Placed(audio, body, body + BAR, bar * BAR))
    return heard, plain


@cache
def bars_of_held(name: str, choice: EngineChoice) -> list[Placed]:
    return bars(held(HELD[name]), choice)[0]


def joined(passages: list[Placed], turned: bool = True) -> Audio:
    goes_on = [False] + [True] * (len(passages) - 1)
    laid = in_phase(passages, goes_on, RATE_HZ) if turned else passages
    return lane_of(laid, passages[-1].end, RATE_HZ, 0, 0)


def level_db(audio: Audio) -> np.ndarray:
    """The level over 50 ms, moment by moment: a few periods of 55 Hz, a third of the time a seam takes."""
    window = np.hanning(round(0.05 * RATE_HZ))
    power = np.convolve(audio[:, 0].astype(np.float64) ** 2, window / window.sum(), mode="same")
    return 10 * np.log10(power)


def deepest_dip_db(audio: Audio) -> float:
    level = level_db(audio)
    usual = np.median(level)
    return float(usual - min(level[seam - 12_000 : seam + 3_000].min() for seam in SEAMS))


def bend(audio: Audio, start: int, end: int) -> float:
    """The largest second difference: what a click is made of."""
    return float(np.abs(np.diff(audio[start:end, 0].astype(np.float64), n=2)).max())


@pytest.mark.parametrize("choice", ENGINES)
@pytest.mark.parametrize("name", first_of(["a bass"], HELD))
def test_a_held_sound_does_not_dip_where_the_speed_changes(name: str, choice: EngineChoice) -> None:
    heard = bars_of_held(name, choice)
    assert deepest_dip_db(joined(heard)) <= 0.5
    if name != "a pad":  # whose partials never all cancel at once
        assert deepest_dip_db(joined(heard, turned=False)) > 0.6


@pytest.mark.parametrize("choice", ENGINES)
@pytest.mark.parametrize("name", first_of(["a bass"], HELD))
def test_nothing_clicks_where_the_speed_changes(name: str, choice: EngineChoice) -> None:
    heard = bars_of_held(name, choice)
    audio = joined(heard)
    within = max(bend(audio, seam + 10_000, seam + 40_000) for seam in SEAMS)
    assert max(bend(audio, seam - 14_000, seam + 2_000) for seam in SEAMS) <= 1.1 * within
    butted = np.concatenate([passage.body for passage in heard])
    assert max(bend(butted, seam - 50, seam + 50) for seam in SEAMS) > 2.0 * within


@pytest.mark.parametrize("choice", ENGINES)
def test_attacks_stay_where_they_are(choice: EngineChoice) -> None:
    """On the bar line, and on the sixteenths before it, over a tone: 2 ms is what a beat may be off."""
    heard, plain = bars(with_hits(held(HELD["a tone"])), choice)
    audio, reference = joined(heard), joined(plain, turned=False)
    for step in (0, 13, 14, 15):
        places = [seam + (BAR * step / 16 if step == 0 else -BAR * (16 - step) / 16) for seam in SEAMS]
        lags = onset_lags_ms(audio, reference, RATE_HZ, places)
        measured = [abs(lag) for lag in lags if lag is not None]
        assert len(measured) >= len(places) - 1
        assert max(measured) <= 2.0


def test_only_the_end_of_the_passage_before_is_touched() -> None:
    """Noise, which has no phase to keep: from one block before the seam on it is the new passage's, as it stands."""
    noise = np.random.default_rng(3).standard_normal((2, 90_000, 2)).astype(np.float32)
    old, new = (Placed(audio, 15_000, 75_000, at) for audio, at in zip(noise, (0, 60_000), strict=True))
    turned, after = in_phase([old, new], [False, True], RATE_HZ)
    assert after is new
    block, turn = round(BLOCK_S * RATE_HZ), round(TURN_S * RATE_HZ)
    np.testing.assert_array_equal(turned.audio[75_000:], old.audio[75_000:])
    np.testing.assert_array_equal(turned.audio[75_000 - block + 8 : 75_000], new.pre_roll(block - 8))
    untouched = 75_000 - turn - 2 * block
    np.testing.assert_array_equal(turned.audio[:untouched], old.audio[:untouched])
    assert np.abs(turned.audio - old.audio).max() > 0.1


def test_a_passage_in_phase_already_is_left_as_it_is() -> None:
    tone = held(HELD["a pad"])
    old, new = Placed(tone, 30_000, 90_000, 0), Placed(tone, 90_000, 150_000, 60_000)
    turned, _ = in_phase([old, new], [False, True], RATE_HZ)
    np.testing.assert_allclose(turned.audio, old.audio, atol=1e-6)


@pytest.mark.parametrize(
    ("body", "pad"), [(3_000, PAD), (60_000, 2_000)], ids=["a short passage", "one without its pads"]
)
def test_where_there_is_no_room_the_passage_is_left_as_it_is(body: int, pad: int) -> None:
    sound = np.random.default_rng(4).standard_normal((body + 2 * pad, 1)).astype(np.float32)
    old, new = Placed(sound, pad, pad + body, 0), Placed(sound, pad, pad + body, body)
    assert in_phase([old, new], [False, True], RATE_HZ) == [old, new]
