"""The picture of a clip shows its plan: read off the drawn geometry and held against beats and levels."""

import re
from xml.etree import ElementTree

import pytest
from pictures import (
    FOUR,
    RECIPES,
    SHORT,
    SVG,
    TWO,
    UNIT_DIGITS,
    beat_places,
    corners,
    drawn,
    extent,
    lane_of,
    levelled,
    of_class,
    planned,
    texts,
)

from render.publish.picture import Energies, picture_svg

every_recipe = pytest.mark.parametrize("recipe", RECIPES.values(), ids=RECIPES.keys())


@every_recipe
def test_the_landing_line_stands_at_beat_0_and_runs_through_everything(recipe: str) -> None:
    plan, tree = drawn(recipe)
    start_x, unit = beat_places(plan, tree)
    [line] = of_class(tree, "landing")
    (x, top), (same_x, bottom) = corners(line)
    assert x == same_x == pytest.approx(start_x + plan.clock.lead_beats * unit, abs=UNIT_DIGITS)
    groups = [*of_class(tree, "lane"), *of_class(tree, "mix")]
    tops = [float(re.findall(r"[\d.]+", group.get("transform", "0 0"))[1]) for group in groups[:-1]]
    assert top < min(tops)
    assert bottom >= max(y for bars in of_class(groups[-1], "bars") for _, y in corners(bars))


@every_recipe
def test_each_passage_reaches_over_its_beats(recipe: str) -> None:
    plan, tree = drawn(recipe)
    start_x, unit = beat_places(plan, tree)
    for lane in plan.lanes:
        shapes = of_class(lane_of(tree, lane.track), "passage")
        for passage, shape in zip(lane.passages, shapes, strict=True):
            beats = [(x - start_x) / unit - plan.clock.lead_beats for x in extent(shape)]
            assert beats == pytest.approx([passage.start_beat, passage.end_beat], abs=UNIT_DIGITS / unit)


@every_recipe
def test_the_low_end_is_solid_where_a_lane_has_it_and_hollow_where_it_is_cut(recipe: str) -> None:
    plan, tree = drawn(recipe)
    start_x, unit = beat_places(plan, tree)
    for lane in plan.lanes:
        spans = of_class(lane_of(tree, lane.track), "low")
        for step in range(int((lane.end_beat - lane.start_beat) * 2)):
            beat = lane.start_beat + step / 2 + 0.25
            x = start_x + (beat + plan.clock.lead_beats) * unit
            [here] = [span for span in spans if extent(span)[0] <= x < extent(span)[1]]
            cut = any(cut.start_beat <= beat < cut.end_beat for cut in lane.cuts)
            assert (here.get("fill") == "none") == cut
        reach = (min(extent(span)[0] for span in spans), max(extent(span)[1] for span in spans))
        assert reach == pytest.approx(
            [start_x + (beat + plan.clock.lead_beats) * unit for beat in (lane.start_beat, lane.end_beat)],
            abs=UNIT_DIGITS,
        )


def test_a_fade_is_a_slope_from_nothing_to_full_height() -> None:
    plan, tree = drawn(TWO)
    start_x, unit = beat_places(plan, tree)
    [shape] = of_class(lane_of(tree, "ironworks"), "passage")
    (_, foot), (x0, y0), (x1, y1), (_, y2), *_ = corners(shape)
    # It enters 32 beats before the landing and is in 8 beats later.
    assert [x0, x1] == pytest.approx(
        [start_x + (64 - 32) * unit, start_x + (64 - 24) * unit], abs=UNIT_DIGITS
    )
    assert y0 == foot
    assert y1 == y2 < foot


def test_a_fade_out_falls_to_nothing_at_the_lanes_end() -> None:
    plan, tree = drawn(FOUR)
    start_x, unit = beat_places(plan, tree)
    [shape] = of_class(lane_of(tree, "half"), "passage")
    *_, (x1, y1), (x2, y2), (_, foot) = corners(shape)
    assert [x1, x2] == pytest.approx([start_x + (512 - 32) * unit, start_x + 512 * unit], abs=UNIT_DIGITS)
    assert y1 < y2 == foot


@every_recipe
def test_all_lanes_are_there_in_their_order(recipe: str) -> None:
    plan, tree = drawn(recipe)
    tracks = [lane.track for lane in plan.lanes]
    assert [lane.get("data-track") for lane in of_class(tree, "lane")] == tracks
    assert [name.text for name in of_class(tree, "name")] == tracks


def test_a_jump_and_the_rounds_of_its_loop_are_named() -> None:
    plan, tree = drawn(TWO)
    start_x, unit = beat_places(plan, tree)
    places = {text.text: float(text.attrib["x"]) for text in tree.iter(f"{SVG}text")}
    for label, beat in [("back to loop", 0), ("×2", 32), ("×3", 64)]:
        seam = start_x + (beat + 64) * unit
        assert seam < places[label] < seam + 4 * unit


def test_rounds_too_short_for_numbers_are_counted_at_the_jump() -> None:
    _, tree = drawn(FOUR)
    assert "back to drums, ×256" in texts(tree)
    assert "×2" not in texts(tree)


def test_rounds_too_short_for_numbers_still_have_their_seams() -> None:
    plan, tree = drawn(FOUR.replace("loop: 1 beat", "loop: 16 beats"))
    start_x, unit = beat_places(plan, tree)
    seams = [path for path in lane_of(tree, "ember").iter(f"{SVG}path") if path.get("stroke-dasharray")]
    expected = [start_x + (256 + beat) * unit for beat in range(16, 256, 16)]
    assert [corners(seam)[0][0] for seam in seams] == pytest.approx(expected, abs=UNIT_DIGITS)
    assert "back to drums, ×16" in texts(tree)


def test_who_drops_is_written_and_not_only_coloured() -> None:
    _, tree = drawn(TWO)
    assert texts(tree).count("drop") == 1
    assert "V" not in str(of_class(lane_of(tree, "lanterns"), "second")[0].get("d"))
    _, both = drawn(re.sub(r"(?s)jump_back:.*", "", TWO))
    assert texts(both).count("drop") == 2


def test_what_a_drop_brings_ends_where_its_lane_jumps_away() -> None:
    plan, tree = drawn(FOUR)
    start_x, unit = beat_places(plan, tree)
    second = next(path for path in of_class(lane_of(tree, "glaze"), "second") if path.tag == f"{SVG}path")
    assert extent(second) == pytest.approx((start_x + 256 * unit, start_x + 506 * unit), abs=unit)


@pytest.mark.parametrize("recipe", [TWO, SHORT])
def test_every_beat_has_a_bar_of_its_own_within_its_beat(recipe: str) -> None:
    plan, tree = drawn(recipe)
    start_x, unit = beat_places(plan, tree)
    [mix] = [bars for group in of_class(tree, "mix") for bars in of_class(group, "bars")]
    bars = str(mix.get("d")).split("Z")[:-1]
    assert len(bars) == plan.clock.lead_beats + plan.clock.tail_beats
    for beat, bar in enumerate(bars):
        left, right = (float(re.findall(rf"{command}([\d.]+)", bar)[0]) for command in "MH")
        assert start_x + beat * unit - UNIT_DIGITS < left < right < start_x + (beat + 1) * unit + UNIT_DIGITS


def test_a_bar_is_as_high_as_its_level_on_the_written_scale() -> None:
    plan, facts = planned(SHORT)
    levels = [-6.0, -9.0, -12.0, -18.0, -24.0, -30.0, None, -60.0, *[-12.0] * 8]
    flat = {lane.track: [-12.0] * 16 for lane in plan.lanes}
    tree = ElementTree.fromstring(picture_svg(plan, facts, Energies(flat, levels)))
    [group] = of_class(tree, "mix")
    ticks = {
        float(str(text.text).replace("−", "-")): corners(line)[0][1]
        for line, text in zip(
            [path for path in group.iter(f"{SVG}path") if re.fullmatch(r"M\S+ \S+H\S+", path.get("d", ""))],
            group.iter(f"{SVG}text"),
            strict=True,
        )
    }
    per_db = (ticks[-24.0] - ticks[-12.0]) / -12.0
    [bars] = of_class(group, "bars")
    tops = [float(y) for y in re.findall(r"V([\d.]+)H", str(bars.get("d")))]
    loud_enough = [level for level in levels if level is not None and level > -36]
    assert tops == pytest.approx(
        [ticks[-12.0] + (level + 12.0) * per_db for level in loud_enough], abs=UNIT_DIGITS
    )


def test_lanes_share_one_scale() -> None:
    plan, facts = planned(SHORT)
    energies = Energies({"flint": [-6.0] * 16, "steel": [-21.0] * 16}, [-30.0] * 16)
    tree = ElementTree.fromstring(picture_svg(plan, facts, energies))
    heights = {}
    for track in energies.lanes:
        ys = [y for bars in of_class(lane_of(tree, track), "bars") for _, y in corners(bars)]
        heights[track] = max(ys) - min(ys)
    assert heights["steel"] == pytest.approx(heights["flint"] / 2, abs=UNIT_DIGITS)


def test_a_clip_of_silence_is_drawn_without_bars() -> None:
    plan, facts = planned(SHORT)
    silence: list[float | None] = [None] * 16
    energies = Energies({lane.track: silence for lane in plan.lanes}, silence)
    tree = ElementTree.fromstring(picture_svg(plan, facts, energies))
    groups = [*of_class(tree, "lane"), *of_class(tree, "mix")]
    assert not any(bars.get("d") for group in groups for bars in of_class(group, "bars"))


def test_the_same_plan_and_levels_give_the_same_text_in_whatever_order_they_come() -> None:
    plan, facts = planned(FOUR)
    energies = levelled(plan)
    turned = Energies(dict(reversed(list(energies.lanes.items()))), energies.mix)
    assert picture_svg(plan, dict(reversed(list(facts.items()))), turned) == picture_svg(
        plan, facts, energies
    )


def test_a_lane_without_levels_is_an_error_and_not_a_gap() -> None:
    plan, facts = planned(SHORT)
    with pytest.raises(KeyError, match="steel"):
        picture_svg(plan, facts, Energies({"flint": [-12.0] * 16}, [-12.0] * 16))
