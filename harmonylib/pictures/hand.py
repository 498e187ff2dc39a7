"""The hand along a tune: where it lies on the neck at every note, in true millimetres.

Conventions
- The nut lies below; a bar from the lowest to the highest fretted note is the stretch of the hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.choice import Choice
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.picture import Pen, Picture, titled, wrapped
from harmonylib.pictures.staves import Staves, bar_lines, chord_widths, staves_for, write_chords
from harmonylib.pictures.theme import Theme, named_theme
from harmonylib.tunes.bars import WhichBars, bars_meant
from harmonylib.tunes.tune import Tune


def hand_picture(
    arrangement: Arrangement, *, bars: WhichBars = None, title: str = "", theme: str | None = None
) -> Picture:
    """Where the hand is along a tune: frets on the left, millimetres from the nut (or capo) on the right.

    A box reaches from the lowest to the highest fretted note of a grip, the line follows the index finger, and the
    longest move is marked. `bars` are shown (default: all), as in ``bars="B"``.

    >>> from harmonylib.arranging.arrange import arrange
    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E2 G2 |]')
    >>> hand_picture(arrange(tune, pins={0: "x3545x", 1: "x7958x"}))
    frets 3 to 9; the hand travels 59 mm in all, at most 59 mm at once (bar 1, beat 3)
    """
    look, tune, neck = named_theme(theme), arrangement.tune, arrangement.settings.neck
    shown = bars_meant(tune, bars)
    first, last = shown[0].onset, shown[-1].end
    played = [c for c in arrangement.choices if c.grip and first <= c.note.onset < last]
    grips = [c.grip for c in played if c.grip]
    if not grips:
        raise HarmonyError(f"bars {shown[0].number} to {shown[-1].number} of {tune.title!r} hold nothing to play")
    places = [neck.position_mm(grip) for grip in grips]
    moves = [abs(b - a) for a, b in zip(places, places[1:], strict=False)]
    farthest = max(range(len(moves)), key=lambda n: moves[n]) if any(moves) else None
    stretches = [
        _Stretch(choice, mm, neck.nut_to(max(grip.fretted, default=0)), moves[n - 1] if n - 1 == farthest else None)
        for n, (choice, grip, mm) in enumerate(zip(played, grips, places, strict=True))
    ]
    side = 5 * look.small
    staves = staves_for(shown, look.width - 2 * side, chord_widths(tune, look, first, last), left=side, across=8)
    lowest = max(min(min(grip.fretted, default=0) for grip in grips) - 1, 0)
    highest = min(max(max(grip.fretted, default=0) for grip in grips) + 1, neck.last_fret)
    legend = ["box: lowest to highest fretted note, over it the melody's degree, ° on a diminished chord"]
    legend += ["line: index finger"] + ["in mm: its longest move"] * (farthest is not None)
    chart = _Chart(tune, neck, look, staves, stretches, range(lowest, highest + 1), wrapped(legend, look))

    said = f"frets {min(min(g.fretted, default=0) for g in grips)} to {max(max(g.fretted, default=0) for g in grips)}"
    said += f"; the hand travels {sum(moves):.0f} mm in all"
    if farthest is not None:
        where = tune.where(played[farthest + 1].note.onset)
        said += f", at most {moves[farthest]:.0f} mm at once ({where})"
    height = len(staves.lines) * chart.line_height + chart.foot + (1.9 * look.chord if title else 4)
    return Picture(title, titled(title, said), look.width, height, look, chart.draw)


class _Stretch(NamedTuple):
    """A grip held: the index finger and the highest fretted note in mm from the nut; `move` if it is the longest."""

    choice: Choice
    finger: float
    top: float
    move: float | None


@dataclass(frozen=True)
class _Chart:
    """The hand over lines of bars, and the legend at the foot; frets run upwards in true millimetres."""

    tune: Tune
    neck: Neck
    look: Theme
    staves: Staves
    stretches: list[_Stretch]
    frets: range
    legend: list[str]

    @property
    def tall(self) -> float:
        return 7.5 * self.look.mark

    @property
    def line_height(self) -> float:
        return self.tall + 1.6 * self.look.chord + 2.8 * self.look.small + self.headroom

    @property
    def headroom(self) -> float:
        """Between the highest box's label and the chord symbols, where letters are large."""
        return max(self.look.small - 10, 0)

    @property
    def foot(self) -> float:
        return len(self.legend) * 1.5 * self.look.small + 4

    def draw(self, pen: Pen) -> None:
        look = self.look
        for row, words in enumerate(self.legend):
            pen.write(8, self.foot - 1.5 * look.small * (row + 0.8), words, colour=look.soft)
        for line in range(len(self.staves.lines)):
            bottom = self.foot + self.line_height * (len(self.staves.lines) - 1 - line) + 2.4 * look.small
            bar_lines(pen, self.staves, line, bottom, bottom + self.tall)
            self.draw_frets(pen, line, bottom)
            write_chords(pen, self.staves, line, self.tune, bottom + self.tall + 0.45 * look.chord + self.headroom)
            self.draw_hand(pen, line, bottom)

    def up(self, mm: float, bottom: float) -> float:
        """The height of a place on the neck, on a line of bars that stands at `bottom`."""
        nut_to = self.neck.nut_to
        millimetre = self.tall / (nut_to(self.frets[-1]) - nut_to(self.frets[0]))
        return bottom + (mm - nut_to(self.frets[0])) * millimetre

    def draw_frets(self, pen: Pen, line: int, bottom: float) -> None:
        """A wire for every fret, named where there is room for a name."""
        look, left, right = self.look, self.staves.left, self.staves.x(line, self.staves.span(line)[1])
        heights = [self.up(self.neck.nut_to(fret), bottom) for fret in self.frets]
        pen.lines([(left, y, right, y) for y in heights], look.line, 0.6, zorder=0.8)
        written = -1e9
        for fret, y in zip(self.frets, heights, strict=True):
            if y - written >= 1.25 * look.small:
                written = y
                name = f"fret {fret}" if fret else "nut"
                pen.write(left - 4, y - 0.36 * look.small, name, align="right", colour=look.soft)
                pen.write(right + 4, y - 0.36 * look.small, f"{self.neck.nut_to(fret):.0f} mm", colour=look.soft)

    def draw_hand(self, pen: Pen, line: int, bottom: float) -> None:
        """A box for every grip, and the line of the index finger through them."""
        look, (start, end) = self.look, self.staves.span(line)
        xs: list[float] = []
        ys: list[float] = []
        for choice, finger, top, move in self.stretches:
            if not start <= choice.note.onset < end:
                continue
            left, stop = self.staves.x(line, choice.note.onset), self.staves.x(line, min(choice.note.end, end))
            low, high = self.up(finger, bottom), self.up(top, bottom)
            role, said_over = {
                "chord tone": ("fifth", choice.tested.degree or ""),
                "diminished": ("foreign", "°"),
                "single": ("plain", ""),
            }[choice.treatment]
            fill = look.soft if role == "plain" else look.mark_colour(role)
            pen.area([(left + 1, stop - 1, low - 2, high + 2)], fill, look.ink)
            pen.label((left + stop) / 2, high + 4, said_over)
            xs += (left + 1, stop - 1)
            ys += (low, low)
            if move is not None:
                pen.write(left + 3, low - 1.3 * look.small, f"{move:.0f} mm", bold=True)
        pen.path(xs, ys, look.ink, 2.0, zorder=3)
