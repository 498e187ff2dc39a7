"""A task as a teacher writes it: capitals, spaces and lists where the exercise wants its own words.

Conventions
- Only what can be meant in one way is changed: what stays as it was is told by the exercise, as ever.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import REGISTRY
from harmonylib.theory.chords import Chord
from harmonylib.theory.voicings import SPREADS
from harmonylib.wording import bare, capital

CHORDS, NOTES = ("chord",), ("note", "top", "key")


def understood(task: Mapping[str, Any]) -> dict[str, Any]:
    """The task with its kinds, spread, strings, chord, notes and grips as the exercises write them.

    >>> understood({"kind": "Find Grips", "chord": "ebm7", "spread": "drop2", "strings": [4, 3, 2, 1]})
    {'kind': 'find_grips', 'chord': 'Ebm7', 'spread': 'drop 2', 'strings': '4321'}
    """
    made = dict(task)
    for name, value in task.items():
        if name == "kinds" and isinstance(value, list | tuple):
            made[name] = [_one_of(REGISTRY, kind) for kind in value]
        elif name == "strings":
            made[name] = _strings(value)
        elif isinstance(value, str):
            made[name] = _text(name, value)
    return made


def _text(name: str, value: str) -> str:
    if name == "kind":
        return str(_one_of(REGISTRY, value))
    if name == "spread":
        return str(_one_of(SPREADS, value))
    if name == "grip":
        return value.lower()
    if name in (*CHORDS, *NOTES) and value[:1].islower():
        return capital(value) if name in NOTES or _reads(capital(value)) else value
    return value


def _one_of(known: Mapping[str, Any], value: Any) -> Any:
    """The known word that has the same letters and figures; the value itself where there is none."""
    if not isinstance(value, str):
        return value
    return {bare(word): word for word in known}.get(bare(value), value)


def _strings(value: Any) -> Any:
    """A string set as text, whether a list, a number or figures with something between them."""
    items = value if isinstance(value, list | tuple) else [value]
    if not all(type(item) in (int, str) for item in items):
        return value
    figures = re.sub(r"[\s,-]", "", "".join(map(str, items)))
    return figures if figures.isdigit() else value


def _reads(symbol: str) -> bool:
    try:
        Chord.parse(symbol)
    except HarmonyError:
        return False
    return True
