"""The one error of this library, and the guards that stand at public names.

Conventions
- An error names the bad value, what was expected and, for a tune, where.
- A guard gives the value back, or raises; what lies behind it trusts its types.
"""

from __future__ import annotations

from numbers import Integral, Real
from typing import TypeVar

T = TypeVar("T")


class HarmonyError(ValueError):
    """The one error of this library: names the bad value, what was expected and, for a tune, the bar and beat."""


def expect(kind: type[T], value: object, what: str) -> T:
    """The value itself if it is of that kind; `what` tells in the error what was expected.

    >>> expect(str, 60, "a text such as 'C4'")
    Traceback (most recent call last):
    harmonylib.errors.HarmonyError: 60 is not a text such as 'C4'
    """
    if isinstance(value, kind):
        return value
    raise HarmonyError(f"{shown(value)} is not {what}")


def whole(value: object, what: str) -> int:
    """The value itself if it is a whole number, numpy's too; `what` tells in the error what was expected."""
    if type(value) is int:
        return value
    if isinstance(value, Integral) and not isinstance(value, bool):
        return int(value)
    raise HarmonyError(f"{shown(value)} is not {what}: give a whole number")


def within(value: object, low: float, high: float, what: str) -> None:
    """Raises `HarmonyError`, `what` with the value in its braces, unless it is a number from `low` to `high`."""
    if (
        isinstance(value, bool) or not isinstance(value, Real) or not value <= high or value < low
    ):  # not a number is neither
        raise HarmonyError(what.format(shown(value)))


def shown(value: object) -> str:
    """A value as an error quotes it: in one line, not too long."""
    text = " ".join(repr(value).split())
    return text if len(text) <= 60 else text[:59] + "…"
