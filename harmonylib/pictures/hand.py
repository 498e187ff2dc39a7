"""Diagrams: grips on the neck, the paths of voices, a melody against its chords, the hand along a tune.

Every function returns a `Picture`: a value that shows itself in a notebook, knows its one-line reading, and can be had
as SVG, PNG or PDF. `Picture.on(ax)` draws it on an Axes of your own and returns that Axes, to compose sheets from.

Conventions
- String 1 lies on top, as a player looks at tablature; the nut is on the left (on the right for a left-handed player).
- Lengths on the page are points (1/72 inch) from the lower left corner of the picture; a fret's place is the middle of
  the space in which it is pressed. Drawn frets narrow half as fast as real ones, so that labels fit high on the neck;
  only `hand_picture` is in true millimetres.
- The label carries the meaning, the colour and shape of a mark repeat it. A ring marks the top note, the melody.
- Same input, same bytes: letters are drawn as outlines, so ♭ ♯ ° look the same everywhere, and what a
  notebook sets for its own plots changes nothing here. matplotlib is imported when something is drawn.

Sources: colours are the Okabe–Ito palette (M. Okabe, K. Ito, Color Universal Design, 2008). Contrast is WCAG 2.1
(relative luminance, success criterion 1.4.3).
"""

from __future__ import annotations

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.pictures.picture import Pen, Picture, titled, wrapped
from harmonylib.pictures.staves import bar_lines, bars_shown, chord_widths, staves_for, write_chords
from harmonylib.pictures.theme import MARKS, OKABE_ITO, named_theme


def hand_picture(
    arrangement: Arrangement, *, bars: tuple[int, int] | None = None, title: str = "", theme: str | None = None
) -> Picture:
    """Where the hand is along a tune: frets on the left, millimetres from the nut (or capo) on the right.

    A box reaches from the lowest to the highest fretted note of a grip, the line follows the index finger, and the
    longest move is marked. `bars` are the first and last bar number shown (default: all).

    >>> from harmonylib.arranging.arrange import arrange
    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E2 G2 |]')
    >>> hand_picture(arrange(tune, pins={0: "x3545x", 1: "x7958x"}))
    frets 3 to 9; the hand travels 59 mm in all, at most 59 mm at once (bar 1, beat 3)
    """
    look, tune, neck = named_theme(theme), arrangement.tune, arrangement.settings.neck
    shown = bars_shown(tune, bars)
    first, last = shown[0].onset, shown[-1].end
    played = [c for c in arrangement.choices if c.grip and first <= c.note.onset < last]
    grips = [c.grip for c in played if c.grip]
    if not grips:
        raise HarmonyError(f"bars {shown[0].number} to {shown[-1].number} of {tune.title!r} hold nothing to play")
    index_mm = [neck.position_mm(grip) for grip in grips]
    lowest = max(min(min(grip.fretted, default=0) for grip in grips) - 1, 0)
    highest = min(max(max(grip.fretted, default=0) for grip in grips) + 1, neck.last_fret)
    moves = [abs(b - a) for a, b in zip(index_mm, index_mm[1:], strict=False)]
    farthest = max(range(len(moves)), key=lambda n: moves[n]) if any(moves) else None
    side = 5 * look.small
    staves = staves_for(shown, look.width - 2 * side, chord_widths(tune, look, first, last), left=side, across=8)
    tall = 7.5 * look.mark
    millimetre = tall / (neck.nut_to(highest) - neck.nut_to(lowest))
    line_height = tall + 1.6 * look.chord + 2.8 * look.small
    legend = ["box: lowest to highest fretted note, over it the melody's degree, ° on a diminished chord"]
    legend += ["line: index finger"] + ["in mm: its longest move"] * (farthest is not None)
    legend_rows = wrapped(legend, look)
    foot = len(legend_rows) * 1.5 * look.small + 4
    height = len(staves.lines) * line_height + foot + (1.9 * look.chord if title else 4)

    def draw(pen: Pen) -> None:
        for row, words in enumerate(legend_rows):
            pen.write(8, foot - 1.5 * look.small * (row + 0.8), words, colour=look.soft)
        for line in range(len(staves.lines)):
            bottom = foot + line_height * (len(staves.lines) - 1 - line) + 2.4 * look.small
            start, end = staves.span(line)

            def up(mm: float, bottom: float = bottom) -> float:
                return bottom + (mm - neck.nut_to(lowest)) * millimetre

            right = staves.x(line, end)
            wires = [(staves.left, up(neck.nut_to(f)), right, up(neck.nut_to(f))) for f in range(lowest, highest + 1)]
            bar_lines(pen, staves, line, bottom, bottom + tall)
            pen.lines(wires, look.line, 0.6, zorder=0.8)
            written = -1e9
            for fret, (_, y, _, _) in zip(range(lowest, highest + 1), wires, strict=True):
                if y - written >= 1.25 * look.small:
                    written = y
                    name = f"fret {fret}" if fret else "nut"
                    pen.write(staves.left - 4, y - 0.36 * look.small, name, align="right", colour=look.soft)
                    pen.write(right + 4, y - 0.36 * look.small, f"{neck.nut_to(fret):.0f} mm", colour=look.soft)
            write_chords(pen, staves, line, tune, bottom + tall + 0.45 * look.chord)
            xs: list[float] = []
            ys: list[float] = []
            for number, (choice, grip, mm) in enumerate(zip(played, grips, index_mm, strict=True)):
                if not start <= choice.note.onset < end:
                    continue
                left, stop = staves.x(line, choice.note.onset), staves.x(line, min(choice.note.end, end))
                top = neck.nut_to(max(grip.fretted, default=0))
                role = {"chord tone": "fifth", "diminished": "foreign", "single": "plain"}[choice.treatment]
                fill = look.soft if role == "plain" else OKABE_ITO[MARKS[role][0]]
                pen.area([(left + 1, stop - 1, up(mm) - 2, up(top) + 2)], fill, look.ink)
                said_over = {"chord tone": choice.tested.degree or "", "diminished": "°", "single": ""}[
                    choice.treatment
                ]
                pen.label((left + stop) / 2, up(top) + 4, said_over)
                xs += (left + 1, stop - 1)
                ys += (up(mm), up(mm))
                if farthest is not None and number == farthest + 1:
                    move = f"{moves[farthest]:.0f} mm"
                    pen.write(left + 3, up(mm) - 1.3 * look.small, move, bold=True)
            pen.path(xs, ys, look.ink, 2.0, zorder=3)

    said = f"frets {min(min(g.fretted, default=0) for g in grips)} to {max(max(g.fretted, default=0) for g in grips)}"
    said += f"; the hand travels {sum(moves):.0f} mm in all"
    if farthest is not None:
        where = tune.where(played[farthest + 1].note.onset)
        said += f", at most {moves[farthest]:.0f} mm at once ({where})"
    return Picture(title, titled(title, said), look.width, height, look, draw)
