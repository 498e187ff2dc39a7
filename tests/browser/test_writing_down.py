"""A tune written down in JupyterLab, once by mouse and once by keyboard alone."""

from __future__ import annotations

import json
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest

from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import neck_frame, neck_picture
from tests.browser.conftest import Watched, kernel
from tests.browser.test_panels import complaints, point_of, settled

CELLS = [
    "import json\nfrom harmonylib import *",
    'form = TuneForm("By mouse", key="F", metre="3/4", folder="written", state={}); form',
    'keys = TuneForm("By keyboard", metre="2/4", folder="written", state={}); keys',
]


@pytest.fixture(scope="module")
def course(notebook: Callable[..., Watched]) -> Watched:
    return notebook("writing_down", CELLS)


def written(watched: Watched, name: str) -> Any:
    """What a form holds: pitch, length and chord of each note, and whether it is tied to the last."""
    settled(watched)
    row = "[str(p.pitch or 'rest'), str(p.length), p.chord, *['tied'] * p.tied]"
    code = f"print(json.dumps([{row} for p in {name}.sketch.parts]))"
    return json.loads(kernel(watched.page, code))


def test_by_mouse(course: Watched) -> None:
    box = course.page.locator(".jp-Cell").nth(1)
    frame, picture = neck_frame(Neck()), neck_picture(Neck(), ())

    def click(string: int, fret: int) -> None:
        at = point_of(box.locator(".neck-board svg"), frame.x(fret), picture.height - frame.y(string))
        course.page.mouse.click(*at)
        settled(course)

    box.get_by_label("chord").fill("Fmaj7")
    box.get_by_label("chord").press("Enter")
    click(1, 8)
    assert written(course, "form") == [["C5", "1", "Fmaj7"]]
    click(1, 8)  # the same place once more is the same note again
    box.get_by_label("length").select_option("half")
    assert len(written(course, "form")) == 2
    click(2, 10)
    assert box.get_by_role("alert").inner_text().startswith("a half note does not fit: bar 1 has 1 quarter left;")
    box.get_by_label("length").select_option("quarter")
    box.get_by_role("button", name="rest").click()
    assert written(course, "form") == [["C5", "1", "Fmaj7"], ["C5", "1", ""], ["rest", "1", ""]]
    click(2, 11)
    box.get_by_role("button", name="take back").click()
    assert len(written(course, "form")) == 3
    click(2, 10)
    box.get_by_role("button", name="tie").click()
    assert written(course, "form")[3:] == [["A4", "1", ""], ["A4", "1", "", "tied"]]
    for _ in range(2):
        box.get_by_role("button", name="take back").click()
    box.get_by_role("button", name="save").click()
    settled(course)
    assert "1 bar, full. Saved as by_mouse.abc" in box.get_by_role("status").first.inner_text()
    box.get_by_role("button", name="Play").click()
    box.get_by_role("button", name="Stop").wait_for(timeout=10_000)
    box.get_by_role("button", name="Play").wait_for(timeout=10_000)
    assert not complaints(course)


def test_by_keyboard(course: Watched) -> None:
    box, page = course.page.locator(".jp-Cell").nth(2), course.page
    box.get_by_label("chord").focus()
    page.keyboard.type("Dm7")
    page.keyboard.press("Tab")  # leaves the chord, and comes to the note
    for letter in ("d", "f#"):
        page.keyboard.type(letter)
        page.keyboard.press("Enter")
        settled(course)
    board = box.locator(".neck-board")
    board.focus()
    for key in ("Home", "ArrowRight", "ArrowRight", "ArrowRight", "Enter"):
        page.keyboard.press(key)
    settled(course)
    page.keyboard.press("Enter")
    assert written(course, "keys") == [["D4", "1", "Dm7"], ["F♯4", "1", ""], ["G4", "1", ""], ["G4", "1", ""]]
    box.get_by_label("length").focus()
    page.keyboard.press("End")  # the triplet eighth is the last one
    settled(course)
    box.get_by_label("note").focus()
    for letter in ("-", "a", "c"):
        page.keyboard.type(letter)
        page.keyboard.press("Enter")
        settled(course)
    third = str(Fraction(1, 3))
    assert written(course, "keys")[4:] == [["G4", third, "", "tied"], ["A4", third, ""], ["C5", third, ""]]
    assert box.locator(".tuplet").count() >= 1
    page.keyboard.type("c")
    page.keyboard.press("Enter")
    settled(course)
    assert "the triplet in bar 3 is not full: 2 triplet eighths left" in box.get_by_role("status").first.inner_text()
    for _ in range(4):
        box.get_by_role("button", name="take back").press("Enter")
    box.get_by_role("button", name="save").press("Enter")
    settled(course)
    assert "2 bars, each full. Saved as by_keyboard.abc" in box.get_by_role("status").first.inner_text()
    assert not complaints(course)
