"""How soon a page of 500 clips is there, and how close variants change over: `python -m tests.bench.page_load`.

In headless Chromium, from the disk. Times of the clock are the browser's own: of a load, what its navigation timing
says (Navigation Timing Level 2, W3C); of a scroll, the time between two pictures; of a change of variants, how far the
one that takes over is from the place of the one before, both told with the browser's clock at that moment. The time of
the processor is that of the thread that lays out the page.
"""

import contextlib
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, sync_playwright

from tests.bench.rows import CannotRun, Row, load, tell
from tests.browser.made_pages import EMBER, Made, made_page

CLIPS = 500
LOADED_BAR_S, FRAME_BAR_MS, SAME_PLACE_BAR_MS = 2.0, 50.0, 50.0
"""20 pictures a second still look like motion; a beat at 174 BPM lasts 345 ms."""
PHONE = {"width": 390, "height": 844}
PATIENCE_S = 60.0
SETTLED_MS = 600
"""Long enough to tell the place of what plays from some dozens of samples."""

SCROLL = """() => new Promise((resolve) => {
  const at_ms = [];
  function step(now) {
    at_ms.push(now);
    window.scrollBy(0, 400);
    if (at_ms.length < 90) requestAnimationFrame(step);
    else resolve(at_ms.slice(1).map((time, index) => time - at_ms[index]));
  }
  requestAnimationFrame(step);
})"""
SAMPLE = """([from, to, settled_ms]) => new Promise((resolve) => {
  const ALONE = (n) => audios.every((one, m) => (m === n) === (!one.paused && !one.muted && one.volume > 0.001));
  const before = [], after = [];
  let asked_ms = null, came_ms = null;
  const timer = setInterval(() => {
    const now_ms = performance.now();
    const place = (n) => audios[n].currentTime - clips[n].landing_s - now_ms / 1000;
    if (ALONE(from)) before.push(place(from));
    if (ALONE(to)) { after.push(place(to)); came_ms ??= now_ms; }
    if (asked_ms === null && before.length > 20) { asked_ms = now_ms; choose(to); }
    if (came_ms !== null && now_ms - came_ms > settled_ms) {
      clearInterval(timer);
      resolve([before, after, came_ms - asked_ms]);
    }
  }, 5);
})"""
"""How far each clip lies from its landing, less the time: constant while it plays."""


def rows(quick: bool) -> Iterator[Row]:
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        raise CannotRun("needs Chromium (Debian's package chromium)")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        many = [Made(f"kiln-{n // 2}", "other" if n % 2 else "", f"Kiln {n // 2}") for n in range(CLIPS)]
        yield from loading(browser, made_page(Path(folder) / "many", many), 2 if quick else 7)
        yield from changing(browser, made_page(Path(folder) / "few", EMBER), 2 if quick else 10)
        browser.close()


@contextlib.contextmanager
def fresh_page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport=PHONE)
    context.set_default_timeout(PATIENCE_S * 1000)
    yield context.new_page()
    context.close()


def loading(browser: Browser, address: str, rounds: int) -> Iterator[Row]:
    clock_s, processor_s, frames_ms = [], [], []
    with load() as during:
        for _ in range(rounds):
            with fresh_page(browser) as page:
                watch = page.context.new_cdp_session(page)
                watch.send("Performance.enable", {"timeDomain": "threadTicks"})
                page.goto(address)
                metrics = {
                    one["name"]: one["value"] for one in watch.send("Performance.getMetrics")["metrics"]
                }
                processor_s.append(metrics["ThreadTime"])
                clock_s.append(
                    page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd") / 1000
                )
                frames_ms += page.evaluate(SCROLL)
                assert page.evaluate("scrollY") > 10_000
    asked = f"< {LOADED_BAR_S:.0f} s"
    yield Row(f"page of {CLIPS} clips loads, by the clock", spread(clock_s, 2, "s"), asked, during)
    yield Row(
        f"page of {CLIPS} clips loads, time of the processor", spread(processor_s, 2, "s"), asked, during
    )
    told = f"{statistics.median(frames_ms):.0f} ms in the median"
    yield Row("between two pictures while it is scrolled", told, f"< {FRAME_BAR_MS:.0f} ms", during)


def changing(browser: Browser, address: str, rounds: int) -> Iterator[Row]:
    off_ms, wait_ms = [], []
    with load() as during:
        for number in range(2 * rounds):
            with fresh_page(browser) as page:
                page.goto(address)
                page.locator("#clip-0 .near").click()
                until(page, "audios[0].currentTime > 5")
                before, after, waited_ms = page.evaluate(SAMPLE, [0, 1 + number % 2, SETTLED_MS])
                off_ms.append(abs(statistics.median(after) - statistics.median(before)) * 1000)
                wait_ms.append(waited_ms)
    told = f"{max(off_ms):.0f} ms at worst, {statistics.median(off_ms):.0f} in the median"
    yield Row("a variant takes over beside its place", told, f"≤ {SAME_PLACE_BAR_MS:.0f} ms", during)
    yield Row("from asking for a variant to hearing it", spread(wait_ms, 0, "ms"), "", during)


def until(page: Page, true: str) -> None:
    ends_s = time.monotonic() + PATIENCE_S
    while not page.evaluate(true):
        assert time.monotonic() < ends_s, true
        page.wait_for_timeout(20)


def spread(values: list[Any], decimals: int, unit: str) -> str:
    middle, least, most = (
        f"{value:.{decimals}f}" for value in (statistics.median(values), min(values), max(values))
    )
    return f"{middle} {unit} ({least} to {most})"


if __name__ == "__main__":
    tell(rows("--quick" in sys.argv[1:]))
