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

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.pictures.picture import Pen, Picture, ems, titled
from harmonylib.pictures.staves import bar_lines, bars_shown, staves_for
from harmonylib.pictures.theme import OKABE_ITO, named_theme, text_on
from harmonylib.tunes.metre import Bar, beat_text

_KIND_COLOURS = ("blue", "orange", "reddish purple", "bluish green")


class Span(NamedTuple):
    """Something that sounds: onset and duration in quarter notes, its kind (“call”, “answer” …) and a label."""

    onset: Fraction
    duration: Fraction
    kind: str
    label: str = ""


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


def calls_picture(
    events: Arrangement | Iterable[Span | tuple[Any, ...]],
    *,
    bars: tuple[int, int] | None = None,
    metre: tuple[int, int] = (4, 4),
    title: str = "",
    theme: str | None = None,
) -> Picture:
    """Calls and answers against the beat: one lane a kind, in the order the kinds appear.

    `events` are (onset, duration, kind, label) in quarter notes from the first bar line, or an `Arrangement`, of which
    `bars`, first and last number, are shown (default: all). Each is written with its length, so what falls off the
    beat is seen to.

    >>> calls_picture([(0, 2, "call", "Cmaj7"), (2.5, 1.5, "answer", "x3545x")])
    call Cmaj7 at bar 1, beat 1 (2 quarters); answer x3545x at bar 1, beat 3½ (1½ quarters)
    """
    look, sounding, first_number = named_theme(theme), [], 1
    if isinstance(events, Arrangement):
        shown = bars_shown(events.tune, bars)
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
    free = {
        e: min(
            [o.onset for o in sounding if o.kind == e.kind and o.onset > e.onset]
            + [b.end for b in measures if b.onset <= e.onset < b.end]
        )
        for e in sounding
    }
    written = [(e.onset, e.onset + max(e.duration, free[e] - e.onset - e.duration), wide[e]) for e in sounding]
    staves = staves_for(measures, look.width - left - 12, written, left)
    lane = 1.45 * look.mark
    line_height = lane * len(kinds) + 3.6 * look.small
    height = line_height * len(staves.lines) + (1.9 * look.chord if title else 4)

    def draw(pen: Pen) -> None:
        for line in range(len(staves.lines)):
            bottom = line_height * (len(staves.lines) - 1 - line) + 1.8 * look.small
            start, end = staves.span(line)
            bar_lines(pen, staves, line, bottom, bottom + lane * len(kinds))
            for bar in staves.lines[line]:
                for beat in range(metre[0]):
                    x = staves.x(line, bar.onset + Fraction(4 * beat, metre[1]))
                    pen.write(x + 2, bottom + lane * len(kinds) + 3, str(beat + 1), colour=look.soft, bold=not beat)
            for number, kind in enumerate(kinds):
                y = bottom + lane * (len(kinds) - 1 - number)
                pen.write(left - 6, y + 0.5 * lane - 0.36 * look.label, kind, "label", align="right")
                colour = OKABE_ITO[_KIND_COLOURS[number % len(_KIND_COLOURS)]]
                for event in sounding:
                    begin, stop = max(event.onset, start), min(event.onset + event.duration, end)
                    if event.kind != kind or begin >= stop:
                        continue
                    x1, x2 = staves.x(line, begin), staves.x(line, stop)
                    pen.area([(x1 + 0.5, x2 - 0.5, y + 0.14 * lane, y + 0.86 * lane)], colour, look.ink)
                    at, inside = y + 0.5 * lane - 0.36 * look.label, x2 - x1 >= wide[event]
                    if inside or staves.x(line, min(free[event], end)) - x2 < wide[event]:
                        ink, room = text_on(colour), max(x2 - x1 - 4, 1)
                        pen.write(x1 + 3, at, event.label, "label", colour=ink, bold=True, room=room)
                    else:
                        pen.write(x2 + 4, at, event.label, "label", bold=True)

    said = []
    for event in sounding:
        bar, rest = divmod(event.onset, length)
        where = f"bar {bar + 1}, beat {beat_text(1 + rest * metre[1] / 4)}"
        many = "quarter" if event.duration <= 1 else "quarters"
        said.append(f"{event.kind} {event.label} at {where} ({beat_text(event.duration).lstrip('0')} {many})")
    return Picture(title, titled(title, "; ".join(said)), look.width, height, look, draw)
