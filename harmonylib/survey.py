"""A folder of lead sheets as a table by difficulty: one row a tune, the easiest first.

Every tune is arranged with a chord on every note that can carry one; its figures are measured on that arrangement, and
a literal table of weights turns them into a difficulty from 0 to 10. A teacher sees from the printed formula why a tune
stands where it does.

Conventions
- Files are found in all folders below the one named, those whose names start with a dot left out; a book of ABC tunes
  gives a row for each. What cannot be read costs one line of the report, never the run.
- Bars and travel are of the written tune: repeats are not played out. Lengths are millimetres, times seconds.
- The work goes to any `concurrent.futures.Executor`; a task carries the tune's own bytes, so the machine that does it
  needs no access to the folder. Only a few tasks are out at a time. The rows do not depend on who computes them.
- A row is stored as soon as it is there, as one line of JSON, under the file, the bytes of the tune, the settings and
  the code that measures. The next run takes what still fits: a stopped survey goes on, a changed tune is done again.

The figures are facts of the arrangement; weights and ramps are common practice, settings of taste.
"""

from __future__ import annotations

import csv
import faulthandler
import hashlib
import io
import json
import multiprocessing
import os
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
from dataclasses import asdict, dataclass
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from harmonylib.arranging import Arrangement, arrange, check
from harmonylib.chordtones import ROLES
from harmonylib.files import write_together
from harmonylib.fills import gaps
from harmonylib.neck import Neck
from harmonylib.notation import plain
from harmonylib.pitch import HarmonyError
from harmonylib.reading import SUFFIXES, count_tunes, format_of, read_bytes, tunes_in
from harmonylib.tables import safe_cell as cell

if TYPE_CHECKING:
    from harmonylib.diagrams import Pen, Picture


class Weight(NamedTuple):
    """One entry of the difficulty: `points` at most, none when a column of the row is at `easy`, all at `hard`."""

    points: float
    column: str
    easy: float
    hard: float
    why: str


WEIGHTS = {
    # what           points  column of the row       easy   hard   why (common practice)
    "pace": Weight(2.5, "chords_per_second", 0.5, 4.0, "the more chords a second, the less time to form each"),
    "travel": Weight(
        2.0, "travel_mm_per_minute", 500, 6000, "the more way the hand makes in a minute, the more it misses"
    ),
    "changes": Weight(1.5, "fastest_change_s", 2.0, 0.4, "a harmony that soon gives way must be thought ahead"),
    "reach": Weight(1.5, "widest_reach_mm", 60, 105, "a wide grip takes a trained hand"),
    "foreign": Weight(
        1.5, "chord_tones", 1.0, 0.5, "each note foreign to its chord asks for a passing diminished chord"
    ),
    "length": Weight(1.0, "bars", 8, 64, "a long tune is more to remember"),
}
"""Each entry is a straight ramp between two values of one column; the points add up to 10."""

LIMIT_S = 60.0
"""Seconds a worker may spend on one tune."""
STORE = "survey.jsonl"
MOST_BARS = 60
"""Bars in the chart; of a longer table it shows so many, evenly spaced."""
_ROOMS = (
    *("pitch", "chords", "voicings", "neck", "tunes", "chordtones", "diminished", "arranging", "fills"),
    *("reading", "reading_abc", "reading_musicxml", "survey"),
)
_COLOURS = ("blue", "orange", "bluish green", "yellow", "sky blue", "reddish purple")


@dataclass(frozen=True, slots=True)
class Row:
    """What there is to say of one tune; `foreign` counts foreign notes by the names of `ROLES`.

    `chord_tones` is the share of notes under a chord that belong to it, `harmonisable` the share of all notes that
    carry a chord at density “every” (both 0 to 1); `fastest_change_s` is None for a tune of a single chord.
    """

    file: str
    number: int
    title: str
    key: str
    metre: str
    tempo: float
    bars: int
    notes: int
    lowest: str
    highest: str
    chord_tones: float
    foreign: dict[str, int]
    harmonisable: float
    chords_per_second: float
    fastest_change_s: float | None
    travel_mm_per_minute: float
    widest_reach_mm: float
    gaps: int
    remarks: tuple[str, ...] = ()

    @property
    def parts(self) -> dict[str, float]:
        """What each entry of `WEIGHTS` adds to the difficulty."""
        return {name: _ramp(weight, getattr(self, weight.column)) for name, weight in WEIGHTS.items()}

    @property
    def difficulty(self) -> float:
        """From 0 to 10, to a hundredth."""
        return round(sum(self.parts.values()), 2)


class Failure(NamedTuple):
    """A tune that could not be surveyed, and why."""

    file: str
    number: int
    why: str


@dataclass(frozen=True)
class Survey:
    """The rows of a folder from the easiest to the hardest, and what could not be surveyed, in the order of files.

    `computed` tells how many tunes this run worked on; the others came from the store.
    """

    folder: str
    rows: tuple[Row, ...]
    failures: tuple[Failure, ...]
    computed: int

    @property
    def text(self) -> str:
        """The table, the formula and the list of failures, for a terminal."""
        return "\n\n".join(part for part in (_table(self.rows), formula(), _failed(self.failures)) if part) + "\n"

    @property
    def csv(self) -> str:
        """The rows as RFC 4180 has it, formulas made harmless; each role of a foreign note has a column."""
        buffer = io.StringIO()
        writer = csv.writer(buffer, lineterminator="\r\n")
        writer.writerow([*COLUMNS[:12], *ROLES, *COLUMNS[12:]])
        for row in self.rows:
            found = _cells(row)
            found[12:12] = [str(row.foreign.get(role, 0)) for role in ROLES]
            writer.writerow(cell(value) for value in found)
        return buffer.getvalue()

    def picture(self, theme: str | None = None) -> Picture:
        """The difficulties as bars, each made of its parts; raises `HarmonyError` when there are no rows."""
        return _picture(self, theme)

    def write(self, folder: str | Path) -> tuple[Path, ...]:
        """Write survey.csv, survey.pdf and survey.svg into a folder, all of them or none; returns the paths."""
        picture = self.picture("paper")
        files = {
            "survey.csv": self.csv.encode("utf-8-sig"),
            "survey.pdf": picture.pdf(),
            "survey.svg": picture.svg.encode(),
        }
        return write_together(files, folder)


# --- a folder -----------------------------------------------------------------------------------------------------


class Task(NamedTuple):
    """One tune to be measured, whole: it can be sent anywhere."""

    file: str
    number: int
    data: bytes
    neck: Neck
    tempo: float | None


class Outcome(NamedTuple):
    """A row, or why there is none; one that is not `sure` hung on the machine and is not stored."""

    row: Row | None
    why: str = ""
    sure: bool = True


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
    harmonylib.pitch.HarmonyError: 'no such folder' is not a folder: name one that holds tunes
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

    rows: list[Row] = []
    failures: list[Failure] = []
    width = jobs or (32 if executor else min(os.cpu_count() or 1, 61))  # Windows waits for 61 processes at most
    store = Store(Path(out) if out is not None else None, {**asdict(neck), "tempo": tempo, "code": _code()})
    bar = tqdm(total=_count(files), desc="surveying", unit=" tunes", delay=1, disable=None if progress else True)
    with store, bar:

        def keep(file: str, number: int, outcome: Outcome) -> None:
            if outcome.row:
                rows.append(outcome.row)
            else:
                failures.append(Failure(file, number, outcome.why))
            bar.update()

        def fresh() -> Iterator[Task]:
            """The tunes the store does not know; what it knows is kept on the way."""
            for path in files:
                name = path.relative_to(root).as_posix()
                try:
                    tunes = tunes_in(path)
                except HarmonyError as error:
                    keep(name, 1, Outcome(None, str(error)))
                    continue
                for number, data in enumerate(tunes, 1):
                    known = store.get(name, number, data)
                    if known:
                        keep(name, number, known)
                    else:
                        yield Task(name, number, data, neck, tempo)

        computed = 0
        for task, outcome in _outcomes(fresh(), measure, executor, width, limit_s):
            computed += 1
            if outcome.sure:
                store.put(task.file, task.number, task.data, outcome)
            keep(task.file, task.number, outcome)
    rows.sort(key=lambda row: (row.difficulty, row.file, row.number))
    return Survey(str(folder), tuple(rows), tuple(sorted(failures)), computed)


repertoire = survey  # for those who import from the package, where `survey` is this room


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


# --- one tune -----------------------------------------------------------------------------------------------------


def measure(task: Task) -> Outcome:
    """The row of a tune, or why there is none; raises nothing."""
    try:
        tune = read_bytes(task.data, format_of(task.file), 1, Path(task.file).stem, task.file)
        return Outcome(_row(task, arrange(tune, neck=task.neck, density="every", tempo=task.tempo)))
    except HarmonyError as error:
        return Outcome(None, str(error).removeprefix(f"{task.file}: "))
    except Exception as error:  # one tune must not end the run, whatever is wrong with it
        return Outcome(None, f"it cannot be arranged ({type(error).__name__}: {str(error)[:120]})")


def _row(task: Task, arrangement: Arrangement) -> Row:
    source, tune, neck = arrangement.source, arrangement.tune, arrangement.settings.neck
    quarter = 60 / arrangement.tempo
    minutes = float(tune.end) * quarter / 60
    tested = [choice.tested for choice in arrangement.choices if choice.chord]
    grips = [choice.grip for choice in arrangement.choices if choice.grip]
    hand = [neck.nut_to(min(grip.fretted, default=0)) for grip in grips]
    travel = sum(abs(b - a) for a, b in zip(hand, hand[1:], strict=False))
    new = [next(group).onset for _, group in groupby(tune.changes, key=lambda change: change.chord)]
    between = [float(b - a) * quarter for a, b in zip(new, new[1:], strict=False)]
    by_height = sorted((note.pitch for note in source.notes), key=lambda pitch: pitch.midi)
    roles = Counter(verdict.role for verdict in tested if verdict.role)
    return Row(
        task.file,
        task.number,
        title=source.title,
        key=source.key,
        metre=" ".join(dict.fromkeys(f"{bar.metre[0]}/{bar.metre[1]}" for bar in source.bars)),
        tempo=round(float(arrangement.tempo), 2),
        bars=len(source.bars),
        notes=len(source.notes),
        lowest=str(by_height[0]),
        highest=str(by_height[-1]),
        chord_tones=round(sum(verdict.degree is not None for verdict in tested) / max(len(tested), 1), 4),
        foreign={role: roles[role] for role in ROLES if roles[role]},
        harmonisable=round(arrangement.share, 4),
        chords_per_second=round(sum(c.voicing is not None for c in arrangement.choices) / (60 * minutes), 3),
        fastest_change_s=round(min(between), 3) if between else None,
        travel_mm_per_minute=round(travel / minutes, 1),
        widest_reach_mm=round(max((neck.stretch_mm(grip.frets) for grip in grips), default=0.0), 1),
        gaps=sum(not gap.why_silent for gap in gaps(arrangement)),
        remarks=(*source.remarks, *arrangement.remarks, *check(arrangement)),
    )


def _ramp(weight: Weight, value: float | None) -> float:
    """The points of one entry: none up to `easy`, all from `hard` on, in proportion between."""
    share = 0.0 if value is None else (value - weight.easy) / (weight.hard - weight.easy)
    return weight.points * min(max(share, 0.0), 1.0)


def formula() -> str:
    """The formula of the difficulty in words, an entry a line."""
    lines = [
        "Difficulty, 0 to 10 (weights are common practice): the sum over these columns of",
        "points × (value − easy) / (hard − easy), never less than 0 nor more than the points.",
    ]
    for weight in WEIGHTS.values():
        name = weight.column.replace("_", " ")
        lines.append(f"  up to {weight.points:g}  {name}: easy {weight.easy:g}, hard {weight.hard:g}; {weight.why}")
    return "\n".join(lines)


# --- who does the work --------------------------------------------------------------------------------------------


def _outcomes(
    tasks: Iterator[Task], work: Callable[[Task], Outcome], executor: Executor | None, width: int, limit_s: float
) -> Iterator[tuple[Task, Outcome]]:
    """Each task with its outcome, as they come; never more than a few tasks a worker are out.

    When workers die, what was out is done once more, each task alone, so that only the one that kills gets the blame;
    the others go on in new processes.
    """
    pool: ProcessPoolExecutor | None = None
    out: dict[Future[Outcome], Task] = {}
    waiting = next(tasks, None)
    try:
        while waiting or out:
            broken: list[Task] = []
            while waiting and len(out) < 4 * width and not broken:
                if executor is None:
                    executor = pool = _pool(width)
                try:
                    out[_submit(executor, pool, work, waiting, limit_s)] = waiting
                except BrokenExecutor:
                    broken.append(waiting)
                waiting = next(tasks, None)
            for future in wait(out, return_when=FIRST_COMPLETED).done:
                task = out.pop(future)
                try:
                    yield task, future.result()
                except BrokenExecutor:
                    broken.append(task)
                except Exception as error:  # an executor may fail in ways of its own
                    yield task, Outcome(None, f"the worker failed ({type(error).__name__}: {str(error)[:120]})", False)
            if broken:
                wait(out)
                for future, task in out.items():
                    if future.exception():
                        broken.append(task)
                    else:
                        yield task, future.result()
                out.clear()
                if pool:
                    pool.shutdown()
                executor = pool = None
                yield from _one_by_one(sorted(broken), work, limit_s)
    finally:
        for future in out:
            future.cancel()
        if pool:
            pool.shutdown(cancel_futures=True)


def _submit(
    executor: Executor, own: Executor | None, work: Callable[[Task], Outcome], task: Task, limit_s: float
) -> Future[Outcome]:
    """Hands out a task; in processes of our own, under the clock."""
    return executor.submit(_timed, work, task, limit_s) if executor is own else executor.submit(work, task)


def _one_by_one(
    tasks: Iterable[Task], work: Callable[[Task], Outcome], limit_s: float
) -> Iterator[tuple[Task, Outcome]]:
    """The same in one process, a new one after each that dies."""
    pool = None
    try:
        for task in tasks:
            pool = pool or _pool(1)
            start = time.monotonic()
            try:
                yield task, pool.submit(_timed, work, task, limit_s).result()
            except BrokenExecutor:
                pool.shutdown()
                pool = None
                late = time.monotonic() - start >= limit_s
                why = f"it took longer than {limit_s:g} s" if late else "the process that worked on it died"
                yield task, Outcome(None, why, sure=False)
    finally:
        if pool:
            pool.shutdown()


def _pool(jobs: int) -> ProcessPoolExecutor:
    """New processes that are seen to work; spawned, because a forked thread may hold a lock for ever."""
    pool = ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn"), _start)
    try:
        pool.submit(int).result()
    except BrokenExecutor:
        pool.shutdown()
        raise HarmonyError(
            'no worker process starts: in a script, call survey under if __name__ == "__main__":, or pass an executor'
        ) from None
    return pool


def _start() -> None:
    """What a worker does first: leave Ctrl-C to its parent, and not outlive it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_follow, daemon=True).start()


def _follow() -> None:
    parent = multiprocessing.parent_process()
    if parent:
        parent.join()
        os._exit(1)


def _timed(work: Callable[[Task], Outcome], task: Task, limit_s: float) -> Outcome:
    """The outcome, or the end of this process when it takes too long: nothing milder stops a loop in every case."""
    with open(os.devnull, "w") as nowhere:
        faulthandler.dump_traceback_later(limit_s, exit=True, file=nowhere)
        try:
            return work(task)
        finally:
            faulthandler.cancel_dump_traceback_later()


# --- what is known already ----------------------------------------------------------------------------------------


class Store:
    """The outcomes of earlier runs in one file of JSON lines; without a folder it holds nothing.

    A line cut short or spoilt counts as not there. To start afresh, delete the file.
    """

    def __init__(self, folder: Path | None, settings: dict[str, Any]) -> None:
        self.path = folder / STORE if folder else None
        self.settings = json.loads(json.dumps(settings))
        self.known: dict[tuple[str, int, str], Outcome] = {}

    def __enter__(self) -> Store:
        if self.path:
            try:
                self.path.parent.mkdir(parents=True, exist_ok=True)
                self.lines = self.path.open("a+", encoding="utf-8", errors="replace", newline="\n")
                self._load()
            except OSError as error:
                raise _unwritable(self.path.parent, error) from error
        return self

    def __exit__(self, *_: object) -> None:
        if self.path:
            try:
                self.lines.close()
            except OSError as error:
                raise _unwritable(self.path.parent, error) from error

    def _load(self) -> None:
        self.lines.seek(0)
        line = "\n"
        for line in self.lines:
            try:
                entry = json.loads(line)
                if entry["settings"] != self.settings:
                    continue
                row = entry["row"] and Row(**{**entry["row"], "remarks": tuple(entry["row"]["remarks"])})
                self.known[entry["file"], entry["number"], entry["tune"]] = Outcome(row, entry["why"])
            except (ValueError, TypeError, KeyError):
                continue
        if not line.endswith("\n"):
            self.lines.write("\n")

    def get(self, file: str, number: int, data: bytes) -> Outcome | None:
        return self.known.pop((file, number, _digest(data)), None) if self.path else None

    def put(self, file: str, number: int, data: bytes, outcome: Outcome) -> None:
        if self.path:
            entry = {"file": file, "number": number, "tune": _digest(data), "settings": self.settings}
            entry |= {"why": outcome.why, "row": outcome.row and asdict(outcome.row)}
            try:
                self.lines.write(json.dumps(entry) + "\n")
                self.lines.flush()
            except OSError as error:
                raise _unwritable(self.path.parent, error) from error


def _digest(data: bytes) -> str:
    return hashlib.blake2b(data, digest_size=16).hexdigest()


def _code() -> str:
    """Changes with every line of code the figures hang on."""
    return _digest(b"".join(Path(__file__).with_name(f"{room}.py").read_bytes() for room in _ROOMS))


def _unwritable(folder: Path, error: OSError) -> HarmonyError:
    return HarmonyError(
        f"the folder {str(folder)!r} cannot be written to: {error.strerror or error}; name another one with --out"
    )


# --- what is shown ------------------------------------------------------------------------------------------------

COLUMNS = (
    *("difficulty", "file", "number", "title", "key", "metre", "tempo", "bars", "notes", "lowest", "highest"),
    *("chord tones", "harmonisable", "chords per second", "fastest change s", "travel mm per minute"),
    *("widest reach mm", "gaps", "remarks"),
)


def _cells(row: Row) -> list[str]:
    """The values of a row in the order of `COLUMNS`, shares in full."""
    plain_values: tuple[object, ...] = (
        *(f"{row.difficulty:.2f}", row.file, row.number, row.title, row.key, row.metre, f"{row.tempo:g}", row.bars),
        *(row.notes, row.lowest, row.highest, row.chord_tones, row.harmonisable, row.chords_per_second),
        "" if row.fastest_change_s is None else row.fastest_change_s,
        *(row.travel_mm_per_minute, row.widest_reach_mm, row.gaps, "; ".join(row.remarks)),
    )
    return [plain(str(value)) for value in plain_values]


def _table(rows: Iterable[Row]) -> str:
    """The rows as lines of equal columns, for people: shares in percent, foreign notes as signs and counts."""
    from harmonylib.diagrams import ROLE_CODES

    heads = (
        *("hard", "title", "key", "metre", "♩/min", "bars", "notes", "range", "in chord", "foreign", "carry"),
        *("chords/s", "change s", "mm/min", "reach mm", "gaps", "file", "remarks"),
    )
    lines = []
    for row in rows:
        more = f" (and {len(row.remarks) - 1} more)" if len(row.remarks) > 1 else ""
        change = "–" if row.fastest_change_s is None else f"{row.fastest_change_s:.2f}"
        line = (
            *(f"{row.difficulty:.2f}", _short(row.title, 32), row.key, row.metre, f"{row.tempo:g}", str(row.bars)),
            *(str(row.notes), f"{row.lowest}–{row.highest}", f"{row.chord_tones:.0%}"),
            " ".join(f"{ROLE_CODES[role]}{count}" for role, count in row.foreign.items()) or "–",
            *(f"{row.harmonisable:.0%}", f"{row.chords_per_second:.2f}", change, f"{row.travel_mm_per_minute:.0f}"),
            *(f"{row.widest_reach_mm:.0f}", str(row.gaps), _short(_place(row.file, row.number), 48)),
            _short(row.remarks[0], 60) + more if row.remarks else "",
        )
        lines.append([plain(value) for value in line])
    if not lines:
        return ""
    widths = [max(len(line[column]) for line in (heads, *lines)) for column in range(len(heads))]
    left = {"title", "key", "range", "foreign", "file", "remarks"}
    shown = [
        "  ".join(v.ljust(w) if h in left else v.rjust(w) for h, v, w in zip(heads, line, widths, strict=True)).rstrip()
        for line in (heads, *lines)
    ]
    signs = ", ".join(f"{sign} {role}" for role, sign in ROLE_CODES.items())
    return "\n".join(shown) + f"\nForeign notes: {signs}. Carry: share of notes that carry a chord."


def _place(file: str, number: int) -> str:
    return file if number == 1 else f"{file}, tune {number}"


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def _failed(failures: Iterable[Failure]) -> str:
    """One line for each file and reason, with the numbers of the tunes in a book."""
    lines = []
    for (file, why), group in groupby(sorted(failures, key=lambda f: (f.file, f.why)), key=lambda f: (f.file, f.why)):
        numbers = [failure.number for failure in group]
        which = f" ({len(numbers)} tunes: {_ranges(numbers)})" if len(numbers) > 1 else ""
        lines.append(plain(f"  {_place(file, numbers[0]) if not which else file}{which}: {why}"))
    return "\n  ".join(["Not surveyed:", *lines]) if lines else ""


def _ranges(numbers: Iterable[int]) -> str:
    """Rising numbers in short.

    >>> _ranges([1, 2, 3, 5, 7, 8])
    '1–3, 5, 7–8'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1] = [runs[-1][0], number]
        else:
            runs.append([number])
    return ", ".join("–".join(map(str, run)) for run in runs)


def _picture(found: Survey, theme: str | None) -> Picture:
    from harmonylib.diagrams import OKABE_ITO, Picture, named_theme

    if not found.rows:
        raise HarmonyError(f"no tune in {found.folder!r} could be surveyed: there is nothing to draw")
    look = named_theme(theme)
    total = len(found.rows)
    shown = [found.rows[n * (total - 1) // max(MOST_BARS - 1, 1)] for n in range(MOST_BARS)]
    shown = list(found.rows) if total <= MOST_BARS else shown
    title = f"Difficulty of {total} tunes" + (f", {MOST_BARS} shown" if len(shown) < total else "")
    row_height, left, right = 1.9 * look.label, 0.4 * look.width, 3.5 * look.label
    unit = (look.width - left - right) / sum(weight.points for weight in WEIGHTS.values())
    foot, column = 5.8 * look.small, 0.5 * look.width - 8
    height = foot + row_height * len(shown) + 2.4 * look.chord

    def draw(pen: Pen) -> None:
        for place, (name, colour) in enumerate(zip(WEIGHTS, _COLOURS, strict=True)):
            x = 8 + column * (place % 2)
            y = foot - 1.6 * look.small * (1 + place // 2)
            pen.area([(x, x + look.small, y - 1, y + look.small - 1)], OKABE_ITO[colour], look.ink)
            label = f"{name}: {WEIGHTS[name].column.replace('_', ' ')}"
            pen.write(x + 1.5 * look.small, y, label, room=column - 2 * look.small)
        roof = foot + row_height * len(shown)
        pen.lines(((left + unit * n, foot, left + unit * n, roof) for n in range(0, 11, 2)), look.line, 0.6, zorder=0.8)
        for n in range(0, 11, 2):
            pen.write(left + unit * n, roof + 2, str(n), align="center", colour=look.soft)
        for place, row in enumerate(shown):
            y = roof - row_height * (place + 1)
            text = y + 0.5 * row_height - 0.36 * look.label
            pen.write(
                left - 6, text, plain(f"{_short(row.title, 26)}, {row.key}"), "label", align="right", room=left - 14
            )
            x = left
            for points, colour in zip(row.parts.values(), _COLOURS, strict=True):
                if points:
                    box = (x, x + unit * points, y + 0.15 * row_height, y + 0.85 * row_height)
                    pen.area([box], OKABE_ITO[colour], look.ink)
                x += unit * points
            pen.write(x + 4, text, f"{row.difficulty:.1f}", "label", bold=True)

    said = "; ".join(f"{plain(row.title)} {row.difficulty:.2f}" for row in shown)
    return Picture(title, f"{title}: {said}", look.width, height, look, draw)
