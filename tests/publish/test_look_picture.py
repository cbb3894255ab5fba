"""The picture of a record shows what was heard of it: read off the drawn outlines and held against the facts."""

import io
import math
import re
from itertools import pairwise

import pytest
from looks import BAR_S, EVERY_REASON, LEVELS, Drawing, heard, no_beat, recording
from pictures import TWO, drawn
from PIL import Image
from test_picture_type import inks

from render.publish.look.picture import INKS, PNG_DOTS_PER_UNIT, look_picture
from render.publish.tones import STEPS, step_of, tone

UNIT_DIGITS = 0.01


def bar_x(drawing: Drawing, bar: int) -> float:
    """Where a bar begins, measured between the phrase lines of 8 bars around it."""
    first = (bar - 1) // 8 * 8 + 1
    unit = (drawing.line_of(9)[0] - drawing.line_of(1)[0]) / 8
    return drawing.line_of(first)[0] + (bar - first) * unit


def level_steps(drawing: Drawing, x: float) -> list[int]:
    """The darkest step that covers each of ten bands at a place of the first row, the lowest band first."""
    top, foot = drawing.line_of(1)[1] + 5.0, drawing.line_of(1)[1] + 5.0 + 110.0
    found = []
    for band in range(10):
        y = foot - (band + 0.5) * (foot - top) / 10
        covering = [
            step
            for step in range(1, STEPS + 1)
            for left, upper, right, lower in drawing.outlines(f"tone-{step}")
            if left < x < right and upper < y < lower
        ]
        found.append(max(covering, default=0))
    return found


def test_every_candidate_has_its_number_place_time_and_reasons() -> None:
    drawing = Drawing.of(heard(drops=(65, 17, 89, 73)))
    for number, bar in enumerate((65, 17, 89, 73), 1):
        time_s = 0.312 + (bar - 1) * BAR_S
        written = f"{int(time_s // 60)}:{time_s % 60:06.3f}"
        assert drawing.texts(f"place-{number}") == [f"bar {bar}, {written}"]
        assert " ".join(drawing.texts(f"why-{number}")) == ", ".join(EVERY_REASON)
        assert (
            drawing.texts(f"drop-{number}-number")
            == drawing.texts(f"listed-{number}-number")
            == [str(number)]
        )


@pytest.mark.parametrize("bars", [(65, 17, 89, 73), (4, 64, 112, 30)])
def test_a_candidate_s_line_stands_at_its_bar_under_its_number(bars: tuple[int, ...]) -> None:
    drawing = Drawing.of(heard(drops=bars))
    for number, bar in enumerate(bars, 1):
        [(x, top, same_x, foot)] = drawing.outlines(f"candidate-{number}")
        assert x == same_x == pytest.approx(bar_x(drawing, bar), abs=UNIT_DIGITS)
        [disc] = drawing.outlines(f"drop-{number}")
        assert (disc[0] + disc[2]) / 2 == pytest.approx(x, abs=UNIT_DIGITS)
        assert disc[1] < top < disc[3] < drawing.line_of((bar - 1) // 8 * 8 + 1)[1] + 5 < foot
        assert drawing.colour(f"candidate-{number}") == INKS["second"]


def test_phrase_lines_stand_at_every_phrase_and_weigh_more_than_bar_ticks() -> None:
    drawing = Drawing.of(heard(112))
    lines = drawing.outlines("phrases")
    assert len(lines) == 112 / 8
    assert sorted(drawing.numbers()) == list(range(1, 112, 8))
    ticks = drawing.outlines("bar-ticks")
    assert len(ticks) == 112
    width = {
        name: float(re.findall(r"stroke-width: ([\d.]+)", str(next(iter(group)).get("style")))[0])
        for name, group in drawing.groups.items()
        if name in ("phrases", "bar-ticks")
    }
    assert width["phrases"] >= 2 * width["bar-ticks"]
    assert min(foot - top for _, top, _, foot in lines) > 10 * max(foot - top for _, top, _, foot in ticks)
    xs = sorted({round(x, 2) for x, _, _, _ in ticks})
    assert [b - a for a, b in pairwise(xs)] == pytest.approx([622 / 64] * 63, abs=2 * UNIT_DIGITS)


def test_phrases_that_begin_late_still_stand_below_each_other() -> None:
    drawing = Drawing.of(heard(120, phrase=(8, 5)))
    assert sorted(drawing.numbers()) == [*range(5, 120, 8)]
    columns = {round(x) for x, _ in drawing.numbers().values()}
    assert len(columns) == 8
    [first_tick, *_] = sorted(drawing.outlines("bar-ticks"), key=lambda tick: (tick[1], tick[0]))
    unit = 622 / 64
    assert drawing.line_of(5)[0] - first_tick[0] == pytest.approx(4 * unit, abs=UNIT_DIGITS)


def test_bars_have_the_time_they_begin_at_beside_them() -> None:
    drawing = Drawing.of(heard(112))
    times = dict(zip(drawing.texts("bar"), drawing.texts("time"), strict=True))
    # 0.312 s + 64 · 240/172 s = 89.614 s; + 104 · 240/172 s = 145.428 s
    assert (times["1"], times["65"], times["105"]) == ("0:00", "1:29", "2:25")


@pytest.mark.slow
def test_a_cell_is_as_dark_as_its_level_is_high() -> None:
    quiet = (-60.0,) * 10
    drawing = Drawing.of(heard(64, bands_db=[LEVELS if bar % 2 else quiet for bar in range(1, 65)], drops=()))
    unit = 622 / 64
    for bar in (3, 4, 31, 32):
        seen = level_steps(drawing, bar_x(drawing, bar) + unit / 2)
        # Steps of 3 dB, counted down from 0 dB: −1 is in the first, −6 at the edge of the third.
        expected = [15 - math.floor(-level / 3) if level > -45 else 0 for level in LEVELS]
        assert seen == (expected if bar % 2 else [0] * 10)


def test_a_png_shows_each_level_in_its_tone() -> None:
    facts = heard(64, drops=())
    drawing = Drawing.of(facts)
    image = Image.open(io.BytesIO(look_picture(recording(), facts, "png"))).convert("RGB")
    x, foot = bar_x(drawing, 4) + 622 / 64 / 2, drawing.line_of(1)[1] + 5.0 + 110.0
    for band, level_db in enumerate(LEVELS):
        at = (round(x * PNG_DOTS_PER_UNIT), round((foot - (band + 0.5) * 11.0) * PNG_DOTS_PER_UNIT))
        red, green, blue = image.getpixel(at)
        assert f"#{red:02x}{green:02x}{blue:02x}" == tone(step_of(level_db))


@pytest.mark.parametrize(
    "facts", [heard(112), heard(1, drops=()), no_beat()], ids=["long", "one bar", "no beat"]
)
def test_a_png_is_two_dots_a_unit(facts: object) -> None:
    drawing = Drawing.of(facts)
    image = Image.open(io.BytesIO(look_picture(recording(), facts, "png")))
    image.load()
    assert image.format == "PNG"
    assert image.size == (1440, round(drawing.height * 2))
    assert image.text["Title"] == "lanterns.flac"


def test_the_low_end_is_as_high_as_its_share() -> None:
    drawing = Drawing.of(heard(8, drops=()))
    heights = {
        round((left - 84) / (622 / 64)) + 1: foot - top for left, top, _, foot in drawing.outlines("low")
    }
    # Shares are 0, ¼, ½, ¾, 0, … of a strip of 14 units; nothing is drawn for 0.
    assert heights == pytest.approx({2: 3.5, 3: 7.0, 4: 10.5, 6: 3.5, 7: 7.0, 8: 10.5})


def test_voice_and_drums_reach_over_their_bars_and_no_others() -> None:
    drawing = Drawing.of(heard(112, voiced=[*range(9, 13), *range(63, 68)], stripped=[(33, 16), (17, 16)]))
    unit = 622 / 64
    spans = sorted((top, left, right) for left, top, right, _ in drawing.outlines("voice"))
    expected = [(9, 4), (63, 2), (65, 3)]  # bar 65 begins the second row
    assert [(left, right) for _, left, right in spans] == [
        pytest.approx((bar_x(drawing, bar), bar_x(drawing, bar) + count * unit), abs=UNIT_DIGITS)
        for bar, count in expected
    ]
    drums = sorted((left, right) for left, _, right, _ in drawing.outlines("drums"))
    for (left, right), bar in zip(drums, (17, 33), strict=True):
        assert bar_x(drawing, bar) < left < bar_x(drawing, bar) + 4
        assert bar_x(drawing, bar) + 16 * unit - 4 < right < bar_x(drawing, bar) + 16 * unit
    assert drums[0][1] < drums[1][0]
    assert set(drawing.texts("strip")) == {"low", "voice", "drums"}


def test_what_was_not_heard_takes_no_room() -> None:
    without, with_both = Drawing.of(heard(64)), Drawing.of(heard(64, voiced=[9], stripped=[(17, 8)]))
    assert set(without.texts("strip")) == {"low"}
    assert without.height < with_both.height
    assert "no voice heard" in " ".join(without.texts("facts")).replace("\N{NO-BREAK SPACE}", " ")


def test_the_head_tells_name_tempo_key_weight_and_loudness() -> None:
    drawing = Drawing.of(heard())
    assert drawing.texts("title") == ["lanterns.flac"]
    said = " · ".join(drawing.texts("facts")).replace("\N{NO-BREAK SPACE}", " ")
    for fact in (
        "172.000 BPM (99 % sure)",
        "F minor (71 % sure)",
        "phrases of 8 bars",
        "tonal weight 56 %",
        "−9.9 LUFS",
        "peak −0.4 dBTP",
    ):
        assert fact in said


def test_a_close_call_names_the_runner_up_and_warnings_stand_out() -> None:
    doubt = "which beat begins the bar is a close call"
    drawing = Drawing.of(
        heard(sure=0.55, warnings=(doubt,), clipped=3), recording(note="its MP3 has no header that counts")
    )
    assert "172.000 BPM, or 86.00 (55 % sure)" in drawing.texts("facts")[0].replace("\N{NO-BREAK SPACE}", " ")
    assert drawing.texts("warning") == [
        f"Beware: {doubt}",
        "Beware: clipped in 3 places",
        "Beware: its MP3 has no header that counts",
    ]
    assert "warning" not in "".join(Drawing.of(heard()).texts("warning"))


def test_a_record_without_a_beat_says_so_and_draws_no_bars() -> None:
    drawing = Drawing.of(no_beat())
    assert " ".join(drawing.texts("reason")).startswith("No beat was found")
    assert "tonal weight 97 %" in drawing.texts("facts")[0].replace("\N{NO-BREAK SPACE}", " ")
    assert not drawing.numbers() and not any(name.startswith("tone") for name in drawing.groups)


def test_a_record_shorter_than_a_bar_says_so() -> None:
    assert " ".join(Drawing.of(heard(0, drops=())).texts("reason")).startswith(
        "The record ends before its first bar"
    )


def test_one_bar_is_a_picture_too() -> None:
    drawing = Drawing.of(heard(1, phrase=(8, 5), drops=()))
    assert list(drawing.numbers()) == [1]
    assert drawing.texts("no-drop") == ["No bar stands out as a drop."]
    assert level_steps_of_one_bar(drawing) == {step_of(level) for level in LEVELS} - {0}


def level_steps_of_one_bar(drawing: Drawing) -> set[int]:
    """The steps that are seen somewhere: those whose cells are not all covered by the next."""
    boxes = {step: len(drawing.outlines(f"tone-{step}")) for step in range(1, STEPS + 1)}
    return {step for step in boxes if boxes[step] > boxes.get(step + 1, 0)}


@pytest.mark.parametrize(
    ("bars", "rows"),
    [(64, 1), (65, 2), (600, 10), pytest.param(1_536, 24, marks=pytest.mark.slow), (1_537, 13)],
)
def test_rows_are_as_many_as_the_record_needs(bars: int, rows: int) -> None:
    drawing = Drawing.of(heard(bars, drops=()))
    assert drawing.texts("strip") == ["low"] * rows
    assert len({y for _, y in drawing.numbers().values()}) == rows


def test_the_same_record_gives_the_same_bytes_whatever_the_user_s_style_is() -> None:
    import matplotlib

    facts = heard(voiced=[3, 4], stripped=[(17, 8)])
    plain = {form: look_picture(recording(), facts, form) for form in ("svg", "png")}
    with matplotlib.rc_context({"font.size": 30, "svg.fonttype": "none", "savefig.bbox": "tight"}):
        assert {form: look_picture(recording(), facts, form) for form in ("svg", "png")} == plain
        assert matplotlib.rcParams["font.size"] == 30
    assert b"<dc:date>" not in plain["svg"] and b"tIME" not in plain["png"]


def test_its_inks_are_those_of_the_clip_s_picture() -> None:
    of_clip = inks(drawn(TWO)[1], "light")
    assert (INKS["paper"], INKS["ink"], INKS["quiet"], INKS["grey"], INKS["second"]) == tuple(
        of_clip[name] for name in (".paper", "text", ".quiet", ".bars", ".second")
    )
