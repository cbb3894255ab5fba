"""The listening page in a real browser: hearing, comparing, rating."""

import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from made_pages import EMBER, FEW, KILN, Made, made_page
from playwright.sync_api import Page, expect
from watched import Complaints, Open, until, until_a_picture_is_there

from render.publish.ballots import TEXT_PREFIX, read_ballot

HEARD = (
    "audios.map((a, n) => [n, a]).filter(([, a]) => !a.paused && !a.muted && a.volume > 0.001)"
    ".map(([n, a]) => [n, a.currentTime])"
)


COMBINATIONS = len({clip.recipe for clip in FEW})


NOTE_SOUGHT = """([target, source]) => {
  window.sought = [];
  const own = Object.getOwnPropertyDescriptor(HTMLMediaElement.prototype, 'currentTime');
  Object.defineProperty(audios[target], 'currentTime', {
    get() { return own.get.call(this); },
    set(time_s) { sought.push([time_s, audios[source].currentTime]); own.set.call(this, time_s); },
  });
}"""
"""Notes each place that is sought in one clip, and where another clip is at that moment."""
LISTEN = """() => {
  window.silent = 0;
  window.both = 0;
  setInterval(() => {
    const heard = HEARD.length;
    if (heard === 0) silent += 1;
    if (heard > 1) both += 1;
  }, 5);
}""".replace("HEARD", HEARD)


def number_of(page: Page, clip: Made) -> int:
    number: int = page.evaluate("name => clips.findIndex((clip) => clip.name === name)", clip.name)
    return number


def heard(page: Page) -> list[int]:
    return [number for number, _ in page.evaluate(HEARD)]


def until_heard(page: Page, clip: Made) -> None:
    """Until a clip is heard, and no other."""
    until(page, f"takingOver === null && ({HEARD}).map(([n]) => n).join() === '{number_of(page, clip)}'")


def play(page: Page, clip: Made) -> None:
    """Play from near the landing, by a click, until something is heard."""
    page.locator(f"#clip-{number_of(page, clip)} .near").click()
    until(page, f"audios[{number_of(page, clip)}].currentTime > 4.3")
    until_heard(page, clip)


def rated(page: Page) -> list[list[str]]:
    """The clips and the verdicts that are pressed, as they stand on the page."""
    pressed = page.locator('.answers [aria-pressed="true"]')
    told: list[list[str]] = pressed.evaluate_all(
        "all => all.map((one) => [one.closest('.clip').id, one.value])"
    )
    return told


def stored(page: Page) -> dict[str, Any]:
    kept: dict[str, Any] = page.evaluate("Object.fromEntries(Object.entries(localStorage))")
    return kept


@pytest.mark.slow
def test_nothing_is_loaded_before_it_is_asked_for(few: str, opened: Open, complaints: Complaints) -> None:
    page = opened(few)
    until_a_picture_is_there(page)
    assert not [url for url in complaints.requests if url.endswith(".flac")]
    assert page.evaluate("audios.every((audio) => audio.paused && audio.readyState === 0)")


def test_playing_starts_quiet_and_one_clip_at_a_time(few: str, opened: Open) -> None:
    page = opened(few)
    page.keyboard.press(" ")
    until(page, "audios[0].currentTime > 0.1")
    assert page.evaluate("audios.map((audio) => audio.volume)") == [0.5] * len(FEW)
    play(page, KILN)
    page.keyboard.press("Escape")
    page.locator("h2").first.focus()
    page.keyboard.press(" ")
    until_heard(page, EMBER[0])


def test_a_volume_once_chosen_goes_for_all(few: str, opened: Open) -> None:
    page = opened(few)
    play(page, EMBER[0])
    page.evaluate("audios[0].volume = 0.2")
    until(page, "volume === 0.2")  # told by an event
    page.keyboard.press("j")
    until_heard(page, KILN)
    assert page.evaluate("audios[3].volume") == 0.2


def test_it_plays_from_sixteen_beats_before_the_landing(few: str, opened: Open) -> None:
    """24 beats of lead at 120 BPM: the landing is at 12 s, and 16 beats before it is 4 s."""
    page = opened(few)
    page.evaluate(NOTE_SOUGHT, [0, 0])
    page.locator("#clip-0 .near").click()
    until(page, "!audios[0].paused && audios[0].currentTime > 4")
    assert page.evaluate("sought.map(([time_s]) => time_s)") == [4.0]


@pytest.mark.parametrize(
    "goal",
    [
        pytest.param(EMBER[1], id="of the same lead", marks=pytest.mark.slow),
        pytest.param(EMBER[2], id="with a shorter lead"),
    ],
)
def test_a_variant_takes_over_at_the_same_place(few: str, opened: Open, goal: Made) -> None:
    """As far as it does not hang on the clock: by how much the places differ, `tests.bench.page_load` measures.

    A variant is sought where the other one will be 0.2 s later, or twice as late after each vain attempt; at 120 BPM
    a lead that is 8 beats shorter puts the same beat 4 s earlier.
    """
    page = opened(few)
    start, other = number_of(page, EMBER[0]), number_of(page, goal)
    play(page, EMBER[0])
    page.evaluate(NOTE_SOUGHT, [other, start])
    page.evaluate(LISTEN)
    page.locator(f'.variants input[value="{other}"]').check()
    until_heard(page, goal)
    sought = page.evaluate("sought")
    earlier_s = (EMBER[0].lead_beats - goal.lead_beats) * 60 / 120
    aheads_s = [there_s + earlier_s - here_s for there_s, here_s in sought]
    assert aheads_s == pytest.approx([0.2 * 2**attempt for attempt in range(len(sought))], abs=1e-6)
    assert sought
    assert page.evaluate("[silent, both]") == [0, 0]
    expect(page.locator(f"#clip-{other}")).to_be_visible()
    expect(page.locator(f"#clip-{start}")).to_be_hidden()


@pytest.mark.slow
def test_variants_change_by_key_and_hurry_does_no_harm(few: str, opened: Open) -> None:
    page = opened(few)
    play(page, EMBER[0])
    for key in ("v", "v", "v", "v", "Shift+V", "v"):
        page.keyboard.press(key)
    until_heard(page, EMBER[1])
    until(page, "audios.filter((audio) => !audio.paused).length === 1")
    assert page.evaluate("audios.every((audio) => !audio.muted && audio.volume === 0.5)")
    assert page.evaluate("shownOf(0)") == number_of(page, EMBER[1])


@pytest.mark.slow
def test_a_variant_that_does_not_play_keeps_the_place(few: str, opened: Open) -> None:
    page = opened(few)
    play(page, EMBER[0])
    page.evaluate("audios[0].pause(); audios[0].currentTime = 6.5")
    until(page, "!audios[0].seeking")
    page.keyboard.press("Shift+V")
    expect(page.locator("#clip-2")).to_be_visible()
    assert page.evaluate("audios[2].currentTime") == pytest.approx(2.5)  # its lead is 8 beats shorter
    assert heard(page) == []


def test_ratings_by_keyboard_stay_after_a_reload(few: str, opened: Open) -> None:
    page = opened(few)
    page.keyboard.press("w")
    page.keyboard.press("m")
    page.keyboard.type("the <b>second</b> drop, w a n j k")
    page.keyboard.press("Escape")
    page.keyboard.press("j")
    page.keyboard.press("n")
    page.keyboard.press("j")
    page.keyboard.press("a")
    page.keyboard.press("a")  # taken back
    expect(page.locator("#ballot-count")).to_have_text(f"2 of {len(FEW)} clips rated.")
    page.reload()
    expect(page.locator("#ballot-count")).to_have_text(f"2 of {len(FEW)} clips rated.")
    assert rated(page) == [["clip-0", "works"], ["clip-3", "no"]]
    expect(page.locator("#clip-0 .verdict textarea")).to_have_value("the <b>second</b> drop, w a n j k")


PHONE_PX = {"width": 390, "height": 844}


def test_on_a_telephone_a_clip_is_heard_and_rated_by_taps_without_scrolling_sideways(
    few: str, opened: Open
) -> None:
    page = opened(few, viewport=PHONE_PX, has_touch=True, is_mobile=True)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true })")
    until(page, "[...document.querySelectorAll('.numbers')].every((one) => one.querySelector('table'))")
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE_PX["width"]
    kiln = page.locator(f"#clip-{number_of(page, KILN)}")
    kiln.locator(".near").tap()
    until_heard(page, KILN)
    kiln.locator('.answers [value="almost"]').tap()
    page.locator('#clip-0 .answers [value="works"]').tap()
    page.locator('#clip-0 .answers [value="no"]').tap()
    kiln.locator(".verdict textarea").tap()
    page.keyboard.type("the second drop")
    expect(page.locator("#ballot-count")).to_have_text(f"2 of {len(FEW)} clips rated.")
    assert rated(page) == [["clip-0", "no"], ["clip-3", "almost"]]
    page.reload()
    assert rated(page) == [["clip-0", "no"], ["clip-3", "almost"]]
    expect(kiln.locator(".verdict textarea")).to_have_value("the second drop")


@pytest.mark.slow
def test_what_the_browser_loses_as_the_page_is_loaded_again_is_there(few: str, opened: Open) -> None:
    """Chromium does so on a busy machine now and then; here it is done for it."""
    page = opened(few)
    page.keyboard.press("w")
    page.keyboard.press("j")
    page.keyboard.press("n")
    page.keyboard.press("n")  # taken back
    expect(page.locator("#ballot-count")).to_have_text(f"1 of {len(FEW)} clips rated.")
    page.evaluate("localStorage.clear()")
    page.reload()
    expect(page.locator("#ballot-count")).to_have_text(f"1 of {len(FEW)} clips rated.")
    assert rated(page) == [["clip-0", "works"]]


def test_a_clip_that_sounds_otherwise_is_not_rated_by_what_was_said(opened: Open, tmp_path: Path) -> None:
    page = opened(made_page(tmp_path, [KILN]))
    page.keyboard.press("w")
    expect(page.locator("#ballot-count")).to_have_text("1 of 1 clips rated.")
    made_page(tmp_path, [Made(KILN.recipe, title=KILN.title, sounds="otherwise")])
    page.reload()
    expect(page.locator(".earlier")).to_have_text("When this clip sounded otherwise, you said: works.")
    assert rated(page) == []


@pytest.mark.slow
def test_what_the_browser_keeps_may_be_damaged(few: str, opened: Open) -> None:
    page = opened(few)
    page.keyboard.press("w")
    [key] = stored(page)
    for damaged in ("null", "[1]", "{", '{"verdict": "<b>", "note": 7}', '{"verdict": "works", "note": {}}'):
        page.evaluate("([key, text]) => localStorage.setItem(key, text)", [key, damaged])
        page.reload()
        expect(page.locator("#where")).to_have_text(
            f"{COMBINATIONS} shown"
        )  # the last thing that its scripts write
        expect(page.locator("#clip-0 .verdict textarea")).to_have_value("")


def test_a_browser_that_keeps_nothing_says_so(few: str, opened: Open) -> None:
    page = opened("about:blank")
    page.add_init_script(
        "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no') } })"
    )
    page.goto(few)
    expect(page.locator("#keeps-nothing")).to_be_visible()
    page.keyboard.press("w")
    expect(page.locator("#ballot-count")).to_have_text(f"1 of {len(FEW)} clips rated.")


def test_the_ballot_is_a_file_that_is_valid(few: str, opened: Open, tmp_path: Path) -> None:
    """By the format's own words here, and by the reader that `dropkiln ballots` uses."""
    page = opened(few)
    page.keyboard.press("w")
    page.keyboard.press("m")
    page.keyboard.type("ööh 🔥")
    page.keyboard.press("Escape")
    page.keyboard.press("j")
    page.keyboard.press("a")
    page.locator("#listener").fill("Mara")
    with page.expect_download() as saving:
        page.locator("#save").click()
    saving.value.save_as(tmp_path / "ballot.json")
    content = (tmp_path / "ballot.json").read_bytes()
    data = json.loads(content)
    assert sorted(data) == ["ballot", "listener", "made", "ratings"]
    assert (data["ballot"], data["listener"]) == (1, "Mara")
    assert abs((datetime.fromisoformat(data["made"]) - datetime.now(UTC)).total_seconds()) < 60
    assert data["ratings"] == [
        {"clip": EMBER[0].name, "verdict": "works", "note": "ööh 🔥", "pcm": EMBER[0].pcm_sha256[:12]},
        {"clip": KILN.name, "verdict": "almost", "note": "", "pcm": KILN.pcm_sha256[:12]},
    ]
    ballot = read_ballot(content, datetime.now(UTC))
    page.locator("#as-text summary").click()
    written = page.locator("#ballot-text")
    expect(written).to_have_value(re.compile(f"^{TEXT_PREFIX}"))  # after the event of a text that has opened
    text = written.input_value()
    assert read_ballot(text.encode(), datetime.now(UTC)).ratings == ballot.ratings
    assert [rated.clip for rated in ballot.ratings] == [EMBER[0].name, KILN.name]


def test_finding_and_ordering(few: str, opened: Open) -> None:
    page = opened(few)
    page.keyboard.press("j")
    page.keyboard.press("j")
    page.keyboard.press("w")
    page.locator("#order").select_option("verdict")
    expect(page.locator("h2").first).to_have_text(KILN.title)
    page.locator("#shown").select_option("works")
    expect(page.locator(".combination:visible h2")).to_have_text([KILN.title])
    page.locator("#shown").select_option("all")
    page.keyboard.press("Escape")
    page.locator("h2").first.focus()
    page.keyboard.press("f")
    page.keyboard.type("tallow hush")
    expect(page.locator(".combination:visible h2")).to_have_text(["Wick and tallow"])
    expect(page.locator(".clip:visible")).to_have_attribute("aria-label", "hushed")
    page.locator("#sought").fill("nowhere")
    expect(page.locator("#nothing-shown")).to_be_visible()


@pytest.mark.slow
def test_whoever_comes_back_sees_what_the_page_says_it_shows(few: str, opened: Open) -> None:
    """A browser that fills in again what was chosen before would leave all clips shown below "works"."""
    page = opened(few)
    page.locator("#order").select_option("verdict")
    page.locator("#shown").select_option("works")
    expect(page.locator(".combination:visible")).to_have_count(0)
    page.goto("about:blank")
    page.go_back()
    expect(page.locator("#where")).to_have_text(f"{COMBINATIONS} shown")
    expect(page.locator(".combination:visible")).to_have_count(COMBINATIONS)
    expect(page.locator("#shown")).to_have_value("all")
    expect(page.locator("#order")).to_have_value("title")


@pytest.mark.slow
def test_what_plays_goes_on_while_the_order_changes(few: str, opened: Open) -> None:
    page = opened(few)
    play(page, KILN)
    page.keyboard.press("w")
    page.locator("#order").select_option("verdict")
    before_s = page.evaluate("audios[3].currentTime")
    until(page, f"audios[3].currentTime > {before_s + 0.2}")
    assert heard(page) == [3]


@pytest.mark.slow
def test_single_keys_can_be_put_out_of_use(few: str, opened: Open) -> None:
    """WCAG 2.2, 2.1.4: shortcuts of single characters can be turned off."""
    page = opened(few)
    box = page.locator("#keys-on")
    box.press(" ")
    expect(box).not_to_be_checked()
    page.reload()
    expect(box).not_to_be_checked()
    page.keyboard.press("w")
    page.keyboard.press("f")
    expect(page.locator("#sought")).not_to_be_focused()
    assert rated(page) == []
    box.press(" ")
    expect(box).to_be_checked()
    page.keyboard.press("w")
    expect(page.locator("#ballot-count")).to_have_text(f"1 of {len(FEW)} clips rated.")


def test_without_scripts_everything_can_still_be_heard(few: str, opened: Open) -> None:
    page = opened(few, java_script_enabled=False)
    assert page.locator("audio:visible").count() == len(FEW)
    assert page.locator(".clip h3:visible").count() == len(FEW)
    assert page.locator(".verdict:visible, .bar:visible").count() == 0
