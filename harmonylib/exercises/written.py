"""What a learner wrote, made inert: text, numbers, tuples and dictionaries of bounded size; and how it is quoted.

Conventions
- A note, grip, chord or voicing becomes its own text. Nothing of an unknown object is called or shown.
- What cannot be read raises `Unread`, whose message says what can.
- `harmonylib.exercises.reading_notes`, `reading_grips` and `reading_words` make something of what is inert.
"""

from __future__ import annotations

import operator
from collections.abc import Mapping, Sequence
from fractions import Fraction

from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Name, Pitch
from harmonylib.theory.voicings import Voicing

Written = object
"""Text, number, None or ``...``, or a tuple or dictionary of such."""

MOST_LETTERS, MOST_ITEMS, DEEPEST = 4000, 400, 5

LARGEST = 10**6


class Unread(HarmonyError):
    """An answer that cannot be read; the message says how one is written."""


def inert(answer: object, depth: int = 0) -> Written:
    """An answer of any sort as text, numbers, tuples and dictionaries.

    >>> inert(["C", Name("E"), 5]), inert(Grip.parse("x3545x"))
    (('C', 'E', 5), 'x3545x')
    >>> inert(print)
    Traceback (most recent call last):
    harmonylib.exercises.written.Unread: this cannot be read as an answer
    """
    try:
        return _inert(answer, depth)
    except Unread:
        raise
    except Exception:  # an object may raise anything when it is looked at
        raise Unread("this cannot be read as an answer") from None


def _inert(answer: object, depth: int) -> Written:
    kind = type(answer)
    if answer is None or answer is ... or kind is bool:
        return answer
    if kind in (Name, Pitch, Grip, Chord):
        return str(answer)[:MOST_LETTERS]
    if kind is Voicing:
        return _inert(answer.pitches, depth)  # type: ignore[attr-defined]
    if hasattr(kind, "__index__"):
        answer, kind = operator.index(answer), int  # type: ignore[arg-type]
    elif issubclass(kind, float):
        answer = float(answer)  # type: ignore[arg-type]
    if kind in (int, Fraction) or issubclass(kind, float):
        if not abs(answer) <= LARGEST:  # type: ignore[arg-type]
            raise Unread("that number is too large, or none at all")
        return answer
    if issubclass(kind, str):
        text = str.__str__(answer)
        if len(text) > MOST_LETTERS:
            raise Unread("that is a long text; an answer takes one line")
        return text.strip()
    if depth > DEEPEST:
        raise Unread("that is a list in a list in a list; write the answer in one row")
    if kind in (list, tuple, set, frozenset, dict) or issubclass(kind, tuple):
        if len(answer) > MOST_ITEMS:  # type: ignore[arg-type]
            raise Unread("that list is too long for an answer")
        if kind is dict:
            return {inert(k, DEEPEST): inert(v, depth + 1) for k, v in answer.items()}  # type: ignore[attr-defined]
        if getattr(kind, "_fields", ())[:2] == ("string", "fret"):  # a mark on the neck
            return tuple(answer)[:2]  # type: ignore[arg-type]
        made = tuple(inert(item, depth + 1) for item in answer)  # type: ignore[attr-defined]
        return tuple(sorted(made, key=str)) if kind in (set, frozenset) else made
    raise Unread("this cannot be read as an answer")


def blank(answer: Written) -> bool:
    """Whether nothing has been written yet: ``...``, None, empty text, or a list of those.

    >>> blank(()), blank(("", ...)), blank("C")
    (True, True, False)
    """
    if isinstance(answer, dict):
        return all(blank(value) for value in answer.values())
    if isinstance(answer, tuple):
        return all(blank(item) for item in answer)
    return answer is None or answer is ... or answer in ("", "...", "…")


def quoted(value: Written) -> str:
    """A value quoted on one short line, without signs that steer a terminal."""
    text = "".join(c if c.isprintable() else " " for c in str(value)[:60])
    return f"“{text if len(text) <= 40 else text[:39] + '…'}”"


def keyed(answer: Written, keys: Mapping[str, Sequence[str]]) -> dict[str, Written]:
    """The parts of an answer by name, whether written as a dictionary (any of each part's names) or in order."""
    if isinstance(answer, dict):
        by_name = {other: key for key, others in keys.items() for other in (key, *others)}
        return {by_name[str(k).lower()]: v for k, v in answer.items() if str(k).lower() in by_name}
    if isinstance(answer, tuple):
        return dict(zip(keys, answer, strict=False)) if len(answer) <= len(keys) else {}
    return {}


def as_text(solution: object) -> str:
    """A solution in one line, as one writes it.

    >>> as_text({"root": 4, "spread": "drop 2"}), as_text([("1", "1", "x7958x"), ("2", "1", "x3545x")])
    ('4, drop 2', '1, 1, x7958x; 2, 1, x3545x')
    """
    if isinstance(solution, Mapping):
        return as_text(list(solution.values()))
    if isinstance(solution, (list, tuple)):
        nested = any(isinstance(item, (list, tuple)) for item in solution)
        return ("; " if nested else ", ").join(as_text(item) for item in solution)
    return str(solution)
