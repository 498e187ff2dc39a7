"""The kinds of hand-out, by name.

>>> handout("cycle", "Cm7")
Cycle of Cm7: 20 diagrams in 5 parts
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from harmonylib.answering.stages import STAGES, given
from harmonylib.classroom.handouts.fills import fill_sections
from harmonylib.classroom.handouts.setting import Handout
from harmonylib.classroom.handouts.tunes import tune_sections
from harmonylib.classroom.handouts.vocabulary import LESSON, cycle, family, scale, shapes
from harmonylib.errors import HarmonyError, shown
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.passing_chords import sixth_of
from harmonylib.pictures.look import LOOKS, SIZES, Look, look
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import FAMILIES
from harmonylib.tunes.reading import read
from harmonylib.tunes.tune import Tune

KINDS = {
    # kind     what it shows
    "shapes": "root positions of the chosen families by string set",
    "cycle": "the inversions of a chord on every string set, or of a family through twelve roots",
    "scale": "the scale of eight, a sixth chord and its diminished seventh in turns, up each string set",
    "tune": "a tune in its stages, with diagrams over the bars",
    "fills": "the calls of a tune and their answers",
}
OPTIONS = {"shapes": ("families", "root"), "cycle": ("spread",), "scale": (), "tune": ("stages",), "fills": ()}
"""What each kind may be given besides its look; a tune and its fills take the settings of an arrangement too."""


def handout(
    kind: str, what: Any = None, *, neck: Neck | None = None, left_handed: bool | None = None, **options: Any
) -> Handout:
    """A hand-out of one of `KINDS`, ready to show, print or write.

    `what` is the chord or family of a cycle, the root of a scale, the tune (or its file) of a tune and its fills.
    Options of the look are those of `Look`; shapes take `families` and `root`, a cycle `spread`, a tune `stages` and,
    as fills do, whatever `arrange` takes. Raises `HarmonyError` for a kind or option that is not known.

    >>> handout("shapes", families=["m7b5"], root="B").sections[0].cells[0].foot
    'x2323x'
    """
    if kind not in KINDS:
        raise HarmonyError(f"{shown(kind)} is not a kind of hand-out: choose {', '.join(KINDS)}")
    odd = [name for name in options if name not in (*LOOKS, *OPTIONS[kind])]
    if odd and kind not in ("tune", "fills"):
        known = ", ".join((*OPTIONS[kind], *LOOKS))
        raise HarmonyError(f"{shown(odd[0])} is not an option of a hand-out of {kind!r}: there are {known}")
    how = look(**{name: options.pop(name) for name in LOOKS if name in options})
    neck = given().neck if neck is None else neck
    if left_handed is not None:
        neck = replace(neck, left_handed=left_handed)
    make = partial(_MAKERS[kind], what, neck, **options)
    return replace(make(how), on_wall=lambda: make(replace(how, size=max(SIZES))))


def _shapes(what: Any, neck: Neck, how: Look, families: Any = LESSON, root: str = "C") -> Handout:
    chosen = what or families
    return Handout(f"Shapes on {Chord.parse(root)}", how, shapes(neck, how, chosen, root))


def _cycle(what: Any, neck: Neck, how: Look, spread: str = "drop 2") -> Handout:
    chord = str(what or "Cmaj7")
    asked = family(chord) if chord.replace("b", "♭") in FAMILIES else Chord.parse(chord)
    return Handout(f"Cycle of {asked}", how, cycle(neck, how, chord, spread))


def _tune(what: Any, neck: Neck, how: Look, stages: Any = tuple(STAGES), **settings: object) -> Handout:
    tune = _read(what)
    return Handout(tune.title, how, tune_sections(tune, neck, how, stages, **settings))


def _fills(what: Any, neck: Neck, how: Look, **settings: object) -> Handout:
    tune = _read(what)
    return Handout(f"{tune.title}: fills", how, fill_sections(tune, neck, how, **settings))


def _read(what: Any) -> Tune:
    if what is None:
        raise HarmonyError("a hand-out of a tune needs the tune or its file")
    return what if isinstance(what, Tune) else read(Path(what))


def _scale(what: Any, neck: Neck, how: Look) -> Handout:
    root = str(what or "C")
    sixth = sixth_of(Chord.parse(root))
    minor = " minor" if sixth.kind.startswith("m") else ""
    return Handout(f"Scale of eight on {sixth.root}{minor}", how, scale(neck, how, root))


_MAKERS: dict[str, Callable[..., Handout]] = {
    "shapes": _shapes,
    "cycle": _cycle,
    "scale": _scale,
    "tune": _tune,
    "fills": _fills,
}
