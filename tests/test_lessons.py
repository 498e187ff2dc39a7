"""Lessons: values that show themselves, the edit cell that nothing stops, and questions the page does not answer."""

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import nbformat
import pytest
from music21 import common

from harmonylib.errors import HarmonyError
from harmonylib.exercises.asking import ask
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.written import as_text
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.answers import calls_and_answers, find_the_gaps, one_answer
from harmonylib.lessons.lesson import SETTINGS_VARIABLE, lesson, used_in
from harmonylib.lessons.music import Remarked, here, notation
from harmonylib.lessons.row import Row
from harmonylib.lessons.said import Said
from harmonylib.lessons.settings import EVERYWHERE, MEANINGS, SHIPPED
from harmonylib.lessons.shapes import shapes
from harmonylib.lessons.table import table
from harmonylib.lessons.testing import shells
from harmonylib.sound.listening import Sound
from harmonylib.theory.chords import Chord
from tests.chapter_runs import CHAPTERS, PATHS, Ran, edit_of, inside, run
from tests.edits import MADE, WRITTEN, drawn, write_tunes

NAMES = [path.stem for path in PATHS]
CORPUS = Path(common.getCorpusFilePath())
STRANGERS = [
    *sorted((CORPUS / "leadSheet").glob("*.mxl")),
    *sorted((CORPUS / "nottingham-dataset").glob("*.abc")),
]


# --- values that show themselves ----------------------------------------------------------------------------------


def test_a_row_is_drawn_heard_followed_and_printed() -> None:
    row = shapes("Cmaj7", Neck(), "root position", "drop 2")
    assert isinstance(row, Row)
    assert "image/svg+xml" in row._repr_mimebundle_()
    assert repr(row.listen()).endswith("3 chords at 72")
    assert "→" in repr(row.paths())
    assert "x3545x" in repr(row)
    assert repr(row[1:]).count("\n") == 2
    assert "string 5 fret 3 = 1" in repr(row.on_neck())


def test_an_empty_row_says_why_and_is_silent() -> None:
    row = shapes("Cmaj7", Neck(reach_mm=20), "root position")
    assert isinstance(row, Row)
    assert not row
    for shown in (row, row.listen(), row.paths(), row.on_neck()):
        assert repr(shown).startswith("Out of reach")
    assert set(row._repr_mimebundle_()) == {"text/html", "text/plain"}


def test_a_table_is_text_html_and_csv() -> None:
    made = table("root | notes", [("C", "C E <G>"), ("=1", "F, A")], ["notes"], ["a remark"])
    assert repr(made).splitlines() == ["root  notes", "C     C E <G>", "=1    F, A", "A remark."]
    html = made.html
    assert html.count('scope="col"') == 2
    assert html.count('scope="row"') == 2
    assert "&lt;G&gt;" in html
    assert html.count("white-space:nowrap") == 3, "the column of prose may wrap, the other never does"
    assert list(csv.reader(io.StringIO(made.csv))) == [["root", "notes"], ["C", "C E <G>"], ["'=1", "F, A"]]


@pytest.mark.parametrize("tuning", ["DADGAD", "E2 A2 D3 G3 G3 E4"])
def test_strings_tuned_alike_hold_a_shell_as_well(tuning: str) -> None:
    row = shells(lesson(3, tuning=tuning))
    assert isinstance(row, Row)
    assert row.grips


def test_a_row_is_played_shape_by_shape_and_its_first_shape_alone_needs_no_title() -> None:
    row = shapes("Cmaj7", Neck(), "root position")
    assert isinstance(row, Row)
    heard = row.listen()
    assert isinstance(heard, Sound)
    assert heard.of is not None
    assert (heard.of.title, len(heard.of.texts), heard.of.texts[1]) == (row.title, len(row), "Cmaj7 x3545x")
    assert row.shown_first.picture.title == ""
    assert repr(row.shown_first).startswith("Cmaj7 x-x-10-12-12-12")


def test_calls_are_told_by_the_bars_of_the_tune() -> None:
    today = lesson(6, bars=(5, 6))
    assert re.findall(r"at bar (\d+)", calls_and_answers(today)._repr_mimebundle_()["text/plain"])[0] == "5"
    pick_up = lesson(6, tune=MADE["pick_up"], bars=(0, 1))
    assert "call F at bar 0, beat 4" in repr(calls_and_answers(pick_up))
    assert find_the_gaps(lesson(6)).rows[4][1] == "½ quarter"


def test_an_answer_of_ones_own_has_its_reason() -> None:
    assert "answers in Cm7 with C on top" in one_answer(lesson(6))._repr_mimebundle_()["text/html"]


def test_what_cannot_be_made_is_a_sentence() -> None:
    assert repr(shapes("Hmaj7")).startswith("'Hmaj7' is not a chord symbol")
    assert isinstance(shapes("Cmaj7", Neck(), "sideways"), Said)


# --- the edit cell ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_the_edit_cell_holds_what_the_course_ships(path: Path, tmp_path: Path) -> None:
    number = int(path.name[:2])
    with inside(CHAPTERS):
        shipped = lesson(number)
    today = next(ran.value for ran in run_edit_cell(path))
    assert today.wrong == {}
    assert {name: today.settings[name] for name in SHIPPED[number] if name != "tune"} == {
        name: shipped.settings[name] for name in SHIPPED[number] if name != "tune"
    }
    assert number == 7 or today.settings["tune"] == shipped.settings["tune"]
    assert json.loads(json.dumps(today.settings))["bars"] == list(today.bars)


def run_edit_cell(path: Path) -> list[Ran]:
    with inside(CHAPTERS):
        known: dict[str, Any] = {}
        for cell in nbformat.read(path, as_version=4).cells:
            if cell.cell_type == "code":
                exec(cell.source, known)
                if "today" in known:
                    return [Ran("code", cell.source, known["today"])]
    return []


def test_a_wrong_value_is_told_there_and_at_the_sections_it_touches() -> None:
    today = lesson(5, tune="slate_roof_blues", bars=(90, 99))
    assert today.bars == (1, 4)
    assert repr(today).splitlines()[-1] == "Bars 90 to 99: the tune has 0 to 14; bars 1 to 4 are taken."
    shown = notation(today)
    assert isinstance(shown, Remarked)
    assert "bars 1 to 4 are taken" in shown._repr_mimebundle_()["text/html"]
    assert "bars 1 to 4 are taken" in repr(shells(today))
    touched = shapes(lesson(1, reach_mm="wide").chord, Neck())
    assert repr(touched).splitlines()[-1] == "Reach_mm 'wide': write a number, 20 to 250; 105 is taken."


def test_a_setting_that_is_none_or_changes_nothing_is_named() -> None:
    assert "there is no setting 'tempoo'" in lesson(5, tempoo=90).wrong["tempoo"]
    assert lesson(5, chord="C7").wrong == {"chord": "chord changes nothing in this chapter"}
    assert set(EVERYWHERE) == set(MEANINGS)


@pytest.mark.parametrize(("written", "read"), [("ebm7", "E♭m7"), ("cM7", "Cmaj7"), ("bb7", "B♭7"), ("am", "Am")])
def test_small_root_letters_are_read(written: str, read: str) -> None:
    assert str(lesson(1, chord=written).chord) == read


@pytest.mark.parametrize(
    ("name", "written", "shown"),
    [
        ("tuning", "DADGAD", "D2 A2 D3 G3 A3 D4"),
        ("tuning", ["E2", "A2", "D3", "G3", "B3", "E4"], "E2 A2 D3 G3 B3 E4"),
        ("tempo", "120 bpm", "120"),
        ("reach_mm", "95 mm", "95"),
        ("bars", range(2, 5), "2 to 4"),
        ("spread", "drop2&4", "drop 2 and 4"),
        ("strings", "1234", "4321"),
        ("chord", "dm/F", "Dm/F"),
        ("tune", "Slate Roof Blues", "slate_roof_blues"),
        ("tune", "Slate_Roof_Blues.ABC", "slate_roof_blues"),
        ("tune", "slateroofblues.musicxml", "slate_roof_blues"),
        ("tempo", "♩=80", "80"),
        ("bars", "1,2,3,4", "1 to 4"),
        ("bars", [3, 4, 5], "3 to 5"),
        ("spread", "drop two", "drop 2"),
        ("chord", "E flat minor seven", "E♭m7"),
        ("chord", "b half diminished", "Bm7♭5"),
        ("tuning", "Drop-D", "dropped D"),
        ("tuning", "dadgbe", "D2 A2 D3 G3 B3 E4"),
        ("key", "F-sharp", "F#"),
    ],
)
def test_what_is_plainly_meant_is_taken(name: str, written: object, shown: str) -> None:
    today = lesson(4 if name not in ("spread", "reach_mm") else 1, **{name: written})
    assert (today.wrong, repr(today)) == ({}, f"{name} {shown}")


@pytest.mark.parametrize(
    ("name", "written", "told"),
    [
        ("tempo", "slow", "write a number, 10 to 600; 72 is taken"),
        ("bars", (0, 0), "bar 0: the tune has 1 to 32"),
        ("bars", (1.5, 2, 3), "write the first and the last"),
        ("key", "Es", "the tune stays as written"),
        ("tune", "slate roof", "did you mean slate_roof_blues?"),
        ("tune", "song.pdf", "a tune is read from a file that ends in .musicxml"),
        ("tune", 'T:Small\nK:C\n"cmaj7"e4|]\n', "the root a capital"),
        ("chord", "Hm7", "did you mean Bm7?"),
    ],
)
def test_what_cannot_be_taken_is_told_with_what_would_do(name: str, written: object, told: str) -> None:
    assert told in lesson(4, **{name: written}).wrong[name]


@pytest.mark.parametrize("doubtful", ["bb9", "bb13"])
def test_a_symbol_with_two_readings_is_asked_back(doubtful: str) -> None:
    today = lesson(1, chord=doubtful)
    assert str(today.chord) == "Cmaj7"
    assert "has two readings" in today.wrong["chord"]


def test_settings_can_come_from_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    assert lesson(5, settings={"bars": [2, 3]}, bars=(1, 4)).bars == (2, 3)
    monkeypatch.setenv(SETTINGS_VARIABLE, json.dumps({"bars": [5, 6], "tempo": 60, "tune": "slate_roof_blues"}))
    today = lesson(5, tempo=96)
    assert (today.bars, today.tempo, today.tune.title) == ((5, 6), 60, "Slate Roof Blues")
    monkeypatch.setenv(SETTINGS_VARIABLE, "{not json")
    assert "no JSON" in lesson(5, tempo=96).wrong["settings"]
    again = lesson(5)
    monkeypatch.delenv(SETTINGS_VARIABLE)
    assert lesson(5, settings=json.loads(json.dumps(again.settings))).settings == again.settings


# --- no edit stops a chapter --------------------------------------------------------------------------------------


def reaches_the_end(path: Path, folder: Path, **changes: object) -> list[Ran]:
    """Every cell shows something or gives a name a value, and none shows a bare list, number, truth or text."""
    ran = run(path, folder, edit_of(path, **changes))
    for cell in ran:
        assert not isinstance(cell.value, bool | int | float | str | list | tuple | dict | set)
        if isinstance(cell.value, Row) and cell.value:
            assert cell.value.picture
        assert cell.value is None or repr(cell.value).strip()
    return ran


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_tunes(tmp_path, CHAPTERS / "tunes")
    return tmp_path


@pytest.mark.few(5)
@pytest.mark.parametrize("seed", range(30))
def test_an_edit_does_not_stop_a_chapter(seed: int, folder: Path) -> None:
    reaches_the_end(PATHS[seed % len(PATHS)], folder, **drawn(seed))


@pytest.mark.slow
@pytest.mark.parametrize("number", range(len(STRANGERS)))
def test_a_strangers_tune_does_not_stop_a_chapter(number: int, folder: Path) -> None:
    source = STRANGERS[number]
    (folder / "tunes" / source.name).write_bytes(source.read_bytes())
    for path in (PATHS[3], PATHS[5 + number % 2]):
        assert reaches_the_end(path, folder, tune=source.name)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(30, 500))
def test_many_edits_do_not_stop_a_chapter(seed: int, folder: Path) -> None:
    for cell in reaches_the_end(PATHS[seed % len(PATHS)], folder, **drawn(seed, most=5)):
        assert cell.value is None or cell.bundle


@pytest.mark.long
@pytest.mark.parametrize("number", range(len(WRITTEN)))
def test_a_hasty_edit_does_not_stop_a_chapter(number: int, folder: Path) -> None:
    """In one of the chapters that make use of what is written."""
    edit = WRITTEN[number]
    uses = {path: len(edit.keys() & used_in(int(path.name[:2]))) for path in PATHS}
    most = [path for path in PATHS if uses[path] == max(uses.values())]
    for cell in reaches_the_end(most[number % len(most)], folder, **edit):
        assert cell.value is None or cell.bundle


@pytest.mark.long
@pytest.mark.parametrize("path", PATHS, ids=NAMES)
@pytest.mark.parametrize("tune", [*MADE, *(path.name for path in STRANGERS)])
def test_every_tune_goes_through_every_chapter(tune: str, path: Path, folder: Path) -> None:
    for source in STRANGERS:
        (folder / "tunes" / source.name).write_bytes(source.read_bytes())
    reaches_the_end(path, folder, tune=tune, bars=(1, 4))


# --- questions ----------------------------------------------------------------------------------------------------

ALIKE = str.maketrans({"b": "♭", "#": "♯"})


def leaves(solution: object) -> list[str]:
    """A solution as the text that would give it away."""
    if isinstance(solution, dict):
        return [" ".join(map(str, solution.values()))]
    if isinstance(solution, list | tuple):
        return [" ".join(map(str, item)) if isinstance(item, tuple) else str(item) for item in solution]
    return [str(solution)]


def since_heading(ran: list[Ran], place: int) -> list[str]:
    """The lines of text and output between the last heading above a cell and that cell."""
    above = ran[:place]
    start = max(n for n, cell in enumerate(above) if cell.kind == "markdown" and re.search(r"(?m)^#", cell.source))
    prose = re.split(r"(?m)^#.*$", above[start].source)[-1]
    return [*prose.splitlines(), *(line for cell in above[start + 1 :] for line in cell.text.splitlines())]


@pytest.mark.few(2)
@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_nothing_since_the_heading_answers_a_question(path: Path, folder: Path) -> None:
    """At ten seeds: neither the solution nor a line that would be taken for it."""
    number = int(path.name[:2])
    ran = run(path, folder)
    calls = [(n, re.match(r'ask\(today, "(\w+)"(?:, (\d))?\)', cell.source)) for n, cell in enumerate(ran)]
    asked = [(n, call[1], int(call[2] or 1)) for n, call in calls if call]
    assert asked
    for seed in range(10):
        with inside(folder):
            today = lesson(number, settings={**ran_settings(ran), "seed": seed})
            for place, kind, which in asked:
                task = ask(today, kind, which)
                assert isinstance(task, Exercise), f"{kind}: {task}"
                lines = since_heading(ran, place)
                text = " ".join(lines).translate(ALIKE)
                told = [leaf for leaf in leaves(task.solution()) if len(leaf) > 4 and leaf.translate(ALIKE) in text]
                assert told == []
                assert [line for line in lines if task.check(line).right] == []


def ran_settings(ran: list[Ran]) -> dict[str, Any]:
    return next(dict(cell.value.settings) for cell in ran if type(cell.value).__name__ == "Lesson")


def asked_in(path: Path) -> list[tuple[str, int]]:
    """The questions of a chapter: kind, and which of its kind."""
    sources = (cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code")
    calls = (re.match(r'ask\(today, "(\w+)"(?:, (\d))?\)', source) for source in sources)
    return [(call[1], int(call[2] or 1)) for call in calls if call]


@pytest.mark.few(4)
@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_no_two_questions_of_a_chapter_are_alike_or_have_the_same_answer(path: Path, folder: Path) -> None:
    with inside(folder):
        for seed, level in ((2, 1), (4, 3)):
            today = lesson(int(path.name[:2]), seed=seed, level=level)
            tasks = [ask(today, kind, which) for kind, which in asked_in(path)]
            assert len({task.question for task in tasks if isinstance(task, Exercise)}) == len(tasks) > 0
            assert len({as_text(task.solution()) for task in tasks if isinstance(task, Exercise)}) == len(tasks)


def test_a_question_that_there_is_but_once_is_not_asked_twice(folder: Path) -> None:
    with inside(folder):
        today = lesson(3, tune="one_note")
        first = ask(today, "which_degree")
        assert isinstance(first, Exercise)
        assert repr(ask(today, "which_degree", 2)).startswith("This lesson has no other question of that kind")
        with pytest.raises(HarmonyError, match="no other question"):
            first.another(1)
        assert repr(ask(today, "spell", 4)) == "Question 4 of a kind: choose 1 to 3, and “another one” in its box."


@pytest.mark.parametrize("chapter", [0, 3, 5])
def test_a_degree_is_asked_that_the_page_has_not_told(chapter: int) -> None:
    today = lesson(chapter)
    told = {(str(choice.note.pitch.name), str(choice.chord)) for choice in here(today)}
    for which in (1, 2, 3):
        task = ask(today, "which_degree", which)
        assert isinstance(task, Exercise)
        asked = task.as_data()
        assert (asked["note"], asked["chord"]) not in told
        assert not Chord.parse(str(asked["chord"])).extensions, "level 1 begins with plain chords"


ON_BARS = ("harmonise_bar", "harmonise_phrase", "mend", "find_gaps", "which_degree")


@pytest.mark.parametrize("kind", [*ON_BARS, "answer_call", "shell", "spell", "name_inversion", "next_inversion"])
def test_another_one_stays_with_the_lesson(kind: str, folder: Path) -> None:
    with inside(folder):
        today = lesson(6, tune="only_triads", bars=(3, 5), tempo=66, key="F", reach_mm=120, density="comfortable")
        task = ask(today, kind)
        assert isinstance(task, Exercise)
        before = task
        for number in range(1, 5):
            other = task.another(number)
            assert other.question != before.question
            assert as_text(other.solution()) != as_text(before.solution())
            assert (other.kind, other.neck) == (kind, today.neck if kind not in ("spell", "which_degree") else Neck())
            if kind in ON_BARS[:4]:
                told = re.search(r"bars? (\d)(?: to (\d))? of Only triads \(F major, 66 quarter notes", other.question)
                assert told
                assert 3 <= int(told[1]) <= int(told[2] or told[1]) <= 5
            if kind == "answer_call":
                assert "of Only triads (F major, 66 quarter notes" in other.question
            if kind in ("which_degree", "shell"):
                sounding = {str(choice.chord) for choice in today.music.choices}
                assert other.as_data()["chord"] in sounding
            before = other


@pytest.mark.parametrize("chord", ["Cmaj7", "G7", "Fm7b5", "Edim7"])
@pytest.mark.parametrize("spread", ["drop 2", "drop 3", "drop 2 and 4"])
def test_no_more_grips_are_asked_for_than_there_are_inversions(chord: str, spread: str) -> None:
    for seed in range(6):
        task = ask(lesson(1, chord=chord, spread=spread, seed=seed), "find_grips")
        assert isinstance(task, Exercise)
        assert 1 <= len(task.solution()) <= 4


def test_questions_on_a_tune_follow_the_edit_cell(folder: Path) -> None:
    with inside(folder):
        today = lesson(5, tune="only_triads", bars=(3, 4), tempo=66, key="F", reach_mm=95)
        for kind in ("harmonise_bar", "harmonise_phrase", "mend"):
            task = ask(today, kind)
            assert isinstance(task, Exercise)
            assert re.search(r"bars? 3\b.* of Only triads \(F major, 66 quarter notes a minute\)", task.question)
            assert task.neck == today.neck
