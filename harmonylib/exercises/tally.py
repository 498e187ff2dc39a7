"""The tally: how often each exercise was tried and whether it was got right, in memory and in a file.

Conventions
- Counted are answers that say something, until one is right.
- A tally file is JSON: exercises as `Exercise.as_data` has them, each with `right` and `tried`. It is read as data,
  with bounds; nothing in it is run or made into an exercise.

Sources: RFC 8259 for JSON.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import Exercise, Reply
from harmonylib.exercises.written import quoted
from harmonylib.files import write_together
from harmonylib.wording import many

FORMAT = "harmonylib tally"
MOST_BYTES, MOST_EXERCISES, MOST_TRIES, LONGEST = 2**20, 5000, 10**6, 200
Rows = dict[str, tuple[bool, int]]
"""By exercise (its data as JSON): whether it was got right, and how many answers it has had."""


class Tally:
    """How often each exercise was tried, and whether it was got right; boxes share one.

    >>> from harmonylib import spell
    >>> tally, task = Tally(), spell("Ebm7")
    >>> for answer in ("C E G", "Eb Gb Bb Db", "Eb Gb Bb Db"):
    ...     tally.count(task, task.check(answer))
    >>> tally
    right 1 of 1 exercise tried, 2 answers
    """

    def __init__(self, rows: Mapping[str, tuple[bool, int]] | None = None) -> None:
        self.rows: Rows = dict(rows or {})
        self._watching: list[Callable[[], object]] = []

    def count(self, task: Exercise, reply: Reply) -> None:
        """Count a reply; one to no answer at all, or to an exercise that is right already, counts for nothing."""
        key, (right, tried) = _key(task.as_data()), self.of(task)
        if reply.started and not right:
            self.rows[key] = (reply.right, min(tried + 1, MOST_TRIES))
            self.tell()

    def of(self, task: Exercise) -> tuple[bool, int]:
        """Whether an exercise was got right, and how many answers it has had."""
        right, tried = self.rows.get(_key(task.as_data()), (False, 0))
        return right, tried

    def reset(self) -> None:
        """Forget all that was counted."""
        self.rows = {}
        self.tell()

    def tell(self) -> None:
        """Tell all who watch that something was counted."""
        for told in tuple(self._watching):
            told()

    def watch(self, told: Callable[[], object]) -> None:
        """Have `told` called whenever something was counted."""
        self._watching.append(told)

    def unwatch(self, told: Callable[[], object]) -> None:
        """Call `told` no longer."""
        self._watching.remove(told)

    def __repr__(self) -> str:
        right, tries = (sum(row[n] for row in self.rows.values()) for n in (0, 1))
        return f"right {right} of {many(len(self.rows), 'exercise')} tried, {many(tries, 'answer')}"

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write the tally to a file, whole or not at all; raises `HarmonyError` where that cannot be done."""
        rows = [
            {"exercise": json.loads(key), "right": right, "tried": tried}
            for key, (right, tried) in sorted(self.rows.items())
        ]
        text = json.dumps({"format": FORMAT, "version": 1, "exercises": rows}, ensure_ascii=False, indent=1) + "\n"
        data = text.encode("utf-8", "surrogatepass")
        where = _path(path)
        _rows(data, where.name)  # what is written can be read again
        write_together({where.name: data}, where.parent)

    @classmethod
    def read(cls, path: str | os.PathLike[str]) -> Tally:
        """The tally of a file; a new one where there is no file yet. Raises `HarmonyError` for a file that is none."""
        where = _path(path)
        try:
            if not where.exists():
                return cls()
            data = None
            if where.is_file():  # a pipe would be waited for
                with where.open("rb") as file:
                    data = file.read(MOST_BYTES + 1)
        except (OSError, ValueError) as error:
            why = (getattr(error, "strerror", None) or type(error).__name__).lower()
            raise HarmonyError(f"{where.name}: the tally cannot be read ({why})") from None
        if data is None:
            raise HarmonyError(f"{where.name} is no file: name the file that Tally.save wrote")
        return cls(_rows(data, where.name))


def _key(data: Mapping[str, Any]) -> str:
    """An exercise as one line of JSON; of a long text, such as a whole tune, its digest stands there."""
    short = {name: _short(value) if isinstance(value, str) else value for name, value in data.items()}
    return json.dumps(short, sort_keys=True, ensure_ascii=False)


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else f"sha256 {sha256(text.encode('utf-8', 'surrogatepass')).hexdigest()}"


def kind_of(key: str) -> str:
    """The kind of the exercise behind a row."""
    return str(json.loads(key)["kind"])


def _path(path: object) -> Path:
    if not isinstance(path, (str, os.PathLike)) or not str(path):
        raise HarmonyError(f"{quoted(type(path).__name__)}: name a file for the tally, as in 'tally.json'")
    return Path(path)


def _rows(data: bytes, name: str) -> Rows:
    """The rows of a tally file; raises `HarmonyError` when it is too large or no tally."""
    if len(data) > MOST_BYTES:
        raise HarmonyError(f"{name} holds more than {MOST_BYTES // 1024} KB, too much for a tally: start a new one")
    try:
        made = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError):
        raise HarmonyError(f"{name} is no tally: it is not JSON in UTF-8") from None
    if not isinstance(made, dict) or made.get("format") != FORMAT or made.get("version") != 1:
        raise HarmonyError(f"{name} is no tally: a file of format {FORMAT!r}, version 1, is asked for")
    rows = made.get("exercises")
    if not isinstance(rows, list) or len(rows) > MOST_EXERCISES:
        raise HarmonyError(f"{name}: a tally holds a list of up to {MOST_EXERCISES} exercises")
    found: Rows = {}
    for number, row in enumerate(rows, start=1):
        if not _is_row(row):
            raise HarmonyError(
                f"{name}, exercise {number}: an exercise as data, right (true or false) and tried (1 to {MOST_TRIES}) "
                "are asked for"
            )
        key = _key(row["exercise"])
        if key in found:
            raise HarmonyError(f"{name}, exercise {number}: it is there twice")
        found[key] = row["right"], row["tried"]
    return found


def _is_row(row: object) -> bool:
    task, right, tried = (row.get(n) if isinstance(row, dict) else None for n in ("exercise", "right", "tried"))
    return (
        isinstance(task, dict)
        and "kind" in task
        and all(map(_storable, task.values()))
        and type(right) is bool
        and type(tried) is int
        and 1 <= tried <= MOST_TRIES
    )


def _storable(value: object) -> bool:
    if isinstance(value, str):
        return all(not "\ud800" <= letter <= "\udfff" for letter in value)
    return type(value) is int or (type(value) is float and math.isfinite(value))
