"""Shapes of one chord on the neck: by inversion, spread and strings, and how many a hand can hold.

Conventions
- A shape out of reach is left out; an empty row says so.
- String sets are shown as their numbers run together, lowest string first.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.row import Row
from harmonylib.lessons.said import section
from harmonylib.lessons.symbols import chord_of
from harmonylib.lessons.table import Table, table
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import FAMILIES, PRACTICE_ORDER
from harmonylib.theory.voicings import INVERSIONS, SPREADS, Voicing, inversions

DROPS = tuple(name for name in SPREADS if name != "close")
LEARNT_FIRST = (("drop 3", 6), ("drop 2", 5), ("drop 2", 4))
"""Spread and string of the root: the shapes that are learnt first (common practice)."""


@section
def shapes(chord: Chord | str, neck: Neck | None = None, inversion: str = "", spread: str = "") -> Row:
    """Every shape of a chord that a hand can hold: of one inversion or of all, in one spread or in all but close.

    >>> shapes("Cmaj7", Neck(), "root position", "drop 2").grips[0].string_set
    '4321'
    >>> shapes("Cmaj7", Neck(), "upside down")
    'upside down' is not an inversion: choose root position, first inversion, second inversion, third inversion.
    """
    chord, neck = chord_of(chord), neck or Neck()
    if inversion and inversion not in INVERSIONS:
        raise HarmonyError(f"{inversion!r} is not an inversion: choose {', '.join(INVERSIONS)}")
    found = [step for step in held(chord, neck, (spread,) if spread else DROPS) if _turned(step, inversion)]
    captions = tuple(f"{voicing.spread}, strings {grip.string_set}" for voicing, grip in found)
    title = f"{chord}, a {chord.family}" + (f", {inversion}" if inversion else "")
    return Row(neck, tuple(found), captions, title, remarks=chord.remarks)


def held(chord: Chord, neck: Neck, spreads: Sequence[str]) -> list[tuple[Voicing, Grip]]:
    """Every inversion of a chord on every string set of some spreads, as far as a hand can hold it."""
    return [
        step
        for name in spreads
        for strings in neck.string_sets(name)
        for step in neck.cycle(inversions(chord, name)[0].step(-4), strings)
    ]


def _turned(step: tuple[Voicing, Grip], inversion: str) -> bool:
    """Whether a shape is that inversion; a ninth chord without its root has none of the names."""
    return not inversion or step[0].degrees[0] == step[0].stack[INVERSIONS.index(inversion)]


@section
def learnt_first(chord: Chord | str, neck: Neck | None = None) -> Row:
    """The shapes learnt first: root on string 6 in drop 3, on strings 5 and 4 in drop 2.

    >>> [str(grip) for grip in learnt_first("G7", Neck()).grips]
    ['3x343x', 'x-10-12-10-12-x', 'xx5767']
    """
    chord, neck = chord_of(chord), neck or Neck()
    found = [step for place in LEARNT_FIRST for step in _rooted(chord, neck, place)]
    captions = tuple(f"root on string {grip.strings[0]}, {voicing.spread}" for voicing, grip in found)
    return Row(neck, tuple(found), captions, f"{chord}: the shapes learnt first", remarks=chord.remarks)


def _rooted(chord: Chord, neck: Neck, place: tuple[str, int]) -> list[tuple[Voicing, Grip]]:
    """Root positions in one spread with the root on one string."""
    spread, string = place
    lying = held(chord, neck, [spread])
    return [(v, grip) for v, grip in lying if grip.strings[0] == string and v.degrees[0] == v.stack[0]]


@section
def root_strings(chord: Chord | str, neck: Neck | None = None) -> Table:
    """Which string holds the root: a line for each spread and string set, a column for each inversion.

    >>> root_strings("C7", Neck()).rows[-1]
    ('drop 2 and 4', '6532', '6', '2', '5', '3')
    """
    chord, neck = chord_of(chord), neck or Neck()
    rows = []
    for spread, strings in string_sets(neck):
        places = [strings[v.degrees.index(v.stack[0])] for v in inversions(chord, spread)]
        rows.append((spread, "".join(map(str, strings)), *places))
    return table("spread | strings | root position | first | second | third", rows, remarks=chord.remarks)


def string_sets(neck: Neck) -> list[tuple[str, tuple[int, ...]]]:
    """Every spread but close with each of its string sets."""
    return [(spread, strings) for spread in DROPS for strings in neck.string_sets(spread)]


@section
def twelve_roots(chord: Chord | str, neck: Neck | None = None) -> Table:
    """The chord's family on twelve roots in the order of fourths: its shapes learnt first, each at its lowest place.

    >>> twelve_roots("Cmaj7", Neck()).rows[0]
    ('C', '8x998x', 'x3545x', 'x-x-10-12-12-12')
    """
    chord, neck = chord_of(chord), neck or Neck()
    rows = []
    for root in PRACTICE_ORDER:
        moved = chord_of(f"{root}{chord.suffix}")
        found = [_rooted(moved, neck, place) for place in LEARNT_FIRST]
        rows.append((root, *(str(steps[0][1]) if steps else "–" for steps in found)))
    head = "root | string 6, drop 3 | string 5, drop 2 | string 4, drop 2"
    return table(head, rows, remarks=chord.remarks)


@section
def in_reach(neck: Neck | None = None) -> Table:
    """Of all shapes of a family in a spread, on twelve roots and every string set, how many a hand can hold.

    >>> in_reach(Neck()).rows[0]
    ('maj7', '136 of 144', '92 of 96', '88 of 96')
    """
    return _counted(neck or Neck(), 4, lambda turns: turns)


@section
def complete_cycles(neck: Neck | None = None) -> Table:
    """Of all cycles of a family in a spread, on twelve roots and every string set, how many lie in reach whole.

    >>> complete_cycles(Neck()).rows[0]
    ('maj7', '28 of 36', '20 of 24', '16 of 24')
    """
    return _counted(neck or Neck(), 1, lambda turns: turns == 4)


def _counted(neck: Neck, each: int, worth: Callable[[int], int]) -> Table:
    """For each family and spread, what its cycles are worth by the shapes in reach, of the most it could be."""
    rows = []
    for kind in FAMILIES:
        cells = []
        for spread in DROPS:
            starts = [inversions(root + kind, spread)[0] for root in PRACTICE_ORDER]
            cycles = [neck.cycle(start, on) for start in starts for on in neck.string_sets(spread)]
            cells.append(f"{sum(worth(len(turns)) for turns in cycles)} of {each * len(cycles)}")
        rows.append((kind, *cells))
    return table(f"family | {' | '.join(DROPS)}", rows)
