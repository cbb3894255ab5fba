"""A real browser, off the network, and whatever it has to complain about."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from made_pages import FEW, made_page
from playwright.sync_api import Browser, Page, Request, sync_playwright

Open = Callable[..., Page]


@dataclass
class Complaints:
    """What no page may do: ask for something that is not on the disk, fail, or open a dialog."""

    requests: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def heed(self, page: Page) -> None:
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("requestfailed", self._failed)
        page.on("console", lambda line: self.told.append(f"{line.type}: {line.text}"))
        page.on("pageerror", lambda error: self.told.append(f"error: {error}"))
        page.on("dialog", lambda dialog: (self.told.append(f"dialog: {dialog.message}"), dialog.dismiss()))

    def _failed(self, request: Request) -> None:
        if request.failure != "net::ERR_ABORTED":  # a clip is no longer loaded where another is wanted
            self.told.append(f"failed: {request.url}")


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
