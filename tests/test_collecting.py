"""What came back, in folders of learners: found without following links, marked with the right totals, replied to."""

import csv
import io
import json
import os
from pathlib import Path

import pytest

from harmonylib.__main__ import main
from harmonylib.classroom import returned as returning
from harmonylib.classroom.marking import mark
from harmonylib.classroom.marks import Marks, Row, marks_csv
from harmonylib.classroom.replies import CHAPTERS, reply_page, write_replies
from harmonylib.classroom.returned import Returned, returned
from harmonylib.classroom.sheets import sheet
from harmonylib.errors import HarmonyError
from harmonylib.exercises.catalogue import KINDS

SET = sheet("Week 1", [{"kind": "spell", "chord": "Ebm7"}, {"kind": "drop", "chord": "Cmaj7", "top": "E"}])
SPEC = """title = "Week 1"
[[tasks]]
kind = "spell"
chord = "Ebm7"
[[tasks]]
kind = "drop"
chord = "Cmaj7"
top = "E"
"""
NAME = "week1_learner.ipynb"


def hand_in(place: Path, *sources: str) -> None:
    place.parent.mkdir(parents=True, exist_ok=True)
    cells = [{"cell_type": "code", "source": source} for source in sources]
    place.write_text(json.dumps({"cells": cells, "nbformat": 4, "nbformat_minor": 5}))


# name: (cells, states, words of the replies)
STATES = {
    "right": (["answer_01 = 'Eb Gb Bb Db'", "answer_02 = 'C G B E'"], ("right", "right"), ""),
    "wrong": (["answer_01 = 'Eb G Bb Db'", "answer_02 = 'C G B D'"], ("not yet", "not yet"), ""),
    "stubs": (["answer_01 = ...", "answer_02 = ..."], ("not started", "not started"), ""),
    "half": (["answer_01 = 'Eb Gb Bb Db'", "answer_02 = ..."], ("right", "not started"), ""),
    "bare": (["answer_01 = Eb Gb Bb Db", "answer_02 = C, G, B, E"], ("right", "right"), ""),
    "sharp": (["answer_01 = D# F# A# C#  # my guess", "answer_02 = [C, G, B, E]"], ("right", "right"), ""),
    "variable": (["mine = 'Eb Gb Bb Db'", "answer_01 = mine\nother = answer_02 = 'C G B E'"], ("right", "right"), ""),
    "twice": (["answer_01 = 'C'\nanswer_02 = 'C G B E'", "answer_01 = 'Eb Gb Bb Db'"], ("right", "right"), "2 times"),
    "calls": (["answer_01 = open('x', 'w')", "answer_02 = exit()"], ("not read", "not read"), "not plain"),
    "gone": (["answer_01 = 'Eb Gb Bb Db'"], ("right", "not read"), "is missing"),
}


def test_thirty_notebooks_in_ten_states_are_marked_with_the_right_totals(tmp_path: Path) -> None:
    expected = {}
    for number, (state, (cells, marks, _)) in enumerate(list(STATES.items()) * 3):
        learner = f"{state}{number:02}"
        hand_in(tmp_path.joinpath(learner, *["deep", "deeper"][: number // 10], "work.ipynb"), *cells)
        expected[learner] = f"{marks.count('right')} of 2"
    marked = mark(tmp_path, SET)
    found = {}
    for row in csv.DictReader(io.StringIO(marks_csv(marked))):
        if row["exercise"] == "total":
            found[row["learner"]] = row["right"]
    assert found == expected
    assert len(found) == 30
    for row in marked.rows:
        assert row.state == STATES[row.learner[:-2]][1][row.number - 1], row
    for state, (_, _, words) in STATES.items():
        assert words in " ".join(row.reply for row in marked.rows if row.learner.startswith(state))


def test_the_same_wrong_answers_are_pointed_out_in_neutral_words(tmp_path: Path) -> None:
    for learner, state in (("ada", "wrong"), ("ben", "right"), ("cleo", "wrong"), ("dan", "right"), ("eva", "stubs")):
        hand_in(tmp_path / learner / "work.ipynb", *STATES[state][0])
    assert mark(tmp_path, SET).remarks == ("the answers are the same, letter for letter: ada, cleo",)


def test_folders_and_files_stand_for_learners(tmp_path: Path) -> None:
    for names in (
        "ada.ipynb",
        "ben/work.ipynb",
        "cleo/one.ipynb",
        "cleo/more/two.ipynb",
        "dan/.ipynb_checkpoints/x.ipynb",
    ):
        hand_in(tmp_path / names)
    hand_in(tmp_path / "eva/1/2/3/4/too_deep.ipynb")
    assert returned(tmp_path) == [
        Returned("ada", ("ada.ipynb",)),
        Returned("ben", ("ben", "work.ipynb")),
        Returned("cleo/more/two", ("cleo", "more", "two.ipynb")),
        Returned("cleo/one", ("cleo", "one.ipynb")),
    ]


def test_by_name_each_learner_has_one_file_or_none(tmp_path: Path) -> None:
    hand_in(tmp_path / "ada" / "block-chords" / NAME, *STATES["right"][0])
    hand_in(tmp_path / "ada" / "block-chords" / "old" / NAME, *STATES["wrong"][0])
    hand_in(tmp_path / "ada" / "block-chords" / "01_other.ipynb")
    (tmp_path / "ben" / "block-chords").mkdir(parents=True)
    rows = mark(tmp_path, SET, name=NAME).rows
    assert [(row.learner, row.number, row.state) for row in rows] == [
        ("ada", 1, "right"),
        ("ada", 2, "right"),
        ("ben", 0, "not read"),
    ]
    assert rows[-1].reply == f"No file named {NAME} is there."
    with pytest.raises(HarmonyError, match="no file named 'none.ipynb' in a folder of a learner"):
        mark(tmp_path, SET, name="none.ipynb")


@pytest.mark.skipif(os.name != "posix", reason="links and devices of POSIX")
def test_no_link_is_followed_at_any_level_and_only_plain_files_are_opened(tmp_path: Path) -> None:
    homes, secret = tmp_path / "homes", tmp_path / "secret"
    hand_in(secret / NAME, *STATES["right"][0])
    hand_in(homes / "ada" / "block-chords" / NAME, *STATES["right"][0])
    for learner in ("ben", "cleo", "dan", "eva"):
        (homes / learner / "block-chords").mkdir(parents=True)
    (homes / "ben" / "block-chords" / NAME).symlink_to(secret / NAME)
    (homes / "cleo" / "block-chords").rmdir()
    (homes / "cleo" / "block-chords").symlink_to(secret, target_is_directory=True)
    os.mkfifo(homes / "dan" / "block-chords" / NAME)
    (homes / "eva" / "block-chords" / NAME).mkdir()
    (homes / "fay").symlink_to(secret, target_is_directory=True)
    found = {row.learner: row.reply for row in mark(homes, SET, name=NAME).rows if row.number == 0}
    special = "The file is a link or a folder, not a notebook."
    assert found == {
        "ben": special,
        "cleo": f"No file named {NAME} is there.",
        "dan": special,
        "eva": special,
    }


def test_too_many_files_and_a_large_one_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hand_in(tmp_path / "ada" / NAME, *STATES["right"][0])
    monkeypatch.setattr(returning, "MOST_BYTES", 10)
    assert "larger than" in mark(tmp_path, SET).rows[0].reply
    monkeypatch.setattr(returning, "MOST_NAMES", 0)
    with pytest.raises(HarmonyError, match="holds more than 0 files"):
        mark(tmp_path, SET)


def test_each_learner_gets_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    hand_in(tmp_path / "homes" / "Ada B" / NAME, *STATES["half"][0])
    hand_in(tmp_path / "homes" / "ben" / NAME, *STATES["right"][0])
    (tmp_path / "week1.toml").write_text(SPEC)
    out, replies = tmp_path / "out", tmp_path / "replies"
    arguments = ["mark", str(tmp_path / "homes"), "--name", NAME, "--out", str(out), "--replies", str(replies)]
    assert main(arguments) == 0
    assert str(replies / "ben" / "Week_1.html") in capsys.readouterr().out
    page = (replies / "Ada_B" / "Week_1.html").read_text(encoding="utf-8")
    for words in (
        "<h1>Week 1: Ada B</h1>",
        "<td>Eb Gb Bb Db</td><td>right</td>",
        "<td>–</td><td>not started</td>",
        "1 of 2 right",
        "not started",
        "Chapters to look at again: 1, spread voicings.",
    ):
        assert words in page
    assert "2 of 2 right" in (replies / "ben" / "Week_1.html").read_text(encoding="utf-8")
    assert "look at again" not in (replies / "ben" / "Week_1.html").read_text(encoding="utf-8")


def test_a_page_shows_and_never_runs_what_a_learner_wrote(tmp_path: Path) -> None:
    hostile = "<script>alert(1)</script><img src=//x>"
    rows = (Row(hostile, 1, "spell", "not yet", hostile, hostile), Row(hostile, 2, "drop", "right", "Right."))
    page = reply_page(Marks(SET, rows), rows)
    assert "<script" not in page
    assert "<img" not in page
    same = (*rows, *rows, Row("../..", 0, "", "not read", "The file is empty."))
    paths = write_replies(Marks(SET, same), tmp_path / "replies")
    assert len({path.parent for path in paths}) == 3
    assert all(path.parent.parent == tmp_path / "replies" for path in paths)


def test_what_was_written_is_given_back_in_one_short_line(tmp_path: Path) -> None:
    hand_in(tmp_path / "ada" / NAME, f"answer_01 = '{'C ' * 4}\\n\\u202e{'x' * 500}'", f"answer_02 = [0x{'f' * 5000}]")
    long, huge = (row.answer for row in mark(tmp_path, SET).rows)
    assert (long[:9], len(long), long[-1], huge) == ("C C C C x", 120, "…", "")


def test_every_kind_of_exercise_has_its_chapter() -> None:
    assert set(CHAPTERS) == set(KINDS)
