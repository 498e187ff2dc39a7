"""A lesson played through on the wall, by mouse and by keyboard: setting it, resolving, pinning, finding a step."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from harmonylib.classroom.projector import contents
from harmonylib.classroom.shipped import course_folder
from tests.browser.conftest import Watched, write_notebook

CHAPTER = contents(course_folder())[5].file
ALIVE = "async kernel => (await fetch(`/api/kernels/${kernel}`)).status"
SVG = "[...document.querySelectorAll('.step.now .cell svg')].map(svg => svg.outerHTML).join().length"


def live(page: Any) -> None:
    page.wait_for_selector(".chapter:not(.working) .set:not([disabled])", timeout=120_000)


def go(page: Any, step: int) -> None:
    page.evaluate(f"location.hash = '#step-{step}'")
    page.wait_for_function(f"document.querySelector('.position').textContent.startsWith('Step {step} of')")


def steps_with(page: Any, what: str) -> list[int]:
    found = f"[...document.querySelectorAll('.step')].map((step, n) => step.querySelector('{what}') ? n + 1 : 0)"
    return [number for number in page.evaluate(found) if number]


def set_and_followed(page: Any, act: Callable[[], object]) -> None:
    """Change something in the bar: the chapter runs again and stands at the step where it stood."""
    before = page.inner_text(".position")
    act()
    page.wait_for_selector(".chapter.working", state="attached", timeout=10_000)
    live(page)
    assert page.inner_text(".position").endswith(before.removeprefix("… "))


@pytest.fixture(scope="module")
def lesson(opened: Callable[..., Watched], course: str) -> Watched:
    return opened(f"{course}/voila/render/{CHAPTER}#step-2")


def test_what_was_stored_is_there_before_the_kernel_has_answered(lesson: Watched) -> None:
    page = lesson.page
    assert page.locator(".step.now svg").count()
    assert page.locator(".step.now .cell.stored").count()
    live(page)
    assert page.locator(".stored").count() == 0
    assert page.inner_text(".position").startswith("Step 2 of")


def test_by_mouse(lesson: Watched) -> None:
    page = lesson.page
    live(page)
    go(page, 2)
    bars, drawn = page.locator("[name=bars-1]"), page.evaluate(SVG)
    page.get_by_role("button", name="Set").click()
    assert page.evaluate("document.activeElement.name") == "tune-0"
    set_and_followed(page, lambda: page.select_option("[name=tune-0]", label="slate roof blues"))
    assert page.evaluate(SVG) != drawn
    set_and_followed(page, lambda: bars.fill("2") or bars.blur())
    set_and_followed(page, lambda: page.fill("[name=tempo-0]", "60") or page.locator("[name=tempo-0]").blur())
    assert "at 60" in page.locator(".step.now audio").first.get_attribute("aria-label")
    set_to = json.loads(page.evaluate("new URLSearchParams(location.search).get('lesson')"))
    assert set_to == {"tune": "tunes/slate_roof_blues.abc", "bars": [1, 2], "tempo": 60}

    for step in steps_with(page, ".answer-form")[:3]:
        go(page, step)
        page.locator(".step.now").get_by_role("button", name="show a solution").click()
        page.wait_for_function(
            "document.querySelector('.step.now .answer-told').textContent.startsWith('One solution')"
        )

    go(page, steps_with(page, ".score-view")[0])
    desk = page.locator(".step.now")
    grips = desk.locator("select[size], select[multiple]").first
    grips.select_option(index=1)
    desk.get_by_role("button", name="pin").click()
    page.wait_for_function("document.querySelector('.step.now .score-words').textContent.includes('1 pin')")

    set_and_followed(page, page.get_by_role("button", name="As written").click)
    page.get_by_role("button", name="Set").click()
    assert page.locator(".pull").is_hidden()
    assert "lesson" not in page.url
    assert lesson.errors == []
    assert lesson.outside == []


def test_by_keyboard(lesson: Watched) -> None:
    page = lesson.page
    live(page)
    press = page.keyboard.press
    press("Home")
    press("2")
    press("Enter")
    press("s")
    set_and_followed(page, lambda: press("ArrowDown"))
    assert page.input_value("[name=tune-0]") == "tunes/slate_roof_blues.abc"
    press("Escape")
    assert page.evaluate("document.activeElement.className") == "steps"
    assert page.inner_text(".position").startswith("Step 2 of")
    for step in steps_with(page, ".answer-form")[:3]:
        for digit in str(step):
            press(digit)
        press("Enter")
        assert page.inner_text(".position").startswith(f"Step {step} of")
        button = page.locator(".step.now").get_by_role("button", name="show a solution")
        for _ in range(20):
            if button.evaluate("e => e === document.activeElement"):
                break
            press("Tab")
        press("Enter")
        page.wait_for_function(
            "document.querySelector('.step.now .answer-told').textContent.startsWith('One solution')"
        )
        press("Escape")
    press("b")
    assert page.locator(".dark").is_visible()
    press("PageDown")
    assert page.locator(".dark").is_hidden()
    press("s")
    assert page.locator(".pull").is_hidden()


@pytest.mark.parametrize(
    "given", ['{"tempo": "<img src=x onerror=alert(1)>"}', "{", "');alert(1)//", '{"tune": "../../etc/passwd"}']
)
def test_an_address_can_set_a_lesson_and_nothing_else(
    given: str, projected: Callable[..., str], opened: Callable[..., Watched], small: str
) -> None:
    watched = opened(f"{small}/voila/render/01_small.ipynb?lesson={quote(given)}")
    page = watched.page
    page.on("dialog", lambda _: watched.errors.append("a dialog"))
    live(page)
    assert page.inner_text(".pull .wrong").endswith(".")
    assert page.locator("img[src=x]").count() == 0
    assert watched.errors == []
    page.context.close()


@pytest.fixture(scope="module")
def small(projected: Callable[..., str], tmp_path_factory: pytest.TempPathFactory) -> str:
    """A chapter of a lesson alone."""
    folder = tmp_path_factory.mktemp("small")
    write_notebook(folder / "01_small.ipynb", ["from harmonylib import *", "today = lesson(5)\nprint(today.tempo)"])
    return projected([], Path(folder))


@pytest.mark.slow
def test_thirty_visits_leave_no_kernel_behind(chromium: Any, opened: Callable[..., Watched], small: str) -> None:
    stays = opened(f"{small}/voila/render/01_small.ipynb").page
    gone = []
    for visit in range(30):
        page = chromium.new_context().new_page()
        page.goto(f"{small}/voila/render/01_small.ipynb", wait_until="commit" if visit % 2 else "load")
        gone.append(page.locator("body").get_attribute("data-kernel"))
        page.context.close()
    kernel = stays.locator("body").get_attribute("data-kernel")
    assert len({*gone, kernel}) == 31
    for one in gone:
        stays.wait_for_function(f"({ALIVE})({one!r}).then(status => status === 404)")
    assert stays.evaluate(ALIVE, kernel) == 200
    stays.context.close()
