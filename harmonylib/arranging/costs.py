"""What a chain of grips costs: the weights of taste, each with its reason, and what no hand and no ear is asked to do.

Conventions
- Costs are pure numbers that add up. Lengths are millimetres along the neck, times seconds, notes MIDI numbers.
- A *hand* is a named way to play: it changes some weights. What a teacher sets by value goes before it.

Sources: weights and limits are common practice, settings of taste. They agree with what players were seen to do: drop 2
on the upper strings, the melody on string 1 or 2, the hand sliding. The lowest places of narrow intervals stand in
arranging handbooks, which differ by a tone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from harmonylib.errors import HarmonyError, expect, shown, within

GRIP_COSTS = {
    # what             weight  a grip pays it for …
    "stretch": 0.04,  # ...... each millimetre of stretch beyond COMFORT_MM
    "open string": 1.5,  # ... each open string: it cannot be damped or slid by the hand that holds the chord
    "skipped string": 0.8,  #  each string inside the grip that must be damped
    "high fret": 0.6,  # ..... each fret its highest note lies beyond COMFORT_FRET, where the body is in the way
    "melody string": 4.0,  # . each string that the melody lies below string 2: it sounds buried there
    "drop 3": 1.0,  # ........ being a drop 3: drop 2 is the standard form
    "minor ninth": 1.5,  # ... each pair of voices a minor ninth apart, and a semitone under the melody: it grinds
    "left out": 1.0,  # ...... a form that leaves out extensions the symbol asks for
    "slash bass": 4.0,  # .... another lowest note than the bass the symbol asks for
    "closing": 20.0,  # ...... ending the tune on neither root nor fifth: F6 over D sounds as D minor
    "single": 1000.0,  # ..... a single note where a chord was wanted: only when no hand gets there
}
STEP_COSTS = {
    # what             weight  a step from grip to grip pays it for …
    "travel": 0.02,  # ....... each millimetre the hand moves along the neck: players slide
    "voices": 0.2,  # ........ each semitone that each lower voice moves
    "string set": 1.5,  # .... a change of strings
}
HANDS: dict[str, tuple[str, dict[str, float]]] = {
    # hand            what it is for, and the weights it changes
    "sliding": ("slides along one string set or two, as players do", {}),
    "one set": ("stays on one string set wherever it can: for those who learn one set at a time", {"string set": 8.0}),
    "in position": ("stays where it is and changes strings: for slow hands and fast tunes", {"travel": 0.12}),
}
COMFORT_MM, COMFORT_FRET = 70.0, 12
MELODY_STRING = 2
"""The lowest string on which a melody sings out."""
LOWEST_CLEAR = {1: 52, 2: 51, 3: 48, 4: 46, 5: 46, 6: 47, 8: 43, 9: 41}
"""Semitones between the two lowest notes of a grip: the lowest note (MIDI) under which they blur into mud."""
TRAVEL_MM_S = 800.0
"""The fastest the hand travels to a chord (common practice)."""
SHIFT_MM = 40.0
"""A move this small needs no time of its own."""


class Weights(NamedTuple):
    """The weights in force: what a grip pays by itself and what a step pays, by name."""

    grip: tuple[tuple[str, float], ...] = tuple(GRIP_COSTS.items())
    step: tuple[tuple[str, float], ...] = tuple(STEP_COSTS.items())


def weights(hand: str = "sliding", costs: Mapping[str, float] | None = None) -> Weights:
    """The weights of a hand with some of them set by value; raises `HarmonyError` for a name or number there is not.

    >>> dict(weights("in position").step)["travel"], dict(weights(costs={"travel": 0.05}).step)["travel"]
    (0.12, 0.05)
    """
    if expect(str, hand, f"a hand: choose {', '.join(HANDS)}") not in HANDS:
        raise HarmonyError(f"{shown(hand)} is not a hand: choose {', '.join(HANDS)}")
    given = {} if costs is None else costs
    if not isinstance(given, Mapping):
        raise HarmonyError(f"{shown(costs)} is not a table of costs: write {{'travel': 0.05}}")
    known = [*GRIP_COSTS, *STEP_COSTS]
    for name, value in given.items():
        if name not in known:
            raise HarmonyError(f"{shown(name)} is not a cost: choose {', '.join(known)}")
        within(value, 0, 10_000, f"cost {name} {{}}: give a number from 0 to 10,000")
    changed = {**HANDS[hand][1], **{name: float(value) for name, value in given.items()}}
    grip, step = ({**table, **{n: v for n, v in changed.items() if n in table}} for table in (GRIP_COSTS, STEP_COSTS))
    return Weights(tuple(grip.items()), tuple(step.items()))


def blurred(notes: Sequence[int]) -> bool:
    """Whether the two lowest notes of a grip, MIDI numbers from the bottom, lie too low for so narrow an interval.

    >>> blurred((43, 47, 52, 62)), blurred((48, 52, 57, 67)), blurred((43, 50, 59, 65))
    (True, False, False)
    """
    return len(notes) > 2 and notes[0] < LOWEST_CLEAR.get(notes[1] - notes[0], 0)


@lru_cache(maxsize=4096)
def grinding(notes: tuple[int, ...]) -> int:
    """How many pairs of voices grind: a minor ninth anywhere, a semitone under the top.

    >>> grinding((47, 52, 55, 60)), grinding((48, 55, 59, 64))
    (1, 0)
    """
    pairs = sum(high - low == 13 for place, low in enumerate(notes) for high in notes[place + 1 :])
    return pairs + sum(notes[-1] - low == 1 for low in notes[:-1])
