"""The picture of a record can be read: nothing overlaps, nothing leaves the paper, and no name can break it."""

import math
import re
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from looks import CLOSE, SVG, Drawing, heard, no_beat, overlapping, recording

from render.demo.records import write_records
from render.night.ears import listened
from render.publish.look.sheet import DISC, Disc, look_sheet
from render.publish.outlines import ELLIPSIS, NO_GLYPH, broken, cut_to, drawable, width_of
from tests.cases import first_of

PHONE_PX = 360

PICTURES = {
    "two rows": heard(112, drops=(65, 17, 89, 73), voiced=[9, 20], stripped=[(33, 16)]),
    "warned": heard(112, sure=0.4, warnings=CLOSE, clipped=12),
    "one bar": heard(1, phrase=(8, 5), drops=()),
    "ten rows": heard(600, phrase=(8, 3), drops=(600, 592, 584, 2)),
    "rows of 256": heard(5_000, drops=(5_000, 4_992, 4_984, 4_976)),
    "three bars": heard(130, phrase=(3, 2), drops=(126, 65, 33)),
    "no phrases": heard(100, phrase=(None, None), drops=(99,)),
    "no beat": no_beat(),
}
every_picture = pytest.mark.parametrize(
    "name", first_of(["two rows", "warned", "one bar", "ten rows", "no beat"], PICTURES)
)

HOSTILE = {
    "script": "</title></svg><script>alert('1')</script>--><!-- ]]> &amp; {{ 7 * 7 }}.flac",
    "mathematics": r"$\frac{1}{0} \textbf{$ and $x$.flac",
    "pictograms": "\N{FIRE}\N{WOMAN}\N{ZERO WIDTH JOINER}\N{ROCKET}" * 30,
    "right to left": "\N{HEBREW LETTER ALEF}\N{ARABIC LETTER BEH} \N{RIGHT-TO-LEFT OVERRIDE}drop" * 9,
    "200 wide letters": "W" * 200,
    "no characters": "one\x00two\x0bthree\ud800four\uffff\nfive",
    "heaps of marks": "e" + "\N{COMBINING ACUTE ACCENT}" * 300,
}
every_hostile_name = pytest.mark.parametrize(
    "name",
    first_of((HOSTILE[kind] for kind in ("script", "right to left", "no characters")), HOSTILE.values()),
    ids=HOSTILE.keys(),
)


@cache
def picture(name: str) -> Drawing:
    return Drawing.of(PICTURES[name])


def assert_legible(drawing: Drawing) -> None:
    assert overlapping(drawing) == []
    for line in drawing.letterings:
        left, top, right, foot = line.box
        assert 0 < left < right < drawing.width and 0 < top < foot < drawing.height, line


@every_picture
def test_no_words_run_into_each_other_or_off_the_paper(name: str) -> None:
    assert_legible(picture(name))


@every_hostile_name
def test_nor_do_they_with_any_name(name: str) -> None:
    assert_legible(Drawing.of(heard(9, drops=()), recording(name)))


@pytest.mark.slow
def test_nor_do_they_for_any_record_of_the_demo(tmp_path: Path) -> None:
    for path in write_records(tmp_path):
        of, facts = listened(path)
        drawing = Drawing.of(facts, of)
        assert_legible(drawing)
        assert len(drawing.texts("place")) == len(facts.by_bars.drops) == 4


@pytest.mark.slow
@given(
    bars=st.integers(1, 2_000),
    phrase_bars=st.integers(1, 70),
    first=st.integers(1, 140),
    drops=st.lists(st.integers(1, 250), max_size=4, unique=True),
)
@example(bars=1, phrase_bars=33, first=2, drops=[])
@example(bars=5_000, phrase_bars=8, first=1, drops=[624, 623, 622])
def test_numbers_on_the_axis_keep_apart_and_discs_too(
    bars: int, phrase_bars: int, first: int, drops: list[int]
) -> None:
    drops = sorted({min(1 + 8 * drop, bars) for drop in drops})
    sheet = look_sheet(recording(), heard(bars, phrase=(phrase_bars, first), drops=drops))
    placed = [line for line in sheet.words if line.name in ("bar", "time") or line.name.endswith("-number")]
    boxes = []
    for line in placed:
        width = width_of(line.text, line.face, line.size)
        left = line.x - {"left": 0.0, "center": 0.5, "right": 1.0}[line.anchor] * width
        boxes.append((line.y, left, left + width))
    assert any(line.name == "bar" for line in placed)
    assert all(left >= 0 and right <= 720 for _, left, right in boxes)
    discs = [shape for shape in sheet.shapes if isinstance(shape, Disc)]
    assert all(
        math.dist((one.x, one.y), (other.x, other.y)) > 2 * DISC for one, other in combinations(discs, 2)
    )
    boxes.sort()
    for (y, _, right), (other_y, left, _) in pairwise(boxes):
        assert y != other_y or right + 4 <= left


@every_picture
def test_no_type_is_smaller_than_9_px_on_a_phone(name: str) -> None:
    drawing = picture(name)
    assert min(line.size for line in drawing.letterings) * PHONE_PX / drawing.width >= 9


@every_hostile_name
def test_hostile_names_stay_text(name: str) -> None:
    facts = heard(9, drops=())
    hostile, plain = Drawing.of(facts, recording(name)), Drawing.of(facts)
    tags = {element.tag for element in plain.tree.iter() if isinstance(element.tag, str)}
    assert {element.tag for element in hostile.tree.iter() if isinstance(element.tag, str)} == tags
    names = {attribute for element in plain.tree.iter() for attribute in element.attrib}
    assert {attribute for element in hostile.tree.iter() for attribute in element.attrib} == names
    assert len(hostile.texts("title")) == 1


def test_a_name_is_whole_for_readers_even_where_it_is_cut_short_for_the_eye() -> None:
    name = "Embers and Ashes " * 12 + ".flac"
    drawing = Drawing.of(heard(9, drops=()), recording(name))
    assert drawing.tree.findtext(f"{SVG}title") == name
    assert drawing.texts("title")[0].endswith(ELLIPSIS)


def test_the_picture_says_in_words_what_it_shows() -> None:
    facts = heard(112, voiced=[*range(9, 25), 40], stripped=[(33, 16)], warnings=CLOSE)
    drawing = Drawing.of(facts)
    assert drawing.tree.get("role") == "img"
    said = str(drawing.tree.findtext(f"{SVG}desc")).replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        "lanterns.flac: 172.000 BPM (99 % sure), F minor (71 % sure)",
        "Beware: 172.00 BPM is a close call against 86.00.",
        "Drop 1: bar 65, 1:29.614; the low end comes in, +33 dB",
        "Voice: bars 9 to 24, bar 40.",
        "Little but drums: bars 33 to 48.",
    ):
        assert words in said


def test_it_needs_no_typeface_refers_to_nothing_outside_and_runs_nothing() -> None:
    source = Drawing.of(heard(voiced=[2], stripped=[(17, 8)])).source
    assert "<text" not in source and "font" not in source
    assert not re.search(r'href="[^#]|src=|url\((?!#)|@import|<script|<foreignObject|<image|\son\w+=', source)


def test_it_takes_the_width_it_is_given() -> None:
    drawing = Drawing.of(heard(9, drops=()))
    assert not {"width", "height"} & set(drawing.tree.attrib)
    assert drawing.tree.attrib["viewBox"].startswith("0 0 720 ")


def test_scripts_that_the_title_s_face_lacks_are_set_in_one_that_has_them() -> None:
    hebrew = "\N{HEBREW LETTER SHIN}\N{HEBREW LETTER LAMED}\N{HEBREW LETTER VAV}\N{HEBREW LETTER FINAL MEM}"
    drawing = Drawing.of(heard(9, drops=()), recording(f"{hebrew}.flac"))
    assert drawing.texts("title") == [f"{hebrew}.flac"]
    assert NO_GLYPH not in drawing.texts("title")[0]


def test_a_letter_that_no_face_has_is_a_square_and_its_marks_are_gone() -> None:
    assert drawable("\N{DEVANAGARI LETTER KA}\N{DEVANAGARI VOWEL SIGN U}", "text") == NO_GLYPH
    family = "\N{WOMAN}\N{ZERO WIDTH JOINER}\N{ROCKET}\N{VARIATION SELECTOR-16}"
    assert drawable(f"{family} drop", "title").count(NO_GLYPH) == 2
    assert drawable("a\N{COMBINING ACUTE ACCENT}é", "text") == "a\N{COMBINING ACUTE ACCENT}é"


def test_a_line_that_fits_is_left_alone_and_a_longer_one_is_cut() -> None:
    assert cut_to("ironworks", "text", 18.0, 200.0) == "ironworks"
    short = cut_to("ironworks " * 30, "text", 18.0, 200.0)
    assert short.endswith(ELLIPSIS) and width_of(short, "text", 18.0) <= 200.0
    assert width_of(short[:-1] + "ii" + ELLIPSIS, "text", 18.0) > 190.0


def test_lines_break_between_pieces_only() -> None:
    lines = broken(["one two", "three four", "five", "W" * 99], " · ", "text", 18.0, 200.0)
    assert lines[:2] == ["one two · three four", "five"]
    assert len(lines) == 3 and lines[2].endswith(ELLIPSIS)


@pytest.mark.parametrize(("text", "units"), [("n", 1298), ("W", 2025), ("0", 1303), ("on", 1253 + 1298)])
def test_widths_are_those_of_the_face(text: str, units: int) -> None:
    """Advance widths of DejaVu Sans 2.37, in units of 2048 to the em; from memory."""
    assert width_of(text, "text", 18.0) == pytest.approx(units / 2048 * 18.0, abs=0.02)
