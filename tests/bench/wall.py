"""The wall: how soon a chapter shows its pictures, is live, and has followed the bar.

Conventions: seconds from the request for the page. Pictures are there when the page holds the first of them;
live is when every cell has run.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, NamedTuple

from playwright.sync_api import sync_playwright

from tests.browser.conftest import FLAGS, free_port

LIVE = ".chapter:not(.working) .step.now"
PATIENCE_MS = 90_000


class Opening(NamedTuple):
    """One visit to a chapter."""

    pictures: float
    live: float
    follows: float
    """From a reach set in the bar until the step on the wall has run again."""
    whole: float
    """… until the whole chapter has."""


@contextmanager
def _served() -> Iterator[str]:
    port = free_port()
    command = [sys.executable, "-m", "harmonylib", "course", "--projector", "--no-browser", "--port", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(600):
            with suppress(OSError):
                urllib.request.urlopen(address, timeout=2).close()
                break
            time.sleep(0.1)
        yield address
    finally:
        process.terminate()
        process.wait(60)


def _opening(page: Any, url: str) -> Opening:
    start = time.perf_counter()
    page.goto(url, wait_until="commit")
    page.wait_for_selector(".step.now", timeout=PATIENCE_MS)
    page.wait_for_selector(".step :is(svg, img)", state="attached", timeout=PATIENCE_MS)
    pictures = time.perf_counter() - start
    page.wait_for_selector(LIVE, timeout=PATIENCE_MS)
    live = time.perf_counter() - start
    step = page.evaluate(
        "[...document.querySelectorAll('.step')].findIndex(step => step.querySelector('.cell :is(svg, img)')) + 1"
    )
    page.evaluate(f"location.hash = '#step-{step}'")
    page.wait_for_function(f"document.querySelector('.position').textContent.startsWith('Step {step} of')")
    page.wait_for_selector("button.set:not([disabled])")
    page.keyboard.press("s")
    page.wait_for_selector("[name=reach_mm-0]", state="visible")
    cell = "document.querySelector('.step.now .cell')"
    page.evaluate(f"{cell}.mark = 1, {cell}.firstElementChild.mark = 1")
    start = time.perf_counter()
    page.fill("[name=reach_mm-0]", "120")
    page.locator("[name=reach_mm-0]").blur()
    page.wait_for_function(f"{cell}.mark && !{cell}.firstElementChild?.mark", timeout=PATIENCE_MS)
    follows = time.perf_counter() - start
    page.wait_for_selector(LIVE, timeout=PATIENCE_MS)
    return Opening(pictures, live, follows, time.perf_counter() - start)


def openings(files: list[str], visits: int = 2) -> dict[str, Opening]:
    """The quickest of some visits to each chapter, figure by figure; raises `RuntimeError` without Chromium."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        raise RuntimeError("Chromium is missing")
    found: dict[str, list[Opening]] = {file: [] for file in files}
    with _served() as address, sync_playwright() as started:
        browser = started.chromium.launch(executable_path=chromium, args=FLAGS)
        for _ in range(visits):
            for file in files:
                context = browser.new_context(viewport={"width": 1280, "height": 720})
                found[file].append(_opening(context.new_page(), f"{address}/voila/render/{file}"))
                context.close()
        browser.close()
    return {file: Opening(*map(min, zip(*seen, strict=True))) for file, seen in found.items()}
