"""What is asked of a take: the notes, what else may have been played instead, and what cannot be heard for this grip.

Conventions
- A question is plain data, so that the browser judges by the same one. An alternative says which asked notes would be
  gone, which others would sound, and in what words a learner is told.
- Strings are counted from the highest, as on the neck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from harmonylib.errors import HarmonyError, shown
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.hearing.partials import HIGHEST, LOWEST
from harmonylib.theory.pitch import Pitch

ORDINALS = "first second third fourth fifth sixth seventh eighth ninth tenth".split()
MOST = 6
HIDING = (12, 19, 24, 28, 31)
"""Semitones from a string up to its partials 2 to 6: a note there has no partial of its own."""


@dataclass(frozen=True)
class Alternative:
    """Something else that may have been played: `gone` and `new` are MIDI numbers."""

    kind: str
    gone: tuple[int, ...]
    new: tuple[int, ...]
    text: str


@dataclass(frozen=True)
class Question:
    """What should sound: `names` are the strings or notes in words, `deaf` those that cannot be heard to miss."""

    midi: tuple[int, ...]
    names: tuple[str, ...]
    label: str
    deaf: tuple[str, ...]
    alternatives: tuple[Alternative, ...]

    def as_data(self) -> dict[str, Any]:
        return asdict(self)


def question(expected: Grip | str | Sequence[int | str], neck: Neck = Neck()) -> Question:  # noqa: B008
    """The question behind a grip on this neck, or behind notes (MIDI numbers or pitches as text).

    Raises `HarmonyError` for notes the ear does not know, for the same note twice and for more than six.

    >>> question("x3545x").names, question("3x443x").deaf
    (('the fifth string', 'the fourth string', 'the third string', 'the second string'), ('the second string',))
    """
    if isinstance(expected, str):
        expected = Grip.parse(expected)
    if isinstance(expected, Grip):
        midi = neck.midi(expected.frets)
        names = tuple(f"the {ORDINALS[string - 1]} string" for string in expected.strings)
        label = str(expected)
    else:
        if not isinstance(expected, Sequence):
            raise HarmonyError(
                f"{shown(expected)} is nothing to listen for: give a grip, or notes such as ('C3', 'G3')"
            )
        midi = tuple(note if isinstance(note, int) else Pitch.parse(note).midi for note in expected)
        names = tuple(str(note) for note in expected)
        label = " ".join(names)
    if not 1 <= len(midi) <= MOST or len(set(midi)) < len(midi):
        raise HarmonyError(f"{label or 'no notes'}: one to six different notes can be listened for")
    if min(midi) < LOWEST or max(midi) > HIGHEST:
        raise HarmonyError(f"{label}: the ear knows MIDI notes {LOWEST} to {HIGHEST}, B1 to E6")
    hidden = {note for note in midi for low in midi if note - low in HIDING}
    deaf = tuple(name for note, name in zip(midi, names, strict=True) if note in hidden)
    return Question(midi, names, label, deaf, tuple(_alternatives(midi, names)))


def _alternatives(midi: tuple[int, ...], names: tuple[str, ...]) -> list[Alternative]:
    found = []
    for note, name in zip(midi, names, strict=True):
        rest = tuple(other for other in midi if other != note)
        if len(midi) > 1:
            found.append(Alternative("missing", (note,), (), f"{name} did not sound"))
        if len(midi) > 2:
            found.append(Alternative("single", rest, (), f"only {name} sounded"))
        for steps, words in (
            (1, "a semitone too high"),
            (-1, "a semitone too low"),
            (12, "an octave too high"),
            (-12, "an octave too low"),
        ):
            if note + steps not in midi and LOWEST <= note + steps <= HIGHEST:
                kind = "octave" if abs(steps) == 12 else "semitone"
                found.append(Alternative(kind, (note,), (note + steps,), f"{name} {words}"))
    if len(midi) > 2:
        found += _inversions(midi)
    return found


def _inversions(midi: tuple[int, ...]) -> list[Alternative]:
    tones = [note for note in range(LOWEST, HIGHEST + 1) if (note - midi[0]) % 12 in {(n - midi[0]) % 12 for n in midi}]
    found = []
    for steps in (1, -1, 2, -2):
        places = [tones.index(note) + steps for note in midi]
        if min(places) >= 0 and max(places) < len(tones):
            moved = tuple(tones[place] for place in places)
            gone, new = (tuple(sorted(set(a) - set(b))) for a, b in ((midi, moved), (moved, midi)))
            found.append(Alternative("inversion", gone, new, "another inversion of this chord"))
    return found
