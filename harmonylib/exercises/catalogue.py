"""Exercises: questions that know their answers and say what is wrong with yours.

A teacher writes one line, such as ``task = spell("Ebm7")``; showing `task` asks the question, ``task.check(answer)``
replies, ``task.hint(1)`` helps, ``task.solution()`` tells. Every answer is computed from the material.

The kinds are what the modules of `harmonylib.exercises.kinds` declare: a new class in one of them, or in a new module
there, is a new kind.

Conventions
- Material is text and whole numbers, so that an exercise can be stored: `Exercise.as_data`, `from_data`.
- Levels are 1 (the usual families and keys, the middle strings, slow), 2 and 3 (all families and roots, fast).
- Same seed and level, same exercises.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import MISSING, fields
from importlib import import_module
from itertools import islice
from operator import itemgetter
from pkgutil import iter_modules

from harmonylib.errors import HarmonyError
from harmonylib.exercises import kinds
from harmonylib.exercises.base import MOST_DRAWS, REGISTRY, Exercise
from harmonylib.exercises.draws import LEVELS
from harmonylib.exercises.written import as_text, quoted
from harmonylib.guitar.neck import Neck

for _module in iter_modules(kinds.__path__):
    import_module(f"{kinds.__name__}.{_module.name}")

KINDS = {made.kind: made.about for made in sorted(REGISTRY.values(), key=lambda made: made.chapter)}
"""Every kind of exercise, in the order in which they are taught, and what it asks."""


def __getattr__(name: str) -> type[Exercise]:
    """A kind by its name, as in ``spell("Ebm7")``."""
    if name not in REGISTRY:
        raise AttributeError(f"there is no exercise called {name!r}: choose {', '.join(KINDS)}")
    return REGISTRY[name]


ENOUGH = 24
"""So many exercises are looked at for one with a new answer."""

_NECK = {item.name: item.default for item in fields(Neck)}


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
    own = {item.name: item for item in fields(made) if item.init and item.name != "neck"}
    settings = {name: material.pop(name) for name in list(material) if name in _NECK}
    neck = material.pop("neck", None)
    odd = [name for name in material if name not in own and not (name == "bars" and "first" in own)]
    if odd:
        raise HarmonyError(f"a {kind!r} exercise takes no {odd[0]}: give {', '.join(own)}")
    missing = [name for name, item in own.items() if item.default is MISSING and name not in material]
    if missing:
        raise HarmonyError(f"a {kind!r} exercise needs {', '.join(missing)}")
    if neck is not None and type(neck) is not Neck:
        raise HarmonyError(f"neck {quoted(neck)}: give a Neck")
    return made(**material, neck=neck or _neck(settings))


def _neck(settings: Mapping[str, object]) -> Neck:
    for name, value in settings.items():
        usual = type(_NECK[name])
        if type(value) not in ((int, float) if usual is float else (usual,)):
            raise HarmonyError(f"{name} {quoted(value)}: give a setting such as {_NECK[name]!r}")
    return Neck(**settings)  # type: ignore[arg-type]


def from_data(data: Mapping[str, object]) -> Exercise:
    """The exercise that `Exercise.as_data` wrote.

    >>> task = exercise("spell", chord="Ebm7")
    >>> task.as_data(), from_data(task.as_data()) == task
    ({'kind': 'spell', 'chord': 'Ebm7'}, True)
    """
    if not isinstance(data, Mapping) or not all(isinstance(name, str) for name in data):
        raise HarmonyError(
            f"{quoted(type(data).__name__)} is no exercise as data: give a dictionary of names and values"
        )
    material = dict(data)
    return exercise(material.pop("kind", ""), **material)  # type: ignore[arg-type]


def random_exercise(kind: str, seed: int = 0, level: int = 1) -> Exercise:
    """An exercise of a kind with material drawn by seed and level; it can always be solved.

    >>> random_exercise("spell", seed=1, level=2) == random_exercise("spell", seed=1, level=2)
    True
    """
    return _kind(kind).by_seed(f"{seed}", _level(level))


def exercise_set(kinds: Sequence[str] | str, count: int, seed: int = 0, level: int = 1) -> tuple[Exercise, ...]:
    """`count` exercises of some kinds in turn, no two alike.

    None has the answer of another as long as its kind has others to give: there are but four inversions.

    Raises `HarmonyError` when a kind has not so many at this level.

    >>> [task.kind for task in exercise_set(["spell", "drop"], 3, seed=5)]
    ['spell', 'drop', 'spell']
    """
    names = [kinds] if isinstance(kinds, str) else list(kinds)
    if not names or type(count) is not int or count < 0:
        raise HarmonyError(f"{quoted(count)} exercises of {len(names)} kinds: name one kind or more and a count from 0")
    made: dict[str, Exercise] = {}
    answers: Counter[str] = Counter()
    for number in range(count):
        kind = _kind(names[number % len(names)])
        drawn = (kind.by_seed(f"{seed} {number} {attempt}", _level(level)) for attempt in range(MOST_DRAWS))
        task = _rarest((task for task in drawn if task.question not in made), answers)
        if task is None:
            raise HarmonyError(f"level {level} has no {count} different exercises of kind {kind.kind!r}: ask for fewer")
        made[task.question] = task
        answers[as_text(task.solution())] += 1
    return tuple(made.values())


def _rarest(tasks: Iterator[Exercise], answers: Mapping[str, int]) -> Exercise | None:
    """The first exercise with an answer that is new, or of some the one whose answer was given least."""
    some = []
    for task in islice(tasks, ENOUGH):
        given = answers.get(as_text(task.solution()), 0)
        if not given:
            return task
        some.append((given, task))
    return min(some, key=itemgetter(0))[1] if some else None


def _kind(name: str) -> type[Exercise]:
    if not isinstance(name, str) or name not in REGISTRY:
        raise HarmonyError(f"{quoted(name)} is not a kind of exercise: choose {', '.join(KINDS)}")
    return REGISTRY[name]


def _level(level: int) -> int:
    if type(level) is not int or level not in LEVELS:
        raise HarmonyError(f"level {quoted(level)}: choose 1, 2 or 3")
    return level
