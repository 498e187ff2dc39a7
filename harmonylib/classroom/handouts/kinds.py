"""The kinds of hand-out, by name.

>>> handout("cycle", "Cm7")
Cycle of Cm7: 20 diagrams in 5 parts
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from harmonylib.answering.stages import STAGES, given
from harmonylib.classroom.handouts.look import LOOKS, Look, look
from harmonylib.classroom.handouts.setting import Handout
from harmonylib.classroom.handouts.tunes import tune_sections
from harmonylib.classroom.handouts.vocabulary import LESSON, cycle, shapes
from harmonylib.errors import HarmonyError, shown
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.tunes.reading import read
from harmonylib.tunes.tune import Tune

KINDS = {
    # kind     what it shows
    "shapes": "root positions of the chosen families by string set",
    "cycle": "the inversions of a chord on every string set, or of a family through twelve roots",
    "tune": "a tune in its stages, with diagrams over the bars",
}
OPTIONS = {"shapes": ("families", "root"), "cycle": ("spread",), "tune": ("stages",)}
"""What each kind may be given besides its look; a tune takes the settings of an arrangement too."""


def handout(
    kind: str, what: Any = None, *, neck: Neck | None = None, left_handed: bool | None = None, **options: Any
) -> Handout:
    """A hand-out of one of `KINDS`, ready to show, print or write.

    `what` is the chord or family of a cycle, the tune (or its file) of a tune. Options of the look are those of `Look`;
    shapes take `families` and `root`, a cycle `spread`, a tune `stages` and whatever `arrange` takes. Raises
    `HarmonyError` for a kind or option that is not known.

    >>> handout("shapes", families=["m7b5"], root="B").sections[0].cells[0].foot
    'x2323x'
    """
    if kind not in KINDS:
        raise HarmonyError(f"{shown(kind)} is not a kind of hand-out: choose {', '.join(KINDS)}")
    odd = [name for name in options if name not in (*LOOKS, *OPTIONS[kind])]
    if odd and kind != "tune":
        known = ", ".join((*OPTIONS[kind], *LOOKS))
        raise HarmonyError(f"{shown(odd[0])} is not an option of a hand-out of {kind!r}: there are {known}")
    how = look(**{name: options.pop(name) for name in LOOKS if name in options})
    neck = given().neck if neck is None else neck
    if left_handed is not None:
        neck = replace(neck, left_handed=left_handed)
    return _MAKERS[kind](what, neck, how, **options)


def _shapes(what: Any, neck: Neck, how: Look, families: Any = LESSON, root: str = "C") -> Handout:
    chosen = what or families
    return Handout(f"Shapes on {Chord.parse(root)}", how, shapes(neck, how, chosen, root))


def _cycle(what: Any, neck: Neck, how: Look, spread: str = "drop 2") -> Handout:
    chord = str(what or "Cmaj7")
    return Handout(f"Cycle of {chord}", how, cycle(neck, how, chord, spread))


def _tune(what: Any, neck: Neck, how: Look, stages: Any = tuple(STAGES), **settings: object) -> Handout:
    if what is None:
        raise HarmonyError("a hand-out of a tune needs the tune or its file")
    tune = what if isinstance(what, Tune) else read(Path(what))
    return Handout(tune.title, how, tune_sections(tune, neck, how, stages, **settings))


_MAKERS: dict[str, Callable[..., Handout]] = {"shapes": _shapes, "cycle": _cycle, "tune": _tune}
