"""Marking: a folder of returned notebooks becomes marks; nothing in them is ever run.

The exercises come from the teacher's own TOML file or notebook. Of a returned notebook only the values behind
``answer_01 = …`` are read, as data: text, numbers, lists; and the text that answer boxes have saved. What else it
holds, its metadata too, is left alone.

Conventions
- A learner is the name of a file without its suffix, or of the folder it came back in; learners stand in the order of
  their names.
- An answer is what a top-level assignment gives; of several the last counts, and a stub beside it does not.
- An answer without quotes is read as the text it is; a name stands for what the notebook itself gave it before.
- Sizes are limited before anything is parsed. A file that cannot be read has one row, which says why.

Sources: the notebook format 4 (nbformat); Python's own `ast.literal_eval`.
"""

from __future__ import annotations

import ast
import hashlib
import json
import os
import re
import warnings
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from harmonylib.classroom.handing import recorded
from harmonylib.classroom.marks import Marks, Row
from harmonylib.classroom.notebook import METADATA
from harmonylib.classroom.returned import Unmarked, read_returned, returned
from harmonylib.classroom.sheets import Sheet, from_sheet_data, read_spec
from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import Reply
from harmonylib.files import read_limited
from harmonylib.wording import plain

MOST_CELLS, MOST_LETTERS, DEEPEST = 2000, 8000, 12
"""Cells of a notebook; letters and nested brackets of a cell with an answer."""

MOST_IN_ALL = 400_000
"""Letters of all cells with answers in a notebook."""

KEY_BYTES = 50_000_000

LONGEST_SHOWN = 120
"""Letters of an answer that is given back."""

_ASSIGNED = re.compile(r"^[ \t]*answer_(\d{1,4})[ \t]*(?::[^=\n]{0,80})?=(?!=)", re.M)

_WORDS = re.compile(r"[\w#♯♭°øΔ, +-]{1,200}")
GONE = "its cell was removed or renamed"
NOT_PLAIN = "the answer is not plain: write text in quotes, a number, or a list of those"

_ASKED = re.compile(r"^hand_in\(task_\d{1,4}, (\d{1,4})\)", re.M)

_NAME = re.compile(r"answer_(\d{1,4})")


class Saved(str):
    """An answer that a box has saved; one that was typed in code goes before it."""


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
    if not os.path.isdir(folder):  # unlike that of a Path it takes any name
        raise HarmonyError(f"{str(folder)!r} cannot be read as a folder: name that of the notebooks that came back")
    beside = sorted(Path(os.path.realpath(folder)).parent.glob("*.toml"))
    if len(beside) != 1:
        there = f"{len(beside)} TOML files lie" if beside else "no TOML file lies"
        raise HarmonyError(f"{there} beside {str(folder)!r}: name the sheet's own file with --key")
    return beside[0]


def mark(folder: str | Path, made: Sheet, key: str | Path | None = None, name: str | None = None) -> Marks:
    """Every returned notebook of a folder and of the learners' folders in it, marked by a sheet.

    The file `key` is not taken for a learner's. With `name`, the files of that name are marked, one in each folder.
    Raises `HarmonyError` for a folder that cannot be read, is empty or holds too many notebooks.
    """
    rows: list[Row] = []
    remarks: list[str] = []
    given: dict[str, list[str]] = {}
    for one in returned(Path(folder), name, key):
        learner = plain(one.learner) or "unnamed"
        if not one.names:
            rows.append(Row(learner, 0, "", "not read", f"No file named {name} is there."))
            continue
        try:
            notebook = _notebook(read_returned(Path(folder), one.names))
            found = answers(notebook)
        except Unmarked as error:
            rows.append(Row(learner, 0, "", "not read", f"The file {error}."))
            continue
        another = _another_sheet(notebook, made)
        remarks += [f"{learner}: {said}" for said in another]
        gone = "the file was made from another sheet" if another else GONE
        marked = [_marked(learner, number, made, found, gone) for number, _ in made.numbered]
        rows += marked
        if any(row.state == "not yet" for row in marked):
            given.setdefault(_alike(found), []).append(learner)
    remarks += [
        f"the answers are the same, letter for letter: {', '.join(same)}" for same in given.values() if same[1:]
    ]
    return Marks(made, tuple(rows), tuple(remarks))


def _alike(found: Mapping[int, Sequence[object]]) -> str:
    """A digest that is the same for the same answers."""
    given = [(number, [hex(one) if type(one) is int else one for one in values]) for number, values in found.items()]
    try:
        text = repr(sorted(given))
    except ValueError:  # a whole number too long to be written out, inside a list
        text = os.urandom(16).hex()
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()


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
    sources = [text for cell in code if (text := _source(cell.get("source")))]
    asked = [text for text in sources if _ASSIGNED.search(text, 0, MOST_LETTERS)]
    if sum(min(len(text), MOST_LETTERS) for text in asked) > MOST_IN_ALL:
        raise Unmarked(f"gives more than {MOST_IN_ALL} letters of answers")
    found: dict[int, list[object]] = {}
    known: dict[str, object] = {}
    room = MOST_IN_ALL
    for source in sources:
        room -= 0 if source in asked else len(source)
        if source in asked or room > 0:
            for number, value in _assigned(source, known):
                found.setdefault(number, []).append(value)
    for source in map(_source, (cell.get("source") for cell in code)):
        for number in map(int, _ASKED.findall(source, 0, MOST_LETTERS)):
            found.setdefault(number, []).append(...)
    for number, text in dict.fromkeys(recorded(notebook)):
        typed = [value for value in found.get(number, ()) if value is not ...]
        if not typed or isinstance(typed[-1], Saved):
            found.setdefault(number, []).append(Saved(text) if text.strip() else ...)
    return found


def _source(source: object) -> str:
    if isinstance(source, list):
        return "".join(line for line in source if isinstance(line, str))
    return source if isinstance(source, str) else ""


def _assigned(source: str, known: dict[str, object]) -> Iterator[tuple[int, object]]:
    """The numbers and values of the answers a cell gives; other names that it gives a plain value go into `known`."""
    try:
        statements = _parsed(source).body
    except Unmarked as error:
        for number in dict.fromkeys(_ASSIGNED.findall(source, 0, MOST_LETTERS)):
            lines = [line for line in source[:MOST_LETTERS].splitlines() if re.match(rf"answer_{number}[ \t]*=", line)]
            yield int(number), _unquoted(lines[-1]) if lines else error
        return
    for statement in statements:
        if not isinstance(statement, (ast.Assign, ast.AnnAssign)) or statement.value is None:
            continue
        targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
        names = [target.id for target in targets if isinstance(target, ast.Name)]
        numbers = dict.fromkeys(int(found[1]) for name in names if (found := _NAME.fullmatch(name)))
        value = _value(statement.value, source, known)
        for number in numbers:
            yield number, value
        if not isinstance(value, Unmarked):
            known.update((name, value) for name in names)


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


def _value(value: ast.expr, source: str, known: Mapping[str, object]) -> object:
    """A literal; what a name stands for; or the words of the line as they are, where they are nothing but words."""
    if isinstance(value, ast.Name) and value.id in known:
        return known[value.id]
    try:
        return ast.literal_eval(value)
    except (ValueError, TypeError, SyntaxError, RecursionError, MemoryError):
        words = isinstance(value, (ast.Name, ast.Tuple, ast.List, ast.BinOp))
        return _unquoted(re.split("\r\n|\r|\n", source)[value.lineno - 1]) if words else Unmarked(NOT_PLAIN)


def _unquoted(line: str) -> object:
    """What a line gives after its equals sign, as text: note names, chords, numbers; a remark is cut off."""
    words = re.sub(r"\s#.*", "", line.partition("=")[2]).strip().removeprefix("[").removesuffix("]")
    return words.replace(",", " ").strip() if _WORDS.fullmatch(words) else Unmarked(NOT_PLAIN)


def _marked(learner: str, number: int, made: Sheet, found: Mapping[int, Sequence[object]], gone: str = GONE) -> Row:
    task, name = made.exercises[number - 1], f"answer_{number:02}"
    given = found.get(number, ())
    written = [value for value in given if value is not ...]
    if not given:
        return Row(learner, number, task.kind, "not read", f"{name} is missing: {gone}.")
    value = written[-1] if written else ...
    if isinstance(value, Unmarked):
        return Row(learner, number, task.kind, "not read", f"{name}: {value}.")
    reply = task.check(value)
    said = f"{name} is given {len(written)} times; the last counts. " if len(written) > 1 else ""
    return Row(learner, number, task.kind, _state(reply), said + plain(repr(reply)), _as_written(value))


def _as_written(value: object) -> str:
    """An answer in one line, not too long, as its page gives it back; nothing for one that is still to come.

    >>> _as_written("Eb G  Bb"), _as_written(["C", "E"]), _as_written(2), _as_written(...)
    ('Eb G Bb', 'C, E', '2', '')
    """
    if value is ...:
        return ""
    words = isinstance(value, (list, tuple)) and all(isinstance(one, str) for one in value)
    try:
        text = ", ".join(value) if words else value if isinstance(value, str) else repr(value)  # type: ignore[arg-type]
    except ValueError:  # a whole number too long to be written out
        return ""
    text = plain(text)
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


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
