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

import io
import os
import re
import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from itertools import accumulate, groupby, takewhile
from typing import TYPE_CHECKING, Any, NamedTuple
from xml.sax.saxutils import escape

from harmonylib.arranging import Arrangement
from harmonylib.chordtones import ROLES, examine
from harmonylib.neck import Grip, Neck
from harmonylib.notation import plain
from harmonylib.pitch import HarmonyError, spell
from harmonylib.tunes import Bar, Tune, beat_text
from harmonylib.voicings import Voicing

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

OKABE_ITO = {
    **{"black": "#000000", "orange": "#E69F00", "sky blue": "#56B4E9", "bluish green": "#009E73"},
    **{"yellow": "#F0E442", "blue": "#0072B2", "vermillion": "#D55E00", "reddish purple": "#CC79A7"},
}
MARKS = {
    # role         colour              marker, its size against a circle
    "root": ("blue", "s", 0.9),
    "third": ("orange", "o", 1.0),
    "fifth": ("sky blue", "o", 1.0),
    "seventh": ("bluish green", "o", 1.0),
    "extension": ("reddish purple", "H", 1.1),
    "foreign": ("yellow", "D", 0.76),
    "plain": ("black", "o", 1.0),
}
LABELS = ("degree", "note", "finger")
ROLE_CODES = dict(zip(ROLES, "s a p n ↑ ↓ e f".split(), strict=True))
"""The sign of each role of a foreign note, small enough for a mark; the legend of a picture spells it out."""
_KIND_COLOURS = ("blue", "orange", "reddish purple", "bluish green")
_INLAYS = {3: 1, 5: 1, 7: 1, 9: 1, 12: 2, 15: 1, 17: 1, 19: 1, 21: 1, 24: 2}
"""Frets with position dots and how many (common practice)."""


@dataclass(frozen=True)
class Theme:
    """How large and in which colours a picture is drawn; sizes in points on a picture `width` points wide."""

    width: float
    small: float
    label: float
    chord: float
    mark: float
    paper: str
    ink: str
    soft: str
    line: str
    band: str
    fills_width: bool = True


THEMES = {
    "paper": Theme(490, 8, 8.5, 11, 17, "#FFFFFF", "#1A1A1A", "#555555", "#9A9A9A", "#F1EEE6", fills_width=False),
    "projector light": Theme(720, 10, 12, 17, 26, "#FFFFFF", "#000000", "#333333", "#777777", "#EBE6DA"),
    "projector dark": Theme(720, 10, 12, 17, 26, "#101010", "#FFFFFF", "#D0D0D0", "#8A8A8A", "#2C2C2C"),
}
THEME_VARIABLE = "HARMONYLIB_THEME"
"""The environment variable that names the theme of pictures for which none is given."""


class Mark(NamedTuple):
    """A mark on the neck: string, fret (0 open, None not played), label, role of `MARKS`, and whether it is on top."""

    string: int
    fret: int | None
    label: str = ""
    role: str = "plain"
    top: bool = False


class Event(NamedTuple):
    """Something that sounds: onset and duration in quarter notes, its kind (“call”, “answer” …) and a label."""

    onset: Fraction
    duration: Fraction
    kind: str
    label: str = ""


# --- pictures as values -------------------------------------------------------------------------------------------


@dataclass(frozen=True, repr=False)
class Picture:
    """A drawing that shows itself in a notebook; `width` and `height` are points, `text` reads it in one line."""

    title: str
    text: str
    width: float
    height: float
    theme: Theme
    draw: Callable[[Pen], None] = field(compare=False)

    def on(self, ax: Axes | None = None) -> Axes:
        """Draw on an Axes and return it; a new Figure of the picture's own size when none is given.

        The Axes gets the picture's points as its coordinates; letters and marks shrink or grow with it.

        >>> from matplotlib.figure import Figure
        >>> upper, lower = Figure(figsize=(6, 4)).subplots(2)
        >>> neck_picture(Neck(), [(5, 3, "C", "root")]).on(upper) is upper
        True
        """
        if ax is None:
            ax = _figure(self.width, self.height).add_axes((0, 0, 1, 1))
        ax.set_axis_off()
        ax.set_autoscale_on(False)
        ax.set_xlim(0, self.width)
        ax.set_ylim(0, self.height)
        figure = ax.get_figure(root=True)
        assert figure is not None
        box = ax.get_position()
        inches_wide, inches_high = figure.get_size_inches() * (box.width, box.height)
        scale = min(72 * inches_wide / self.width, 72 * inches_high / self.height)
        ax.set_aspect("equal", adjustable="box")
        pen = Pen(ax, self.theme, scale)
        pen.area([(0, self.width, 0, self.height)], self.theme.paper, zorder=0)
        if self.title:
            pen.write(
                6, self.height - 1.05 * self.theme.chord, plain(self.title), "chord", bold=True, room=self.width - 12
            )
        self.draw(pen)
        return ax

    @cached_property
    def svg(self) -> str:
        """The picture as SVG text with a title and a description for those who do not see it."""
        raw = self._rendered("svg", {"Date": None, "Creator": None, "Format": None, "Type": None}).decode()
        head, body = raw[raw.index("<svg") :].split(">", 1)
        view = re.search(r'viewBox="[^"]*"', head)
        assert view is not None
        # its own size at most on paper, the full width when projected, never wider than a narrow cell
        own = f'width="{self.width * 4 / 3:.0f}" height="{self.height * 4 / 3:.0f}" style="max-width:100%;height:auto"'
        size = 'style="width:100%;height:auto"' if self.theme.fills_width else own
        opening = (
            f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {view[0]} role="img" '
            f'stroke-linejoin="round" stroke-linecap="butt" {size}>\n'
            f"<title>{escape(plain(self.title) or 'Diagram')}</title>\n<desc>{escape(plain(self.text))}</desc>"
        )
        # ids and style rules of one picture must not reach another on the same page
        body = re.sub(r'<g id="[^"]*">', "<g>", body)
        body = re.sub(r"<!--.*?-->|<metadata>.*?</metadata>|<defs>\s*<style.*?</style>\s*</defs>", "", body, flags=re.S)
        body = re.sub(r"(\.\d{3})\d+", r"\1", body)  # a thousandth of a point is finer than any page
        return opening + re.sub(r" *\n\s*", "\n", body)

    def png(self, pixels: int = 1280) -> bytes:
        """The picture as PNG, `pixels` wide."""
        return self._rendered("png", {"Software": None}, dpi=pixels * 72 / self.width)

    def pdf(self) -> bytes:
        """The picture as a one-page PDF of its own size."""
        return self._rendered("pdf", {"CreationDate": None, "Creator": None, "Producer": None})

    def _rendered(self, kind: str, metadata: dict[str, Any], dpi: float = 72) -> bytes:
        import matplotlib

        # a notebook's own settings must not change the bytes
        fixed: Any = {"svg.hashsalt": "harmonylib", "svg.fonttype": "path", "path.sketch": None}
        fixed |= {"pdf.fonttype": 42, "pdf.compression": 6, "savefig.bbox": None, "path.effects": []}
        fixed |= {"text.usetex": False, "figure.autolayout": False, "figure.constrained_layout.use": False}
        with matplotlib.rc_context(fixed), warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph")  # a letter the font lacks is drawn as a box
            figure = self.on().get_figure(root=True)
            assert figure is not None
            out = io.BytesIO()
            figure.savefig(out, format=kind, metadata=metadata, dpi=dpi, facecolor=self.theme.paper, transparent=False)
        return out.getvalue()

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        return {"image/svg+xml": self.svg, "text/plain": self.text}

    def __repr__(self) -> str:
        return self.text


class Pen:
    """Draws on an Axes whose coordinates are points; `scale` is how large a point comes out."""

    def __init__(self, ax: Axes, theme: Theme, scale: float = 1.0) -> None:
        self.ax, self.theme, self.scale = ax, theme, scale

    def lines(self, points: Iterable[tuple[float, float, float, float]], colour: str, width: float, **how: Any) -> None:
        """Straight lines (x, y, x, y), all in one stroke."""
        xs: list[float] = []
        ys: list[float] = []
        for x1, y1, x2, y2 in points:
            xs += (x1, x2, float("nan"))
            ys += (y1, y2, float("nan"))
        self.path(xs, ys, colour, width, **how)

    def path(self, xs: Sequence[float], ys: Sequence[float], colour: str, width: float, **how: Any) -> None:
        style: dict[str, Any] = {
            "solid_capstyle": "butt",
            "marker": "None",
            "linestyle": "-",
            "zorder": 2,
            "clip_on": False,
        } | how
        self.ax.plot(xs, ys, color=colour, linewidth=width * self.scale, **style)

    def area(
        self, boxes: Iterable[tuple[float, float, float, float]], colour: str, edge: str = "none", zorder: float = 1
    ) -> None:
        """Boxes (left, right, bottom, top) of one colour; several stand on one floor and are drawn as one outline."""
        xs: list[float] = []
        ys: list[float] = []
        for x1, x2, y1, y2 in boxes:
            xs += (x1, x1, x2, x2)
            ys += (y1, y2, y2, y1)
        style: dict[str, Any] = {
            "facecolor": colour,
            "edgecolor": edge,
            "linewidth": 0.9 * self.scale,
            "clip_on": False,
        }
        self.ax.fill(xs, ys, zorder=zorder, **style)

    def dots(self, xs: Sequence[float], y: float, size: float) -> None:
        """Small round dots at one height."""
        style: dict[str, Any] = {
            "color": self.theme.ink,
            "markeredgewidth": 0,
            "linestyle": "None",
            "zorder": 2,
            "clip_on": False,
        }
        self.ax.plot(xs, [y] * len(xs), marker="o", markersize=size * self.scale, **style)

    def mark(
        self, x: float, y: float, role: str, label: str, top: bool = False, hollow: bool = False, most: float = 99
    ) -> None:
        """A mark with its label, at most `most` points wide; a ring round the top note, a paper heart when `hollow`."""
        theme, (name, shape, share) = self.theme, _look(role)
        colour = theme.ink if name == "black" else OKABE_ITO[name]
        size = min(theme.mark, most) * share
        shells = [(size, colour, 0.8)]
        if top:
            shells.insert(0, (size + 5, theme.paper, 1.5))
        if hollow:
            shells.append((size - 5, theme.paper, 0))
        for width, fill, edge in shells:
            style: dict[str, Any] = {
                "markersize": width * self.scale,
                "markeredgewidth": edge * self.scale,
                "marker": shape,
            }
            style |= {"markerfacecolor": fill, "markeredgecolor": theme.ink, "linestyle": "None"}
            self.ax.plot([x], [y], zorder=4, clip_on=False, **style)
        text = theme.ink if hollow else text_on(colour)
        self.write(x, y - 0.36 * theme.label, label, "label", align="center", colour=text, bold=True, zorder=5)

    def write(
        self,
        x: float,
        y: float,
        text: str,
        size: str = "small",
        *,
        align: str = "left",
        colour: str = "",
        bold: bool = False,
        room: float = 0,
        zorder: float = 3,
    ) -> None:
        """Text with its baseline at y, in a size of the theme; cut short with “…” when `room` points do not hold it."""
        points, text = getattr(self.theme, size), re.sub("[\ud800-\udfff]", "", text)  # half a letter cannot be drawn
        if room and ems(text) * points > room:
            fits = ((width + ems("…")) * points <= room for width in accumulate(map(ems, text)))
            text = text[: sum(takewhile(bool, fits))] + "…"
        font = {
            "fontfamily": "DejaVu Sans",
            "fontsize": points * self.scale,
            "fontweight": "bold" if bold else "normal",
        }
        place: dict[str, Any] = {"horizontalalignment": align, "verticalalignment": "baseline", "zorder": zorder}
        self.ax.text(x, y, text, color=colour or self.theme.ink, parse_math=False, clip_on=False, **font, **place)

    def label(self, x: float, y: float, text: str, over: float = 0.9) -> None:
        """A small centred text that no line below `over` crosses: a stroke of paper lies under it."""
        half, middle = 0.5 * self.theme.small * ems(text), y + 0.36 * self.theme.small
        self.lines([(x - half, middle, x + half, middle)], self.theme.paper, 0.9 * self.theme.small, zorder=over)
        self.write(x, y, text, align="center", zorder=6)


# --- the neck -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class NeckFrame:
    """Where strings and frets lie on a page: points from the lower left corner; `y(1)` is the highest string.

    `frets` is the window (first, last), `left` and `bottom` the corner of the board, `width` its length with the
    column for open strings, `gap` the distance between strings.

    >>> frame = NeckFrame(Neck(), (1, 12), left=0, bottom=0, width=200, gap=10, column=20)
    >>> frame.x(0), frame.y(6), frame.y(1)
    (10.0, 0, 50)
    """

    neck: Neck
    frets: tuple[int, int]
    left: float
    bottom: float
    width: float
    gap: float
    column: float
    left_handed: bool = False

    def wire(self, fret: float) -> float:
        """x of a fret wire; 0 is the nut."""
        low, high = (1 - 2 ** (-f / 24) for f in (self.frets[0] - 1, self.frets[1]))
        share = (1 - 2 ** (-fret / 24) - low) / (high - low)
        return self._turned(self.column + share * (self.width - self.column))

    def x(self, fret: int) -> float:
        """x of a mark at a fret; open strings (0) have a column of their own before the board."""
        return (self.wire(fret - 1) + self.wire(fret)) / 2 if fret else self._turned(self.column / 2)

    def y(self, string: int) -> float:
        return self.bottom + (len(self.neck.open_strings) - string) * self.gap

    def _turned(self, x: float) -> float:
        return self.left + (self.width - x if self.left_handed else x)


def grip_marks(neck: Neck, grip: Grip | str, voicing: Voicing | None = None, label: str = "degree") -> tuple[Mark, ...]:
    """The marks of a grip, one a string from the lowest, labelled by “degree”, “note” or “finger”.

    Colour and shape follow the degree whatever the label; without a voicing the marks are plain and a degree cannot
    be asked for. Raises `HarmonyError` when the grip does not hold the voicing.

    >>> from harmonylib.voicings import voice
    >>> grip_marks(Neck(), "x3545x", voice("Cmaj7", "drop 2", "E4"))[1]
    Mark(string=5, fret=3, label='1', role='root', top=False)
    """
    if label not in LABELS:
        raise HarmonyError(f"{label!r} is not a label: choose {', '.join(LABELS)}")
    grip = Grip.parse(grip) if isinstance(grip, str) else grip
    if len(grip.frets) != len(neck.open_strings):
        raise HarmonyError(f"{grip} names {len(grip.frets)} strings; this neck has {len(neck.open_strings)}")
    sounding = neck.midi(grip.frets)
    voices: dict[int, tuple[str, str]] = {midi: ("", str(spell(midi))) for midi in sounding}
    if voicing:
        pairs = zip(voicing.pitches, voicing.degrees, strict=True)
        voices = {pitch.midi: (degree, str(pitch.name)) for pitch, degree in pairs}
        if sorted(voices) != sorted(sounding):
            held = " ".join(map(str, voicing.pitches))
            raise HarmonyError(f"{grip} does not hold {voicing.chord} as {held} on this neck")
    elif label == "degree":
        raise HarmonyError(f"{grip} has no degrees without its voicing: give one, or label by note or finger")
    fingers = grip.fingers or (neck.fingered(grip.frets).fingers if label == "finger" else ())
    marks = []
    for place, fret in enumerate(grip.frets):
        string = len(grip.frets) - place
        if fret is None:
            marks.append(Mark(string, None))
            continue
        midi = neck.open_midi[place] + fret
        degree, name = voices[midi]
        text = {"degree": degree, "note": name, "finger": str(fingers[place]) if fingers else ""}[label]
        marks.append(Mark(string, fret, text, _degree_role(degree), len(sounding) > 1 and midi == max(sounding)))
    return tuple(marks)


def _degree_role(degree: str) -> str:
    """The role of `MARKS` that a degree plays; a suspended fourth stands in for the third, a sixth for the seventh.

    >>> [_degree_role(d) for d in ("1", "♭3", "♯5", "6", "♭9", "")]
    ['root', 'third', 'fifth', 'seventh', 'extension', 'plain']
    """
    roles = {"1": "root", "3": "third", "4": "third", "5": "fifth", "6": "seventh", "7": "seventh", "": "plain"}
    return roles.get(degree.lstrip("♭♯"), "extension")


def neck_picture(
    neck: Neck,
    marks: Iterable[Mark | tuple[Any, ...]],
    *,
    title: str = "",
    frets: tuple[int, int] | None = None,
    left_handed: bool = False,
    theme: str | None = None,
    board: bool = True,
) -> Picture:
    """The neck with marks on it, string 1 on top.

    Parameters
    ----------
    marks: from `grip_marks`, or (string, fret, label, role) with a role of `MARKS`; fret 0 is open, None not played.
    frets: first and last fret shown (default: the whole neck), counted from the capo.
    theme: a name of `THEMES` (default: `default_theme`).
    board: False leaves out all but the marks, each in the same place.

    Raises `HarmonyError` for a mark that does not lie on the part shown.

    >>> from harmonylib.voicings import voice
    >>> neck = Neck()
    >>> neck_picture(neck, grip_marks(neck, "x3545x", voice("Cmaj7", "drop 2", "E4")), title="Cmaj7")
    Cmaj7: string 5 fret 3 = 1, string 4 fret 5 = 5, string 3 fret 4 = 7, string 2 fret 5 = 3 (top); not played: 6, 1
    """
    look, placed = named_theme(theme), _checked(neck, marks, frets)
    frame = neck_frame(neck, frets=frets, left_handed=left_handed, theme=theme)
    height = frame.y(1) + 0.75 * look.mark + (1.6 * look.chord if title else 0.35 * look.mark)

    def draw(pen: Pen) -> None:
        if board:
            for place, pitch in enumerate(neck.open_strings):
                string = len(neck.open_strings) - place
                x = frame.left + frame.width + 5 if left_handed else frame.left - 5
                align, name = ("left" if left_handed else "right"), f"{string} {pitch.name}"
                pen.write(x, frame.y(string) - 0.36 * look.small, name, align=align, colour=look.soft)
            _draw_board(pen, frame)
        _draw_marks(pen, frame, placed)

    width = frame.width + frame.left + (3 * look.small + 8 if left_handed else 10)
    said = _read_marks(placed) + (f"; capo at fret {neck.capo}" if neck.capo else "")
    return Picture(title, _titled(title, said), width, height, look, draw)


def neck_frame(
    neck: Neck, *, frets: tuple[int, int] | None = None, left_handed: bool = False, theme: str | None = None
) -> NeckFrame:
    """The frame of `neck_picture` for the same arguments: where a string and fret lie on its page.

    >>> frame = neck_frame(Neck(), frets=(1, 5))
    >>> frame.y(1) > frame.y(6), frame.x(1) < frame.x(5)
    (True, True)
    """
    look, (low, high) = named_theme(theme), _window(neck, frets)
    names = 3 * look.small + 8
    column = 1.5 * look.mark
    full = look.width - names - 10
    width = full if look.fills_width else min(full, column + 4 * look.mark * (high - low + 1))
    bottom = 2.6 * look.small + 0.75 * look.mark
    return NeckFrame(
        neck, (low, high), 10 if left_handed else names, bottom, width, 1.2 * look.mark, column, left_handed
    )


def _read_marks(marks: Iterable[Mark | tuple[Any, ...]]) -> str:
    """Marks in one line of words.

    >>> _read_marks([Mark(2, 0, "B"), Mark(1, None)])
    'string 2 open = B; not played: 1'
    """
    placed = [Mark(*mark) for mark in marks]
    said = []
    for mark in placed:
        if mark.fret is not None:
            where = f"fret {mark.fret}" if mark.fret else "open"
            label = f" = {mark.label}" if mark.label else ""
            said.append(f"string {mark.string} {where}{label}{' (top)' if mark.top else ''}")
    idle = ", ".join(str(mark.string) for mark in placed if mark.fret is None)
    return "; ".join(filter(None, (", ".join(said), f"not played: {idle}" if idle else ""))) or "no marks"


def _draw_board(pen: Pen, frame: NeckFrame) -> None:
    """Board, strings, frets and numbers inside a frame."""
    look, neck, (low, high) = pen.theme, frame.neck, frame.frets
    count = len(neck.open_strings)
    below, above = frame.y(count) - 0.45 * frame.gap, frame.y(1) + 0.45 * frame.gap
    inlaid = [fret for fret in range(low, high + 1) if fret + neck.capo in _INLAYS]
    pen.area([(frame.wire(f - 1), frame.wire(f), below, above) for f in inlaid], look.band)
    pen.lines(((frame.wire(f), below, frame.wire(f), above) for f in range(low, high + 1)), look.line, 1.1)
    edge = frame.wire(low - 1)
    pen.lines([(edge, below, edge, above)], look.ink if low == 1 else look.line, 4.5 if low == 1 else 1.1)
    end = frame.wire(high)
    for string in range(1, count + 1):
        pen.lines([(edge, frame.y(string), end, frame.y(string))], look.soft, 0.6 + 0.22 * (string - 1))
    dots = [
        frame.x(fret) + (dot - (_INLAYS[fret + neck.capo] - 1) / 2) * 0.6 * look.small
        for fret in inlaid
        for dot in range(_INLAYS[fret + neck.capo])
    ]
    pen.dots(dots, below - 0.4 * look.small, 0.32 * look.small)
    for fret in range(low, high + 1):
        colour = look.ink if fret in inlaid else look.soft
        pen.write(frame.x(fret), below - 1.55 * look.small, str(fret), align="center", colour=colour)
    if neck.capo:
        pen.write(frame.x(0), below - 1.55 * look.small, f"capo {neck.capo}", align="center", colour=look.soft)


def _draw_marks(pen: Pen, frame: NeckFrame, marks: Sequence[Mark]) -> None:
    """Marks inside a frame, none wider than its narrowest fret."""
    look, (_, high) = pen.theme, frame.frets
    narrowest = 0.98 * abs(frame.wire(high) - frame.wire(high - 1))
    for mark in marks:
        x, y = frame.x(mark.fret or 0), frame.y(mark.string)
        if mark.fret is None:
            pen.write(x, y - 0.36 * look.label, "×", "label", align="center", colour=look.soft)
        else:
            pen.mark(x, y, mark.role, mark.label, mark.top, most=narrowest)


def _window(neck: Neck, frets: tuple[int, int] | None) -> tuple[int, int]:
    low, high = frets or (1, neck.last_fret)
    if not 1 <= low <= high <= neck.last_fret:
        raise HarmonyError(f"frets {low} to {high} cannot be shown: this neck has 1 to {neck.last_fret}, low to high")
    return low, high


def _checked(neck: Neck, marks: Iterable[Mark | tuple[Any, ...]], frets: tuple[int, int] | None) -> tuple[Mark, ...]:
    """The marks as `Mark`s, each on the part of the neck that is shown."""
    (low, high), strings = _window(neck, frets), len(neck.open_strings)
    placed = tuple(Mark(*mark) for mark in marks)
    for mark in placed:
        if not 1 <= mark.string <= strings:
            raise HarmonyError(f"{tuple(mark)}: there is no string {mark.string}; this neck has 1 to {strings}")
        if mark.fret and not low <= mark.fret <= high:
            raise HarmonyError(f"{tuple(mark)}: fret {mark.fret} lies outside the frets shown, {low} to {high}")
        _look(mark.role)
    return placed


# --- rows of grips and the paths between them ---------------------------------------------------------------------

Step = tuple[Voicing | None, Grip]


def grip_row(
    neck: Neck,
    steps: Sequence[Step],
    *,
    captions: Sequence[str] = (),
    label: str = "degree",
    title: str = "",
    across: int = 4,
    left_handed: bool = False,
    theme: str | None = None,
) -> Picture:
    """Small diagrams of grips in a row, for a cycle or a bar; each says its chord, its frets and why.

    Parameters
    ----------
    steps: (voicing, grip) pairs as `Neck.cycle` gives them; a single note has None for a voicing.
    captions: a short reason for each (default: spread and inversion).
    across: grips in a line.

    >>> from harmonylib.voicings import voice
    >>> neck = Neck()
    >>> grip_row(neck, neck.cycle(voice("Cmaj7", "drop 2", "E4"), (5, 4, 3, 2))[:2])
    Cmaj7 x3545x, drop 2, root position | Cmaj7 x7958x, drop 2, first inversion
    """
    look = named_theme(theme)
    if not steps:
        raise HarmonyError("a row of grips needs at least one grip; none was given")
    if captions and len(captions) != len(steps):
        raise HarmonyError(f"{len(captions)} captions for {len(steps)} grips: give one for each, or none")
    notes = captions or [f"{v.spread}, {v.inversion}" if v else "single note" for v, _ in steps]
    heads = [str(voicing.chord) if voicing else "" for voicing, _ in steps]
    all_marks = [
        grip_marks(neck, grip, voicing, label if voicing or label != "degree" else "note") for voicing, grip in steps
    ]
    across = max(1, min(across, len(steps)))
    cell = (look.width - 8) / max(across, 1 if look.fills_width else 3)
    told = [folded(note, look.small, cell - 14) for note in notes]
    rows = max(map(len, told))
    gap, row = 1.2 * look.mark, 1.35 * look.small
    foot, board = 2.8 * look.small + 0.45 * gap, gap * (len(neck.open_strings) - 1)
    line = foot + board + 0.9 * look.mark + rows * row + row + 1.9 * look.chord
    lines = -(-len(steps) // across)
    height = lines * line + (1.2 * look.chord if title else 0)

    def draw(pen: Pen) -> None:
        for index, (_, grip) in enumerate(steps):
            left, bottom = 6 + cell * (index % across), line * (lines - 1 - index // across) + foot
            frame = NeckFrame(neck, _close_up(neck, grip), left, bottom, cell - 14, gap, 1.35 * look.mark, left_handed)
            _draw_board(pen, frame)
            _draw_marks(pen, frame, all_marks[index])
            floor = frame.y(1) + 0.9 * look.mark
            for number, words in enumerate(reversed(told[index])):
                lift = rows - len(told[index]) + number
                pen.write(left, floor + lift * row, words, colour=look.soft)
            pen.write(left, floor + rows * row, str(grip), room=cell - 14)
            pen.write(left, floor + (rows + 1.1) * row, heads[index], "chord", bold=True, room=cell - 10)

    said = " | ".join(
        f"{head} {grip}, {note}".strip() for head, (_, grip), note in zip(heads, steps, notes, strict=True)
    )
    return Picture(title, _titled(title, said), cell * across + 8, height, look, draw)


def _close_up(neck: Neck, grip: Grip) -> tuple[int, int]:
    """At least four frets round a grip, from the nut when it lies low."""
    low, high = min(grip.fretted, default=1), max(grip.fretted, default=1)
    low = 1 if high <= 4 else low
    high = max(high, low + 3)
    return max(low - max(high - neck.last_fret, 0), 1), min(high, neck.last_fret)


def voice_paths(steps: Sequence[Step], *, title: str = "", theme: str | None = None) -> Picture:
    """The path of each voice from grip to grip: pitch upwards, one grip a column, moves in semitones.

    A heavy line is a note that stays, a thin one a move with its size. `steps` are (voicing, grip) pairs, all with a
    voicing.

    >>> from harmonylib.voicings import voice
    >>> neck = Neck()
    >>> voice_paths(neck.cycle(voice("Cmaj7", "drop 2", "E4"), (5, 4, 3, 2))[:2])
    Cmaj7 x3545x → Cmaj7 x7958x: C3→E3 (+4), G3→B3 (+4), B3→C4 (+1), E4→G4 (+3)
    """
    look = named_theme(theme)
    voicings = [voicing for voicing, _ in steps if voicing]
    if len(voicings) != len(steps) or len(steps) < 2:
        raise HarmonyError(
            f"{len(steps)} grips, {len(voicings)} with a voicing: a path needs two or more, all with one"
        )
    grips = [grip for _, grip in steps]
    heard = [pitch.midi for voicing in voicings for pitch in voicing.pitches]
    unit, bottom = 0.62 * look.mark, 2.4 * look.small + look.mark
    top = bottom + unit * (max(heard) - min(heard))
    column = min((look.width - 20) / len(steps), 9 * look.mark) if not look.fills_width else look.width / len(steps)
    height = top + 1.3 * look.mark + 1.3 * look.chord + (1.7 * look.chord if title else 0)

    def place(index: int, number: int) -> tuple[float, float]:
        """Where a voice's mark stands: moved aside when a neighbour sounds too near."""
        midi = [pitch.midi for pitch in voicings[index].pitches]
        near = [abs(midi[number] - other) * unit < 1.1 * look.mark for other in midi]
        aside = 0.55 * look.mark * (0 if sum(near) < 2 else 1 if sum(near[:number]) else -1)
        return column * (index + 0.5) + aside, bottom + unit * (midi[number] - min(heard))

    def draw(pen: Pen) -> None:
        for index, (voicing, grip) in enumerate(zip(voicings, grips, strict=True)):
            x = column * (index + 0.5)
            pen.lines([(x, bottom - 0.8 * look.mark, x, top + 0.8 * look.mark)], look.band, 0.25 * look.mark, zorder=1)
            head = top + 1.3 * look.mark
            pen.write(x, head, str(voicing.chord), "chord", align="center", bold=True, room=column)
            pen.write(x, 0.8 * look.small, str(grip), align="center", colour=look.soft, room=column)
            for number, pitch in enumerate(voicing.pitches):
                x, y = place(index, number)
                on_top = number == len(voicing.pitches) - 1
                pen.mark(x, y, _degree_role(voicing.degrees[number]), voicing.degrees[number], on_top)
                if index + 1 == len(voicings):
                    continue
                x2, y2 = place(index + 1, number)
                move = voicings[index + 1].pitches[number].midi - pitch.midi
                pen.lines([(x, y, x2, y2)], look.ink if not move else look.line, 1.3 if move else 3.2)
                if move:
                    length = ((x2 - x) ** 2 + (y2 - y) ** 2) ** 0.5
                    aside = (0.65 + 0.6 * abs(y2 - y) / length) * look.small
                    spot_x = x + 0.36 * (x2 - x) - aside * (y2 - y) / length
                    spot_y = y + 0.36 * (y2 - y) + aside * (x2 - x) / length - 0.36 * look.small
                    pen.write(spot_x, spot_y, _signed(move), align="center", colour=look.soft)

    said = []
    for before, after in zip(voicings, voicings[1:], strict=False):
        pairs = zip(before.pitches, after.pitches, strict=True)
        said.append(", ".join(f"{a}→{b} ({_signed(b.midi - a.midi)})" for a, b in pairs))
    chain = " → ".join(f"{voicing.chord} {grip}" for voicing, grip in zip(voicings, grips, strict=True))
    return Picture(title, _titled(title, f"{chain}: {' | '.join(said)}"), column * len(steps), height, look, draw)


def _signed(semitones: int) -> str:
    return f"{semitones:+d}".replace("-", "−") if semitones else "stays"


# --- pictures over time -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Staves:
    """Bars laid out in lines from `left`, each line with its own scale in points a quarter note."""

    lines: tuple[tuple[Bar, ...], ...]
    scales: tuple[float, ...]
    left: float

    def x(self, line: int, onset: Fraction) -> float:
        return self.left + float(onset - self.lines[line][0].onset) * self.scales[line]

    def span(self, line: int) -> tuple[Fraction, Fraction]:
        return self.lines[line][0].onset, self.lines[line][-1].end


def _staves(
    bars: Sequence[Bar], room: float, written: Iterable[tuple[Fraction, Fraction, float]], left: float, across: int = 4
) -> _Staves:
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
    return _Staves(tuple(map(tuple, lines)), tuple(scales), left)


def _bars_shown(tune: Tune, bars: tuple[int, int] | None) -> tuple[Bar, ...]:
    shown = tuple(bar for bar in tune.bars if bars is None or bars[0] <= bar.number <= bars[1])
    if not shown:
        raise HarmonyError(f"bars {bars}: the tune has bars {tune.bars[0].number} to {tune.bars[-1].number}")
    return shown


def _chord_widths(tune: Tune, look: Theme, start: Fraction, end: Fraction) -> list[tuple[Fraction, Fraction, float]]:
    """Room the chord names need, as `_staves` reads it."""
    spans = _chords_in(tune, start, end)
    return [(a, b, ems(f"{chord}") * 1.1 * look.chord + 6) for a, b, chord, _ in spans if chord]


def _chords_in(tune: Tune, start: Fraction, end: Fraction) -> list[tuple[Fraction, Fraction, Any, bool]]:
    """Chords that sound between two moments: (from, to, chord, whether it starts here)."""
    edges = [c.onset for c in tune.changes if start <= c.onset < end]
    starts = edges if edges[:1] == [start] else [start, *edges]
    return [(a, b, tune.chord_at(a), a in edges) for a, b in zip(starts, [*starts[1:], end], strict=True)]


def _bar_lines(pen: Pen, staves: _Staves, line: int, low: float, high: float) -> None:
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


def _write_chords(pen: Pen, staves: _Staves, line: int, tune: Tune, y: float) -> None:
    """Chord names where they change; one carried over from the line before stands in brackets."""
    look = pen.theme
    for start, end, chord, new in _chords_in(tune, *staves.span(line)):
        name = str(chord) if chord else "N.C." if new else ""
        room = float(end - start) * staves.scales[line] - 2
        shown = name if new or not name else f"({name})"
        pen.write(staves.x(line, start) + 2, y, shown, "chord", bold=True, room=room, colour="" if new else look.soft)


def melody_picture(
    tune: Tune | Arrangement, *, bars: tuple[int, int] | None = None, title: str = "", theme: str | None = None
) -> Picture:
    """A melody against its chords: thin lines are the notes of the chord, heavy ones its root.

    A note in the chord lies on a line and says its degree; a foreign note is a diamond and says what it does. For an
    `Arrangement`, notes that stay single are hollow. `bars` are the first and last bar number shown (default: all).

    >>> from harmonylib.tunes import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"C"C D E F | "G7"G4 |]')
    >>> melody_picture(tune)
    bar 1 over C: C 1, D passing note, E 3, F passing note | bar 2 over G7: G 1
    """
    look = named_theme(theme)
    single = {c.note.onset for c in tune.choices if c.voicing is None} if isinstance(tune, Arrangement) else set()
    tune = tune.tune if isinstance(tune, Arrangement) else tune
    shown = _bars_shown(tune, bars)
    first, last = shown[0].onset, shown[-1].end
    verdicts = [v for v in examine(tune) if first <= v.note.onset < last]
    if not verdicts:
        raise HarmonyError(f"bars {shown[0].number} to {shown[-1].number} of {tune.title!r} hold no notes")
    onsets = [v.note.onset for v in verdicts]
    marks = [(a, b, 1.1 * look.mark) for a, b in zip(onsets, [*onsets[1:], last], strict=True)]
    staves = _staves(shown, look.width - 22, [*marks, *_chord_widths(tune, look, first, last)], left=10)
    midi = [v.note.pitch.midi for v in verdicts]
    low, high, unit = min(midi), max(midi), 0.4 * look.mark
    line_height = unit * (high - low) + 2.4 * look.mark + 1.6 * look.chord + 2.2 * look.small
    used = [role for role in ROLES if any(v.role == role for v in verdicts)]
    legend = [f"{ROLE_CODES[role]}  {role}" for role in used] + ["thin line: note of the chord", "heavy line: its root"]
    legend += ["hollow: single note"] if single else []
    legend_rows = _wrapped(legend, look)
    foot = len(legend_rows) * 1.5 * look.small + 4
    height = len(staves.lines) * line_height + foot + (1.9 * look.chord if title else 4)

    def draw(pen: Pen) -> None:
        for row, words in enumerate(legend_rows):
            pen.write(staves.left, foot - 1.5 * look.small * (row + 0.8), words, colour=look.soft)
        for line in range(len(staves.lines)):
            bottom = foot + line_height * (len(staves.lines) - 1 - line) + 2.2 * look.small
            floor = bottom + 0.9 * look.mark
            roof = floor + unit * (high - low) + 1.5 * look.mark
            _bar_lines(pen, staves, line, bottom, roof)
            start, end = staves.span(line)
            for begin, stop, chord, _ in _chords_in(tune, start, end):
                for step in range(high - low + 1) if chord else ():
                    degree = chord.tones.get((low + step) % 12)
                    if degree:
                        y, width = floor + unit * step, 2.6 if degree == "1" else 0.8
                        points = (staves.x(line, begin) + 2, y, staves.x(line, stop) - 2, y)
                        pen.lines([points], look.line, width, zorder=1.5)
            _write_chords(pen, staves, line, tune, roof + 0.45 * look.chord)
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
    return Picture(title, _titled(title, " | ".join(said)), look.width, height, look, draw)


def _verdict_mark(degree: str | None, role: str | None) -> tuple[str, str]:
    if degree:
        return _degree_role(degree), degree
    return ("foreign", ROLE_CODES[role]) if role else ("plain", "")


def _wrapped(parts: Sequence[str], look: Theme) -> list[str]:
    """Parts of a legend in as few rows as fit the picture."""
    rows = [""]
    for part in parts:
        longer = f"{rows[-1]}   ·   {part}" if rows[-1] else part
        if rows[-1] and ems(longer) * look.small > look.width - 24:
            rows.append(part)
        else:
            rows[-1] = longer
    return rows


def hand_picture(
    arrangement: Arrangement, *, bars: tuple[int, int] | None = None, title: str = "", theme: str | None = None
) -> Picture:
    """Where the hand is along a tune: frets on the left, millimetres from the nut (or capo) on the right.

    A box reaches from the lowest to the highest fretted note of a grip, the line follows the index finger, and the
    longest move is marked. `bars` are the first and last bar number shown (default: all).

    >>> from harmonylib.arranging import arrange
    >>> from harmonylib.tunes import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E2 G2 |]')
    >>> hand_picture(arrange(tune, pins={0: "x3545x", 1: "x7958x"}))
    frets 3 to 9; the hand travels 59 mm in all, at most 59 mm at once (bar 1, beat 3)
    """
    look, tune, neck = named_theme(theme), arrangement.tune, arrangement.settings.neck
    shown = _bars_shown(tune, bars)
    first, last = shown[0].onset, shown[-1].end
    played = [c for c in arrangement.choices if c.grip and first <= c.note.onset < last]
    grips = [c.grip for c in played if c.grip]
    if not grips:
        raise HarmonyError(f"bars {shown[0].number} to {shown[-1].number} of {tune.title!r} hold nothing to play")
    index_mm = [neck.nut_to(min(grip.fretted, default=0)) for grip in grips]
    lowest = max(min(min(grip.fretted, default=0) for grip in grips) - 1, 0)
    highest = min(max(max(grip.fretted, default=0) for grip in grips) + 1, neck.last_fret)
    moves = [abs(b - a) for a, b in zip(index_mm, index_mm[1:], strict=False)]
    farthest = max(range(len(moves)), key=lambda n: moves[n]) if any(moves) else None
    side = 5 * look.small
    staves = _staves(shown, look.width - 2 * side, _chord_widths(tune, look, first, last), left=side, across=8)
    tall = 7.5 * look.mark
    millimetre = tall / (neck.nut_to(highest) - neck.nut_to(lowest))
    line_height = tall + 1.6 * look.chord + 2.8 * look.small
    legend = ["box: lowest to highest fretted note, over it the melody's degree, ° on a diminished chord"]
    legend += ["line: index finger"] + ["in mm: its longest move"] * (farthest is not None)
    legend_rows = _wrapped(legend, look)
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
            _bar_lines(pen, staves, line, bottom, bottom + tall)
            pen.lines(wires, look.line, 0.6, zorder=0.8)
            written = -1e9
            for fret, (_, y, _, _) in zip(range(lowest, highest + 1), wires, strict=True):
                if y - written >= 1.25 * look.small:
                    written = y
                    name = f"fret {fret}" if fret else "nut"
                    pen.write(staves.left - 4, y - 0.36 * look.small, name, align="right", colour=look.soft)
                    pen.write(right + 4, y - 0.36 * look.small, f"{neck.nut_to(fret):.0f} mm", colour=look.soft)
            _write_chords(pen, staves, line, tune, bottom + tall + 0.45 * look.chord)
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
    return Picture(title, _titled(title, said), look.width, height, look, draw)


def _calls_and_answers(arrangement: Arrangement, shown: Sequence[Bar]) -> list[Event]:
    """What sounds in some bars, counted from the first bar line."""
    first = shown[0]
    start = first.end - Fraction(4 * first.metre[0], first.metre[1]) if first.number == 0 else first.onset
    found = [
        Event(c.note.onset - start, arrangement.held(c.index), "call", str(c.chord or c.note.pitch.name))
        for c in arrangement.choices
    ]
    found += [
        Event(a.onset - start, a.duration, "approach" if a.approach else "answer", str(a.grip))
        for a in arrangement.answers
    ]
    return [event for event in found if first.onset <= event.onset + start < shown[-1].end]


def calls_picture(
    events: Arrangement | Iterable[Event | tuple[Any, ...]],
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
        shown = _bars_shown(events.tune, bars)
        first_number, metre = shown[0].number, shown[0].metre
        events = _calls_and_answers(events, shown)
    for onset, duration, kind, *label in events:
        sounding.append(Event(Fraction(onset), Fraction(duration), str(kind), *map(str, label)))
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
    staves = _staves(measures, look.width - left - 12, written, left)
    lane = 1.45 * look.mark
    line_height = lane * len(kinds) + 3.6 * look.small
    height = line_height * len(staves.lines) + (1.9 * look.chord if title else 4)

    def draw(pen: Pen) -> None:
        for line in range(len(staves.lines)):
            bottom = line_height * (len(staves.lines) - 1 - line) + 1.8 * look.small
            start, end = staves.span(line)
            _bar_lines(pen, staves, line, bottom, bottom + lane * len(kinds))
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
    return Picture(title, _titled(title, "; ".join(said)), look.width, height, look, draw)


# --- small things -------------------------------------------------------------------------------------------------


def _luminance(colour: str) -> float:
    """Relative luminance of ``"#RRGGBB"``, 0 to 1 (WCAG 2.1)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.1).

    >>> round(_contrast("#000000", "#FFFFFF"), 1)
    21.0
    """
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def text_on(colour: str) -> str:
    """Black or white, whichever is easier to read on `colour`.

    >>> text_on(OKABE_ITO["yellow"]), text_on(OKABE_ITO["blue"])
    ('#000000', '#FFFFFF')
    """
    return max("#000000", "#FFFFFF", key=lambda ink: _contrast(ink, colour))


def default_theme() -> str:
    """The theme of pictures that name none: that of the environment variable HARMONYLIB_THEME, else "paper".

    >>> default_theme()
    'paper'
    """
    return os.environ.get(THEME_VARIABLE) or "paper"


def named_theme(name: str | None) -> Theme:
    """The theme of that name, or the default one; raises `HarmonyError` for any other."""
    name = name or default_theme()
    if name not in THEMES:
        raise HarmonyError(f"{name!r} is not a theme: choose {', '.join(THEMES)}")
    return THEMES[name]


def _look(role: str) -> tuple[str, str, float]:
    if role not in MARKS:
        raise HarmonyError(f"{role!r} is not the role of a mark: choose {', '.join(MARKS)}")
    return MARKS[role]


def _figure(width: float, height: float) -> Figure:
    from matplotlib.figure import Figure

    return Figure(figsize=(width / 72, height / 72), dpi=72)


def folded(text: str, size: float, room: float, most: int = 3) -> list[str]:
    """Text broken between words into lines of `room` points, at most `most`; the last one says “…” when cut short."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and ems(longer) * size > room:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines if len(lines) <= most else [*lines[: most - 1], lines[most - 1] + " …"]


def _titled(title: str, said: str) -> str:
    """The reading of a picture on one line, whatever the title holds."""
    return plain(f"{title}: {said}" if title else said)


def ems(text: str) -> float:
    """Width of a text in ems, a little more than it takes in DejaVu Sans."""
    narrow, wide = "ijlI .,:;'|!()[]·♭♯-", "mwMW×↑↓→−…"
    return sum(0.45 if c in narrow else 1.0 if c in wide or c > "\u2e7f" else 0.66 for c in text)
