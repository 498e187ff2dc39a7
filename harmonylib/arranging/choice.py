"""One melody note as it is played, and why: a sentence under every grip.

Conventions
- A sentence names the note, what it is to its chord, what the chord becomes for it, and how the grip lies.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from harmonylib.guitar.grips import Grip
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import Passing
from harmonylib.theory.enrichment import DOMINANTS
from harmonylib.theory.tones import DEGREE_WORDS
from harmonylib.theory.voicings import Voicing
from harmonylib.tunes.chordtones import Tested
from harmonylib.tunes.tune import Note

TREATMENTS = ("chord tone", "diminished", "enriched", "push", "root", "single")


@dataclass(frozen=True)
class Choice:
    """One melody note as it is played: its grip, the voicing it holds, and why.

    `treatment` is one of `TREATMENTS`; `resolves` tells whether a fourth that waits goes down to the third, `held`
    whether a push is held over the change it belongs to.
    """

    index: int
    tested: Tested
    treatment: str
    grip: Grip | None
    voicing: Voicing | None = None
    diminished: Passing | None = None
    why_single: str = ""
    resolves: bool = False
    held: bool = False

    @property
    def note(self) -> Note:
        return self.tested.note

    @property
    def chord(self) -> Chord | None:
        """The chord of the lead sheet under this note."""
        return self.tested.chord

    @cached_property
    def reason(self) -> str:
        """Why this grip, in one sentence."""
        return _reason(self)


def _reason(choice: Choice) -> str:
    name, grip, chord, voicing = choice.note.pitch.name, choice.grip, choice.chord, choice.voicing
    if voicing is None:
        return f"{name} stays single: {choice.why_single}"
    assert chord is not None
    assert grip is not None
    if choice.treatment == "root":
        what = f"is the {DEGREE_WORDS[choice.tested.degree]} of" if choice.tested.degree else "is foreign to"
        return f"{name} {what} {chord}: the root {chord.root} lies under it on string {grip.strings[0]}"
    how = f"{voicing.spread} on strings {grip.string_set}, {voicing.inversion}"
    if choice.diminished:
        return f"{name} is foreign to {chord} ({choice.tested.role}): {choice.diminished.sentence}; {how}"
    if choice.treatment == "enriched":
        return f"{_enriched(choice, chord, voicing)}: {how}"
    if choice.treatment == "push":
        ahead = "struck ahead of the change" + (" and held over it" if choice.held else "")
        what = _of_chord(voicing.chord, voicing, voicing.degrees[-1])
        return f"{name} is {ahead}, so the coming chord sounds already: {name} is {what}: {how}"
    return f"{name} is {_of_chord(chord, voicing, choice.tested.degree or '1')}: {how}"


def _of_chord(chord: Chord, voicing: Voicing, melody: str) -> str:
    """What the melody is of its chord, and what the voicing leaves out or adds."""
    added = ""
    swaps = {d: chord.stacks[0][place] for place, d in enumerate(voicing.stack) if d in chord.extensions}
    if melody in swaps:
        added += f", in the place of the {DEGREE_WORDS[swaps.pop(melody)]}"
    if swaps:
        added += ", with the " + " and the ".join(
            f"{DEGREE_WORDS[d]} for the {DEGREE_WORDS[p]}" for d, p in swaps.items()
        )
    if chord.is_triad and melody != voicing.stack[3]:
        added += f", filled up with its {DEGREE_WORDS[voicing.stack[3]]}"
    if chord.bass and chord.bass.pitch_class not in {p.midi % 12 for p in voicing.pitches}:
        added += f", the bass {chord.bass} left to a bass player"
    return f"the {DEGREE_WORDS[melody]} of {chord}{added}"


def _enriched(choice: Choice, chord: Chord, voicing: Voicing) -> str:
    """A foreign note that is taken into its chord: what it is, and what the chord becomes."""
    name, degree, made = choice.note.pitch.name, voicing.degrees[-1], voicing.chord
    if degree == "4":
        until = ", until the third comes" if choice.resolves else ""
        return f"{name} is held over {chord}: it waits as the fourth, so the chord is {made}{until}"
    why = "moves over" if chord.kind in DOMINANTS and not choice.held else "is held over"
    place = _place_taken(chord, voicing)
    taken = f", in the place of the {DEGREE_WORDS[place]}" if place and place != degree else ""
    return f"{name} {why} {chord}: it is the {DEGREE_WORDS[degree]}{taken}, so the chord becomes {made}"


def _place_taken(chord: Chord, voicing: Voicing) -> str:
    """The degree of the chord that the melody stands in for."""
    place = voicing.stack.index(voicing.degrees[-1])
    return chord.stacks[0][place] if place < len(chord.stacks[0]) else ""
