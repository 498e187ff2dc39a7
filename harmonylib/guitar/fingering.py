"""Fingering: which finger holds which note of a grip, or that four fingers cannot hold it.

Conventions
- Fingers are 1 (index) to 4 (little finger); 0 stands for no finger.
- A finger may lie flat across strings at one fret, a *bar*, when no lower note lies under it.

Source: the rules for fingers are common practice.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations, product

from harmonylib.guitar.grips import Frets


def fingering(frets: Frets) -> tuple[int, ...] | None:
    """The most natural fingers for these frets, one entry a string; None when four fingers do not suffice.

    Fingers go up with the frets; one finger may bar strings at one fret when no lower note lies under the bar.

    >>> from harmonylib.guitar.grips import Grip
    >>> fingering(Grip.parse("x3535x").frets)
    (0, 1, 3, 2, 4, 0)
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
            strain = 0.0
            for finger, (fret, group) in zip(chosen, groups, strict=True):
                strain += fret - finger if fret > finger else 0.3 * (finger - fret)  # spreading costs more than closing
                if len(group) > 1:  # a bar is work, more when it must damp a string under it
                    strain += 1.0 + sum(f is None for f in frets[group[0] : group[-1]])
                for place in group:
                    fingers[place] = finger
            if best is None or strain <= best[0]:  # a tie goes to the longer fingers' side
                best = (strain, tuple(fingers))
    return best[1] if best else None


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
