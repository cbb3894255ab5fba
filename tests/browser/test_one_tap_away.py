"""What the README says lies one tap away on the listening page."""

from playwright.sync_api import expect
from watched import Open


def test_one_tap_shows_the_numbers_of_a_clip(few: str, opened: Open) -> None:
    page = opened(few, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    clip = page.locator("#clip-0")
    expect(clip.get_by_role("table")).to_have_count(0)
    clip.get_by_text("The numbers").tap()
    expect(clip.get_by_role("cell", name="clip as encoded")).to_be_visible()
