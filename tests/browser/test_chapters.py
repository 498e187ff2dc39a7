"""Every chapter in a real JupyterLab: it runs to its last cell, its sliders go to both ends, nothing complains.

What the course itself puts on the page has no serious fault for those who do not see it.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.browser.accessible import faults
from tests.browser.conftest import ROOT, TOKEN, Watched, run_all

OURS = {"include": [[".jp-Notebook .jp-RenderedMarkdown"], [".jp-Notebook .jp-OutputArea-output"]]}
CHAPTERS = sorted((ROOT / "chapters").glob("[0-9][0-9]_*.ipynb"))


@pytest.fixture(scope="module")
def desk(lab: str, lab_folder: Path, opened: Callable[..., Watched]) -> Watched:
    """One page of JupyterLab, in which the chapters are opened one after the other."""
    shutil.copytree(ROOT / "chapters" / "tunes", lab_folder / "tunes", dirs_exist_ok=True)
    watched = opened(f"{lab}/lab/workspaces/chapters?token={TOKEN}")
    watched.page.wait_for_function("window.jupyterapp?.shell.currentWidget", timeout=60_000)
    return watched


@pytest.fixture(params=CHAPTERS, ids=[path.stem for path in CHAPTERS])
def chapter(request: pytest.FixtureRequest, desk: Watched, lab_folder: Path) -> Iterator[Watched]:
    """The page with a chapter in front, which is closed with its kernel afterwards."""
    name = Path(shutil.copy(request.param, lab_folder)).name
    desk.errors.clear()
    opening = "async path => { await window.jupyterapp.commands.execute('docmanager:open', { path }); }"
    desk.page.evaluate(opening, name)
    desk.page.wait_for_function("name => window.jupyterapp.shell.currentWidget.context?.path === name", arg=name)
    yield desk
    desk.page.evaluate(
        """async () => { const chapter = window.jupyterapp.shell.currentWidget;
        await chapter.sessionContext.shutdown();
        await chapter.context.save();
        chapter.dispose(); }"""
    )


def test_a_chapter_runs_in_jupyterlab(chapter: Watched) -> None:
    page = chapter.page
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
    assert chapter.errors == []
    assert chapter.outside == []
    assert [fault for fault in faults(page, OURS) if fault.startswith(("serious", "critical"))] == []
