"""The test of the melody: for every note its degree in the chord, or what a foreign note does.

Conventions
- A note is tested against the chord that sounds at its onset.
- A step is one or two semitones; anything wider is a leap.

Sources: the names of non-chord tones are standard terms of harmony; the order in which they are tried is ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harmonylib.errors import expect
from harmonylib.theory.chords import Chord
from harmonylib.theory.tones import degree_of
from harmonylib.tunes.tune import Note, Tune

ROLES = {
    "suspension": "held over from the chord before, it falls by a step",
    "anticipation": "it belongs to the chord that comes next",
    "passing note": "it fills the way between two notes, step by step in one direction",
    "neighbour note": "it steps away from a note and back to it",
    "approach from below": "it leads up by a step into the note that follows",
    "approach from above": "it leads down by a step into the note that follows",
    "escape note": "reached by a step, it leaves by a leap",
    "free note": "it is reached and left by leaps",
}


@dataclass(frozen=True, slots=True)
class Tested:
    """A melody note, the chord under it, and the verdict: a degree of the chord, or the role of a foreign note."""

    note: Note
    chord: Chord | None
    degree: str | None
    role: str | None


def examine(tune: Tune) -> tuple[Tested, ...]:
    """Every melody note tested against its chord.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"C"C D E F | "G7"G4 |]')
    >>> [(str(t.note.pitch), t.degree, t.role) for t in examine(tune)][:2]
    [('C4', '1', None), ('D4', None, 'passing note')]
    """
    expect(Tune, tune, "a tune: read it first, as in read('file.abc')")
    chords = [change.chord if change else None for change in tune.note_changes]
    found = []
    for index, (note, chord) in enumerate(zip(tune.notes, chords, strict=True)):
        degree = degree_of(note.pitch, chord) if chord else None
        role = _role(tune, chords, index) if chord and degree is None else None
        found.append(Tested(note, chord, degree, role))
    return tuple(found)


def _role(tune: Tune, chords: Sequence[Chord | None], index: int) -> str:
    """The first role of `ROLES` that fits a foreign note."""
    notes = tune.notes
    here = notes[index].pitch.midi
    before = notes[index - 1].pitch.midi if index else None
    after = notes[index + 1].pitch.midi if index + 1 < len(notes) else None
    came = here - before if before is not None else None
    goes = after - here if after is not None else None
    stepped_in = came is not None and 1 <= abs(came) <= 2
    steps_out = goes is not None and 1 <= abs(goes) <= 2

    earlier = chords[index - 1] if index else None
    if came == 0 and earlier and here % 12 in earlier.tones and goes in (-1, -2):
        return "suspension"
    if _anticipates(tune, index, goes):
        return "anticipation"
    if stepped_in and steps_out and came is not None and goes is not None:
        return "passing note" if (came > 0) == (goes > 0) else "neighbour note"
    if steps_out and goes is not None:
        return "approach from below" if goes > 0 else "approach from above"
    return "escape note" if stepped_in else "free note"


def _anticipates(tune: Tune, index: int, goes: int | None) -> bool:
    """Whether the next change takes the note in: it is held into it, or struck again on it."""
    note = tune.notes[index]
    change = tune.change_after(note.onset)
    if change is None or change.chord is None or note.pitch.midi % 12 not in change.chord.tones:
        return False
    struck_again = goes == 0 and tune.notes[index + 1].onset >= change.onset
    return note.end > change.onset or struck_again
