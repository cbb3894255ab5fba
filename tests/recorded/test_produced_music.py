"""Produced pieces, read from the middle of their Ogg files and layered: clips as they would be made for real."""

from pathlib import Path

import numpy as np
import pytest
from attack_lag import Beat, Heard
from outside_meter import decoded, levels_of
from recorded_material import (
    ENGINES,
    LEAD_BEATS,
    PIECES,
    TAIL_BEATS,
    Piece,
    clip_of,
    track_lines,
    write_recipe,
)
from scipy import signal

from render.files.engines import EngineChoice

pytestmark = pytest.mark.debian

DROP_BEAT = 96
"""40 to 55 s after the first beat: no file starts or ends near it."""
CEILING_DBTP = -1.0
CEILING_TOLERANCE_DB = 0.1
"""What the program promises of the encoded file."""
LOUDNESS_TOLERANCE_LU = 0.2
"""EBU Tech 3341 (2016), clause 2.9, allows a meter 0.1 LU; here are two."""
LANDING_MS = 1.0

PAIRS = [("beast-of-insanity", "desert3", 136.0, "mp3")]
MORE_PAIRS = [
    ("sixtyfour_revisited", "brokenlight", 132.0, "opus"),
    ("infight", "desert3", 142.0, "flac"),
    ("brokenlight", "infight", 145.0, "mp3"),
    ("desert3", "sixtyfour_revisited", 131.0, "wav"),
]
BY_PAIR = pytest.mark.parametrize(
    ("lower", "upper", "tempo_bpm", "form"),
    [*PAIRS, *(pytest.param(*pair, marks=pytest.mark.slow) for pair in MORE_PAIRS)],
)


def track_name(piece: Piece) -> str:
    return piece.name.replace("-", "_")


def lines(piece: Piece, folder: Path) -> str:
    markers = f"{{drop: bar {DROP_BEAT // 4 + 1}}}"
    file = folder / f"{piece.name}.ogg"
    return track_lines(track_name(piece), file, piece.tempo_bpm, piece.first_beat_s, markers=markers)


@pytest.mark.parametrize("choice", ENGINES)
@BY_PAIR
def test_a_clip_of_two_pieces_keeps_its_promises(
    tmp_path, piece_folder, lower: str, upper: str, tempo_bpm: float, form: str, choice: EngineChoice
):
    """Peak and loudness by FFmpeg's meter, the landing by the receipt."""
    tracks = [lines(PIECES[name], piece_folder) for name in (lower, upper)]
    clip = clip_of(write_recipe(tmp_path, *tracks, rest=f"tempo: {tempo_bpm}", form=form), choice)
    assert clip.receipt["engine"] == choice
    assert clip.codes("failure") == []

    outside = levels_of(clip.path)
    assert outside.true_peak_dbtp <= CEILING_DBTP + CEILING_TOLERANCE_DB
    told = clip.receipt["encoded"]
    assert told["integrated_lufs"] == pytest.approx(outside.integrated_lufs, abs=LOUDNESS_TOLERANCE_LU)

    for track in clip.receipt["tracks"]:
        landing_ms = track["landing_error_ms"]
        assert landing_ms is None or abs(landing_ms) <= LANDING_MS, track["name"]


@pytest.mark.slow
@pytest.mark.parametrize("choice", ENGINES)
@BY_PAIR
def test_every_lane_of_two_pieces_is_in_time_by_a_measure_of_its_own(
    tmp_path, piece_folder, lower: str, upper: str, tempo_bpm: float, form: str, choice: EngineChoice
):
    """Each piece heard alone, against itself as FFmpeg decodes it, over all beats of the lane together."""
    both = [PIECES[lower], PIECES[upper]]
    for piece, other in (both, both[::-1]):
        folder = tmp_path / piece.name
        folder.mkdir()
        turned_down = f"{lines(other, piece_folder)}    gain: -60 dB\n"
        recipe = write_recipe(folder, lines(piece, piece_folder), turned_down, rest=f"tempo: {tempo_bpm}")
        clip = clip_of(recipe, choice)
        audio, rate_hz = clip.sound()
        source, source_rate_hz = decoded(piece_folder / f"{piece.name}.ogg", tmp_path)
        speed = tempo_bpm / piece.tempo_bpm
        heard = Heard(audio.mean(axis=1), rate_hz, source.mean(axis=1), source_rate_hz, speed)
        beats = [
            Beat(clip.landing_s + beat * 60.0 / tempo_bpm, piece.time_s(DROP_BEAT + beat))
            for beat in range(-LEAD_BEATS + 1, TAIL_BEATS - 1)
        ]
        assert heard.lags(beats).common == pytest.approx(0.0, abs=LANDING_MS), piece.name


def test_a_piece_at_its_own_tempo_lies_in_the_clip_to_the_sample(tmp_path, piece_folder):
    """Against FFmpeg's decoding of the whole file, which seeks nowhere; one sample is what a drop may be off by."""
    piece, other = PIECES["beast-of-insanity"], PIECES["brokenlight"]
    turned_down = f"{lines(other, piece_folder)}    gain: -60 dB\n"
    clip = clip_of(write_recipe(tmp_path, lines(piece, piece_folder), turned_down, rest="tempo: 140"))
    audio, rate_hz = clip.sound()
    source, source_rate_hz = decoded(piece_folder / f"{piece.name}.ogg", tmp_path)
    assert rate_hz == source_rate_hz
    half, reach = rate_hz, 500
    landing, drop = round(clip.landing_s * rate_hz), round(piece.time_s(DROP_BEAT) * rate_hz)
    heard = audio[landing - half - reach : landing + half + reach].mean(axis=1)
    match = signal.correlate(heard, source[drop - half : drop + half].mean(axis=1), "valid")
    assert abs(int(np.argmax(match)) - reach) <= 1
