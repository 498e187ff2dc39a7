"""What is written: an arrangement as a row of chords to be set on the staves, its answers among them.

Conventions
- Time is in quarter notes (`Fraction`). Note 12 of the tune has the id ``n12``, answer 3 ``a3``.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from harmonylib.arranging.arrangement import ARRANGEMENT, Answer, Arrangement
from harmonylib.arranging.choice import Choice
from harmonylib.errors import expect
from harmonylib.guitar.grips import Grip
from harmonylib.theory.pitch import Pitch


@dataclass(frozen=True, slots=True)
class Written:
    """Something that sounds: pitches from the lowest up, and the grip that holds them (None: only in the notation).

    `label` is a short text under the staff, `id` the XML id of the top note, `reason` the sentence behind the choice.
    """

    onset: Fraction
    duration: Fraction
    pitches: tuple[Pitch, ...]
    grip: Grip | None
    voice: int = 1
    label: str = ""
    id: str = ""
    reason: str = ""


def written_events(arrangement: Arrangement) -> tuple[Written, ...]:
    """What sounds in an arrangement: calls in voice 1, as long as they are held, and their answers in voice 2.

    >>> from harmonylib.arranging.arrange import arrange
    >>> from harmonylib.tunes.reading import read_text
    >>> made = arrange(read_text('T:Two\\nM:2/4\\nL:1/4\\nK:C\\n"Cmaj7"E F|"C6"G2|'), density="every")
    >>> [(event.id, str(event.grip), event.label) for event in written_events(made)]
    [('n0', 'x3545x', ''), ('n1', 'x5646x', 'B°7'), ('n2', '8x798x', '')]
    """
    expect(Arrangement, arrangement, ARRANGEMENT)
    calls = tuple(_call(choice, arrangement.held(choice.index)) for choice in arrangement.choices)
    first = {answer.call: number for number, answer in reversed(list(enumerate(arrangement.answers)))}
    answers = tuple(_answer(answer, n, n == first[answer.call]) for n, answer in enumerate(arrangement.answers))
    return calls + answers


def _call(choice: Choice, held: Fraction) -> Written:
    pitches = choice.voicing.pitches if choice.voicing else (choice.note.pitch,)
    label = f"{choice.diminished.chord.root}°7" if choice.diminished else ""
    if choice.voicing and choice.treatment in ("enriched", "push"):
        label = str(choice.voicing.chord)
    return Written(choice.note.onset, held, pitches, choice.grip, 1, label, f"n{choice.index}", choice.reason)


def _answer(answer: Answer, number: int, opens: bool) -> Written:
    label = "approach" if answer.approach else "answer" if opens else ""
    return Written(
        answer.onset, answer.duration, answer.voicing.pitches, answer.grip, 2, label, f"a{number}", answer.reason
    )
