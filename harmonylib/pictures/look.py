"""How a class wants what it sees: large print, colour or black and white, upright or lying diagrams, what marks say.

Pictures, panels, work sheets, hand-outs and scores all ask here, so that nobody types it twice.

Conventions
- Sizes are points. A call goes before the class's file, ``[pictures]`` for diagrams and ``[paper]`` for the sheet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from harmonylib.errors import HarmonyError, shown
from harmonylib.settings import section, takes

PAPERS = ("a4", "us-letter")

LABELS = ("degree", "note", "finger")

SIZES = (9, 12, 14, 18)
"""Points of the smallest words: plain print, and three sizes of large print."""

CHOICES: Mapping[str, tuple[Any, ...]] = {
    "paper": PAPERS,
    "size": SIZES,
    "label": LABELS,
    "upright": (True, False),
    "colour": (True, False),
}
LOOKS = tuple(CHOICES)

PLACES = {"paper": "paper", "size": "paper", "colour": "pictures", "label": "pictures", "upright": "pictures"}
"""The section of the class's file that holds each setting."""


@dataclass(frozen=True)
class Look:
    """The look of what is printed; `size` is that of its smallest words, `label` what the marks say."""

    paper: str = PAPERS[0]
    size: int = 9
    label: str = "degree"
    upright: bool = True
    colour: bool = True

    def __post_init__(self) -> None:
        for name in CHOICES:
            _check(name, getattr(self, name))


def _checked(held: dict[str, Any]) -> None:
    for name, value in held.items():
        _check(name, value)


for _room in ("pictures", "paper"):
    takes(_room, {name: getattr(Look, name) for name, room in PLACES.items() if room == _room}, _checked)


def look(**given: Any) -> Look:
    """The look that a call asks for, the rest from the class's file; None stands for what is not given.

    Raises `HarmonyError` for a setting that is not known.

    >>> look(size=14, paper=None)
    Look(paper='a4', size=14, label='degree', upright=True, colour=True)
    """
    wanted = {name: value for name, value in given.items() if value is not None}
    for name in wanted:
        if name not in LOOKS:
            raise HarmonyError(f"{shown(name)} is not a setting of a hand-out: there are {', '.join(LOOKS)}")
    return Look(**{**section("pictures"), **section("paper"), **wanted})


def label_of(given: str = "") -> str:
    """What marks say: as a call asks, else as the class's file does; raises `HarmonyError` for what they cannot say.

    >>> label_of(), label_of("note")
    ('degree', 'note')
    """
    label = given or look().label
    if label not in LABELS:
        raise HarmonyError(f"{label!r} is not a label: choose {', '.join(LABELS)}")
    return label


def upright_row(given: bool | None = None) -> bool:
    """Whether rows of grips on the screen stand upright: as a call or the class's file asks; else they lie as the neck.

    >>> upright_row(), upright_row(True)
    (False, True)
    """
    return bool(section("pictures").get("upright", False)) if given is None else given


def left_handed() -> bool:
    """Whether the class's file says that its pictures are for a left-handed player."""
    return bool(section("neck").get("left_handed", False))


def _check(name: str, value: Any) -> None:
    choices = CHOICES[name]
    if not any(value == choice and type(value) is type(choice) for choice in choices):
        told = ", ".join(str(choice).lower() if isinstance(choice, bool) else str(choice) for choice in choices)
        raise HarmonyError(f"{name} {shown(value)} is not to be had here: choose {told}")
