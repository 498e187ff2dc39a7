"""Exercises on the notes of a chord: spell it; drop the right voice of its close position."""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_notes, written
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.comparing import Verdict, above, compare_voices, far, four_notes, respelled, text_of, word
from harmonylib.exercises.draws import draw_chord, draw_spread
from harmonylib.exercises.written import Unread, Written
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Name
from harmonylib.theory.voicings import SPREADS, Voicing, known, voice
from harmonylib.wording import joined


@dataclass(frozen=True, repr=False)
class Spell(Exercise):
    """Spell a chord: its notes by name.

    >>> task = Spell("Ebm7")
    >>> task
    Spell E♭m7 from the root up: 4 notes.
    >>> task.check("Eb G Bb Db")
    Not yet: the minor third (♭3) is off: G lies 4 semitones above E♭; asked is 3 semitones above E♭, on the letter G.
    >>> task.check("Eb F# Bb Db")
    Right: E♭m7 is E♭ G♭ B♭ D♭.
    Remark: F♯ sounds right, but the minor third (♭3) of E♭m7 is spelled G♭.
    """

    kind = "spell"
    chapter = 1
    about = "spell a chord"
    writing = "write the notes by name"
    examples = ("C E G B", "F Ab C Eb")
    material = ("_chord",)
    chord: str

    @cached_property
    def _chord(self) -> Chord:
        return Chord.parse(text_of(self.chord, "chord", "Cmaj7"))

    @property
    def _degrees(self) -> tuple[str, ...]:
        return (*self._chord.degrees, *self._chord.extensions)

    @property
    def question(self) -> str:
        return f"Spell {self._chord} from the root up: {len(self._degrees)} notes."

    @property
    def hints(self) -> tuple[str, ...]:
        chord = self._chord
        rules = "; ".join(f"{d} is {above(d, chord)}" for d in self._degrees[1:])
        return (f"{chord}, {chord.family}: {joined(self._degrees)}", rules)

    @property
    def truth(self) -> str:
        return f"{self._chord} is {self.solution()}"

    def solution(self) -> str:
        return joined(self._chord.name_of(d) for d in self._degrees)

    def judge(self, answer: Written) -> Verdict:
        chord, given = self._chord, reading_notes.notes(answer, self._chord, self.neck)
        if given.by_degree:
            raise Unread("those are degrees; write the notes by name, as in C E G B")
        there = {name.pitch_class for name in given.names}
        missing = [d for d in self._degrees if chord.pitch_class_of(d) not in there]
        own = {chord.pitch_class_of(d) for d in self._degrees}
        extra = [name for name in given.names if name.pitch_class not in own]
        faults = []
        for degree in missing:
            near = sorted(extra, key=lambda name, d=degree: (name.letter != chord.name_of(d).letter,))  # type: ignore[misc]
            if near:
                extra.remove(near[0])
                faults.append(f"{word(degree)} is off: {far(near[0], chord)}; asked is {above(degree, chord)}")
            else:
                faults.append(f"{word(degree)} is missing: {above(degree, chord)}")
        faults += [f"{name} is no note of {chord}: {far(name, chord)}" for name in extra]
        return faults, respelled(given.names, chord, self._degrees)

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        return {"chord": str(draw_chord(draws, level))}


@dataclass(frozen=True, repr=False)
class Drop(Exercise):
    """Drop the right voice: from close position to another spread, the top note kept.

    >>> task = Drop("Cmaj7", "drop 2", top="E")
    >>> task
    Cmaj7 in close position with E on top is G B C E. Make it drop 2: which notes are they now, bottom to top?
    >>> task.check("C3 G3 B3 E4"), task.check("1 5 7 3").right, task.check("x3545x").right
    (Right: in drop 2, Cmaj7 with E on top is C G B E., True, True)
    """

    kind = "drop"
    chapter = 1
    about = "drop the right voice of a close position"
    writing = "write the four notes from the bottom up"
    examples = ("C G B E", "F Db Ab C")
    material = ("_voicing",)
    chord: str
    spread: str = "drop 2"
    top: str = ""

    def __post_init__(self) -> None:
        if self.spread == "close" or not isinstance(self.spread, str):
            raise HarmonyError(f"{written.quoted(self.spread)} drops no voice: choose {', '.join(list(SPREADS)[1:])}")
        known(self.spread)
        super().__post_init__()

    @cached_property
    def _voicing(self) -> Voicing:
        chord = four_notes(self.chord)
        name = Name.parse(text_of(self.top, "top", "E")) if self.top else chord.names[1]
        return voice(chord, self.spread, name.at(60 + name.pitch_class), chord.degrees)

    @property
    def _close(self) -> Voicing:
        return voice(self._voicing.chord, "close", self._voicing.top, self._voicing.stack)

    @property
    def question(self) -> str:
        v = self._voicing
        close = joined(p.name for p in self._close.pitches)
        return (
            f"{v.chord} in close position with {v.top.name} on top is {close}. Make it {self.spread}: which notes are "
            "they now, bottom to top?"
        )

    @property
    def _rule(self) -> str:
        voices = " and ".join({2: "second", 4: "fourth"}.get(n, "third") for n in SPREADS[self.spread])
        many = "notes" if len(SPREADS[self.spread]) > 1 else "note"
        return f"{self.spread} lowers the {voices} {many} from the top by an octave"

    @property
    def hints(self) -> tuple[str, ...]:
        lowered = " and ".join(str(self._close.pitches[-n].name) for n in SPREADS[self.spread])
        go = "go" if " and " in lowered else "goes"
        return (self._rule, f"here {lowered} {go} down, {self._voicing.top.name} stays on top")

    @property
    def truth(self) -> str:
        return f"in {self.spread}, {self._voicing.chord} with {self._voicing.top.name} on top is {self.solution()}"

    def solution(self) -> str:
        return joined(self._voicing.chord.name_of(d) for d in self._voicing.degrees)

    def judge(self, answer: Written) -> Verdict:
        v, given = self._voicing, reading_notes.notes(answer, self._voicing.chord, self.neck)
        faults, remarks = compare_voices(given, v)
        for spread in SPREADS if faults else ():
            if not compare_voices(given, voice(v.chord, spread, v.top, v.stack))[0]:
                faults = [*faults, f"that is {'close position' if spread == 'close' else spread}"]
        return [*faults, self._rule] if faults else [], remarks

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        chord = draw_chord(draws, level)
        return {"chord": str(chord), "spread": draw_spread(draws, level), "top": str(draws.choice(chord.names))}
