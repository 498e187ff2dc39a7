"""Handing in: the answer box of a work sheet, whose answer is saved with the notebook as data that `mark` reads.

Conventions
- What is saved is an output of the cell: the number of the question and the text of the answer, and nothing that runs.
- When a notebook is opened again, the box starts with the answer that is saved in its file.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from importlib import import_module
from pathlib import Path
from typing import Any

from harmonylib.errors import whole
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.written import MOST_LETTERS

ANSWER = "application/vnd.harmonylib.answer+json"
"""The type of the output that holds an answer."""

MOST_BYTES = 5_000_000


class HandIn:
    """Question `number` of a work sheet; shown in a notebook it is the box whose answer is saved with it.

    >>> from harmonylib import spell
    >>> hand_in(spell("C7"), 1)
    Spell C7 from the root up: 4 notes.
    """

    def __init__(self, task: Exercise, number: int) -> None:
        self.task, self.number = task, whole(number, "the number of a question")

    def _ipython_display_(self) -> None:
        notebook: Any = import_module("IPython.display")
        handle = notebook.DisplayHandle()
        kept = [saved_before(self.number)]
        shown = self.task._repr_mimebundle_(keep=lambda text: self._keep(handle, kept, text), answer=kept[0])
        notebook.display(shown, raw=True)
        handle.display(record(self.number, kept[0]), raw=True)

    def _keep(self, handle: Any, kept: list[str], text: str) -> None:
        if text != kept[0]:
            kept[0] = text
            handle.update(record(self.number, text), raw=True)

    def __repr__(self) -> str:
        return repr(self.task)


def hand_in(task: Exercise, number: int) -> HandIn:
    """The answer box of question `number`, whose answer is saved with the notebook and read by `mark`."""
    return HandIn(task, number)


def record(number: int, text: str) -> dict[str, Any]:
    """The output that holds an answer.

    >>> record(1, "C E G Bb")["text/plain"]
    'Saved with this notebook as answer 1: C E G Bb'
    """
    said = f"Saved with this notebook as answer {number}: {text or 'nothing yet'}"
    return {ANSWER: {"number": number, "answer": text}, "text/plain": said}


def recorded(notebook: Mapping[str, Any]) -> Iterator[tuple[int, str]]:
    """The answers that boxes have saved in a notebook, by number; whatever else stands there is left alone."""
    cells = notebook.get("cells")
    for cell in cells if isinstance(cells, list) else ():
        outputs = cell.get("outputs") if isinstance(cell, dict) else None
        for output in outputs if isinstance(outputs, list) else ():
            data = output.get("data") if isinstance(output, dict) else None
            found = data.get(ANSWER) if isinstance(data, dict) else None
            number, text = (found.get(n) for n in ("number", "answer")) if isinstance(found, dict) else (None, None)
            if type(number) is int and 1 <= number < 10_000 and type(text) is str and len(text) <= MOST_LETTERS:
                yield number, text


def saved_before(number: int) -> str:
    """The answer that the file of the running notebook holds; empty where there is none."""
    file = Path(os.environ.get("JPY_SESSION_NAME", ""))  # as the server of notebooks names it to the kernel
    if file.suffix != ".ipynb":
        return ""
    try:
        with file.open("rb") as stream:
            notebook = json.loads(stream.read(MOST_BYTES))
    except (OSError, ValueError, RecursionError):
        return ""
    return dict(recorded(notebook)).get(number, "") if isinstance(notebook, dict) else ""
