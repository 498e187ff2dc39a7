"""Printing: the MusicXML of an arrangement engraved as SVG and set on paper as PDF.

Conventions
- What is engraved is the file `harmonylib.notation.musicxml` writes.
- Widths are millimetres. Bars are named by their number; a pick-up is bar 0.
- Titles, composers and every other text that came with a tune reach SVG escaped and Typst as data, never as markup.

Sources: SVG 1.1, PDF. The layout is ours.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from html import escape
from typing import Any

from harmonylib.arranging import Arrangement, Choice
from harmonylib.notation import events, facts, musicxml, plain
from harmonylib.pitch import HarmonyError
from harmonylib.tunes import beat_text

PAPERS = ("a4", "us-letter")
LINE_MM = 210.0
"""Width of a line of music: four bars of four chords stand at ease on it."""

TALLEST = 60000  # tenths of a millimetre; the engraver's own limit for a page
ENGRAVER = {
    "adjustPageHeight": True,
    "breaks": "line",
    "font": "Leipzig",
    "footer": "none",
    "header": "none",
    "mnumInterval": 0,
    "pageHeight": TALLEST,
    "pageMarginTop": 20,
    "pageMarginBottom": 20,
    "pageMarginLeft": 20,
    "pageMarginRight": 20,
    "spacingSystem": 8,
    "svgCss": ".tabDurSym,.grpSym{display:none}",
    "svgFormatRaw": True,
    "svgViewBox": True,
    "xmlIdSeed": 1,
}
PROJECTOR = {"barLineWidth": 0.4, "staffLineWidth": 0.2, "stemWidth": 0.3, "ledgerLineThickness": 0.35}


def engrave(
    arrangement: Arrangement,
    first: int | None = None,
    last: int | None = None,
    width: float = LINE_MM,
    projector: bool = False,
) -> str:
    """Bars `first` to `last` (default: all) as one SVG with notation, tablature and chord symbols.

    The picture fills the width it is given on screen; `width` is that of a line of music in millimetres, so a smaller
    one makes larger notes. `projector` draws stronger lines. Pointing at a melody note shows the reason for its grip.
    Raises `HarmonyError` for bars the tune has not.
    """
    options = {"pageWidth": round(10 * width)} | (PROJECTOR if projector else {})
    return _stacked([_dressed(page, arrangement) for page in _drawn(arrangement, options, first, last)])


def systems(arrangement: Arrangement, width: float = LINE_MM) -> list[str]:
    """Every line of music as an SVG of its own, for paper: pages break between lines.

    Music signs in words (flats, the note of the tempo) are plain Unicode here, for fonts without music signs.
    """
    options = {"pageHeight": 100, "pageWidth": round(10 * width), "smuflTextFont": "none"}
    return [_plain_signs(page) for page in _drawn(arrangement, options)]


_UNDRAWN = re.compile("<fingering>.*?</fingering>|<degree .*?</degree>")
"""Left to the file: fingerings crowd the staff, and the engraver would add degrees to symbols that show them."""


def _drawn(
    arrangement: Arrangement, options: Mapping[str, Any], first: int | None = None, last: int | None = None
) -> list[str]:
    """The pages the engraver makes."""
    import verovio

    toolkit = verovio.toolkit()
    toolkit.setOptions({**ENGRAVER, **options})
    score = _UNDRAWN.sub("", musicxml(arrangement, first=first, last=last))
    if not toolkit.loadData(score):
        raise HarmonyError(f"the engraver refuses {arrangement.tune.title!r}: {toolkit.getLog().strip()}")
    return [toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1)]


def _dressed(page: str, arrangement: Arrangement) -> str:
    """The page with a title and description for screen readers, and the reason inside every melody note."""
    tune = arrangement.tune
    reasons = {event.id: escape(event.reason) for event in events(arrangement)}
    title = escape(f"{plain(tune.title)}, arranged in block chords for guitar")
    about = escape(
        f"Notation over tablature with chord symbols, in {tune.key}. Each melody note says why it has its grip."
    )
    head = f"<title>{title}</title><desc>{about}</desc>"
    page = re.sub(r"<desc>.*?</desc>", lambda _: head, page, count=1)
    page = page.replace("<svg ", '<svg role="img" style="width:100%;height:auto" ', 1)
    return _MELODY_NOTE.sub(lambda found: f"{found[0]}<title>{reasons[found[1]]}</title>", page)


_MELODY_NOTE = re.compile(r'<g id="(n\d+)(?:-\d+)?" class="note">')


def _stacked(pages: list[str]) -> str:
    """Pages, one under the other, as one picture: only a tune of some 700 bars has more than one."""
    if len(pages) == 1:
        return pages[0]
    sizes = [[int(n) for n in re.findall(r'viewBox="0 0 (\d+) (\d+)"', page)[0]] for page in pages]
    inside, top = "", 0
    for page, (width, height) in zip(pages, sizes, strict=True):
        inside += page.replace("<svg ", f'<svg y="{top}" width="{width}" height="{height}" ', 1)
        top += height
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" style="width:100%;height:auto" '
        f'viewBox="0 0 {sizes[0][0]} {top}">{inside}</svg>'
    )


SIGNS = {"\ueca5": "♩", "\uecb7": ".", "\uea63": "♭♭", "\uea64": "♭", "\uea65": "♮", "\uea66": "♯", "\uea67": "♯♯"}
"""SMuFL signs that the engraver puts into words (metronome marks, chord symbols) and their plain Unicode."""

_SIGN = re.compile(r'<tspan font-family="Leipzig" font-size="(\d+)px">([^<]*)</tspan>')


def _plain_signs(page: str) -> str:
    """Signs of the music font inside words as Unicode, in a font that comes with the typesetter."""
    text = page.replace('font-family="Times, serif"', 'font-family="Libertinus Serif"')
    return _SIGN.sub(
        lambda found: f'<tspan font-size="405px">{"".join(SIGNS.get(c, c) for c in found[2])}</tspan>', text
    )


# --- paper --------------------------------------------------------------------------------------------------------

TEMPLATE = """
#let data = json(bytes(sys.inputs.data))
#set document(title: data.title, date: none)
#set page(paper: data.paper, margin: (x: 15mm, top: 15mm, bottom: 18mm), numbering: "1 / 1")
#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"), size: 10pt, lang: "en")
#align(center, text(size: 20pt, weight: "bold", data.title))
#if data.composer != "" { align(right, text(style: "italic", data.composer)) }
#text(size: 9pt, data.facts)
#for remark in data.remarks { parbreak(); text(size: 8pt, style: "italic", remark) }
#v(4mm)
#for line in data.systems { block(breakable: false, spacing: 5mm, image(bytes(line), format: "svg", width: 100%)) }
#v(4mm)
#block(sticky: true, text(size: 12pt, weight: "bold", "Why these grips"))
#set text(size: 7.5pt)
#table(
  columns: (auto, auto, auto, auto, auto, 1fr),
  stroke: none,
  inset: (x: 3pt, y: 2pt),
  table.header(..data.columns.map(name => text(weight: "bold", name)), table.hline(stroke: 0.5pt)),
  ..data.rows.flatten(),
)
"""


def pdf(arrangement: Arrangement, paper: str = "a4") -> bytes:
    """The arrangement on `paper` ("a4" or "us-letter"): heading, music, and the reasons; the same bytes every time.

    Raises `HarmonyError` for another paper.
    """
    import typst

    if paper not in PAPERS:
        raise HarmonyError(f"{paper!r} is not a paper this course prints on: choose {' or '.join(PAPERS)}")
    tune = arrangement.tune
    data = {
        "paper": paper,
        "title": plain(tune.title),
        "composer": plain(tune.composer),
        "facts": " · ".join(facts(arrangement)),
        "remarks": [plain(remark) for remark in (*tune.remarks, *arrangement.remarks)],
        "systems": systems(arrangement),
        "columns": ["bar", "beat", "chord", "note", "frets", "reason"],
        "rows": [_row(arrangement, choice) for choice in arrangement.choices],
    }
    made = typst.compile(
        TEMPLATE.encode(), format="pdf", sys_inputs={"data": json.dumps(data)}, ignore_system_fonts=True
    )
    return bytes(made)


def _row(arrangement: Arrangement, choice: Choice) -> list[str]:
    tune, note = arrangement.tune, choice.note
    bar, beat = str(tune.bar_at(note.onset).number), beat_text(tune.beat_at(note.onset))
    return [bar, beat, str(choice.chord or "N.C."), str(note.pitch.name), str(choice.grip or "–"), choice.reason]
