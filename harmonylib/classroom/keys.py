"""What a key prints under a question: a right answer once, what is so, and the neck for every grip of the answer.

Conventions
- A sentence that says the answer stands alone; one that is true of several questions stands under the first of them.
- A diagram says the place or beat it is for; its marks say what the class has chosen.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from harmonylib.answering.own import heard
from harmonylib.classroom.handouts.frames import TIGHT, Frame, frame
from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.tunes import TuneExercise
from harmonylib.exercises.written import as_text
from harmonylib.guitar.grips import Grip
from harmonylib.lessons.said import sentence
from harmonylib.pictures.look import Look
from harmonylib.pictures.neck import turned
from harmonylib.theory.chords import Chord
from harmonylib.theory.voicings import Voicing

OFF = "-"
"""Stands for the grip of a note that lies off the neck."""


def told(task: Exercise, said: set[str]) -> list[str]:
    """The sentences of a key under a question; `said` holds those that stand already, and grows.

    >>> from harmonylib.exercises.catalogue import spell
    >>> told(spell("Ebm7"), set())
    ['E♭m7 is E♭ G♭ B♭ D♭.']
    """
    answer, truth = as_text(task.solution()), sentence(task.truth)
    lines = [] if _holds(task.truth, answer) else [f"Answer: {answer}"]
    lines += [truth] if truth not in said else []
    said.add(truth)
    return lines


def _holds(truth: str, answer: str) -> bool:
    """Whether a sentence says all parts of an answer.

    >>> _holds("the root A is on string 4, and x7758x is drop 2", "4, drop 2"), _holds("it is 14", "4")
    (True, False)
    """
    parts = re.split(r"[,;] ", answer)
    return all(re.search(rf"(?<![\w♭♯-]){re.escape(part)}(?![\w♭♯-])", truth) for part in parts)


def diagrams(task: Exercise, look: Look) -> list[tuple[str, Frame]]:
    """The neck for every grip of the answer, each with what it is for.

    >>> from harmonylib.exercises.catalogue import shell
    >>> [(what, [mark["text"] for mark in drawn.marks]) for what, drawn in diagrams(shell("E4", "Cmaj7"), Look())]
    [('', ['1', '3'])]
    """
    neck = replace(task.neck, left_handed=turned(task.neck, None))
    return [(what, frame(neck, grip, _voicing(task, grip), look, TIGHT)) for what, grip in _grips(task)]


def _grips(task: Exercise) -> Iterator[tuple[str, Grip]]:
    """The grips of a right answer, each with what stands before it; a note off the neck has none."""
    solution = task.solution()
    items = solution if isinstance(solution, list) else [solution]
    for number, item in enumerate(items if task.grips else []):
        *before, grip = item if isinstance(item, tuple) else [item]
        names = task.lines[number : number + 1] if len(task.lines) == len(items) and not before else before
        if grip != OFF:
            yield ", ".join(map(str, names)), task.neck.fingered(Grip.parse(grip).frets)


def _voicing(task: Exercise, grip: Grip) -> Voicing | None:
    """What a grip of an answer holds, where a chord of the question has all its notes."""
    held = {midi % 12 for midi in task.neck.midi(grip.frets)}
    for chord in _chords(task, grip):
        if held <= set(chord.tones):
            return heard(task.neck, grip, chord)
    return None


def _chords(task: Exercise, grip: Grip) -> Iterator[Chord]:
    """The chords a question speaks of, those that go with this grip first."""
    if isinstance(task, TuneExercise):
        choices = sorted(task.arrangement.choices, key=lambda choice: choice.grip != grip)
        yield from (choice.voicing.chord for choice in choices if choice.voicing)
        yield from (choice.chord for choice in choices if choice.chord)
    elif text := getattr(task, "chord", ""):
        try:
            yield Chord.parse(text)
        except HarmonyError:
            return
