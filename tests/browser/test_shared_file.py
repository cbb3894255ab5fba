"""The file that friends get, in a real browser: it asks for nothing, is heard and rated, and gives a ballot back."""

import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Locator, Page, expect
from watched import Open, until

from render.files.ffmpeg import encode
from render.files.shared_sound import sound_to_share
from render.publish.ballots import Ballot, read_ballot
from render.publish.share import SharedClip, Sound, share_html
from tests.cases import first_of

HOSTILE = "</script><img src=x onerror=alert(1)>\" onload='alert(2)' {{ 7*7 }} שלום 🏮 " + "long " * 50
NAMES = ("ember-over-slate", "ember-over-slate--short", 'odd "quoted" <b> & ünï🏮')


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three clips of three seconds, in a folder with nothing beside it."""
    folder = tmp_path_factory.mktemp("from a friend")
    time_s = np.arange(3 * 44_100) / 44_100
    clips = []
    for name, form, title in zip(NAMES, ("mp3", "opus", "mp3"), ("Ember", "Ember", HOSTILE), strict=True):
        tone = (0.2 * np.sin(2 * np.pi * 220 * time_s)).astype(np.float32)
        path = tmp_path_factory.mktemp("clips") / f"clip.{form}"
        encode(np.stack([tone, tone], axis=1), 44_100, form, path)  # type: ignore[arg-type]
        sound = Sound(*sound_to_share(path, form))  # type: ignore[arg-type]
        variant = name.partition("--")[2]
        clips.append(
            SharedClip(name, f"{len(clips)}" * 12, title, variant, "ember drops; slate drops.", sound)
        )
    file = folder / "for Mara.html"
    file.write_text(share_html(clips), encoding="utf-8")
    return file


AUDIOS = "[...document.querySelectorAll('audio')]"


def expect_verdict(page: Page, number: int, verdict: str | None) -> None:
    pressed = page.locator(".shared-clip").nth(number).locator("button[aria-pressed=true]")
    expect(pressed).to_have_text([verdict] if verdict else [])


def rate(page: Page, number: int, verdict: str, note: str = "") -> None:
    clip = page.locator(".shared-clip").nth(number)
    clip.get_by_role("button", name=verdict, exact=True).click()
    if note:
        clip.get_by_label("Note").fill(note)


def written(page: Page) -> Locator:
    return page.get_by_label("The ballot as a text")


def ballot_of(page: Page) -> Ballot:
    expect(written(page)).not_to_have_value("")
    return read_ballot(written(page).input_value().encode(), datetime.now(UTC))


def test_it_is_heard_without_any_request_and_starts_quiet(
    opened: Open, shared: Path, request: pytest.FixtureRequest
) -> None:
    page = opened(shared.as_uri())
    assert page.evaluate(f"{AUDIOS}.map(one => one.paused && one.volume)") == [0.5] * 3
    page.evaluate(f"{AUDIOS}.forEach(one => {{ one.muted = one.loop = true }})")
    for number in (0, 1):
        page.locator("audio").nth(number).focus()
        page.keyboard.press("Space")
        until(page, f"{AUDIOS}[{number}].currentTime > 0.2")
    # The one that was started last is the only one that plays.
    until(page, f"{AUDIOS}.map(one => one.paused).join() === 'true,false,true'")
    until(page, f"{AUDIOS}.every(one => one.readyState > 0)")
    lengths_s = page.evaluate(f"{AUDIOS}.map(one => one.duration)")
    assert lengths_s == pytest.approx([3.0] * 3, abs=0.06)  # MP3 is longer by its padding
    assert request.getfixturevalue("complaints").requests == [shared.as_uri()]


def test_rating_gives_a_text_that_the_command_takes(opened: Open, shared: Path, tmp_path: Path) -> None:
    page = opened(shared.as_uri())
    expect(written(page)).to_have_value("")
    expect(page.get_by_role("button", name="Save the ballot")).to_be_disabled()
    rate(page, 0, "works", "the landing\nlifts 🏮 <b>")
    rate(page, 2, "no")
    page.get_by_label("Your name").fill("Mara")
    expect(page.get_by_text("2 of 3 rated.")).to_be_visible()
    ballot = ballot_of(page)
    assert ballot.listener == "Mara"
    assert abs(ballot.made - datetime.now(UTC)) < timedelta(minutes=2)
    assert [(one.clip, one.verdict, one.note, one.pcm) for one in ballot.ratings] == [
        (NAMES[0], "works", "the landing lifts 🏮 <b>", "0" * 12),
        (NAMES[2], "no", "", "2" * 12),
    ]
    (tmp_path / "book.yaml").write_text(
        "book: 1\nclips:\n" + "".join(f"  {json.dumps(name, ensure_ascii=False)}:\n" for name in NAMES)
    )
    program = Path(sys.executable).with_name("dropkiln")
    done = subprocess.run(
        [program, "ballots", written(page).input_value()],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == "ballot    text: Mara, 2 new, 0 known already\nbook      book.yaml\n"
    assert done.stderr == ""


def test_the_saved_file_is_the_same_ballot(opened: Open, shared: Path, tmp_path: Path) -> None:
    page = opened(shared.as_uri(), accept_downloads=True)
    rate(page, 1, "almost", "\ud83c")  # half a character, as a broken paste leaves it
    with page.expect_download() as download:
        page.get_by_role("button", name="Save the ballot").click()
    assert download.value.suggested_filename == "ballot.json"
    download.value.save_as(tmp_path / "ballot.json")
    content = (tmp_path / "ballot.json").read_bytes()
    assert read_ballot(content, datetime.now(UTC)).ratings == ballot_of(page).ratings
    assert json.loads(content)["ratings"][0]["clip"] == NAMES[1]


def test_ratings_are_there_when_the_file_is_opened_again_and_can_be_taken_back(
    opened: Open, shared: Path
) -> None:
    page = opened(shared.as_uri())
    rate(page, 0, "works", "two voices")
    page.get_by_label("Your name").fill("Mara")
    page.reload()
    expect_verdict(page, 0, "works")
    page.evaluate("localStorage.clear()")  # as Chromium does now and then on a busy machine
    page.reload()
    expect_verdict(page, 0, "works")
    expect(page.locator("textarea").first).to_have_value("two voices")
    assert ballot_of(page).listener == "Mara"
    rate(page, 0, "works")
    expect_verdict(page, 0, None)
    expect(written(page)).to_have_value("")


def test_it_is_rated_by_keyboard_alone(opened: Open, shared: Path) -> None:
    page = opened(shared.as_uri())
    page.locator("audio").first.focus()
    for _ in range(12):  # through the player's own controls
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.value") == "works":
            break
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect_verdict(page, 0, "almost")


def test_titles_that_would_be_markup_are_shown_as_they_are(opened: Open, shared: Path) -> None:
    """That nothing ran is what `opened` checks: no dialog, no line on the console, no request."""
    page = opened(shared.as_uri())
    assert page.locator("h2").nth(2).text_content() == HOSTILE  # to the letter, as `expect` would not compare
    expect(page.locator("img")).to_have_count(0)


def test_without_room_in_the_browser_it_still_gives_a_ballot_and_says_so(opened: Open, shared: Path) -> None:
    page = opened("about:blank")
    page.add_init_script(
        "Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('no', 'SecurityError'); }})"
    )
    page.goto(shared.as_uri())
    rate(page, 0, "no")
    expect(page.get_by_text("This browser keeps nothing of this page")).to_be_visible()
    assert ballot_of(page).ratings[0].verdict == "no"


def test_without_scripts_everything_can_be_heard(opened: Open, shared: Path) -> None:
    page = opened(shared.as_uri(), java_script_enabled=False)
    expect(page.locator("audio")).to_have_count(3)
    expect(page.get_by_role("button", name="works").first).to_be_hidden()


@pytest.mark.parametrize("width", first_of([320], [320, 390, 1280]))
def test_it_fits_narrow_screens_and_fingers(opened: Open, shared: Path, width: int) -> None:
    """WCAG 2.2: 1.4.10 Reflow (no sideways scrolling at 320 CSS pixels), 2.5.8 Target Size (24 by 24)."""
    page = opened(shared.as_uri(), viewport={"width": width, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    boxes = [one.bounding_box() for one in page.locator("button, input, textarea").all()]
    assert boxes and all(box and box["width"] >= 24 and box["height"] >= 24 for box in boxes)


@pytest.mark.parametrize("scheme", first_of(["light"], ["light", "dark"]))
def test_an_accessibility_checker_finds_nothing(opened: Open, shared: Path, scheme: str) -> None:
    """axe-core, all of its rules for WCAG 2.0 to 2.2, A and AA; contrast among them."""
    from axe_playwright_python.sync_playwright import Axe

    page = opened(shared.as_uri(), color_scheme=scheme, bypass_csp=True)
    rate(page, 0, "works")
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
    assert [
        (one["id"], [node["html"][:80] for node in one["nodes"]]) for one in found.response["violations"]
    ] == []
