"""A work sheet as a notebook for the learner: a question, a place for its answer and a check, one after another.

Conventions
- Questions are numbered from 1, as on the sheet and in the key.
- A tune goes along as text, so that the notebook works in any folder.
- Every text is escaped for Markdown. Same sheet, same bytes.

Sources: the notebook format 4.5 (nbformat), CommonMark for what is escaped.
"""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Mapping
from typing import Any

from harmonylib.classroom.paper import as_png, on_paper
from harmonylib.classroom.sheets import Sheet
from harmonylib.exercises.base import Exercise
from harmonylib.wording import plain

METADATA = "harmonylib"
"""The name under which a notebook carries its sheet as data."""

_ACTIVE = re.compile(r"[!#$%&*+/:<=>@\[\\\]^_`{|}~]|\.(?=[A-Za-z])")

LONGEST_SHOWN = 3000

HOW = (
    "Run all cells (menu Run). Then answer in the boxes: click the neck, choose, or type, and check. What you write is "
    "saved with this notebook. Save it, and hand the file in under your name. In code you can answer too: "
    "`answer_01 = 'C E G'` in a cell of your own answers question 1, and `task_01.check(answer_01)` checks it."
)


def learner(made: Sheet) -> str:
    """The sheet as a notebook (JSON text): for every exercise its question and a box to answer in.

    It needs this library and no network. Its metadata carry the sheet as data.

    >>> from harmonylib.classroom.sheets import sheet
    >>> cells = json.loads(learner(sheet("Monday", [{"kind": "spell", "chord": "C7"}])))["cells"]
    >>> ["".join(cell["source"]) for cell in cells[-1:]]
    ['hand_in(task_01, 1)']
    """
    lines = ["from harmonylib import exercise, hand_in", ""]
    lines += [f"{_named('task', n)} = {_call(task)}" for n, task in made.numbered]
    start = "\n".join(lines)
    folded = {"jupyter": {"source_hidden": True}} if len(start) > LONGEST_SHOWN else {}
    head = f"# {escaped(made.title)}\n\n{HOW}\n\n{made.origin[0].upper()}{made.origin[1:]}."
    cells = [_cell("title", "markdown", head), _cell("tasks", "code", start, folded)]
    with on_paper():
        for number, task in made.numbered:
            cells.append(_asked(number, task))
            asked = f"hand_in({_named('task', number)}, {number})"
            cells.append(_cell(f"answer-{number}", "code", asked, {"tags": ["answer"]}))
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    metadata = {"kernelspec": kernel, "language_info": {"name": "python"}, METADATA: made.as_data()}
    notebook = {"cells": cells, "metadata": metadata, "nbformat": 4, "nbformat_minor": 5}
    return json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def _asked(number: int, task: Exercise) -> dict[str, Any]:
    """The Markdown cell of a question, with its picture inside."""
    text = f"**{number}.** {escaped(task.question)}\n\n*How to answer:* {escaped(task.form)}."
    picture = as_png(task)
    if not picture:
        return _cell(f"question-{number}", "markdown", text)
    name = f"question_{number:02}.png"
    cell = _cell(f"question-{number}", "markdown", f"{text}\n\n![The picture of question {number}](attachment:{name})")
    return {**cell, "attachments": {name: {"image/png": base64.b64encode(picture).decode()}}}


def _cell(name: str, kind: str, source: str, metadata: Mapping[str, Any] | None = None) -> dict[str, Any]:
    run: dict[str, Any] = {"execution_count": None, "outputs": []} if kind == "code" else {}
    lines = source.splitlines(keepends=True)
    return {"id": name, "cell_type": kind, "metadata": dict(metadata or {}), "source": lines, **run}


def _named(what: str, number: int) -> str:
    return f"{what}_{number:02}"


def _call(task: Exercise) -> str:
    """The line of Python that makes an exercise; material is written as literals, so nothing in it can run."""
    kind, *material = task.as_data().items()
    return f"exercise({', '.join([repr(kind[1]), *(f'{name}={value!r}' for name, value in material)])})"


def escaped(text: str) -> str:
    """One line of Markdown that shows just this text: no link, picture, formula or HTML comes of it.

    >>> escaped("<b>[a](b:c)</b> 2.1 www.x")
    '&#60;b&#62;&#91;a&#93;(b&#58;c)&#60;&#47;b&#62; 2.1 www&#46;x'
    """
    return _ACTIVE.sub(lambda found: f"&#{ord(found[0])};", plain(text))
