"""`NeckView`: the picture of the neck, alive in a notebook. It moves between frames and says where it is clicked.

The neck and every mark are drawn by `pictures.neck.neck_picture` and by nothing else: the browser gets the neck
without marks, each different mark once (a *stamp*), and lays stamps where `neck_frame` says a string and fret lie.

Conventions
- A frame is what the neck shows at one moment: a list of marks as `neck_picture` takes them. All frames are in the
  browser, so that `ipywidgets.jslink((slider, "value"), (view, "frame"))` moves between them without the kernel.
- A place is [string, fret]; string 1 is the highest, fret 0 the open string.
- Points are the picture's own, counted down from its upper left corner.

Sources: Scalable Vector Graphics 1.1; WAI-ARIA 1.2 for the roles.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import anywidget
import traitlets

from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import Mark, neck_frame, neck_picture, turned
from harmonylib.pictures.picture import Picture
from harmonylib.pictures.theme import THEMES, default_theme
from widgets.look import script, style

Marks = Sequence[Mark | tuple[Any, ...]]
PLAIN = Mark(1, 0)


class NeckView(anywidget.AnyWidget):
    """The neck with marks, clickable: `cursor` is the place last clicked or reached by key, `clicks` counts clicks.

    Parameters
    ----------
    neck: the neck to show.
    frames: the mark lists to show, one a frame; or the marks of a single frame.
    titles: a heading for each frame. words: a sentence for each frame, said before the reading of its marks.
    frets, left_handed, theme: as for `neck_picture`.
    picking: whether a click marks its place; the marked places are `selected`.
    beside: how many points of the neck's length are seen, around what a frame holds; 0 for all of it.

    Raises `HarmonyError` as `neck_picture` does.

    >>> from harmonylib.pictures.neck import grip_marks
    >>> view = NeckView(Neck(), [grip_marks(Neck(), "x3545x", label="note")], titles=["Cmaj7"])
    >>> view
    Cmaj7: string 5 fret 3 = C, string 4 fret 5 = G, string 3 fret 4 = B, string 2 fret 5 = E (top); not played: 6, 1
    >>> view.close()
    """

    # as text: a path would be watched, and not be freed
    _esm = traitlets.Unicode(script("sliders.js", "neck.js")).tag(sync=True)
    _css = traitlets.Unicode(style("neck")).tag(sync=True)

    frames: Any = traitlets.List([[]]).tag(sync=True)
    frame = traitlets.Int(0).tag(sync=True)
    titles = traitlets.List(traitlets.Unicode()).tag(sync=True)
    words = traitlets.List(traitlets.Unicode()).tag(sync=True)
    texts = traitlets.List(traitlets.Unicode()).tag(sync=True)
    cursor = traitlets.List(traitlets.Int(), [1, 0]).tag(sync=True)
    clicks = traitlets.Int(0).tag(sync=True)
    selected: Any = traitlets.List().tag(sync=True)
    picking = traitlets.Bool(False).tag(sync=True)
    beside = traitlets.Float(0).tag(sync=True)
    page = traitlets.Dict().tag(sync=True)
    stamps = traitlets.Dict().tag(sync=True)

    def __init__(
        self,
        neck: Neck | None = None,
        frames: Sequence[Any] = ((),),
        *,
        titles: Sequence[str] = (),
        words: Sequence[str] = (),
        frets: tuple[int, int] | None = None,
        left_handed: bool | None = None,
        theme: str | None = None,
        picking: bool = False,
        beside: float = 0,
    ) -> None:
        self.neck = neck or Neck()
        self._drawing: dict[str, Any] = {
            "frets": frets,
            "left_handed": turned(self.neck, left_handed),
            "theme": theme or default_theme(),
        }
        single = bool(frames) and bool(frames[0]) and isinstance(frames[0][0], int)
        shown = self._contents([frames] if single else frames, titles, words)
        super().__init__(page=_page(self.neck, **self._drawing), picking=picking, beside=beside, **shown)

    def show(
        self, frames: Sequence[Marks], titles: Sequence[str] = (), words: Sequence[str] = (), frame: int = 0
    ) -> None:
        """Show other frames, sent to the browser at once; on a `HarmonyError` the old ones stay."""
        shown = self._contents(frames, titles, words)
        with self.hold_sync():
            self.set_trait("frame", min(frame, len(shown["frames"]) - 1))
            for name, value in shown.items():
                self.set_trait(name, value)

    def _contents(self, frames: Sequence[Marks], titles: Sequence[str], words: Sequence[str]) -> dict[str, Any]:
        if not frames:
            raise HarmonyError("no frames: a neck shows at least one, which may be empty")
        placed = [[Mark(*mark) for mark in marks] for marks in frames]
        readings = [neck_picture(self.neck, marks, **self._drawing).text for marks in placed]
        said = [*words, *[""] * (len(placed) - len(words))]
        different = {mark_key(mark): mark for marks in [*placed, [PLAIN]] for mark in marks}
        return {
            "frames": [[list(mark) for mark in marks] for marks in placed],
            "titles": list(titles),
            "words": said[: len(placed)],
            "texts": [f"{word}; {reading}" if word else reading for word, reading in zip(said, readings, strict=True)],
            "stamps": {
                key: stamp(self.neck, mark._replace(string=1, fret=mark.fret and self._first), **self._drawing)
                for key, mark in different.items()
            },
        }

    @property
    def _first(self) -> int:
        return self._drawing["frets"][0] if self._drawing["frets"] else 1

    @property
    def picture(self) -> Picture:
        """The frame now shown as a still picture."""
        number = max(0, min(self.frame, len(self.frames) - 1))
        marks = [Mark(*mark) for mark in self.frames[number]]
        title = self.titles[number] if number < len(self.titles) else ""
        return neck_picture(self.neck, marks, title=title, **self._drawing)

    @property
    def text(self) -> str:
        """What the frame now shown shows, in one line."""
        number = max(0, min(self.frame, len(self.frames) - 1))
        title = self.titles[number] if number < len(self.titles) else ""
        return f"{title}: {self.texts[number]}" if title else self.texts[number]

    def _repr_mimebundle_(self, **how: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        shown = super()._repr_mimebundle_(**how)
        data = dict(shown[0]) if shown else {}
        return data | {"text/plain": self.text, "image/svg+xml": self.picture.svg}, {}

    def __repr__(self) -> str:
        return self.text

    def close(self) -> None:
        """Free the view, its layout and everything in the browser."""
        if self.comm is None:
            return
        self.layout.close()
        super().close()


def mark_key(mark: Mark) -> str:
    """What marks that look the same have in common; the browser builds the same words.

    >>> mark_key(Mark(2, 5, "3", "third", True)), mark_key(Mark(6, None))
    ('third 3 1', 'idle')
    """
    return "idle" if mark.fret is None else f"{mark.role} {mark.label} {int(mark.top)}"


@lru_cache(maxsize=256)
def _bare(neck: Neck, frets: tuple[int, int] | None, left_handed: bool, theme: str, board: bool = True) -> Picture:
    return neck_picture(neck, (), frets=frets, left_handed=left_handed, theme=theme, board=board)


@lru_cache(maxsize=1024)
def stamp(neck: Neck, mark: Mark, frets: tuple[int, int] | None, left_handed: bool, theme: str) -> dict[str, Any]:
    """One mark as SVG, and the place where it was drawn: what a picture with the mark has and one without has not."""
    empty = _bare(neck, frets, left_handed, theme, board=False)
    bare = _body(empty.svg)
    full = _body(neck_picture(neck, (mark,), frets=frets, left_handed=left_handed, theme=theme, board=False).svg)
    head = bare.rindex("</g>\n</g>\n</svg>")
    tail = len(bare) - head
    if not (full.startswith(bare[:head]) and full.endswith(bare[head:])):
        raise RuntimeError("the SVG of a neck with one mark more differs in more than that mark")
    frame = neck_frame(neck, frets=frets, left_handed=left_handed, theme=theme)
    return {"x": frame.x(mark.fret or 0), "y": empty.height - frame.y(mark.string), "svg": full[head:-tail]}


def _body(svg: str) -> str:
    return svg[svg.index("</desc>") :]


@lru_cache(maxsize=256)
def _page(neck: Neck, frets: tuple[int, int] | None, left_handed: bool, theme: str) -> dict[str, Any]:
    """The neck without marks, and where everything lies on it."""
    look, bare = THEMES[theme], _bare(neck, frets, left_handed, theme)
    frame = neck_frame(neck, frets=frets, left_handed=left_handed, theme=theme)
    (first, last), strings = frame.frets, range(1, len(neck.open_strings) + 1)
    edge = frame.left + frame.width if left_handed else frame.left
    open_strings = " ".join(str(pitch.name) for pitch in neck.open_strings)
    return {
        "svg": bare.svg,
        "name": f"Guitar neck, {len(strings)} strings {open_strings}, frets {first} to {last}",
        "x": {0: frame.x(0)} | {fret: frame.x(fret) for fret in range(first, last + 1)},
        "y": [bare.height - frame.y(string) for string in strings],
        "wires": [frame.wire(fret) for fret in range(first - 1, last + 1)],
        "open": [edge, frame.wire(first - 1)],
        "first": first,
        "tall": bare.height,
        "digits": 0.75 * look.small,
        "ink": look.ink,
        "soft": look.soft,
        "paper": look.paper,
        "points": "max(17px, 1.7cqi)" if look.fills_width else "13px",
        "most": "none" if look.fills_width else f"{bare.width * 4 / 3:.0f}px",
    }
