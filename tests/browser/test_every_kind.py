"""Every kind of exercise in a real JupyterLab, shown as the last line of a cell: wrong, half right and right by mouse.

One page holds them all, so that boxes which get in each other's way are seen.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from harmonylib.classroom.handing import ANSWER
from harmonylib.exercises.catalogue import KINDS, random_exercise
from harmonylib.exercises.written import as_text
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import neck_frame, neck_picture
from tests.browser.conftest import Watched
from tests.browser.test_panels import complaints, point_of, settled

CELLS = ["from harmonylib import *", *(f"random_exercise({kind!r}, 1)" for kind in KINDS)]
TWINS = ["find_root('C6', 'x-10-10-9-10-x')", "find_root('G7', '3x343x')", "which_diminished('D', 'Cmaj7')"]
HALF = {
    # kind               an answer that is not enough, or right in part
    "spell": lambda told: told.rsplit(" ", 1)[0],
    "drop": lambda told: told.rsplit(" ", 1)[0],
    "find_grips": lambda told: told.split(", ")[0],
    "harmonise_bar": lambda told: told.split(", ")[0],
    "harmonise_phrase": lambda told: told.split(", ")[0],
    "find_gaps": lambda told: told.split(", ")[0],
    "mend": lambda told: told.split(", ")[0],
    "answer_call": lambda told: told.split(", ")[0],
    "find_root": lambda told: told.split(", ")[1],
    "which_diminished": lambda told: told.split(", ")[1],
    "next_inversion": lambda told: told[:-1] if "-" not in told else told.rsplit("-", 1)[0],
    "shell": lambda told: told[:-1] if "-" not in told else told.rsplit("-", 1)[0],
    "name_inversion": lambda told: "inversion",
    "which_degree": lambda told: "yes",
}
FRAME, HEIGHT = neck_frame(Neck()), neck_picture(Neck(), ()).height


def click_grip(watched: Watched, box: Any, grip: str) -> None:
    """The places of a grip, clicked on the neck of a box."""
    svg = box.locator(".neck-board svg")
    svg.scroll_into_view_if_needed()
    signs = grip.split("-") if "-" in grip else list(grip)
    for place, sign in enumerate(signs):
        if sign != "x":
            x, y = point_of(svg, FRAME.x(int(sign)), HEIGHT - FRAME.y(len(signs) - place))
            watched.page.mouse.click(x, y)
            settled(watched)


def choose(box: Any, parts: list[str]) -> None:
    """One option in each menu, the last menu first."""
    for number, part in reversed(list(enumerate(parts))):
        menu = box.locator("select, fieldset").nth(number)
        if menu.evaluate("element => element.tagName") == "SELECT":
            menu.select_option(part)
        else:
            menu.locator(f'input[value="{part}"]').click()


def check(box: Any, start: str) -> str:
    box.get_by_role("button", name="check", exact=True).click()
    reply = box.locator(".answer-reply").filter(has_text=start)
    reply.wait_for(timeout=10_000)
    return str(reply.inner_text())


def mistaken(kind: str) -> str:
    return {"name_inversion": "7th", "find_gaps": "1.1", "which_degree": "b5"}.get(kind, "C")


def right(watched: Watched, box: Any, kind: str) -> None:
    """The solution by mouse where that can be: chosen from menus, or clicked on the neck."""
    task = random_exercise(kind, 1)
    told = as_text(task.solution())
    field = box.locator(".answer-field")
    if task.menus:
        choose(box, told.split(", "))
    elif task.grips == "one":
        field.fill("")
        settled(watched)
        click_grip(watched, box, told)
    elif task.grips == "last":
        before, _, grip = told.rpartition(", ")
        field.fill(before + ", ")
        settled(watched)
        click_grip(watched, box, grip)
    else:
        field.fill(told)
    settled(watched)


@pytest.mark.browser
def test_every_kind_is_answered_wrong_half_right_and_right_by_mouse(notebook: Callable[..., Watched]) -> None:
    watched = notebook("kinds", [*CELLS, *TWINS])
    page = watched.page
    cells = page.locator(".jp-CodeCell")
    cells.nth(len(CELLS) - 1).locator(".answer-box .answer-field").wait_for(timeout=30_000)
    for number, kind in enumerate(KINDS, start=1):
        box = cells.nth(number).locator(".answer-box")
        box.scroll_into_view_if_needed()
        field = box.locator(".answer-field")
        field.fill(mistaken(kind))
        settled(watched)
        check(box, "Not yet")
        told = as_text(random_exercise(kind, 1).solution())
        half = HALF[kind](told)
        if half != told:
            field.fill(half)
            settled(watched)
            check(box, "Not yet")
        right(watched, box, kind)
        check(box, "Right")
        assert "Checked again (2 times now)" in check(box, "Checked again")
        assert "exercise" in box.locator(".answer-soft").last.inner_text(), "counted"

    # another one has its own question, and starts anew
    first = cells.nth(1).locator(".answer-box")
    asked = first.locator(".answer-question").inner_text()
    first.get_by_role("button", name="another one").click()
    first.locator(".answer-reply").filter(has_text="another one").wait_for(timeout=10_000)
    assert first.locator(".answer-question").inner_text() != asked
    assert first.locator(".answer-field").input_value() == ""

    # boxes leave each other alone: no id twice, a choice in one changes none in another
    ids = page.evaluate("[...document.querySelectorAll('.answer-form [id]')].map((element) => element.id)")
    assert len(ids) == len(set(ids)) > 2 * len(KINDS)
    one, two, three = (cells.nth(len(CELLS) + n).locator(".answer-box") for n in range(3))
    three.scroll_into_view_if_needed()
    for box, value in ((one, "drop 2"), (two, "drop 3"), (three, "common-tone")):
        box.locator(f'input[value="{value}"]').click()
        settled(watched)
    for box, value in ((one, "drop 2"), (two, "drop 3"), (three, "common-tone")):
        assert box.locator("input:checked").get_attribute("value") == value
    one.locator("select").select_option("4")
    settled(watched)
    assert one.locator(".answer-field").input_value() == "4, drop 2"
    two.locator(".answer-row label", has_text="answer").click()
    assert page.evaluate("document.activeElement.id") == two.locator(".answer-field").get_attribute("id")
    assert not complaints(watched)


@pytest.mark.browser
def test_an_answer_on_a_work_sheet_is_saved_with_the_notebook(notebook: Callable[..., Watched]) -> None:
    watched = notebook("handed", ["from harmonylib import *", "hand_in(spell('C7'), 1)"])
    page, box = watched.page, watched.page.locator(".answer-box")
    box.locator(".answer-field").press_sequentially("C E G Bb")
    settled(watched)
    check(box, "Right")
    page.locator(".jp-OutputArea-output").filter(has_text="Saved with this notebook as answer 1: C E G Bb").wait_for()
    saved = page.evaluate(
        "window.jupyterapp.shell.currentWidget.content.model.toJSON().cells[1].outputs.map((output) => output.data)"
    )
    kept = [data[ANSWER] for data in saved if ANSWER in data]
    assert kept == [{"number": 1, "answer": "C E G Bb"}]
    assert not box.get_by_role("button", name="another one").is_visible()
