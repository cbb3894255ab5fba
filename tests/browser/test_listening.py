"""The listening page in a real browser: hearing, comparing, rating."""

import json
import statistics
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from made_pages import EMBER, FEW, KILN, Made, made_page
from playwright.sync_api import Page
from watched import Complaints, Open, until

from render.publish.ballots import TEXT_PREFIX, read_ballot

SAME_PLACE_MS = 50.0
"""What the page promises; a beat at 174 BPM lasts 345 ms."""

HEARD = (
    "audios.map((a, n) => [n, a]).filter(([, a]) => !a.paused && !a.muted && a.volume > 0.001)"
    ".map(([n, a]) => [n, a.currentTime])"
)


def number_of(page: Page, clip: Made) -> int:
    number: int = page.evaluate("name => clips.findIndex((clip) => clip.name === name)", clip.name)
    return number


def heard(page: Page) -> list[int]:
    return [number for number, _ in page.evaluate(HEARD)]


def play(page: Page, clip: Made) -> None:
    """Play from near the landing, by a click, until something is heard."""
    page.locator(f"#clip-{number_of(page, clip)} .near").click()
    until(page, f"audios[{number_of(page, clip)}].currentTime > 4.3")


def stored(page: Page) -> dict[str, Any]:
    kept: dict[str, Any] = page.evaluate("Object.fromEntries(Object.entries(localStorage))")
    return kept


def test_nothing_is_loaded_before_it_is_asked_for(few: str, opened: Open, complaints: Complaints) -> None:
    page = opened(few)
    page.wait_for_load_state()
    assert not [url for url in complaints.requests if url.endswith(".flac")]
    assert page.evaluate("audios.every((audio) => audio.paused && audio.readyState === 0)")


def test_playing_starts_quiet_and_one_clip_at_a_time(few: str, opened: Open) -> None:
    page = opened(few)
    page.keyboard.press(" ")
    until(page, "audios[0].currentTime > 0.1")
    assert page.evaluate("audios.map((audio) => audio.volume)") == [0.5] * len(FEW)
    play(page, KILN)
    assert heard(page) == [number_of(page, KILN)]
    page.keyboard.press("Escape")
    page.locator("h2").first.focus()
    page.keyboard.press(" ")
    until(page, "!audios[0].paused && audios[3].paused")


def test_a_volume_once_chosen_goes_for_all(few: str, opened: Open) -> None:
    page = opened(few)
    play(page, EMBER[0])
    page.evaluate("audios[0].volume = 0.2")
    page.keyboard.press("j")
    until(page, "!audios[3].paused && audios[3].currentTime > 0")
    assert page.evaluate("audios[3].volume") == 0.2


def test_it_plays_from_sixteen_beats_before_the_landing(few: str, opened: Open) -> None:
    """24 beats of lead at 120 BPM: the landing is at 12 s, and 16 beats before it is 4 s."""
    page = opened(few)
    page.locator("#clip-0 .near").click()
    until(page, "!audios[0].paused")
    assert 4.0 <= page.evaluate("audios[0].currentTime") < 5.0


SAMPLE = """(ms) => new Promise((resolve) => {
  const samples = [];
  const began = performance.now();
  const timer = setInterval(() => {
    samples.push([performance.now() - began, ...HEARD]);
    if (performance.now() - began > ms) { clearInterval(timer); resolve(samples); }
  }, 5);
  act();
})""".replace("HEARD", HEARD)


def _beats_s(page: Page, samples: list[Any], number: int) -> list[float]:
    """How far each sample of a clip lies from the landing, less the time of the sample: constant while it plays."""
    landing_s = page.evaluate(f"clips[{number}].landing_s")
    return [
        time_s - landing_s - at_ms / 1000
        for at_ms, *others in samples
        for who, time_s in others
        if who == number
    ]


@pytest.mark.parametrize(
    ("goal", "act"),
    [
        (EMBER[1], "document.querySelector('.variants input[value=\"1\"]').click()"),
        (EMBER[2], "document.querySelector('.variants input[value=\"2\"]').click()"),
    ],
    ids=["of the same lead", "with a shorter lead"],
)
def test_a_variant_takes_over_at_the_same_place(few: str, opened: Open, goal: Made, act: str) -> None:
    page = opened(few)
    start, other = number_of(page, EMBER[0]), number_of(page, goal)
    play(page, EMBER[0])
    until(page, "audios[0].currentTime > 5")
    page.evaluate(f"window.act = () => {{ {act} }}")
    samples = page.evaluate(SAMPLE, 2500)
    before, after = _beats_s(page, samples, start), _beats_s(page, samples, other)
    assert len(before) > 5 and len(after) > 20
    assert abs(statistics.median(after) - statistics.median(before)) * 1000 <= SAME_PLACE_MS
    silent = [at_ms for at_ms, *others in samples if not others]
    assert silent == []
    assert heard(page) == [other]
    assert page.locator(f"#clip-{other}").is_visible() and not page.locator(f"#clip-{start}").is_visible()


def test_variants_change_by_key_and_hurry_does_no_harm(few: str, opened: Open) -> None:
    page = opened(few)
    play(page, EMBER[0])
    for key in ("v", "v", "v", "v", "Shift+V", "v"):
        page.keyboard.press(key)
    until(page, "takingOver === null && audios.filter((a) => !a.paused).length === 1")
    assert heard(page) == [number_of(page, EMBER[1])]
    assert page.evaluate("audios.every((audio) => !audio.muted && audio.volume === 0.5)")
    assert page.evaluate("shownOf(0)") == number_of(page, EMBER[1])


def test_a_variant_that_does_not_play_keeps_the_place(few: str, opened: Open) -> None:
    page = opened(few)
    play(page, EMBER[0])
    page.evaluate("audios[0].pause()")
    place_s = page.evaluate("audios[0].currentTime")
    page.keyboard.press("Shift+V")
    assert page.evaluate("audios[2].currentTime") == pytest.approx(
        place_s - 4.0
    )  # its lead is 8 beats shorter
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
    page.reload()
    pressed = page.locator('.answers [aria-pressed="true"]')
    assert pressed.evaluate_all("all => all.map((one) => [one.closest('.clip').id, one.value])") == [
        ["clip-0", "works"],
        ["clip-3", "no"],
    ]
    assert page.locator("#clip-0 .verdict textarea").input_value() == "the <b>second</b> drop, w a n j k"
    assert page.locator("#ballot-count").inner_text() == f"2 of {len(FEW)} clips rated."


def test_a_clip_that_sounds_otherwise_is_not_rated_by_what_was_said(opened: Open, tmp_path: Path) -> None:
    page = opened(made_page(tmp_path, [KILN]))
    page.keyboard.press("w")
    made_page(tmp_path, [Made(KILN.recipe, title=KILN.title, sounds="otherwise")])
    page.reload()
    assert page.locator('.answers [aria-pressed="true"]').count() == 0
    assert page.locator(".earlier").inner_text() == "When this clip sounded otherwise, you said: works."


def test_what_the_browser_keeps_may_be_damaged(few: str, opened: Open) -> None:
    page = opened(few)
    page.keyboard.press("w")
    [key] = stored(page)
    for damaged in ("null", "[1]", "{", '{"verdict": "<b>", "note": 7}', '{"verdict": "works", "note": {}}'):
        page.evaluate("([key, text]) => localStorage.setItem(key, text)", [key, damaged])
        page.reload()
        assert page.locator("#clip-0 .verdict textarea").input_value() == ""


def test_a_browser_that_keeps_nothing_says_so(few: str, opened: Open) -> None:
    page = opened("about:blank")
    page.add_init_script(
        "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no') } })"
    )
    page.goto(few)
    assert page.locator("#keeps-nothing").is_visible()
    page.keyboard.press("w")
    assert page.locator("#ballot-count").inner_text().startswith("1 of")


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
    text = page.locator("#ballot-text").input_value()
    assert text.startswith(TEXT_PREFIX)
    assert read_ballot(text.encode(), datetime.now(UTC)).ratings == ballot.ratings
    assert [rated.clip for rated in ballot.ratings] == [EMBER[0].name, KILN.name]


def test_finding_and_ordering(few: str, opened: Open) -> None:
    page = opened(few)
    page.keyboard.press("j")
    page.keyboard.press("j")
    page.keyboard.press("w")
    page.locator("#order").select_option("verdict")
    assert page.locator("h2").first.text_content() == KILN.title
    page.locator("#shown").select_option("works")
    assert page.locator(".combination:visible h2").all_text_contents() == [KILN.title]
    page.locator("#shown").select_option("all")
    page.keyboard.press("Escape")
    page.locator("h2").first.focus()
    page.keyboard.press("f")
    page.keyboard.type("tallow hush")
    assert page.locator(".combination:visible h2").all_text_contents() == ["Wick and tallow"]
    assert page.locator(".clip:visible").get_attribute("aria-label") == "hushed"
    page.locator("#sought").fill("nowhere")
    assert page.locator("#nothing-shown").is_visible()


def test_what_plays_goes_on_while_the_order_changes(few: str, opened: Open) -> None:
    page = opened(few)
    play(page, KILN)
    page.keyboard.press("w")
    page.locator("#order").select_option("verdict")
    before_s = page.evaluate("audios[3].currentTime")
    until(page, f"audios[3].currentTime > {before_s + 0.2}")
    assert heard(page) == [3]


def test_single_keys_can_be_put_out_of_use(few: str, opened: Open) -> None:
    """WCAG 2.2, 2.1.4: shortcuts of single characters can be turned off."""
    page = opened(few)
    page.locator("#keys-on").uncheck()
    page.reload()
    page.keyboard.press("w")
    assert page.locator('.answers [aria-pressed="true"]').count() == 0
    page.locator("#keys-on").check()
    page.keyboard.press("w")
    assert page.locator('.answers [aria-pressed="true"]').count() == 1


def test_without_scripts_everything_can_still_be_heard(few: str, opened: Open) -> None:
    page = opened(few, java_script_enabled=False)
    assert page.locator("audio:visible").count() == len(FEW)
    assert page.locator(".clip h3:visible").count() == len(FEW)
    assert page.locator(".verdict:visible, .bar:visible").count() == 0
