"""A whole record heard in one pass, and what is said of it, on the demo's records, whose truth is exact."""

import json

import numpy as np
import pytest
from heard_records import hear, record, sound_of

from render.analysis.record import RecordListener
from render.facts import RecordFacts, Recording
from render.publish.look.text import look_json, look_text

NAME = "thimbleyard"  # the one that is sung


@pytest.fixture(scope="module")
def heard() -> RecordFacts:
    sound, rate_hz = sound_of(NAME)
    return hear(RecordListener(rate_hz), sound)


def recording() -> Recording:
    return Recording(f"{NAME}.flac", "flac", 44_100, 2, 44_100, 1)


def test_the_grid_the_drop_the_key_and_the_voice_are_those_the_record_was_made_with(heard):
    truth = record(NAME)
    by = heard.by_bars
    assert by is not None
    assert by.grid.grid.tempo_bpm == pytest.approx(truth.tempo_bpm, rel=2e-5)
    assert by.grid.grid.first_beat_s == pytest.approx(truth.first_beat_s, abs=0.003)
    assert by.drops[0].at_s == pytest.approx(truth.drop_s, abs=0.003)
    assert by.keys[0].name == truth.key
    starts_s = by.bars.starts_s[:-1]
    sung = np.array([any(a <= s + 0.05 < b for a, b in truth.voice_s) for s in starts_s])
    found = np.array(by.bars.voiced)
    assert (found & sung).sum() / found.sum() >= 0.8
    assert (found & sung).sum() / sung.sum() >= 0.8


def test_scripts_get_every_fact_by_its_name(heard):
    facts = json.loads(look_json([(recording(), heard)]))[0]
    assert {
        "file", "duration_s", "tempo_bpm", "tempo_confidence", "tempo_runner_up_bpm", "first_beat_s",
        "beats_per_bar", "grid_fits", "drops", "key", "key_confidence", "tonal_weight", "voice_per_bar",
        "low_end_per_bar", "integrated_lufs", "loudness_range_lu", "true_peak_dbtp", "clipped_runs",
    } <= set(facts)  # fmt: skip
    assert {"at_s", "bar", "score", "why"} <= set(facts["drops"][0])
    assert len(facts["voice_per_bar"]) == len(facts["low_end_per_bar"]) > 60


def test_people_read_the_drop_by_bar_and_time(heard):
    text = look_text(recording(), heard)
    assert "drop       bar 33, 0:56.59" in text
    levels = heard.levels
    assert f"{levels.integrated_lufs:.1f} LUFS, range {levels.loudness_range_lu:.1f} LU, peak" in text
    assert "136.800 BPM" in text


def test_silence_has_no_beat_and_says_what_to_do():
    listener = RecordListener(44_100)
    for _ in range(10):
        listener.feed(np.zeros((65_536, 1), np.float32))
    silent = listener.heard()
    assert silent.by_bars is None
    assert "state `bpm` and `first_beat`" in look_text(recording(), silent)
    assert json.loads(look_json([(recording(), silent)]))[0]["tempo_bpm"] is None
