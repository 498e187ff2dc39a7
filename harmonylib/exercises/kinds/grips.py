"""Exercises on the neck: every grip of a voicing, two-note shells."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Any

from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_grips, reading_notes
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.comparing import Verdict, compare_voices, four_notes, text_of, what_is, word
from harmonylib.exercises.draws import draw_chord, draw_grip
from harmonylib.exercises.reading_notes import Given
from harmonylib.exercises.written import Written
from harmonylib.guitar.grips import Grip
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Name, Pitch
from harmonylib.theory.tones import degree_of
from harmonylib.theory.voicings import Voicing, known, voice
from harmonylib.wording import counted, joined


@dataclass(frozen=True, repr=False)
class FindGrips(Exercise):
    """Find every grip of a chord in one spread, on one string set or on all of them.

    `strings` is a string set such as "5432" (empty: all of the spread), `top` the note on top (empty: any).

    >>> task = FindGrips("Cmaj7", "drop 2", strings="5432", top="E")
    >>> task
    Find every grip of Cmaj7 in drop 2 with E on top on strings 5432, frets 0 to 15.
    >>> task.check("x3545x")
    Right: there is 1: x3545x.
    """

    kind = "find_grips"
    chapter = 2
    about = "find every grip of a voicing"
    writing = "click or write the grips, with commas between them"
    examples = ("x3545x, x7958x", "xx2323, xx5656", "3x443x, 7x778x")
    grips = "several"
    blank_necks = 1
    chord: str
    spread: str = "drop 2"
    strings: str = ""
    top: str = ""

    def __post_init__(self) -> None:
        known(text_of(self.spread, "spread", "drop 2"))
        sets = {"".join(map(str, strings)) for strings in self.neck.string_sets(self.spread)}
        if self.strings and self.strings not in sets:
            raise HarmonyError(f"strings {self.strings!r}: {self.spread} is played on {', '.join(sorted(sets)[::-1])}")
        if not self._grips:
            raise HarmonyError(f"no hand holds what this asks for: {self.question[:-1].replace('every', 'a')}")

    @cached_property
    def _grips(self) -> dict[str, Voicing]:
        """Every right grip as text, with what it holds."""
        chord, found = self._chord, {}
        for midi in range(self.neck.open_midi[0], self.neck.open_midi[-1] + self.neck.last_fret + 1):
            if midi % 12 in self._tops:
                voicing = voice(chord, self.spread, reading_notes.named(midi, chord).at(midi), chord.degrees)
                for strings in self.neck.string_sets(self.spread):
                    grip = self.neck.place(voicing, strings)
                    if grip and self.strings in ("", grip.string_set):
                        found[str(grip)] = voicing
        return found

    @cached_property
    def _chord(self) -> Chord:
        return four_notes(self.chord)

    @cached_property
    def _tops(self) -> dict[int, str]:
        degrees = {self._chord.pitch_class_of(d): d for d in self._chord.degrees}
        if not self.top:
            return degrees
        name = Name.parse(text_of(self.top, "top", "E"))
        if name.pitch_class not in degrees:
            raise HarmonyError(
                f"{name} is not in {self._chord} ({joined(self._chord.names)}): choose one of these for the top"
            )
        return {name.pitch_class: degrees[name.pitch_class]}

    @property
    def question(self) -> str:
        top = f" with {self._chord.name_of(next(iter(self._tops.values())))} on top" if self.top else ""
        where = f"strings {self.strings}" if self.strings else f"every string set of {self.spread}"
        return f"Find every grip of {self._chord} in {self.spread}{top} on {where}, frets 0 to {self.neck.last_fret}."

    @property
    def lines(self) -> tuple[str, ...]:
        return ("", "")

    @property
    def hints(self) -> tuple[str, ...]:
        first, voicing = next(iter(self._grips.items()))
        orders = dict.fromkeys(joined(v.degrees) for v in self._grips.values())
        sets = dict.fromkeys(Grip.parse(text).string_set for text in self._grips)
        return (
            f"from the bottom the degrees are {', or '.join(orders)}",
            f"{counted(len(self._grips), 'grip')} to be found, on strings {', '.join(sets)}",
            f"one is {first}, {voicing.inversion}",
        )

    @property
    def truth(self) -> str:
        count = len(self._grips)
        return f"there {'is' if count == 1 else 'are'} {count}: {', '.join(self._grips)}"

    def solution(self) -> list[str]:
        return list(self._grips)

    def judge(self, answer: Written) -> Verdict:
        if self.strings:
            on = tuple(map(int, self.strings))
            several = tuple(re.split(r"[;,\n]+", answer)) if isinstance(answer, str) else answer
            parts = several if isinstance(several, tuple) else (answer,)
            meant = [reading_grips.without_x(part, on, self._chord, self.neck) for part in parts]
            answer = tuple(meant) if meant != list(parts) else answer
        given = dict.fromkeys(str(grip) for grip in reading_grips.grips(answer, self.neck) if grip)
        faults, remarks = [], []
        for text in given:
            if text not in self._grips:
                fault, remark = self._about(Grip.parse(text))
                faults += fault
                remarks += remark
        missing = [text for text in self._grips if text not in given]
        if missing:
            sets = ", ".join(dict.fromkeys(Grip.parse(text).string_set for text in missing))
            are = "is" if len(missing) == 1 else "are"
            faults.append(f"{len(missing)} of {len(self._grips)} {are} missing, on strings {sets}")
        return faults, remarks

    def _about(self, grip: Grip) -> Verdict:
        """Why a grip is not one of those asked for; a remark when only its strings are unusual."""
        try:
            self.neck.fingered(grip.frets)
        except HarmonyError as error:
            return [str(error)], []
        sounding = self.neck.midi(grip.frets)
        given = Given(tuple(reading_notes.named(midi, self._chord) for midi in sounding), sounding, grip)
        tries = [
            compare_voices(
                given, voice(self._chord, self.spread, self._chord.name_of(d).at(60 + pc), self._chord.degrees)
            )[0]
            for pc, d in self._tops.items()
        ]
        best = min(tries, key=len)
        if best:
            return [f"{grip}: {best[0]}"], []
        if self.strings and grip.string_set != self.strings:
            return [f"{grip} lies on strings {grip.string_set}; asked are strings {self.strings}"], []
        return [], [f"{grip} holds it too, on strings {grip.string_set}, which are not usual for {self.spread}"]

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        chord, voicing, grip = draw_grip(draws, level)
        strings = grip.string_set if level < 3 or draws.random() < 0.5 else ""
        top = str(chord.name_of(voicing.degrees[-1])) if level == 1 or not strings else ""
        return {"chord": str(chord), "spread": voicing.spread, "strings": strings, "top": top}


@dataclass(frozen=True, repr=False)
class Shell(Exercise):
    """A two-note shell: a melody note with the chord's root below it, as a grip or as notes.

    >>> task = Shell("E4", "Cmaj7")
    >>> task
    The melody note is E4 over Cmaj7. Play it with only the chord's root below it: which two notes, or which grip?
    >>> task.check("x3xx5x"), task.check("C E").right, task.check("E C").right
    (Right: C lies below E, the third (3) of Cmaj7: 8xx9xx is one way., True, False)
    """

    kind = "shell"
    chapter = 3
    about = "put the root under a melody note"
    writing = "click or write a grip, or write two notes from the bottom up"
    examples = ("C E", "F Ab")
    grips = "one"
    blank_necks = 1
    note: str
    chord: str

    def __post_init__(self) -> None:
        if not self._grips:
            raise HarmonyError(
                f"no hand holds {self._pitch} with {self._chord.root} below it on this neck: choose a higher note"
            )

    @cached_property
    def _pitch(self) -> Pitch:
        return Pitch.parse(text_of(self.note, "note", "E4"))

    @cached_property
    def _chord(self) -> Chord:
        return Chord.parse(text_of(self.chord, "chord", "Cmaj7"))

    @cached_property
    def _grips(self) -> tuple[Grip, ...]:
        """Every shell a hand can hold, first those with the root on a low string and the melody on a high one."""
        found, count = [], len(self.neck.open_midi)
        for low, high in combinations(range(count), 2):
            fret = self._pitch.midi - self.neck.open_midi[high]
            for root in range(self.neck.last_fret + 1):
                below = self._pitch.midi - self.neck.open_midi[low] - root
                if below > 0 and (self.neck.open_midi[low] + root - self._chord.root.pitch_class) % 12 == 0:
                    frets = tuple({low: root, high: fret}.get(place) for place in range(count))
                    if 0 <= fret <= self.neck.last_fret and self.neck.stretch_mm(frets) <= self.neck.reach_mm:
                        rank = (0 in frets, low > 1, high < 3, abs(fret - root), max(fret, root))
                        found.append((*rank, self.neck.fingered(frets)))
        return tuple(grip for *_, grip in sorted(found, key=lambda item: item[:-1]))

    @property
    def _is(self) -> str:
        degree = degree_of(self._pitch, self._chord)
        return f"{word(degree)} of" if degree else "foreign to"

    @property
    def question(self) -> str:
        return (
            f"The melody note is {self._pitch} over {self._chord}. Play it with only the chord's root below it: which "
            "two notes, or which grip?"
        )

    @property
    def hints(self) -> tuple[str, ...]:
        grip = self._grips[0]
        return (
            f"the root of {self._chord} gives it its name, and the melody stays on top",
            f"find {self._pitch} on string {grip.strings[-1]}, then {self._chord.root} on a lower string",
            f"one root lies on string {grip.strings[0]}, fret {grip.frets[-grip.strings[0]]}",
        )

    @property
    def truth(self) -> str:
        return (
            f"{self._chord.root} lies below {self._pitch.name}, {self._is} {self._chord}: {self._grips[0]} is one way"
        )

    def solution(self) -> str:
        return str(self._grips[0])

    def judge(self, answer: Written) -> Verdict:
        chord, melody = self._chord, self._pitch
        given = reading_notes.notes(answer, chord, self.neck)
        if len(given.names) != 2:
            return [f"{counted(len(given.names), 'note')} given; a shell has two, the root and the melody over it"], []
        low, high = given.names
        faults = []
        if low.pitch_class != chord.root.pitch_class:
            faults.append(f"the lower note is off: {what_is(low, chord)}, asked is the root (1), {chord.root}")
        if high.pitch_class != melody.midi % 12:
            faults.append(f"the top note is off: it is {high}, asked is the melody {melody.name}")
        if not faults and given.midi and given.midi[1] != melody.midi:
            faults.append(f"the top note sounds {high.at(given.midi[1])}; the melody is {melody}")
        if not faults and given.midi and given.midi[0] >= given.midi[1]:
            faults.append(f"the root sounds at or over the melody {melody}; it belongs below it")
        if not faults and given.grip:
            self.neck.fingered(given.grip.frets)
        wanted = {chord.root.pitch_class: chord.root, melody.midi % 12: melody.name}
        wanted[chord.root.pitch_class] = chord.root
        remarks = (
            []
            if faults
            else [
                f"{n} sounds right; here it is spelled {wanted[n.pitch_class]}"
                for n in given.names
                if given.grip is None and n not in (chord.root, melody.name)
            ]
        )
        return faults, remarks

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        chord = draw_chord(draws, level)
        name = draws.choice([n for n in chord.names if abs(n.alter) < 2])
        low = 59 if level == 1 else 55
        midi = next(m for m in range(low + draws.randrange(12), 99) if m % 12 == name.pitch_class)
        return {"note": str(name.at(midi)), "chord": str(chord)}
