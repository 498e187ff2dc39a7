"""A new kind of exercise is one class: once named it is drawn, asked, counted, printed and marked like all others."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pypdf
import pytest

from harmonylib.classroom.marking import mark
from harmonylib.classroom.sheets import sheet
from harmonylib.classroom.worksheets import write_worksheet
from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import REGISTRY, Exercise, Menu
from harmonylib.exercises.catalogue import exercise, exercise_set, from_data, random_exercise
from harmonylib.exercises.comparing import Verdict
from harmonylib.exercises.tally import Tally
from harmonylib.exercises.written import Written
from widgets import AnswerBox

STRINGS = "EADGBE"


@pytest.fixture
def kind() -> Iterator[str]:
    @dataclass(frozen=True, repr=False)
    class OpenString(Exercise):
        kind = "open_string"
        about = "name an open string"
        writing = "write a letter"
        number: int = 6

        @property
        def question(self) -> str:
            return f"What is the name of open string {self.number}?"

        @property
        def hints(self) -> tuple[str, ...]:
            return ("from the lowest up they are five fourths, but for one third",)

        @property
        def truth(self) -> str:
            return f"string {self.number} is {self.solution()}"

        @property
        def menus(self) -> tuple[Menu, ...]:
            return (("letter", [(letter, letter) for letter in sorted(set(STRINGS))]),)

        @property
        def lines(self) -> tuple[str, ...]:
            return ("its letter",)

        def solution(self) -> str:
            return STRINGS[-self.number]

        def judge(self, answer: Written) -> Verdict:
            return ([] if answer == self.solution() else [f"string {self.number} is another"]), []

        @classmethod
        def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
            return {"number": draws.randrange(1, 7)}

    yield OpenString.kind
    del REGISTRY[OpenString.kind]


def test_one_class_is_all_it_takes(kind: str, tmp_path: Any) -> None:
    task = exercise(kind, number=5)
    assert from_data(task.as_data()) == task
    assert random_exercise(kind, 3).check(random_exercise(kind, 3).solution())
    assert len({item.question for item in exercise_set([kind], 6)}) == 6

    tally = Tally()
    box = AnswerBox(task, tally)
    assert box.form.choices[0][0] == "letter"
    box.form.set_state({"answer": "A", "checks": 1})
    assert box.form.reply == "Right: string 5 is A."
    box.close()
    assert tally.of(task) == (True, 1)

    made = sheet("Strings", [task, {"kind": kind, "count": 2}])
    printed, key, notebook = write_worksheet(made, tmp_path, "strings")
    assert "its letter" in pypdf.PdfReader(printed).pages[0].extract_text()
    assert "String 5 is A." in pypdf.PdfReader(key).pages[0].extract_text()
    book = json.loads(notebook.read_text())
    book["cells"].append({"cell_type": "code", "source": "answer_01 = 'A'"})
    back = tmp_path / "back"
    back.mkdir()
    (back / "anna.ipynb").write_text(json.dumps(book))
    assert [row.state for row in mark(back, made).rows] == ["right", "not started", "not started"]


def test_a_class_without_a_name_is_no_kind() -> None:
    class Shared(Exercise):
        pass

    assert Shared not in REGISTRY.values()
    with pytest.raises(HarmonyError, match="is not a kind of exercise: choose spell, drop, "):
        exercise("open_string")
