"""Engraving: the MusicXML of an arrangement as SVG, for pages in a notebook and for the printer.

Conventions
- What is engraved is the file `score.musicxml` writes, so page and file cannot differ.
- Widths are millimetres. Bars are named by their number; a pick-up is bar 0.
- Titles, composers and every other text that came with a tune reach SVG escaped.

Sources: SVG 1.1. The layout is ours.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import files
from typing import Any

from harmonylib.arranging.arrangement import ARRANGEMENT, Arrangement
from harmonylib.errors import HarmonyError, expect, within
from harmonylib.pictures.look import SIZES, look
from harmonylib.pictures.theme import named_theme
from harmonylib.score.events import written_events
from harmonylib.score.layout import COLUMNS_A_LINE
from harmonylib.score.musicxml import ANSWER_COLOUR, excerpts
from harmonylib.score.tables import rows
from harmonylib.tunes.bars import WhichBars, bar_range, bars_meant
from harmonylib.wording import plain

LINE_MM = 210.0
"""Width of a line of music that holds `COLUMNS_A_LINE`; narrower ones hold fewer."""

PROJECTOR_MM = 130.0
"""The same for a wall: fret numbers come out 30 pixels high where the line is 1226 pixels wide."""

TALLEST = 60000  # tenths of a millimetre; the engraver's own limit for a page

ENGRAVER = {
    "adjustPageHeight": True,
    "defaultBottomMargin": 1.0,
    "defaultTopMargin": 1.0,
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

PRINTED = {"pageHeight": 100, "smuflTextFont": "none", "spacingStaff": 3}
"""For paper: a line of music a page, its tablature close under its staff."""

PROJECTOR = {
    "barLineWidth": 0.4,
    "staffLineWidth": 0.2,
    "stemWidth": 0.3,
    "ledgerLineThickness": 0.35,
    "minLastJustification": 0,  # a line of few bars is as wide as the wall
    "spacingStaff": 4,
    "spacingLinear": 0.16,
    "spacingNonLinear": 0.5,
}


def engrave(
    arrangement: Arrangement,
    first: WhichBars = None,
    last: int | None = None,
    width: float | None = None,
    projector: bool | None = None,
    *,
    bars: WhichBars = None,
) -> str:
    """Some bars (said as in `bar_range`, default: all) as one SVG with notation, tablature and chord symbols.

    The picture fills the width it is given on screen; `width` is that of a line of music in millimetres, so a smaller
    one makes larger notes; the default is `line_mm`. `projector` draws stronger lines. Where the default theme of the
    pictures is one for the projector, the defaults are `PROJECTOR_MM` and True. Pointing at a melody note shows the
    reason for its grip. Raises `HarmonyError` for bars the tune has not.
    """
    theme = named_theme(None)
    on_wall = theme.fills_width
    width = (PROJECTOR_MM if on_wall else line_mm()) if width is None else width
    projector = on_wall if projector is None else projector
    options = {"smuflTextFont": "none", **(PROJECTOR if projector else {})}
    pages = drawn_pages(arrangement, width, options, first, last, bars)
    made = _stacked([_dressed(plain_signs(page, SCREEN_FONT), arrangement) for page in pages])
    return made if theme.colours else made.replace(ANSWER_COLOUR, theme.ink)


@dataclass(frozen=True, repr=False)
class Page:
    """Engraved bars that show themselves in a notebook: the picture, and the reason for each grip under it.

    Pointing at a melody note, or stepping to it with the Tab key, tells its reason; `text` reads the grips in one line.
    """

    svg: str
    text: str
    reasons: tuple[str, ...]

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        told = "".join(f"<li>{escape(reason)}</li>" for reason in self.reasons)
        under = f"<details><summary>Why these grips</summary><ol>{told}</ol></details>"
        paper = "background:#fff;color:#000"
        figure = f'<figure style="margin:0"><div style="{paper}">{self.svg}</div>{under}</figure>'
        return {"text/html": figure, "image/svg+xml": self.svg, "text/plain": self.text}

    def __repr__(self) -> str:
        return self.text


def page(
    arrangement: Arrangement,
    first: WhichBars = None,
    last: int | None = None,
    width: float | None = None,
    projector: bool | None = None,
    *,
    bars: WhichBars = None,
) -> Page:
    """Bars `first` to `last`, or `bars` as in ``bars="B"`` (default: all), as a `Page`; the rest is as for `engrave`.

    >>> from harmonylib.arranging.arrange import arrange
    >>> from harmonylib.tunes.reading import read_text
    >>> page(arrange(read_text('T:Two\\nM:2/4\\nL:1/4\\nK:C\\n"Cmaj7"E F|"C6"G2|')), 2, 2)
    Two, bar 2: C6 G 8x798x
    """
    tune = expect(Arrangement, arrangement, ARRANGEMENT).tune
    shown = bars_meant(tune, bars, first, last)
    low, high = shown[0].number, shown[-1].number
    inside = rows(arrangement, first, last, bars)
    where = f"bar {low}" if low == high else f"bars {low} to {high}"
    grips = ", ".join(
        f"{row['chord']} {row['melody_note'].rstrip('0123456789')} {row['frets'] or 'off'}" for row in inside
    )
    told = tuple(f"bar {row['bar']}, beat {row['beat']}: {row['reason']}" for row in inside)
    svg = engrave(arrangement, first, last, width, projector, bars=bars)
    return Page(svg, f"{plain(tune.title)}, {where}: {grips}", told)


def line_mm() -> float:
    """Width of a line of music that holds `COLUMNS_A_LINE`; narrower, so with larger notes, for a class's large print.

    >>> line_mm()
    210.0
    """
    return LINE_MM * SIZES[0] / look().size


def systems(arrangement: Arrangement) -> list[str]:
    """Every line of music as an SVG of its own, for paper: pages break between lines.

    Music signs in words (flats, the note of the tempo) are plain Unicode here, for fonts without music signs.
    """
    colour = look().colour
    return [for_print(page, colour) for page in drawn_pages(arrangement, line_mm(), PRINTED)]


def for_print(page: str, colour: bool) -> str:
    """A line of music for the printer: plain music signs in words, answers black where there is no colour."""
    page = plain_signs(page, PRINT_FONT)
    return page if colour else page.replace(ANSWER_COLOUR, "#000000")


def drawn_pages(
    arrangement: Arrangement,
    width: float,
    options: Mapping[str, Any],
    first: WhichBars = None,
    last: int | None = None,
    bars: WhichBars = None,
) -> list[str]:
    """The pages the engraver makes."""
    expect(Arrangement, arrangement, ARRANGEMENT)
    (pages,) = drawn_excerpts(arrangement, width, options, [bar_range(arrangement.tune, bars, first, last)])
    return pages


def drawn_excerpts(
    arrangement: Arrangement, width: float, options: Mapping[str, Any], chosen: Sequence[range]
) -> list[list[str]]:
    """The pages of several rows of bars (indices), each engraved by itself."""
    import verovio

    within(width, 50, 1000, "width {} mm: a line of music here is 50 to 1000 mm wide")
    in_bars = Counter(arrangement.tune.bar_at(event.onset).onset for event in written_events(arrangement))
    width = max(width, LINE_MM * max(in_bars.values(), default=0) / COLUMNS_A_LINE)  # no bar is squeezed
    columns = round(COLUMNS_A_LINE * width / LINE_MM)
    # the engraver keeps this path by thread, and a notebook answers widgets in a thread of their own
    verovio.setDefaultResourcePath(str(files("verovio") / "data"))
    verovio.enableLog(verovio.LOG_ERROR)
    toolkit, made = verovio.toolkit(), []
    for score in excerpts(arrangement, chosen, columns, engraved=True):
        breaks = "line" if "<print new-system" in score else "auto"
        toolkit.setOptions({**ENGRAVER, "breaks": breaks, "pageWidth": round(10 * width), **options})
        if not toolkit.loadData(score):
            raise HarmonyError(f"the engraver refuses {plain(arrangement.tune.title)!r}: {toolkit.getLog().strip()}")
        made.append([toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1)])
    return made


def _dressed(page: str, arrangement: Arrangement) -> str:
    """The page with a title and description for screen readers, and the reason inside every melody note."""
    tune = arrangement.tune
    reasons = {event.id: escape(event.reason) for event in written_events(arrangement)}
    title = escape(f"{plain(tune.title)}, arranged in block chords for guitar")
    about = escape(
        f"Notation over tablature with chord symbols, in {tune.key}. Each melody note says why it has its grip."
    )
    head = f"<title>{title}</title><desc>{about}</desc>"
    page = re.sub(r"<desc>.*?</desc>", lambda _: head, page, count=1)
    page = page.replace("<svg ", '<svg role="img" style="width:100%;height:auto" ', 1)
    return _MELODY_NOTE.sub(lambda found: _telling(found[0], reasons[found[1]]), page)


_MELODY_NOTE = re.compile(r'<g id="(n\d+)(?:-\d+)?" class="note">')


def _telling(group: str, reason: str) -> str:
    """The opening of a note's group that says `reason` when it is pointed at or stepped to."""
    return f'{group[:-1]} tabindex="0" role="img" aria-label="{reason}"><title>{reason}</title>'


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


SIGNS = {
    **{"\ueca2": "whole", "\ueca3": "half", "\ueca5": "♩", "\ueca7": "♪", "\ueca9": "sixteenth", "\uecb7": "."},
    **{"\uea63": "♭♭", "\uea64": "♭", "\uea65": "♮", "\uea66": "♯", "\uea67": "♯♯"},
}
"""SMuFL signs that the engraver puts into words (metronome marks, chord symbols) and their plain Unicode; lengths that
have no sign in the fonts of a page are named."""

_SIGN = re.compile(r'<tspan font-family="Leipzig" font-size="\d+px">([^<]*)</tspan>')

_WORD = ('<tspan font-size="405px">', "</tspan>")  # the size of the words around

SCREEN_FONT, PRINT_FONT = "Times, serif", "Libertinus Serif"


def plain_signs(page: str, font: str) -> str:
    """Signs of the music font inside words as Unicode, in a font that is there where the picture is shown."""
    page = page.replace('font-family="Times, serif"', f'font-family="{font}"')
    return _SIGN.sub(lambda found: "".join(SIGNS.get(c, c) for c in found[1]).join(_WORD), page)
