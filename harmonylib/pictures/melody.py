"""A melody against its chords: each note at its pitch, with its degree or what it does when it is foreign.

Conventions
- The label carries the meaning, the colour and shape of a mark repeat it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import groupby

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.pictures.neck import degree_role
from harmonylib.pictures.picture import Pen, Picture, titled, wrapped
from harmonylib.pictures.staves import Staves, bar_lines, chord_widths, chords_in, staves_for, write_chords
from harmonylib.pictures.theme import Theme, named_theme
from harmonylib.tunes.bars import WhichBars, bars_meant
from harmonylib.tunes.chordtones import ROLES, Tested, examine
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
    legend = [f"{ROLE_CODES[role]}  {role}" for role in ROLES if any(v.role == role for v in verdicts)]
    legend += ["thin line: note of the chord", "heavy line: its root"] + ["hollow: single note"] * bool(single)
    chart = _Chart(tune, look, staves, verdicts, single, wrapped(legend, look))

    said = []
    for bar in shown:
        inside = [v for v in verdicts if bar.onset <= v.note.onset < bar.end]
        for chord, group in groupby(inside, key=lambda v: v.chord):
            words = ", ".join(f"{v.note.pitch.name} {v.degree or v.role or 'free'}" for v in group)
            said.append(f"bar {bar.number} over {chord or 'no chord'}: {words}")
    height = len(staves.lines) * chart.line_height + chart.foot + (1.9 * look.chord if title else 4)
    return Picture(title, titled(title, " | ".join(said)), look.width, height, look, chart.draw)


@dataclass(frozen=True)
class _Chart:
    """A melody over lines of bars, and the legend at the foot; `single` are the onsets of notes without a chord."""

    tune: Tune
    look: Theme
    staves: Staves
    verdicts: list[Tested]
    single: set[Fraction]
    legend: list[str]

    @cached_property
    def pitches(self) -> range:
        midi = [v.note.pitch.midi for v in self.verdicts]
        return range(min(midi), max(midi) + 1)

    @property
    def unit(self) -> float:
        """Points a semitone."""
        return 0.4 * self.look.mark

    @property
    def line_height(self) -> float:
        look = self.look
        return self.unit * (len(self.pitches) - 1) + 2.4 * look.mark + 1.6 * look.chord + 2.2 * look.small

    @property
    def foot(self) -> float:
        return len(self.legend) * 1.5 * self.look.small + 4

    def draw(self, pen: Pen) -> None:
        look = self.look
        for row, words in enumerate(self.legend):
            pen.write(self.staves.left, self.foot - 1.5 * look.small * (row + 0.8), words, colour=look.soft)
        for line in range(len(self.staves.lines)):
            bottom = self.foot + self.line_height * (len(self.staves.lines) - 1 - line) + 2.2 * look.small
            floor = bottom + 0.9 * look.mark
            roof = floor + self.unit * (len(self.pitches) - 1) + 1.5 * look.mark
            bar_lines(pen, self.staves, line, bottom, roof)
            self.draw_chords(pen, line, floor)
            write_chords(pen, self.staves, line, self.tune, roof + 0.45 * look.chord)
            self.draw_notes(pen, line, floor)

    def draw_chords(self, pen: Pen, line: int, floor: float) -> None:
        """A line for every note of the chords, as long as each of them sounds."""
        for begin, stop, chord, _ in chords_in(self.tune, *self.staves.span(line)):
            for step, pitch in enumerate(self.pitches) if chord else ():
                degree = chord.tones.get(pitch % 12)
                if degree:
                    y, width = floor + self.unit * step, 2.6 if degree == "1" else 0.8
                    points = (self.staves.x(line, begin) + 2, y, self.staves.x(line, stop) - 2, y)
                    pen.lines([points], self.look.line, width, zorder=1.5)

    def draw_notes(self, pen: Pen, line: int, floor: float) -> None:
        look, (start, end) = self.look, self.staves.span(line)
        for verdict in self.verdicts:
            note = verdict.note
            if not start <= note.onset < end:
                continue
            x = self.staves.x(line, note.onset) + 0.62 * look.mark
            y = floor + self.unit * (note.pitch.midi - self.pitches[0])
            stop_x = self.staves.x(line, min(note.end, end)) - 3
            if stop_x > x:
                pen.lines([(x, y, stop_x, y)], look.ink, 0.16 * look.mark, zorder=3)
            role, label = _verdict_mark(verdict.degree, verdict.role)
            pen.mark(x, y, role, label, hollow=note.onset in self.single)
            pen.label(x, y + 0.72 * look.mark, str(note.pitch.name), over=1.7)


def _verdict_mark(degree: str | None, role: str | None) -> tuple[str, str]:
    if degree:
        return degree_role(degree), degree
    return ("foreign", ROLE_CODES[role]) if role else ("plain", "")
