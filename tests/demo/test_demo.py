"""The demo's records are what they say they are, and the recipes over them state the same.

Everything is measured from sound or computed anew from the stated tempo and first beat. Sources: loudness by
ITU-R BS.1770 through pyloudnorm; key by the profiles of Krumhansl and Kessler (1982, from memory) over librosa's
chroma; vowels by Peterson and Barney (1952), table II (from memory).
"""

import math
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import librosa
import numpy as np
import pyloudnorm
import pytest
import scipy.signal as dsp
import soundfile
from ruamel.yaml import YAML

from render.demo import records
from render.demo.arrangement import mixed
from render.demo.records import RECORDS, DemoRecord, write_records
from render.demo.score import Part, Section, Syllable
from render.demo.singer import sung_phrase
from render.recipe.reader import faults_of, read
from render.values import Audio
from tests.cases import first_of
from tests.demo_sounds import rendered

RATE_HZ = 44_100
RECIPES = sorted((Path(__file__).parents[2] / "recipes").glob("*.yaml"))
BY_NAME = {record.name: record for record in RECORDS}
DRUM_PARTS: tuple[Part, ...] = ("kick", "snare", "hats", "ride", "metal", "roll")
FEW = [BY_NAME["thimbleyard"], BY_NAME["quarrybread"]]
"""One that is sung, and one that is not."""
each_record = pytest.mark.parametrize("record", first_of(FEW, RECORDS), ids=lambda record: record.name)
each_recipe = pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.stem)


def only(record: DemoRecord, *parts: Part) -> DemoRecord:
    """The record with all other parts silent."""
    sections = (replace(s, parts=tuple(p for p in s.parts if p in parts)) for s in record.sections)
    return replace(record, sections=tuple(sections))


def without(record: DemoRecord, *parts: Part) -> DemoRecord:
    sections = (replace(s, parts=tuple(p for p in s.parts if p not in parts)) for s in record.sections)
    return replace(record, sections=tuple(sections))


def sound_of(record: DemoRecord) -> Audio:
    return rendered(record)[0]


def short(record: DemoRecord) -> DemoRecord:
    """Two bars of drums and bass: quickly made, again and again."""
    return replace(record, sections=(Section("drop", 2, ("kick", "snare", "hats", "bass")),))


def grid_frame(record: DemoRecord, beat: float) -> int:
    return math.floor((record.first_beat_s + beat * 60 / record.tempo_bpm) * RATE_HZ + 0.5)


def section_sound(record: DemoRecord, name: str) -> Audio:
    first = 4 * (record.bar_of(name) - 1)
    bars = next(section.bars for section in record.sections if section.name == name)
    return sound_of(record)[grid_frame(record, first) : grid_frame(record, first + 4 * bars)]


def lufs(sound: Audio) -> float:
    return float(
        pyloudnorm.Meter(RATE_HZ, filter_class="DeMan").integrated_loudness(sound.astype(np.float64))
    )


def low_end_db(sound: Audio) -> float:
    """RMS below 120 Hz, the first half second left out: there the passage before still rings."""
    low = dsp.sosfilt(dsp.butter(6, 120.0, fs=RATE_HZ, output="sos"), sound.astype(np.float64), axis=0)
    return float(10 * np.log10(np.mean(low[RATE_HZ // 2 :] ** 2)))


# --- structure ---


@each_record
def test_a_record_is_two_to_three_minutes_of_whole_phrases(record: DemoRecord) -> None:
    assert 120 <= len(sound_of(record)) / RATE_HZ <= 180
    assert all(section.bars % 8 == 0 for section in record.sections)


@each_record
def test_sixty_four_beats_or_more_lie_before_the_drop(record: DemoRecord) -> None:
    beats = (record.drop_s - record.first_beat_s) * record.tempo_bpm / 60
    assert beats >= 64
    assert beats == pytest.approx(round(beats / 32) * 32, abs=1e-9)


@each_record
def test_every_kick_stands_on_an_eighth_of_the_stated_grid(record: DemoRecord) -> None:
    kicks = mixed(only(record, "kick"))[:, 0].astype(np.float64)
    # the beater's click bends the waveform within one frame; the 50 Hz body bends it a thousand times less
    bent = np.flatnonzero(np.abs(np.diff(kicks, 2, prepend=[0.0, 0.0])) > 0.03)
    onsets = bent[np.diff(bent, prepend=-RATE_HZ) > RATE_HZ // 10]
    eighths = (onsets / RATE_HZ - record.first_beat_s) * record.tempo_bpm / 30
    expected = [grid_frame(record, eighth / 2) for eighth in np.round(eighths)]
    # one frame: from the middle of a frame's rounding to the second difference that shows it
    assert np.max(np.abs(onsets - expected)) <= 1
    bars_with_kick = [
        before + bar + 1
        for before, section in record.placed()
        if "kick" in section.parts
        for bar in range(section.bars)
    ]
    ones = {round(eighth) // 8 + 1 for eighth in eighths if round(eighth) % 8 == 0}
    assert ones == set(bars_with_kick)


@each_record
def test_the_drop_breaks_in_on_its_own_frame(record: DemoRecord) -> None:
    sound = sound_of(record)
    frame = math.floor(record.drop_s * RATE_HZ + 0.5)
    before, after = (np.diff(sound[a : a + 44, 0]) for a in (frame - 45, frame - 1))
    assert np.sqrt(np.mean(after**2)) > 5 * np.sqrt(np.mean(before**2))


# --- sound ---


@each_record
def test_a_record_is_mastered_loud_and_never_clips(record: DemoRecord) -> None:
    sound = sound_of(record)
    # the drive of each record is given in tenths of a decibel, by hand
    assert lufs(sound) == pytest.approx(-10.0, abs=0.3)
    assert np.max(np.abs(sound)) < 0.96
    assert np.all(np.abs(np.mean(sound, axis=0)) < 10 ** (-55 / 20))
    samples = np.round(sound * 32_768).astype(np.int32)
    near_peak = np.abs(samples) > 0.97 * np.max(np.abs(samples))
    flat = near_peak[2:] & (samples[2:] == samples[1:-1]) & (samples[1:-1] == samples[:-2])
    assert not np.any(flat), "three equal samples in a row at the peak look like clipping"


@each_record
def test_the_noise_floor_lies_at_minus_96_db(record: DemoRecord) -> None:
    lead_in = sound_of(record)[: grid_frame(record, 0) - 1]
    # 20,000 samples and more: the standard error of their RMS is below 0.05 dB
    assert 10 * np.log10(np.mean(lead_in.astype(np.float64) ** 2)) == pytest.approx(-96.0, abs=0.25)


@each_record
def test_the_drop_is_louder_and_fuller_than_the_build(record: DemoRecord) -> None:
    build, drop = section_sound(record, "build"), section_sound(record, "drop")
    assert lufs(drop) > lufs(build) + 3
    assert low_end_db(drop) > low_end_db(build) + 20
    assert lufs(drop) >= max(lufs(section_sound(record, section.name)) for section in record.sections)


@each_record
def test_the_low_end_is_there_only_where_kick_or_bass_play(record: DemoRecord) -> None:
    full = low_end_db(section_sound(record, "drop"))
    for section in record.sections:
        level = low_end_db(section_sound(record, section.name))
        if {"kick", "bass"} & set(section.parts):
            assert level > full - 10, section.name
        else:
            assert level < full - 20, section.name


@each_record
def test_the_stripped_passage_is_drums_alone(record: DemoRecord) -> None:
    pitched = mixed(without(record, *DRUM_PARTS))
    start, end = (round(time_s * RATE_HZ) for time_s in record.drums_s)
    ringing = round(1.5 * RATE_HZ)
    assert not np.any(pitched[start + ringing : end])
    assert lufs(section_sound(record, "drums")) > -16


@each_record
def test_nobody_sings_outside_of_the_voice_ranges(record: DemoRecord) -> None:
    sung = mixed(only(record, "voice"))
    heard = np.zeros(len(sung), dtype=bool)
    for start_s, end_s in record.voice_s:
        start, end = round(start_s * RATE_HZ), round(end_s * RATE_HZ)
        heard[start - 1 : end + 1] = True
        assert np.sqrt(np.mean(sung[start:end] ** 2)) > 0.05
    assert not np.any(sung[~heard])
    assert bool(record.voice_s) == (record.name == "thimbleyard")


KRUMHANSL_KESSLER = {
    "major": (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88),
    "minor": (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17),
}
NOTES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


@pytest.mark.parametrize("record", first_of(FEW[:1], RECORDS), ids=lambda record: record.name)
def test_the_stated_key_is_the_one_that_is_heard(record: DemoRecord) -> None:
    tonal = dsp.decimate(mixed(only(record, "pad", "lead", "bass", "voice")).mean(axis=1), 4)
    chroma = librosa.feature.chroma_stft(y=tonal, sr=RATE_HZ / 4, n_fft=16_384, tuning=0.0).mean(axis=1)
    fits = {
        f"{note} {mode}": float(np.corrcoef(chroma, np.roll(profile, step))[0, 1])
        for step, note in enumerate(NOTES)
        for mode, profile in KRUMHANSL_KESSLER.items()
    }
    assert max(fits, key=fits.__getitem__) == record.key


@pytest.mark.parametrize(
    ("vowel", "first_formant_hz"), [("a", 850), ("e", 610), ("i", 310), ("o", 590), ("u", 370)]
)
def test_a_sung_vowel_resonates_at_its_first_formant(vowel: str, first_formant_hz: float) -> None:
    low_voice = replace(BY_NAME["thimbleyard"], key="A minor", song=(Syllable(0.0, 8.0, -6, vowel, vowel),))
    sound = sung_phrase(low_voice, 3 * RATE_HZ, np.random.default_rng(1))[RATE_HZ // 2 : 2 * RATE_HZ, 0]
    hz, power = dsp.welch(sound, RATE_HZ, nperseg=8192)
    # 4.5 dB an octave flattens the source, so that what stands out is the throat
    flattened = power * hz**1.5 * (hz < 1_000)
    # sung on 110 Hz, the nearest harmonic can be half of that away, and vibrato moves the eighth one by 16 Hz
    assert hz[np.argmax(flattened)] == pytest.approx(first_formant_hz, abs=110 / 2 + 16)


# --- files ---


@pytest.fixture
def two_short_records(monkeypatch: pytest.MonkeyPatch) -> tuple[DemoRecord, ...]:
    shortened = (short(BY_NAME["quarrybread"]), short(BY_NAME["ironworks"]))
    monkeypatch.setattr(records, "RECORDS", shortened)
    return shortened


def test_the_same_records_make_the_same_bytes(
    two_short_records: tuple[DemoRecord, ...], tmp_path: Path
) -> None:
    first, second = (write_records(tmp_path / name) for name in ("a", "b"))
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]


@pytest.mark.slow
def test_another_process_makes_the_same_frames() -> None:
    program = (
        "import hashlib; from render.demo.records import *; from dataclasses import replace;"
        "record = replace(RECORDS[2], sections=RECORDS[2].sections[3:4]);"
        "print(hashlib.sha256(render_record(record)[0].tobytes()).hexdigest(), hash('x'))"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", program], capture_output=True, check=True, text=True, env=env
        ).stdout.split()[0]
        for env in ({"PYTHONHASHSEED": "1"}, {"PYTHONHASHSEED": "2"})
    }
    assert len(digests) == 1


def test_a_written_record_says_its_title_and_holds_its_sound(
    two_short_records: tuple[DemoRecord, ...], tmp_path: Path
) -> None:
    told: list[Path] = []
    paths = write_records(tmp_path / "tracks", told.append)
    assert told == paths == [tmp_path / "tracks" / f"{record.name}.flac" for record in two_short_records]
    for record, path in zip(two_short_records, paths, strict=True):
        with soundfile.SoundFile(path) as file:
            assert (file.format, file.samplerate, file.channels) == ("FLAC", RATE_HZ, 2)
            assert file.title == record.title
            # half a step of 16 bits
            assert np.max(np.abs(file.read(dtype="float32") - sound_of(record))) <= 0.51 / 32_768


def test_what_is_there_and_whole_is_not_made_again(
    two_short_records: tuple[DemoRecord, ...], tmp_path: Path
) -> None:
    before = [path.stat() for path in write_records(tmp_path)]
    after = [path.stat() for path in write_records(tmp_path)]
    assert [(s.st_ino, s.st_mtime_ns) for s in before] == [(s.st_ino, s.st_mtime_ns) for s in after]


@pytest.mark.parametrize("damage", ["cut short", "one bit", "empty", "another record", "not a record"])
def test_what_is_broken_is_made_again(
    two_short_records: tuple[DemoRecord, ...], tmp_path: Path, damage: str
) -> None:
    path, other = write_records(tmp_path)
    whole = path.read_bytes()
    flipped = bytearray(whole)
    flipped[len(whole) // 2] ^= 1
    path.write_bytes(
        {
            "cut short": whole[: len(whole) // 2],
            "one bit": bytes(flipped),
            "empty": b"",
            "another record": other.read_bytes(),
            "not a record": b"RIFF of another kind",
        }[damage]
    )
    assert write_records(tmp_path)[0].read_bytes() == whole


# --- the recipes over them ---


def loaded(path: Path) -> dict:  # type: ignore[type-arg]
    content = YAML(typ="safe", pure=True).load(path.read_text(encoding="utf-8"))
    assert isinstance(content, dict)
    return content


def resolved_s(position: str, markers: dict[str, str], record: DemoRecord) -> float:
    """A position of a recipe in seconds, worked out apart from the program's own reader."""
    beat_s = 60 / record.tempo_bpm
    if offset := re.fullmatch(r"(.+) ([+-]) (\d+) (beats?|bars?)", position):
        beats = int(offset[3]) * (4 if offset[4].startswith("bar") else 1)
        signed = beats if offset[2] == "+" else -beats
        return resolved_s(offset[1], markers, record) + signed * beat_s
    if bar := re.fullmatch(r"bar (\d+)(?:\.(\d))?", position):
        return record.first_beat_s + ((int(bar[1]) - 1) * 4 + int(bar[2] or 1) - 1) * beat_s
    if clock := re.fullmatch(r"(\d+):(\d\d\.\d{3})", position):
        return int(clock[1]) * 60 + float(clock[2])
    if seconds := re.fullmatch(r"([\d.]+) s", position):
        return float(seconds[1])
    return resolved_s(markers[position], markers, record)


@each_recipe
def test_a_recipe_states_the_record_as_it_is(path: Path) -> None:
    for name, track in loaded(path)["tracks"].items():
        record = BY_NAME[name]
        assert track["file"] == f"../out/demo/tracks/{name}.flac"
        assert track["bpm"] == record.tempo_bpm
        assert track["first_beat"] == f"{record.first_beat_s:g} s"
        assert track["key"] == record.key
        for marker, position in track["markers"].items():
            if marker != "gap":
                at_s = resolved_s(position, track["markers"], record)
                # written to the millisecond: half of one
                assert at_s == pytest.approx(record.markers[marker], abs=0.0005)
        assert "drop" in track["markers"]


@each_recipe
def test_a_recipe_is_read_without_a_fault(path: Path) -> None:
    readings = read(path.read_text(encoding="utf-8"), str(path))
    assert faults_of(readings) == []
    assert len(readings) == 1 + len(loaded(path)["try"])


@each_recipe
def test_no_record_has_to_change_its_tempo_by_more_than_six_percent(path: Path) -> None:
    recipe = loaded(path)
    tempo = recipe["tempo"]
    tempo_bpm = BY_NAME[tempo].tempo_bpm if isinstance(tempo, str) else tempo
    for name in recipe["tracks"]:
        changes = [abs(tempo_bpm / (BY_NAME[name].tempo_bpm * fold) - 1) for fold in (0.5, 1, 2)]
        assert min(changes) < 0.06


def test_together_the_recipes_show_the_whole_format() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in RECIPES)
    keys = set(re.findall(r"(?:^|[{\s])([a-z_]+):", re.sub(r"#.*", "", text), re.MULTILINE))
    schema_keys = (
        "recipe title tempo lead tail tracks file bpm first_beat beats_per_bar markers key offset gain pitch enter "
        "leave fade_in fade_out low_cut below keep from track jump_back at to loop try clip format ceiling"
    )
    assert keys >= set(schema_keys.split())
    assert len(RECIPES) == 5
