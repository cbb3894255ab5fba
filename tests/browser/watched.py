"""What no page may do, and how to wait for one."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from playwright.sync_api import Page, Request

Open = Callable[..., Page]
"""Opens an address; what else is said goes to the browser's context."""


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


PATIENCE_S = 60.0
"""No claim: on a machine that is busy, a page may take its time."""


def until(page: Page, true: str) -> None:
    """Wait for something to come true. Playwright's own way to wait for it is forbidden by the page's policy.

    What a page does after an event of its own (`play`, `volumechange`, `toggle`) it has not done yet when a key or a
    click has been taken.
    """
    ends_s = time.monotonic() + PATIENCE_S
    while not page.evaluate(true):
        assert time.monotonic() < ends_s, true
        page.wait_for_timeout(20)


def until_a_picture_is_there(page: Page) -> None:
    """Pictures in sight are asked for last: what else a browser loads by itself, it has asked for by then."""
    until(page, "[...document.images].some((one) => one.complete && one.naturalWidth)")
