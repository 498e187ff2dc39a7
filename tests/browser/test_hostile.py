"""Hostile texts in a real browser: whatever a notebook shows of them, nothing in it runs and nothing is fetched."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.browser.conftest import Watched
from tests.hostile import TEXTS, shown

POKE = """() => {
    for (const element of document.querySelectorAll("*")) {
        for (const kind of ["mouseover", "mouseenter", "focus", "error", "load"])
            element.dispatchEvent(new Event(kind));
        if (element.tagName !== "AUDIO") element.dispatchEvent(new MouseEvent("click", { bubbles: true }));
    }
    const told = () => [window.pwned ?? "nothing", document.title, location.href];
    return new Promise((done) => setTimeout(() => done(told()), 300));
}"""


@pytest.fixture
def loaded(opened: Callable[..., Watched], tmp_path: Path) -> Callable[[list[str]], tuple[list[Any], Watched]]:
    """A function that loads parts as one page, pokes at all that is in it, and tells what came of that."""

    def load(parts: list[str]) -> tuple[list[Any], Watched]:
        page = tmp_path / "page.html"
        body = "\n".join(f"<div>{part}</div>" for part in parts)
        page.write_text(f"<!doctype html><meta charset=utf-8><title>page</title>{body}", encoding="utf-8")
        watched = opened("about:blank")
        watched.page.on("dialog", lambda dialog: watched.errors.append(f"dialog: {dialog.message}"))
        watched.page.goto(page.as_uri())
        return watched.page.evaluate(POKE), watched

    return load


def test_nothing_runs_and_nothing_is_fetched(loaded: Callable[..., Any], tmp_path: Path) -> None:
    hostile = [text for text in TEXTS.values() if "pwned" in text or ("a.test" in text and "<" in text)]
    found, watched = loaded([html for text in hostile for html in shown(text).values()])
    here = (tmp_path / "page.html").as_uri()
    assert found == ["nothing", "page", here]
    assert watched.outside == []
    assert [url for url in watched.requests if url.startswith("file:")] == [here]
    assert watched.errors == []


@pytest.mark.parametrize("name", ["script", "image", "end of svg", "end of data"])
def test_the_same_texts_run_when_they_are_not_escaped(name: str, loaded: Callable[..., Any]) -> None:
    """Else the test above could not fail."""
    found, _ = loaded([TEXTS[name]])
    assert found[0] == 1
