"""The answer box in a real JupyterLab: typed, clicked and worked by key alone."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import neck_frame, neck_picture
from tests.browser.conftest import Watched, kernel, write_notebook
from tests.browser.test_panels import complaints, point_of, settled
from tests.browser.test_projector import at, place, ready

CELLS = [
    "from harmonylib import Tally, find_root, next_inversion, spell\nfrom widgets import AnswerBox\ntally = Tally()",
    "typed = AnswerBox(spell('Ebm7'), tally); typed",
    "clicked = AnswerBox(next_inversion('Gm7', 'x5536x'), tally); clicked",
    "keyed = AnswerBox(find_root('C6', 'x-10-10-9-10-x'), tally); keyed",
]


def test_typed_clicked_and_by_key_alone(notebook: Callable[..., Watched]) -> None:
    watched = notebook("answers", CELLS)
    page = watched.page
    typed, clicked, keyed = (page.locator(".jp-Cell").nth(n).locator(".answer-box") for n in (1, 2, 3))

    def said(box: object, start: str) -> None:
        reply = box.locator(".answer-said[aria-live=polite] .answer-reply")
        reply.filter(has_text=start).wait_for(timeout=5000)
        reply.scroll_into_view_if_needed()
        assert reply.is_visible()

    # typed: Enter checks; the solution can be had only after an attempt; hints come one by one
    field = typed.locator(".answer-field")
    field.wait_for(timeout=20_000)
    solution = typed.get_by_role("button", name="show a solution")
    assert not solution.is_visible()
    field.press_sequentially("Eb G Bb Db")
    field.press("Enter")
    said(typed, "Not yet: the minor third")
    for number in (1, 2):
        typed.get_by_role("button", name=f"hint {number} of 2").click()
        typed.locator(".answer-hints li").nth(number - 1).wait_for(timeout=5000)
    field.fill("Eb Gb Bb Db")
    typed.get_by_role("button", name="check").click()
    said(typed, "Right: E♭m7 is E♭ G♭ B♭ D♭.")
    assert solution.is_visible()

    # clicked: four places make the grip in the field, a second click takes one away; a typed grip lies on the neck
    frame, height = neck_frame(Neck()), neck_picture(Neck(), ()).height
    svg = clicked.locator(".neck-board svg")
    for string, fret in ((5, 8), (4, 8), (3, 7), (2, 8), (1, 8), (1, 8)):
        page.mouse.click(*point_of(svg, frame.x(fret), height - frame.y(string)))
        settled(watched)
    assert clicked.locator(".answer-field").input_value() == "x8878x"
    clicked.get_by_role("button", name="check").click()
    said(clicked, "Right:")
    clicked.locator(".answer-field").fill("x3545x")
    settled(watched)
    assert clicked.locator(".neck-title").inner_text() == "x3545x"
    assert kernel(page, "print(clicked.answer)") == "((5, 3), (4, 5), (3, 4), (2, 5))"

    # by key alone: menu, radio, Enter, hint, solution
    keyed.locator("select").focus()
    page.keyboard.press("4")
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    settled(watched)
    assert keyed.locator(".answer-field").input_value() == "4, drop 2"
    page.keyboard.press("Enter")
    said(keyed, "Right:")
    for _ in range(3):
        page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "hint 1 of 3"
    page.keyboard.press("Enter")
    keyed.locator(".answer-hints li").wait_for(timeout=5000)
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    keyed.locator(".answer-told").filter(has_text="One solution: 4, drop 2").wait_for(timeout=5000)
    assert kernel(page, "print(tally)") == "right 3 of 3 exercises tried, 4 answers"
    assert "right 3 of 3" in typed.inner_text(), "one tally, one line in every box"

    # the neck is reached and played by key as well
    clicked.locator(".answer-field").fill("")
    settled(watched)
    clicked.locator(".neck-board").focus()
    page.keyboard.press("Home")
    page.keyboard.press("Enter")
    settled(watched)
    assert clicked.locator(".answer-field").input_value() == "xxxxx0"
    assert not complaints(watched)


def test_on_the_wall_by_mouse_and_by_key(
    projected: Callable[..., str],  # noqa: F811
    opened: Callable[..., Watched],
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """What is clicked and typed goes to the box, and turns no step; the reply stands on the same step."""
    folder = tmp_path_factory.mktemp("asked")
    cells = ["from harmonylib import *", "next_inversion('Gm7', 'x5536x')", "find_root('C6', 'x-10-10-9-10-x')"]
    write_notebook(folder / "01_asked.ipynb", cells)
    watched = opened(at(projected([], folder), "01_asked.ipynb"))
    page = ready(watched)

    def asked(kind: str) -> object:
        """The box of a step, found by leafing on from the first."""
        for number in range(1, page.locator(".step").count() + 1):
            page.evaluate(f"location.hash = '#step-{number}'")
            page.wait_for_function(f"document.querySelector('.position').textContent.startsWith('Step {number} of')")
            if page.locator(f".step.now .answer-box {kind}").count():
                return page.locator(".step.now .answer-box").first
        raise AssertionError(f"no step shows {kind}")

    clicked = asked(".neck-board")
    step = place(page)
    clicked.get_by_role("button", name="the neck").click()  # it takes turns with the picture
    look = "projector light"
    frame, height = neck_frame(Neck(), theme=look), neck_picture(Neck(), (), theme=look).height
    for string, fret in ((5, 8), (4, 8), (3, 7), (2, 8)):
        page.mouse.click(*point_of(clicked.locator(".neck-board svg"), frame.x(fret), height - frame.y(string)))
        page.wait_for_function(
            "fret => document.querySelector('.step.now .answer-field').value.includes(fret)", arg=f"{fret}"
        )
    page.wait_for_function("document.querySelector('.step.now .answer-field').value === 'x8878x'", timeout=10_000)
    clicked.get_by_role("button", name="check", exact=True).click()
    clicked.locator(".answer-reply").filter(has_text="Right:").wait_for(timeout=10_000)
    assert place(page) == step

    keyed = asked("select")
    step = place(page)
    keyed.locator("select").focus()
    page.keyboard.press("4")
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    page.wait_for_function("document.querySelector('.step.now .answer-field').value === '4, drop 2'", timeout=10_000)
    page.keyboard.press("Enter")
    keyed.locator(".answer-reply").filter(has_text="Right:").wait_for(timeout=10_000)
    assert place(page) == step, "neither the arrows nor Enter turned the page"
    assert watched.errors == []
    assert watched.outside == []
