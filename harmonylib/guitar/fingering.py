"""Fingering: which finger holds which note of a grip, or that four fingers cannot hold it.

Conventions
- Fingers are 1 (index) to 4 (little finger); 0 stands for no finger.
- A finger may lie flat across strings at one fret, a *bar*, when no lower note lies under it.

Source: the rules for fingers are common practice; their weights are a judgement: grips come out as they are taught.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations, pairwise, product

from harmonylib.guitar.grips import Frets

CLOSING, BAR, MIDDLE_BAR = 0.3, 1.0, 1.0
"""What a fret less than a finger's own costs, a fret more being 1; a bar; how much more one of the middle finger."""
SKIPPED, ASTRIDE, CROWDED = 0.4, 0.3, 0.6
"""A finger left out between two at one fret; two of the three outer fingers four strings apart; four at one fret."""


def fingering(frets: Frets) -> tuple[int, ...] | None:
    """The most natural fingers for these frets, one entry a string; None when four fingers do not suffice.

    Fingers go up with the frets; one finger may bar strings at one fret when no lower note lies under the bar.

    >>> from harmonylib.guitar.grips import Grip
    >>> fingering(Grip.parse("x3535x").frets)
    (0, 1, 3, 2, 4, 0)
    >>> fingering(Grip.parse("8x787x").frets), fingering(Grip.parse("3x333x").frets)
    ((2, 0, 1, 3, 1, 0), (2, 0, 3, 3, 3, 0))
    """
    pressed = [fret for fret in frets if fret]
    low = min(pressed, default=1)
    return _fingering(tuple(fret and fret - low + 1 for fret in frets))


@lru_cache(maxsize=16384)
def _fingering(frets: Frets) -> tuple[int, ...] | None:
    by_fret: dict[int, list[int]] = {}
    for place, fret in enumerate(frets):
        if fret:
            by_fret.setdefault(fret, []).append(place)
    ways = [_hold(frets, fret, places) for fret, places in sorted(by_fret.items())]
    best: tuple[float, tuple[int, ...]] | None = None
    for way in product(*ways):
        groups = [(fret, group) for fret, split in zip(sorted(by_fret), way, strict=True) for group in split]
        for chosen in combinations((1, 2, 3, 4), len(groups)):
            fingers = [0] * len(frets)
            for finger, (_, group) in zip(chosen, groups, strict=True):
                for place in group:
                    fingers[place] = finger
            strain = _strain(frets, list(zip(chosen, groups, strict=True)))
            if best is None or strain <= best[0]:  # a tie goes to the longer fingers' side
                best = (strain, tuple(fingers))
    return best[1] if best else None


def _strain(frets: Frets, held: list[tuple[int, tuple[int, list[int]]]]) -> float:
    """How hard it is to hold these fingers, each with its fret and its strings."""
    strain = 0.0
    for finger, (fret, group) in held:
        strain += fret - finger if fret > finger else CLOSING * (finger - fret)  # spreading costs more than closing
        if len(group) > 1:  # a bar is work, more when it must damp a string under it
            strain += BAR + sum(f is None for f in frets[group[0] : group[-1]]) + MIDDLE_BAR * (finger == 2)
    for (finger, (fret, group)), (after, (other, strings)) in pairwise(held):
        if fret == other and after > finger + 1:
            strain += SKIPPED
        if after == finger + 1 > 2 and min(abs(one - two) for one in group for two in strings) > 3:
            strain += ASTRIDE
    return strain + CROWDED * (len(held) == 4 and held[0][1][0] == held[-1][1][0])


def _hold(frets: Frets, fret: int, places: list[int]) -> list[list[list[int]]]:
    """Ways to cover the notes of one fret, low string first: each a list of groups that one finger takes."""
    ways = []
    for cuts in product((True, False), repeat=len(places) - 1):
        groups = [[places[0]]]
        for cut, place in zip(cuts, places[1:], strict=True):
            groups.append([place]) if cut else groups[-1].append(place)
        lower = [f for group in groups for f in frets[group[0] : group[-1]] if f is not None and f < fret]
        if not lower:
            ways.append(groups)
    return ways
