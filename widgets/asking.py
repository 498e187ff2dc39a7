"""Answer boxes as cells show them: the last line of a cell is an exercise, and the box stands there.

A cell that runs again gets back what was written in its boxes, and the boxes of before are freed.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from harmonylib.exercises.base import Exercise
from harmonylib.exercises.progress import kept_tally
from widgets.answer import AnswerBox
from widgets.cells import VIEW, here

_shown: dict[str, tuple[int, dict[str, tuple[AnswerBox, dict[str, Any]]]]] = {}
"""By cell: the number of the run that showed boxes there, and the boxes with what was written in them, by exercise."""


def asked(task: Exercise, keep: Callable[[str], object] | None = None, answer: str = "") -> dict[str, Any]:
    """The view of a box for an exercise that a cell shows, counted in the learner's own tally.

    `keep` is called with every answer, `answer` is what stands there at first.

    When the cell runs again, what was written stands there again, and its boxes of before are freed.
    """
    cell, run = here()
    before, boxes = _shown.get(cell, (run, {}))
    states = {name: state for name, (_, state) in boxes.items()} if cell else {}
    if before != run or not cell:
        for box, _ in boxes.values() if cell else ():
            box.close()
        boxes = {}
    name = str(task.as_data())
    state = states.get(name, {})
    box = AnswerBox(task, kept_tally(), state=state, keep=keep)
    if answer and not box.form.answer:
        box.form.answer = answer
    _shown[cell] = run, {**boxes, name: (box, state)}
    return {VIEW: box._repr_mimebundle_()[VIEW]}
