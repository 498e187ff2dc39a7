"""Marks: one row a learner and question, as a table, a summary and a picture of the class.

Conventions
- Learners stand in the order of their names, questions in that of the sheet.

Source: CSV as RFC 4180 has it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from harmonylib.classroom.sheets import Sheet
from harmonylib.files import safe_cell, write_together
from harmonylib.pictures.picture import Pen, Picture, ems, folded
from harmonylib.pictures.theme import named_theme, text_on
from harmonylib.wording import many, plain

COLUMNS = ("learner", "exercise", "kind", "right", "reply")

STATES = {
    # state        colour of its part of a bar
    "right": "bluish green",
    "not yet": "vermillion",
    "not started": "sky blue",
    "not read": "black",
}


@dataclass(frozen=True)
class Row:
    """One answer of a learner; `number` is 0 for a notebook that cannot be read at all. `state` is one of `STATES`.

    `answer` is what the learner wrote, in one line.
    """

    learner: str
    number: int
    kind: str
    state: str
    reply: str
    answer: str = ""


@dataclass(frozen=True)
class Marks:
    """What a folder of notebooks came to."""

    sheet: Sheet
    rows: tuple[Row, ...]
    remarks: tuple[str, ...] = ()


def marks_csv(marks: Marks) -> str:
    """One row an answer, and one a learner with the total, as RFC 4180 has it.

    A cell that a spreadsheet would take for a formula gets an apostrophe.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for learner, rows in by_learner(marks):
        for row in rows:
            number = str(row.number) if row.number else "all"
            right = "yes" if row.state == "right" else "no"
            writer.writerow(safe_cell(value) for value in (learner, number, row.kind, right, row.reply))
        writer.writerow(safe_cell(value) for value in (learner, "total", "", counted_right(marks, rows), told(rows)))
    return buffer.getvalue()


def counted_right(marks: Marks, rows: Sequence[Row]) -> str:
    """How many of a learner's answers are right, in words that no spreadsheet takes for a date: “3 of 5”."""
    return f"{sum(row.state == 'right' for row in rows)} of {len(marks.sheet.exercises)}"


def told(rows: Sequence[Row]) -> str:
    """The numbers of a learner's answers that are not right, by state."""
    return "; ".join(f"{state}: {listed}" for state in list(STATES)[1:] if (listed := _numbers(rows, state)))


def summary(marks: Marks) -> str:
    """A line a learner: how many are right, and the numbers of those that are not, by state."""
    total = len(marks.sheet.exercises)
    lines = []
    for learner, rows in by_learner(marks):
        if rows[0].number == 0:
            lines.append((learner, "–", rows[0].reply))
            continue
        lines.append((learner, f"{sum(row.state == 'right' for row in rows)}/{total}", told(rows)))
    names = max(len("learner"), *(len(line[0]) for line in lines))
    table = [("learner", "right", ""), *lines]
    return "\n".join(f"{name:{names}}  {right:>7}  {told}".rstrip() for name, right, told in table)


def by_learner(marks: Marks) -> list[tuple[str, list[Row]]]:
    """The rows of each file; two files may bear the same name once signs that are not shown are gone."""
    groups: list[tuple[str, list[Row]]] = []
    for row in marks.rows:
        if row.number <= 1:
            groups.append((row.learner, []))
        groups[-1][1].append(row)
    return groups


def _numbers(rows: Sequence[Row], state: str) -> str:
    return ", ".join(str(row.number) for row in rows if row.number and row.state == state)


def overview(marks: Marks, theme: str | None = None) -> Picture:
    """The class at a glance: for every exercise a bar of how many have it right, not yet, not started or not read."""
    look = named_theme(theme)
    counts = [
        {state: sum(row.number == number and row.state == state for row in marks.rows) for state in STATES}
        for number, _ in marks.sheet.numbered
    ]
    broken = sum(row.number == 0 for row in marks.rows)
    learners = len(by_learner(marks))
    for count in counts:
        count["not read"] += broken
    names = [f"{number}  {task.kind.replace('_', ' ')}" for number, task in marks.sheet.numbered]
    left = 1.05 * look.label * max(ems(name) for name in names) + 16
    lane, unit = 1.25 * look.mark, (look.width - left - 12) / max(learners, 1)
    title = f"{marks.sheet.title} ({marks.sheet.origin})"
    heading = folded(
        f"{many(learners, 'notebook')} came back; a bar is the class, from right to not read",
        look.small,
        look.width - 10,
    )
    head = 1.9 * look.chord + 1.5 * look.small * len(heading) + 2.6 * look.small
    height = lane * len(counts) + head + 6

    def draw(pen: Pen) -> None:
        for row, words in enumerate(heading):
            pen.write(6, height - 1.9 * look.chord - 1.5 * look.small * (row + 0.6), words, colour=look.soft)
        x, y = 6.0, height - head + 0.8 * look.small
        for state, colour in STATES.items():
            pen.area([(x, x + look.small, y - 1, y + look.small - 1)], look.shade(colour), look.ink)
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
                    pen.area([(start, end, bottom + 0.12 * lane, bottom + 0.88 * lane)], look.shade(colour), look.ink)
                    words = str(count[state])
                    if end - start > ems(words) * look.label:
                        ink = text_on(look.shade(colour))
                        pen.write((start + end) / 2, middle, words, "label", align="center", colour=ink, bold=True)
                start = end

    words = [
        f"{name.replace('  ', ' ')}: {', '.join(f'{number} {state}' for state, number in count.items() if number)}"
        for name, count in zip(names, counts, strict=True)
    ]
    return Picture(title, plain(f"{title}: {'; '.join(words)}"), look.width, height, look, draw)


def write_marks(marks: Marks, folder: str | Path) -> tuple[Path, ...]:
    """Write marks.csv, class_overview.pdf and class_overview.svg into a folder, all of them or none."""
    picture = overview(marks, "paper")
    files = {
        "marks.csv": marks_csv(marks).encode("utf-8-sig"),
        "class_overview.pdf": picture.pdf(),
        "class_overview.svg": picture.svg.encode(),
    }
    return write_together(files, folder)
