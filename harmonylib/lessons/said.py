"""A sentence that shows itself: what a section says when there is nothing to draw.

Conventions
- `remarks` are sentences about values that could not be taken; they stand under what is shown, one a line.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import wraps
from html import escape
from typing import ParamSpec, TypeVar

from harmonylib.errors import HarmonyError
from harmonylib.wording import capital

Asked = ParamSpec("Asked")
Shown = TypeVar("Shown")


@dataclass(frozen=True, repr=False)
class Said:
    """A sentence, shown as text; to listen to it or to draw it is the same sentence again.

    >>> Said("out of reach on these strings")
    Out of reach on these strings.
    """

    text: str
    remarks: tuple[str, ...] = ()

    def listen(self, *_: object, **__: object) -> Said:
        return self

    def paths(self, *_: object, **__: object) -> Said:
        return self

    def picture(self, *_: object, **__: object) -> Said:
        return self

    def on_neck(self, *_: object, **__: object) -> Said:
        return self

    def __repr__(self) -> str:
        return "\n".join(map(sentence, (self.text, *self.remarks)))

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        return {"text/html": told([self.text, *self.remarks]), "text/plain": repr(self)}


def sentence(text: str) -> str:
    """A text with a capital letter and a full stop.

    >>> sentence("no gap here"), sentence("Is it?")
    ('No gap here.', 'Is it?')
    """
    plain = " ".join(text.split())
    return capital(plain) + ("" if plain.endswith((".", "?", "!")) else ".")


def told(sentences: Sequence[str]) -> str:
    """Sentences as HTML, a paragraph each."""
    return "".join(f"<p>{escape(sentence(text))}</p>" for text in sentences)


def section(make: Callable[Asked, Shown]) -> Callable[Asked, Shown | Said]:
    """A function of a chapter: what it cannot make becomes the sentence that says why."""

    @wraps(make)
    def made(*asked: Asked.args, **named: Asked.kwargs) -> Shown | Said:
        try:
            return make(*asked, **named)
        except HarmonyError as error:
            return Said(str(error))

    return made
