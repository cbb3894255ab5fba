"""The yardstick is measured before it measures: what the builders say is true is heard in the sound itself.

No ear of the program is asked here. Attacks are looked for by plain energy, keys by the published profiles of
C. Krumhansl and E. Kessler (Tracing the dynamic changes in perceived tonal organization, Psychological Review 89,
1982), and scores by answers whose worth is known beforehand.
"""

from itertools import pairwise

import mir_eval  # type: ignore[import-untyped]
import numpy as np
import pytest
from scipy import signal

from render.values import Grid
from tests.cases import first_of
from tests.ground_truth import debian, scores
from tests.ground_truth.damage import DAMAGES
from tests.ground_truth.ears import Heard
from tests.ground_truth.instruments import RATE_HZ, drum_kit
from tests.ground_truth.perturbations import PERTURBATIONS
from tests.ground_truth.songs import BEATS_PER_BAR, GROOVES, TONICS, draw_song
from tests.ground_truth.sounding import sound_of, truth_of
from tests.ground_truth.spoken import _without_pauses
from tests.ground_truth.synthetic import drifting_records, hard_drop_records, synthetic_records
from tests.ground_truth.tables import Result, main_table, wrong_answers
from tests.ground_truth.truth import Truth, steady_beats
from tests.ground_truth.written_midi import WRITTEN, Written

LENGTH_S = 95.0
FRAME_MS = 1000 / RATE_HZ


def power(sound: np.ndarray, start_s: float, end_s: float, rate_hz: int = RATE_HZ) -> float:
    return float(np.mean(np.square(sound[round(start_s * rate_hz) : round(end_s * rate_hz)])))


def truth_with(**facts: object) -> Truth:
    """A record of 120 BPM whose first beat lies at half a second."""
    known = {
        "name": "t",
        "set": "s",
        "tempo_bpm": 120.0,
        "first_beat_s": 0.5,
        "beats": steady_beats(0.5, 120, 60),
    }
    return Truth(**{**known, "drops_s": (32.5,), "bars": 29, **facts})  # type: ignore[arg-type]


def test_the_same_seed_gives_the_same_record_and_another_seed_another() -> None:
    song = draw_song(1, "two-step", length_s=LENGTH_S)
    assert np.array_equal(sound_of(song), sound_of(draw_song(1, "two-step", length_s=LENGTH_S)))
    assert draw_song(2, "two-step", length_s=LENGTH_S) != song


@pytest.mark.parametrize("name", ["kick", "snare", "clap", "hat", "rim"])
def test_every_drum_begins_on_its_first_frame(name: str) -> None:
    hit = np.abs(drum_kit(np.random.default_rng(1))[name])
    loud = int(np.argmax(hit > 0.25 * hit.max()))
    assert loud * FRAME_MS < 2.0  # the first quarter wave of the lowest kick at its highest pitch is shorter


@pytest.mark.parametrize("style", GROOVES)
def test_the_drop_is_where_the_low_end_comes_in(style: str) -> None:
    song = draw_song(3, style, drums_only=False, voice_bars=frozenset())  # type: ignore[arg-type]
    truth = truth_of(song, "a", "b")
    low = signal.sosfilt(signal.butter(4, 110, fs=RATE_HZ, output="sos"), sound_of(song).mean(axis=1))
    for drop_s in truth.drops_s:
        bar_s = BEATS_PER_BAR * truth.beat_s
        assert power(low, drop_s, drop_s + bar_s) > 30 * power(low, drop_s - bar_s, drop_s)


@pytest.mark.parametrize("style", GROOVES)
def test_beats_of_a_drop_are_where_the_truth_says(style: str) -> None:
    """Attacks of the whole mix in the first drop, found by their own rise, lie on steps of the grid."""
    song = draw_song(4, style, swing=0.5, drums_only=True, voice_bars=frozenset())  # type: ignore[arg-type]
    truth = truth_of(song, "a", "b")
    sound = sound_of(song).mean(axis=1)
    kick_step_s = truth.beats[(song.drop_bars[0] - 1) * BEATS_PER_BAR]
    around = np.abs(sound[round((kick_step_s - 0.02) * RATE_HZ) : round((kick_step_s + 0.02) * RATE_HZ)])
    first = int(np.argmax(around > 0.3 * around.max())) / RATE_HZ - 0.02
    assert abs(first) < 0.002  # as above: the kick's own rise


def test_every_record_says_what_it_holds_out_and_nothing_is_named_twice() -> None:
    for records in (synthetic_records(), hard_drop_records(), drifting_records()):
        held_out = [record.truth.held_out for record in records]
        assert 3 * sum(held_out) == len(records)
        assert len({record.truth.name for record in records}) == len(records)


def test_tempi_are_fractional_and_span_slow_to_fast() -> None:
    tempi = [record.truth.tempo_bpm for record in synthetic_records()]
    assert min(tempi) < 100 and max(tempi) > 170
    assert sum(tempo != round(tempo) for tempo in tempi) > len(tempi) / 2


SOON = [damage for damage in DAMAGES if damage.name in ("silence", "vinyl", "48 kHz")]


@pytest.mark.parametrize("damage", first_of(SOON, DAMAGES), ids=lambda damage: damage.name)
def test_damage_moves_a_beat_by_what_it_says(damage: object) -> None:
    """The lag at which the damaged record agrees best with the clean one, between 20 and 50 s."""
    song = draw_song(5, "broken beat", length_s=LENGTH_S)
    clean = sound_of(song)
    sound, rate_hz = damage.apply(clean, np.random.default_rng(0))  # type: ignore[attr-defined]
    mono = sound.mean(axis=1)
    if rate_hz != RATE_HZ:
        mono = signal.resample_poly(mono, RATE_HZ, rate_hz)
    span = slice(20 * RATE_HZ, 50 * RATE_HZ)
    moved = mono[round(damage.silence_s * RATE_HZ) :]  # type: ignore[attr-defined]
    agreement = signal.correlate(moved[span], clean.mean(axis=1)[span], method="fft")
    lag = int(np.argmax(agreement)) - (span.stop - span.start - 1)
    assert abs(lag) <= 1  # silence is rounded to a frame


@pytest.mark.parametrize(
    "perturbation",
    first_of(
        [one for one in PERTURBATIONS if one.name in ("equal loudness", "fake drop", "cut intro")],
        PERTURBATIONS,
    ),
    ids=lambda perturbation: perturbation.name,
)
def test_a_perturbed_drop_stays_where_the_truth_says(perturbation: object) -> None:
    """There an attack rises: in the highs, or in the lows where the highs before it are as loud."""
    name = perturbation.name  # type: ignore[attr-defined]
    record = next(record for record in hard_drop_records() if record.truth.perturbation == name)
    sound, rate_hz = record.sound()
    drop_s = record.truth.drops_s[0]
    if name == "equal loudness":
        band = signal.butter(2, 110, "lowpass", fs=rate_hz, output="sos")
    else:
        band = signal.butter(2, 1_500, "highpass", fs=rate_hz, output="sos")
    heard = signal.sosfilt(band, sound.mean(axis=1))
    assert power(heard, drop_s, drop_s + 0.02) > 4 * power(heard, drop_s - 0.03, drop_s - 0.002)


def test_bars_of_equal_loudness_are_equally_loud() -> None:
    record = next(record for record in hard_drop_records() if record.truth.perturbation == "equal loudness")
    sound, rate_hz = record.sound()
    starts_s = record.truth.beats[::4]
    levels_db = [
        10 * np.log10(power(sound, start_s, end_s, rate_hz)) for start_s, end_s in pairwise(starts_s)
    ]
    assert np.ptp(levels_db) < 1.5  # rounding off the peaks takes more from a peaky bar


def test_the_cut_intro_begins_half_a_phrase_before_its_drop() -> None:
    truth = next(r.truth for r in hard_drop_records() if r.truth.perturbation == "cut intro")
    assert 0 < truth.first_beat_s < truth.beat_s
    assert truth.drops_s[0] - truth.first_beat_s == pytest.approx(4 * BEATS_PER_BAR * truth.beat_s)


def test_a_cut_renumbers_bars_and_moves_everything_else() -> None:
    """120 BPM, first beat at 0.5 s, cut at 3.0 s: of bars at 0.5, 2.5 and 4.5 s the third is the first whole one."""
    cut = truth_with(voice_bars=frozenset({2, 3, 5})).cut(3.0)
    assert (cut.first_beat_s, cut.beats[0], cut.drops_s, cut.bars) == (1.5, 0.0, (29.5,), 27)
    assert cut.voice_bars == frozenset({1, 3})


def test_a_drifting_record_wanders_as_far_as_it_says() -> None:
    for record in drifting_records():
        truth = record.truth
        lengths_s = np.diff(truth.beats)
        wander = np.max(np.abs(truth.beat_s / lengths_s - 1))
        assert wander < 1e-9 if truth.fixed_tempo else 0.0099 < wander < 0.0201


KRUMHANSL_KESSLER = {
    "major": (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88),
    "minor": (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17),
}


@pytest.mark.parametrize("piece", [piece for piece in WRITTEN if piece.key], ids=lambda piece: piece.name)
def test_a_written_piece_is_in_its_key(piece: Written) -> None:
    """Notes weighed by their length fit the true key's profile well, and no key better but one that is near to it.

    Near are the fifths and the relative key: those that mir_eval gives part of the mark for.
    """
    weight = np.zeros(12)
    for _, beats, channel, note, _ in piece.notes():
        if channel != 9:
            weight[note % 12] += beats
    fits = {
        f"{tonic} {mode}": np.corrcoef(np.roll(profile, place), weight)[0, 1]
        for mode, profile in KRUMHANSL_KESSLER.items()
        for place, tonic in enumerate(TONICS)
    }
    best = max(fits, key=lambda key: fits[key])
    assert fits[str(piece.key)] > 0.7
    assert max(mir_eval.key.weighted_score(*pair) for pair in ((piece.key, best), (best, piece.key))) >= 0.3


@pytest.mark.parametrize(
    ("heard_bpm", "fine", "coarse", "multiple"),
    [
        (120.0, True, True, True),
        (60.0, True, True, False),
        (120.0 * (1 + 1.5e-5), True, True, True),
        (240.0 * (1 + 4e-5), False, True, False),
        (120.0 * (1 + 6e-5), False, False, True),
        (90.0, False, False, False),
    ],
)
def test_a_tempo_is_judged_within_its_tolerance(
    heard_bpm: float, fine: bool, coarse: bool, multiple: bool
) -> None:
    judged = scores.score(truth_with(), Heard(grid=Grid(0.5, heard_bpm)))
    assert (judged.tempo_fine, judged.tempo_coarse, judged.right_multiple) == (fine, coarse, multiple)


@pytest.mark.parametrize(
    ("first_beat_s", "off_ms", "beat", "bar"),
    [
        (0.503, 3.0, True, True),
        (2.5, 0.0, True, True),
        (1.0, 0.0, True, False),
        (0.75, 250.0, False, None),
        (0.57, 70.0, False, None),
    ],
)
def test_a_first_beat_is_judged_by_beat_and_bar(
    first_beat_s: float, off_ms: float, beat: bool, bar: bool
) -> None:
    judged = scores.score(truth_with(), Heard(grid=Grid(first_beat_s, 120.0)))
    assert judged.first_beat_ms == pytest.approx(off_ms, abs=1e-6)
    assert (judged.right_beat, judged.right_bar) == (beat, bar)


def test_a_slower_grid_is_right_when_its_beats_are_beats() -> None:
    assert scores.score(truth_with(), Heard(grid=Grid(1.0, 60.0))).right_beat
    assert not scores.score(truth_with(), Heard(grid=Grid(1.25, 60.0))).right_beat


def test_a_drop_is_found_by_the_first_candidate_within_a_beat() -> None:
    assert scores.drop_rank(truth_with(), (10.0, 32.9)) == 2
    assert scores.drop_rank(truth_with(), (31.9, 33.1)) == 0


def test_sung_bars_are_counted_in_the_true_bars() -> None:
    truth = truth_with(voice_bars=frozenset({2, 3}), bars=4)
    heard = Heard(voice_per_bar=(False, True, False, True), bar_edges_s=np.array([0.5, 2.5, 4.5, 6.5, 8.5]))
    judged = scores.score(truth, heard)
    assert (judged.voice_hits, judged.voice_false, judged.voice_missed) == (1, 1, 1)


def test_the_true_beats_score_full_marks() -> None:
    assert scores.score(truth_with(), Heard(grid=Grid(0.5, 120.0))).beat_f == 1.0
    assert scores.score(truth_with(), Heard(grid=Grid(0.75, 120.0))).beat_f == 0.0


def test_shortened_pauses_leave_the_words() -> None:
    """A second of a tone, a second of nothing and a second of a tone: 0.12 s of the nothing stays."""
    tone = np.sin(np.arange(16_000) * 0.2).astype(np.float32)
    shortened = _without_pauses(np.concatenate([tone, np.zeros(16_000, np.float32), tone]))
    assert len(shortened) == 2 * 16_000 + round(0.12 * 16_000)


def test_a_set_whose_package_cannot_be_had_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(name: str) -> None:
        pytest.skip(f"{name} cannot be fetched")

    monkeypatch.setattr(debian, "package", refused)
    debian.unpacked.cache_clear()
    with pytest.raises(debian.Missing, match="sonic-pi-samples cannot be fetched"):
        debian.loop_records()


def test_what_nobody_listened_for_is_a_dash() -> None:
    results = [Result(truth_with(), heard, scores.score(truth_with(), heard), 60.0) for heard in (Heard(),)]
    rows = [line.split("|")[1:3] for line in main_table(results).splitlines()]
    assert ["records", "1"] in [[cell.strip() for cell in row] for row in rows]
    assert {row[1].strip() for row in rows[3:]} == {"-"}
    assert wrong_answers(results) == "No wrong answers."


def test_a_wrong_answer_is_told_by_name() -> None:
    heard = Heard(grid=Grid(0.75, 120.0), drops_s=(10.0, 32.5))
    result = Result(truth_with(), heard, scores.score(truth_with(), heard), 60.0)
    told = wrong_answers([result])
    assert "s: t: off-beat, 250 ms; drop number 2 (10.0, 32.5 for 32.5)" in told
