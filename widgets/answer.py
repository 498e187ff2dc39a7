"""`AnswerBox`: an exercise to be answered in place; `Tally`: what a learner has tried and got right.

The box computes nothing: it shows what the exercise asks, hands the answer to its `check` and shows the reply.

Conventions
- The text of the field is the answer. Menus write into it; where grips are asked, so do clicks on the neck, and a grip
  that is typed appears there. The neck holds the grip written last.
- A grip is handed on as (string, fret) pairs when grips are all that is asked, else as its text among the rest.
- A tally counts the answers that say something, until one is right or a solution has been shown.
- A tally file is JSON: exercises as `Exercise.as_data` has them, each with `tried` and `right`.

Sources: RFC 8259 for JSON; WAI-ARIA 1.2 for the roles.
"""

from __future__ import annotations

import json
import math
import os
import re
import tempfile
from collections.abc import Mapping, MutableMapping
from contextlib import suppress
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

import anywidget
import ipywidgets
import traitlets

from harmonylib.errors import HarmonyError
from harmonylib.exercises import written
from harmonylib.exercises.base import Exercise, Reply
from harmonylib.pictures.neck import Mark
from harmonylib.pictures.theme import THEMES, default_theme
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import ACTIONS
from harmonylib.theory.tones import DEGREE_WORDS
from harmonylib.theory.voicings import INVERSIONS, SPREADS
from widgets.neck import NeckView, theme_class
from widgets.panel import close_all

HERE = Path(__file__).parent
GRIPS = {
    **{"next_inversion": "one", "shell": "one"},
    **{"find_grips": "several", "harmonise_bar": "several", "harmonise_phrase": "several"},
    **{"mend": "last", "answer_call": "last"},
}
"""The kinds answered with grips: one, several with commas between them, or one at the end of other words."""
DIMINISHED = ("Cdim7", "C♯dim7", "Ddim7")
LETTERS = re.compile(r"(.*[\s,;])?([^\s,;]*)", re.S)
Choices = list[tuple[str, list[tuple[str, str]]]]
"""Menus: a label, and options as (what is written, what is shown)."""


# --- the tally ----------------------------------------------------------------------------------------------------

FORMAT = "harmonylib tally"
MOST_BYTES, MOST_EXERCISES, MOST_TRIES = 2**20, 5000, 10**6


class Tally(traitlets.HasTraits):
    """How often each exercise was tried, and whether it was got right; boxes share one.

    >>> from harmonylib.exercises.catalogue import spell
    >>> tally, task = Tally(), spell("Ebm7")
    >>> for answer in ("C E G", "Eb Gb Bb Db", "Eb Gb Bb Db"):
    ...     tally.count(task, task.check(answer))
    >>> tally
    right 1 of 1 exercise tried, 2 answers
    """

    rows: Any = traitlets.Dict()

    def count(self, task: Exercise, reply: Reply) -> None:
        """Count a reply; one to no answer at all, or to an exercise that is right already, counts for nothing."""
        key, (right, tried) = _key(task.as_data()), self.of(task)
        if reply.started and not right:
            self.rows = self.rows | {key: (reply.right, min(tried + 1, MOST_TRIES))}

    def of(self, task: Exercise) -> tuple[bool, int]:
        """Whether an exercise was got right, and how many answers it has had."""
        right, tried = self.rows.get(_key(task.as_data()), (False, 0))
        return right, tried

    def __repr__(self) -> str:
        right, tries = (sum(row[n] for row in self.rows.values()) for n in (0, 1))
        exercises = f"{len(self.rows)} exercise{'' if len(self.rows) == 1 else 's'}"
        return f"right {right} of {exercises} tried, {tries} answer{'' if tries == 1 else 's'}"

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write the tally to a file, whole or not at all; raises `HarmonyError` where that cannot be done."""
        rows = [
            {"exercise": json.loads(key), "right": right, "tried": tried}
            for key, (right, tried) in sorted(self.rows.items())
        ]
        text = json.dumps({"format": FORMAT, "version": 1, "exercises": rows}, ensure_ascii=False, indent=1) + "\n"
        data = text.encode("utf-8", "surrogatepass")
        where = _path(path)
        _rows(data, where.name)  # what is written can be read again
        try:
            aim = where.resolve()
            handle, made = tempfile.mkstemp(prefix=".tally-", dir=aim.parent)
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(data)
                    file.flush()
                    os.fsync(file.fileno())
                os.replace(made, aim)
            except BaseException:
                Path(made).unlink(missing_ok=True)
                raise
        except (OSError, ValueError, RuntimeError) as error:
            raise HarmonyError(f"{where.name}: the tally cannot be written here ({_why(error)})") from None

    @classmethod
    def read(cls, path: str | os.PathLike[str]) -> Tally:
        """The tally of a file; a new one where there is no file yet. Raises `HarmonyError` for a file that is none."""
        where = _path(path)
        try:
            if not where.exists():
                return cls()
            data = None
            if where.is_file():  # a pipe would be waited for
                with where.open("rb") as file:
                    data = file.read(MOST_BYTES + 1)
        except (OSError, ValueError) as error:
            raise HarmonyError(f"{where.name}: the tally cannot be read ({_why(error)})") from None
        if data is None:
            raise HarmonyError(f"{where.name} is no file: name the file that Tally.save wrote")
        return cls(rows=_rows(data, where.name))


def _key(data: Mapping[str, Any]) -> str:
    return json.dumps(data, sort_keys=True, ensure_ascii=False)


def _path(path: object) -> Path:
    if not isinstance(path, (str, os.PathLike)) or not str(path):
        raise HarmonyError(f"{written.shown(type(path).__name__)}: name a file for the tally, as in 'tally.json'")
    return Path(path)


def _why(error: BaseException) -> str:
    return (getattr(error, "strerror", None) or type(error).__name__).lower()


def _rows(data: bytes, name: str) -> dict[str, tuple[bool, int]]:
    """The rows of a tally file; raises `HarmonyError` when it is too large or no tally."""
    if len(data) > MOST_BYTES:
        raise HarmonyError(f"{name} holds more than {MOST_BYTES // 1024} KB, too much for a tally: start a new one")
    try:
        made = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError):
        raise HarmonyError(f"{name} is no tally: it is not JSON in UTF-8") from None
    if not isinstance(made, dict) or made.get("format") != FORMAT or made.get("version") != 1:
        raise HarmonyError(f"{name} is no tally: a file of format {FORMAT!r}, version 1, is asked for")
    rows = made.get("exercises")
    if not isinstance(rows, list) or len(rows) > MOST_EXERCISES:
        raise HarmonyError(f"{name}: a tally holds a list of up to {MOST_EXERCISES} exercises")
    found: dict[str, tuple[bool, int]] = {}
    for number, row in enumerate(rows, start=1):
        task, right, tried = (row.get(n) if isinstance(row, dict) else None for n in ("exercise", "right", "tried"))
        plain = isinstance(task, dict) and "kind" in task and all(map(_storable, task.values()))
        if (
            task is None
            or not plain
            or type(right) is not bool
            or type(tried) is not int
            or not 1 <= tried <= MOST_TRIES
        ):
            raise HarmonyError(
                f"{name}, exercise {number}: an exercise as data, right (true or false) and tried (1 to {MOST_TRIES}) "
                "are asked for"
            )
        if _key(task) in found:
            raise HarmonyError(f"{name}, exercise {number}: it is there twice")
        found[_key(task)] = right, tried
    return found


def _storable(value: object) -> bool:
    if isinstance(value, str):
        return all(not "\ud800" <= letter <= "\udfff" for letter in value)
    return type(value) is int or (type(value) is float and math.isfinite(value))


# --- the box ------------------------------------------------------------------------------------------------------


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
            raise HarmonyError(f"{written.shown(type(task).__name__)} is no exercise: give one such as spell('Ebm7')")
        if tally is not None and not isinstance(tally, Tally):
            raise HarmonyError(f"{written.shown(type(tally).__name__)} is no tally: give a Tally")
        theme = theme or default_theme()
        look, skin, way = THEMES.get(theme), theme_class(theme), GRIPS.get(task.kind, "")
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
            choices=_choices(task),
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
            tally.observe(self._count, "rows")
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

    def _count(self, _: object = None) -> None:
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
            frets = written.grip(text, self._task.neck).frets
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
        return written.grip(tuple((string, fret) for string, fret in places), self._task.neck)

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
            self.form.solution = f"One solution: {as_written(self._task.solution())}"
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
            self._tally.unobserve(self._count, "rows")
        for child in self.children:
            close_all(child)
        self.layout.close()
        super().close()


def as_written(solution: Any) -> str:
    """A solution as one writes it in the field.

    >>> as_written({"root": 4, "spread": "drop 2"}), as_written([("1", "1", "x7958x"), ("2", "1", "x3545x")])
    ('4, drop 2', '1, 1, x7958x; 2, 1, x3545x')
    """
    if isinstance(solution, Mapping):
        return as_written(list(solution.values()))
    if isinstance(solution, (list, tuple)):
        nested = any(isinstance(item, (list, tuple)) for item in solution)
        return ("; " if nested else ", ").join(as_written(item) for item in solution)
    return str(solution)


def _choices(task: Exercise) -> Choices:
    """The menus of an exercise whose answers are few."""
    same = {name: [(value, value) for value in values] for name, values in (("spread", SPREADS), ("why", ACTIONS))}
    if task.kind == "name_inversion":
        return [("inversion", [(name, name) for name in INVERSIONS])]
    if task.kind == "which_degree":
        words = [(degree, f"{degree} · {name}") for degree, name in DEGREE_WORDS.items()]
        return [("degree", [*words, ("foreign", "foreign")])]
    if task.kind == "find_root":
        count = len(task.neck.open_strings)
        strings = [(str(n), f"{n} · {task.neck.open_strings[-n].name}") for n in range(count, 0, -1)]
        return [("string", strings), ("spread", same["spread"])]
    if task.kind == "which_diminished":
        names = [(name, f"{name} · {' '.join(map(str, Chord.parse(name).names))}") for name in DIMINISHED]
        return [("diminished seventh", names), ("which", same["why"])]
    return []
