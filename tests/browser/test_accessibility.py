"""The wall for those who do not see it: contents, every step of a chapter, what a panel says."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from tests.browser.accessible import faults
from tests.browser.conftest import Watched
from tests.browser.test_lesson_on_the_wall import live
from tests.browser.test_projector import LISTED, at, every_step, ready

SERIOUS = ("serious", "critical")


def serious(page: Any) -> list[str]:
    return [fault for fault in faults(page) if fault.startswith(SERIOUS)]


def test_the_wall_has_no_serious_fault_for_a_screen_reader(opened: Callable[..., Watched], course: str) -> None:
    assert serious(opened(f"{course}/").page) == []
    page = ready(opened(at(course, LISTED[2].file)))
    found = {}
    for number in every_step(page):
        headings = page.evaluate("[...document.querySelectorAll('h1')].filter(e => e.checkVisibility()).length")
        found[number] = [*([] if headings else ["serious: no first heading"]), *serious(page)]
    assert {number: told for number, told in found.items() if told} == {}
    page.wait_for_selector(".noUi-handle", state="attached", timeout=60_000)
    page.wait_for_function("document.querySelector('.noUi-handle[aria-label]')", timeout=60_000)
    names = page.evaluate("[...document.querySelectorAll('.noUi-handle')].map(e => e.getAttribute('aria-label'))")
    assert names
    assert all(re.fullmatch(r"[a-z]+(, (first|last))?", name or "") for name in names), names
    page.evaluate("document.querySelector('.step.now').append(document.createElement('img'))")
    assert [fault for fault in serious(page) if "image-alt" in fault], "the check sees what is wrong"


@pytest.mark.slow
@pytest.mark.parametrize("look", ["light", "dark"])
def test_no_step_of_any_chapter_has_a_serious_fault(
    look: str, opened: Callable[..., Watched], projected: Callable[..., str]
) -> None:
    address = projected(["--dark"] if look == "dark" else [])
    assert serious(opened(f"{address}/").page) == []
    found = {}
    for chapter in LISTED:
        page = ready(opened(at(address, chapter.file)))
        live(page)
        for number in every_step(page):
            found[chapter.file, number] = serious(page)
        page.context.close()
    assert {place: told for place, told in found.items() if told} == {}
