"""Marking: a folder of returned notebooks becomes a table and a picture of the class; nothing in them is ever run.

The exercises come from the teacher's own TOML file or notebook. Of a returned notebook only the values behind
``answer_01 = …`` are read, as literals: text, numbers, lists. What else it holds, its metadata too, is left alone.

Conventions
- A learner is the name of a file without its suffix; learners stand in the order of their names.
- An answer is what one top-level assignment gives; a stub that is still there beside it does not count.
- Sizes are limited before anything is parsed. A file that cannot be read has one row, which says why.

Sources: the notebook format 4 (nbformat); Python's own `ast.literal_eval`; CSV as RFC 4180 has it.
"""

from __future__ import annotations

import ast
import csv
import io
import json
import os
import re
import stat
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from harmonylib.diagrams import OKABE_ITO, Pen, Picture, ems, folded, named_theme, text_on
from harmonylib.exercises import Reply
from harmonylib.files import write_together
from harmonylib.notation import plain
from harmonylib.pitch import HarmonyError
from harmonylib.tables import safe_cell
from harmonylib.worksheets import METADATA, Sheet, from_sheet_data, read_limited, read_spec

MOST_FILES, MOST_BYTES, MOST_CELLS, MOST_LETTERS, DEEPEST = 1000, 5_000_000, 2000, 8000, 12
"""Notebooks in a folder; bytes and cells of a notebook; letters and nested brackets of a cell with an answer."""
MOST_IN_ALL = 400_000
"""Letters of all cells with answers in a notebook."""
KEY_BYTES = 50_000_000
COLUMNS = ("learner", "exercise", "kind", "right", "reply")
STATES = {
    # state        colour of its part of a bar
    "right": "bluish green",
    "not yet": "vermillion",
    "not started": "sky blue",
    "not read": "black",
}
_ASSIGNED = re.compile(r"^[ \t]*answer_(\d{1,4})[ \t]*(?::[^=\n]{0,80})?=(?!=)", re.M)
_NAME = re.compile(r"answer_(\d{1,4})")


class Unmarked(HarmonyError):
    """An answer or a notebook that cannot be read; the message says why."""


@dataclass(frozen=True)
class Row:
    """One answer of a learner; `number` is 0 for a notebook that cannot be read at all. `state` is one of `STATES`."""

    learner: str
    number: int
    kind: str
    state: str
    reply: str


@dataclass(frozen=True)
class Marks:
    """What a folder of notebooks came to."""

    sheet: Sheet
    rows: tuple[Row, ...]
    remarks: tuple[str, ...] = ()


# --- the teacher's side -------------------------------------------------------------------------------------------


def read_key(path: str | Path, seed: int | None = None) -> Sheet:
    """The sheet behind a TOML file or a notebook that `worksheet` made; it must be the teacher's own copy.

    `seed` is the one the sheet was drawn with, where it is not the one in the TOML file.
    """
    file = Path(path)
    if file.suffix.lower() != ".ipynb":
        return read_spec(file, seed)
    data = read_limited(file, KEY_BYTES)
    try:
        return from_sheet_data(_notebook(data)["metadata"][METADATA])
    except Unmarked as error:
        raise HarmonyError(f"{file.name!r} {error}") from None
    except (KeyError, TypeError):
        raise HarmonyError(f"{file.name!r} carries no sheet: name the TOML file or the notebook made from it") from None


def find_key(folder: Path) -> Path:
    """The one TOML file beside the folder; raises `HarmonyError` when there is none or a choice."""
    beside = sorted(Path(os.path.realpath(folder)).parent.glob("*.toml"))
    if len(beside) != 1:
        there = f"{len(beside)} TOML files lie" if beside else "no TOML file lies"
        raise HarmonyError(f"{there} beside {str(folder)!r}: name the sheet's own file with --key")
    return beside[0]


# --- reading what came back ---------------------------------------------------------------------------------------


def mark(folder: str | Path, made: Sheet, key: str | Path | None = None) -> Marks:
    """Every returned notebook of a folder, marked by a sheet; the file `key` is not taken for a learner's.

    Raises `HarmonyError` for a folder that cannot be read, is empty or holds too many notebooks.
    """
    rows: list[Row] = []
    remarks: list[str] = []
    for path in _returned(Path(folder), key):
        learner = plain(path.stem) or "unnamed"
        try:
            notebook = _notebook(_bytes(path))
            found = answers(notebook)
        except Unmarked as error:
            rows.append(Row(learner, 0, "", "not read", f"The file {error}."))
            continue
        remarks += [f"{learner}: {said}" for said in _another_sheet(notebook, made)]
        rows += (_marked(learner, number, made, found) for number, _ in made.numbered)
    return Marks(made, tuple(rows), tuple(remarks))


def _returned(folder: Path, key: str | Path | None) -> list[Path]:
    try:
        names = [name for name in os.listdir(folder) if name.lower().endswith(".ipynb") and not name.startswith(".")]
    except OSError as error:
        raise HarmonyError(f"the folder {str(folder)!r} cannot be read: {error.strerror or error}") from None
    own = Path(key).parent.resolve() / Path(key).name if key else None
    paths = [folder / name for name in sorted(names) if folder.resolve() / name != own]
    if not paths:
        raise HarmonyError(f"the folder {str(folder)!r} holds no notebooks: put the files that came back in it")
    if len(paths) > MOST_FILES:
        raise HarmonyError(f"the folder {str(folder)!r} holds {len(paths)} notebooks; at most {MOST_FILES} at a time")
    return paths


def _bytes(path: Path) -> bytes:
    """The bytes of a plain file; links and devices are not followed."""
    try:
        if not stat.S_ISREG(path.lstat().st_mode):
            raise Unmarked("is a link or a folder, not a notebook")
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise Unmarked(f"cannot be opened: {error.strerror or error}") from None
    if len(data) > MOST_BYTES:
        raise Unmarked(f"is larger than {MOST_BYTES // 1_000_000} MB")
    return data


def _notebook(data: bytes) -> dict[str, Any]:
    """A notebook as data."""
    if not data.strip():
        raise Unmarked("is empty")
    try:
        found = json.loads(data)
    except (ValueError, RecursionError, MemoryError):
        raise Unmarked("is not a notebook: it holds no JSON") from None
    if not isinstance(found, dict) or not isinstance(found.get("cells"), list):
        raise Unmarked("is not a notebook of format 4: it holds no cells")
    if len(found["cells"]) > MOST_CELLS:
        raise Unmarked(f"holds more than {MOST_CELLS} cells")
    return found


def answers(notebook: Mapping[str, Any]) -> dict[int, list[object]]:
    """Every value given to ``answer_01``, ``answer_02`` … by number; an `Unmarked` stands for one that is no value.

    >>> answers({"cells": [{"cell_type": "code", "source": "answer_01 = 'C E G'\\nanswer_02 = open('x')"}]})
    {1: ['C E G'], 2: [Unmarked('the answer is not plain: write text in quotes, a number, or a list of those')]}
    """
    code = [cell for cell in notebook["cells"] if isinstance(cell, dict) and cell.get("cell_type") == "code"]
    sources = [text for cell in code if _ASSIGNED.search(text := _source(cell.get("source")), 0, MOST_LETTERS)]
    if sum(min(len(text), MOST_LETTERS) for text in sources) > MOST_IN_ALL:
        raise Unmarked(f"gives more than {MOST_IN_ALL} letters of answers")
    found: dict[int, list[object]] = {}
    for source in sources:
        for number, value in _assigned(source):
            found.setdefault(number, []).append(value)
    return found


def _source(source: object) -> str:
    if isinstance(source, list):
        return "".join(line for line in source if isinstance(line, str))
    return source if isinstance(source, str) else ""


def _assigned(source: str) -> Iterator[tuple[int, object]]:
    """The numbers and values of the answers a cell gives."""
    try:
        statements = _parsed(source).body
    except Unmarked as error:
        for number in dict.fromkeys(_ASSIGNED.findall(source, 0, MOST_LETTERS)):
            yield int(number), error
        return
    for statement in statements:
        if not isinstance(statement, (ast.Assign, ast.AnnAssign)) or statement.value is None:
            continue
        targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
        names = [_NAME.fullmatch(target.id) for target in targets if isinstance(target, ast.Name)]
        for number in dict.fromkeys(int(name[1]) for name in names if name):
            yield number, _literal(statement.value)


def _parsed(source: str) -> ast.Module:
    """The syntax tree of a cell that is short and flat enough to be parsed; it is never compiled."""
    if len(source) > MOST_LETTERS:
        raise Unmarked(f"the cell is longer than {MOST_LETTERS} letters")
    depth = 0
    for sign in source:
        depth += (sign in "([{") - (sign in ")]}")
        if depth > DEEPEST:
            raise Unmarked("the cell has brackets in brackets in brackets: write the answer in one row")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return ast.parse(source)
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        raise Unmarked("the cell cannot be read: write text in quotes, a number, or a list of those") from None


def _literal(value: ast.expr) -> object:
    try:
        return ast.literal_eval(value)
    except (ValueError, TypeError, SyntaxError, RecursionError, MemoryError):
        return Unmarked("the answer is not plain: write text in quotes, a number, or a list of those")


def _marked(learner: str, number: int, made: Sheet, found: Mapping[int, Sequence[object]]) -> Row:
    task, name = made.exercises[number - 1], f"answer_{number:02}"
    given = found.get(number, ())
    written = [value for value in given if value is not ...]
    if not given:
        return Row(learner, number, task.kind, "not read", f"{name} is missing: its cell was removed or renamed.")
    if len(written) > 1:
        return Row(learner, number, task.kind, "not read", f"{name} is given {len(written)} times: keep one of them.")
    value = written[0] if written else ...
    if isinstance(value, Unmarked):
        return Row(learner, number, task.kind, "not read", f"{name}: {value}.")
    reply = task.check(value)
    return Row(learner, number, task.kind, _state(reply), plain(repr(reply)))


def _state(reply: Reply) -> str:
    return "right" if reply.right else "not yet" if reply.started else "not started"


def _another_sheet(notebook: Mapping[str, Any], made: Sheet) -> list[str]:
    """A remark when the file says that it was made from another set; nothing else is taken from what it says."""
    metadata = notebook.get("metadata")
    said = metadata.get(METADATA) if isinstance(metadata, dict) else None
    if not isinstance(said, dict) or said.get("exercises") == made.as_data()["exercises"]:
        return []
    seed = said.get("seed")
    other = f" (seed {seed})" if type(seed) is int and abs(seed) < 10**9 and seed != made.seed else ""
    return [f"the file says that it was made from other exercises{other} than those it is marked by ({made.origin})"]


# --- what the teacher gets ----------------------------------------------------------------------------------------


def marks_csv(marks: Marks) -> str:
    """One row an answer, as RFC 4180 has it; a cell that a spreadsheet would take for a formula gets an apostrophe."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in marks.rows:
        number = str(row.number) if row.number else "all"
        right = "yes" if row.state == "right" else "no"
        writer.writerow(safe_cell(value) for value in (row.learner, number, row.kind, right, row.reply))
    return buffer.getvalue()


def summary(marks: Marks) -> str:
    """A line a learner: how many are right, and the numbers of those that are not, by state."""
    total = len(marks.sheet.exercises)
    lines = []
    for learner, rows in _by_learner(marks):
        if rows[0].number == 0:
            lines.append((learner, "–", rows[0].reply))
            continue
        told = [f"{state}: {listed}" for state in list(STATES)[1:] if (listed := _numbers(rows, state))]
        lines.append((learner, f"{sum(row.state == 'right' for row in rows)}/{total}", "; ".join(told)))
    names = max(len("learner"), *(len(line[0]) for line in lines))
    table = [("learner", "right", ""), *lines]
    return "\n".join(f"{name:{names}}  {right:>7}  {told}".rstrip() for name, right, told in table)


def _by_learner(marks: Marks) -> list[tuple[str, list[Row]]]:
    """The rows of each file; two files may bear the same name once signs that are not shown are gone."""
    groups: list[tuple[str, list[Row]]] = []
    for row in marks.rows:
        if row.number <= 1:
            groups.append((row.learner, []))
        groups[-1][1].append(row)
    return groups


def _numbers(rows: Sequence[Row], state: str) -> str:
    return ", ".join(str(row.number) for row in rows if row.state == state)


def overview(marks: Marks, theme: str | None = None) -> Picture:
    """The class at a glance: for every exercise a bar of how many have it right, not yet, not started or not read."""
    look = named_theme(theme)
    counts = [
        {state: sum(row.number == number and row.state == state for row in marks.rows) for state in STATES}
        for number, _ in marks.sheet.numbered
    ]
    broken = sum(row.number == 0 for row in marks.rows)
    learners = len(_by_learner(marks))
    for count in counts:
        count["not read"] += broken
    names = [f"{number}  {task.kind.replace('_', ' ')}" for number, task in marks.sheet.numbered]
    left = 1.05 * look.label * max(ems(name) for name in names) + 16
    lane, unit = 1.25 * look.mark, (look.width - left - 12) / max(learners, 1)
    title = f"{marks.sheet.title} ({marks.sheet.origin})"
    heading = folded(
        f"{learners} notebooks came back; a bar is the class, from right to not read", look.small, look.width - 10
    )
    head = 1.9 * look.chord + 1.5 * look.small * len(heading) + 2.6 * look.small
    height = lane * len(counts) + head + 6

    def draw(pen: Pen) -> None:
        for row, words in enumerate(heading):
            pen.write(6, height - 1.9 * look.chord - 1.5 * look.small * (row + 0.6), words, colour=look.soft)
        x, y = 6.0, height - head + 0.8 * look.small
        for state, colour in STATES.items():
            pen.area([(x, x + look.small, y - 1, y + look.small - 1)], OKABE_ITO[colour], look.ink)
            pen.write(x + 1.4 * look.small, y, state)
            x += (2.6 + ems(state)) * look.small
        for index, (name, count) in enumerate(zip(names, counts, strict=True)):
            bottom = height - head - lane * (index + 1)
            middle = bottom + 0.5 * lane - 0.36 * look.label
            pen.write(left - 6, middle, name, "label", align="right")
            start = left
            for state, colour in STATES.items():
                end = start + unit * count[state]
                if count[state]:
                    pen.area([(start, end, bottom + 0.12 * lane, bottom + 0.88 * lane)], OKABE_ITO[colour], look.ink)
                    words = str(count[state])
                    if end - start > ems(words) * look.label:
                        ink = text_on(OKABE_ITO[colour])
                        pen.write((start + end) / 2, middle, words, "label", align="center", colour=ink, bold=True)
                start = end

    told = [
        f"{name.replace('  ', ' ')}: {', '.join(f'{number} {state}' for state, number in count.items() if number)}"
        for name, count in zip(names, counts, strict=True)
    ]
    return Picture(title, plain(f"{title}: {'; '.join(told)}"), look.width, height, look, draw)


def write_marks(marks: Marks, folder: str | Path) -> tuple[Path, ...]:
    """Write marks.csv, class_overview.pdf and class_overview.svg into a folder, all of them or none."""
    picture = overview(marks, "paper")
    files = {
        "marks.csv": marks_csv(marks).encode("utf-8-sig"),
        "class_overview.pdf": picture.pdf(),
        "class_overview.svg": picture.svg.encode(),
    }
    return write_together(files, folder)
