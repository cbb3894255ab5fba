"""From recipe to clip, on records whose truth is exact."""

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile
from exact_records import BAR_TONES_HZ, ExactRecord, clip_of, level_db, made, write_recipe
from scipy.signal import resample_poly

from render.files.engines import EngineChoice, engine_of
from render.make import Done, Kept, Refused, make
from render.night.job import read_work
from tests.cases import first_of

ENGINES = [
    pytest.param(
        "rubberband",
        marks=pytest.mark.skipif(not shutil.which("rubberband"), reason="needs the rubberband executable"),
    ),
    "signalsmith",
]
SHORT = "lead: 16 beats\ntail: 16 beats\nclip: {format: flac}"


def onset_s(audio: np.ndarray, rate_hz: int, near_s: float) -> float:
    """When a click begins near a time: the steepest rise of the level above 2 kHz, to a fraction of a frame.

    A plain measure of its own, so that the program's is not tested by itself.
    """
    start = int((near_s - 0.02) * rate_hz)
    part = np.diff(audio[start : start + int(0.04 * rate_hz), 0], n=2)
    width = max(1, int(0.001 * rate_hz))
    energy = np.convolve(part**2, np.ones(width) / width)[: len(part)]
    threshold = energy.max() * 0.25
    first = int(np.argmax(energy > threshold))
    return (start + first) / rate_hz


@pytest.fixture
def ember() -> ExactRecord:
    return ExactRecord("ember", 140.0, 0.25, 20, 55.0)


@pytest.fixture
def slate() -> ExactRecord:
    return ExactRecord("slate", 140.0, 0.4103, 20, 82.4)


def test_the_drops_lie_on_the_landing_to_the_sample_where_nothing_is_stretched(tmp_path, ember, slate):
    """The first sample of each track's click is found on the frame that the receipt names."""
    ember.write(tmp_path), slate.write(tmp_path)
    for mute, heard in (("ember", "slate"), ("slate", "ember")):
        tracks = [r.lines(gain="-60 dB") if r.name == mute else r.lines() for r in (ember, slate)]
        recipe = write_recipe(tmp_path, *tracks, rest=f"tempo: 140\n{SHORT}", name=heard)
        audio, rate, receipt = clip_of(made(recipe))
        landing = receipt["landing_s"] * rate
        steps = np.abs(np.diff(audio[round(landing) - 40 : round(landing) + 40, 0]))
        click = round(landing) - 40 + 1 + int(np.argmax(steps > 0.4 * steps.max()))
        assert abs(click - landing) <= 1


@pytest.mark.parametrize("choice", ENGINES)
@pytest.mark.parametrize(
    "change", [-0.10, pytest.param(0.024, marks=pytest.mark.slow), pytest.param(0.10, marks=pytest.mark.slow)]
)
def test_drops_and_beats_land_at_every_tempo_change(tmp_path, choice: EngineChoice, change, ember, slate):
    """1 ms at the landing and 2 ms at any beat, by the receipt and by a measure of the test's own."""
    fast = ExactRecord("slate", 140.0 / (1 + change), 0.4103, 20, 82.4)
    ember.write(tmp_path), fast.write(tmp_path)
    recipe = write_recipe(tmp_path, ember.lines(gain="-60 dB"), fast.lines(), rest=f"tempo: 140\n{SHORT}")
    audio, rate, receipt = clip_of(made(recipe, choice))
    assert receipt["engine"] == choice
    track = receipt["tracks"][1]
    assert track["landing_error_ms"] == pytest.approx(0.0, abs=1.0)
    assert track["worst_beat_ms"] <= 2.0
    assert track["beats_measured"] >= 28
    for beat in range(-14, 14):
        expected_s = receipt["landing_s"] + beat * 60 / 140
        # A second difference and a 1 ms mean find the attack itself within a few tenths of a millisecond.
        assert onset_s(audio, rate, expected_s) == pytest.approx(expected_s, abs=0.002), beat


def test_who_keeps_the_low_end_changes_at_the_landing(tmp_path, ember, slate):
    ember.write(tmp_path), slate.write(tmp_path)
    keep = "low_cut: {below: 150 Hz, keep: [{from: start, track: ember}, {from: landing, track: slate}]}"
    recipe = write_recipe(tmp_path, ember.lines(), slate.lines(), rest=f"tempo: 140\n{SHORT}\n{keep}")
    audio, rate, receipt = clip_of(made(recipe))
    before, after = (
        (1.0, receipt["landing_s"] - 0.5),
        (receipt["landing_s"] + 0.5, receipt["duration_s"] - 1.0),
    )
    for tone_hz, kept, cut in ((ember.bass_hz, before, after), (slate.bass_hz, after, before)):
        # |rest| = 1 - 1/(1+(f/fc)^4), the Linkwitz-Riley 4 low-pass taken away from the whole.
        left = 1 - 1 / (1 + (tone_hz / 150.0) ** 4)
        change_db = level_db(audio, rate, tone_hz, *cut) - level_db(audio, rate, tone_hz, *kept)
        assert change_db == pytest.approx(20 * np.log10(left), abs=0.3)
    assert receipt["low_end_overlap"] <= 0.1


def test_two_low_ends_at_once_are_warned_of(tmp_path, ember, slate):
    ember.write(tmp_path), slate.write(tmp_path)
    recipe = write_recipe(tmp_path, ember.lines(), slate.lines(), rest=f"tempo: 140\n{SHORT}")
    _, _, receipt = clip_of(made(recipe))
    assert receipt["low_end_overlap"] > 0.9
    assert "low-end-overlap" in [f["code"] for f in receipt["findings"] if f["level"] == "warning"]


def test_a_jump_back_sounds_the_bars_of_its_marker_and_repeats_them(tmp_path, ember, slate):
    ember.write(tmp_path), slate.write(tmp_path)
    marker = "{drop: bar 13, loop: bar 5}"
    jump = "jump_back: [{track: ember, at: landing, to: loop, loop: 8 beats}]"
    tracks = ember.lines(markers=marker), slate.lines(gain="-60 dB")
    audio, rate, receipt = clip_of(made(write_recipe(tmp_path, *tracks, rest=f"tempo: 140\n{SHORT}\n{jump}")))
    bar_s = 4 * 60 / 140
    for bars_after, sounding in ((-1, 12), (0, 5), (1, 6), (2, 5), (3, 6)):
        start_s = receipt["landing_s"] + bars_after * bar_s
        levels = {
            bar: level_db(audio, rate, BAR_TONES_HZ[bar - 1], start_s + 0.2, start_s + bar_s - 0.2)
            for bar in range(1, 21)
        }
        assert max(levels, key=lambda bar: levels[bar]) == sounding
    assert [p["loop_pass"] for p in receipt["plan"]["lanes"][0]["passages"]] == [0, 1, 2]


def test_no_click_is_heard_at_a_seam(tmp_path):
    """The second difference around the seam stays below its peak a little before and after it."""
    smooth = ExactRecord("smooth", 140.0, 0.25, 20, 55.0)
    time_s = np.arange(40 * 44_100) / 44_100
    tone = 0.2 * np.sin(2 * np.pi * 220.7 * time_s) + 0.1 * np.sin(2 * np.pi * 61.3 * time_s)
    for name in ("smooth", "quiet"):
        soundfile.write(tmp_path / f"{name}.wav", np.stack([tone, tone], axis=1), 44_100, subtype="PCM_24")
    quiet = ExactRecord("quiet", 140.0, 0.25, 20, 55.0)
    tracks = smooth.lines(markers="{drop: bar 13, loop: bar 5.2}"), quiet.lines(gain="-60 dB")
    jump = "jump_back: [{track: smooth, at: landing + 1 beats, to: loop, loop: 4 beats}]"
    audio, rate, receipt = clip_of(made(write_recipe(tmp_path, *tracks, rest=f"tempo: 140\n{SHORT}\n{jump}")))
    bend = np.abs(np.diff(audio[:, 0], n=2))
    for seam_beat in (1, 5, 9):
        seam = round((receipt["landing_s"] + seam_beat * 60 / 140) * rate)
        around = np.concatenate([bend[seam - 6000 : seam - 1000], bend[seam + 1000 : seam + 6000]]).max()
        assert bend[seam - 1000 : seam + 1000].max() <= 1.5 * around


@pytest.mark.parametrize("form", first_of(["mp3", "flac"], ["mp3", "opus", "flac", "wav"]))
def test_the_encoded_file_stays_below_its_ceiling_however_hot_the_mix(tmp_path, form, ember, slate):
    ember.write(tmp_path, gain=1.3), slate.write(tmp_path, gain=1.3)
    rest = f"tempo: 140\nlead: 16 beats\ntail: 16 beats\nclip: {{format: {form}, ceiling: -1 dBTP}}"
    outcome = made(write_recipe(tmp_path, ember.lines(), slate.lines(gain="+3 dB"), rest=rest))
    assert isinstance(outcome, Done)
    receipt = json.loads(outcome.clip.with_suffix(".json").read_text())
    assert receipt["encoded"]["true_peak_dbtp"] <= -1.0 + 0.1
    if form in ("flac", "wav"):
        assert receipt["encoded"]["true_peak_dbtp"] == pytest.approx(-1.0, abs=0.01)


def twin_of(record: ExactRecord, folder: Path, gain: float = 1.0, extra: str = "") -> str:
    """The lines of a second track with the same sound at another gain."""
    soundfile.write(folder / "twin.wav", record.audio() * gain, record.rate_hz, subtype="PCM_24")
    return record.lines(file="twin.wav").replace(f"  {record.name}:", "  twin:") + extra


def test_the_headroom_is_what_the_sum_of_the_matched_records_needs(tmp_path, ember):
    """The same record twice is 20·log10(2) = 6.02 dB higher than once; its own true peak by a plain 16 × resampling."""
    ember.write(tmp_path)
    _, _, receipt = clip_of(
        made(write_recipe(tmp_path, ember.lines(), twin_of(ember, tmp_path), rest=f"tempo: 140\n{SHORT}"))
    )
    heard = ember.audio()[round(ember.beat_s(32) * 44_100) : round(ember.beat_s(64) * 44_100), 0]
    peak_dbtp = 20 * np.log10(np.abs(resample_poly(heard, 16, 1)).max())
    # Oversampling by 4 reads at most 0.69 dB low (BS.1770, attachment to annex 2); by 16, 0.04 dB.
    assert -0.7 <= receipt["headroom_needed_db"] - (peak_dbtp + 6.02) <= 0.05


@pytest.mark.parametrize(
    "choice",
    [pytest.param("rubberband", marks=[*ENGINES[0].marks, pytest.mark.slow]), "signalsmith"],
)
def test_the_same_inputs_give_the_same_samples_byte_for_byte(tmp_path, choice: EngineChoice, ember):
    other = ExactRecord("slate", 136.0, 0.4103, 20, 82.4)
    ember.write(tmp_path), other.write(tmp_path)
    recipe = write_recipe(tmp_path, ember.lines(), other.lines(), rest=f"tempo: 140\n{SHORT}")
    hashes = [clip_of(made(recipe, choice, force=True))[2]["pcm_sha256"] for _ in range(2)]
    assert hashes[0] == hashes[1]


def test_the_receipt_identifies_the_samples_and_can_make_the_clip_again(tmp_path, ember, slate):
    ember.write(tmp_path), slate.write(tmp_path)
    outcome = made(write_recipe(tmp_path, ember.lines(), slate.lines(), rest=f"tempo: 140\n{SHORT}"))
    _, _, receipt = clip_of(outcome)
    samples, _ = soundfile.read(outcome.clip, dtype="int32", always_2d=True)
    packed = (samples >> 8).astype("<i4").tobytes()
    pcm = np.frombuffer(packed, np.uint8).reshape(-1, 4)[:, :3].tobytes()
    assert hashlib.sha256(pcm).hexdigest() == receipt["pcm_sha256"]
    assert hashlib.sha256(outcome.clip.read_bytes()).hexdigest() == receipt["file_sha256"]

    again = tmp_path / "again"
    again.mkdir()
    order = read_work([outcome.clip.with_suffix(".json")]).orders(again, force=False)[0]
    assert clip_of(make(order, engine_of("signalsmith")))[2]["pcm_sha256"] == receipt["pcm_sha256"]


def test_a_clip_is_kept_until_its_recipe_its_record_or_the_file_itself_changes(tmp_path, ember, slate):
    ember.write(tmp_path), slate.write(tmp_path)
    recipe = write_recipe(tmp_path, ember.lines(), slate.lines(), rest=f"tempo: 140\n{SHORT}")
    first = made(recipe)
    assert isinstance(first, Done)
    assert isinstance(made(recipe), Kept)
    first.clip.write_bytes(first.clip.read_bytes()[:-100])
    assert isinstance(made(recipe), Done)
    ember.write(tmp_path, gain=0.9)
    assert isinstance(made(recipe), Done)
    recipe.write_text(recipe.read_text().replace("tail: 16", "tail: 12"))
    assert isinstance(made(recipe), Done)
    assert isinstance(made(recipe), Kept)


def test_records_are_never_touched_and_nothing_is_written_beside_the_clip(tmp_path, ember, slate):
    paths = [ember.write(tmp_path), slate.write(tmp_path)]
    recipe = write_recipe(tmp_path, ember.lines(), slate.lines(), rest=f"tempo: 140\n{SHORT}")
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in [*paths, recipe]}
    made(recipe)
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in [*paths, recipe]} == before
    written = {str(p.relative_to(tmp_path)) for p in tmp_path.rglob("*") if p.is_file()} - {
        p.name for p in before
    }
    assert written == {"clips/test.flac", "clips/test.json", "clips/test.svg"}


def test_silence_is_refused_and_leaves_no_file(tmp_path, ember, slate):
    for record in (ember, slate):
        record.write(tmp_path, gain=0.0)
    outcome = made(write_recipe(tmp_path, ember.lines(), slate.lines(), rest=f"tempo: 140\n{SHORT}"))
    assert isinstance(outcome, Refused)
    assert "silence" in [finding.code for finding in outcome.findings if finding.level == "failure"]
    assert list((tmp_path / "clips").iterdir()) == []


@pytest.mark.parametrize("rate_hz", first_of([8_000, 96_000], [8_000, 22_050, 48_000, 96_000, 192_000]))
def test_a_record_of_any_rate_lands(tmp_path, rate_hz, ember):
    other = ExactRecord("slate", 136.0, 0.4103, 20, 82.4, rate_hz=rate_hz)
    ember.write(tmp_path), other.write(tmp_path)
    recipe = write_recipe(tmp_path, ember.lines(), other.lines(pitch="follow"), rest=f"tempo: 140\n{SHORT}")
    _, _, receipt = clip_of(made(recipe))
    assert [t["landing_error_ms"] for t in receipt["tracks"]] == pytest.approx([0.0, 0.0], abs=1.0)


def test_half_time_lands_under_double_time(tmp_path, ember):
    half = ExactRecord("half", 70.7, 0.3, 12, 82.4)
    ember.write(tmp_path), half.write(tmp_path)
    tracks = ember.lines(), half.lines(markers="{drop: bar 7}")
    _, _, receipt = clip_of(made(write_recipe(tmp_path, *tracks, rest=f"tempo: 140\n{SHORT}")))
    assert [t["landing_error_ms"] for t in receipt["tracks"]] == pytest.approx([0.0, 0.0], abs=1.0)


def test_a_mono_record_is_heard_on_both_sides(tmp_path, ember, slate):
    ember.write(tmp_path)
    soundfile.write(tmp_path / "slate.wav", slate.audio()[:, 0], 44_100, subtype="PCM_16")
    tracks = ember.lines(gain="-60 dB"), slate.lines()
    audio, _, _ = clip_of(made(write_recipe(tmp_path, *tracks, rest=f"tempo: 140\n{SHORT}")))
    assert np.abs(audio[:, 0] - audio[:, 1]).max() < 1e-3


def test_lanes_are_matched_in_loudness_before_their_gain(tmp_path, ember):
    """A record 9 dB hotter is turned down by 9 dB, the other is left to its gain."""
    ember.write(tmp_path)
    quiet = twin_of(ember, tmp_path, gain=10 ** (-9 / 20), extra="    gain: -2 dB\n")
    _, _, receipt = clip_of(made(write_recipe(tmp_path, ember.lines(), quiet, rest=f"tempo: 140\n{SHORT}")))
    assert [t["gain_db"] for t in receipt["tracks"]] == pytest.approx([-9.0, -2.0], abs=0.05)


def test_a_recipe_cannot_write_outside_its_folder(tmp_path: Path, ember, slate):
    ember.write(tmp_path), slate.write(tmp_path)
    recipe = write_recipe(
        tmp_path, ember.lines(), slate.lines(), rest=f"tempo: 140\n{SHORT}\ntry: {{../../x: {{}}}}"
    )
    assert [fault.code for fault in read_work([recipe]).faults] == ["bad-name"]
