"""The key of a record, and how tonal it is. Keys are scored by mir_eval.key (Raffel and others, ISMIR 2014)."""

import mir_eval
import numpy as np
import pytest

from render.analysis.key import (
    key_candidates,
    tonal_weight,
    tonal_weight_per_bar,
)
from render.analysis.per_bar import bars_of
from render.analysis.tonal import TonalListener
from render.demo.records import RECORDS
from render.plan.keys import key_name
from render.values import Audio, Grid
from tests.analysis.heard_records import bars_in, hear, record, tonal_features_of

RATE_HZ = 22_050
GRID = Grid(0.0, 120.0)
NAMES = [record.name for record in RECORDS]
CADENCES = {
    "major": ((0, 4, 7), (5, 9, 12), (7, 11, 14), (0, 4, 7)),
    "minor": ((0, 3, 7), (5, 8, 12), (7, 10, 14), (0, 3, 7)),
}
"""Tonic, fourth, fifth and tonic, in semitones from the tonic, each from its own scale."""


def cadence(key: int, cents: float = 0.0) -> Audio:
    """Four bars of chords and their roots two octaves below, `(frames, 1)`; keys count as in `key_name`."""
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    bars = []
    for chord in CADENCES["major" if key < 12 else "minor"]:
        notes = [60 + key % 12 + step for step in chord] + [36 + key % 12 + chord[0] % 12]
        hz = [440.0 * 2.0 ** ((note + cents / 100 - 69) / 12) for note in notes]
        bars.append(sum(np.sin(2 * np.pi * n * tone * time_s) / n**1.5 for tone in hz for n in (1, 2, 3, 4)))
    return (0.05 * np.concatenate(bars))[:, None].astype(np.float32)


def named(sound: Audio) -> str:
    bars = bars_of(GRID, len(sound) / RATE_HZ)
    return key_candidates(hear(TonalListener(RATE_HZ), sound), bars)[0].name


@pytest.mark.parametrize("key", range(24))
def test_a_cadence_names_its_key(key: int) -> None:
    assert named(cadence(key)) == key_name(key)


@pytest.mark.parametrize("cents", [-40.0, 35.0])
def test_a_record_in_another_tuning_keeps_its_key(cents: float) -> None:
    assert named(cadence(12 + 5, cents)) == "F minor"


def test_a_key_is_named_without_bars_too() -> None:
    assert key_candidates(hear(TonalListener(RATE_HZ), cadence(7)))[0].name == "G major"


@pytest.mark.slow
def test_the_demo_records_score_well() -> None:
    scores = []
    for name in NAMES:
        candidates = key_candidates(tonal_features_of(name), bars_in(name))
        assert len(candidates) == 3
        assert 0.0 <= sum(candidate.confidence for candidate in candidates) <= 1.0
        scores.append(mir_eval.key.weighted_score(record(name).key, candidates[0].name))
    assert np.mean(scores) >= 0.8


@pytest.mark.parametrize("name", NAMES)
def test_drums_weigh_less_than_chords(name: str) -> None:
    weight = tonal_weight_per_bar(tonal_features_of(name), bars_in(name))
    drums, chords = [], []
    for before, section in record(name).placed():
        bars = weight[before + 1 : before + section.bars - 1]  # without the neighbours' tails
        if {"pad", "lead", "bass"}.isdisjoint(section.parts) and "riser" not in section.parts:
            drums.append(bars.mean())
        elif {"kick", "snare"}.isdisjoint(section.parts) and "pad" in section.parts:
            chords.append(bars.mean())
    assert max(drums) < 0.3
    assert not chords or min(chords) > 0.6


def test_noise_is_not_tonal_and_a_chord_is() -> None:
    noise = np.random.default_rng(1).standard_normal((4 * RATE_HZ, 1), dtype=np.float32) * np.float32(0.1)
    assert tonal_weight(hear(TonalListener(RATE_HZ), noise)) < 0.1
    assert tonal_weight(hear(TonalListener(RATE_HZ), cadence(0))) > 0.8


def test_silence_has_no_key() -> None:
    features = hear(TonalListener(RATE_HZ), np.zeros((RATE_HZ, 2), np.float32))
    assert key_candidates(features, bars_of(GRID, 1.0)) == ()
    assert tonal_weight(features) == 0.0


def test_what_is_heard_does_not_depend_on_the_blocks() -> None:
    sound = cadence(3)
    whole, cut = (hear(TonalListener(RATE_HZ), sound, block) for block in (65_536, 1_001))
    np.testing.assert_allclose(cut.tonal_power, whole.tonal_power, rtol=1e-3, atol=1e-6)
    assert len(cut.upper) == len(whole.upper)


def test_an_empty_recording_is_not_tonal() -> None:
    assert tonal_weight(hear(TonalListener(RATE_HZ), np.zeros((0, 2), np.float32))) == 0.0
