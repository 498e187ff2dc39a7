"""Calls and answers along a tune: what the melody's chords leave free, and what answers there.

Conventions
- Time is in quarter notes. Calls and answers lie on lanes of their own; the label carries the meaning.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, NamedTuple

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.pictures.picture import Pen, Picture, ems, titled
from harmonylib.pictures.staves import Staves, bar_lines, staves_for
from harmonylib.pictures.theme import Theme, named_theme, text_on
from harmonylib.tunes.bars import WhichBars, bars_meant
from harmonylib.tunes.metre import Bar, beat_text, quarters

_KIND_COLOURS = ("blue", "orange", "reddish purple", "bluish green")


class Span(NamedTuple):
    """Something that sounds: onset and duration in quarter notes, its kind (“call”, “answer” …) and a label."""

    onset: Fraction
    duration: Fraction
    kind: str
    label: str = ""


def calls_picture(
    events: Arrangement | Iterable[Span | tuple[Any, ...]],
    *,
    bars: WhichBars = None,
    metre: tuple[int, int] = (4, 4),
    title: str = "",
    theme: str | None = None,
) -> Picture:
    """Calls and answers against the beat: one lane a kind, in the order the kinds appear.

    `events` are (onset, duration, kind, label) in quarter notes from the first bar line, or an `Arrangement`, of which
    `bars` are shown (default: all), as in ``bars="B"``. Each is written with its length, so what falls off the
    beat is seen to.

    >>> calls_picture([(0, 2, "call", "Cmaj7"), (2.5, 1.5, "answer", "x3545x")])
    call Cmaj7 at bar 1, beat 1 (2 quarters); answer x3545x at bar 1, beat 3½ (1½ quarters)
    """
    look, sounding, first_number = named_theme(theme), [], 1
    if isinstance(events, Arrangement):
        shown = bars_meant(events.tune, bars)
        first_number, metre = shown[0].number, shown[0].metre
        events = _calls_and_answers(events, shown)
    for onset, duration, kind, *label in events:
        sounding.append(Span(Fraction(onset), Fraction(duration), str(kind), *map(str, label)))
    if not sounding or any(e.onset < 0 or e.duration <= 0 for e in sounding):
        raise HarmonyError(f"{len(sounding)} events: give at least one, each with an onset from 0 and a length above 0")
    sounding.sort()
    length = Fraction(4 * metre[0], metre[1])
    count = -(-max(e.onset + e.duration for e in sounding) // length)
    measures = [Bar(n + first_number, n * length, length, metre) for n in range(int(count))]
    kinds = list(dict.fromkeys(e.kind for e in sounding))
    left = max(ems(kind) for kind in kinds) * look.label * 1.1 + 14
    wide = {e: ems(e.label) * look.label * 1.08 + 8 for e in sounding}
    free = {e: _free(e, sounding, measures) for e in sounding}
    written = [(e.onset, e.onset + max(e.duration, free[e][1] - e.onset - e.duration), wide[e]) for e in sounding]
    staves = staves_for(measures, look.width - left - 12, written, left)
    chart = _Chart(look, staves, metre, kinds, sounding, wide, free)

    height = chart.line_height * len(staves.lines) + (1.9 * look.chord if title else 4)
    said = "; ".join(_told(event, measures) for event in sounding)
    return Picture(title, titled(title, said), look.width, height, look, chart.draw)


@dataclass(frozen=True)
class _Chart:
    """Lanes under lines of bars, one a kind; `wide` is the room a label needs, `free` the time its lane is its own."""

    look: Theme
    staves: Staves
    metre: tuple[int, int]
    kinds: list[str]
    sounding: list[Span]
    wide: dict[Span, float]
    free: dict[Span, tuple[Fraction, Fraction]]

    @property
    def lane(self) -> float:
        return 1.45 * self.look.mark

    @property
    def line_height(self) -> float:
        return self.lane * len(self.kinds) + 3.6 * self.look.small

    def draw(self, pen: Pen) -> None:
        look = self.look
        for line in range(len(self.staves.lines)):
            bottom = self.line_height * (len(self.staves.lines) - 1 - line) + 1.8 * look.small
            roof = bottom + self.lane * len(self.kinds)
            bar_lines(pen, self.staves, line, bottom, roof)
            for bar in self.staves.lines[line]:
                for beat in range(self.metre[0]):
                    x = self.staves.x(line, bar.onset + Fraction(4 * beat, self.metre[1]))
                    pen.write(x + 2, roof + 3, str(beat + 1), colour=look.soft, bold=not beat)
            for number, kind in enumerate(self.kinds):
                y = bottom + self.lane * (len(self.kinds) - 1 - number)
                pen.write(self.staves.left - 6, y + self.text_up, kind, "label", align="right")
                colour = self.look.shade(_KIND_COLOURS[number % len(_KIND_COLOURS)])
                for event in self.sounding:
                    if event.kind == kind:
                        self.draw_event(pen, line, y, event, colour)

    @property
    def text_up(self) -> float:
        """How far over the bottom of its lane a text stands."""
        return 0.5 * self.lane - 0.36 * self.look.label

    def draw_event(self, pen: Pen, line: int, y: float, event: Span, colour: str) -> None:
        """What sounds of an event in a line of bars; its label inside where it fits, else behind it, else before it."""
        start, end = self.staves.span(line)
        begin, stop = max(event.onset, start), min(event.onset + event.duration, end)
        if begin >= stop:
            return
        x1, x2, room = self.staves.x(line, begin), self.staves.x(line, stop), self.wide[event]
        pen.area([(x1 + 0.5, x2 - 0.5, y + 0.14 * self.lane, y + 0.86 * self.lane)], colour, self.look.ink)
        free_from, free_until = self.free[event]
        y += self.text_up
        if x2 - x1 >= room:
            pen.write(x1 + 3, y, event.label, "label", colour=text_on(colour), bold=True)
        elif self.staves.x(line, min(free_until, end)) - x2 >= room:
            pen.write(x2 + 4, y, event.label, "label", bold=True)
        elif x1 - self.staves.x(line, max(free_from, start)) >= 2 * room:  # a label behind the one before has its place
            pen.write(x1 - 4, y, event.label, "label", bold=True, align="right")
        else:
            pen.write(x1 + 3, y, event.label, "label", colour=text_on(colour), bold=True, room=max(x2 - x1 - 4, 1))


def _free(event: Span, sounding: Sequence[Span], measures: Sequence[Bar]) -> tuple[Fraction, Fraction]:
    """From when to when no other event of its kind is there, within its bar."""
    bar = next(bar for bar in measures if bar.onset <= event.onset < bar.end)
    others = [other for other in sounding if other.kind == event.kind]
    before = [other.onset + other.duration for other in others if other.onset < event.onset]
    later = [other.onset for other in others if other.onset > event.onset]
    return max([*before, bar.onset]), min([*later, bar.end])


def _told(event: Span, measures: Sequence[Bar]) -> str:
    """An event in words, with the bar it begins in."""
    bar = next(bar for bar in measures if bar.onset <= event.onset < bar.end)
    where = f"bar {bar.number}, beat {beat_text(1 + (event.onset - bar.onset) * bar.metre[1] / 4)}"
    return f"{event.kind} {event.label} at {where} ({quarters(event.duration)})"


def _calls_and_answers(arrangement: Arrangement, shown: Sequence[Bar]) -> list[Span]:
    """What sounds in some bars, counted from the first bar line."""
    first = shown[0]
    start = first.start
    found = [
        Span(c.note.onset - start, arrangement.held(c.index), "call", str(c.chord or c.note.pitch.name))
        for c in arrangement.choices
    ]
    found += [
        Span(a.onset - start, a.duration, "approach" if a.approach else "answer", str(a.grip))
        for a in arrangement.answers
    ]
    return [event for event in found if first.onset <= event.onset + start < shown[-1].end]
