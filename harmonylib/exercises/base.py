"""What every exercise is: a question that knows its answers, and all that a kind declares about itself.

An exercise is a frozen dataclass whose fields are its material; everything else is computed: the question, the hints,
what a right answer is, and what is wrong with another one. A class that names its `kind` is in `REGISTRY` from then on:
drawn by seed, printed, asked in the answer box and marked like all the others.

Conventions
- `check` takes any sensible form of an answer, as the `reading_` modules read it, and never raises.
- A right answer in another spelling is right, with a remark. Any grip a hand can hold counts unless the question fixes
  one.
- `drawn` makes material from a source of draws and a level from 1 to 3; material that cannot be solved is refused when
  the exercise is made.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, fields
from functools import cached_property
from html import escape
from typing import Any, ClassVar, Literal, TypeAlias

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.exercises import written
from harmonylib.exercises.comparing import Verdict
from harmonylib.exercises.draws import level_of
from harmonylib.exercises.written import Written
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.picture import Picture

Menu: TypeAlias = tuple[str, list[tuple[str, str]]]
"""A label, and options as (what is written, what is shown)."""

REGISTRY: dict[str, type[Exercise]] = {}
"""Every kind of exercise by its name; a class that names its kind puts itself here."""


CLOSED = "Open the course to answer."
"""What stands under a question where there is no kernel."""

MOST_DRAWS = 400


@dataclass(frozen=True, repr=False)
class Reply:
    """What `check` says: whether the answer is right, why, remarks, and whether there was an answer at all."""

    right: bool
    text: str
    remarks: tuple[str, ...] = ()
    started: bool = True

    def __bool__(self) -> bool:
        return self.right

    def __repr__(self) -> str:
        return "\n".join([self.text, *(f"Remark: {remark}." for remark in self.remarks)])

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        shown = "".join(f"<p>{escape(line)}</p>" for line in repr(self).splitlines())
        return {"text/html": shown, "text/plain": repr(self)}


@dataclass(frozen=True, repr=False)
class Exercise:
    """A question that knows its answers; `neck` is the neck and hand it is asked for.

    A kind declares: `kind`, the name it is asked for by; `chapter`, where it is taught; `about`, what it asks;
    `writing`, how an answer is written, and `examples` of it; `grips`, whether that is one grip, several with commas
    between them, or one at the end of other words; `blank_necks`, how many empty necks its question has on paper;
    `material`, its properties that are made when it is, so that bad material is refused at once.

    `series` gives the questions that a lesson asks after this one, by number from 1; without it they are drawn.

    `shown_by` is what a notebook shows an exercise with: it gives a bundle by MIME type, or an empty one.
    """

    kind: ClassVar[str] = ""
    chapter: ClassVar[int] = 0
    about: ClassVar[str] = ""
    writing: ClassVar[str] = ""
    examples: ClassVar[tuple[str, ...]] = ()
    grips: ClassVar[Literal["", "one", "several", "last"]] = ""
    blank_necks: ClassVar[int] = 0
    material: ClassVar[tuple[str, ...]] = ()
    shown_by: ClassVar[Callable[..., Mapping[str, Any]]] = staticmethod(lambda task, **how: {})
    neck: Neck = field(default=Neck(), kw_only=True)
    series: Callable[[int], Exercise] | None = field(default=None, init=False, compare=False)

    def __init_subclass__(cls) -> None:
        if "kind" in vars(cls):
            REGISTRY[cls.kind] = cls

    def __post_init__(self) -> None:
        self._check_material()

    def _check_material(self) -> None:
        for name in self.material:
            getattr(self, name)

    @property
    def question(self) -> str:
        """What is asked, in one line."""
        raise NotImplementedError

    @property
    def hints(self) -> tuple[str, ...]:
        """Steps from a gentle one to near the solution."""
        raise NotImplementedError

    @cached_property
    def form(self) -> str:
        """How an answer is written, with an example that gives nothing away."""
        told = set(written.as_text(self.solution()).split(", "))
        safe = (text for text in self.examples if not told & set(text.split(", ")) and not self._is_right(text))
        example = next(safe, "")
        return f"{self.writing}, as in {example}" if example else self.writing

    def _is_right(self, answer: str) -> bool:
        try:
            return not self.judge(answer)[0]
        except HarmonyError:
            return False

    @property
    def picture(self) -> Picture | None:
        """A drawing that goes with the question."""
        return None

    @property
    def menus(self) -> tuple[Menu, ...]:
        """What an answer is chosen from, where it has few forms."""
        return ()

    @property
    def lines(self) -> tuple[str, ...]:
        """What each line to write on is for, on paper; one without a name for most."""
        return ("",)

    @property
    def music(self) -> Arrangement | None:
        """What is engraved for paper, without its grips, so that they can be written in."""
        return None

    @property
    def truth(self) -> str:
        """What is so, said when an answer is right."""
        raise NotImplementedError

    def solution(self) -> Any:
        """A right answer, in a form `check` takes."""
        raise NotImplementedError

    def judge(self, answer: Written) -> Verdict:
        """What is wrong with a plain answer; raises `HarmonyError` when it cannot be read."""
        raise NotImplementedError

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        """Material for an exercise of this kind."""
        raise NotImplementedError

    @classmethod
    def by_seed(cls, seed: str, level: int, neck: Neck | None = None) -> Exercise:
        """The first material drawn by seed and level that makes an exercise on this neck."""
        draws = random.Random(f"{cls.kind} {seed} {level}")
        for _ in range(MOST_DRAWS):
            with suppress(HarmonyError):
                return cls(**cls.drawn(draws, level), neck=neck or Neck())
        raise HarmonyError(f"no exercise of kind {cls.kind!r} was found at level {level}")

    def another(self, number: int) -> Exercise:
        """Exercise `number` of this kind, from 1, and not this one again: of the same lesson where one has asked."""
        return self.series(number) if self.series else self._drawn_after(number)

    def _drawn_after(self, number: int) -> Exercise:
        """Exercise `number` after this one: on the same neck, of the same level."""
        level = getattr(self, "level", 0) or level_of(getattr(self, "chord", ""), getattr(self, "spread", ""))
        tried = (self.by_seed(f"another {number} {attempt}", level, self.neck) for attempt in range(MOST_DRAWS))
        return next(task for task in tried if task.question != self.question)

    def check(self, answer: object = ...) -> Reply:
        """What is right or wrong with an answer, in any sensible form; never raises."""
        try:
            given = written.inert(answer)
            if written.blank(given):
                return Reply(False, f"Not started: {self.form}.", started=False)
            faults, remarks = self.judge(given)
        except HarmonyError as error:
            how = "" if "write" in str(error) else f"; {self.form}"
            return Reply(False, f"Not yet: {error}{how}.")
        if not faults:
            return Reply(True, f"Right: {self.truth}.", tuple(dict.fromkeys(remarks)))
        more = [f"and {len(faults) - 4} more"] if len(faults) > 5 else []
        listed = faults[:4] + more if more else faults
        return Reply(False, f"Not yet: {'; '.join(listed)}.", tuple(dict.fromkeys(remarks)))

    def hint(self, step: int = 1) -> str:
        """Hint number `step`, from 1, each nearer the solution; after the last comes the last again."""
        if not isinstance(step, int) or step < 1:
            raise HarmonyError(f"hint {step!r}: hints are counted from 1 to {len(self.hints)}")
        return self.hints[min(step, len(self.hints)) - 1]

    def as_data(self) -> dict[str, str | int]:
        """The exercise as text and numbers by name; settings that have their usual value are left out."""
        made: dict[str, str | int] = {"kind": self.kind}
        usual = Neck()
        for item in fields(self.neck):
            value = getattr(self.neck, item.name)
            if value != getattr(usual, item.name):
                made[item.name] = value
        for item in fields(self):
            if item.init and item.name != "neck" and (not item.kw_only or getattr(self, item.name) != item.default):
                made[item.name] = getattr(self, item.name)
        return made

    def _repr_mimebundle_(self, include: object = None, exclude: object = None, **how: Any) -> dict[str, Any]:
        drawing = self.picture.svg if self.picture else ""
        still = f"<p>{escape(self.question)}</p>{drawing}<p><em>{CLOSED}</em></p>"
        return {**Exercise.shown_by(self, **how), "text/html": still, "text/plain": self.question}

    def __repr__(self) -> str:
        return self.question
