"""A work sheet on paper, and its key, as PDF.

Conventions
- Questions are numbered from 1, and question 3 is number 3 on the sheet, in the key and in the notebook.
- Every text reaches Typst as data. Same sheet, same bytes; seed and level stand at the foot of the page, so a key can
  be made again.

Sources: PDF. The layout is ours.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from harmonylib.classroom.handouts.frames import DRAWN
from harmonylib.classroom.keys import diagrams, told
from harmonylib.classroom.sheets import SHORT_TITLE, Sheet
from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.tunes import TuneExercise
from harmonylib.pictures.look import SIZES, Look, look
from harmonylib.pictures.neck import neck_picture
from harmonylib.pictures.theme import THEME_VARIABLE, class_theme
from harmonylib.score.engraving import PRINT_FONT, drawn_pages, line_mm, plain_signs
from harmonylib.score.printing import printed
from harmonylib.wording import plain


@contextmanager
def on_paper() -> Iterator[None]:
    """Pictures inside are drawn for paper, also where the course stands on a projector."""
    before = os.environ.get(THEME_VARIABLE)
    os.environ[THEME_VARIABLE] = class_theme("sheet")
    try:
        yield
    finally:
        os.environ.pop(THEME_VARIABLE)
        if before is not None:
            os.environ[THEME_VARIABLE] = before


PICTURE = """
#let data = json(bytes(sys.inputs.data))
#set page(width: 180mm, height: auto, margin: 2mm)
#set text(font: data.fonts)
#for line in data.lines { block(spacing: 3mm, image(bytes(line), format: "svg", width: 100%)) }
"""


def as_png(task: Exercise) -> bytes | None:
    """The picture of a question as a notebook shows it without a kernel and without being trusted."""
    music = _music(task)
    if music:
        return printed(PICTURE, {"title": "", "lines": music}, "png", ppi=170)
    return task.picture.png(960) if task.picture else None


def _music(task: Exercise) -> list[str]:
    """The melody a learner harmonises, engraved over an empty tablature, a line of music an SVG; empty for others."""
    if task.kind not in ("harmonise_bar", "harmonise_phrase") or not isinstance(task, TuneExercise):
        return []
    made = task.arrangement
    bare = [replace(choice, grip=None, voicing=None, diminished=None) for choice in made.choices]
    options = {"pageHeight": 100, "smuflTextFont": "none", "minLastJustification": 0}  # short bars are widened
    pages = drawn_pages(replace(made, choices=tuple(bare), answers=()), line_mm(), options, *task.span)
    return [plain_signs(page, PRINT_FONT) for page in pages]


TEMPLATE = (
    """
#let data = json(bytes(sys.inputs.data))
#let small = data.size * 1pt
#set document(title: data.title, date: none)
#set page(
  paper: data.paper,
  margin: (x: 15mm, top: 15mm, bottom: 17mm + small),
  footer: context {
    set text(size: small)
    grid(columns: (1fr, auto), column-gutter: 5mm, data.footer, counter(page).display("1 / 1", both: true))
  },
)
#set text(font: data.fonts, size: small * 7 / 6, lang: "en")
#show regex("[x0-9]+(-[x0-9]+){3,}"): box  // a grip stays on one line
#let blank = align(bottom, line(length: 100%, stroke: 0.5pt))
#block(sticky: true, below: 0mm, inset: (bottom: 6mm), text(size: small * 2, weight: "bold", data.title))
#if data.unprinted != "" { text(size: small, style: "italic", data.unprinted) }
#if data.head.len() > 0 {
  let fields = data.head.map(name => (box(height: 7mm, align(bottom, name)), blank)).flatten()
  grid(columns: (auto, 2fr, auto, 1fr), column-gutter: 3mm, ..fields)
  v(5mm)
}
"""
    + DRAWN
    + """
#for (place, item) in data.questions.enumerate() {
  if place > 0 { v(1fr) }  // what a page has left over is shared out, as room to write in
  block(width: 100%, above: 0pt, below: 0pt, inset: (bottom: 7mm), breakable: item.long, {
    block(sticky: true, grid(columns: (9mm, 1fr), strong(str(item.number) + "."), item.question))
    set block(spacing: 3mm)
    for figure in item.figures {
      let width = if figure.width > 0 { figure.width * 1pt } else { 100% }
      pad(left: 9mm, block(breakable: false, image(bytes(figure.svg), format: "svg", width: width)))
    }
    if item.labels.len() > 0 {
      let cell(label) = (box(height: 8.5mm, align(bottom, label)), blank)
      let columns = if item.labels.len() > 3 { (auto, 1fr, auto, 1fr) } else { (auto, 1fr) }
      pad(left: 9mm, grid(columns: columns, column-gutter: 3mm, ..item.labels.map(cell).flatten()))
    }
    for solution in item.solutions { pad(left: 9mm, solution) }
    if item.diagrams.len() > 0 {
      let shown(cell) = block(breakable: false, align(center, {
        set block(spacing: 1mm)
        if cell.head != "" { block(text(size: small, cell.head)) }
        drawn(cell)
      }))
      pad(left: 9mm, block(above: 2mm, grid(columns: (1fr,) * data.across, row-gutter: 2mm,
        ..item.diagrams.map(shown))))
    }
  })
}
#v(data.last * 1fr)
"""
)

SMALLEST_SCALE, TALLEST = 0.4, 620
"""How small a picture may be printed, and how high at most, in points."""

ACROSS = 6
"""Diagrams beside each other in a key."""

MUSIC, ROW, TEXT_ROW, ROW_LETTERS, PAGE = 130, 24, 16, 90, 620
"""About how high a line of music, a line to write on and a line of text are, and what fits a page, in points."""


def sheet_pdf(made: Sheet) -> bytes:
    """The sheet as PDF: name and date, numbered questions with their pictures and room to write."""
    with on_paper():
        questions = [_question(number, task) for number, task in made.numbered]
    return _pdf(made, look(paper=made.paper), made.title, ("Name", "Date"), questions)


def key_pdf(made: Sheet) -> bytes:
    """The key to the sheet as PDF: every question by the same number, a right answer, what is so, and its grips."""
    how, said = look(paper=made.paper), set[str]()
    asked = [_answered(number, task, told(task, said), how) for number, task in made.numbered]
    return _pdf(made, how, f"{made.title} – key", (), asked)


def _answered(number: int, task: Exercise, lines: Sequence[str], how: Look) -> dict[str, Any]:
    """A question with its answer, in words and on the neck."""
    drawn = [{"head": plain(what), **frame.data} for what, frame in diagrams(task, how)]
    high = _text_high(task, *lines) + sum(cell["h"] for cell in drawn[::ACROSS])
    return {
        **_bare(number, task),
        **{"solutions": [_soft(line) for line in lines], "diagrams": drawn, "long": high > PAGE},
    }


def _pdf(made: Sheet, how: Look, title: str, head: Sequence[str], questions: Sequence[Mapping[str, Any]]) -> bytes:
    data = {"title": _soft(title, 20), "paper": how.paper, "size": how.size, "head": head, "questions": questions}
    data |= {"across": ACROSS if how.size == SIZES[0] else 3, "last": 30 if head else 3000}
    short = made.title if len(made.title) <= SHORT_TITLE else made.title[: SHORT_TITLE - 1] + "…"
    return printed(TEMPLATE, {**data, "footer": f"{short} · {made.origin}"}, "pdf")


def _bare(number: int, task: Exercise) -> dict[str, Any]:
    asked: dict[str, Any] = {"number": number, "question": _soft(task.question), "long": False}
    return {**asked, "figures": [], "labels": [], "solutions": [], "diagrams": []}


def _question(number: int, task: Exercise) -> dict[str, Any]:
    """A question with its pictures and room to write."""
    labels = task.lines
    music = _music(task)
    pictures = [
        *([task.picture] if task.picture and not music else []),
        *[neck_picture(task.neck, ())] * task.blank_necks,
    ]
    scales = [min(1, TALLEST / picture.height) for picture in pictures]
    if min(scales, default=1) < SMALLEST_SCALE:
        raise HarmonyError(f"question {number}: its picture is too high for a page; choose fewer bars")
    figures = [{"svg": line, "width": 0} for line in music]
    figures += [{"svg": p.svg, "width": p.width * scale} for p, scale in zip(pictures, scales, strict=True)]
    rows = len(labels) if len(labels) <= 3 else (len(labels) + 1) // 2
    high = sum(p.height * scale for p, scale in zip(pictures, scales, strict=True)) + MUSIC * len(music) + ROW * rows
    return {**_bare(number, task), "figures": figures, "labels": labels, "long": high + _text_high(task) > PAGE}


def _text_high(task: Exercise, *more: str) -> float:
    """About how high a question and what is written under it are, in points."""
    return TEXT_ROW * sum(1 + len(text) / ROW_LETTERS for text in (task.question, *more))


def _soft(text: str, most: int = 40) -> str:
    """One line in which a word of more than `most` letters may be broken at the end of a line.

    >>> len(_soft("x" * 100)), _soft("a\\nb")
    (102, 'a b')
    """
    return re.sub(rf"(\S{{{most}}})(?=\S)", "\\1\u200b", plain(text))
