"""A chapter that runs in its kernel cell by cell, as its page on the wall asks; its code stays here.

The page may ask for a cell by its number in the notebook, for the bar, and for other settings of the lesson, which go
before what the edit cell says; cells that are run again show it. Nothing else can be asked.

Conventions
- The page speaks through a comm of the target `TARGET`: a message holds ``cell``, a number, or ``settings``, a text.
- What a cell shows goes to the page as for any cell that is run. What it made when it ran before is freed.

Source: the messages of Jupyter 5.3, “custom messages”.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from harmonylib.classroom.projector.bar import bar
from harmonylib.classroom.projector.steps import joined
from harmonylib.lessons.lesson import SETTINGS_VARIABLE, Lesson

TARGET = "harmonylib.wall"
ADDRESS = "SCRIPT_NAME"  # the variable in which Voila tells a kernel its page
LONGEST = 20_000  # letters of settings; a lead sheet as text is far shorter


class Running:
    """A notebook in a kernel: `shell` runs its code, `made` says by cell which widgets it made last."""

    def __init__(self, file: Path, shell: Any) -> None:
        cells = json.loads(file.read_text(encoding="utf-8"))["cells"]
        code = [(number, cell) for number, cell in enumerate(cells) if cell["cell_type"] == "code"]
        self.sources = {number: joined(cell["source"]) for number, cell in code}
        self.shell = shell
        self.made: dict[int, list[Any]] = {}

    def cell(self, number: int) -> None:
        """Run a cell; it shows what it shows."""
        from ipywidgets import Widget

        new: list[Any] = []
        Widget.on_widget_constructed(new.append)
        try:
            self.shell.run_cell(self.sources[number], store_history=False)
        finally:
            Widget.on_widget_constructed(None)
        for widget in reversed(self.made.pop(number, [])):  # the outer ones first
            widget.close()
        self.made[number] = new

    def settings(self, text: str) -> None:
        """Lay settings, as JSON, over those of the edit cell; empty text takes them away."""
        os.environ[SETTINGS_VARIABLE] = text[:LONGEST].replace("\0", " ").encode("utf-8", "replace").decode("utf-8")

    def bar(self) -> dict[str, Any]:
        """What the bar of the wall offers for the lesson that runs; empty where the chapter has none."""
        lessons = [value for value in list(self.shell.user_ns.values()) if isinstance(value, Lesson)]
        return bar(lessons[-1]) if lessons else {}

    def answer(self, comm: Any, asked: Any) -> None:
        """Do what a message asks, as far as it is a thing to be asked."""
        if not isinstance(asked, dict):
            return
        if asked.get("cell") in self.sources:
            self.cell(asked["cell"])
        elif isinstance(asked.get("settings"), str):
            self.settings(asked["settings"])
        elif "bar" in asked:
            comm.send({"bar": self.bar()})


def begin() -> None:
    """Wait for the page of the chapter that this kernel was started for."""
    from IPython import get_ipython

    shell = get_ipython()
    file = Path(unquote(os.environ.get(ADDRESS, "")).rsplit("/", 1)[-1])
    if shell is None or file.suffix != ".ipynb" or not file.is_file():
        return
    running = Running(file, shell)

    def opened(comm: Any, message: object) -> None:
        comm.on_msg(lambda said: running.answer(comm, said["content"]["data"]))

    shell.kernel.comm_manager.register_target(TARGET, opened)
    with suppress(Exception):  # a chapter that needs what is not there says so itself
        exec("from harmonylib import *", {})  # every chapter begins with it: done before the page is there
