"""Exercises: questions that know their answers and say what is wrong with yours.

A teacher writes one line, such as ``task = spell("Ebm7")``; showing `task` asks the question, ``task.check(answer)``
replies, ``task.hint(1)`` helps, ``task.solution()`` tells. Every answer is computed from the material.

Conventions
- Material is text and whole numbers, so that an exercise can be stored: `Exercise.as_data`, `from_data`.
- Levels are 1 (the usual families and keys, the middle strings, slow), 2 and 3 (all families and roots, fast).
- Same seed and level, same exercises.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, fields

from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import LEVELS, Exercise
from harmonylib.exercises.calls import AnswerCall, FindGaps
from harmonylib.exercises.degrees import Degree, WhichDiminished
from harmonylib.exercises.grips import FindGrips, Shell
from harmonylib.exercises.harmonising import HarmoniseBar, HarmonisePhrase, Mend
from harmonylib.exercises.inversions import FindRoot, NameInversion, NextInversion
from harmonylib.exercises.spelling import Drop, Spell
from harmonylib.exercises.written import shown
from harmonylib.guitar.neck import Neck

spell, drop, name_inversion, next_inversion, find_grips = Spell, Drop, NameInversion, NextInversion, FindGrips


find_root, which_degree, which_diminished, shell = FindRoot, Degree, WhichDiminished, Shell


harmonise_bar, harmonise_phrase, find_gaps, answer_call, mend = (
    HarmoniseBar,
    HarmonisePhrase,
    FindGaps,
    AnswerCall,
    Mend,
)


_CLASSES: dict[str, type[Exercise]] = {
    made.kind: made
    for made in (
        *(Spell, Drop, NameInversion, NextInversion, FindGrips, FindRoot, Degree, WhichDiminished, Shell),
        *(HarmoniseBar, HarmonisePhrase, FindGaps, AnswerCall, Mend),
    )
}


KINDS = {kind: made.about for kind, made in _CLASSES.items()}
"""Every kind of exercise, and what it asks."""


_NECK = {item.name: item.default for item in fields(Neck)}


_TRIES = 400


def exercise(kind: str, **material: object) -> Exercise:
    """An exercise by the name of its kind and its material; the settings of a `Neck` may stand beside it.

    Raises `HarmonyError` for a kind, material or setting that cannot be used.

    >>> exercise("drop", chord="G7", spread="drop 3", top="D").solution()
    'G F B D'
    >>> exercise("drop", chord="G7", tune="none")
    Traceback (most recent call last):
    harmonylib.errors.HarmonyError: a 'drop' exercise takes no tune: give chord, spread, top
    """
    made = _kind(kind)
    own = {item.name: item for item in fields(made) if item.name != "neck"}
    settings = {name: material.pop(name) for name in list(material) if name in _NECK}
    neck = material.pop("neck", None)
    odd = [name for name in material if name not in own and not (name == "bars" and "first" in own)]
    if odd:
        raise HarmonyError(f"a {kind!r} exercise takes no {odd[0]}: give {', '.join(own)}")
    missing = [name for name, item in own.items() if item.default is MISSING and name not in material]
    if missing:
        raise HarmonyError(f"a {kind!r} exercise needs {', '.join(missing)}")
    if neck is not None and type(neck) is not Neck:
        raise HarmonyError(f"neck {shown(neck)}: give a Neck")
    return made(**material, neck=neck or _neck(settings))


def _neck(settings: Mapping[str, object]) -> Neck:
    for name, value in settings.items():
        numbers = (int,) if isinstance(_NECK[name], int) else (int, float)
        if type(value) not in ((str,) if isinstance(_NECK[name], str) else numbers):
            raise HarmonyError(f"{name} {shown(value)}: give a setting such as {_NECK[name]!r}")
    return Neck(**settings)  # type: ignore[arg-type]


def from_data(data: Mapping[str, object]) -> Exercise:
    """The exercise that `Exercise.as_data` wrote.

    >>> task = spell("Ebm7")
    >>> task.as_data(), from_data(task.as_data()) == task
    ({'kind': 'spell', 'chord': 'Ebm7'}, True)
    """
    if not isinstance(data, Mapping) or not all(isinstance(name, str) for name in data):
        raise HarmonyError(
            f"{shown(type(data).__name__)} is no exercise as data: give a dictionary of names and values"
        )
    material = dict(data)
    return exercise(material.pop("kind", ""), **material)  # type: ignore[arg-type]


def random_exercise(kind: str, seed: int = 0, level: int = 1) -> Exercise:
    """An exercise of a kind with material drawn by seed and level; it can always be solved.

    >>> random_exercise("spell", seed=1, level=2) == random_exercise("spell", seed=1, level=2)
    True
    """
    return _drawn(_kind(kind), f"{seed}", _level(level))


def exercise_set(kinds: Sequence[str] | str, count: int, seed: int = 0, level: int = 1) -> tuple[Exercise, ...]:
    """`count` exercises of some kinds in turn, no two alike.

    Raises `HarmonyError` when a kind has not so many at this level.

    >>> [task.kind for task in exercise_set(["spell", "drop"], 3, seed=5)]
    ['spell', 'drop', 'spell']
    """
    names = [kinds] if isinstance(kinds, str) else list(kinds)
    if not names or type(count) is not int or count < 0:
        raise HarmonyError(f"{shown(count)} exercises of {len(names)} kinds: name one kind or more and a count from 0")
    made: dict[str, Exercise] = {}
    for number in range(count):
        kind = _kind(names[number % len(names)])
        for attempt in range(_TRIES):
            task = _drawn(kind, f"{seed} {number} {attempt}", _level(level))
            if task.question not in made:
                made[task.question] = task
                break
        else:
            raise HarmonyError(f"level {level} has no {count} different exercises of kind {kind.kind!r}: ask for fewer")
    return tuple(made.values())


def _kind(name: str) -> type[Exercise]:
    if not isinstance(name, str) or name not in _CLASSES:
        raise HarmonyError(f"{shown(name)} is not a kind of exercise: choose {', '.join(KINDS)}")
    return _CLASSES[name]


def _level(level: int) -> int:
    if type(level) is not int or level not in LEVELS:
        raise HarmonyError(f"level {shown(level)}: choose 1, 2 or 3")
    return level


def _drawn(kind: type[Exercise], seed: str, level: int) -> Exercise:
    """The first material drawn that makes an exercise."""
    draws = random.Random(f"{kind.kind} {seed} {level}")
    for _ in range(_TRIES):
        try:
            return kind(**kind.drawn(draws, level))
        except HarmonyError:
            continue
    raise HarmonyError(f"no exercise of kind {kind.kind!r} was found at level {level}")
