"""A real browser, off the network, and whatever it has to complain about."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from made_pages import FEW, made_page
from playwright.sync_api import Browser, Page, expect, sync_playwright
from watched import PATIENCE_S, Complaints, Open

expect.set_options(timeout=PATIENCE_S * 1000)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Ends with its module: it has an event loop of its own, which other tests must not meet."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("needs Chromium (Debian's package chromium)")
    with sync_playwright() as playwright:
        # Without a sandbox, as in a container nobody but root is there to run it.
        made = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield made
        made.close()


@pytest.fixture
def complaints() -> Complaints:
    return Complaints()


@pytest.fixture
def opened(browser: Browser, complaints: Complaints) -> Iterator[Open]:
    """Opens a page with the network off; at the end it must have asked for nothing else, and failed in nothing."""
    contexts = []

    def open_page(address: str, **options: Any) -> Page:
        context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})
        context.set_offline(True)
        context.set_default_timeout(PATIENCE_S * 1000)
        contexts.append(context)
        page = context.new_page()
        complaints.heed(page)
        page.goto(address)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints.told == []
    assert [url for url in complaints.requests if not url.startswith(("file:", "blob:"))] == []


@pytest.fixture
def few(tmp_path: Path) -> str:
    """The address of a page of a few clips."""
    return made_page(tmp_path / "out", FEW)
