"""Every chapter in a real JupyterLab: it runs to its last cell, its sliders go to both ends, nothing complains."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.browser.conftest import ROOT, TOKEN, Watched, run_all

CHAPTERS = sorted((ROOT / "chapters").glob("[0-9][0-9]_*.ipynb"))


@pytest.mark.parametrize("path", CHAPTERS, ids=[path.stem for path in CHAPTERS])
def test_a_chapter_runs_in_jupyterlab(path: Path, lab: str, lab_folder: Path, opened: Callable[..., Watched]) -> None:
    shutil.copytree(ROOT / "chapters" / "tunes", lab_folder / "tunes", dirs_exist_ok=True)
    shutil.copy(path, lab_folder)
    watched = opened(f"{lab}/lab/workspaces/{path.stem}/tree/{path.name}?token={TOKEN}")
    page = watched.page
    run_all(page)
    handles = page.locator(".jp-OutputArea .noUi-handle")
    for number in range(handles.count()):
        for key in ("End", "Home"):
            handles.nth(number).focus()
            page.keyboard.press(key)
    page.wait_for_function(
        "window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.status === 'idle'", timeout=60_000
    )
    shown = page.locator(".jp-OutputArea svg, .jp-OutputArea img")
    assert shown.count() >= 1
    assert page.locator('[data-mime-type="application/vnd.jupyter.stderr"]').count() == 0
    assert page.locator('[data-mime-type="application/vnd.jupyter.error"]').count() == 0
    assert watched.errors == []
    assert watched.outside == []
    page.evaluate("window.jupyterapp.shell.currentWidget.sessionContext.shutdown()")
