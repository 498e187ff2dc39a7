"""Work sheets: a set of exercises as a printed sheet, its key, and a notebook for the learner.

A set comes from a call, `sheet("Monday", [{"kind": "spell", "count": 4}], seed=7)`, or from a TOML file with `title`,
`seed`, `level`, `paper` and one ``[[tasks]]`` table for each exercise or group:

    [[tasks]]                          [[tasks]]
    kind = "drop"                      kinds = ["spell", "which_degree"]
    chord = "Ebm7"                     count = 4

Conventions
- A table with `count` is drawn by the seed and level of the sheet; any other one is the exercise it describes.
- Questions are numbered from 1, and question 3 is number 3 on the sheet, in the key and in the notebook.
- A tune that is named by its file goes along as text, so that a notebook works in any folder; a TOML file names tunes
  as seen from its own folder.
- Every text reaches Typst as data and Markdown escaped. Same sheet, same bytes; seed and level stand at the foot of the
  page, so a key can be made again.

Sources: TOML 1.0, PDF, the notebook format 4.5 (nbformat), CommonMark for what is escaped. The layout is ours.
"""

from __future__ import annotations

import base64
import json
import os
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from harmonylib.diagrams import THEME_VARIABLE, neck_picture
from harmonylib.exercise_answers import shown
from harmonylib.exercise_base import LEVELS
from harmonylib.exercise_tunes import TuneExercise, place
from harmonylib.exercises import KINDS, Exercise, exercise_set, from_data
from harmonylib.files import safe_stem, write_together
from harmonylib.notation import plain
from harmonylib.pitch import HarmonyError
from harmonylib.printing import LINE_MM, PAPERS, PRINT_FONT, drawn_pages, plain_signs
from harmonylib.reading_musicxml import unpacked

MOST_EXERCISES, LONGEST_TITLE, SHORT_TITLE = 200, 120, 50
LARGEST = 2_000_000
"""Bytes of a TOML file, or of a tune that goes along as text."""
SETTINGS = ("title", "seed", "level", "paper", "tasks")
WRITING: dict[str, tuple[tuple[str, ...], int]] = {
    # kind               what each line is for, blank necks
    "spell": (("",), 0),
    "drop": (("",), 0),
    "name_inversion": (("",), 0),
    "next_inversion": (("",), 1),
    "find_grips": (("", ""), 1),
    "find_root": (("string of the root", "spread"), 0),
    "which_degree": (("",), 0),
    "which_diminished": (("diminished seventh", "which of the three"), 0),
    "shell": (("",), 1),
    "harmonise_bar": ((), 0),
    "harmonise_phrase": ((), 0),
    "find_gaps": (("",), 0),
    "answer_call": (("beats after, length, grip",) * 3, 1),
    "mend": (("place", "grip"), 0),
}
"""The room to write in on paper; where the notes of a tune are asked for, each of them has a line of its own."""


@dataclass(frozen=True, repr=False)
class Sheet:
    """A set of exercises with its title, the seed and level it was drawn with, and the paper it is printed on.

    >>> sheet("Monday", [{"kind": "spell", "chord": "Ebm7"}, {"kind": "drop", "count": 1}], seed=2)
    Monday (seed 2, level 1)
    1. Spell E♭m7 from the root up: 4 notes.
    2. Cm7 in close position with E♭ on top is G B♭ C E♭. Make it drop 2: which notes are they now, bottom to top?
    """

    title: str
    exercises: tuple[Exercise, ...]
    seed: int = 0
    level: int = 1
    paper: str = PAPERS[0]

    def __post_init__(self) -> None:
        if not isinstance(self.title, str) or not plain(self.title) or len(self.title) > LONGEST_TITLE:
            raise HarmonyError(f"title {shown(self.title)}: write one line of text, at most {LONGEST_TITLE} letters")
        if type(self.seed) is not int:
            raise HarmonyError(f"seed {shown(self.seed)}: give a whole number")
        if type(self.level) is not int or self.level not in LEVELS:
            raise HarmonyError(f"level {shown(self.level)}: choose 1, 2 or 3")
        if self.paper not in PAPERS:
            raise HarmonyError(f"paper {shown(self.paper)}: choose {' or '.join(PAPERS)}")
        if not 1 <= len(self.exercises) <= MOST_EXERCISES:
            raise HarmonyError(f"{len(self.exercises)} exercises: a sheet holds 1 to {MOST_EXERCISES}")
        object.__setattr__(self, "title", plain(self.title))

    @property
    def numbered(self) -> tuple[tuple[int, Exercise], ...]:
        """The exercises with their numbers, from 1."""
        return tuple(enumerate(self.exercises, start=1))

    @cached_property
    def origin(self) -> str:
        """How the set was drawn: “seed 2, level 1”."""
        return f"seed {self.seed}, level {self.level}"

    def as_data(self) -> dict[str, Any]:
        """The sheet as text and numbers; `from_sheet_data` reads it."""
        tasks = [task.as_data() for task in self.exercises]
        return {"title": self.title, "seed": self.seed, "level": self.level, "paper": self.paper, "exercises": tasks}

    def __repr__(self) -> str:
        asked = [f"{number}. {task.question}" for number, task in self.numbered]
        return "\n".join([f"{self.title} ({self.origin})", *asked])


# --- making a sheet -----------------------------------------------------------------------------------------------


def sheet(
    title: str,
    tasks: Sequence[Exercise | Mapping[str, Any]],
    seed: int = 0,
    level: int = 1,
    paper: str = PAPERS[0],
) -> Sheet:
    """A sheet of exercises, of exercises as data, and of groups drawn by seed and level, in this order.

    A group is a dictionary with `count` and `kind` or `kinds`, which take turns. Raises `HarmonyError` that names the
    task that cannot serve.

    >>> made = sheet("Monday", [{"kinds": ["spell", "drop"], "count": 3}], seed=5)
    >>> [task.kind for task in made.exercises]
    ['spell', 'drop', 'spell']
    """
    return _sheet(title, [(f"task {number}", task) for number, task in enumerate(tasks, start=1)], seed, level, paper)


def _sheet(
    title: str, named: Sequence[tuple[str, object]], seed: int, level: int, paper: str, folder: str = ""
) -> Sheet:
    slots: list[Exercise | str] = []
    for where, task in named:
        try:
            slots += _slots(task, folder)
        except HarmonyError as error:
            raise HarmonyError(f"{where}: {error}") from error
        if len(slots) > MOST_EXERCISES:
            raise HarmonyError(f"{where}: a sheet holds at most {MOST_EXERCISES} exercises")
    return Sheet(title, tuple(_filled(slots, seed, level)), seed, level, paper)


def _filled(slots: Sequence[Exercise | str], seed: int, level: int) -> Iterator[Exercise]:
    """The exercises; one is drawn for each slot that names only a kind, and none is drawn that is there already."""
    fixed = [slot for slot in slots if isinstance(slot, Exercise)]
    kinds = [slot for slot in slots if isinstance(slot, str)]
    spare = [task.kind for task in fixed if task.kind in kinds]  # one more for each that may be drawn a second time
    drawn = exercise_set([*kinds, *spare], len(kinds) + len(spare), seed, level) if kinds else ()
    asked = {task.question for task in fixed}
    free = {kind: iter([t for t in drawn if t.kind == kind and t.question not in asked]) for kind in kinds}
    for slot in slots:
        yield slot if isinstance(slot, Exercise) else next(free[slot])


def _slots(task: object, folder: str) -> list[Exercise | str]:
    """The exercises of a task; of a group that is drawn, the kind of each."""
    if isinstance(task, Exercise):
        return [_portable(task)]
    if not isinstance(task, Mapping):
        raise HarmonyError(f"{shown(task)} is no exercise: give one, or a table with its kind and material")
    if "count" not in task and "kinds" not in task:
        odd = [name for name, value in task.items() if type(value) not in (str, int, float)]
        if odd:
            raise HarmonyError(f"{odd[0]} {shown(task[odd[0]])}: give text or a number")
        return [_portable(from_data({**task, **_beside(task, folder)}))]
    odd = [name for name in task if name not in ("kind", "kinds", "count")]
    if odd:
        raise HarmonyError(f"a group that is drawn takes kind or kinds, and count; it takes no {shown(odd[0])}")
    if len(task) != 2 or "count" not in task:
        raise HarmonyError("a group that is drawn takes count, and either kind or kinds")
    kinds, count = task.get("kinds", [task.get("kind")]), task["count"]
    if not isinstance(kinds, (list, tuple)) or not kinds or not all(isinstance(kind, str) for kind in kinds):
        raise HarmonyError(f"kinds {shown(kinds)}: give a list of kinds of exercise")
    if type(count) is not int or not 1 <= count <= MOST_EXERCISES:
        raise HarmonyError(f"count {shown(count)}: give a whole number from 1 to {MOST_EXERCISES}")
    unknown = [kind for kind in kinds if kind not in KINDS]
    if unknown:
        raise HarmonyError(f"{shown(unknown[0])} is not a kind of exercise: choose {', '.join(KINDS)}")
    return [kinds[number % len(kinds)] for number in range(count)]


def _beside(task: Mapping[str, Any], folder: str) -> dict[str, str]:
    """The name of a task's tune as seen from `folder`."""
    tune = task.get("tune")
    return {"tune": str(Path(folder, tune))} if isinstance(tune, str) and tune.strip() and "\n" not in tune else {}


def _portable(task: Exercise) -> Exercise:
    """The exercise with its tune as text instead of the name of a file."""
    tune = task.tune.strip() if isinstance(task, TuneExercise) else ""
    if not tune or "\n" in tune:
        return task
    data = read_limited(Path(tune), LARGEST)
    text = _decoded(unpacked(data) if tune.lower().endswith(".mxl") else data)
    text = text.replace("\r\n", "\n").replace("\r", "\n").strip()
    if len(text) > LARGEST:
        raise HarmonyError(f"{tune!r} unpacks to more than {LARGEST // 1_000_000} MB: too large to go along")
    lines = text if "\n" in text else text.replace("><", ">\n<", 1)  # one line would be the name of a file
    return from_data({**task.as_data(), "tune": lines})


def _decoded(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def read_spec(path: str | Path, seed: int | None = None, paper: str | None = None) -> Sheet:
    """The sheet a TOML file describes; `seed` and `paper` take the place of those in the file.

    Raises `HarmonyError`, in one line, with the file and the line or task that cannot serve.
    """
    file = Path(path)
    try:
        text = read_limited(file, LARGEST).decode("utf-8-sig").replace("\r\n", "\n")
        spec = tomllib.loads(text)
    except UnicodeDecodeError:
        raise HarmonyError(f"{file.name!r} is not text in UTF-8: save it again as such") from None
    except RecursionError:
        raise HarmonyError(f"{file.name!r} is not TOML for a sheet: brackets in brackets in brackets") from None
    except ValueError as error:  # a number of thousands of digits is one, too
        raise HarmonyError(f"{file.name!r} is not TOML: {plain(str(error))}") from None
    try:
        odd = [name for name in spec if name not in SETTINGS]
        if odd:
            raise HarmonyError(f"{shown(odd[0])} is no setting of a sheet: choose {', '.join(SETTINGS)}")
        tasks = spec.get("tasks", [])
        if not isinstance(tasks, list) or not tasks:
            raise HarmonyError("no tasks: write a [[tasks]] table for each exercise or group")
        level, paper = spec.get("level", 1), paper or spec.get("paper", PAPERS[0])
        named = list(zip(_task_places(text, len(tasks)), tasks, strict=True))
        seed = spec.get("seed", 0) if seed is None else seed
        return _sheet(spec.get("title", file.stem), named, seed, level, paper, str(file.parent))
    except HarmonyError as error:
        raise HarmonyError(f"{file.name!r}: {plain(str(error))}") from error
    except RecursionError:
        raise HarmonyError(f"{file.name!r} holds names of too many parts: a sheet needs none with a dot") from None


def _task_places(text: str, count: int) -> list[str]:
    """What to call each task in an error: its number, and its line when every task has a heading."""
    lines = [n for n, line in enumerate(text.split("\n"), start=1) if re.match(r"\s*\[\[\s*tasks\s*\]\]", line)]
    if len(lines) != count:
        return [f"task {number}" for number in range(1, count + 1)]
    return [f"task {number} (line {line})" for number, line in enumerate(lines, start=1)]


def read_limited(file: Path, most: int) -> bytes:
    """The bytes of a file of the teacher's; raises `HarmonyError`."""
    try:
        with file.open("rb") as stream:
            data = stream.read(most + 1)
    except FileNotFoundError:
        raise HarmonyError(f"{str(file)!r} was not found: check the name and the folder") from None
    except (OSError, ValueError) as error:
        raise HarmonyError(f"{str(file)!r} cannot be opened: {getattr(error, 'strerror', '') or error}") from None
    if len(data) > most:
        raise HarmonyError(f"{str(file)!r} is larger than {most // 1_000_000} MB")
    return data


def from_sheet_data(data: object) -> Sheet:
    """The sheet that `Sheet.as_data` wrote.

    >>> made = sheet("Monday", [{"kind": "spell", "count": 2}])
    >>> from_sheet_data(made.as_data()) == made
    True
    """
    names = ("title", "seed", "level", "paper", "exercises")
    if not isinstance(data, Mapping) or set(data) != set(names) or not isinstance(data["exercises"], list):
        raise HarmonyError(f"this is no sheet as data: give {', '.join(names)}")
    tasks = tuple(from_data(item) for item in data["exercises"])
    return Sheet(data["title"], tasks, data["seed"], data["level"], data["paper"])


# --- pictures -----------------------------------------------------------------------------------------------------


@contextmanager
def _on_paper() -> Iterator[None]:
    """Pictures inside are drawn for paper, also where the course stands on a projector."""
    before = os.environ.pop(THEME_VARIABLE, None)
    try:
        yield
    finally:
        if before is not None:
            os.environ[THEME_VARIABLE] = before


def _music(task: Exercise) -> list[str]:
    """The melody a learner harmonises, engraved over an empty tablature, a line of music an SVG; empty for others."""
    if task.kind not in ("harmonise_bar", "harmonise_phrase") or not isinstance(task, TuneExercise):
        return []
    made = task.arrangement
    bare = [replace(choice, grip=None, voicing=None, diminished=None) for choice in made.choices]
    options = {"pageHeight": 100, "smuflTextFont": "none", "minLastJustification": 0}  # short bars are widened
    pages = drawn_pages(replace(made, choices=tuple(bare), answers=()), LINE_MM, options, *task.span)
    return [plain_signs(page, PRINT_FONT) for page in pages]


PICTURE = """
#let data = json(bytes(sys.inputs.data))
#set page(width: 180mm, height: auto, margin: 2mm)
#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"))
#for line in data { block(spacing: 3mm, image(bytes(line), format: "svg", width: 100%)) }
"""


def _png(task: Exercise) -> bytes | None:
    """The picture of a question as a notebook shows it without a kernel and without being trusted."""
    music = _music(task)
    if music:
        return _typst(PICTURE, music, format="png", ppi=170)
    return task.picture.png(960) if task.picture else None


def _typst(template: str, data: object, **how: Any) -> bytes:
    import typst

    made = typst.compile(template.encode(), sys_inputs={"data": json.dumps(data)}, ignore_system_fonts=True, **how)
    return bytes(made)


# --- paper --------------------------------------------------------------------------------------------------------

TEMPLATE = """
#let data = json(bytes(sys.inputs.data))
#set document(title: data.title, date: none)
#set page(
  paper: data.paper,
  margin: (x: 15mm, top: 15mm, bottom: 20mm),
  footer: context {
    set text(size: 8pt)
    grid(columns: (1fr, auto), column-gutter: 5mm, data.footer, counter(page).display("1 / 1", both: true))
  },
)
#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"), size: 10.5pt, lang: "en")
#show regex("[x0-9]+(-[x0-9]+){3,}"): box  // a grip stays on one line
#let blank = align(bottom, line(length: 100%, stroke: 0.5pt))
#block(sticky: true, below: 6mm, text(size: 18pt, weight: "bold", data.title))
#if data.head.len() > 0 {
  let fields = data.head.map(name => (box(height: 7mm, align(bottom, name)), blank)).flatten()
  grid(columns: (auto, 2fr, auto, 1fr), column-gutter: 3mm, ..fields)
  v(5mm)
}
#for item in data.questions {
  block(width: 100%, above: 8mm, breakable: item.long, {
    block(sticky: true, grid(columns: (9mm, 1fr), strong(str(item.number) + "."), item.question))
    set block(spacing: 3mm)
    for figure in item.figures {
      let width = if figure.width > 0 { figure.width * 1pt } else { 100% }
      pad(left: 9mm, block(breakable: false, image(bytes(figure.svg), format: "svg", width: width)))
    }
    if item.labels.len() > 0 {
      let cell(label) = (box(height: 8.5mm, align(bottom, label)), blank)
      let columns = if item.labels.len() > 3 { (auto, 1fr, auto, 1fr) } else { (auto, 1fr) }
      pad(left: 9mm, grid(columns: columns, column-gutter: 3mm, ..item.labels.map(cell).flatten()))
    }
    for solution in item.solutions { pad(left: 9mm, solution) }
  })
}
"""
FIGURE_SCALE, SMALLEST_SCALE, TALLEST = 0.75, 0.4, 620
"""How large pictures are printed, how small at least, and how high at most, in points."""
MUSIC, ROW, TEXT_ROW, ROW_LETTERS, PAGE = 130, 24, 16, 90, 620
"""About how high a line of music, a line to write on and a line of text are, and what fits a page, in points."""


def sheet_pdf(made: Sheet) -> bytes:
    """The sheet as PDF: name and date, numbered questions with their pictures and room to write."""
    with _on_paper():
        questions = [_question(number, task) for number, task in made.numbered]
    return _pdf(made, made.title, ("Name", "Date"), questions)


def key_pdf(made: Sheet) -> bytes:
    """The key to the sheet as PDF: every question by the same number, a right answer, and what is so."""
    answers = [
        [f"Answer: {said(task.solution())}", f"{task.truth[:1].upper()}{task.truth[1:]}."] for task in made.exercises
    ]
    asked = [
        {**_bare(number, task), "solutions": [_soft(text) for text in told], "long": _text_high(task, *told) > PAGE}
        for (number, task), told in zip(made.numbered, answers, strict=True)
    ]
    return _pdf(made, f"{made.title} – key", (), asked)


def _pdf(made: Sheet, title: str, head: Sequence[str], questions: Sequence[Mapping[str, Any]]) -> bytes:
    data = {"title": _soft(title, 20), "paper": made.paper, "head": head, "questions": questions}
    short = made.title if len(made.title) <= SHORT_TITLE else made.title[: SHORT_TITLE - 1] + "…"
    return _typst(TEMPLATE, {**data, "footer": f"{short} · {made.origin}"}, format="pdf")


def _bare(number: int, task: Exercise) -> dict[str, Any]:
    asked: dict[str, Any] = {"number": number, "question": _soft(task.question), "long": False}
    return {**asked, "figures": [], "labels": [], "solutions": []}


def _question(number: int, task: Exercise) -> dict[str, Any]:
    """A question with its pictures and room to write."""
    labels, necks = WRITING.get(task.kind, (("",), 0))
    if isinstance(task, TuneExercise) and not labels:
        tune = task.arrangement.tune
        labels = tuple(
            f"{place(tune, choice.note.onset)} {choice.chord or 'N.C.'} {choice.note.pitch}"
            for choice in task.arrangement.choices
        )
    music = _music(task)
    pictures = [*([task.picture] if task.picture and not music else []), *[neck_picture(task.neck, ())] * necks]
    scales = [min(FIGURE_SCALE, TALLEST / picture.height) for picture in pictures]
    if min(scales, default=1) < SMALLEST_SCALE:
        raise HarmonyError(f"question {number}: its picture is too high for a page; choose fewer bars")
    figures = [{"svg": line, "width": 0} for line in music]
    figures += [{"svg": p.svg, "width": p.width * scale} for p, scale in zip(pictures, scales, strict=True)]
    rows = len(labels) if len(labels) <= 3 else (len(labels) + 1) // 2
    high = sum(p.height * scale for p, scale in zip(pictures, scales, strict=True)) + MUSIC * len(music) + ROW * rows
    return {**_bare(number, task), "figures": figures, "labels": labels, "long": high + _text_high(task) > PAGE}


def _text_high(task: Exercise, *more: str) -> float:
    """About how high a question and what is written under it are, in points."""
    return TEXT_ROW * sum(1 + len(text) / ROW_LETTERS for text in (task.question, *more))


def _soft(text: str, most: int = 40) -> str:
    """One line in which a word of more than `most` letters may be broken at the end of a line.

    >>> len(_soft("x" * 100)), _soft("a\\nb")
    (102, 'a b')
    """
    return re.sub(rf"(\S{{{most}}})(?=\S)", "\\1\u200b", plain(text))


def said(answer: object) -> str:
    """A solution as a person would write it.

    >>> said("C E G B"), said({"root": 5, "spread": "drop 2"}), said([("1", "1", "x7958x"), ("2", "1", "x3545x")])
    ('C E G B', 'root 5, spread drop 2', '1, 1, x7958x; 2, 1, x3545x')
    """
    if isinstance(answer, Mapping):
        return ", ".join(f"{name} {value}" for name, value in answer.items())
    if isinstance(answer, (list, tuple)):
        return ("; " if any(isinstance(item, (list, tuple)) for item in answer) else ", ").join(map(said, answer))
    return str(answer)


# --- the learner's notebook ---------------------------------------------------------------------------------------

METADATA = "harmonylib"
"""The name under which a notebook carries its sheet as data."""
_ACTIVE = re.compile(r"[!#$%&*+/:<=>@\[\\\]^_`{|}~]|\.(?=[A-Za-z])")
LONGEST_SHOWN = 3000
HOW = (
    "Write each answer after its equals sign: text in quotes, a number, or a list of those. Run the cell, then the "
    "check under it. `task_01.hint(1)` in a cell of your own helps with question 1. Save, and hand the file in under "
    "your name."
)


def learner(made: Sheet) -> str:
    """The sheet as a notebook (JSON text): a question, a cell to answer in and a check for every exercise.

    It needs this library and no network. Its metadata carry the sheet as data.

    >>> cells = json.loads(learner(sheet("Monday", [{"kind": "spell", "chord": "C7"}])))["cells"]
    >>> ["".join(cell["source"]) for cell in cells[-2:]]
    ['answer_01 = ...', 'task_01.check(answer_01)']
    """
    lines = ["from harmonylib import exercise", ""]
    lines += [f"{_named('task', n)} = {_call(task)}" for n, task in made.numbered]
    start = "\n".join(lines)
    folded = {"jupyter": {"source_hidden": True}} if len(start) > LONGEST_SHOWN else {}
    head = f"# {escaped(made.title)}\n\n{HOW}\n\n{made.origin[0].upper()}{made.origin[1:]}."
    cells = [_cell("title", "markdown", head), _cell("tasks", "code", start, folded)]
    with _on_paper():
        for number, task in made.numbered:
            cells.append(_asked(number, task))
            answer = _named("answer", number)
            cells.append(_cell(f"answer-{number}", "code", f"{answer} = ...", {"tags": ["answer"]}))
            cells.append(_cell(f"check-{number}", "code", f"{_named('task', number)}.check({answer})"))
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    metadata = {"kernelspec": kernel, "language_info": {"name": "python"}, METADATA: made.as_data()}
    notebook = {"cells": cells, "metadata": metadata, "nbformat": 4, "nbformat_minor": 5}
    return json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def _asked(number: int, task: Exercise) -> dict[str, Any]:
    """The Markdown cell of a question, with its picture inside."""
    text = f"**{number}.** {escaped(task.question)}\n\n*How to answer:* {escaped(task.form)}."
    picture = _png(task)
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


# --- files --------------------------------------------------------------------------------------------------------


def write_worksheet(made: Sheet, folder: str | Path, stem: str) -> tuple[Path, ...]:
    """Write stem_sheet.pdf, stem_key.pdf and stem_learner.ipynb into a folder, all of them or none; returns the paths.

    Raises `HarmonyError` that names the folder and the cause.
    """
    name = safe_stem(stem)
    files = {
        f"{name}_sheet.pdf": sheet_pdf(made),
        f"{name}_key.pdf": key_pdf(made),
        f"{name}_learner.ipynb": learner(made).encode(),
    }
    return write_together(files, folder)
