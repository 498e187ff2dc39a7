"""The report of a survey: the table by difficulty, what could not be read, and a picture of the folder.

Conventions
- The easiest tune stands first. Lengths are millimetres, times seconds.

Source: CSV as RFC 4180 has it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from harmonylib.classroom.difficulty import WEIGHTS, Row, difficulty_parts
from harmonylib.errors import HarmonyError
from harmonylib.files import safe_cell as cell
from harmonylib.files import write_together
from harmonylib.tunes.chordtones import ROLES
from harmonylib.wording import plain

if TYPE_CHECKING:
    from harmonylib.pictures.picture import Pen, Picture

MOST_BARS = 60
"""Bars in the chart; of a longer table it shows so many, evenly spaced."""

_COLOURS = ("blue", "orange", "bluish green", "yellow", "sky blue", "reddish purple")


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
        """The table, what the difficulty is made of and the list of failures, for a terminal."""
        parts = (_table(self.rows), repr(difficulty_parts()), _failed(self.failures))
        return "\n\n".join(part for part in parts if part) + "\n"

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
    from harmonylib.pictures.melody import ROLE_CODES

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
    from harmonylib.pictures.picture import Picture
    from harmonylib.pictures.theme import named_theme

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
            pen.area([(x, x + look.small, y - 1, y + look.small - 1)], look.shade(colour), look.ink)
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
                    pen.area([box], look.shade(colour), look.ink)
                x += unit * points
            pen.write(x + 4, text, f"{row.difficulty:.1f}", "label", bold=True)

    said = "; ".join(f"{plain(row.title)} {row.difficulty:.2f}" for row in shown)
    return Picture(title, f"{title}: {said}", look.width, height, look, draw)
