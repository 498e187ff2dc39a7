"""The classroom from a chapter: a lesson's work sheet written, handed back and marked, and a folder of tunes sorted."""

from __future__ import annotations

import re
from dataclasses import dataclass

from harmonylib.classroom.marking import mark
from harmonylib.classroom.marks import overview, summary
from harmonylib.classroom.repertoire import repertoire
from harmonylib.classroom.reports import Survey
from harmonylib.classroom.sheets import Sheet, sheet
from harmonylib.classroom.worksheets import write_worksheet
from harmonylib.exercises.asking import drawn_set
from harmonylib.lessons.lesson import Lesson
from harmonylib.lessons.said import section
from harmonylib.lessons.table import Table, table
from harmonylib.pictures.picture import Picture

RETURNED = "out/returned"


def _work(today: Lesson) -> Sheet:
    tasks = [task.as_data() for task in drawn_set(today)]
    return sheet("Block chords", tasks, seed=today.seed, level=today.settings["level"])


@section
def write_sheet(today: Lesson, folder: str = RETURNED) -> Table:
    """The lesson's questions as a page to print, its key, and a notebook to answer in; the names of the files."""
    files = write_worksheet(_work(today), folder, "work")
    return table("file | kind", ((file.name, file.suffix.removeprefix(".")) for file in files))


@section
def marked(today: Lesson, folder: str = RETURNED) -> Table:
    """What came back, a line a learner: how many are right, and the numbers of those that are not."""
    lines = summary(mark(folder, _work(today))).splitlines()[1:]
    rows = [[*re.split(r"\s{2,}", line.strip()), ""][:3] for line in lines]
    return table("learner | right | the others", rows, ["the others"])


@section
def marks_chart(today: Lesson, folder: str = RETURNED) -> Picture:
    """What came back, exercise by exercise."""
    return overview(mark(folder, _work(today)))


@dataclass(frozen=True, repr=False)
class Shelf:
    """A folder of tunes, the easiest first: shown as a table, and as a chart by `picture`."""

    survey: Survey

    @property
    def table(self) -> Table:
        rows = ((f"{r.difficulty:.2f}", r.title, r.key, r.notes, r.gaps) for r in self.survey.rows)
        return table("difficulty | tune | key | notes | gaps", rows)

    def picture(self) -> Picture:
        return self.survey.picture()

    def __repr__(self) -> str:
        return repr(self.table)

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        return self.table._repr_mimebundle_()


@section
def shelf(folder: str = "tunes") -> Shelf:
    """The tunes of a folder, sorted from easy to hard.

    >>> shelf("no such folder")
    'no such folder' is not a folder: name one that holds tunes.
    """
    return Shelf(repertoire(folder, jobs=1))
