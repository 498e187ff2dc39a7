"""Every kind of exercise in a real JupyterLab, as the last line of a cell: wrong, half right, right, by every means.

One page holds them all, so that boxes which get in each other's way are seen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from harmonylib.classroom.handing import ANSWER
from harmonylib.exercises.catalogue import KINDS, random_exercise
from harmonylib.exercises.written import as_text
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import neck_frame, neck_picture
from tests.browser.conftest import TOKEN, Watched
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


def boxes(page: Any) -> Iterator[tuple[str, Any]]:
    """The box of every kind on the page, scrolled into sight; all are there when the last one is."""
    cells = page.locator(".jp-CodeCell")
    cells.nth(len(CELLS) - 1).locator(".answer-box .answer-field").wait_for(timeout=30_000)
    for number, kind in enumerate(KINDS, start=1):
        box = cells.nth(number).locator(".answer-box")
        box.scroll_into_view_if_needed()
        yield kind, box


@pytest.mark.slow
def test_every_kind_is_answered_wrong_half_right_and_right_by_mouse(notebook: Callable[..., Watched]) -> None:
    watched = notebook("kinds", [*CELLS, *TWINS])
    page = watched.page
    cells = page.locator(".jp-CodeCell")
    for kind, box in boxes(page):
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


def answers_of(kind: str) -> list[tuple[str, str]]:
    """What is answered, and how the reply to it begins: wrong, half right where that can be, right."""
    told = as_text(random_exercise(kind, 1).solution())
    half = HALF[kind](told)
    return [(mistaken(kind), "Not yet"), *([(half, "Not yet")] if half != told else []), (told, "Right")]


def replied(box: Any, start: str) -> None:
    box.locator(".answer-reply").filter(has_text=start).wait_for(timeout=10_000)


def walk(watched: Watched, grip: str) -> None:
    """The places of a grip on the neck in focus, by arrows and Enter, from the nut of string 1."""
    signs = grip.split("-") if "-" in grip else list(grip)
    press = watched.page.keyboard.press
    press("Home")
    for _ in signs:
        press("ArrowUp")
    for sign in reversed(signs):
        if sign != "x":
            for _ in range(int(sign)):
                press("ArrowRight")
            press("Enter")
            settled(watched)
            press("Home")
        press("ArrowDown")


def type_menus(watched: Watched, box: Any, parts: list[str]) -> None:
    """One option in each menu by arrow keys, from one menu to the next by Tab."""
    press = watched.page.keyboard.press
    box.locator("select, fieldset input").first.focus()
    for number, part in enumerate(parts):
        menu = box.locator("select, fieldset").nth(number)
        listed = menu.evaluate("element => element.tagName") == "SELECT"
        chosen = "element => element.value" if listed else "element => element.querySelector(':checked')?.value ?? ''"
        if not listed:
            press("Space")
        for _ in range(30):
            if menu.evaluate(chosen) == part:
                break
            press("ArrowDown")
            settled(watched)
        press("Tab")
    settled(watched)


def test_every_kind_is_answered_by_key_alone(notebook: Callable[..., Watched]) -> None:
    watched = notebook("keys", CELLS)
    page = watched.page
    for kind, box in boxes(page):
        task = random_exercise(kind, 1)
        field = box.locator(".answer-field")
        field.focus()
        for text, start in answers_of(kind):
            page.keyboard.press("Control+A")
            if start == "Right" and task.menus:
                type_menus(watched, box, text.split(", "))
                assert page.evaluate("document.activeElement.id") == field.get_attribute("id"), "the field comes next"
            elif start == "Right" and task.grips == "one":
                page.keyboard.press("Delete")
                settled(watched)
                box.locator(".neck-board").focus()
                walk(watched, text)
                assert field.input_value() == text
                field.focus()
            else:
                page.keyboard.type(text)
            settled(watched)
            page.keyboard.press("Enter")
            replied(box, start)
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "check"
    assert not complaints(watched)


@pytest.mark.slow
def test_every_kind_is_answered_by_touch(notebook: Callable[..., Watched]) -> None:
    """On a small screen: what is tapped is large enough and is not cut off."""
    watched = notebook("touch", CELLS, (820, 1180), touch=True)
    page = watched.page
    for kind, box in boxes(page):
        task, field = random_exercise(kind, 1), box.locator(".answer-field")
        for text, start in answers_of(kind):
            field.tap()
            if start == "Right" and task.menus:
                for place, part in enumerate(text.split(", ")):
                    menu = box.locator("select, fieldset").nth(place)
                    if menu.evaluate("element => element.tagName") == "SELECT":
                        menu.select_option(part)  # the list of choices is the system's own
                    else:
                        menu.locator("label").filter(has=page.locator(f'input[value="{part}"]')).tap()
            elif start == "Right" and task.grips == "one":
                field.fill("")
                settled(watched)
                svg = box.locator(".neck-board svg")
                signs = text.split("-") if "-" in text else list(text)
                for string, sign in zip(range(len(signs), 0, -1), signs, strict=True):
                    if sign != "x":
                        page.touchscreen.tap(*point_of(svg, FRAME.x(int(sign)), HEIGHT - FRAME.y(string)))
                        settled(watched)
                assert field.input_value() == text
            else:
                field.fill(text)
            settled(watched)
            box.get_by_role("button", name="check", exact=True).tap()
            replied(box, start)
        seen = box.locator("button:visible, select:visible, .answer-field").all()
        sizes = [element.bounding_box() for element in seen]
        assert min(size["height"] for size in sizes) >= 24
        assert max(size["x"] + size["width"] for size in sizes) <= 820
    assert not complaints(watched)


def test_without_its_kernel_a_saved_answer_box_is_its_question(
    notebook: Callable[..., Watched], lab: str, opened: Callable[..., Watched]
) -> None:
    """Saved after it ran, closed, and opened again with no kernel behind it."""
    watched = notebook("closed", ["from harmonylib import *", "spell('Ebm7')", "next_inversion('Gm7', 'x5536x')"])
    page = watched.page
    page.locator(".answer-field").nth(1).wait_for(timeout=30_000)
    page.evaluate(
        """async () => { const book = window.jupyterapp.shell.currentWidget;
        await book.context.save();
        await book.sessionContext.shutdown(); }"""
    )
    page.close()
    again = opened(f"{lab}/lab/workspaces/closed-again/tree/closed.ipynb?token={TOKEN}")
    shown = again.page.locator(".jp-CodeCell").nth(1).locator(".jp-OutputArea")
    shown.get_by_text("Open the course to answer.").wait_for(timeout=30_000)
    assert "Spell E♭m7 from the root up: 4 notes." in shown.inner_text()
    assert "Error" not in again.page.locator(".jp-Notebook").inner_text()
