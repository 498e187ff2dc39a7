"""A table that shows itself: aligned text, HTML with header cells and true columns, CSV.

Conventions
- Every cell is text. Columns named in `prose` hold sentences and may wrap; all the others never do.

Sources: CSV as RFC 4180 has it; header cells carry ``scope`` (HTML Living Standard).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from harmonylib.files import safe_cell
from harmonylib.lessons.said import sentence, told

_CELL = "text-align:left;padding:.15em .9em .15em 0;vertical-align:top;"


@dataclass(frozen=True, repr=False)
class Table:
    """Columns with a head and rows of text; the first cell of a row names the others.

    >>> Table(("root", "notes"), (("C", "C E G B"), ("F", "F A C E")))
    root  notes
    C     C E G B
    F     F A C E
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    prose: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def csv(self) -> str:
        """The table for a spreadsheet, lines that end in CR LF."""
        buffer = io.StringIO()
        writer = csv.writer(buffer, lineterminator="\r\n")
        writer.writerows([safe_cell(cell) for cell in row] for row in (self.head, *self.rows))
        return buffer.getvalue()

    @property
    def html(self) -> str:
        """The table as HTML: header cells with scope, no wrapping but in columns of prose."""
        head = "".join(f'<th scope="col" style="{self._style(name)}">{escape(name)}</th>' for name in self.head)
        body = "".join(f"<tr>{self._row(row)}</tr>" for row in self.rows)
        table = f'<table class="lesson-table"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'
        return table + told(self.remarks)

    def _row(self, row: Sequence[str]) -> str:
        first, *others = zip(self.head, row, strict=True)
        if not others:  # a list: no cell names another
            return f'<td style="{self._style(first[0])}">{escape(first[1])}</td>'
        named = f'<th scope="row" style="{self._style(first[0])}">{escape(first[1])}</th>'
        return named + "".join(f'<td style="{self._style(name)}">{escape(cell)}</td>' for name, cell in others)

    def _style(self, name: str) -> str:
        return _CELL + ("min-width:12em;white-space:normal" if name in self.prose else "white-space:nowrap")

    def __repr__(self) -> str:
        lines = [self.head, *self.rows]
        widths = [max(len(line[place]) for line in lines) for place in range(len(self.head))]
        aligned = ["  ".join(map(str.ljust, line, widths)).rstrip() for line in lines]
        return "\n".join([*aligned, *map(sentence, self.remarks)])

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        return {"text/html": self.html, "text/plain": repr(self)}


def table(head: str, rows: Iterable[Iterable[object]], prose: Sequence[str] = (), remarks: Sequence[str] = ()) -> Table:
    """A table from a head such as "root | notes" and rows of anything that has a text.

    >>> table("fret | mm", [(1, 36.4)])
    fret  mm
    1     36.4
    """
    names = tuple(name.strip() for name in head.split("|"))
    return Table(names, tuple(tuple(map(str, row)) for row in rows), tuple(prose), tuple(remarks))
