"""How replies teach: what a learner is told who forgot a note, dropped no voice, was right, or wrote nothing.

Conventions
- The chord is that of the lesson's edit cell, as the plain four-note chord it is filled up to.
"""

from __future__ import annotations

from harmonylib.exercises.base import Reply
from harmonylib.exercises.catalogue import exercise
from harmonylib.lessons.lesson import Lesson
from harmonylib.lessons.said import section
from harmonylib.lessons.table import Table, table
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import TRIADS
from harmonylib.theory.voicings import inversions
from harmonylib.wording import joined


def plain_form(chord: Chord) -> Chord:
    """The four-note chord of a symbol: a triad filled up, extensions and bass left out.

    >>> plain_form(Chord.parse("F/A")), plain_form(Chord.parse("G13"))
    (F6, G7)
    """
    return Chord(chord.root, TRIADS[chord.kind][3][0] if chord.kind in TRIADS else chord.kind)


@section
def forgotten_note(today: Lesson) -> Reply:
    """The reply to someone who forgot the last note of the chord.

    >>> from harmonylib.lessons.lesson import lesson
    >>> forgotten_note(lesson(8))
    Not yet: the minor seventh (♭7) is missing: 10 semitones above E♭, on the letter D.
    """
    chord = plain_form(today.chord)
    return exercise("spell", chord=str(chord)).check(joined(chord.names[:3]))


@section
def left_close(today: Lesson) -> Reply:
    """The reply to someone who was asked for drop 2 and left the notes in close position."""
    chord = plain_form(today.chord)
    return exercise("drop", chord=str(chord), spread="drop 2").check(joined(inversions(chord, "close")[2].pitches))


@section
def right_forms(today: Lesson) -> Table:
    """Three forms of one right answer, and what is said to each."""
    chord = plain_form(today.chord)
    task = exercise("drop", chord=str(chord), spread="drop 2")
    right = next(v for v in inversions(chord, "drop 2") if v.top.name == chord.names[1])
    forms = (joined(p.name for p in right.pitches), joined(right.degrees), joined(right.pitches))
    return table("written | reply", ((form, task.check(form).text) for form in forms), ["reply"])


@section
def hints_in_turn(today: Lesson) -> Table:
    """What is said when nothing is written, and then hint after hint."""
    task = exercise("spell", chord=str(plain_form(today.chord)))
    rows = [("nothing written", task.check().text)]
    rows += [(f"hint {step}", task.hint(step)) for step in range(1, len(task.hints) + 1)]
    return table("asked for | said", rows, ["said"])
