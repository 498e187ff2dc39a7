"""A work sheet on paper, and its key, as PDF.

Conventions
- Questions are numbered from 1, and question 3 is number 3 on the sheet, in the key and in the notebook.
- Every text reaches Typst as data. Same sheet, same bytes; seed and level stand at the foot of the page, so a key can
  be made again.

Sources: PDF. The layout is ours.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from harmonylib.classroom.sheets import SHORT_TITLE, Sheet
from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.tunes import TuneExercise
from harmonylib.exercises.written import as_text
from harmonylib.pictures.neck import neck_picture
from harmonylib.pictures.theme import THEME_VARIABLE
from harmonylib.score.engraving import LINE_MM, PRINT_FONT, drawn_pages, plain_signs
from harmonylib.wording import plain


@contextmanager
def on_paper() -> Iterator[None]:
    """Pictures inside are drawn for paper, also where the course stands on a projector."""
    before = os.environ.pop(THEME_VARIABLE, None)
    try:
        yield
    finally:
        if before is not None:
            os.environ[THEME_VARIABLE] = before


PICTURE = """
#let data = json(bytes(sys.inputs.data))
#set page(width: 180mm, height: auto, margin: 2mm)
#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"))
#for line in data { block(spacing: 3mm, image(bytes(line), format: "svg", width: 100%)) }
"""


def as_png(task: Exercise) -> bytes | None:
    """The picture of a question as a notebook shows it without a kernel and without being trusted."""
    music = _music(task)
    if music:
        return _typst(PICTURE, music, format="png", ppi=170)
    return task.picture.png(960) if task.picture else None


def _music(task: Exercise) -> list[str]:
    """The melody a learner harmonises, engraved over an empty tablature, a line of music an SVG; empty for others."""
    if task.kind not in ("harmonise_bar", "harmonise_phrase") or not isinstance(task, TuneExercise):
        return []
    made = task.arrangement
    bare = [replace(choice, grip=None, voicing=None, diminished=None) for choice in made.choices]
    options = {"pageHeight": 100, "smuflTextFont": "none", "minLastJustification": 0}  # short bars are widened
    pages = drawn_pages(replace(made, choices=tuple(bare), answers=()), LINE_MM, options, *task.span)
    return [plain_signs(page, PRINT_FONT) for page in pages]


def _typst(template: str, data: object, **how: Any) -> bytes:
    import typst

    made = typst.compile(template.encode(), sys_inputs={"data": json.dumps(data)}, ignore_system_fonts=True, **how)
    return bytes(made)


TEMPLATE = """
#let data = json(bytes(sys.inputs.data))
#set document(title: data.title, date: none)
#set page(
  paper: data.paper,
  margin: (x: 15mm, top: 15mm, bottom: 20mm),
  footer: context {
    set text(size: 8pt)
    grid(columns: (1fr, auto), column-gutter: 5mm, data.footer, counter(page).display("1 / 1", both: true))
  },
)
#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"), size: 10.5pt, lang: "en")
#show regex("[x0-9]+(-[x0-9]+){3,}"): box  // a grip stays on one line
#let blank = align(bottom, line(length: 100%, stroke: 0.5pt))
#block(sticky: true, below: 6mm, text(size: 18pt, weight: "bold", data.title))
#if data.head.len() > 0 {
  let fields = data.head.map(name => (box(height: 7mm, align(bottom, name)), blank)).flatten()
  grid(columns: (auto, 2fr, auto, 1fr), column-gutter: 3mm, ..fields)
  v(5mm)
}
#for item in data.questions {
  block(width: 100%, above: 8mm, breakable: item.long, {
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
  })
}
"""

FIGURE_SCALE, SMALLEST_SCALE, TALLEST = 0.75, 0.4, 620
"""How large pictures are printed, how small at least, and how high at most, in points."""

MUSIC, ROW, TEXT_ROW, ROW_LETTERS, PAGE = 130, 24, 16, 90, 620
"""About how high a line of music, a line to write on and a line of text are, and what fits a page, in points."""


def sheet_pdf(made: Sheet) -> bytes:
    """The sheet as PDF: name and date, numbered questions with their pictures and room to write."""
    with on_paper():
        questions = [_question(number, task) for number, task in made.numbered]
    return _pdf(made, made.title, ("Name", "Date"), questions)


def key_pdf(made: Sheet) -> bytes:
    """The key to the sheet as PDF: every question by the same number, a right answer, and what is so."""
    answers = [
        [f"Answer: {as_text(task.solution())}", f"{task.truth[:1].upper()}{task.truth[1:]}."] for task in made.exercises
    ]
    asked = [
        {**_bare(number, task), "solutions": [_soft(text) for text in told], "long": _text_high(task, *told) > PAGE}
        for (number, task), told in zip(made.numbered, answers, strict=True)
    ]
    return _pdf(made, f"{made.title} – key", (), asked)


def _pdf(made: Sheet, title: str, head: Sequence[str], questions: Sequence[Mapping[str, Any]]) -> bytes:
    data = {"title": _soft(title, 20), "paper": made.paper, "head": head, "questions": questions}
    short = made.title if len(made.title) <= SHORT_TITLE else made.title[: SHORT_TITLE - 1] + "…"
    return _typst(TEMPLATE, {**data, "footer": f"{short} · {made.origin}"}, format="pdf")


def _bare(number: int, task: Exercise) -> dict[str, Any]:
    asked: dict[str, Any] = {"number": number, "question": _soft(task.question), "long": False}
    return {**asked, "figures": [], "labels": [], "solutions": []}


def _question(number: int, task: Exercise) -> dict[str, Any]:
    """A question with its pictures and room to write."""
    labels = task.lines
    music = _music(task)
    pictures = [
        *([task.picture] if task.picture and not music else []),
        *[neck_picture(task.neck, ())] * task.blank_necks,
    ]
    scales = [min(FIGURE_SCALE, TALLEST / picture.height) for picture in pictures]
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
