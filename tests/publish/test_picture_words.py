"""The picture of a clip says in words what it shows, and no words can make it say or do anything else."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from pictures import EARLY, LATE, RECIPES, SHORT, SVG, TWO, drawn, levelled, planned, texts

from render.facts import Fact
from render.publish.picture import picture_summary, picture_svg

every_recipe = pytest.mark.parametrize("recipe", RECIPES.values(), ids=RECIPES.keys())

HOSTILE = {
    "script": "</title></svg><script>alert('1')</script>",
    "quotes": '"\' onload="alert(1)" <!-- ]]> &amp; &lt;',
    "template": "{{ 7 * 7 }}{% raw %}{# no #}",
    "pictograms": "\N{FIRE}\N{WOMAN}\N{ZERO WIDTH JOINER}\N{ROCKET}" * 30,
    "right-to-left": "\N{HEBREW LETTER ALEF}\N{ARABIC LETTER BEH} \N{RIGHT-TO-LEFT OVERRIDE}drop" * 9,
    "300 wide letters": "W" * 300,
    "no characters": "one\x00two\x0bthree\ud800four\uffff\nfive",
    "heaps of marks": "e" + "\N{COMBINING ACUTE ACCENT}" * 300,
}
every_hostile_text = pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())


def test_a_lane_says_how_its_tempo_pitch_gain_and_key_are() -> None:
    _, tree = drawn(TWO)
    # 174/172 = 1.01163; 174/175.5 = 0.99145
    assert "tempo +1.16 % · pitch kept · −1.5 dB · F minor" in texts(tree)
    assert "tempo −0.85 % · +1 semitone · 0 dB" in texts(tree)


def test_a_pitch_that_follows_is_told_with_the_tempo_it_follows() -> None:
    _, tree = drawn(TWO.replace("pitch: +1 semitone", "pitch: follow"))
    assert "tempo and pitch −0.85 % · 0 dB" in texts(tree)


def test_a_record_that_is_not_changed_is_not_said_to_change() -> None:
    _, tree = drawn(SHORT)
    assert texts(tree).count("tempo kept · pitch kept · 0 dB") == 2


def test_title_tempo_and_length_stand_on_top() -> None:
    _, tree = drawn(TWO)
    # 160 beats at 174 BPM last 55.172 s, the landing is after 64 of them, at 22.069 s.
    assert texts(tree)[:2] == [
        "Lanterns over Ironworks",
        "174 BPM · 160 beats · 0:55.172 · landing at 0:22.069",
    ]


def test_a_variant_is_named_in_the_title() -> None:
    plan, facts = planned(TWO)
    svg = picture_svg(replace(plan, variant="both-drop"), facts, levelled(plan))
    assert texts(ElementTree.fromstring(svg))[0] == "Lanterns over Ironworks · both-drop"


@every_hostile_text
def test_hostile_texts_stay_text(text: str) -> None:
    plan, facts = planned(TWO)
    lane = plan.lanes[0]
    jump = replace(lane.passages[1], marker=text)
    lanes = (replace(lane, track=text, passages=(lane.passages[0], jump, *lane.passages[2:])), plan.lanes[1])
    hostile = replace(plan, title=text, variant=text, recipe=text, lanes=lanes)
    known = {text: replace(facts["lanterns"], name=text, key=Fact(text)), "ironworks": facts["ironworks"]}
    svg = picture_svg(hostile, known, levelled(hostile))
    tree = ElementTree.fromstring(svg.encode())
    plain = ElementTree.fromstring(picture_svg(plan, facts, levelled(plan)))
    assert {element.tag for element in tree.iter()} == {element.tag for element in plain.iter()}
    names = {name for element in tree.iter() for name in element.attrib}
    assert names == {name for element in plain.iter() for name in element.attrib}
    drawn_texts = ["".join(element.itertext()) for element in tree.iter(f"{SVG}text")]
    assert max(map(len, drawn_texts)) < 80
    assert all(len(line.split("\n")) == 1 for line in drawn_texts)


def test_a_title_is_whole_for_readers_even_where_it_is_cut_short_for_the_eye() -> None:
    plan, facts = planned(SHORT)
    long_title = "Embers & <Ashes> " * 18
    tree = ElementTree.fromstring(picture_svg(replace(plan, title=long_title), facts, levelled(plan)))
    assert tree.findtext(f"{SVG}title") == long_title.strip()
    assert texts(tree)[0].endswith("…")


@every_recipe
def test_nothing_outside_is_referred_to_and_nothing_runs(recipe: str) -> None:
    plan, facts = planned(recipe)
    svg = picture_svg(plan, facts, levelled(plan))
    assert re.findall(r"https?://[^\"]+", svg) == ["http://www.w3.org/2000/svg"]  # the name of the format
    assert not re.search(r"href|src=|url\(|@import|<script|<foreignObject|<use|<image|\son\w+=|<!", svg)


def test_the_picture_describes_itself_in_words() -> None:
    plan, facts = planned(TWO)
    tree = ElementTree.fromstring(picture_svg(plan, facts, levelled(plan)))
    assert tree.get("role") == "img"
    assert tree.findtext(f"{SVG}title") == "Lanterns over Ironworks"
    description = tree.findtext(f"{SVG}desc")
    assert description == picture_summary(plan, facts)
    for said in [
        "160 beats at 174 BPM",
        "lanterns (tempo +1.16 %, pitch kept, −1.5 dB, F minor): 64 beats before the landing: starts",
        "at the landing: jumps back to loop",
        "32 beats before the landing: starts, fading in for 8 beats",
        "at the landing: drops, low end back",
    ]:
        assert said in str(description)


@pytest.mark.parametrize("recipe", [LATE, EARLY])
def test_the_word_landing_stays_on_the_paper(recipe: str) -> None:
    _, tree = drawn(recipe)
    [word] = [text for text in tree.iter(f"{SVG}text") if text.text == "landing"]
    width = float(tree.attrib["viewBox"].split()[2])
    # "landing" in Helvetica-Bold is 3.779 em (Adobe Core 14 AFM, from memory): 68 units of 18-unit type.
    assert 34 <= float(word.attrib["x"]) <= width - 34
