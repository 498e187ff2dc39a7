"""`Panel`: controls over a picture, the frame every panel of the course is built in.

A panel computes nothing: its `_show` asks `harmonylib` and hands the answer to a view. What the base does for all of
them: it keeps the controls' values in `state`, puts the text of a `HarmonyError` in place and leaves the last good
picture standing, has the same picture and text ready where there is no kernel, and frees all it made.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, MutableMapping, Sequence
from contextlib import suppress
from functools import partial
from html import escape
from typing import Any

import ipywidgets
import traitlets

from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import FAMILIES, TRIADS
from harmonylib.theory.pitch import ROOTS
from harmonylib.theory.voicings import SPREADS
from widgets.look import theme_class
from widgets.neck import NeckView
from widgets.score import ScoreView

View = NeckView | ScoreView


class Panel(ipywidgets.VBox):
    """Controls and views in a box. A subclass builds them, and says in `_show` what follows from the values.

    Parameters
    ----------
    controls: by name, in the order in which they are filled from `state`.
    views: from top to bottom; the first one is the still picture.
    buttons: they stand beside the last control.
    links: closed with the panel.
    given: what the panel was made with; `state` is kept only while this stays the same.
    trouble: what was wrong with what was asked for; the picture then waits for the first change.
    state: a dict of yours that keeps the values when the cell runs again.
    """

    def __init__(
        self,
        controls: Mapping[str, ipywidgets.Widget],
        views: Sequence[View],
        *,
        given: Sequence[object],
        state: MutableMapping[str, Any] | None,
        theme: str,
        buttons: Sequence[ipywidgets.Button] = (),
        links: Sequence[ipywidgets.Widget] = (),
        trouble: str = "",
    ) -> None:
        self._controls, self._views, self._links = dict(controls), tuple(views), tuple(links)
        self._help = ipywidgets.HTML()
        self._acting = True
        every = list(controls.values())
        rows = [ipywidgets.HBox(every[:-1] if buttons else every, layout={"flex_flow": "row wrap"})]
        rows += [ipywidgets.HBox([every[-1], ipywidgets.VBox(list(buttons))])] if buttons else []
        super().__init__(self._laid(rows))
        self.add_class("neck-panel")
        self.add_class(theme_class(theme))
        self._state: MutableMapping[str, Any] = {} if state is None else state
        if self._state.get("given") != str(given):
            self._state.clear()
            self._state["given"] = str(given)
        for name, control in self._controls.items():
            if name in self._state:
                with suppress(traitlets.TraitError):  # a value of before that is no choice any more
                    control.value = self._state[name]
            self._adapt(name)
            control.observe(partial(self._changed, name), "value")
        self._acting = False
        if trouble:
            self._complain(trouble)
        else:
            self._attempt(self._show, "")

    def _laid(self, rows: list[ipywidgets.Box]) -> list[ipywidgets.Widget]:
        """What stands in the panel, from top to bottom: the rows of controls, the line of help, the views."""
        return [*rows, self._help, *self._views]

    def _adapt(self, name: str) -> None:
        """Fit the other controls to the new value of one: menus that hang on it."""

    def _show(self, name: str) -> None:
        """Show what the controls say; `name` is the one that changed, empty at first. May raise `HarmonyError`."""

    def _changed(self, name: str, change: Mapping[str, Any]) -> None:
        if self._acting:
            return
        self._acting = True  # one change may bring others with it, and is still one
        try:
            self._attempt(self._follow, name)
        finally:
            self._acting = False

    def _follow(self, name: str) -> None:
        self._adapt(name)
        self._show(name)

    def _attempt(self, act: Callable[..., None], *arguments: Any) -> None:
        try:
            act(*arguments)
        except HarmonyError as error:
            self._complain(str(error))
        else:
            self._complain("")
        self._state.update({name: control.value for name, control in self._controls.items()})

    def _complain(self, text: str) -> None:
        self._help.value = f'<p class="neck-help" role="alert">{escape(text)}</p>' if text else ""

    @property
    def help(self) -> str:
        """The line of help now shown as HTML, empty when all is well."""
        return str(self._help.value)

    @property
    def text(self) -> str:
        """What the panel shows, in one line."""
        return " | ".join(" ".join(view.text.split()) for view in self._views)

    def _svg(self) -> str:
        view = self._views[0]
        return view.picture.svg if isinstance(view, NeckView) else view.svg

    def _repr_mimebundle_(self, **how: Any) -> dict[str, Any]:
        data = dict(super()._repr_mimebundle_(**how) or {})
        return data | {"text/plain": self.text, "image/svg+xml": self._svg()}

    def __repr__(self) -> str:
        return self.text

    def close(self) -> None:
        """Free the panel and every control, view, style, layout and link it made."""
        if self.comm is None:  # closed already, or never opened
            return
        for link in self._links:
            link.close()
        close_all(self)

    def _close_self(self) -> None:
        super().close()


def close_all(widget: ipywidgets.Widget) -> None:
    """Free a widget with all that lies in it, and what each of them made."""
    for child in getattr(widget, "children", ()):
        close_all(child)
    if isinstance(widget, View):
        widget.close()
        return
    for part in ("layout", "style"):
        if isinstance(getattr(widget, part, None), ipywidgets.Widget):
            getattr(widget, part).close()
    widget._close_self() if isinstance(widget, Panel) else widget.close()


# --- controls that several panels share ---------------------------------------------------------------------------

BESIDE = {"description_width": "initial"}
"""The label of a control takes the room it needs."""


def menu(label: str, options: Sequence[Any], value: Any) -> ipywidgets.Dropdown:
    return ipywidgets.Dropdown(
        description=label, options=options, value=value, style=BESIDE, layout={"width": "max-content"}
    )


def entry(label: str, value: str, width: str = "14em") -> ipywidgets.Text:
    """A field read when Enter is pressed or the field is left."""
    return ipywidgets.Text(
        description=label, value=value, continuous_update=False, style=BESIDE, layout={"width": width}
    )


def steps(label: str, last: int) -> ipywidgets.IntSlider:
    """A slider through states that are in the browser already; the picture says where it is."""
    return ipywidgets.IntSlider(description=label, min=0, max=last, readout=False, style=BESIDE)


def chord_menus(chord: Chord) -> dict[str, ipywidgets.Widget]:
    """Menus for root and family, set to a chord; a triad to the first family it is filled up to."""
    kind = TRIADS[chord.kind][3][0] if chord.kind in TRIADS else chord.kind
    root = str(chord.root)
    roots = ROOTS if root in ROOTS else [*ROOTS, root]
    families = [(f"{label} · {row[0]}", label) for label, row in FAMILIES.items()]
    return {"root": menu("root", roots, root), "family": menu("family", families, kind)}


def spread_menus(neck: Neck, spread: str, strings: tuple[int, ...] | None) -> dict[str, ipywidgets.Widget]:
    """Menus for the spread and its string sets."""
    sets = string_sets(neck, spread)
    return {"spread": menu("spread", list(SPREADS), spread), "strings": menu("strings", sets, strings)}


def asked_set(neck: Neck, spread: str, strings: str) -> tuple[int, ...] | None:
    """The string set named, as in “5432”, or the middle one; raises `HarmonyError` where the spread does not lie."""
    sets = string_sets(neck, spread)
    if not strings:
        return middle(sets)
    if strings not in dict(sets):
        raise HarmonyError(f"strings {strings!r}: {spread} lies on {', '.join(dict(sets)) or 'none here'}")
    return dict(sets)[strings]


def string_sets(neck: Neck, spread: str) -> list[tuple[str, tuple[int, ...]]]:
    """The string sets of a spread with their names, as a menu takes them."""
    return [("".join(map(str, strings)), strings) for strings in neck.string_sets(spread)]


def middle(sets: Sequence[tuple[str, tuple[int, ...]]]) -> tuple[int, ...] | None:
    return sets[len(sets) // 2][1] if sets else None
