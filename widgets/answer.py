"""`AnswerBox`: an exercise to be answered in place.

The box computes nothing: it shows what the exercise asks, hands the answer to its `check` and shows the reply.

Conventions
- The text of the field is the answer. Menus write into it; where grips are asked, so do clicks on the neck, and a grip
  that is typed appears there. The neck holds the grip written last.
- A grip is handed on as (string, fret) pairs when grips are all that is asked, else as its text among the rest.
- A tally counts answers until a solution has been shown.

Sources: WAI-ARIA 1.2 for the roles.
"""

from __future__ import annotations

import re
from collections.abc import MutableMapping
from contextlib import suppress
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

import anywidget
import ipywidgets
import traitlets

from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_grips, written
from harmonylib.exercises.base import Exercise, Reply
from harmonylib.exercises.tally import Tally
from harmonylib.pictures.neck import Mark
from harmonylib.pictures.theme import THEMES, default_theme
from widgets.neck import NeckView, theme_class
from widgets.panel import close_all

HERE = Path(__file__).parent
LETTERS = re.compile(r"(.*[\s,;])?([^\s,;]*)", re.S)


class _Form(anywidget.AnyWidget):
    """Field, menus, buttons and reply; what is pressed is counted in `checks`, `hinted` and `told`."""

    # as text: a path would be watched, and not be freed
    _esm = traitlets.Unicode((HERE / "answer.js").read_text(encoding="utf-8")).tag(sync=True)
    _css = traitlets.Unicode((HERE / "answer.css").read_text(encoding="utf-8")).tag(sync=True)

    label = traitlets.Unicode("answer").tag(sync=True)
    form = traitlets.Unicode().tag(sync=True)
    choices: Any = traitlets.List().tag(sync=True)
    several = traitlets.Bool(False).tag(sync=True)
    colours = traitlets.Dict().tag(sync=True)
    answer = traitlets.Unicode().tag(sync=True)
    checks = traitlets.Int(0).tag(sync=True)
    hinted = traitlets.Int(0).tag(sync=True)
    told = traitlets.Int(0).tag(sync=True)
    reply = traitlets.Unicode().tag(sync=True)
    mood = traitlets.Unicode().tag(sync=True)
    solution = traitlets.Unicode().tag(sync=True)
    hints = traitlets.List(traitlets.Unicode()).tag(sync=True)
    hint_count = traitlets.Int(0).tag(sync=True)
    tried = traitlets.Bool(False).tag(sync=True)
    tally = traitlets.Unicode().tag(sync=True)


class AnswerBox(ipywidgets.VBox):
    """An exercise with a place for the answer, a reply below it, hints, and a solution once an answer was tried.

    Parameters
    ----------
    task: the exercise. tally: where answers are counted, if anywhere.
    left_handed, theme: as for `neck_picture`.
    state: a dict of yours that keeps what was written when the cell runs again.

    Raises `HarmonyError` for what is no exercise, tally or theme.

    >>> from harmonylib.exercises.catalogue import spell
    >>> box = AnswerBox(spell("Ebm7"))
    >>> box
    Spell E♭m7 from the root up: 4 notes.
    >>> box.form.answer = "Eb Gb Bb Db"
    >>> box.check()
    Right: E♭m7 is E♭ G♭ B♭ D♭.
    >>> box.close()
    """

    def __init__(
        self,
        task: Exercise,
        tally: Tally | None = None,
        *,
        left_handed: bool = False,
        theme: str | None = None,
        state: MutableMapping[str, Any] | None = None,
    ) -> None:
        if not isinstance(task, Exercise):
            raise HarmonyError(f"{written.quoted(type(task).__name__)} is no exercise: give one such as spell('Ebm7')")
        if tally is not None and not isinstance(tally, Tally):
            raise HarmonyError(f"{written.quoted(type(tally).__name__)} is no tally: give a Tally")
        theme = theme or default_theme()
        look, skin, way = THEMES.get(theme), theme_class(theme), task.grips
        assert look  # theme_class refuses any other
        self._task, self._tally, self._way = task, tally, way
        self._text, self._picture = task.question, task.picture
        size = "clamp(26px, 2.05vw, 42px)" if look.fills_width else "14px"
        ground = f"background:{look.paper};color:{look.ink};font-size:{size};padding:2px"
        drawn = f"data:image/svg+xml,{quote(self._picture.svg)}" if self._picture else ""
        wide = ' style="max-width:100%;width:100%"' if look.fills_width else ""
        said = escape(self._picture.text) if self._picture else ""
        image = f'<img class="answer-picture"{wide} src="{drawn}" alt="{said}">' if self._picture else ""
        head = ipywidgets.HTML(
            f'<div style="{ground}"><p class="answer-question">{escape(self._text)}</p>{image}</div>'
        )
        self.form = _Form(
            form=task.form,
            choices=task.menus,
            several=way == "several",
            colours={"paper": look.paper, "ink": look.ink, "soft": look.soft, "size": size},
            hint_count=len(task.hints),
        )
        self.neck = NeckView(task.neck, left_handed=left_handed, theme=theme, picking=True) if way else None
        self._acting, self._checked = False, ""
        super().__init__([head, *([self.neck] if self.neck else []), self.form])
        for name in ("answer-box", "neck-panel", skin):
            self.add_class(name)
        self._state: MutableMapping[str, Any] = {} if state is None else state
        self._restore(str((task.as_data(), left_handed, theme)))
        self._follow()
        self.form.observe(self._follow, "answer")
        self.form.observe(lambda _: self.check(), "checks")
        self.form.observe(lambda _: self.hint(), "hinted")
        self.form.observe(lambda _: self.tell(), "told")
        if self.neck:
            self.neck.observe(self._clicked, "selected")
        if tally is not None:
            tally.watch(self._count)
            self._count()

    def _restore(self, given: str) -> None:
        if self._state.get("given") != given:
            self._state.clear()
            self._state["given"] = given
        for name in ("answer", "tried", "solution"):
            with suppress(traitlets.TraitError):  # a value that somebody else put there
                setattr(self.form, name, self._state.get(name, getattr(self.form, name)))
        hints = self._state.get("hints")
        self.form.hints = list(self._task.hints[:hints]) if type(hints) is int and hints > 0 else []

    def _keep(self) -> None:
        for name in ("answer", "tried", "solution"):
            self._state[name] = getattr(self.form, name)
        self._state["hints"] = len(self.form.hints)

    def _count(self) -> None:
        right, tried = self._tally.of(self._task) if self._tally is not None else (False, 0)
        mine = f"this one: {'right' if right else 'not yet right'}, answers {tried}" if tried else "this one: not tried"
        self.form.tally = f"{mine} · all: {self._tally!r}"

    # --- field and neck -----------------------------------------------------------------------------------------

    def _split(self) -> tuple[str, str]:
        """What stands before the grip written last, and that grip's text, empty where there is none."""
        text = self.form.answer
        match = LETTERS.fullmatch(text)
        before, last = (match[1] or "", match[2]) if match and self._way != "one" else ("", text.strip())
        return (before, last) if self._places(last) else (text if self._way != "one" else "", "")

    def _places(self, text: str) -> list[list[int]]:
        """The places of a grip written as text; none when it is no grip or does not lie on this neck."""
        try:
            frets = reading_grips.grip(text, self._task.neck).frets
        except HarmonyError:
            return []
        played = [[len(frets) - n, fret] for n, fret in enumerate(frets) if fret is not None]
        return played if all(fret <= self._task.neck.last_fret for _, fret in played) else []

    def _follow(self, _: object = None) -> None:
        """Put the grip written last on the neck; “right” is said of the answer that was checked, and of no other."""
        self._keep()
        if self.form.mood == "right" and self.form.answer != self._checked:
            self.form.reply = self.form.mood = ""
        if self.neck and not self._acting:
            self._picked(self._places(self._split()[1]))

    def _picked(self, places: list[list[int]]) -> None:
        assert self.neck
        marks = [Mark(string, fret) for string, fret in places]
        self._acting = True
        try:
            title = str(self._grip(places)) if places else "click strings and frets, or write below"
            self.neck.show([marks], [title])
            self.neck.selected = places
        finally:
            self._acting = False

    def _grip(self, places: list[list[int]]) -> Any:
        return reading_grips.grip(tuple((string, fret) for string, fret in places), self._task.neck)

    def _clicked(self, _: object) -> None:
        """Write what is marked on the neck; a string has one place, the last clicked."""
        assert self.neck
        if self._acting:
            return
        before, _old = self._split()
        try:
            places = sorted((list(place) for place in dict(self.neck.selected).items()), reverse=True)
            grip = str(self._grip(places)) if places else ""
        except (HarmonyError, TypeError, ValueError):  # no places of this neck
            self._picked(self._places(self._split()[1]))
            return
        if grip and before and not before.endswith((" ", ",", ";")):
            before += ", "
        self._acting = True
        try:
            self.form.answer = before + grip
        finally:
            self._acting = False
        self._picked(places)

    @property
    def answer(self) -> Any:
        """The answer as it goes to the exercise."""
        text = self.form.answer
        if self._way == "one":
            return self._pairs(text)
        if self._way == "several":
            parts = [self._pairs(part.strip()) for part in text.strip(" ,;").split(",")]
            return text if any(isinstance(part, str) and part != "-" for part in parts) else tuple(parts)
        return text

    def _pairs(self, text: str) -> Any:
        return tuple((string, fret) for string, fret in self._places(text)) or text

    # --- what the buttons do ------------------------------------------------------------------------------------

    def check(self) -> Reply:
        """Check the answer, show the reply and count it."""
        reply, self._checked = self._task.check(self.answer), self.form.answer
        self.form.reply = repr(reply)
        self.form.mood = "right" if reply.right else "wrong" if reply.started else ""
        self.form.tried = self.form.tried or reply.started
        if self._tally is not None and not self.form.solution:
            self._tally.count(self._task, reply)
        self._keep()
        return reply

    def hint(self) -> str:
        """Show the next hint, and after the last no more."""
        shown = len(self.form.hints)
        if shown < self.form.hint_count:
            self.form.hints = [*self.form.hints, self._task.hint(shown + 1)]
        self._keep()
        return str(self.form.hints[-1])

    def tell(self) -> str:
        """Show a solution, if an answer was tried; from then on the tally counts no more answers here."""
        if self.form.tried:
            self.form.solution = f"One solution: {written.as_text(self._task.solution())}"
        self._keep()
        return str(self.form.solution)

    @property
    def text(self) -> str:
        """The question, in one line."""
        return " ".join(self._text.split())

    def _repr_mimebundle_(self, **how: Any) -> dict[str, Any]:
        data = dict(super()._repr_mimebundle_(**how) or {})
        still = self._picture or (self.neck.picture if self.neck else None)
        return data | {"text/plain": self.text} | ({"image/svg+xml": still.svg} if still else {})

    def __repr__(self) -> str:
        return self.text

    def close(self) -> None:
        """Free the box and all it made; the tally stays."""
        if self.comm is None:  # closed already
            return
        if self._tally is not None:
            self._tally.unwatch(self._count)
        for child in self.children:
            close_all(child)
        self.layout.close()
        super().close()
