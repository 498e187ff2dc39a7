"""The wall's side of the kernel without a browser: cells by number, what they made freed, settings as data, the bar."""

import json
import os
from pathlib import Path
from typing import Any

import ipywidgets
import pytest

from harmonylib.classroom.projector.bar import bar
from harmonylib.classroom.projector.running import LONGEST, Running
from harmonylib.lessons.lesson import SETTINGS_VARIABLE, lesson


class Shell:
    """Runs a cell as IPython does, as far as it matters here."""

    def __init__(self) -> None:
        self.user_ns: dict[str, Any] = {}

    def run_cell(self, source: str, store_history: bool) -> None:
        assert not store_history
        exec(source, self.user_ns)


class Comm:
    """Keeps what was sent to the page."""

    def __init__(self) -> None:
        self.sent: list[Any] = []

    def send(self, data: Any) -> None:
        self.sent.append(data)


@pytest.fixture
def running(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Running:
    monkeypatch.setenv(SETTINGS_VARIABLE, "")
    sources = [
        "# One",
        "import ipywidgets\nfrom harmonylib import lesson",
        "today = lesson(5)",
        "made = ipywidgets.VBox()",
    ]
    kinds = ["markdown", "code", "code", "code"]
    cells = [{"cell_type": kind, "source": source} for kind, source in zip(kinds, sources, strict=True)]
    (tmp_path / "one.ipynb").write_text(json.dumps({"cells": cells}), encoding="utf-8")
    return Running(tmp_path / "one.ipynb", Shell())


def ask(running: Running, *asked: Any) -> list[Any]:
    comm = Comm()
    for one in asked:
        running.answer(comm, one)
    return comm.sent


def test_a_page_can_ask_for_cells_settings_and_the_bar(running: Running) -> None:
    (said,) = ask(running, {"cell": 1}, {"settings": '{"tempo": 60, "bars": [2, 3]}'}, {"cell": 2}, {"bar": True})
    today = running.shell.user_ns["today"]
    assert (today.tempo, today.bars) == (60, (2, 3))
    assert json.loads(json.dumps(said))["bar"]["wrong"] == []
    assert {field["name"]: field["now"] for field in said["bar"]["fields"]}["bars"] == (2, 3)
    ask(running, {"settings": ""}, {"cell": 2})
    assert running.shell.user_ns["today"].tempo == 96


@pytest.mark.parametrize(
    "asked", [None, "import os", 1, [], {}, {"cell": 0}, {"cell": "1"}, {"cell": 99}, {"cell": None}, {"settings": 3}]
)
def test_and_for_nothing_else(asked: Any, running: Running) -> None:
    assert ask(running, asked) == []
    assert running.shell.user_ns == {}
    assert os.environ[SETTINGS_VARIABLE] == ""


def test_without_a_lesson_the_bar_is_empty(running: Running) -> None:
    assert ask(running, {"bar": True}) == [{"bar": {}}]


def test_what_a_cell_made_is_freed_when_it_runs_again(running: Running) -> None:
    ask(running, {"cell": 1}, {"cell": 3})
    first = running.shell.user_ns["made"]
    kept = ipywidgets.HTML("not made in a cell")
    ask(running, {"cell": 3})
    second = running.shell.user_ns["made"]
    assert (first.comm, second.comm is None, kept.comm is None) == (None, False, False)
    for widget in (second, second.layout, kept, kept.layout, kept.style):
        widget.close()


UNUSED = ['{"kinds": [[]]}', '{"chord": "__import__(\'os\')"}', "\0"]
"""What this chapter makes no use of, and nothing at all."""


@pytest.mark.parametrize(
    "text",
    [
        *UNUSED, "{", "null", "[1]", '"x"', "NaN", "\ud800", "[" * 60_000, '{"tempo": 1e999}', '{"tempo": NaN}',
        '{"bars": {}}', '{"tune": "../../../etc/passwd"}', '{"tune": "<script>alert(1)</script>"}',
        '{"reach_mm": -1, "density": ["every"], "key": "H"}', '{"__class__": "os"}', '{"": 0}',
    ],
)  # fmt: skip
def test_hostile_settings_are_a_sentence(text: str, running: Running) -> None:
    (said,) = ask(running, {"cell": 1}, {"settings": text}, {"cell": 2}, {"bar": True})
    assert bool(said["bar"]["wrong"]) == (text not in UNUSED)
    assert all(wrong.endswith(".") for wrong in said["bar"]["wrong"])
    assert len(os.environ[SETTINGS_VARIABLE]) <= LONGEST
    today = running.shell.user_ns["today"]
    assert (today.bars, today.tempo) == ((1, 4), 96)


def test_the_bar_offers_the_tunes_of_the_folder_and_what_the_lesson_has(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "tunes").mkdir()
    (tmp_path / "tunes" / "my_song.abc").write_text("X:1")
    (tmp_path / "tunes" / "notes.txt").write_text("no tune")
    monkeypatch.chdir(tmp_path)
    fields = {field["name"]: field for field in bar(lesson(5, key="Ab"))["fields"]}
    assert [words for _, words in fields["tune"]["choices"]] == ["Lantern on the Landing", "my song"]
    assert fields["tune"]["choices"][0][0] == fields["tune"]["now"]
    assert fields["key"]["now"] in [key for key, _ in fields["key"]["choices"]]
    assert (fields["bars"]["least"], fields["bars"]["most"]) == (1, 32)
    for name, field in fields.items():
        taken = lesson(5, **{name: field["now"]}) if name != "tune" else lesson(5)
        assert (name, taken.wrong) == (name, {})
