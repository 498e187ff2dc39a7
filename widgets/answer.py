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
from collections.abc import Callable, MutableMapping
from contextlib import suppress
from html import escape
from typing import Any
from urllib.parse import quote

import anywidget
import ipywidgets
import traitlets

from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_grips, written
from harmonylib.exercises.base import Exercise, Reply
from harmonylib.exercises.tally import Tally
from harmonylib.hearing.verdicts import allowed
from harmonylib.pictures.neck import Mark
from harmonylib.pictures.theme import THEMES, default_theme
from widgets.listener import Listener
from widgets.look import script, style, theme_class
from widgets.neck import NeckView
from widgets.panel import close_all

LETTERS = re.compile(r"(.*[\s,;])?([^\s,;]*)", re.S)


class _Form(anywidget.AnyWidget):
    """Field, menus, buttons and reply; what is pressed is counted in `checks`, `hinted` and `told`."""

    # as text: a path would be watched, and not be freed
    _esm = traitlets.Unicode(script("answer.js")).tag(sync=True)
    _css = traitlets.Unicode(style("answer")).tag(sync=True)

    own = traitlets.Unicode().tag(sync=True)
    label = traitlets.Unicode("answer").tag(sync=True)
    form = traitlets.Unicode().tag(sync=True)
    choices: Any = traitlets.List().tag(sync=True)
    several = traitlets.Bool(False).tag(sync=True)
    colours = traitlets.Dict().tag(sync=True)
    answer = traitlets.Unicode().tag(sync=True)
    checks = traitlets.Int(0).tag(sync=True)
    hinted = traitlets.Int(0).tag(sync=True)
    told = traitlets.Int(0).tag(sync=True)
    others = traitlets.Int(0).tag(sync=True)
    renewed = traitlets.Bool(True).tag(sync=True)
    reply = traitlets.Unicode().tag(sync=True)
    mood = traitlets.Unicode().tag(sync=True)
    solution = traitlets.Unicode().tag(sync=True)
    hints = traitlets.List(traitlets.Unicode()).tag(sync=True)
    hint_count = traitlets.Int(0).tag(sync=True)
    tried = traitlets.Bool(False).tag(sync=True)
    faces = traitlets.List(traitlets.Unicode()).tag(sync=True)
    tally = traitlets.Unicode().tag(sync=True)


class AnswerBox(ipywidgets.VBox):
    """An exercise with a place for the answer, a reply below it, hints, and a solution once an answer was tried.

    Parameters
    ----------
    task: the exercise. tally: where answers are counted, if anywhere.
    left_handed, theme: as for `neck_picture`.
    state: a dict of yours that keeps what was written when the cell runs again.
    keep: called with the text of the answer whenever that has changed; such a box offers no other exercise.

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
        left_handed: bool | None = None,
        theme: str | None = None,
        state: MutableMapping[str, Any] | None = None,
        keep: Callable[[str], object] | None = None,
    ) -> None:
        if not isinstance(task, Exercise):
            raise HarmonyError(f"{written.quoted(type(task).__name__)} is no exercise: give one such as spell('Ebm7')")
        if tally is not None and not isinstance(tally, Tally):
            raise HarmonyError(f"{written.quoted(type(tally).__name__)} is no tally: give a Tally")
        theme = theme or default_theme()
        look, skin = THEMES.get(theme), theme_class(theme)
        assert look  # theme_class refuses any other
        self._first, self._tally, self._way, self._told = task, tally, task.grips, keep
        self._number, self._acting, self._checked, self._times = 0, False, "", 0
        plain = f"{max(14, round(look.small * 4 / 3))}px"
        self._look, self._size = (
            look,
            "clamp(22.4px, 2.1875vw, 42px)" if look.fills_width else plain,
        )
        self._head = ipywidgets.HTML()
        colours = {"paper": look.paper, "ink": look.ink, "soft": look.soft, "size": self._size}
        self.form = _Form(several=self._way == "several", colours=colours, renewed=keep is None)
        self.form.own = self.form.model_id
        self.neck = NeckView(task.neck, left_handed=left_handed, theme=theme, picking=True) if self._way else None
        self.listener = Listener(neck=task.neck) if self._way and allowed() else None
        super().__init__([part for part in (self._head, self.neck, self.form, self.listener) if part])
        for name in ("answer-box", "neck-panel", skin):
            self.add_class(name)
        self._state: MutableMapping[str, Any] = {} if state is None else state
        self._restore(str((task.as_data(), left_handed, theme)))
        self._follow()
        self.form.observe(self._follow, "answer")
        for name, act in (("checks", self.check), ("hinted", self.hint), ("told", self.tell), ("others", self.another)):
            self.form.observe(lambda _, act=act: act(), name)
        if self.neck:
            self.neck.observe(self._clicked, "selected")
        if tally is not None:
            tally.watch(self._count)

    def _ask(self, task: Exercise) -> None:
        """Put an exercise in the box; all have the same kind and neck."""
        self._task, self._text, self._picture = task, task.question, task.picture
        self._head.value = self._question()
        self._checked, self._times = "", 0
        with self.form.hold_sync():
            self.form.set_trait("choices", [[label, [list(option) for option in menu]] for label, menu in task.menus])
            for name in ("answer", "reply", "mood", "solution"):
                setattr(self.form, name, "")
            self.form.hints, self.form.hint_count = [], len(task.hints)
            self.form.tried = self._look.fills_width  # a class answers aloud: on the wall the teacher may resolve
            self.form.form = task.form
            faces = {"the question": self._picture, "the neck": self.neck, "by ear": self.listener}
            self.form.faces = [name for name, part in faces.items() if part] if self._look.fills_width else []
        if self._tally is not None:
            self._count()

    def _question(self) -> str:
        """The question with its picture, as HTML."""
        look, picture, image = self._look, self._picture, ""
        if picture and look.fills_width:
            image = f'<div class="answer-picture wide">{picture.svg}</div>'  # on the wall it may be shown in parts
        elif picture:
            drawn = f"data:image/svg+xml,{quote(picture.svg)}"
            image = f'<img class="answer-picture" src="{drawn}" alt="{escape(picture.text)}">'
        ground = f"background:{look.paper};color:{look.ink};font-size:{self._size};padding:2px"
        return f'<div style="{ground}"><p class="answer-question">{escape(self._text)}</p>{image}</div>'

    def beside(self, widget: ipywidgets.Widget) -> None:
        """Put a widget between the question and the form; it is freed with the box."""
        parts = (self._head, self.neck, widget, self.form, self.listener)
        self.children = tuple(part for part in parts if part)

    def _restore(self, given: str) -> None:
        """Ask what `state` says was asked, and write what was written."""
        if self._state.get("given") != given:
            self._state.clear()
            self._state["given"] = given
        number, kept = self._state.get("number"), dict(self._state)
        self._number = number if type(number) is int and number > 0 else 0
        self._ask(self._first.another(self._number) if self._number else self._first)
        for name in ("answer", "tried", "solution"):
            with suppress(traitlets.TraitError):  # a value that somebody else put there
                setattr(self.form, name, kept.get(name, getattr(self.form, name)))
        hints = kept.get("hints")
        self.form.hints = list(self._task.hints[:hints]) if type(hints) is int and hints > 0 else []

    def _keep(self) -> None:
        for name in ("answer", "tried", "solution"):
            self._state[name] = getattr(self.form, name)
        self._state["hints"], self._state["number"] = len(self.form.hints), self._number
        if self._told:
            self._told(self.form.answer)

    def _count(self) -> None:
        right, tried = self._tally.of(self._task) if self._tally is not None else (False, 0)
        mine = f"this one: {'right' if right else 'not yet right'}, answers {tried}" if tried else "not tried yet"
        some = self._tally is not None and self._tally.rows
        self.form.tally = f"{mine} · all: {self._tally!r}" if some else mine

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
        if self.listener:
            try:
                self.listener.ask(self._grip(places) if places else None)
            except HarmonyError:  # a note the ear does not know, or one too many
                self.listener.ask(None)

    def _grip(self, places: list[list[int]]) -> Any:
        return reading_grips.grip(tuple((string, fret) for string, fret in places), self._task.neck)

    def _clicked(self, _: object) -> None:
        """Write what is marked on the neck; a string has one place, the last clicked."""
        assert self.neck
        if self._acting:
            return
        before, _ = self._split()
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
        """Check the answer, show the reply and count it; an answer checked again is said to be."""
        reply, again = self._task.check(self.answer), self.form.answer == self._checked and self.form.reply
        self._checked, self._times = self.form.answer, self._times + 1 if again else 1
        self.form.reply = (
            f"Checked again ({self._times} times now), the same answer. {reply!r}" if again else repr(reply)
        )
        self.form.mood = "right" if reply.right else "wrong" if reply.started else ""
        self.form.tried = self.form.tried or reply.started
        if self._tally is not None and not self.form.solution:
            self._tally.count(self._task, reply)
        self._keep()
        return reply

    def another(self) -> Exercise:
        """Ask the next exercise of this kind, by seed; where there is none, the reply says so."""
        try:
            task = self._first.another(self._number + 1)
        except HarmonyError as error:
            self.form.reply = f"There is no other: {error}."
            return self._task
        self._number += 1
        self._ask(task)
        self.form.reply = "Here is another one, above."
        self._keep()
        return task

    def hint(self) -> str:
        """Show the next hint, and after the last no more."""
        shown = len(self.form.hints)
        if shown < self.form.hint_count:
            self.form.hints = [*self.form.hints, self._task.hint(shown + 1)]
        self._keep()
        return str(self.form.hints[-1])

    def tell(self) -> str:
        """Show a solution, if an answer was tried or on the wall; from then on the tally counts no more answers."""
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
