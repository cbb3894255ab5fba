"""Beats, bars, tempi and levels against worked examples of the trade's arithmetic (common practice).

A beat lasts 60 / BPM seconds, a bar so many beats; a record of one tempo runs TO / FROM times as fast in a clip of
another. Every expected time is an exact fraction, worked out with Python's `fractions` from those definitions; 64
beats at 174 BPM come out the same in music21's MetronomeMark(174).durationToSeconds(64), and 30 s at 44.1 kHz that are
taken from 171.5 to 174 BPM are 1,303,991 frames by sox (`tempo` and `speed`) and by ffmpeg's `rubberband` filter.

Floats must agree to 1e-12 of the value, which is some thousand times their precision.
"""

from fractions import Fraction
from itertools import pairwise

import pytest

from render.plan.align import Alignment, landing_alignment
from render.plan.explain import explain
from render.plan.model import ClipClock, Lane
from render.publish.card.numbers import percent
from render.recipe.known import time_in_record
from render.recipe.positions import track_position
from render.recipe.schema import Track
from render.sound.levels import matched_gains_db, trim_db
from render.values import Grid, clock, db_to_gain, gain_to_db, nearest_frame
from tests.plan.planning import Record, facts_of, planned, recipe_of

AGREES = 1e-12
RATE_HZ = 44_100
TRACK = Track(file="-", markers={"drop": track_position("1:28.276")})


def same(found: float, exact: Fraction) -> bool:
    return bool(found == pytest.approx(float(exact), rel=AGREES))


SPANS = [
    (174, 1, Fraction(10, 29)), (174, 4, Fraction(40, 29)), (174, 64, Fraction(640, 29)),
    (174, 128, Fraction(1280, 29)), (174, 87, Fraction(30)), (174, Fraction(1, 4), Fraction(5, 58)),
    (171.5, 1, Fraction(120, 343)), (170, 32, Fraction(192, 17)), (140, 4, Fraction(12, 7)),
    (140, Fraction(7, 2), Fraction(3, 2)), (140, 64, Fraction(192, 7)), (128, 64, Fraction(30)),
    (128, 128, Fraction(60)), (124, 8, Fraction(120, 31)), (120, Fraction(3, 4), Fraction(3, 8)),
    (87, 1, Fraction(20, 29)),
]  # fmt: skip
"""BPM, beats, seconds. 7/2 beats are a bar of 7/8, 3/4 a dotted eighth, 1/4 a sixteenth; one at 87 is two at 174."""


@pytest.mark.parametrize(("bpm", "beats", "exact_s"), SPANS)
def test_so_many_beats_last_so_long(bpm: float, beats: Fraction, exact_s: Fraction) -> None:
    grid = Grid(0.0, bpm)
    assert same(grid.time_s(float(beats)), exact_s)
    assert same(grid.beat_at(float(exact_s)), Fraction(beats))
    assert same(ClipClock(bpm, 4, RATE_HZ, float(beats), 1.0).beat_s(0.0), exact_s)
    assert same(time_in_record(TRACK, track_position(f"0 s + {float(beats)} beats"), grid), exact_s)


def test_a_beat_too_many_or_a_beat_in_whole_milliseconds_would_be_noticed() -> None:
    for bpm, beats, exact_s in SPANS:
        assert not same(float((beats + 1) * 60 / Fraction(bpm)), exact_s)
    assert not same(64 * round(60 / 174, 3), Fraction(640, 29))  # 22.080 s, 11 ms too long


BARS = [
    ("bar 33", Grid(0.112, 128.0), Fraction(7514, 125)),
    ("bar 33", Grid(0.112, 174.0), Fraction(160406, 3625)),
    ("bar 33", Grid(0.0, 128.0), Fraction(60)),
    ("bar 17", Grid(0.0, 174.0), Fraction(640, 29)),
    ("bar 9", Grid(0.0, 90.0, 3), Fraction(16)),
    ("bar 2", Grid(0.0, 140.0), Fraction(12, 7)),
    ("bar 2", Grid(0.0, 280.0, 7), Fraction(3, 2)),
    ("bar 51", Grid(0.132, 174.0), Fraction(500957, 7250)),
]
"""Bars count from 1. 7/8 at 140 quarters a minute has seven beats at 280; beat 200 is the first of bar 51."""


@pytest.mark.parametrize(("written", "grid", "exact_s"), BARS)
def test_a_bar_begins_after_the_bars_before_it(written: str, grid: Grid, exact_s: Fraction) -> None:
    found_s = time_in_record(TRACK, track_position(written), grid)
    assert same(found_s, exact_s)
    bar = int(written.removeprefix("bar "))
    assert grid.bar_and_beat(round(grid.beat_at(found_s), 9)) == (bar, 1.0)


def test_a_bar_counted_from_0_would_be_noticed() -> None:
    """Bar 33 after 33 bars, not 32, would lie at 61.987 s."""
    too_late_s = Fraction(112, 1000) + 33 * 4 * Fraction(60, 128)
    assert float(too_late_s) == 61.987
    assert not same(float(too_late_s), BARS[0][2])


MARKS = [
    (32, Fraction(560001, 7250), "1:17.242"),
    (64, Fraction(480001, 7250), "1:06.207"),
    (128, Fraction(320001, 7250), "0:44.138"),
]
"""Beats before a drop at 1:28.276 at 174 BPM, seconds from the start of the record, and how a clock shows them."""


@pytest.mark.parametrize(("beats", "exact_s", "shown"), MARKS)
def test_the_mark_lies_whole_phrases_before_the_drop(beats: int, exact_s: Fraction, shown: str) -> None:
    for back in (f"{beats} beats", f"{beats // 4} bars"):
        found_s = time_in_record(TRACK, track_position(f"drop - {back}"), Grid(0.0, 174.0))
        assert same(found_s, exact_s)
        assert clock(found_s) == shown


@pytest.mark.parametrize(
    ("rate_hz", "exact_frames", "nearest"),
    [(44_100, Fraction(423360882, 145), 2_919_730), (48_000, Fraction(92160192, 29), 3_177_938)],
)
def test_a_lane_starts_at_its_mark(rate_hz: int, exact_frames: Fraction, nearest: int) -> None:
    """A clip's frames are whole, and the landing is one of them: half a frame at the most."""
    grid = Grid(0.0, 174.0)
    assert nearest_frame(time_in_record(TRACK, track_position("drop - 64 beats"), grid) * rate_hz) == nearest
    record = Record("bpm: 174; first_beat: 0; markers: {drop: 1:28.276}", rate_hz=rate_hz)
    for lane in planned({"one": record, "two": record}, "lead: 64 beats").lanes:
        assert abs(lane.passages[0].source_start_frames - exact_frames) <= 0.5


TEMPO_CHANGES = [
    (171.5, 174, 1, Fraction(348, 343), "+1.46", "-1.44"),
    (170, 174, 1, Fraction(87, 85), "+2.35", "-2.30"),
    (172, 174, 1, Fraction(87, 86), "+1.16", "-1.15"),
    (85, 174, 2, Fraction(87, 85), "+2.35", "-51.15"),
    (87, 174, 2, Fraction(1), "+0.00", "-50.00"),
    (174, 87, 0.5, Fraction(1), "+0.00", "+100.00"),
    (128, 131.84, 1, Fraction(103, 100), "+3.00", "-2.91"),
]
"""BPM of record and clip, double or half time, speed, percent as it is shown, and percent divided the wrong way."""


@pytest.mark.parametrize(("bpm", "clip_bpm", "fold", "exact", "shown", "wrong"), TEMPO_CHANGES)
def test_a_record_runs_as_much_faster_as_the_clip_is_than_it(
    bpm: float, clip_bpm: float, fold: float, exact: Fraction, shown: str, wrong: str
) -> None:
    one, two = (Record(f"bpm: {own}; first_beat: 0; markers: {{drop: 100 s}}") for own in (bpm, clip_bpm))
    tracks = {"one": one, "two": two}
    rest = f"tempo: {clip_bpm}\nlead: 16 beats\ntail: 16 beats"
    plan, facts = planned(tracks, rest), facts_of(recipe_of(tracks, rest), tracks)
    lane, line = plan.lanes[0], landing_alignment(facts["one"], clip_bpm)
    assert line.fold == fold
    assert same(line.speed, exact)
    assert same(lane.passages[0].speed, exact)
    assert percent(lane.passages[0].speed, 0.0) == shown
    row = next(line for line in explain(plan, facts).splitlines() if line.split()[:1] == ["one"])
    assert row.split()[2] == f"{shown}%"
    # The wrong way round, and without counting in double or half time:
    assert f"{(bpm / clip_bpm - 1) * 100:+.2f}" == wrong
    assert wrong != shown


def line_of(bpm: float, drop_s: float, first_beat_s: float = 0.0, clip_bpm: float = 174.0) -> Alignment:
    lines = f"bpm: {bpm}; first_beat: {first_beat_s} s; markers: {{drop: {drop_s} s}}"
    tracks = {"one": Record(lines), "two": Record(lines)}
    return landing_alignment(facts_of(recipe_of(tracks), tracks)["one"], clip_bpm)


def test_a_faster_record_is_over_sooner() -> None:
    """171.5 to 174 BPM: 343/348 of the time. 30 s become 1715/58 s, a drop at 88.276 s is heard after 261023/3000 s."""
    line = line_of(171.5, 88.276)
    clip_beat_s = Fraction(60, 174)
    assert same(-line.clip_beat(0.0) * float(clip_beat_s), Fraction(261023, 3000))
    thirty_s = (line.clip_beat(118.276) - line.clip_beat(88.276)) * float(clip_beat_s)
    assert thirty_s == pytest.approx(float(Fraction(1715, 58)), rel=1e-11)  # a difference of two places
    assert nearest_frame(30 * RATE_HZ / line.speed) == 1_303_991
    slower_s = 30 * 174 / 171.5
    assert thirty_s != pytest.approx(slower_s, rel=0.02)  # the wrong way round


HALF_TIME = [
    (87, 174, -64, Fraction(480001, 7250)),
    (85, 174, -64, Fraction(88276, 1000) - Fraction(384, 17)),
    (174, 87, -32, Fraction(480001, 7250)),
]
"""BPM of record and clip, clip beats from the landing, and what of the record is heard there; it drops at 1:28.276.

64 beats at 174 pass in 32 of a record that is counted at half of that: 384/17 s of its own where it has 85 BPM.
"""


@pytest.mark.parametrize(("bpm", "clip_bpm", "beat", "exact_s"), HALF_TIME)
def test_beats_of_the_clip_are_counted_in_double_or_half_time(
    bpm: float, clip_bpm: float, beat: float, exact_s: Fraction
) -> None:
    line = line_of(bpm, 88.276, clip_bpm=clip_bpm)
    assert same(line.source_s(beat), exact_s)
    assert same(line.source_s_after(beat * 60 / clip_bpm), exact_s)
    assert line.clip_beat(float(exact_s)) == pytest.approx(beat, rel=AGREES)
    assert not same(88.276 + beat * 60 / bpm, exact_s)  # counted as they stand


def test_a_record_starts_so_that_its_first_beat_falls_on_a_bar_of_the_other() -> None:
    """One of 172 BPM whose first beat lies at 0.587 s, over bar 17 of one of 174 that begins at 0.112 s.

    It is to be started when the other stands at 939631/43500 s.
    """
    bar_17_s = Grid(0.112, 174.0).time_s(64.0)
    under, over = line_of(174, bar_17_s, 0.112), line_of(172, 0.587, 0.587)
    assert same(under.source_s(over.clip_beat(0.0)), Fraction(939631, 43500))
    unstretched_s = bar_17_s - 0.587
    assert not same(unstretched_s, Fraction(939631, 43500))  # 7 ms off: its 0.587 s pass faster, too


def test_a_wrong_tempo_drifts() -> None:
    """0.05 BPM too fast is 640/100949 s (6.3 ms) after 64 beats, 0.1 BPM 1280/50489 s (25 ms) after 128.

    70 ms, the window in which a beat counts as found, are reached in 128 beats by 0.2755161735684908 BPM.
    """
    right = Grid(0.0, 174.0)
    late_s = Grid(0.0, 174.05).off_beat_s(right.time_s(64.0))
    assert late_s == pytest.approx(float(Fraction(640, 100949)), rel=1e-11)  # a difference of two times
    late_s = Grid(0.0, 174.1).off_beat_s(right.time_s(128.0))
    assert late_s == pytest.approx(float(Fraction(1280, 50489)), rel=1e-11)
    early_s = right.time_s(128.0) - Grid(0.0, 174 - 0.2755161735684908).time_s(128.0)
    assert early_s == pytest.approx(-0.07, rel=1e-11)


def test_a_tempo_read_from_two_beats() -> None:
    """64 beats from 12.345 s to 34.413966 s: 640000000/3678161 BPM."""
    bpm = Fraction(640000000, 3678161)
    assert same(Grid(12.345, float(bpm)).time_s(64.0), Fraction(34413966, 10**6))
    assert not same(Grid(12.345, 174.0).time_s(64.0), Fraction(34413966, 10**6))


BEAT_FRAMES = Fraction(441_000, 29)
"""One beat at 174 BPM and 44.1 kHz: 15,206.9 frames."""


def lane_of_single_beats(beats: int) -> Lane:
    """A record that repeats one beat from its first beat in the clip on: one passage for each beat."""
    record = Record("bpm: 174; first_beat: 0; markers: {drop: bar 33, loop: bar 9}")
    rest = f"""
lead: {beats} beats
tail: 1 beat
jump_back:
  - {{track: one, at: start + 1 beat, to: loop, loop: 1 beat}}
"""
    return planned({"one": record, "two": record}, rest).lanes[0]


def test_beats_do_not_drift_by_being_rounded() -> None:
    """Rounding every beat and adding up gives 973,248 frames after 64 beats; rounded once it is 973,241."""
    starts = [passage.clip_start_frames for passage in lane_of_single_beats(64).passages]
    assert starts == [nearest_frame(float(beat * BEAT_FRAMES)) for beat in range(len(starts))]
    assert starts[64] == 973_241
    assert 64 * round(BEAT_FRAMES) == 973_248
    # Seven frames lie far outside of the half that one rounding may cost.
    assert max(abs(start - beat * BEAT_FRAMES) for beat, start in enumerate(starts)) <= 0.5
    assert len({end - start for start, end in pairwise(starts)}) == 2


def test_a_fade_of_8_beats_lasts_8_beats() -> None:
    """120/31 s at 124 BPM; both of its ends are rounded to a frame."""
    record = Record("bpm: 124; first_beat: 0; markers: {drop: bar 33}; fade_in: 8 beats")
    fade_frames = planned({"one": record, "two": record}).lanes[0].fade_in_frames
    assert abs(fade_frames - Fraction(120, 31) * RATE_HZ) <= 1
    assert abs(fade_frames - Fraction(8 * 60, 125) * RATE_HZ) > 1  # at 125 BPM


def test_levels_of_the_desk() -> None:
    """Amplitude is 10^(dB/20); a lane at -9.3 LUFS comes down to one at -16, a peak at +1.8 dBTP to -1."""
    assert db_to_gain(-6.7) == pytest.approx(0.4623810213992603, rel=AGREES)
    assert db_to_gain(-1.0) == pytest.approx(0.8912509381337456, rel=AGREES)
    assert gain_to_db(0.4623810213992603) == pytest.approx(-6.7, rel=AGREES)
    assert matched_gains_db([-16.0, -9.3]) == pytest.approx([0.0, -6.7], rel=AGREES)
    assert trim_db(1.8, -1.0) == pytest.approx(-2.8, rel=AGREES)
    assert 0.4623810213992603 > 2 * 10 ** (-6.7 / 10)  # what it would be of power
