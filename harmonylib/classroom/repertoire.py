"""A folder of lead sheets surveyed: one row a tune, the easiest first.

Conventions
- Files are found in all folders below the one named, those whose names start with a dot left out; a book of ABC tunes
  gives a row for each. What cannot be read costs one line of the report, never the run.
- The rows do not depend on who computes them, nor on the order in which they come.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import asdict
from pathlib import Path

from harmonylib.classroom.difficulty import Outcome, Row, Task, measure
from harmonylib.classroom.reports import Failure, Survey
from harmonylib.classroom.store import Store, code_digest
from harmonylib.classroom.workers import outcomes_of
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.tunes.kinds import SUFFIXES
from harmonylib.tunes.reading import count_tunes, format_of, tunes_in

LIMIT_S = 60.0
"""Seconds a worker may spend on one tune."""


def survey(
    folder: str | Path,
    out: str | Path | None = None,
    *,
    neck: Neck | None = None,
    tempo: float | None = None,
    executor: Executor | None = None,
    jobs: int | None = None,
    limit_s: float = LIMIT_S,
    progress: bool = False,
) -> Survey:
    """Every tune of a folder measured; see `Row`.

    Rows are kept in the folder `out`, if one is given, and taken from there next time. `neck` holds the frets in use
    and the reach, `tempo` (quarter notes a minute) replaces each tune's own. The work is done by `executor`; without
    one, by `jobs` processes of this machine (default: one a core), in which a tune may take `limit_s` seconds. For an
    executor of your own, `jobs` says how many tunes it can work on at a time (default: 32). A script that starts
    processes keeps the call under ``if __name__ == "__main__":``.

    Raises `HarmonyError` for a folder without tune files, one that cannot be written to, or a setting out of range.

    >>> survey("no such folder")
    Traceback (most recent call last):
    harmonylib.errors.HarmonyError: 'no such folder' is not a folder: name one that holds tunes
    """
    if tempo is not None and not 10 <= tempo <= 600:
        raise HarmonyError(f"tempo {tempo}: choose 10 to 600 quarter notes a minute")
    if jobs is not None and jobs < 1:
        raise HarmonyError(f"{jobs} jobs: choose 1 or more")
    root, neck = Path(folder), neck or Neck()
    files = list(_files(root))
    if not files:
        raise HarmonyError(f"no tunes in {str(folder)!r}: it should hold files that end in {', '.join(SUFFIXES)}")
    from tqdm import tqdm

    width = jobs or (32 if executor else min(os.cpu_count() or 1, 61))  # Windows waits for 61 processes at most
    store = Store(Path(out) if out is not None else None, {**asdict(neck), "tempo": tempo, "code": code_digest()})
    bar = tqdm(total=_count(files), desc="surveying", unit=" tunes", delay=1, disable=None if progress else True)
    with store, bar:
        found = _Found(store, bar.update)
        tasks = _fresh(files, root, found, neck, tempo)
        for task, outcome in outcomes_of(tasks, measure, executor, width, limit_s):
            found.measured(task, outcome)
    found.rows.sort(key=lambda row: (row.difficulty, row.file, row.number))
    return Survey(str(folder), tuple(found.rows), tuple(sorted(found.failures)), found.computed)


repertoire = survey  # for those who import from the package, where `survey` is this room


class _Found:
    """What has come of the tunes so far; every one of them moves the bar by one."""

    def __init__(self, store: Store, step: Callable[[], object]) -> None:
        self.store, self.step = store, step
        self.rows: list[Row] = []
        self.failures: list[Failure] = []
        self.computed = 0

    def keep(self, file: str, number: int, outcome: Outcome) -> None:
        if outcome.row:
            self.rows.append(outcome.row)
        else:
            self.failures.append(Failure(file, number, outcome.why))
        self.step()

    def measured(self, task: Task, outcome: Outcome) -> None:
        """Keep what a worker found, on disk too where another run would find the same."""
        self.computed += 1
        if outcome.sure:
            self.store.put(task.file, task.number, task.data, outcome)
        self.keep(task.file, task.number, outcome)


def _fresh(files: Sequence[Path], root: Path, found: _Found, neck: Neck, tempo: float | None) -> Iterator[Task]:
    """The tunes the store does not know; what it knows is kept on the way."""
    for path in files:
        name = path.relative_to(root).as_posix()
        try:
            tunes = tunes_in(path)
        except HarmonyError as error:
            found.keep(name, 1, Outcome(None, str(error)))
            continue
        for number, data in enumerate(tunes, 1):
            known = found.store.get(name, number, data)
            if known:
                found.keep(name, number, known)
            else:
                yield Task(name, number, data, neck, tempo)


def _files(root: Path) -> Iterator[Path]:
    """The tune files of a folder and those below it, in the order of their names."""
    if not os.path.isdir(root):  # unlike that of a Path it takes any name
        raise HarmonyError(f"{str(root)!r} is not a folder: name one that holds tunes")
    for here, folders, names in os.walk(root):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            path = Path(here, name)
            pipe = os.path.exists(path) and not os.path.isfile(path)  # opening one would wait for ever
            if not name.startswith(".") and path.suffix.lower() in SUFFIXES and not pipe:
                yield path


def _count(files: Iterable[Path]) -> int:
    """How many tunes there are; a file that cannot be opened counts as one."""
    total = 0
    for path in files:
        try:
            total += count_tunes(path) if format_of(path) == "abc" else 1
        except HarmonyError:
            total += 1
    return total
