"""A tune with its form written out: every repeat, ending and return as bars of their own.

So one time through a passage can be treated otherwise than another. Bars are numbered anew; the signs are gone.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from harmonylib.tunes.form import played_bars, runs
from harmonylib.tunes.tune import Change, Note, Tune


class WrittenOut(NamedTuple):
    """The tune written out, and for each of its notes the number of the note it was."""

    tune: Tune
    was: tuple[int, ...]


def written_out(tune: Tune) -> WrittenOut:
    """Every bar as often as it is played; a note that a return cuts off ends with its bar.

    >>> from harmonylib.tunes.reading import read_text
    >>> made = written_out(read_text('M:2/4\\nL:1/4\\nK:C\\n|:"C"E2|[1"F"A2:|[2"G"B2|'))
    >>> [str(note.pitch) for note in made.tune.notes], made.was, len(made.tune.bars)
    (['E4', 'A4', 'E4', 'B4'], (0, 1, 0, 2), 4)
    """
    notes: list[Note] = []
    was: list[int] = []
    changes: list[Change] = []
    played = runs(tune)
    for run in played:
        start, end = run.bars[0].onset, run.bars[-1].end
        for number, note in enumerate(tune.notes):
            if start <= note.onset < end:
                length = min(note.end, end) - note.onset
                notes.append(replace(note, onset=note.onset + run.later, duration=length))
                was.append(number)
        opening = tune.change_at(start)
        inside = [change for change in tune.changes if start <= change.onset < end]
        if opening and not (inside and inside[0].onset == start):
            inside.insert(0, replace(opening, onset=start))
        changes += [replace(change, onset=change.onset + run.later) for change in inside]
    first = tune.bars[0].number
    bars = tuple(
        replace(bar, number=first + place, repeat_start=False, repeat_end=False, ending="", marks=())
        for place, bar in enumerate(played_bars(played))
    )
    return WrittenOut(replace(tune, notes=tuple(notes), changes=tuple(changes), bars=bars), tuple(was))
