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

from itertools import groupby

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.pictures.neck import degree_role
from harmonylib.pictures.picture import Pen, Picture, titled, wrapped
from harmonylib.pictures.staves import bar_lines, chord_widths, chords_in, staves_for, write_chords
from harmonylib.pictures.theme import named_theme
from harmonylib.tunes.bars import WhichBars, bars_meant
from harmonylib.tunes.chordtones import ROLES, examine
from harmonylib.tunes.tune import Tune

ROLE_CODES = dict(zip(ROLES, "s a p n ↑ ↓ e f".split(), strict=True))
"""The sign of each role of a foreign note, small enough for a mark; the legend of a picture spells it out."""


def melody_picture(
    tune: Tune | Arrangement, *, bars: WhichBars = None, title: str = "", theme: str | None = None
) -> Picture:
    """A melody against its chords: thin lines are the notes of the chord, heavy ones its root.

    A note in the chord lies on a line and says its degree; a foreign note is a diamond and says what it does. For an
    `Arrangement`, notes that stay single are hollow. `bars` are shown (default: all), as in ``bars="B"``.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"C"C D E F | "G7"G4 |]')
    >>> melody_picture(tune)
    bar 1 over C: C 1, D passing note, E 3, F passing note | bar 2 over G7: G 1
    """
    look = named_theme(theme)
    single = {c.note.onset for c in tune.choices if c.voicing is None} if isinstance(tune, Arrangement) else set()
    tune = tune.tune if isinstance(tune, Arrangement) else tune
    shown = bars_meant(tune, bars)
    first, last = shown[0].onset, shown[-1].end
    verdicts = [v for v in examine(tune) if first <= v.note.onset < last]
    if not verdicts:
        raise HarmonyError(f"bars {shown[0].number} to {shown[-1].number} of {tune.title!r} hold no notes")
    onsets = [v.note.onset for v in verdicts]
    marks = [(a, b, 1.1 * look.mark) for a, b in zip(onsets, [*onsets[1:], last], strict=True)]
    staves = staves_for(shown, look.width - 22, [*marks, *chord_widths(tune, look, first, last)], left=10)
    midi = [v.note.pitch.midi for v in verdicts]
    low, high, unit = min(midi), max(midi), 0.4 * look.mark
    line_height = unit * (high - low) + 2.4 * look.mark + 1.6 * look.chord + 2.2 * look.small
    used = [role for role in ROLES if any(v.role == role for v in verdicts)]
    legend = [f"{ROLE_CODES[role]}  {role}" for role in used] + ["thin line: note of the chord", "heavy line: its root"]
    legend += ["hollow: single note"] if single else []
    legend_rows = wrapped(legend, look)
    foot = len(legend_rows) * 1.5 * look.small + 4
    height = len(staves.lines) * line_height + foot + (1.9 * look.chord if title else 4)

    def draw(pen: Pen) -> None:
        for row, words in enumerate(legend_rows):
            pen.write(staves.left, foot - 1.5 * look.small * (row + 0.8), words, colour=look.soft)
        for line in range(len(staves.lines)):
            bottom = foot + line_height * (len(staves.lines) - 1 - line) + 2.2 * look.small
            floor = bottom + 0.9 * look.mark
            roof = floor + unit * (high - low) + 1.5 * look.mark
            bar_lines(pen, staves, line, bottom, roof)
            start, end = staves.span(line)
            for begin, stop, chord, _ in chords_in(tune, start, end):
                for step in range(high - low + 1) if chord else ():
                    degree = chord.tones.get((low + step) % 12)
                    if degree:
                        y, width = floor + unit * step, 2.6 if degree == "1" else 0.8
                        points = (staves.x(line, begin) + 2, y, staves.x(line, stop) - 2, y)
                        pen.lines([points], look.line, width, zorder=1.5)
            write_chords(pen, staves, line, tune, roof + 0.45 * look.chord)
            here = [v for v in verdicts if start <= v.note.onset < end]
            for verdict in here:
                note = verdict.note
                x = staves.x(line, note.onset) + 0.62 * look.mark
                y = floor + unit * (note.pitch.midi - low)
                stop_x = staves.x(line, min(note.end, end)) - 3
                if stop_x > x:
                    pen.lines([(x, y, stop_x, y)], look.ink, 0.16 * look.mark, zorder=3)
                role, label = _verdict_mark(verdict.degree, verdict.role)
                pen.mark(x, y, role, label, hollow=note.onset in single)
                pen.label(x, y + 0.72 * look.mark, str(note.pitch.name), over=1.7)

    said = []
    for bar in shown:
        inside = [v for v in verdicts if bar.onset <= v.note.onset < bar.end]
        for chord, group in groupby(inside, key=lambda v: v.chord):
            words = ", ".join(f"{v.note.pitch.name} {v.degree or v.role or 'free'}" for v in group)
            said.append(f"bar {bar.number} over {chord or 'no chord'}: {words}")
    return Picture(title, titled(title, " | ".join(said)), look.width, height, look, draw)


def _verdict_mark(degree: str | None, role: str | None) -> tuple[str, str]:
    if degree:
        return degree_role(degree), degree
    return ("foreign", ROLE_CODES[role]) if role else ("plain", "")
