"""A real browser for tests: Debian's chromium under playwright, at a phone's or a tablet's size.

Where one of the two is missing these tests stand aside; under CUREWATCH_REQUIRE_SYSTEM_TOOLS=1 they fail.
"""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from tests.broker import PATIENCE, until

CHROMIUM = shutil.which("chromium")
REQUIRED = os.environ.get("CUREWATCH_REQUIRE_SYSTEM_TOOLS") == "1"
# Keeps of each frame when it began [ms of the page's own clock], and the verdict that it shows.
RECORDER = """() => { window.frames_seen = [];
  const told = document.getElementById('told');
  const note = (at) => {
    const gone = getComputedStyle(told).visibility === 'hidden';
    window.frames_seen.push([at, gone ? 'UNKNOWN' : document.getElementById('word').textContent]);
    requestAnimationFrame(note); };
  requestAnimationFrame(note); }"""
OTHER_SITE = "other.example"  # a name that points to this machine
PHONE, TABLET = {"width": 390, "height": 844}, {"width": 800, "height": 1280}


@contextmanager
def browser() -> Iterator[Any]:
    """Debian's chromium under playwright; one for a module."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        sync_playwright = None
    if CHROMIUM is None or sync_playwright is None:
        assert not REQUIRED, "chromium and playwright are required here"
        pytest.skip("chromium or playwright is not installed")
    with sync_playwright() as playwright:
        points_here = f"--host-resolver-rules=MAP {OTHER_SITE} 127.0.0.1"
        arguments = ["--no-sandbox", points_here]
        found = playwright.chromium.launch(executable_path=CHROMIUM, args=arguments, timeout=1000 * PATIENCE)
        yield found
        found.close()


def phone(browser: Any, code: str, size: dict[str, int] = PHONE, **more: Any) -> Any:
    """A page of a fresh context, let in by this code."""
    context = browser.new_context(viewport=size, has_touch=True, **more)
    context.set_default_timeout(1000 * PATIENCE)
    page = context.new_page()
    page.goto(code)
    return page


def word(page: Any) -> str:
    """The verdict as somebody sees it."""
    return str(page.evaluate("() => document.getElementById('word').innerText"))


def shows(page: Any, place: str, words: str, seconds: float = PATIENCE) -> str:
    """Wait until a place of the page has these words; all that it then shows."""
    try:
        until(lambda: words in page.inner_text(place), seconds)
    except AssertionError:
        raise AssertionError(f"{words!r} is not in {place}: {page.inner_text(place)!r}") from None
    return str(page.inner_text(place))


def state(page: Any) -> tuple[str, bool]:
    """The verdict, and whether anything of an answer is shown that may hold a go."""
    live = "() => [...document.querySelectorAll('.live')].some(each => each.offsetHeight > 0)"
    return word(page), bool(page.evaluate(live))


def press(page: Any, key: str) -> None:
    """A key of the bench, until it stands among what was told last; what is not expected is kept."""
    before = page.inner_text("#lately") if page.is_visible("#lately") else ""
    until(lambda: page.is_enabled(f"[data-key={key}]"))
    page.click(f"[data-key={key}]")
    until(lambda: page.is_visible("#asking") or page.inner_text("#said").strip(" …"))
    if page.is_visible("#asking"):
        page.click("#keep")
    try:
        until(lambda: page.inner_text("#lately") != before)
    except AssertionError:
        raise AssertionError(f"{key}: {page.inner_text('#said')!r}; {page.inner_text('#why')!r}") from None
