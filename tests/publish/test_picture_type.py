"""The picture can be read: size of type, contrast of inks, and no words on top of one another.

Widths of letters: Helvetica and Helvetica-Bold of the Adobe Core 14 Font Metrics (AFM, version 002.000), in
thousandths of the type size; from memory.
"""

import re
from itertools import combinations, pairwise
from xml.etree.ElementTree import Element

import pytest
from pictures import RECIPES, SVG, TWO, beat_places, drawn, of_class

from render.publish.lettering import cleaned, fitted, width_em

HELVETICA = {
    **dict(
        zip("abcdefghijklm", [556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833], strict=True)
    ),
    **dict(
        zip("nopqrstuvwxyz", [556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500], strict=True)
    ),
    **dict(
        zip("ABCDEFGHIJKLM", [667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833], strict=True)
    ),
    **dict(
        zip("NOPQRSTUVWXYZ", [722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611], strict=True)
    ),
    **dict.fromkeys("0123456789#", 556),
    **dict.fromkeys(" .,:;/·!", 278),
    **dict.fromkeys("+−=<>×", 584),
    **dict.fromkeys("()-", 333),
    **{"%": 889, "…": 1000, "&": 667, "_": 556, "'": 191, '"': 355},
}
HELVETICA_BOLD = {
    **HELVETICA,
    **dict(
        zip("abcdefghijklm", [556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556, 278, 889], strict=True)
    ),
    **dict(
        zip("nopqrstuvwxyz", [611, 611, 611, 611, 389, 556, 333, 611, 556, 778, 556, 556, 500], strict=True)
    ),
}
PHONE_PX = 360
every_recipe = pytest.mark.parametrize("recipe", RECIPES.values(), ids=RECIPES.keys())
SCHEMES = pytest.mark.parametrize("scheme", ["light", "dark"])


def style(tree: Element) -> str:
    return str(tree.findtext(f"{SVG}style"))


def size_of(tree: Element, text: Element) -> float:
    """Type size of a text in units: that of its class, else of all text."""
    sizes = dict(re.findall(r"\.clip-picture (\S+) \{ font(?:-size)?: ([\d.]+)px", style(tree)))
    classes = [f".{name}" for name in text.get("class", "").split()]
    return float(next((sizes[name] for name in classes if name in sizes), sizes["text"]))


def box(tree: Element, text: Element, down: float) -> tuple[float, float, float]:
    """Left and right end and baseline of a text set in Helvetica."""
    classes = text.get("class", "").split()
    metrics = HELVETICA_BOLD if {"name", "strong"} & set(classes) else HELVETICA
    width = sum(metrics[letter] for letter in "".join(text.itertext())) / 1000 * size_of(tree, text)
    x = float(text.attrib["x"]) + float(text.get("dx", "0"))
    share = {"start": 0.0, "middle": 0.5, "end": 1.0}[text.get("text-anchor", text.get("inherited", "start"))]
    return x - share * width, x + (1 - share) * width, float(text.attrib["y"]) + down


def boxes(tree: Element) -> list[tuple[float, float, float]]:
    found = [box(tree, text, 0.0) for text in tree.findall(f"{SVG}text")]
    for group in tree.findall(f"{SVG}g"):
        [down] = re.findall(r"translate\(0 ([\d.]+)\)", group.get("transform", "translate(0 0)"))
        for text in group.findall(f"{SVG}text"):
            text.set("inherited", group.get("text-anchor", "start"))
            found.append(box(tree, text, float(down)))
    return found


@every_recipe
def test_no_words_leave_the_paper_or_run_into_each_other(recipe: str) -> None:
    _, tree = drawn(recipe)
    _, _, width, height = map(float, tree.attrib["viewBox"].split())
    placed = boxes(tree)
    assert all(left >= 0 and right <= width and 0 < y < height for left, right, y in placed)
    for (left, right, y), (other_left, other_right, other_y) in combinations(placed, 2):
        assert abs(y - other_y) >= 14 or right <= other_left or other_right <= left


@every_recipe
def test_no_words_run_into_the_sign_of_a_drop_or_a_jump(recipe: str) -> None:
    plan, tree = drawn(recipe)
    seen = 0
    for lane, names in zip(of_class(tree, "lane"), of_class(tree, "names"), strict=True):
        signs = [(float(dot.attrib["cx"]), 7.0, 7.0) for dot in lane.iter(f"{SVG}circle")]
        arrows = [re.fullmatch(r"M(\S+) \S+V44H([\d.]+)m.*", path.get("d", "")) for path in lane]
        signs += [(float(arrow[1]), float(arrow[1]) - float(arrow[2]), 1.0) for arrow in arrows if arrow]
        seen += len(signs)
        labels = [box(tree, text, 0.0) for text in names if text.get("y") == "50"]
        for left, right, _ in labels:
            assert all(right <= x - before or left >= x + after for x, before, after in signs)
    jumps = [passage for lane in plan.lanes for passage in lane.passages if passage.begins == "jump"]
    assert seen == len(jumps) + sum(lane.drops for lane in plan.lanes)


@pytest.mark.parametrize("lead", [1, 2, 7, 16, 31, 33, 61, 64])
@pytest.mark.parametrize("tail", [2, 5, 12, 32, 63, 64, 200])
@pytest.mark.parametrize("beats_per_bar", [3, 4])
def test_no_words_run_into_each_other_wherever_the_landing_is(
    lead: int, tail: int, beats_per_bar: int
) -> None:
    _, tree = drawn(
        TWO.replace("lead: 64 beats", f"lead: {lead} beats")
        .replace("tail: 96 beats", f"tail: {tail} beats")
        .replace("bpm: 172", f"bpm: 172\n    beats_per_bar: {beats_per_bar}")
        .replace("enter: landing - 32 beats\n    fade_in: 8 beats", "fade_in: 1 beat")
        .replace("at: landing, to: loop, loop: 32 beats", "at: landing + 1 beat, to: loop, loop: 3 beats")
    )
    _, _, width, _ = map(float, tree.attrib["viewBox"].split())
    placed = sorted(boxes(tree), key=lambda each: (each[2], each[0]))
    assert all(left >= 0 and right <= width for left, right, _ in placed)
    assert all(y != other_y or right <= left for (_, right, y), (left, _, other_y) in pairwise(placed))


def test_numbers_of_the_axis_thin_out_but_stay_whole_bars() -> None:
    for recipe in RECIPES.values():
        plan, tree = drawn(recipe)
        _, unit = beat_places(plan, tree)
        [axis] = of_class(tree, "axis")
        places = sorted(float(number.attrib["x"]) for number in axis)
        steps = {round(step / unit / 4, 2) for step in [b - a for a, b in pairwise(places)]}
        assert all(step.is_integer() for step in steps)
        assert 1 <= len(places) <= 11


@every_recipe
def test_no_type_is_smaller_than_9_px_on_a_phone(recipe: str) -> None:
    _, tree = drawn(recipe)
    units = float(tree.attrib["viewBox"].split()[2])
    assert min(size_of(tree, text) for text in tree.iter(f"{SVG}text")) * PHONE_PX / units >= 9


def inks(tree: Element, scheme: str) -> dict[str, str]:
    """The colour of each class: the light ones, or with those over them that a dark scheme asks for."""
    light, dark = style(tree).split("@media (prefers-color-scheme: dark)")
    rules = light if scheme == "light" else dark
    return {
        name.strip().removeprefix(".clip-picture "): colour
        for names, colour in re.findall(r"([^{}]+)\{ (?:fill|stroke): (#[0-9a-f]{6});", rules)
        for name in names.split(",")
    }


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition of the term)."""
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2, definition of the term)."""
    darker, lighter = sorted([luminance(one), luminance(other)])
    return (lighter + 0.05) / (darker + 0.05)


@SCHEMES
def test_words_stand_out_from_the_paper(scheme: str) -> None:
    colours = inks(drawn(TWO)[1], scheme)
    # WCAG 2.2, success criterion 1.4.3: 4.5:1 for text.
    assert all(contrast(colours[ink], colours[".paper"]) >= 4.5 for ink in ("text", ".quiet", ".second"))


@SCHEMES
def test_shapes_stand_out_from_what_is_behind_them(scheme: str) -> None:
    colours = inks(drawn(TWO)[1], scheme)
    # WCAG 2.2, success criterion 1.4.11: 3:1 for what is needed to understand a graphic.
    for shape, behind in [
        (".bars", ".paper"),
        (".bars", ".tint"),
        (".second", ".tint"),
        (".landing", ".paper"),
        (".solid", ".paper"),
        (".line", ".paper"),
        (".line", ".tint"),
    ]:
        assert contrast(colours[shape], colours[behind]) >= 3, (shape, behind)


@SCHEMES
def test_a_scheme_gives_every_class_its_own_ink(scheme: str) -> None:
    tree = drawn(TWO)[1]
    assert inks(tree, scheme).keys() == inks(tree, "light").keys()
    other = "dark" if scheme == "light" else "light"
    assert all(colour != inks(tree, other)[name] for name, colour in inks(tree, scheme).items())


@pytest.mark.parametrize("letter", sorted(HELVETICA))
def test_no_letter_is_estimated_narrower_than_it_is(letter: str) -> None:
    assert width_em(letter) >= HELVETICA[letter] / 1000


def test_a_line_that_fits_is_left_alone_and_a_longer_one_ends_in_an_ellipsis() -> None:
    assert fitted("ironworks", 9.0) == "ironworks"
    short = fitted("ironworks " * 30, 9.0)
    assert short.endswith("…") and short[:-1] in "ironworks " * 30
    assert width_em(short) <= 9.0


def test_a_joined_pictogram_is_not_cut_at_its_joint() -> None:
    family = "\N{WOMAN}\N{ZERO WIDTH JOINER}\N{ROCKET}"
    for room in range(1, 40):
        assert not fitted(family * 9, room / 4).removesuffix("…").endswith("\N{ZERO WIDTH JOINER}")


def test_what_xml_forbids_and_what_turns_the_line_is_left_out() -> None:
    # XML 1.0 (fifth edition), production 2: no control characters, surrogates, U+FFFE, U+FFFF.
    assert cleaned("a\x00b\x02c\ud800d\ufffee\uffff") == "abcde"
    assert cleaned("drop\N{RIGHT-TO-LEFT OVERRIDE}ped\N{LEFT-TO-RIGHT ISOLATE}!") == "dropped!"
    assert cleaned("two\n\tlines ") == "two lines"


def test_living_scripts_keep_their_marks_and_joiners() -> None:
    persian = "می\N{ZERO WIDTH NON-JOINER}خواهم"
    assert cleaned(persian) == persian
    vietnamese = "a\N{COMBINING CIRCUMFLEX ACCENT}\N{COMBINING ACUTE ACCENT}"
    assert cleaned(vietnamese) == vietnamese
