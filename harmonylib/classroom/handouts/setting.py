"""A hand-out: headed rows of diagrams and lines of music, set as PDF pages or as one picture.

Conventions
- Every text reaches the printer as data. Same hand-out, same bytes.
- PDF has pages; SVG and PNG are the whole as one picture.

Sources: PDF, SVG. The layout is ours.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from math import ceil
from pathlib import Path
from typing import Any, Literal

from harmonylib.classroom.handouts.frames import DRAWN, Frame
from harmonylib.errors import HarmonyError, shown
from harmonylib.files import safe_stem, write_together
from harmonylib.pictures.look import Look
from harmonylib.pictures.theme import named_theme
from harmonylib.score.printing import printed
from harmonylib.wording import many, plain

FORMATS = ("pdf", "svg", "png")
CAUTION = (
    "A stretch that hurts is too wide: warm up, stop at pain, raise the reach slowly, ask a teacher or a physician."
)
PIXELS_AN_INCH = 150
ROOM = {"a4": 510.2, "us-letter": 527.0}
"""Points between the margins of each paper."""
GUTTER = 17.0
"""Points between two lines of music beside each other."""


@dataclass(frozen=True)
class Cell:
    """A diagram with its words: the chord over it, the grip under it."""

    head: str
    frame: Frame
    foot: str
    grip: str = ""


BLANK = Cell("", Frame(0, 0, (), (), ()), "")
"""A place in a row that stays free, so that what follows begins where it should."""


@dataclass(frozen=True)
class Line:
    """A line of music as SVG, with diagrams over it: how far from its left edge the middle of each lies, in points.

    A `wide` one takes the whole row, also where others stand side by side.
    """

    svg: str
    frames: tuple[tuple[float, Frame], ...] = ()
    head: str = ""
    wide: bool = False


@dataclass(frozen=True)
class Section:
    """A part of a hand-out under a heading; `whole` parts stay on one page, `across` lines of music in a row."""

    head: str
    note: str = ""
    cells: tuple[Cell, ...] = ()
    lines: tuple[Line, ...] = ()
    whole: bool = False
    across: int = 1


@dataclass(frozen=True, repr=False)
class Handout:
    """A hand-out that shows itself in a notebook; `text` reads it in one line.

    >>> from harmonylib.classroom.handouts.kinds import handout
    >>> handout("shapes", families=["maj7"], root="G")
    Shapes on G: 5 diagrams in 5 parts
    """

    title: str
    look: Look
    sections: Sequence[Section]
    on_wall: Callable[[], Handout] | None = field(default=None, compare=False)
    """Makes the same in print that is read from the last row, to be shown on a wall."""

    @property
    def text(self) -> str:
        cells = sum(cell is not BLANK for part in self.sections for cell in part.cells)
        count = cells + sum(len(line.frames) for part in self.sections for line in part.lines)
        parts = len(self.sections)
        return f"{plain(self.title)}: {count} diagrams in {parts} part{'s' * (parts != 1)}"

    def pdf(self) -> bytes:
        """The hand-out as pages."""
        return self._set("pdf")

    @cached_property
    def svg(self) -> str:
        """The hand-out as one picture, with a title and a description for those who do not see it."""
        head, body = self._set("svg").decode().replace("<svg ", '<svg role="img" ', 1).split(">", 1)
        return f"{head}><title>{escape(plain(self.text))}</title><desc>{escape(plain(self._about))}</desc>{body}"

    @property
    def _about(self) -> str:
        """What is on it, part by part: the diagrams by what stands over and under each, or how much music."""
        return "; ".join(filter(None, map(_part, self.sections))) or self.text

    def _svg(self) -> bytes:
        return self.svg.encode()

    def png(self) -> bytes:
        """The hand-out as one picture of dots."""
        return self._set("png", ppi=PIXELS_AN_INCH)

    def write(self, folder: str | Path = ".", name: str = "", formats: Sequence[str] = FORMATS) -> tuple[Path, ...]:
        """Write the hand-out as files, all of them or none; returns the paths."""
        odd = [kind for kind in formats if kind not in FORMATS]
        if odd or not formats:
            raise HarmonyError(f"{shown(odd)} is no format of a hand-out: choose among {', '.join(FORMATS)}")
        makers = {"pdf": self.pdf, "svg": self._svg, "png": self.png}
        stem = safe_stem(name or self.title)
        return write_together({f"{stem}.{kind}": makers[kind]() for kind in dict.fromkeys(formats)}, folder)

    def _set(self, kind: Literal["pdf", "svg", "png"], ppi: int | None = None) -> bytes:
        data = {
            "title": plain(self.title),
            "paper": self.look.paper,
            "size": self.look.size,
            "paged": kind == "pdf",
            "caution": CAUTION,
            "gutter": GUTTER,
            "sections": [_section(part, ROOM[self.look.paper]) for part in self.sections],
        }
        return printed(TEMPLATE, data, kind, ppi)

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        svg = self.on_wall().svg if self.on_wall and named_theme(None).fills_width else self.svg
        return {"image/svg+xml": svg, "text/html": svg, "text/plain": self.text}

    def __repr__(self) -> str:
        return self.text


def _part(part: Section) -> str:
    """A part in words."""
    shown = [cell for cell in part.cells if cell is not BLANK]
    cells = [" ".join(filter(None, dict.fromkeys((cell.head, cell.foot, cell.grip)))) for cell in shown]
    music = [many(len(part.lines), "line") + " of music"] if part.lines else []
    return f"{part.head}: " + ", ".join([*cells, *music])


def _section(part: Section, room: float) -> dict[str, Any]:
    widest = max((cell.frame.width for cell in part.cells), default=room)
    lines = []
    for line in part.lines:
        across = 1 if line.wide else part.across
        placed = apart(line.frames, (room - GUTTER * (across - 1)) / across)
        high = max((frame.height for _, frame in line.frames), default=0)
        frames = [{"x": x, **frame.data} for x, frame in placed]
        taken = part.across // across
        lines.append({"svg": line.svg, "high": high, "head": plain(line.head), "frames": frames, "takes": taken})
    return {
        "head": plain(part.head),
        "note": plain(part.note),
        "columns": columns(len(part.cells), int(room // widest)),
        "cells": [{"head": cell.head, "foot": cell.foot, **cell.frame.data} for cell in part.cells],
        "lines": lines,
        "across": part.across,
        "whole": part.whole,
    }


def columns(count: int, most: int) -> int:
    """Diagrams in a row: eight or four where a cycle then fills its rows, else as many as fit, the rows about even.

    >>> columns(20, 7), columns(48, 8), columns(3, 7), columns(4, 3), columns(5, 4)
    (4, 8, 3, 2, 3)
    """
    for wanted in (8, 4):
        if wanted <= most and count % wanted == 0:
            return wanted
    rows = ceil(count / most)
    return max(1, ceil(count / max(1, rows)))


def apart(frames: Sequence[tuple[float, Frame]], room: float) -> list[tuple[float, Frame]]:
    """The left edge of each diagram: as near its middle as its neighbours allow, none over the edge.

    Each wants its middle over its note; where two would touch, they give way to the right, then all back to the left.
    """
    lefts: list[float] = []
    for x, frame in frames:
        lefts.append(max(x - frame.width / 2, 0, lefts[-1] + frames[len(lefts) - 1][1].width if lefts else 0))
    edge = room
    for place in reversed(range(len(lefts))):
        lefts[place] = min(lefts[place], edge - frames[place][1].width)
        edge = lefts[place]
    return [(left, frame) for left, (_, frame) in zip(lefts, frames, strict=True)]


TEMPLATE = """
#let data = json(bytes(sys.inputs.data))
#let small = data.size * 1pt
#set document(title: data.title, date: none)
#set page(paper: data.paper, margin: (x: 15mm, top: 14mm, bottom: 10mm + small * 3.4), footer: context {
  set text(size: small)
  grid(columns: (1fr, auto), column-gutter: 5mm, data.caution,
    if data.paged { counter(page).display("1 / 1", both: true) })
})
#set page(height: auto) if not data.paged
#set text(font: data.fonts, size: small + 1pt, lang: "en")
%DRAWN%
#block(below: 4mm, text(size: small * 1.9, weight: "bold", data.title))
#if data.unprinted != "" { text(size: small, style: "italic", data.unprinted) }
#for part in data.sections {
  block(width: 100%, breakable: not part.whole, above: calc.max(5mm, small * 1.5), {
    block(sticky: true, below: 2.5mm, {
      text(size: small * 1.25, weight: "bold", part.head)
      if part.note != "" { h(3mm); text(size: small, part.note) }
    })
    if part.cells.len() > 0 {
      let shown(cell) = block(breakable: false, width: 100%, align(center, {
        set block(spacing: 1.2mm)
        block(height: small * 1.5, align(bottom, strong(cell.head)))
        block(drawn(cell))
        if cell.foot != "" { block(text(size: small, cell.foot)) }
      }))
      grid(columns: (1fr,) * part.columns, row-gutter: 4mm, ..part.cells.map(shown))
    }
    let music(row) = block(breakable: false, width: 100%, {
        if row.head != "" { block(below: 1.5mm, strong(row.head)) }
        if row.frames.len() > 0 {
          block(width: 100%, height: row.high * 1pt, below: 0.5mm, {
            for f in row.frames { place(dx: f.x * 1pt, drawn(f)) }
          })
        }
        image(bytes(row.svg), format: "svg", width: 100%)
    })
    if part.lines.len() > 0 {
      block(above: if part.across > 1 { 4mm } else { 3mm },
        grid(columns: (1fr,) * part.across, column-gutter: data.gutter * 1pt, row-gutter: 3mm,
          ..part.lines.map(row => if row.takes < 2 { music(row) } else {
            grid.cell(x: 0, colspan: row.takes, music(row))
          })))
    }
  })
}
""".replace("%DRAWN%", DRAWN)
