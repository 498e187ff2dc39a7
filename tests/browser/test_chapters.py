"""Every chapter in a real JupyterLab: it runs to its last cell, its sliders go to both ends, nothing complains.

What the course itself puts on the page has no serious fault for those who do not see it.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser.accessible import faults
from tests.browser.conftest import ROOT, TOKEN, Watched, kernel, run_all

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
    yield from in_front(request.param, desk, lab_folder)


@pytest.fixture
def third(desk: Watched, lab_folder: Path) -> Iterator[Watched]:
    yield from in_front(CHAPTERS[3], desk, lab_folder)


def in_front(path: Path, desk: Watched, lab_folder: Path) -> Iterator[Watched]:
    """The page with a chapter in front, which is closed with its kernel afterwards."""
    name = Path(shutil.copy(path, lab_folder)).name
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


@pytest.mark.few(3)
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
    wide = page.viewport_size
    page.set_viewport_size({"width": 900, "height": 700})
    page.wait_for_timeout(300)
    assert page.evaluate(TOO_WIDE) == []
    page.set_viewport_size(wide)
    assert seen_by_axe(page) == {"JupyterLab Light": [], "JupyterLab Dark": []}


TOO_WIDE = """[...document.querySelectorAll('.jp-OutputArea-output, .jp-MarkdownOutput')]
    .filter(one => one.scrollWidth > one.clientWidth + 2).map(one => one.innerText.slice(0, 60))"""


def seen_by_axe(page: Any) -> dict[str, list[str]]:
    """What is serious in the outputs and the prose, in light and in dark; back to light in the end."""
    found = {}
    for theme in ("JupyterLab Light", "JupyterLab Dark", "JupyterLab Light"):
        page.evaluate(
            "async theme => await window.jupyterapp.commands.execute('apputils:change-theme', { theme })", theme
        )
        page.wait_for_function(
            "light => document.body.dataset.jpThemeLight === light", arg=str("Light" in theme).lower()
        )
        found[theme] = [fault for fault in faults(page, OURS) if fault.startswith(("serious", "critical"))]
    return found


def test_the_glossary_has_no_serious_fault_and_the_check_sees_one(desk: Watched, lab_folder: Path) -> None:
    for watched in in_front(ROOT / "chapters" / "glossary.ipynb", desk, lab_folder):
        watched.page.wait_for_selector(".jp-Notebook .jp-RenderedMarkdown h1", timeout=60_000)
        assert seen_by_axe(watched.page) == {"JupyterLab Light": [], "JupyterLab Dark": []}
        watched.page.evaluate("document.querySelector('.jp-RenderedMarkdown').append(document.createElement('img'))")
        assert all("image-alt" in fault for found in seen_by_axe(watched.page).values() for fault in found or [""])


EDITS = {
    # what is written in the edit cell                       what is then said there
    'tune="Slate Roof Blues", bars=(2, 4), seed=4': "",
    'tuning="DADGAD", tempo="60 bpm"': "",
    "reach_mm=60, capo=3": "",
    'tune=7, bars="first", tempo="fast", chord="C7"': "7 is not a tune",
    'key="F", bars=5, level=3': "",
}
FAULTS = """() => [...window.jupyterapp.shell.currentWidget.content.model.cells]
    .flatMap(cell => cell.toJSON().outputs ?? [])
    .filter(output => output.output_type === 'error').map(output => output.evalue)"""
SOLUTION = """first = ask(today, 'which_degree', 3)
shown = [first, *map(first.another, range(1, 6))]  # a box that is shown again goes on where it was
print(next(task.solution() for task in shown if task.question == {question!r}))"""
SEEN = """() => [...document.querySelectorAll('.jp-Notebook .jp-Cell')].filter(cell =>
    cell.querySelector('.jp-InputArea-editor')?.textContent.startsWith('ask(')).map(cell =>
    !!cell.querySelector('.answer-field'))"""


@pytest.mark.slow
def test_a_chapter_is_followed_through_after_five_edits(third: Watched) -> None:
    """Each edit reaches the last cell; every question is a box, and what its solution says is right."""
    page = third.page
    editing = """async source => { await window.jupyterapp.shell.currentWidget.context.ready;
        const cell = [...window.jupyterapp.shell.currentWidget.content.model.cells].find(one =>
        one.sharedModel.getSource().startsWith('today = lesson('));
        cell.sharedModel.setSource(source); }"""
    asked: set[str] = set()
    for written, told in EDITS.items():
        page.evaluate(editing, f"today = lesson(3, {written})\ntoday")
        run_all(page)
        assert page.evaluate(FAULTS) == []
        page.locator(".answer-field").nth(4).wait_for(timeout=30_000)
        assert page.evaluate(SEEN) == [True] * 5
        edit = page.locator(".jp-CodeCell").nth(1).locator(".jp-OutputArea").inner_text()
        assert (told in edit) if told else ("is taken" not in edit and "are taken" not in edit)
        title = page.locator(".neck-panel:not(.answer-box) .neck-title").first
        assert title.inner_text().strip(), "the panel shows a grip"
        box = page.locator(".answer-box").nth(4)
        box.scroll_into_view_if_needed()
        question = box.locator(".answer-question").inner_text()
        asked.add(question)
        box.locator("select").select_option(kernel(page, SOLUTION.format(question=question)))
        box.get_by_role("button", name="check", exact=True).click()
        box.locator(".answer-reply").filter(has_text="Right").wait_for(timeout=30_000)
        box.get_by_role("button", name="another one").click()
        box.locator(".answer-reply").filter(has_text="another one").wait_for(timeout=30_000)
        assert box.locator(".answer-question").inner_text() != question
    assert len(asked) >= 3
    assert third.errors == []
