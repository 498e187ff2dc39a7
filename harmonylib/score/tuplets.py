"""Tuplets: which moments of a bar need one, how long it is, and how many notes stand in the time of how many.

Conventions
- Lengths are quarter notes (`Fraction`); a moment that halving the beat never reaches lies in a tuplet.

Source: how a bar is divided is common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from harmonylib.tunes.metre import Grid


class Group(NamedTuple):
    """A tuplet: the time it takes, and how many notes are written in the time of how many."""

    start: Fraction
    end: Fraction
    ratio: tuple[int, int]


def tuplet_groups(points: Sequence[Fraction], bars: Grid) -> list[Group]:
    """The tuplets a bar needs: one round every moment that halving the beat never reaches."""
    groups: list[Group] = []
    for point in points:
        if not _binary(point) and (not groups or point >= groups[-1].end):
            groups.append(_group(point, points, bars))
    return groups


def _binary(number: Fraction) -> bool:
    return not number.denominator & (number.denominator - 1)


def _group(point: Fraction, points: Sequence[Fraction], bars: Grid) -> Group:
    """The tuplet round a moment: the shortest of half a beat, a beat, two beats and the bar that no note crosses.

    Two beats that make half a bar are taken before two others.
    """
    start, end = bars.beat(point)
    half = start + (point - start) // Fraction(1, 2) * Fraction(1, 2)
    index = bars.beats.index(start)
    two, others = bars.beats[index // 2 * 2 :][:3], bars.beats[index : index + 3]
    spans = [(half, half + Fraction(1, 2)), (start, end), (two[0], two[-1]), (others[0], others[-1])]
    for a, b in (*spans, (bars.beats[0], bars.beats[-1])):
        inside = [p for p in points if a <= p <= b]
        closed = (a in points or a < points[0]) and (b in points or b > points[-1])
        parts = _parts(a, b, inside)
        even = all(((p - a) / (b - a) * parts).denominator == 1 for p in inside)
        if closed and b <= max(end, points[-1]) and (even or b - a <= end - start):
            return Group(a, b, (parts, _normal(b - a, parts)))
    inside = [p for p in points if start <= p <= end]
    parts = _parts(start, end, inside)
    return Group(start, end, (parts, _normal(end - start, parts)))


def _parts(start: Fraction, end: Fraction, points: Sequence[Fraction]) -> int:
    """How many equal notes a tuplet has: the odd number the points ask for."""
    parts = lcm(*(((point - start) / (end - start)).denominator for point in points))
    return parts // (parts & -parts)


def _normal(length: Fraction, parts: int) -> int:
    """How many plain notes take the tuplet's time: at most as many as it has, unless the time is itself uneven."""
    normal = length.numerator // (length.numerator & -length.numerator)
    while normal * 2 <= parts:
        normal *= 2
    return normal
