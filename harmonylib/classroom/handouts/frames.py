"""A grip as a small diagram for paper, laid out as lines, marks and words for the printer.

Words are set as type, not drawn, so that they stay sharp, are found by a search and sixty diagrams take no time.

Conventions
- Lengths are points from the upper left corner. Upright: the nut on top, the lowest string left (right for a
  left-handed player). Lying: string 1 on top, the nut left (right for a left-handed player).
- What a mark says and which role it plays is that of `pictures.neck.grip_marks`; a square is the root, a ring the
  melody, and both stay in black and white.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.look import Look
from harmonylib.pictures.neck import Mark, grip_marks
from harmonylib.pictures.theme import MARKS, OKABE_ITO, text_on
from harmonylib.theory.voicings import Voicing

FEWEST_FRETS = 4
ROUND, WIDEST = 0.84, 1.12
"""A round mark and the widest one against the space between strings: they stay clear of each other."""

SIGN, DIGIT = 0.6, 0.5
"""The width of a flat or sharp and of a digit or letter in a mark, against the size of its letters."""

LABEL, FRET = 7 / 9, 11 / 9
"""Letters in a mark and the space of a fret, against the size of words."""

WIDE, TIGHT = 11.5 / 9, 8.4 / 9
"""The space between strings, against the size of words, and where eight diagrams stand in a row."""


DRAWN = """
#let centred(x, y, body) = place(dx: x - 30pt, dy: y - 15pt,
  box(width: 60pt, height: 30pt, align(center + horizon, body)))
#let drawn(f) = box(width: f.w * 1pt, height: f.h * 1pt, {
  for l in f.lines {
    let stroke = stroke(thickness: l.at(4) * 1pt, cap: "square")
    place(line(start: (l.at(0) * 1pt, l.at(1) * 1pt), end: (l.at(2) * 1pt, l.at(3) * 1pt), stroke: stroke))
  }
  for m in f.marks {
    let radius = if m.square { 0.5pt } else { m.d * 0.5pt }
    let shape(more, ..how) = centred(m.x * 1pt, m.y * 1pt,
      rect(width: m.wide * 1pt + more, height: m.d * 1pt + more, inset: 0pt, ..how))
    if m.ring { shape(2.2pt, radius: radius + 1.1pt, fill: white, stroke: 0.8pt) }
    shape(0pt, radius: radius, fill: rgb(m.fill), stroke: 0.5pt)
    centred(m.x * 1pt, m.y * 1pt, scale(x: m.narrow * 100%,
      text(size: m.size * 1pt, weight: "bold", fill: rgb(m.ink), m.text)))
  }
  for w in f.words { centred(w.at(0) * 1pt, w.at(1) * 1pt, text(size: small, w.at(2))) }
})
"""
"""How the printer draws a frame, in its own words; `small` is the size of words."""


@dataclass(frozen=True)
class Frame:
    """A diagram ready for the printer: its size, and what lies on it; `data` is what the template draws."""

    width: float
    height: float
    lines: tuple[tuple[float, float, float, float, float], ...]
    marks: tuple[dict[str, Any], ...]
    words: tuple[tuple[float, float, str], ...]

    @property
    def data(self) -> dict[str, Any]:
        return {"w": self.width, "h": self.height, "lines": self.lines, "marks": self.marks, "words": self.words}


def frame(neck: Neck, grip: Grip, voicing: Voicing | None, look: Look, spacing: float = WIDE) -> Frame:
    """The diagram of a grip; without a voicing its marks say the finger where the degree was asked for.

    `spacing` is `WIDE` or `TIGHT`.

    >>> from harmonylib.theory.voicings import voice
    >>> made = frame(Neck(), Grip.parse("x3545x"), voice("Cmaj7", "drop 2", "E4"), Look())
    >>> [mark["text"] for mark in made.marks], [word for _, _, word in made.words]
    (['1', '5', '7', '3'], ['×', '×', '3'])
    """
    label = look.label if voicing or look.label != "degree" else "finger"
    marks = grip_marks(neck, grip, voicing, label)
    count = len(neck.open_strings)
    low, high = window(grip)
    gap, fret = spacing * look.size, FRET * look.size
    head, edge = 1.2 * look.size, max(0.6 * look.size, 0.5 * ROUND * gap + 2.5)  # a ring stays inside, clear of words
    side = 0.5 * gap + 1.1 * look.size  # a fret's number stands there, clear of a mark on the lowest string
    near = 0.5 if any((mark.string, mark.fret) == (count, low) for mark in marks) else 0.1
    beside = near * gap + 0.6 * look.size
    across, along = gap * (count - 1), fret * (high - low + 1)

    def place(string: float, depth: float) -> tuple[float, float]:
        """Where a string crosses a depth, in points under the nut."""
        if look.upright:
            return (edge + (string - 1) * gap if neck.left_handed else side + (count - string) * gap), head + depth
        return (edge + along - depth if neck.left_handed else head + depth), edge + (string - 1) * gap

    lines = [(*place(string, 0), *place(string, along), 0.6) for string in range(1, count + 1)]
    for wire in range(high - low + 2):
        nut = wire == 0 and low == 1
        lines.append((*place(1, wire * fret), *place(count, wire * fret), 2.2 if nut else 0.6))
    before = -0.62 * look.size
    drawn = []
    for mark in marks:
        if mark.fret is not None:
            spot = place(mark.string, (mark.fret - low + 0.5) * fret if mark.fret else before)
            drawn.append(_drawn(mark, spot, gap, look))
    words = [(*place(mark.string, before), "×") for mark in marks if mark.fret is None]
    if low > 1:
        words.append((*place(count + beside / gap, 0.5 * fret), str(low)))
    size = (across + side + edge, head + along + edge) if look.upright else (head + along + edge, across + edge + side)
    return Frame(*size, tuple(lines), tuple(drawn), tuple(words))


def window(grip: Grip) -> tuple[int, int]:
    """First and last fret of a diagram: from the nut where the grip lies low, at least `FEWEST_FRETS`.

    >>> window(Grip.parse("x3545x")), window(Grip.parse("xx0212"))
    ((3, 6), (1, 4))
    """
    low, high = min(grip.fretted, default=1), max(grip.fretted, default=1)
    low = 1 if high <= FEWEST_FRETS or 0 in grip.frets and high <= FEWEST_FRETS + 1 else low
    return low, max(high, low + FEWEST_FRETS - 1)


def _drawn(mark: Mark, spot: tuple[float, float], gap: float, look: Look) -> dict[str, Any]:
    root, name = mark.role == "root", MARKS[mark.role][0]
    fill = OKABE_ITO[name] if look.colour else "#000000" if root else "#FFFFFF"
    size, letters = ROUND * gap, LABEL * look.size
    told = letters * sum(SIGN if sign in "♭♯" else DIGIT for sign in mark.label)
    wide = min(max(size, told + 1.5), WIDEST * gap) if len(mark.label) > 2 else size
    return {
        **{"x": spot[0], "y": spot[1], "d": size, "wide": wide, "square": root, "ring": mark.top, "fill": fill},
        **{"ink": text_on(fill), "text": mark.label, "size": letters},
        **{"narrow": min(1, 0.9 * wide / told) if told else 1},
    }
