"""Recipes that state nothing but files: what is heard of the records decides where they land."""

from pathlib import Path

import pytest
import soundfile
from exact_records import clip_of, made

from render.facts import TrackFacts
from render.night.job import read_work
from tests.ground_truth.songs import Song, draw_song
from tests.ground_truth.sounding import sound_of

RATE_HZ = 44_100
SONGS = {
    "ochre": draw_song(3101, "four-on-the-floor", length_s=60.0, tempo_bpm=126.37, drums_only=False),
    "umber": draw_song(3102, "four-on-the-floor", length_s=60.0, tempo_bpm=129.2, drums_only=False),
}
FIRST_BEAT_S = 0.003
"""What is asked of the measured first beat."""
PHASE_S = 0.002
"""What is asked of the phase where the record lands."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("measured")
    for name, song in SONGS.items():
        soundfile.write(folder / f"{name}.flac", sound_of(song), RATE_HZ, subtype="PCM_16")
    return folder


def recipe(folder: Path, name: str, ochre: str = "", rest: str = "") -> Path:
    path = folder / f"{name}.yaml"
    tracks = f"  ochre: {{file: ochre.flac{ochre}}}\n  umber: {{file: umber.flac}}\n"
    path.write_text(f"recipe: 1\ntitle: Test\ntracks:\n{tracks}{rest}")
    return path


def facts_of(path: Path) -> dict[str, TrackFacts]:
    work = read_work([path])
    assert not work.faults, [str(fault) for fault in work.faults]
    return work.planned[0].facts


def drop_s(song: Song, nth: int = 0) -> float:
    return float(song.beats()[4 * (song.drop_bars[nth] - 1)])


def test_five_lines_land_both_records_on_their_drops(folder):
    path = recipe(folder, "five", rest="lead: 16 beats\ntail: 16 beats\nclip: {format: wav}\n")
    outcome = made(path)
    _, _, receipt = clip_of(outcome)
    landing_s = receipt["landing_s"]
    for track, lane in zip(receipt["tracks"], receipt["plan"]["lanes"], strict=True):
        song = SONGS[track["name"]]
        assert track["tempo_bpm"] == pytest.approx(song.tempo_bpm, rel=2e-5)
        assert track["source"]["tempo_bpm"] == track["source"]["drop_s"] == "measured"
        assert 0.5 < track["confidence"]["tempo_bpm"] <= 1.0
        # The frame of the record that is heard on the landing, by the line the passage follows.
        passage = lane["passages"][0]
        clip_s = landing_s - passage["clip_start_frames"] / RATE_HZ
        heard_s = passage["source_start_frames"] / RATE_HZ + clip_s * passage["speed"]
        assert heard_s == pytest.approx(drop_s(song), abs=PHASE_S)
        # The attack on the landing itself may be too unlike itself to be read; those around it are many.
        assert track["beats_measured"] >= 16
        assert abs(track["common_error_ms"]) <= 1.0
        assert track["worst_beat_ms"] <= 2.0


def test_what_was_heard_is_told_with_how_sure_it_is(folder):
    path = recipe(folder, "told")
    (planned,) = read_work([path]).planned
    told = {reason.track: reason.text for reason in planned.plan.reasons if reason.code == "measured"}
    assert set(told) == {"ochre", "umber"}
    assert "126.37" in told["ochre"] and "% sure" in told["ochre"]


@pytest.mark.parametrize(
    ("ochre", "tempo_bpm", "first_beats"),
    [
        (", count: half", 126.37 / 2, 0.0),
        (", shift: 1 beat", 126.37, 1.0),
        (", shift: 0.5 beats", 126.37, 0.5),
        (", bpm: 126.37", 126.37, 0.0),
    ],
)
@pytest.mark.slow
def test_what_was_heard_can_be_corrected(folder, ochre, tempo_bpm, first_beats):
    song = SONGS["ochre"]
    known = facts_of(recipe(folder, "corrected", ochre, "tempo: umber\n"))["ochre"]
    assert known.tempo_bpm.value == pytest.approx(tempo_bpm, rel=2e-5)
    # Bar 1 may be any of the song's bars; the shift is what counts, modulo a bar of four beats.
    beats = (known.first_beat_s.value - song.first_beat_s) / song.beat_s
    assert (beats - first_beats + 0.1) % 4 - 0.1 == pytest.approx(0.0, abs=FIRST_BEAT_S / song.beat_s)


@pytest.mark.slow
def test_a_nudge_moves_every_beat(folder):
    plain = facts_of(recipe(folder, "plain"))["ochre"]
    later = facts_of(recipe(folder, "later", ", nudge: 12 ms"))["ochre"]
    assert later.first_beat_s.value - plain.first_beat_s.value == pytest.approx(0.012, abs=1e-6)
    assert later.drop_s.value - plain.drop_s.value == pytest.approx(0.012, abs=1e-3)


def test_beats_beside_a_record_take_the_place_of_the_measured_ones(folder):
    """The marked beats say 30 ms later than anything that is heard; so their file is what is believed."""
    song = SONGS["ochre"]
    rows = [f"{beat_s + 0.030:.6f},{number % 4 + 1}" for number, beat_s in enumerate(song.beats())]
    beside = folder / "ochre.beats.csv"
    beside.write_text("\n".join(rows))
    try:
        known = facts_of(recipe(folder, "beside"))["ochre"]
    finally:
        beside.unlink()
    assert known.tempo_bpm.source == known.first_beat_s.source == "beside"
    assert known.first_beat_s.value == pytest.approx(song.first_beat_s + 0.030, abs=1e-4)
    assert known.drop_s.value == pytest.approx(drop_s(song) + 0.030, abs=PHASE_S)


@pytest.mark.slow
def test_the_second_place_it_may_drop_can_be_asked_for(folder):
    path = recipe(folder, "second", ", markers: {drop: drop 2}", "lead: 8 beats\ntail: 8 beats\n")
    facts = facts_of(path)["ochre"]
    assert facts.drop_s.value == facts.drops_s[1] != facts.drops_s[0]


def test_a_record_without_beats_asks_for_what_it_needs(folder):
    soundfile.write(folder / "hush.flac", [[0.0, 0.0]] * RATE_HZ * 5, RATE_HZ)
    path = folder / "hush.yaml"
    path.write_text("recipe: 1\ntitle: T\ntracks:\n  hush: {file: hush.flac}\n  umber: {file: umber.flac}\n")
    (fault,) = read_work([path]).faults
    assert (fault.line, fault.code) == (4, "no-beat")
    assert "state `bpm`, `first_beat` and the marker `drop`" in fault.right
