"""Twins: notes at the same place of bars that are the same, with the same chords under them.

Bars that come again are treated alike: which notes carry chords, which grips they get, and a pin for all of them.
"""

from __future__ import annotations

from itertools import groupby

from harmonylib.tunes.tune import Tune


def twins(tune: Tune) -> tuple[tuple[int, ...], ...]:
    """Every note with its twins, by number: each note of the tune stands in one group, in written order.

    >>> from harmonylib.tunes.reading import read_text
    >>> twins(read_text('M:2/4\\nL:1/4\\nK:C\\n"C"E G|"F"A2|"C"E G|'))
    ((0, 3), (1, 4), (2,))
    """
    found: dict[object, list[int]] = {}
    changes = tune.note_changes
    for _, numbers in groupby(range(len(tune.notes)), key=lambda index: tune.note_bars[index].onset):
        notes = list(numbers)
        bar = tune.note_bars[notes[0]]
        content = tuple(
            (note.onset - bar.onset, note.duration, note.pitch.midi, change.chord if change else None)
            for note, change in ((tune.notes[index], changes[index]) for index in notes)
        )
        for place, index in enumerate(notes):
            found.setdefault((bar.metre, place, content), []).append(index)
    return tuple(tuple(group) for group in found.values())
