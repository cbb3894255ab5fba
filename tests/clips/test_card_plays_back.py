"""A stage card's own numbers, played: records cut by its times and run at its tempi lie under the clip's beats."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from exact_records import RATE_HZ, ExactRecord, clip_of, made, write_recipe
from played_cards import Mono, PlayedCard
from scipy.signal import butter, correlate, sosfiltfilt

from render.night.job import read_work
from render.publish.card.contents import card_of, levels_of
from render.publish.card.sheet import card_text

NEAR_MS = 5.0
"""Farther apart, two hits are heard as two (common practice)."""
Rendered = Callable[[str], tuple[Mono, str]]
ALIKE = 0.97
"""Correlation of the strengths of the beats: an engine smears a hit, a wrong bar has other strengths."""


@dataclass(frozen=True)
class BandRecord(ExactRecord):
    """A record whose hits lie in a band of its own and are each of a strength of their own, over a steady bass."""

    band_hz: tuple[float, float] = (1500.0, 2800.0)

    def audio(self) -> np.ndarray:
        rng = np.random.default_rng(round(self.band_hz[0]))
        sound = np.zeros(int(self.beat_s(self.bars * 4) * RATE_HZ) + RATE_HZ)
        decay = np.exp(-np.arange(int(0.03 * RATE_HZ)) / (0.003 * RATE_HZ))
        for beat in range(self.bars * 4):
            start = round(self.beat_s(beat) * RATE_HZ)
            sound[start : start + len(decay)] += (
                rng.uniform(0.15, 0.6) * decay * rng.uniform(-1, 1, len(decay))
            )
        sound = sosfiltfilt(butter(4, self.band_hz, "bandpass", fs=RATE_HZ, output="sos"), sound)
        sound += 0.05 * np.sin(2 * np.pi * self.bass_hz * np.arange(len(sound)) / RATE_HZ)
        sound += 1e-6 * rng.standard_normal(len(sound))
        return np.stack([sound, sound], axis=1)


def envelope(sound: Mono, record: BandRecord) -> Mono:
    """How strong a record's band is, over a millisecond."""
    band = sosfiltfilt(butter(4, record.band_hz, "bandpass", fs=RATE_HZ, output="sos"), sound)
    width = RATE_HZ // 1000
    return np.convolve(band**2, np.ones(width) / width, mode="same") ** 0.5


def compared(
    played: Mono, clip: Mono, record: BandRecord, beats_s: Sequence[float]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """At each beat: how many ms the clip's hit lies after the played one, and how strong the two are."""
    one, other = envelope(played, record), envelope(clip, record)
    reach = int(0.04 * RATE_HZ)
    lags_ms, strengths = [], []
    for beat_s in beats_s:
        middle = round(beat_s * RATE_HZ)
        parts = [part[max(middle - reach, 0) : middle + reach] for part in (one, other)]
        lag = np.argmax(correlate(parts[1], parts[0], mode="full")) - (len(parts[0]) - 1)
        lags_ms.append(lag / RATE_HZ * 1000)
        strengths.append([float(np.sqrt(np.sum(part**2))) for part in parts])
    return np.array(lags_ms), *np.array(strengths).T


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> Rendered:
    """Gives the clip of a case and the text of its card; each is rendered once."""
    return cache(lambda name: rendering(CASES[name].recipe(tmp_path_factory.mktemp("case"))))


def rendering(recipe: Path) -> tuple[Mono, str]:
    audio, rate_hz, receipt = clip_of(made(recipe))
    assert rate_hz == RATE_HZ
    planned = next(one for one in read_work([recipe]).planned if not one.plan.variant)
    return audio[:, 0], card_text(card_of(planned.plan, planned.facts, levels_of(receipt, planned.plan)))


@dataclass(frozen=True)
class Case:
    """A recipe, and for each of its records the clip beats from and to which it has hits, every so many beats."""

    records: tuple[BandRecord, ...]
    keys: tuple[dict[str, str], ...]
    rest: str
    hits: tuple[tuple[int, int, int], ...]

    def recipe(self, folder: Path) -> Path:
        for record in self.records:
            record.write(folder)
        tracks = [one.lines(**keys) for one, keys in zip(self.records, self.keys, strict=True)]
        return write_recipe(folder, *tracks, rest=f"{self.rest}\nclip: {{format: flac}}")

    def sounds(self) -> dict[str, Mono]:
        return {record.name: record.audio()[:, 0] for record in self.records}


LOW, MIDDLE, HIGH = (1500.0, 2800.0), (3800.0, 5600.0), (7600.0, 11000.0)


EMBER = BandRecord("ember", 140.25, 0.2513, 56, 55.0, band_hz=LOW)
SLATE = BandRecord("slate", 136.8371, 0.4104, 48, 82.4, band_hz=MIDDLE)
KILN = BandRecord("kiln", 70.7, 0.3337, 30, 65.4, band_hz=HIGH)

CASES = {
    "jump back with a loop": Case(
        (EMBER, SLATE),
        ({"markers": "{drop: bar 33, drums: bar 9}"}, {"markers": "{drop: bar 17}"}),
        "tempo: 139.9731\nlead: 64 beats\ntail: 64 beats\n"
        "jump_back: [{track: ember, at: landing, to: drums, loop: 16 beats}]",
        ((-64, 64, 1), (-64, 64, 1)),
    ),
    "half time": Case(
        (EMBER, KILN),
        ({"markers": "{drop: bar 17}"}, {"markers": "{drop: bar 9}"}),
        "tempo: 140.25\nlead: 32 beats\ntail: 32 beats",
        ((-32, 32, 1), (-32, 32, 2)),
    ),
    "double time, jumping out of phase": Case(
        (KILN, EMBER),
        ({"markers": "{drop: bar 9}"}, {"markers": "{drop: bar 17, drums: bar 5.3}"}),
        "tempo: kiln\nlead: 24 beats\ntail: 24 beats\n"
        "jump_back: [{track: ember, at: landing + 3 beats, to: drums, loop: 8 beats}]",
        ((-24, 24, 1), (-24, 24, 1)),
    ),
    "three records, two of them entering late and one leaving": Case(
        (EMBER, SLATE, KILN),
        (
            {"markers": "{drop: bar 13}", "leave": "landing + 20 beats"},
            {"markers": "{drop: 0:31.104}", "enter": "landing - 25 beats", "fade_in": "8 beats"},
            {"markers": "{drop: bar 13}", "enter": "landing - 8 beats", "pitch": "follow"},
        ),
        "tempo: 139.5\nlead: 32 beats\ntail: 32 beats\n"
        "low_cut: {keep: [{from: start, track: ember}, {from: landing, track: slate}]}",
        ((-32, 20, 1), (-16, 32, 1), (-8, 32, 2)),
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_a_clip_played_by_its_card_lies_under_the_rendered_one(rendered: Rendered, name: str) -> None:
    case, (clip, text) = CASES[name], rendered(name)
    card = PlayedCard(text)
    played = card.play(case.sounds(), RATE_HZ)
    assert abs(len(played) - len(clip)) / RATE_HZ * 1000 <= NEAR_MS
    for record, (first, end, step) in zip(case.records, case.hits, strict=True):
        # The hit on the very first frame has no rise that could be compared.
        beats = [beat for beat in range(first, end, step) if beat > -card.lead]
        beats_s = [(beat + card.lead) * 60 / card.tempo_bpm for beat in beats]
        lags_ms, by_card, by_clip = compared(played, clip, record, beats_s)
        assert np.abs(lags_ms).max() <= NEAR_MS, (record.name, dict(zip(beats, lags_ms, strict=True)))
        assert np.corrcoef(by_card, by_clip)[0, 1] >= ALIKE, record.name


@pytest.mark.parametrize(
    ("right", "wrong", "least_ms", "most_alike"),
    [
        # Ember's bar 9 is 32 beats of 60/140.25 s after 0.2513 s, at 13.941 s; its bar 10 is at 15.652 s.
        ("0:13.941", "0:13.951", 8.0, 1.0),
        ("0:13.941", "0:15.652", 0.0, 0.8),
        # 139.9731/140.25 is 0.1974 % slower; 0.03 % more are 8 ms after 64 beats, which last 27 s.
        ("-0.20 %", "-0.23 %", NEAR_MS, 1.0),
        ("loop 16 beats", "loop 20 beats", 0.0, 0.8),
    ],
)
@pytest.mark.slow
def test_a_card_with_a_wrong_number_would_be_found_out(
    rendered: Rendered, right: str, wrong: str, least_ms: float, most_alike: float
) -> None:
    case, (clip, text) = CASES["jump back with a loop"], rendered("jump back with a loop")
    assert right in text
    card = PlayedCard(text.replace(right, wrong))
    beats_s = [(beat + card.lead) * 60 / card.tempo_bpm for beat in range(-63, 64)]
    lags_ms, by_card, by_clip = compared(card.play(case.sounds(), RATE_HZ), clip, EMBER, beats_s)
    assert np.abs(lags_ms).max() >= least_ms
    assert np.corrcoef(by_card, by_clip)[0, 1] <= most_alike
