"""An arrangement on paper: the engraved systems set as PDF.

Conventions
- What is set is what `score.engraving` draws. Widths are millimetres.
- Titles, composers and every other text that came with a tune reach Typst as data, never as markup.

Sources: PDF. The layout is ours.
"""

from __future__ import annotations

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.pictures.look import PAPERS, look
from harmonylib.score.engraving import systems
from harmonylib.score.printing import printed
from harmonylib.score.tables import facts, rows
from harmonylib.wording import plain

PRINTED = ("bar", "beat", "chord", "melody_note", "frets", "reason")
"""The columns of the table on paper."""

TEMPLATE = """
#let data = json(bytes(sys.inputs.data))
#let small = data.size * 1pt
#set document(title: data.title, date: none)
#set page(paper: data.paper, margin: (x: 15mm, top: 15mm, bottom: 18mm), numbering: "1 / 1")
#set text(font: data.fonts, size: small + 1pt, lang: "en")
#align(center, text(size: small * 1.9, weight: "bold", data.title))
#if data.composer != "" { align(right, text(style: "italic", data.composer)) }
#text(size: small, data.facts)
#if data.unprinted != "" { text(size: small, style: "italic", data.unprinted) }
#for remark in data.remarks { parbreak(); text(size: small, style: "italic", remark) }
#v(4mm)
#for line in data.systems { block(breakable: false, spacing: 5mm, image(bytes(line), format: "svg", width: 100%)) }
#if data.rows.len() > 0 {
  block(above: 4mm, below: 0mm, height: 40mm, breakable: false)  // a page with less room takes no heading
  v(-40mm)
  block(sticky: true, text(size: small * 1.3, weight: "bold", "Why these grips"))
  set text(size: small)
  table(
    columns: (auto, auto, auto, auto, auto, 1fr),
    stroke: none,
    inset: (x: 3pt, y: small * 0.32),
    table.header(..data.columns.map(name => text(weight: "bold", name)), table.hline(stroke: 0.5pt)),
    ..data.rows.flatten(),
  )
}
"""


def pdf(arrangement: Arrangement, paper: str = "", reasons: bool = False) -> bytes:
    """The arrangement on `paper` of `PAPERS` (default: the class's): heading and music, with `reasons` if asked.

    The same bytes every time.

    Raises `HarmonyError` for another paper.
    """
    wanted = look()
    paper = paper or wanted.paper
    if paper not in PAPERS:
        raise HarmonyError(f"{paper!r} is not a paper this course prints on: choose {' or '.join(PAPERS)}")
    tune = arrangement.tune
    data = {
        "paper": paper,
        "size": wanted.size,
        "title": plain(tune.title),
        "composer": plain(tune.composer),
        "facts": " · ".join(facts(arrangement)),
        "remarks": [plain(remark) for remark in (*tune.remarks, *arrangement.remarks)],
        "systems": systems(arrangement),
        "columns": [name.replace("_", " ") for name in PRINTED],
        "rows": [[row[name] or "–" for name in PRINTED] for row in rows(arrangement) if reasons],
    }
    return printed(TEMPLATE, data, "pdf")
