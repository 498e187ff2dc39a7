"""A chapter opened by `course` runs by itself and takes a right answer first thing; what nobody trusted does not."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from harmonylib.theory.chords import Chord
from tests.browser.conftest import TOKEN, Watched, free_port, kernel, write_notebook

COUNT = "print(get_ipython().execution_count)"
IDLE = "window.jupyterapp?.shell.currentWidget?.sessionContext?.session?.kernel?.status === 'idle'"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("learner")


@pytest.fixture(scope="module")
def address(chromium: Any, folder: Path, started: Callable[..., None]) -> str:
    port = free_port()
    command = [sys.executable, "-m", "harmonylib", "course", "--folder", ".", "--no-browser", "--allow-root"]
    command += ["--port", str(port), "--", f"--IdentityProvider.token={TOKEN}", "--LabApp.expose_app_in_browser=True"]
    started(command, folder, f"http://127.0.0.1:{port}/api/status?token={TOKEN}")
    return f"http://127.0.0.1:{port}"


@pytest.fixture
def chapter(address: str, opened: Callable[..., Watched]) -> Callable[[str], Watched]:
    return lambda name: opened(f"{address}/lab/workspaces/{name[:2]}/tree/{name}?token={TOKEN}")


def test_a_right_answer_typed_first_thing_is_taken_and_a_page_loaded_anew_keeps_it(
    chapter: Callable[[str], Watched],
) -> None:
    watched = chapter("00_start_here.ipynb")
    page = watched.page
    box = page.locator(".answer-box").first
    box.wait_for(state="attached", timeout=60_000)
    page.wait_for_function(f"{IDLE} && document.querySelectorAll('.answer-box').length > 3", timeout=60_000)
    assert page.evaluate("window.jupyterapp.shell.currentWidget.content.activeCellIndex") == 0
    asked = re.search(r"Spell (\S+) from", box.text_content() or "")
    assert asked is not None
    field = box.locator(".answer-field")
    field.scroll_into_view_if_needed()
    field.fill(" ".join(map(str, Chord.parse(asked[1]).names)))
    field.press("Enter")
    box.locator(".answer-reply").filter(has_text="Right").wait_for(timeout=10_000)

    assert page.locator("audio").count() == 0
    player = page.get_by_role("group", name="Player: Lantern on the Landing").last  # the shapes of the first bar
    player.scroll_into_view_if_needed()
    player.get_by_role("slider", name="Tempo").fill("240")
    player.get_by_role("checkbox", name="Loop").check()
    player.get_by_role("button", name="Play").click()
    for grip in ("x-10-12-8-11-x", "x-9-10-8-10-x", "x6878x"):  # the second, the third, the first again
        player.locator(".block-player-line", has_text=grip).wait_for(timeout=10_000)
    player.get_by_role("button", name="Stop").click()

    before = kernel(page, COUNT)
    page.evaluate("window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_function("!window.jupyterapp.shell.currentWidget.context.model.dirty")
    page.reload()
    page.wait_for_function(IDLE, timeout=60_000)
    page.locator(".answer-box").first.wait_for(state="attached", timeout=60_000)
    page.wait_for_timeout(1500)  # time enough to begin, were it to run again
    page.wait_for_function(IDLE, timeout=60_000)
    assert kernel(page, COUNT) == before


def test_what_nobody_trusted_does_not_run(chapter: Callable[[str], Watched], folder: Path) -> None:
    stranger = folder / "09_from_elsewhere.ipynb"
    write_notebook(stranger, ["from harmonylib import *\nopen('ran', 'w').close()"])
    page = chapter(stranger.name).page
    page.wait_for_function(IDLE, timeout=60_000)
    page.wait_for_timeout(3000)
    assert not (folder / "ran").exists()
    page.evaluate("window.jupyterapp.commands.execute('notebook:run-all-cells')")
    for _ in range(100):
        page.wait_for_timeout(100)
        if (folder / "ran").exists():
            break
    assert (folder / "ran").exists()  # else the wait above would have shown nothing
