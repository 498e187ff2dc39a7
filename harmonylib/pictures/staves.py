"""Rows of bars on a page, with their chords above: the ground of every picture that follows a tune.

Conventions
- Time is in quarter notes; a line holds whole bars and has its own scale in points a quarter.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from harmonylib.pictures.picture import Pen, ems
from harmonylib.pictures.theme import Theme
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import Tune


@dataclass(frozen=True)
class Staves:
    """Bars laid out in lines from `left`, each line with its own scale in points a quarter note."""

    lines: tuple[tuple[Bar, ...], ...]
    scales: tuple[float, ...]
    left: float

    def x(self, line: int, onset: Fraction) -> float:
        return self.left + float(onset - self.lines[line][0].onset) * self.scales[line]

    def span(self, line: int) -> tuple[Fraction, Fraction]:
        return self.lines[line][0].onset, self.lines[line][-1].end


def staves_for(
    bars: Sequence[Bar], room: float, written: Iterable[tuple[Fraction, Fraction, float]], left: float, across: int = 4
) -> Staves:
    """At most `across` bars a line, fewer where something written needs more room.

    `written` lists (from, to, points): what stands between two moments is so wide.
    """
    crowded = [(start, points / float(end - start)) for start, end, points in written if end > start]

    def fits(line: Sequence[Bar]) -> bool:
        scale = room / float(line[-1].end - line[0].onset)
        return all(need <= scale for start, need in crowded if line[0].onset <= start < line[-1].end)

    lines: list[list[Bar]] = []
    for bar in bars:
        if lines and len(lines[-1]) < across and fits([*lines[-1], bar]):
            lines[-1].append(bar)
        else:
            lines.append([bar])
    scales = [room / float(line[-1].end - line[0].onset) for line in lines]
    if len(lines) > 1:  # a short last line keeps to the scale of the one before it, unless it needs more room
        start, end = lines[-1][0].onset, lines[-1][-1].end
        needs = [need for onset, need in crowded if start <= onset < end]
        scales[-1] = min(scales[-1], max(scales[-2], *needs, 1.0))
    return Staves(tuple(map(tuple, lines)), tuple(scales), left)


def chord_widths(tune: Tune, look: Theme, start: Fraction, end: Fraction) -> list[tuple[Fraction, Fraction, float]]:
    """Room the chord names need, as `staves_for` reads it."""
    spans = chords_in(tune, start, end)
    return [(a, b, ems(f"{chord}") * 1.1 * look.chord + 6) for a, b, chord, _ in spans if chord]


def chords_in(tune: Tune, start: Fraction, end: Fraction) -> list[tuple[Fraction, Fraction, Any, bool]]:
    """Chords that sound between two moments: (from, to, chord, whether it starts here)."""
    edges = [c.onset for c in tune.changes if start <= c.onset < end]
    starts = edges if edges[:1] == [start] else [start, *edges]
    return [(a, b, tune.chord_at(a), a in edges) for a, b in zip(starts, [*starts[1:], end], strict=True)]


def bar_lines(pen: Pen, staves: Staves, line: int, low: float, high: float) -> None:
    """Bar lines with bar numbers under them, and a faint line on every beat."""
    look = pen.theme
    for bar in staves.lines[line]:
        unit = Fraction(4, bar.metre[1])
        beats = [bar.end - unit * n for n in range(1, int(bar.length / unit) + 1)]
        pen.lines(((staves.x(line, b), low, staves.x(line, b), high) for b in beats), look.band, 0.9, zorder=1)
        pen.lines([(staves.x(line, bar.onset), low, staves.x(line, bar.onset), high)], look.soft, 1.2)
        pen.write(staves.x(line, bar.onset) + 2, low - 1.2 * look.small, str(bar.number), colour=look.soft)
    end = staves.x(line, staves.lines[line][-1].end)
    pen.lines([(end, low, end, high)], look.soft, 1.2)


def write_chords(pen: Pen, staves: Staves, line: int, tune: Tune, y: float) -> None:
    """Chord names where they change; one carried over from the line before stands in brackets."""
    look = pen.theme
    for start, end, chord, new in chords_in(tune, *staves.span(line)):
        name = str(chord) if chord else "N.C." if new else ""
        room = float(end - start) * staves.scales[line] - 2
        shown = name if new or not name else f"({name})"
        pen.write(staves.x(line, start) + 2, y, shown, "chord", bold=True, room=room, colour="" if new else look.soft)
