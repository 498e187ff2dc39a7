"""Work sheets and marking: sheet, key and notebook agree, and nothing a learner hands in is run or breaks it."""

import ast
import csv
import html
import io
import json
import os
import re
import time
from functools import lru_cache
from pathlib import Path

import nbformat
import pypdf
import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st
from nbclient import NotebookClient
from nbconvert.filters.markdown import markdown2html
from PIL import Image

from harmonylib.__main__ import main
from harmonylib.classroom import paper as printed
from harmonylib.classroom import returned as returning
from harmonylib.classroom.handing import ANSWER, record, saved_before
from harmonylib.classroom.keys import told
from harmonylib.classroom.marking import Unmarked, _assigned, _marked, answers, mark, read_key
from harmonylib.classroom.marks import STATES, Marks, Row, marks_csv, overview, summary, write_marks
from harmonylib.classroom.notebook import escaped, learner
from harmonylib.classroom.paper import _music, _question, key_pdf, sheet_pdf
from harmonylib.classroom.sheets import Sheet, from_sheet_data, read_spec, sheet
from harmonylib.classroom.worksheets import write_worksheet
from harmonylib.errors import HarmonyError
from harmonylib.exercises.catalogue import KINDS, exercise_set, harmonise_bar, random_exercise, spell
from harmonylib.exercises.written import as_text
from harmonylib.pictures.theme import THEME_VARIABLE
from harmonylib.score.printing import FONTS
from harmonylib.wording import plain
from tests.draws import draws

TUNES = Path(__file__).resolve().parent.parent / "chapters" / "tunes"
BLUES = TUNES / "slate_roof_blues.abc"
HOSTILE = '#panic("x") $x^2$ <script>alert(1)</script> [a](javascript:b) ![i](x) `c` {{7*7}} \\(y\\) __b__ "\'\n# h'
ABC = 'X:1\nT:{title}\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"Cmaj7"E2 G D|"Dm7"F2 z2|'


def every_kind(seed=3, level=2, paper="a4"):
    return sheet("All kinds", [{"kinds": list(KINDS), "count": len(KINDS)}], seed, level, paper)


def squeezed(text):
    """Text without spaces and line breaks, which a page sets anew."""
    return re.sub(r"[\s\u200b]", "", text)


def pages(pdf):
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


once = lru_cache(learner)


def filled(made, values):
    """The learner's notebook with `values` by number in place of its stubs."""
    notebook = json.loads(once(made))
    for cell in notebook["cells"]:
        if cell["metadata"].get("tags") == ["answer"]:
            number = int(cell["id"].removeprefix("answer-"))
            if number in values:
                cell["source"] = f"answer_{number:02} = {values[number]!r}"
    return notebook


def solved(made):
    return filled(made, {number: task.solution() for number, task in made.numbered})


def hand_in(folder, name, content):
    folder.mkdir(exist_ok=True)
    data = content if isinstance(content, bytes) else json.dumps(content).encode()
    (folder / f"{name}.ipynb").write_bytes(data)


def states(folder, made):
    return {(row.learner, row.number): row.state for row in mark(folder, made).rows}


# --- making a sheet -----------------------------------------------------------------------------------------------

SPEC = """
title = "Monday"
seed = 7
level = 2
paper = "us-letter"

[[tasks]]
kind = "drop"
chord = "Ebm7"

[[tasks]]
kinds = ["spell", "which_degree"]
count = 3

[[tasks]]
kind = "harmonise_phrase"
tune = "tunes/song.abc"
first = 1
last = 2
"""


@pytest.fixture
def spec(tmp_path):
    (tmp_path / "tunes").mkdir()
    (tmp_path / "tunes" / "song.abc").write_text(ABC.format(title="Two bars"), encoding="utf-8")
    path = tmp_path / "monday.toml"
    path.write_text(SPEC, encoding="utf-8")
    return path


def test_file_and_call_make_the_same_sheet(spec):
    tune = ABC.format(title="Two bars")
    tasks = [
        {"kind": "drop", "chord": "Ebm7"},
        {"kinds": ["spell", "which_degree"], "count": 3},
        {"kind": "harmonise_phrase", "tune": tune, "first": 1, "last": 2},
    ]
    made = read_spec(spec)
    assert made == sheet("Monday", tasks, seed=7, level=2, paper="us-letter")
    assert [task.kind for task in made.exercises] == "drop spell which_degree spell harmonise_phrase".split()
    assert made.exercises[1:4] == exercise_set(["spell", "which_degree"], 3, seed=7, level=2)
    assert read_spec(spec, seed=8).exercises[1:4] == exercise_set(["spell", "which_degree"], 3, seed=8, level=2)
    assert read_spec(spec, paper="a4").paper == "a4"
    assert from_sheet_data(json.loads(json.dumps(made.as_data()))) == made


def test_a_file_with_a_byte_order_mark_and_windows_line_ends_is_read(spec):
    before = read_spec(spec)
    spec.write_bytes(b"\xef\xbb\xbf" + SPEC.replace("\n", "\r\n").encode())
    assert read_spec(spec) == before


def test_a_tune_goes_along_as_text_from_every_kind_of_file(tmp_path):
    import zipfile

    from harmonylib.arranging.arrange import arrange
    from harmonylib.score.musicxml import musicxml
    from harmonylib.tunes.reading import read

    score = musicxml(arrange(read(BLUES)))
    (tmp_path / "song.musicxml").write_text(score.replace("UTF-8", "UTF-16").replace(">\n<", "><"), encoding="utf-16")
    with zipfile.ZipFile(tmp_path / "song.mxl", "w") as archive:
        archive.writestr("song.xml", score)
    for path in (BLUES, tmp_path / "song.musicxml", tmp_path / "song.mxl"):
        named = harmonise_bar(str(path), bar=2)
        carried = sheet("One", [named]).exercises[0]
        assert "\n" in carried.tune, path
        assert (carried.question, carried.solution()) == (named.question, named.solution())


def test_no_two_questions_are_alike_though_some_are_given():
    drawn = sheet("A", [{"kind": "spell", "count": 6}], seed=4).exercises
    made = sheet("B", [drawn[2], {"kind": "spell", "count": 3}, drawn[0], {"kind": "spell", "count": 3}], seed=4)
    asked = [task.question for task in made.exercises]
    assert len(set(asked)) == len(asked) == 8


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (('"drop"', '"drp"'), r"task 1 \(line 7\): “drp” is not a kind of exercise: choose spell"),
        (('"Ebm7"', '"H7"'), r"task 1 \(line 7\): .*H7"),
        (('"Ebm7"', "7"), r"task 1 \(line 7\): chord “7”: write it as text"),
        (('"Ebm7"', '["C"]'), r"task 1 \(line 7\): chord .*: give text or a number"),
        (('chord = "Ebm7"', ""), r"task 1 \(line 7\): a 'drop' exercise needs chord"),
        (('"Ebm7"', '"Ebm7'), r"is not TOML: .*line 9"),
        (("count = 3", "count = 0"), r"task 2 \(line 11\): count “0”: give a whole number from 1"),
        (("count = 3", "count = 999"), "count “999”"),
        (("count = 3", ""), r"task 2 \(line 11\): a group that is drawn takes count"),
        (("count = 3", 'count = 3\nchord = "C7"'), "it takes no “chord”"),
        (("count = 3", 'count = 3\nkind = "drop"'), "either kind or kinds"),
        (('["spell", "which_degree"]', '["spell", "sing"]'), r"task 2 \(line 11\): “sing” is not a kind"),
        (('["spell", "which_degree"]', "[]"), "give a list of kinds"),
        (("tunes/song.abc", "tunes/none.abc"), r"task 3 \(line 15\): .*none.abc' was not found"),
        (("level = 2", "level = 4"), "choose 1, 2 or 3"),
        (("seed = 7", 'seed = "x"'), "seed “x”: give a whole number"),
        (('"us-letter"', '"a3"'), "paper “a3”: choose a4 or us-letter"),
        (('"Monday"', '""'), "write one line of text"),
        (("seed = 7", "sead = 7"), "“sead” is no setting of a sheet"),
    ],
)
def test_what_cannot_serve_is_refused_in_one_line(spec, change, told):
    assert SPEC.count(change[0]) == 1
    spec.write_text(SPEC.replace(*change), encoding="utf-8")
    with pytest.raises(HarmonyError, match=f"^'monday.toml'.*{told}") as caught:
        read_spec(spec)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b'title = "x"', "no tasks"),
        (b"tasks = 3", "no tasks"),
        (b"tasks = [3]", "task 1: “3” is no exercise"),
        (b"\xff\xfe\x00", "is not text in UTF-8"),
        (b"a = " + b"[" * 20000, "is not TOML"),
        (b"# " + b"x" * 2_000_001, "is larger than 2 MB"),
    ],
)
def test_files_that_are_no_sheet_are_refused(tmp_path, content, told):
    (tmp_path / "bad.toml").write_bytes(content)
    with pytest.raises(HarmonyError, match=told):
        read_spec(tmp_path / "bad.toml")


def test_missing_files_and_odd_sheets_are_refused(tmp_path):
    with pytest.raises(HarmonyError, match="was not found"):
        read_spec(tmp_path / "none.toml")
    with pytest.raises(HarmonyError, match="cannot be opened"):
        read_spec(tmp_path)
    with pytest.raises(HarmonyError, match="0 exercises"):
        Sheet("x", ())
    with pytest.raises(HarmonyError, match="at most 200 exercises"):
        sheet(
            "x",
            [
                {
                    "kind": "drop",
                    "count": 150,
                }
            ]
            * 2,
        )
    with pytest.raises(HarmonyError, match="level 1 has no 60 different exercises of kind 'spell'"):
        sheet("x", [{"kind": "spell", "count": 60}])
    with pytest.raises(HarmonyError, match="no sheet as data"):
        from_sheet_data({"title": "x"})


# --- paper --------------------------------------------------------------------------------------------------------


@pytest.mark.few(1)
@pytest.mark.parametrize("level", [1, 3])
def test_sheet_and_key_ask_the_same_by_the_same_number(level):
    made = every_kind(seed=11, level=level)
    on_sheet, in_key = (squeezed("".join(pages(pdf))) for pdf in (sheet_pdf(made), key_pdf(made)))
    places, said = [], set()
    for number, task in made.numbered:
        asked = squeezed(f"{number}. {task.question}")
        assert on_sheet.count(asked) == in_key.count(asked) == 1, asked
        lines = squeezed("".join(told(task, said)))
        assert in_key.index(lines) == in_key.index(asked) + len(asked), lines
        assert all(squeezed(part) in lines for part in as_text(task.solution()).split(", "))
        places.append((on_sheet.index(asked), in_key.index(asked)))
    assert places == sorted(places)


@pytest.mark.slow
def test_the_sheet_gives_no_answer_away():
    made = every_kind(seed=11)
    text = squeezed("".join(pages(sheet_pdf(made))))
    secret = [task for task in made.exercises if len(as_text(task.solution())) > 5 and task.kind != "name_inversion"]
    assert len(secret) > 8
    for task in secret:
        assert squeezed(as_text(task.solution())) not in text, task
        assert squeezed(task.truth) not in text


def test_every_page_has_its_number_seed_and_level_and_the_paper_asked_for():
    tasks = [{"kinds": ["find_grips", "spell"], "count": 8}]
    for paper, size in (("a4", (595, 842)), ("us-letter", (612, 792))):
        made = sheet("Pages", tasks, seed=3, level=2, paper=paper)
        printed = sheet_pdf(made)
        for pdf in (printed, key_pdf(made)):
            found = pypdf.PdfReader(io.BytesIO(pdf)).pages
            for number, page in enumerate(found, start=1):
                assert (round(page.mediabox.width), round(page.mediabox.height)) == size
                foot = page.extract_text().splitlines()[-1]
                assert foot == f"Pages · seed 3, level 2 {number} / {len(found)}"
        first, second, *_ = pages(printed)
        assert "Name Date" in first
        assert "Name" not in second


def test_every_kind_has_room_to_write_in():
    made = every_kind()
    for number, task in made.numbered:
        assert _question(number, task)["labels"], task.kind


def test_a_melody_to_harmonise_is_engraved_without_its_grips():
    task = random_exercise("harmonise_phrase", 5, 2)
    notes = len(task.arrangement.choices)
    drawn = "".join(_music(task))
    assert drawn.count('class="note"') == notes
    assert not any(str(choice.grip) in drawn or choice.reason in drawn for choice in task.arrangement.choices)
    asked = _question(1, task)
    assert len(asked["labels"]) == notes
    assert asked["labels"][0].endswith(str(task.arrangement.choices[0].note.pitch))


@pytest.mark.few(1)
@pytest.mark.parametrize("write", [pytest.param(sheet_pdf, marks=pytest.mark.slow), key_pdf, learner])
def test_the_same_sheet_has_the_same_bytes_on_every_wall(write, monkeypatch):
    once = write(every_kind())
    monkeypatch.setenv(THEME_VARIABLE, "projector dark")
    assert write(every_kind()) == once
    assert os.environ[THEME_VARIABLE] == "projector dark"


def laid_out(monkeypatch, write, made):
    """The pages of a PDF as grey pictures, 2 pixels a millimetre."""
    found = []
    monkeypatch.setattr(printed, "printed", lambda template, data, *_: found.append((template, data)) or b"")
    write(made)
    monkeypatch.undo()
    template, data = found[-1]
    inputs = {"data": json.dumps({**data, "fonts": FONTS, "unprinted": ""})}
    drawn = typst.compile(template.encode(), sys_inputs=inputs, ignore_system_fonts=True, format="png", ppi=50.8)
    return [Image.open(io.BytesIO(page)).convert("L") for page in ([drawn] if isinstance(drawn, bytes) else drawn)]


@pytest.mark.slow
def test_nothing_runs_off_the_page(monkeypatch):
    long = ABC.format(title="W" * 190).replace("|", '|"Cmaj7"EGEG|"Dm7"FAFA|' * 12, 1)
    wide = [
        {"kind": "harmonise_phrase", "tune": long, "first": 1, "last": 24},
        {"kind": "find_gaps", "tune": str(BLUES), "first": 1, "last": 12},
        {"kind": "mend", "tune": str(BLUES), "first": 1, "last": 8},
        {"kind": "find_grips", "chord": "C7", "spread": "drop 2 and 4", "frets": 22},
    ]
    for made in (every_kind(level=3), every_kind(paper="us-letter"), sheet("W" * 120, wide)):
        for write in (sheet_pdf, key_pdf):
            for page in laid_out(monkeypatch, write, made):
                width, height = page.size
                for edge in ((0, 0, 28, height), (width - 28, 0, width, height), (0, 0, width, 28)):
                    assert page.crop(edge).getextrema() == (255, 255), edge
                # between text and footer, and under the footer
                for edge in ((0, height - 38, width, height - 29), (0, height - 14, width, height)):
                    assert page.crop(edge).getextrema() == (255, 255), edge
                assert page.getextrema()[0] < 100


def test_a_picture_that_fits_no_page_is_refused():
    made = sheet("Long", [{"kind": "mend", "tune": ABC.format(title="x") + '"C6"EGEG|"F6"FAFA|' * 30, "last": 60}])
    with pytest.raises(HarmonyError, match="question 1: its picture is too high for a page; choose fewer bars"):
        sheet_pdf(made)


# --- hostile texts ------------------------------------------------------------------------------------------------


def test_hostile_titles_are_only_text():
    title = " ".join(HOSTILE.split())[:120]
    made = sheet(HOSTILE[:120], [{"kind": "harmonise_bar", "tune": ABC.format(title=HOSTILE.replace("\n", " "))}])
    for pdf in (sheet_pdf(made), key_pdf(made)):
        text = squeezed("".join(pages(pdf)))
        assert squeezed(title) in text
        assert squeezed(made.exercises[0].question) in text
        assert b"/URI" not in pdf
    notebook = filled(made, {})
    for cell in notebook["cells"]:
        source = "".join(cell["source"])
        if cell["cell_type"] == "markdown":
            own = "\n\n![The picture of question 1](attachment:question_01.png)"
            page = markdown2html(source.removesuffix(own))
            assert set(re.findall(r"<(\w+)", page)) <= {"h1", "a", "p", "strong", "em", "code"}
            assert page.count("<a ") == page.count("anchor-link") == page.count("<h1") == (cell["id"] == "title")
            assert "$" not in source
    head = markdown2html("".join(notebook["cells"][0]["source"]))
    assert title in " ".join(html.unescape(re.sub("<[^>]*>", "", head)).split())


@given(st.text(max_size=60))
def test_escaped_text_shows_itself(text):
    page = markdown2html("x " + escaped(text))
    assert re.findall(r"<(\w+)", page) == ["p"]
    shown = html.unescape(re.sub("</?p>", "", page))
    assert shown.split() == ["x", *plain(text).split()]


def test_the_first_cell_makes_the_exercises_from_literals_alone():
    made = sheet("x", [{"kind": "harmonise_bar", "tune": ABC.format(title='");import os#\\')}, spell("Ebm7")])
    source = "".join(filled(made, {})["cells"][1]["source"])
    first, *rest = ast.parse(source).body
    assert ast.unparse(first) == "from harmonylib import exercise, hand_in"
    assert len(rest) == 2
    for statement in rest:
        call = statement.value
        assert call.func.id == "exercise"
        assert all(isinstance(value, ast.Constant) for value in [*call.args, *(word.value for word in call.keywords)])


# --- the learner's notebook ---------------------------------------------------------------------------------------


def test_the_notebook_is_valid_and_carries_its_sheet_and_pictures():
    made = every_kind()
    notebook = nbformat.reads(learner(made), as_version=4)
    nbformat.validate(notebook)
    assert from_sheet_data(notebook.metadata["harmonylib"]) == made
    sources = {cell.id: cell.source for cell in notebook.cells}
    assert len(sources) == len(notebook.cells) == 2 + 2 * len(KINDS)
    for number, task in made.numbered:
        cell = next(cell for cell in notebook.cells if cell.id == f"question-{number}")
        assert cell.source.startswith(f"**{number}.** {escaped(task.question)}")
        assert sources[f"answer-{number}"] == f"hand_in(task_{number:02}, {number})"
        assert bool(task.picture) == bool(cell.get("attachments"))
        for name, data in cell.get("attachments", {}).items():
            assert f"(attachment:{name})" in cell.source
            assert data["image/png"].startswith("iVBORw0KGgo")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("fill", "reply"),
    [
        (lambda made: filled(made, {}), "Not started"),
        (solved, "Right"),
    ],
)
def test_the_notebook_runs_through_in_any_folder(fill, reply, tmp_path, monkeypatch):
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    tasks = [{"kinds": list(KINDS), "count": len(KINDS)}, {"kind": "harmonise_bar", "tune": str(BLUES), "bar": 2}]
    made = sheet("All kinds", tasks, seed=21)
    notebook = nbformat.reads(json.dumps(fill(made)), as_version=4)
    for number, _ in made.numbered:
        given = f"globals().get('answer_{number:02}', ...)"
        notebook.cells.append(nbformat.v4.new_code_cell(f"task_{number:02}.check({given})", id=f"check-{number}"))
    NotebookClient(notebook, timeout=60, resources={"metadata": {"path": str(tmp_path)}}).execute()
    for number, task in made.numbered:
        cells = {cell.id: cell for cell in notebook.cells}
        checked, asked = cells[f"check-{number}"].outputs, cells[f"answer-{number}"].outputs
        assert checked[0].data["text/plain"].startswith(reply), (task, checked)
        if reply == "Not started":
            assert asked[0].data["text/plain"] == task.question
            assert "application/vnd.jupyter.widget-view+json" in asked[0].data
            assert asked[1].data[ANSWER] == {"number": number, "answer": ""}


def box_answer(notebook, number, text, copies=1):
    """The notebook with an answer as its box saves it."""
    cell = next(cell for cell in notebook["cells"] if cell["id"] == f"answer-{number}")
    cell["outputs"] += [{"output_type": "display_data", "metadata": {}, "data": record(number, text)}] * copies
    return notebook


def test_what_a_box_has_saved_is_marked_and_code_goes_before_it(tmp_path):
    hand_in(tmp_path, "boxes", box_answer(box_answer(filled(PLAIN, {}), 1, RIGHT[1]), 2, "C E G B"))
    hand_in(tmp_path, "both", box_answer(filled(PLAIN, RIGHT), 1, "C E G"))
    hand_in(tmp_path, "twice", box_answer(filled(PLAIN, {}), 1, RIGHT[1], copies=2))
    two = box_answer(box_answer(filled(PLAIN, {}), 1, RIGHT[1]), 1, "C")
    hand_in(tmp_path, "two", two)
    odd = filled(PLAIN, {})
    odd["cells"][-1]["outputs"] = [
        {"data": {ANSWER: data}}
        for data in (5, None, {"number": "1", "answer": "C"}, {"number": 1}, {"number": 1, "answer": "C" * 5000})
    ] + [{"data": 3}, 7]
    hand_in(tmp_path, "odd", odd)
    assert states(tmp_path, PLAIN) == {
        **{("boxes", 1): "right", ("boxes", 2): "not yet", ("both", 1): "right", ("both", 2): "right"},
        **{("twice", 1): "right", ("twice", 2): "not started", ("two", 1): "not yet", ("two", 2): "not started"},
        **{("odd", 1): "not started", ("odd", 2): "not started"},
    }


def test_a_box_starts_with_the_answer_its_file_holds(tmp_path, monkeypatch):
    file = tmp_path / "anna.ipynb"
    monkeypatch.setenv("JPY_SESSION_NAME", str(file))
    assert saved_before(1) == ""
    file.write_text(json.dumps(box_answer(filled(PLAIN, {}), 1, "Eb Gb")))
    assert (saved_before(1), saved_before(2)) == ("Eb Gb", "")
    file.write_text("[")
    assert saved_before(1) == ""


@pytest.mark.few(2)
@pytest.mark.parametrize("kind", KINDS)
def test_solutions_are_marked_right_and_stubs_not_started(kind, tmp_path):
    for level in (1, 2, 3):
        made = sheet("x", [{"kind": kind, "count": 4}], seed=8, level=level)
        hand_in(tmp_path, "solved", solved(made))
        hand_in(tmp_path, "stub", filled(made, {}))
        told = {"solved": "right", "stub": "not started"}
        assert states(tmp_path, made) == {(name, n): state for name, state in told.items() for n in range(1, 5)}


# --- marking ------------------------------------------------------------------------------------------------------

PLAIN = sheet("Two", [{"kind": "spell", "chord": "Ebm7"}, {"kind": "drop", "chord": "Cmaj7", "top": "E"}])
RIGHT = {1: "Eb Gb Bb Db", 2: "C G B E"}


def test_right_wrong_empty_and_every_spelling_of_an_answer(tmp_path):
    cases = {
        "right": (RIGHT, ("right", "right")),
        "wrong": ({1: "Eb G Bb Db", 2: 7}, ("not yet", "not yet")),
        "half": ({1: ["Eb", "Gb", "Bb", "Db"]}, ("right", "not started")),
        "none": ({1: None, 2: ""}, ("not started", "not started")),
        "odd": ({1: {1, 2}, 2: b"C G B E"}, ("not yet", "not yet")),
        "complex": ({1: 1j, 2: (-1, +2.5, 10**300)}, ("not yet", "not yet")),
    }
    for name, (values, _) in cases.items():
        hand_in(tmp_path, name, filled(PLAIN, values))
    assert states(tmp_path, PLAIN) == {(name, n): case[1][n - 1] for name, case in cases.items() for n in (1, 2)}


MALICIOUS = {
    "writes": "answer_01 = open({canary!r}, 'w').write('x')",
    "imports": "answer_01 = __import__('os').system('touch ' + {canary!r})",
    "beside": "open({canary!r}, 'w')\nanswer_01 = eval('1')",
    "decorated": "@print\nclass A: open({canary!r}, 'w')\nanswer_01: open({canary!r}, 'w') = (lambda: A)()",
    "formatted": "answer_01 = f'{{open({canary!r}, chr(119))}}'",
    "walrus": "answer_01 = (x := open({canary!r}, 'w'))",
    "default": "def f(a=open({canary!r}, 'w')): pass\nanswer_01 = f",
    "magic": "!touch {canary}\nanswer_01 = 'C'",
    "pickle": "import pickle\nanswer_01 = pickle.loads(b'cposix\\nsystem\\n(S\"touch {canary}\"\\ntR.')",
    "long": "answer_01 = '" + "C" * 1_000_000 + "'",
    "deep": "answer_01 = " + "[" * 100_000 + "]" * 100_000,
    "deeper": "answer_01 = " + "[" * 3000 + "]" * 3000,
    "minus": "answer_01 = " + "-" * 7000 + "1",
    "sum": "answer_01 = " + "1+" * 3900 + "1",
    "dots": "answer_01 = a" + ".b" * 3900,
    "power": "answer_01 = 9**9**9**9",
    "huge": "answer_01 = " + "9" * 7900,
    "hex": "answer_01 = 0x" + "f" * 7900,
    "repeat": "answer_01 = 'C' * 10**12",
    "nul": "answer_01 = 'C\x00'\x00",
    "surrogate": "answer_01 = '\ud800'",
    "unhashable": "answer_01 = {{[]: 1}}",
    "syntax": "answer_01 = Eb Gb Bb Db",
    "unclosed": "answer_01 = 'Eb Gb",
    "twice": "answer_01 = 'Eb Gb Bb Db'\nanswer_01 = 'C'",
    "renamed": "answer_1st = 'Eb Gb Bb Db'",
    "hidden": "if True:\n    answer_01 = 'Eb Gb Bb Db'",
    "star": "answer_01, answer_02 = 'a', 'b'",
    "escape": "answer_01 = '\\d \\x1b[31m'",
}
WRONG_BUT_READ = {
    "default": "not yet",
    "huge": "not read",
    "surrogate": "not read",
    "hex": "not yet",
    "escape": "not yet",
    "twice": "not yet",
    "syntax": "right",
}


@pytest.mark.parametrize("name", MALICIOUS)
def test_nothing_a_learner_wrote_is_run(name, tmp_path, monkeypatch, recwarn):
    def caught(*_, **__):
        raise AssertionError("marking ran something")

    canary = tmp_path / "canary"
    source = MALICIOUS[name].format(canary=str(canary)) if "{" in MALICIOUS[name] else MALICIOUS[name]
    notebook = filled(PLAIN, {2: RIGHT[2]})
    next(cell for cell in notebook["cells"] if cell["id"] == "answer-1")["source"] = source
    hand_in(tmp_path / "back", "a", notebook)
    hand_in(tmp_path / "back", "b", filled(PLAIN, RIGHT))
    for place in ("os.system", "subprocess.Popen", "builtins.eval", "builtins.exec"):
        monkeypatch.setattr(place, caught)
    start = time.perf_counter()
    found = states(tmp_path / "back", PLAIN)
    assert time.perf_counter() - start < 2
    monkeypatch.undo()
    assert not canary.exists()
    expected = WRONG_BUT_READ.get(name, "not read")
    assert found == {("a", 1): expected, ("a", 2): "right", ("b", 1): "right", ("b", 2): "right"}
    assert not recwarn.list


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "The file is empty."),
        (b"  \n", "The file is empty."),
        (b"{", "The file is not a notebook: it holds no JSON."),
        (b"\xff\xfe\xfd", "it holds no JSON"),
        (b"[" * 100_000, "it holds no JSON"),
        (b'{"a":' * 100_000, "it holds no JSON"),
        (b"9" * 100_000, "it holds no JSON"),
        (b"[]", "it holds no cells"),
        (b'{"cells": 3}', "it holds no cells"),
        (b'{"worksheets": [{"cells": []}]}', "it holds no cells"),
        (b'{"cells": [' + b"1," * 2000 + b"1]}", "holds more than 2000 cells"),
        (
            json.dumps({"cells": [{"cell_type": "code", "source": "answer_01 = " + "1+" * 3900}] * 60}).encode(),
            "400000",
        ),
        (b" " * 5_000_001, "larger than 5 MB"),
        (b'{"cells": [], "x": "' + b"x" * 5_000_000 + b'"}', "larger than 5 MB"),
    ],
)
def test_a_file_that_is_no_notebook_has_one_row(content, told, tmp_path):
    hand_in(tmp_path, "a", content)
    hand_in(tmp_path, "b", filled(PLAIN, RIGHT))
    start = time.perf_counter()
    rows = mark(tmp_path, PLAIN).rows
    assert time.perf_counter() - start < 2
    assert [(row.learner, row.number, row.state) for row in rows[:1]] == [("a", 0, "not read")]
    assert re.search(told, rows[0].reply)
    assert [row.state for row in rows[1:]] == ["right", "right"]


def test_odd_cells_links_folders_and_names(tmp_path):
    back = tmp_path / "back"
    hand_in(back, "bare", {"cells": []})
    hand_in(
        back, "odd", {"cells": [3, None, {"cell_type": "code"}, {"cell_type": "code", "source": [1, "answer_01 = 1"]}]}
    )
    hand_in(back, "text", {"cells": [{"cell_type": "markdown", "source": "answer_01 = 'Eb Gb Bb Db'"}]})
    hand_in(back, "=1+1\n\x1b[31m", filled(PLAIN, RIGHT))
    hand_in(
        back, "short", {"cells": [{"cell_type": "code", "source": ["answer_1 = 'Eb Gb ", "Bb Db'\n", "answer_2=..."]}]}
    )
    hand_in(tmp_path, "secret", filled(PLAIN, RIGHT))
    (back / "link.ipynb").symlink_to(tmp_path / "secret.ipynb")
    (back / "zero.ipynb").symlink_to("/dev/zero")
    (back / "folder.ipynb").mkdir()
    (back / ".hidden.ipynb").write_text("{")
    (back / "notes.txt").write_text("x")
    os.mkfifo(back / "pipe.ipynb")
    marks = mark(back, PLAIN)
    found = {(row.learner, row.number): row.state for row in marks.rows}
    both = {"bare": ("not read", "not read"), "odd": ("not yet", "not read"), "text": ("not read", "not read")}
    both |= {"=1+1 [31m": ("right", "right"), "short": ("right", "not started")}
    expected = {(name, n): pair[n - 1] for name, pair in both.items() for n in (1, 2)}
    assert found == expected | {(name, 0): "not read" for name in ("link", "zero", "folder", "pipe")}
    assert [row.reply for row in marks.rows if row.learner == "bare"] == [
        f"answer_0{n} is missing: its cell was removed or renamed." for n in (1, 2)
    ]
    assert "\x1b" not in summary(marks)
    table = list(csv.reader(io.StringIO(marks_csv(marks))))
    assert table[0] == ["learner", "exercise", "kind", "right", "reply"]
    assert table[1][0] == "'=1+1 [31m"


def test_a_stub_left_beside_an_answer_does_not_count():
    cells = [{"cell_type": "code", "source": text} for text in ("answer_01 = ...", "answer_01 = 'Eb Gb Bb Db'")]
    found = answers({"cells": cells})
    assert found == {1: [..., "Eb Gb Bb Db"]}
    assert _marked("a", 1, PLAIN, found).state == "right"


def test_what_the_file_says_of_its_exercises_is_not_believed(tmp_path):
    forged = filled(PLAIN, {1: "C E G Bb", 2: "C E G Bb"})
    easy = {"kind": "spell", "chord": "C7"}
    forged["metadata"]["harmonylib"]["exercises"] = [easy, easy]
    forged["metadata"]["harmonylib"]["seed"] = 99
    hand_in(tmp_path, "forged", forged)
    marks = mark(tmp_path, PLAIN)
    assert [row.state for row in marks.rows] == ["not yet", "not yet"]
    assert marks.remarks == (
        "forged: the file says that it was made from other exercises (seed 99) than those it is marked by "
        "(seed 0, level 1)",
    )
    forged["cells"] = [cell for cell in forged["cells"] if "answer_02" not in "".join(cell["source"])]
    forged["cells"] = [cell for cell in forged["cells"] if "hand_in(task_02" not in "".join(cell["source"])]
    hand_in(tmp_path, "forged", forged)
    assert mark(tmp_path, PLAIN).rows[1].reply == "answer_02 is missing: the file was made from another sheet."
    for odd in (None, 3, [], {"harmonylib": 3}, {"harmonylib": {"exercises": "x", "seed": "\x1b"}}):
        hand_in(tmp_path, "forged", {**filled(PLAIN, RIGHT), "metadata": odd})
        assert [row.state for row in mark(tmp_path, PLAIN).rows] == ["right", "right"]


def test_the_key_is_the_file_or_the_notebook_and_is_no_learner(spec, tmp_path):
    made = read_spec(spec)
    back = tmp_path / "back"
    hand_in(back, "key", filled(made, {}))
    hand_in(back, "anna", solved(made))
    assert read_key(back / "key.ipynb") == read_key(spec) == made
    rows = mark(back, made, back / ".." / "back" / "key.ipynb").rows
    assert {row.learner for row in rows} == {"anna"}
    assert {row.state for row in rows} == {"right"}
    assert read_key(spec, seed=9) == read_spec(spec, seed=9) != made


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"{}", "'key.ipynb' is not a notebook"),
        (b'{"cells": []}', "carries no sheet"),
        (b'{"cells": [], "metadata": {"harmonylib": 3}}', "no sheet as data"),
        (b'{"cells": [], "metadata": []}', "carries no sheet"),
    ],
)
def test_a_key_without_a_sheet_is_refused(content, told, tmp_path):
    hand_in(tmp_path, "key", content)
    with pytest.raises(HarmonyError, match=told):
        read_key(tmp_path / "key.ipynb")


def test_folders_that_cannot_be_marked_are_refused(tmp_path, monkeypatch):
    with pytest.raises(HarmonyError, match="cannot be read"):
        mark(tmp_path / "none", PLAIN)
    with pytest.raises(HarmonyError, match="holds no notebooks"):
        mark(tmp_path, PLAIN)
    for name in "abc":
        hand_in(tmp_path, name, b"{}")
    monkeypatch.setattr(returning, "MOST_FILES", 2)
    with pytest.raises(HarmonyError, match="holds 3 notebooks; at most 2"):
        mark(tmp_path, PLAIN)


JSON = st.recursive(
    st.none() | st.integers() | st.text(max_size=20) | st.sampled_from(["answer_01 = 1", "answer_02 = [", "code"]),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.sampled_from(["cells", "cell_type", "source", "metadata", "id"]), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(st.lists(JSON | st.fixed_dictionaries({"cell_type": st.just("code"), "source": JSON}), max_size=5))
def test_any_cells_can_be_read(cells):
    for number, values in answers({"cells": cells}).items():
        assert _marked("x", number, PLAIN, {number: values}).state in STATES if number in (1, 2) else True


@settings(max_examples=draws(300))
@given(st.text(alphabet="answer_01=[](){}'\"\\ \n,:.-+*x357bC#!%\t\x00é", max_size=80))
def test_any_source_can_be_read(text):
    for _, value in _assigned(f"answer_01 = {text}", {}):
        assert isinstance(value, Unmarked) or PLAIN.exercises[0].check(value).text


# --- what the teacher gets ----------------------------------------------------------------------------------------


@pytest.fixture
def returned(tmp_path):
    back = tmp_path / "back"
    hand_in(back, "ben", filled(PLAIN, {1: RIGHT[1], 2: "x"}))
    hand_in(back, "Änne", filled(PLAIN, RIGHT))
    hand_in(back, "carl", b"{")
    hand_in(back, "dora", filled(PLAIN, {2: "x"}))
    return back


def test_table_summary_and_picture_tell_the_same(returned, tmp_path):
    marks = mark(returned, PLAIN)
    assert summary(marks).splitlines() == [
        "learner    right",
        "ben          1/2  not yet: 2",
        "carl           –  The file is not a notebook: it holds no JSON.",
        "dora         0/2  not yet: 2; not started: 1",
        "Änne         2/2",
    ]
    paths = write_marks(marks, tmp_path / "out")
    assert [path.name for path in paths] == ["marks.csv", "class_overview.pdf", "class_overview.svg"]
    data = paths[0].read_bytes()
    assert data.startswith(b"\xef\xbb\xbflearner,exercise,kind,right,reply\r\n")
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))[1:]
    assert [row[:4] for row in rows] == [
        ["ben", "1", "spell", "yes"],
        ["ben", "2", "drop", "no"],
        ["ben", "total", "", "1 of 2"],
        ["carl", "all", "", "no"],
        ["carl", "total", "", "0 of 2"],
        ["dora", "1", "spell", "no"],
        ["dora", "2", "drop", "no"],
        ["dora", "total", "", "0 of 2"],
        ["Änne", "1", "spell", "yes"],
        ["Änne", "2", "drop", "yes"],
        ["Änne", "total", "", "2 of 2"],
    ]
    assert rows[0][4] == "Right: E♭m7 is E♭ G♭ B♭ D♭."
    picture = overview(marks)
    assert picture.text == (
        "Two (seed 0, level 1): 1 spell: 2 right, 1 not started, 1 not read; 2 drop: 1 right, 2 not yet, 1 not read"
    )
    assert paths[2].read_text(encoding="utf-8") == picture.svg
    assert len(pypdf.PdfReader(paths[1]).pages) == 1
    again = write_marks(mark(returned, PLAIN), tmp_path / "again")
    assert [path.read_bytes() for path in again] == [path.read_bytes() for path in paths]


def test_two_files_of_one_shown_name_are_two_learners(tmp_path):
    for name in ("anna", "anna\x01"):
        hand_in(tmp_path, name, filled(PLAIN, RIGHT))
    marks = mark(tmp_path, PLAIN)
    assert summary(marks).count("anna") == 2
    assert overview(marks).text.count("2 right") == 2


@pytest.mark.slow
def test_the_overview_holds_a_large_class_and_a_long_sheet():
    made = sheet("Wide " * 24, [{"kind": "drop", "count": 60}], level=3)
    rows = [
        Row(f"l{n}", number, "drop", list(STATES)[(n + number) % 4], "")
        for n in range(300)
        for number, _ in made.numbered
    ]
    page = Image.open(io.BytesIO(overview(Marks(made, tuple(rows))).png(490))).convert("L")
    width, height = page.size
    for edge in ((0, 0, 3, height), (width - 3, 0, width, height), (0, height - 3, width, height)):
        assert page.crop(edge).getextrema() == (255, 255)


# --- the commands -------------------------------------------------------------------------------------------------


def test_worksheet_writes_three_files_and_mark_reads_them_back(spec, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["worksheet", str(spec), "--out", str(out), "--seed", "5", "--paper", "a4"]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Monday: 5 exercises, seed 5, level 2\nWritten: ")
    names = ["monday_key.pdf", "monday_learner.ipynb", "monday_sheet.pdf"]
    assert sorted(path.name for path in out.iterdir()) == names
    made = read_spec(spec, 5, "a4")
    assert (out / "monday_sheet.pdf").read_bytes() == sheet_pdf(made)
    assert (out / "monday_key.pdf").read_bytes() == key_pdf(made)
    assert (out / "monday_learner.ipynb").read_text(encoding="utf-8") == learner(made)
    back = tmp_path / "back"
    hand_in(back, "anna", solved(made))
    for key in (["--seed", "5"], ["--key", str(out / "monday_learner.ipynb")]):
        assert main(["mark", str(back), "--out", str(out / "marks"), *key]) == 0
        told = capsys.readouterr().out
        assert "anna         5/5\n" in told
        assert "Note:" not in told
    assert main(["mark", str(back), "--out", str(out / "marks")]) == 0
    assert "Note: anna: the file says that it was made from other exercises (seed 5)" in capsys.readouterr().out


def test_all_files_are_written_or_none(spec, tmp_path, capsys):
    out = tmp_path / "out"
    (out / "monday_key.pdf").mkdir(parents=True)
    assert main(["worksheet", str(spec), "--out", str(out)]) == 2
    told = capsys.readouterr().err
    assert "nothing was written" in told
    assert told.count("\n") == 1
    assert [path.name for path in out.iterdir()] == ["monday_key.pdf"]
    with pytest.raises(HarmonyError, match="nothing was written"):
        write_worksheet(PLAIN, spec, "x")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["worksheet", "none.toml"], "'none.toml' was not found"),
        (["mark", "{back}", "--key", "none.toml"], "'none.toml' was not found"),
        (["mark", "{back}"], "name the sheet's own file with --key"),
        (["mark", "{spec}"], "cannot be read as a folder"),
        (["mark", "nowhere"], "'nowhere' cannot be read as a folder: name that of the notebooks that came back"),
    ],
)
def test_commands_refuse_in_one_line(arguments, told, spec, tmp_path, capsys):
    (tmp_path / "other.toml").write_text("x")
    (tmp_path / "back").mkdir()
    if arguments[1] == "{spec}":
        (tmp_path / "other.toml").unlink()
    filled_in = [word.format(back=tmp_path / "back", spec=spec) for word in arguments]
    assert main([*filled_in, "--out", str(tmp_path / "out")]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert told in shown.err
    assert shown.err.count("\n") == 1
    assert not (tmp_path / "out").exists()
