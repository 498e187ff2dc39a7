"""A picture: a value that shows itself in a notebook, knows its one-line reading, and can be had as SVG, PNG or PDF.

`Picture.on(ax)` draws it on an Axes of your own and returns that Axes, to compose sheets from.

Conventions
- Lengths on the page are points (1/72 inch) from the lower left corner of the picture.
- Same input, same bytes: letters are drawn as outlines, so ♭ ♯ ° look the same everywhere, and what a
  notebook sets for its own plots changes nothing here. matplotlib is imported when something is drawn.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import accumulate, takewhile
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from harmonylib.errors import HarmonyError
from harmonylib.pictures.theme import MARKS, Theme, text_on
from harmonylib.wording import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


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
        >>> from harmonylib.guitar.neck import Neck
        >>> from harmonylib.pictures.neck import neck_picture
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
        # as HTML too: JupyterLab makes an image of the first, without its title and description
        return {"image/svg+xml": self.svg, "text/html": self.svg, "text/plain": self.text}

    def __repr__(self) -> str:
        return self.text


CAPS = {"o": "round", "s": "projecting"}
"""How a mark of each shape ends where it is drawn longer."""

LARGE = 0.7
"""Letters of more than this part of a mark may be wider than it is, as on a wall."""


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

    def dots(self, places: Sequence[tuple[float, float]], size: float) -> None:
        """Small round dots."""
        style: dict[str, Any] = {
            "color": self.theme.ink,
            "markeredgewidth": 0,
            "linestyle": "None",
            "zorder": 2,
            "clip_on": False,
        }
        xs, ys = [x for x, _ in places], [y for _, y in places]
        self.ax.plot(xs, ys, marker="o", markersize=size * self.scale, **style)

    def mark(
        self, x: float, y: float, role: str, label: str, top: bool = False, hollow: bool = False, most: float = 99
    ) -> None:
        """A mark with its label, at most `most` points wide; a ring round the top note, a paper heart when `hollow`."""
        theme, (_, shape, share) = self.theme, look_of(role)
        colour = theme.mark_colour(role)
        size = min(theme.mark, most) * share
        shells = [(size, colour, 0.8)]
        if top:
            shells.insert(0, (size + 5, theme.paper, 1.5))
        if hollow:
            shells.append((size - 5, theme.paper, 0))
        wide = (
            ems(label) * theme.label + 0.3 * theme.label - size
        )  # letters that come out of a mark are lost in the dark
        longer = wide > 0 and theme.label > LARGE * theme.mark
        for width, fill, edge in shells:
            if longer and shape in CAPS:
                ends, how = [x - wide / 2, x + wide / 2], {"solid_capstyle": CAPS[shape], "zorder": 4}
                self.path(ends, [y, y], theme.ink, width + edge, **how)
                self.path(ends, [y, y], fill, width - edge, **how)
                continue
            style: dict[str, Any] = {
                "markersize": width * self.scale,
                "markeredgewidth": edge * self.scale,
                "marker": shape,
            }
            style |= {"markerfacecolor": fill, "markeredgecolor": theme.ink, "linestyle": "None"}
            self.ax.plot([x], [y], zorder=4, clip_on=False, **style)
        if longer and shape not in CAPS:
            ends = [x - (wide + size) / 2, x + (wide + size) / 2]
            self.path(ends, [y, y], colour, theme.label, zorder=4.5)
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


def wrapped(parts: Sequence[str], look: Theme) -> list[str]:
    """Parts of a legend in as few rows as fit the picture."""
    rows = [""]
    lines = [line for part in parts for line in folded(part, look.small, look.width - 24)]
    for part in lines:
        longer = f"{rows[-1]}   ·   {part}" if rows[-1] else part
        if rows[-1] and ems(longer) * look.small > look.width - 24:
            rows.append(part)
        else:
            rows[-1] = longer
    return rows


def look_of(role: str) -> tuple[str, str, float]:
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


def titled(title: str, said: str) -> str:
    """The reading of a picture on one line, whatever the title holds."""
    return plain(f"{title}: {said}" if title else said)


def ems(text: str) -> float:
    """Width of a text in ems, a little more than it takes in DejaVu Sans."""
    narrow, wide = "ijlI .,:;'|!()[]·♭♯-", "mwMW×↑↓→−…"
    return sum(0.45 if c in narrow else 1.0 if c in wide or c > "\u2e7f" else 0.66 for c in text)
