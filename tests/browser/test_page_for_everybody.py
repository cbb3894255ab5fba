"""The listening page for whoever comes: by keyboard, by screen reader, by thumb, with strange titles, with many clips.

WCAG is the Web Content Accessibility Guidelines 2.2 (W3C Recommendation, 2023); axe is axe-core, of Deque.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from made_pages import FEW, Made, made_page
from playwright.sync_api import Browser, Page, expect
from watched import Complaints, Open, until, until_a_picture_is_there

from render.publish.ballots import MAX_BALLOT_BYTES, read_ballot
from tests.cases import first_of

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}
TARGET_PX = 24
"""WCAG 2.2, 2.5.8 Target Size (Minimum), level AA."""
MANY = 500
NODES_A_CLIP = 60
"""A measure that no clock disturbs. It is 43; numbers written as tables would double it."""


def prepared(page: Page) -> None:
    """Everything that can be shown is."""
    page.keyboard.press("w")
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true })")
    until(page, "[...document.querySelectorAll('.numbers')].every((one) => one.querySelector('table'))")
    expect(page.locator("#ballot-text")).not_to_have_value("")


@pytest.mark.parametrize(
    ("viewport", "scheme"),
    [
        pytest.param(PHONE, "dark", id="phone-dark"),
        pytest.param(DESK, "light", id="desk-light"),
        pytest.param(PHONE, "light", id="phone-light", marks=pytest.mark.slow),
        pytest.param(DESK, "dark", id="desk-dark", marks=pytest.mark.slow),
    ],
)
def test_axe_finds_nothing(few: str, opened: Open, viewport: dict[str, int], scheme: str) -> None:
    page = opened(few, viewport=viewport, color_scheme=scheme)
    prepared(page)
    found = Axe().run(page).response
    assert [(one["id"], [node["target"] for node in one["nodes"]]) for one in found["violations"]] == []
    assert len(found["passes"]) > 20


def _luminance(colour: str) -> float:
    """Relative luminance of `#rrggbb`: WCAG 2.2, its definition."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_inks_stand_out_from_the_paper(few: str, opened: Open, scheme: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for text; 1.4.11: 3 to 1 for the edges of controls."""
    page = opened(few, color_scheme=scheme)

    def inks(name: str) -> str:
        return str(
            page.evaluate("n => getComputedStyle(document.documentElement).getPropertyValue(n).trim()", name)
        )

    def contrast(one: str, other: str) -> float:
        dark, bright = sorted((_luminance(inks(one)), _luminance(inks(other))))
        return (bright + 0.05) / (dark + 0.05)

    for ink in ("--ink", "--quiet", "--second"):
        assert contrast(ink, "--paper") >= 4.5
    assert contrast("--ink", "--tint") >= 4.5
    assert contrast("--edge", "--paper") >= 3.0


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_everything_can_be_hit_with_a_thumb(few: str, opened: Open, viewport: dict[str, int]) -> None:
    page = opened(few, viewport=viewport)
    prepared(page)
    sizes = page.locator(
        "a:visible, button:visible, input:visible, select:visible, summary:visible, audio:visible"
    )
    boxes = sizes.evaluate_all(
        "all => all.map((one) => [one.outerHTML.slice(0, 60), one.getBoundingClientRect().width, "
        "one.getBoundingClientRect().height])"
    )
    assert len(boxes) > 20
    assert [box for box in boxes if min(box[1:]) < TARGET_PX] == []


FIRST = ("sought", "shown", "order", "0", "audio", "near", "works", "almost", "no", "textarea", "summary")
LAST = ("listener", "keys-on", "before")

FOCUS = """() => {
  const one = document.activeElement;
  const box = one.getBoundingClientRect();
  const bar = document.querySelector('.bar').getBoundingClientRect();
  const ring = getComputedStyle(one);
  return {
    what: one.id || one.className || one.value || one.tagName.toLowerCase(),
    hidden: !one.closest('.bar') && box.top >= bar.top || box.bottom <= 0,
    ring: ring.outlineStyle !== 'none' || one.tagName === 'AUDIO',
  };
}"""


@pytest.mark.parametrize(
    "viewport", [pytest.param(PHONE, id="phone"), pytest.param(DESK, id="desk", marks=pytest.mark.slow)]
)
def test_the_keyboard_goes_through_the_page_as_it_is_read(
    few: str, opened: Open, viewport: dict[str, int]
) -> None:
    """WCAG 2.2, 2.4.3 Focus Order, 2.4.7 Focus Visible and 2.4.11 Focus Not Obscured."""
    page = opened(few, viewport=viewport)
    met: list[dict[str, Any]] = []
    for _ in range(60):
        page.keyboard.press("Tab")
        met.append(page.evaluate(FOCUS))
        if met[-1]["what"] == "before":  # next is out of use: the last combination is at hand
            break
    names = list(dict.fromkeys(one["what"] for one in met))
    assert tuple(names[: len(FIRST)]) == FIRST
    assert [name for name in names if name in LAST] == list(LAST)
    assert [one for one in met if one["hidden"]] == []
    assert [one for one in met if not one["ring"]] == []


HOSTILE = {
    "script": "<script>alert(1)</script><img src=x onerror=alert(2)>",
    "quotes": "\"'`><b>&amp;&lt; {{ 7 * 7 }} ${1} </style></script>",
    "pictures": "🔥 Kiln 👩🏽‍🚒 é ﷽",
    "right-to-left": "אש על אבן",
    "long": "Kiln" * 75,
    "spaced": "Kiln " * 60,
    "bom": "--><!--<script>",
}


def test_no_title_does_harm(opened: Open, tmp_path: Path) -> None:
    """The watch over the page fails the test where anything is run, asked for or complained of."""
    clips = [
        Made(f"kiln {index} #1 100% ?", variant, title)
        for index, title in enumerate(HOSTILE.values())
        for variant in ("", "<i>v'\"&", "ש")
    ]
    page = opened(made_page(tmp_path, clips), viewport=PHONE)
    shown = sorted(page.locator("h2[dir=auto]").evaluate_all("all => all.map((one) => one.textContent)"))
    assert shown == sorted(" ".join(title.split()) for title in HOSTILE.values())
    for _ in HOSTILE:
        page.keyboard.press("j")
        page.keyboard.press("w")
        page.keyboard.press("v")
    page.keyboard.press("k")
    page.locator(".clip:visible .near").first.click()
    until(page, "audios.some((audio) => !audio.paused && audio.readyState > 2)")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    until_a_picture_is_there(page)
    pictures = "[...document.images].filter((one) => one.complete && !one.naturalWidth).length"
    assert page.evaluate(pictures) == 0
    assert (
        page.evaluate("document.querySelectorAll('main script, main b:not(.warning b), main i').length") == 0
    )
    assert len(read_ballot(page.evaluate("ballots()[0]").encode(), datetime.now(UTC)).ratings) == len(HOSTILE)


def test_no_word_of_the_machine_is_on_the_page(few: str, opened: Open, tmp_path: Path) -> None:
    opened(few)
    text = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    for word in (str(tmp_path), "/somewhere/else", str(Path.home()) + "/", "2" * 64, "1" * 64):
        assert word not in text


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> str:
    clips = [
        Made(f"kiln-{index // 2}", "other" if index % 2 else "", f"Kiln {index // 2}")
        for index in range(MANY)
    ]
    return made_page(tmp_path_factory.mktemp("many"), clips)


@pytest.mark.slow
def test_many_clips_are_a_light_page(many: str, opened: Open, complaints: Complaints) -> None:
    """What does not hang on the clock; how long it takes, `tests.bench.page_load` measures."""
    page = opened(many)
    until_a_picture_is_there(page)
    expect(page.locator("audio")).to_have_count(MANY)
    assert page.evaluate("document.querySelectorAll('*').length") < NODES_A_CLIP * MANY
    assert not [url for url in complaints.requests if url.endswith(".flac")]
    assert len([url for url in complaints.requests if url.endswith(".svg")]) < MANY / 5


@pytest.fixture
def long_notes(browser: Browser, tmp_path: Path, clips: int) -> Iterator[Page]:
    context = browser.new_context()
    page = context.new_page()
    page.goto(made_page(tmp_path, [Made(f"kiln-{index}", "", f"Kiln {index}") for index in range(clips)]))
    page.evaluate("ratings.forEach((one) => { one.verdict = 'works'; one.note = '€'.repeat(1000) })")
    yield page
    context.close()


@pytest.mark.parametrize("clips", first_of([100], [100, MANY]))
def test_a_ballot_that_would_be_too_large_is_several(long_notes: Page, clips: int) -> None:
    made = long_notes.evaluate("ballots()")
    assert len(made) > 1
    assert all(len(text.encode()) <= MAX_BALLOT_BYTES for text in made)
    rated = [one.clip for text in made for one in read_ballot(text.encode(), datetime.now(UTC)).ratings]
    assert len(rated) == len(set(rated)) == clips
    assert len(FEW) < clips
