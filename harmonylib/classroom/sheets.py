"""Work sheets: a set of exercises, from a call or from a TOML file.

The call is `sheet("Monday", [{"kind": "spell", "count": 4}], seed=7)`; the file has `title`, `seed`, `level`, `paper`
and one ``[[tasks]]`` table for each exercise or group:

    [[tasks]]                          [[tasks]]
    kind = "drop"                      kinds = ["spell", "which_degree"]
    chord = "Ebm7"                     count = 4

Conventions
- A table with `count` is drawn by the seed and level of the sheet; any other one is the exercise it describes.
- Kinds, spreads, strings and roots are read however they are written (`harmonylib.classroom.loosely`).
- A tune that is named by its file goes along as text; a TOML file names tunes as seen from its own folder.

Source: TOML 1.0.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from harmonylib.classroom.loosely import understood
from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import REGISTRY, Exercise
from harmonylib.exercises.catalogue import KINDS, exercise_set, from_data
from harmonylib.exercises.draws import LEVELS
from harmonylib.exercises.tunes import TuneExercise
from harmonylib.exercises.written import quoted
from harmonylib.files import read_limited
from harmonylib.pictures.look import PAPERS, look
from harmonylib.tunes.container import unpacked
from harmonylib.wording import plain

MOST_EXERCISES, LONGEST_TITLE, SHORT_TITLE = 200, 120, 50

LARGEST = 2_000_000
"""Bytes of a TOML file, or of a tune that goes along as text."""

SETTINGS = ("title", "seed", "level", "paper", "tasks")


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
            raise HarmonyError(f"title {quoted(self.title)}: write one line of text, at most {LONGEST_TITLE} letters")
        if type(self.seed) is not int:
            raise HarmonyError(f"seed {quoted(self.seed)}: give a whole number")
        if type(self.level) is not int or self.level not in LEVELS:
            raise HarmonyError(f"level {quoted(self.level)}: choose 1, 2 or 3")
        if self.paper not in PAPERS:
            raise HarmonyError(f"paper {quoted(self.paper)}: choose {' or '.join(PAPERS)}")
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


def sheet(
    title: str,
    tasks: Sequence[Exercise | Mapping[str, Any]],
    seed: int = 0,
    level: int = 1,
    paper: str = "",
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
    return Sheet(title, tuple(_filled(slots, seed, level)), seed, level, paper or look().paper)


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
        raise HarmonyError(f"{quoted(task)} is no exercise: give one, or a table with its kind and material")
    task = understood(task)
    if "count" not in task and "kinds" not in task:
        odd = [name for name, value in task.items() if type(value) not in (str, int, float, bool)]
        if odd:
            raise HarmonyError(f"{odd[0]} {quoted(task[odd[0]])}: give text or a number")
        return [_portable(from_data({**task, **_beside(task, folder)}))]
    odd = [name for name in task if name not in ("kind", "kinds", "count")]
    if odd:
        raise HarmonyError(f"a group that is drawn takes kind or kinds, and count; it takes no {quoted(odd[0])}")
    if len(task) != 2 or "count" not in task:
        raise HarmonyError("a group that is drawn takes count, and either kind or kinds")
    kinds, count = task.get("kinds", [task.get("kind")]), task["count"]
    if not isinstance(kinds, (list, tuple)) or not kinds or not all(isinstance(kind, str) for kind in kinds):
        raise HarmonyError(f"kinds {quoted(kinds)}: give a list of kinds of exercise")
    if type(count) is not int or not 1 <= count <= MOST_EXERCISES:
        raise HarmonyError(f"count {quoted(count)}: give a whole number from 1 to {MOST_EXERCISES}")
    unknown = [kind for kind in kinds if kind not in REGISTRY]
    if unknown:
        raise HarmonyError(f"{quoted(unknown[0])} is not a kind of exercise: choose {', '.join(KINDS)}")
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
            raise HarmonyError(f"{quoted(odd[0])} is no setting of a sheet: choose {', '.join(SETTINGS)}")
        tasks = spec.get("tasks", [])
        if not isinstance(tasks, list) or not tasks:
            raise HarmonyError("no tasks: write a [[tasks]] table for each exercise or group")
        level, paper = spec.get("level", 1), paper or spec.get("paper", "")
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
