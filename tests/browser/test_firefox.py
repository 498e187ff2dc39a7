"""A chapter in Firefox, in JupyterLab and on the wall: it runs, an exercise is answered, nothing complains."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser.conftest import ROOT, TOKEN, Watched, run_all
from tests.browser.firefox import FirefoxPage, firefox
from tests.browser.test_lesson_on_the_wall import go, live, steps_with
from tests.browser.test_projector import at

pytestmark = pytest.mark.slow
CHAPTER = "03_chord_tone_testing.ipynb"
PICTURES = """[...document.querySelectorAll(".jp-OutputArea svg, .jp-OutputArea img, .step svg, .step img")]"""


@pytest.fixture
def page(tmp_path: Path) -> Iterator[FirefoxPage]:
    with firefox(tmp_path) as opened:
        yield opened


def answered(page: FirefoxPage, box: str) -> None:
    """Answer wrongly, ask for a solution, type it: the box says what is so each time."""
    for sent, reply in (("?", ""), (None, "Right")):
        solution = page.text(f"{box} .answer-told").removeprefix("One solution: ")
        page.click(f"{box} .answer-field")
        page.evaluate("name => document.querySelector(name).select()", f"{box} .answer-field")
        page.type(sent or solution, "Enter")
        page.wait_for_function(
            "([name, start]) => { const said = document.querySelector(name).textContent; "
            "return said && said.startsWith('Right') === !!start; }",
            [f"{box} .answer-reply", reply],
        )
        if sent:
            page.click(f"{box} button:not([hidden]):nth-of-type(2)")
            page.wait_for_function(
                "name => document.querySelector(name).textContent.startsWith('One solution: ')", f"{box} .answer-told"
            )


def test_a_chapter_in_jupyterlab(lab: str, lab_folder: Path, page: FirefoxPage) -> None:
    shutil.copytree(ROOT / "chapters" / "tunes", lab_folder / "tunes", dirs_exist_ok=True)
    shutil.copy(ROOT / "chapters" / CHAPTER, lab_folder)
    page.goto(f"{lab}/lab/workspaces/firefox/tree/{CHAPTER}?token={TOKEN}")
    page.wait_for_function("window.jupyterapp?.shell.currentWidget?.context?.isReady")
    run_all(page)
    page.wait_for_selector(".answer-box .answer-field")
    assert page.evaluate(f"{PICTURES}.length") > 3
    assert page.evaluate("document.querySelectorAll('[data-mime-type$=error], [data-mime-type$=stderr]').length") == 0
    answered(page, ".answer-box")
    assert page.errors == []
    assert Watched(page, page.requests).outside == []


def test_a_chapter_on_the_wall(course: str, page: FirefoxPage) -> None:
    page.goto(at(course, CHAPTER))
    live(page)
    go(page, steps_with(page, ".answer-form")[0])
    answered(page, ".step.now .answer-box")
    page.evaluate("document.activeElement.blur()")
    page.type("Home")
    page.wait_for_function("document.querySelector('.position').textContent.startsWith('Step 1 of')")
    page.type("Right")
    page.wait_for_function("document.querySelector('.position').textContent.startsWith('Step 2 of')")
    assert page.evaluate(f"{PICTURES}.length") > 3
    assert page.errors == []
    assert Watched(page, page.requests).outside == []
