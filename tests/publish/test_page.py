"""The listening page as text: what it says of a clip, and what it must never say."""

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any
from urllib.parse import unquote

import pytest
from made_receipts import Errors, clip, received
from pictures import FOUR, RECIPES, TWO, planned

from render.checks.model import Finding
from render.facts import Fact
from render.publish.page import PageClip, page_clip, page_html
from render.publish.receipt import BadReceipt


def said(shown: PageClip) -> dict[str, str]:
    return {one.about: " ".join(one.sentences) for one in shown.said}


def test_what_is_layered_is_said_in_a_sentence() -> None:
    assert clip().layered == "lanterns goes back to loop; ironworks drops."
    assert clip(FOUR).layered == "ember goes back to drums; half, glaze and ash drop."


@pytest.mark.parametrize(
    ("errors_ms", "told"),
    [
        ({}, "Both tracks within 0.1 ms of the beat."),
        (
            {"lanterns": -0.31, "ironworks": 0.1},
            "Both tracks within 0.4 ms of the beat.",
        ),  # never rounded down
        ({"lanterns": 0.4}, "Both tracks within 0.4 ms of the beat."),
        ({"lanterns": None}, "ironworks within 0.1 ms of the beat."),
        ({"lanterns": None, "ironworks": None}, "Not measured."),
    ],
)
def test_how_near_the_tracks_land(errors_ms: Errors, told: str) -> None:
    assert said(clip(errors_ms=errors_ms))["Landing"] == told


def test_every_clip_begins_with_the_same_five_rows() -> None:
    rows = ["Landing", "Low end", "Headroom", "Keys", "Voices"]
    for recipe in RECIPES.values():
        assert [one.about for one in clip(recipe).said][:5] == rows


def test_findings_stand_in_their_rows_and_warnings_are_marked() -> None:
    findings = (
        Finding("warning", "low-end-overlap", "More than one track carries the low end in 40% of the beats."),
        Finding("note", "headroom", "The tracks together peak 3.1 dB above full scale."),
        Finding("warning", "landing-off", "lanterns lands 1.4 ms late; up to 1 ms is sound."),
        Finding("warning", "clipped-source", "The recording of ember is clipped in 3 places."),
        Finding("warning", "two-voices", "lanterns and ironworks both have a voice for 8 beats."),
        Finding("note", "turned-down", "It is turned down by 2.0 dB."),
    )
    shown = clip(findings=findings, errors_ms={"lanterns": 1.4})
    rows = {one.about: (list(one.sentences), one.warns) for one in shown.said}
    assert rows["Low end"] == ([findings[0].text], True)
    assert rows["Headroom"] == ([findings[1].text], False)
    assert rows["Landing"] == (["Both tracks within 1.4 ms of the beat.", findings[2].text], True)
    # The record of ironworks drops beside its own beat, as the plan says.
    assert rows["Also"] == ([*rows["Also"][0][:1], findings[3].text], True)
    assert rows["Also"][0][0].startswith("ironworks drops +13 ms off its own grid")
    assert rows["Voices"] == ([findings[4].text], True)
    assert findings[5].text in shown.notes


def test_keys_are_written_by_name() -> None:
    keyed = TWO.replace("markers: {drop: 1:40.0}", "markers: {drop: 1:40.0}\n    key: E minor")
    assert said(clip(keyed))["Keys"] == "lanterns in F minor over ironworks in F minor: the same key."
    assert said(clip())["Keys"] == "No two keys to compare."


def test_voices_that_nobody_listened_for_are_not_said_to_be_one_at_a_time() -> None:
    _, facts = planned(TWO)
    assert said(clip())["Voices"] == "Not listened for."
    heard = {
        name: replace(known, voice_s=Fact(((10.0, 20.0),), "measured", 0.9)) for name, known in facts.items()
    }
    assert said(clip(facts=heard))["Voices"] == "Never two at once."


def test_the_numbers_are_those_of_the_receipt() -> None:
    tables = {table.caption: table for table in clip(errors_ms={"lanterns": -0.236}).tables}
    lanterns = dict(zip(tables["Tracks"].head, tables["Tracks"].rows[0], strict=True))
    # 172 BPM at 174: 174/172 − 1 = 1.163 %.
    assert lanterns["tempo"] == "+1.16 %"
    assert (lanterns["landing"], lanterns["worst beat"], lanterns["key"]) == (
        "−0.24 ms",
        "0.80 ms",
        "F minor",
    )
    ironworks = dict(zip(tables["Tracks"].head, tables["Tracks"].rows[1], strict=True))
    assert ironworks["pitch"] == "+1 semitone"
    measured = dict(tables["Clip"].rows)
    # 64 beats of lead and 96 of tail at 174 BPM: 64 × 60/174 = 22.069 s, 160 × 60/174 = 55.172 s.
    assert measured["landing"] == "at 0:22.069 of 0:55.172"
    assert measured["clip as encoded"] == "−14.0 LUFS, peak −1.0 dBTP"
    assert {"landing"} == {row[0] for row in tables["What happens when"].rows if row[3] == "drops"}


class _Read(HTMLParser):
    """What a browser would make of the page: its tags with their attributes, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.inside: dict[str, list[str]] = {}
        self._open = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._open = tag

    def handle_data(self, data: str) -> None:
        self.inside.setdefault(self._open, []).append(data)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


def variants(*names: str, **options: Any) -> list[PageClip]:
    return [clip(variant=name, **options) for name in names]


def test_variants_stand_together_and_combinations_are_ordered_by_title() -> None:
    kiln, ash = clip(recipe="a", title="kiln"), clip(recipe="z", title="Ash")
    page = _Read(page_html([*variants("short", "", "both-drop"), kiln, ash]))
    assert [text for text in page.inside["h2"] if text.strip()][:3] == [
        "Ash",
        "kiln",
        "Lanterns over Ironworks",
    ]
    assert [str(one["src"]) for one in page.all("audio")] == [
        "clips/z.mp3",
        "clips/a.mp3",
        "clips/night.mp3",
        "clips/night--both-drop.mp3",
        "clips/night--short.mp3",
    ]


def test_nothing_is_loaded_early_and_every_picture_has_its_words() -> None:
    page = _Read(page_html(variants("", "short")))
    for audio in page.all("audio"):
        assert audio["preload"] == "none" and "controls" in audio and "autoplay" not in audio
    for image in page.all("img"):
        assert image["loading"] == "lazy"
        assert "the landing is at 0:22.069" in str(image["alt"])


def test_every_address_is_relative_and_says_the_name_of_a_file() -> None:
    name = "100 % kiln #1 ?"
    page = _Read(page_html([clip(recipe=name, variant='ash & "lime"')]))
    addresses = [str(one["src"]) for one in (*page.all("audio"), *page.all("img"))]
    assert [unquote(one) for one in addresses] == [
        f'clips/{name}--ash & "lime".mp3',
        f'clips/{name}--ash & "lime".svg',
    ]
    assert all(re.fullmatch(r"clips/[\w%.~-]+", one) for one in addresses)
    assert [one["href"] for one in page.all("a")] == ["#ballot", "#keys"]
    assert page.all("link") == []


def test_the_policy_allows_the_pages_own_scripts_and_no_others() -> None:
    """Content Security Policy Level 3, W3C: a script is allowed by the SHA-256 of its text in base64."""
    text = page_html(variants("", "short"))
    page = _Read(text)
    [policy] = [
        str(m["content"]) for m in page.all("meta") if m.get("http-equiv") == "Content-Security-Policy"
    ]
    rules = dict(rule.split(" ", 1) for rule in policy.split("; "))
    assert rules["default-src"] == "'none'"
    for tag, rule in (("script", "script-src"), ("style", "style-src")):
        found = re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.DOTALL)
        hashes = [base64.b64encode(hashlib.sha256(one.encode()).digest()).decode() for one in found]
        assert rules[rule].split() == [f"'sha256-{one}'" for one in hashes]
    handlers = {name for _, attributes in page.tags for name in attributes if name.startswith("on")}
    assert handlers == set() and not [one for _, one in page.tags if "style" in one]


@pytest.mark.parametrize(
    "title", ["</script><script>alert(1)</script>", "<!-- <script> -->", "]]>&amp;\u2028'\""]
)
def test_a_title_stays_text(title: str) -> None:
    text = page_html([clip(title=title, variant="<i>")])
    page = _Read(text)
    [data] = re.findall(r'<script type="application/json" id="clips">(.*?)</script>', text, re.DOTALL)
    plain = " ".join(title.split())
    assert json.loads(data)[0]["called"] == f"{plain}, <i>"
    assert plain in "".join(page.inside["h2"])
    assert len(page.all("script")) == 5 and page.all("i") == []


def test_variants_of_unequal_loudness_are_told_apart() -> None:
    even = [clip(lufs=-14.0), clip(variant="short", lufs=-14.2)]
    uneven = [clip(lufs=-14.0), clip(variant="short", lufs=-15.2)]
    assert "in loudness" not in page_html(even)
    assert "differ by 1.2 LU in loudness" in page_html(uneven)
    assert "in loudness" not in page_html([clip(lufs=None), clip(variant="short")])


def test_an_empty_page_says_what_makes_clips() -> None:
    assert "<code>dropkiln render</code> makes them" in page_html([])


DAMAGED: dict[str, Any] = {
    "pcm_sha256": "<b>",
    "tracks": [],
    "findings": [{"text": "x"}],
    "encoded": None,
    "mix": {},
    "plan": {},
}


@pytest.mark.parametrize("part", DAMAGED)
def test_a_damaged_receipt_is_refused(part: str) -> None:
    whole = received()
    page_clip(whole)
    with pytest.raises(BadReceipt):
        page_clip({**whole, part: DAMAGED[part]})
    with pytest.raises(BadReceipt):
        page_clip({name: value for name, value in whole.items() if name != part})
