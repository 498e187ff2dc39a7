"""Exercises on one note over a chord: which degree it is, and which diminished seventh carries a foreign one."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_notes, written
from harmonylib.exercises.base import Exercise, Menu
from harmonylib.exercises.comparing import Verdict, far, text_of, word
from harmonylib.exercises.draws import draw_chord
from harmonylib.exercises.reading_signs import in_signs
from harmonylib.exercises.written import Unread, Written
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import ACTIONS, passing
from harmonylib.theory.families import interval
from harmonylib.theory.pitch import Name, Pitch, spell
from harmonylib.theory.tones import DEGREE_WORDS, degree_of
from harmonylib.wording import capital, joined, many

DIMINISHED = re.compile(r"\s*(?:diminished|dim)\.?(?:\s*(?:seventh|7th|7))?(?!\w)", re.I)

NO = re.compile(
    r"(?:it is |it's |is )?"
    r"(?:no|nope|none(?: of them)?|not|outside|foreign(?: note)?|(?:no|not(?: a| in the)?|non-?) ?chord(?: tone)?|"
    r"(?:a )?(?:passing|neighbou?r)(?: note| tone)?)"
)
"""How one says that a note is foreign to a chord."""

THREE = ("Cdim7", "C♯dim7", "Ddim7")
"""The three diminished sevenths, each under one of its four names."""


@dataclass(frozen=True, repr=False)
class Degree(Exercise):
    """Chord tone or not, and which degree.

    >>> task = Degree("Bb", "C7")
    >>> task
    Is B♭ a note of C7? Write its degree, or “foreign”.
    >>> task.check("b7"), task.check("7")
    (Right: B♭ is the minor seventh (♭7) of C7., Not yet: the major seventh (7) lies 11 semitones above C, B♭ lies 10.)
    """

    kind = "which_degree"
    chapter = 3
    about = "say whether a note is in the chord, and which degree"
    writing = "write its degree, or foreign"
    examples = ("5", "b3")
    material = ("_name", "_chord")
    note: str
    chord: str

    @cached_property
    def _name(self) -> Name:
        return Name.parse(text_of(self.note, "note", "Bb"))

    @cached_property
    def _chord(self) -> Chord:
        return Chord.parse(text_of(self.chord, "chord", "C7"))

    @property
    def _degree(self) -> str | None:
        return self._chord.tones.get(self._name.pitch_class)

    @property
    def _distance(self) -> int:
        return (self._name.pitch_class - self._chord.root.pitch_class) % 12

    @property
    def _only_a_fill(self) -> bool:
        """Whether the note is in the chord only because a block chord fills a triad up."""
        return self._chord.is_triad and self._degree not in (None, *self._chord.degrees, *self._chord.extensions)

    @property
    def question(self) -> str:
        return f"Is {self._name} a note of {self._chord}? Write its degree, or “foreign”."

    @property
    def menus(self) -> tuple[Menu, ...]:
        words = [(degree, f"{degree} · {name}") for degree, name in DEGREE_WORDS.items()]
        return (("degree", [*words, ("foreign", "foreign")]),)

    @property
    def hints(self) -> tuple[str, ...]:
        return (
            f"{self._chord}, {self._chord.family}: {joined(self._chord.tones.values())}",
            far(self._name, self._chord),
            f"the notes are {joined(self._chord.name_of(d) for d in self._chord.tones.values())}",
        )

    @property
    def truth(self) -> str:
        held = joined(self._chord.name_of(d) for d in self._chord.tones.values())
        if self._degree is None:
            return f"{self._name} is foreign to {self._chord} ({held})"
        return f"{self._name} is {word(self._degree)} of {self._chord}"

    def solution(self) -> str:
        return self._degree or "foreign"

    def judge(self, answer: Written) -> Verdict:
        if isinstance(answer, tuple) and len(answer) == 1:
            answer = answer[0]
        text = answer.lower().strip(" .!") if isinstance(answer, str) else answer
        if answer is False or (isinstance(text, str) and NO.fullmatch(text)):
            if self._degree is None:
                return [], []
            if self._only_a_fill:
                return [], [f"a block chord fills {self._chord} up with {self._name}, its {DEGREE_WORDS[self._degree]}"]
            return [f"{self._name} is in {self._chord}: {far(self._name, self._chord)}"], []
        if answer is True or text in ("yes", "chord tone"):
            raise Unread("which degree is it, then? write it, as in 5 or b3")
        found = reading_notes.degree(answer, self._chord)
        semitones = interval(found)[1] % 12
        if semitones != self._distance:
            above_root = f"{many(semitones, 'semitone')} above {self._chord.root}"
            named = f"{word(found)} lies {above_root}, {self._name} lies {self._distance}"
            return [named if self._degree else f"{named}: it is foreign to {self._chord}"], []
        if self._degree is None:
            held = joined(self._chord.name_of(d) for d in self._chord.tones.values())
            is_ = f"counted from {self._chord.root}, {self._name} is the {found}"
            return [f"{is_}; but {self._chord} holds {held}, so it is foreign"], []
        same = found == self._degree
        return [], [] if same else [f"in {self._chord} that note is called {self._degree}; {found} sounds the same"]

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        chord = draw_chord(draws, level)
        names = [*chord.names, *(chord.root.up(*interval(d)) for d in ("2", "4", "♭2", "♭6"))]
        return {"note": str(draws.choice([n for n in names if abs(n.alter) < 2])), "chord": str(chord)}


@dataclass(frozen=True, repr=False)
class WhichDiminished(Exercise):
    """Which of the three diminished sevenths carries a foreign note, and why it is that one.

    >>> task = WhichDiminished("D", "Cmaj7")
    >>> task
    D is foreign to Cmaj7. Which diminished seventh carries it, and is that the leading-tone, common-tone or ...
    >>> task.check("Bdim7, leading-tone"), task.check(("D°7", "common-tone"))
    (Right: the leading-tone diminished seventh Bdim7, G7(♭9) without its root, resolves into C., Not yet: ...)
    """

    kind = "which_diminished"
    chapter = 4
    about = "choose the diminished seventh for a foreign note"
    writing = f"write its name and which it is ({', '.join(ACTIONS)})"
    examples = ("Ebdim7, leading-tone", "Fdim7, common-tone", "Gdim7, secondary")
    note: str
    chord: str

    def __post_init__(self) -> None:
        if degree_of(self._pitch, self._chord):
            raise HarmonyError(f"{self._pitch.name} is in {self._chord}: name a note that is foreign to it")

    @cached_property
    def _chord(self) -> Chord:
        return Chord.parse(text_of(self.chord, "chord", "Cmaj7"))

    @cached_property
    def _pitch(self) -> Pitch:
        name = Name.parse(text_of(self.note, "note", "D"))
        return name.at(60 + name.pitch_class)

    @cached_property
    def _passing(self) -> Any:
        return passing(self._pitch, self._chord)

    @property
    def question(self) -> str:
        return (
            f"{self._pitch.name} is foreign to {self._chord}. Which diminished seventh carries it, and is that the "
            f"{', '.join(list(ACTIONS)[:-1])} or {list(ACTIONS)[-1]} one?"
        )

    @property
    def _rules(self) -> dict[str, str]:
        root = self._chord.root
        return {
            "leading-tone": f"the leading-tone one holds the note a semitone under {root}",
            "common-tone": f"the common-tone one holds {root} itself",
            "secondary": f"the secondary one holds the note a semitone over {root} and leads to the chord a tone above",
        }

    @property
    def menus(self) -> tuple[Menu, ...]:
        names = [(name, f"{name} · {joined(Chord.parse(name).names)}") for name in THREE]
        return ("diminished seventh", names), ("which", [(action, action) for action in ACTIONS])

    @property
    def lines(self) -> tuple[str, ...]:
        return ("diminished seventh", "which of the three")

    @property
    def hints(self) -> tuple[str, ...]:
        return (
            f"count in minor thirds from {self._pitch.name}: which four notes are these?",
            "; ".join(self._rules.values()),
            f"it holds {joined(self._passing.chord.names)}",
        )

    @property
    def truth(self) -> str:
        return str(self._passing.sentence)

    def solution(self) -> dict[str, str]:
        return {"chord": str(self._passing.chord), "why": self._passing.action}

    def judge(self, answer: Written) -> Verdict:
        if isinstance(answer, str):
            answer = self._parts(answer)
        if isinstance(answer, tuple) and len(answer) == 4:  # the four notes alone
            answer = {"chord": answer}
        parts = written.keyed(answer, {"chord": ("name", "which"), "why": ("action", "reason")})
        if not parts:
            raise Unread(f"{written.quoted(answer)} does not say which and why; {self.form}")
        faults, remarks = self._judge_chord(parts.get("chord"))
        why = parts.get("why")
        if written.blank(why):
            return [*faults, f"say also which it is: {', '.join(ACTIONS)}"], remarks
        text = str(why).lower().replace("_", " ") if isinstance(why, str) else ""
        found = [name for name in ACTIONS if text.replace(" ", "-").startswith((name, name.split("-")[0]))]
        if not found:
            raise Unread(f"{written.quoted(why)} is none of the three: write {', '.join(ACTIONS)}")
        if found[0] != self._passing.action:
            faults.append(f"{self._rules[found[0]]}; this one does not")
        return faults, remarks

    def _parts(self, text: str) -> dict[Written, Written]:
        for action in ACTIONS:
            stem = action.split("-")[0]
            rest, found = re.subn(rf"\b{stem}(?:[\s_-]*tone)?(?:\s+one\b)?", " ", text, count=1, flags=re.I)
            if found:
                rest = re.sub(r"\b(?:the|it is|it's|is)\b", " ", rest, flags=re.I).strip(" ,;:.()/–—-")
                rest = re.sub(r"^diminished(?: seventh| 7th| 7)?\s+(?=\S)", "", rest, flags=re.I)
                return {"chord": rest or None, "why": action}
        return {"chord": text, "why": None}

    def _judge_chord(self, value: Written) -> Verdict:
        own: Chord = self._passing.chord
        if written.blank(value):
            return ["say also which diminished seventh it is, by name"], []
        found = _diminished(value, self.neck)
        holds = sorted((found.pitch_class + n) % 12 for n in (0, 3, 6, 9))
        if self._pitch.midi % 12 not in holds:
            notes = joined(Chord(found, "dim7").names)
            return [f"{found}dim7 is {notes}: it does not hold {self._pitch.name}"], []
        same = found.pitch_class == own.root.pitch_class
        return [], [] if same else [
            f"{found}dim7 and {own} are the same four notes; seen from {self._chord} it is {own}"
        ]

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        chord = draw_chord(draws, level)
        foreign = [spell(pc, flats=chord.root.alter <= 0) for pc in range(12) if pc not in chord.tones]
        return {"note": str(draws.choice(foreign)), "chord": str(chord)}


def _diminished(value: Written, neck: Neck) -> Name:
    """The root of the diminished seventh an answer names: a symbol, its root alone, or its four notes."""
    try:
        if isinstance(value, str):
            text = in_signs(DIMINISHED.sub(" °", value)).replace(" °", "dim7")
            text = capital(text)
            symbol = Chord.parse(text)
            if symbol.kind in ("dim7", "dim", "") and not symbol.extensions:
                return symbol.root
            raise Unread(f"{symbol} is not a diminished seventh")
    except Unread:
        raise
    except HarmonyError:
        pass
    try:
        given = reading_notes.notes(value, Chord.parse("Cdim7"), neck)
    except Unread:
        raise Unread(f"{written.quoted(value)} is not a diminished seventh") from None
    pcs = {name.pitch_class for name in given.names}
    if len(pcs) == 4 and len({pc % 3 for pc in pcs}) == 1:
        return given.names[0]
    raise Unread(f"{written.quoted(value)} is not a diminished seventh")
