"""Which bars of a tune are meant: a section by its name, bar numbers in words, or numbers.

Conventions
- A section opens at the bar that carries its name and ends where the next one opens. Names are compared without regard
  to capitals; where a tune has several sections of one name, the first is meant.
- Bars are meant by the numbers on the sheet; a pick-up is bar 0.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

from harmonylib.errors import HarmonyError, shown, whole
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import Change, Note, Tune

WhichBars = str | int | tuple[int, int] | None
"""A section or numbers in words, as in ``"B"`` ``"5"`` ``"5-8"``; a number; first and last number; None: every bar."""


def bar_range(tune: Tune, bars: WhichBars = None, first: WhichBars = None, last: int | None = None) -> range:
    """The places in `tune.bars` of the bars that are meant, by `bars` or by `first` and `last` (None: to the end).

    `first` alone may be anything that `bars` may be, but a number there begins a stretch that goes on to the end.
    Raises `HarmonyError` for a section or numbers the tune has not.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('L:1/4\\nK:C\\nP:A\\n"C"C4|D4|\\nP:B\\n"G"G4|F4|E4|')
    >>> bar_range(tune, "B"), bar_range(tune, "2-3"), bar_range(tune, 5), bar_range(tune, first=4), bar_range(tune)
    (range(2, 5), range(1, 3), range(4, 5), range(3, 5), range(0, 5))
    >>> bar_range(tune, "C")
    Traceback (most recent call last):
    harmonylib.errors.HarmonyError: 'C' is no section of this tune: it has sections A, B and bars 1 to 5
    """
    if bars is not None and (first is not None or last is not None):
        raise HarmonyError("which bars is said twice: give bars, or first and last")
    if last is None and isinstance(first, str | tuple | list):
        bars, first = first, None
    numbers = [bar.number for bar in tune.bars]
    if isinstance(bars, str):
        section = _section(tune, bars)
        if section:
            return section
        low, high = _in_words(tune, bars)
    elif bars is not None:
        low, high = _pair(bars)
    else:
        low = numbers[0] if first is None else whole(first, "the number of a bar")
        high = numbers[-1] if last is None else whole(last, "the number of a bar")
    chosen = [index for index, number in enumerate(numbers) if low <= number <= high]
    if low > high and numbers[0] <= high and low <= numbers[-1]:
        raise HarmonyError(f"bars {shown(low)} to {shown(high)}: give the lower number first")
    if not chosen or low < numbers[0] or high > numbers[-1]:
        raise HarmonyError(f"bars {shown(low)} to {shown(high)}: the tune has bars {numbers[0]} to {numbers[-1]}")
    return range(chosen[0], chosen[-1] + 1)


def bars_meant(tune: Tune, bars: WhichBars = None, first: WhichBars = None, last: int | None = None) -> tuple[Bar, ...]:
    """The bars that are meant, at least one; parameters and errors are those of `bar_range`."""
    chosen = bar_range(tune, bars, first, last)
    return tune.bars[chosen[0] : chosen[-1] + 1]


def sections(tune: Tune) -> dict[str, range]:
    """The sections of a tune by name, each with the places of its bars; of several with one name, the first."""
    opening = [index for index, bar in enumerate(tune.bars) if bar.section]
    found: dict[str, range] = {}
    for start, stop in zip(opening, [*opening, len(tune.bars)][1:], strict=True):
        found.setdefault(tune.bars[start].section, range(start, stop))
    return found


def excerpt(tune: Tune, bars: WhichBars) -> Tune:
    """The tune cut down to some of its bars, which keep their numbers; time counts from the first of them.

    A note that starts before is left out, one that lasts beyond ends with the last bar, and the chord that sounds at
    the start stands there. Raises `HarmonyError` as `bar_range` does, and for bars without notes.

    >>> from harmonylib.tunes.reading import read_text
    >>> cut = excerpt(read_text('L:1/4\\nK:C\\n"C"C4|D4|"G"G4|'), 2)
    >>> [str(note.pitch) for note in cut.notes], cut.changes[0].chord, cut.where(Fraction(0))
    (['D4'], C, 'bar 2, beat 1')
    """
    inside = bars_meant(tune, bars)
    start, end = inside[0].onset, inside[-1].end
    notes = [
        Note(note.pitch, note.onset - start, min(note.end, end) - note.onset)
        for note in tune.notes
        if start <= note.onset < end
    ]
    if not notes:
        raise HarmonyError(f"bars {inside[0].number} to {inside[-1].number} of {tune.title!r} hold no notes")
    before = [change for change in tune.changes if change.onset <= start][-1:]
    sounding = [Change(Fraction(0), change.chord) for change in before]
    later = [Change(change.onset - start, change.chord) for change in tune.changes if start < change.onset < end]
    kept = tuple(replace(bar, onset=bar.onset - start) for bar in inside)
    return replace(tune, notes=tuple(notes), changes=(*sounding, *later), bars=kept)


def _section(tune: Tune, name: str) -> range | None:
    wanted = " ".join(name.split()).casefold()
    return next((span for section, span in sections(tune).items() if section.casefold() == wanted), None)


def _in_words(tune: Tune, text: str) -> tuple[int, int]:
    numbers = re.fullmatch(r"\s*(\d{1,6})\s*(?:(?:-|–|to)\s*(\d{1,6})\s*)?", text)
    if not numbers:
        known = ", ".join(sections(tune))
        has = f"it has sections {known} and" if known else "it has no named sections, only"
        low, high = tune.bars[0].number, tune.bars[-1].number
        raise HarmonyError(f"{shown(text)} is no section of this tune: {has} bars {low} to {high}")
    return int(numbers[1]), int(numbers[2] or numbers[1])


def _pair(bars: object) -> tuple[int, int]:
    pair = tuple(bars) if isinstance(bars, tuple | list) else (bars, bars)
    if len(pair) != 2:
        raise HarmonyError(f"{shown(bars)} names no bars: write a section, as in 'B', or first and last, as in (5, 8)")
    return whole(pair[0], "the number of a bar"), whole(pair[1], "the number of a bar")
