"""Exercises on a grip: name its inversion, find the next one, say where its root is."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_grips, reading_notes, reading_words, written
from harmonylib.exercises.base import Exercise, Menu
from harmonylib.exercises.comparing import Verdict, compare_voices, four_notes, text_of, voicing_of, word
from harmonylib.exercises.draws import draw_grip
from harmonylib.exercises.written import Unread, Written
from harmonylib.guitar.grips import Grip
from harmonylib.pictures.neck import Mark, neck_picture
from harmonylib.pictures.picture import Picture
from harmonylib.theory.voicings import INVERSIONS, SPREADS, Voicing, voice
from harmonylib.wording import joined


def bare_marks(grip: Grip) -> tuple[Mark, ...]:
    """A grip on the neck that gives nothing away."""
    return tuple(Mark(len(grip.frets) - place, fret) for place, fret in enumerate(grip.frets))


@dataclass(frozen=True, repr=False)
class _OnGrip(Exercise):
    """An exercise about a chord and a grip that holds it."""

    material = ("_voicing",)
    chord: str
    grip: str

    @cached_property
    def _voicing(self) -> Voicing:
        return voicing_of(self._grip, four_notes(self.chord), self.neck)

    @cached_property
    def _grip(self) -> Grip:
        return self.neck.fingered(Grip.parse(text_of(self.grip, "grip", "x3545x")).frets)

    @property
    def picture(self) -> Picture:
        return neck_picture(self.neck, bare_marks(self._grip), title=f"{self._voicing.chord}, {self._grip}")

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        chord, _, grip = draw_grip(draws, level)
        return {"chord": str(chord), "grip": str(grip)}


@dataclass(frozen=True, repr=False)
class NameInversion(_OnGrip):
    """Name the inversion of a grip.

    >>> task = NameInversion("C7", "x3535x")
    >>> task
    C7 is held as x3535x: which inversion is it?
    >>> task.check("root"), task.check(1)
    (Right: C, the root (1), lies lowest, so x3535x is in root position., Not yet: ...)
    """

    kind = "name_inversion"
    chapter = 2
    about = "name the inversion of a grip"
    writing = f"write {', '.join(INVERSIONS)}, or 0 to 3"

    @property
    def question(self) -> str:
        return f"{self._voicing.chord} is held as {self._grip}: which inversion is it?"

    @property
    def _why(self) -> str:
        v = self._voicing
        return f"{v.pitches[0].name}, {word(v.degrees[0])}, lies lowest"

    @property
    def menus(self) -> tuple[Menu, ...]:
        return (("inversion", [(name, name) for name in INVERSIONS]),)

    @property
    def hints(self) -> tuple[str, ...]:
        return (
            "the lowest note names the inversion",
            f"the lowest note is on string {self._grip.strings[0]}: {self._voicing.pitches[0].name}",
            self._why,
        )

    @property
    def truth(self) -> str:
        name = self._voicing.inversion
        return f"{self._why}, so {self._grip} is in {name}"

    def solution(self) -> str:
        return self._voicing.inversion

    def judge(self, answer: Written) -> Verdict:
        found = INVERSIONS[reading_words.inversion(answer)]
        if found == self._voicing.inversion:
            return [], []
        asked = self._voicing.stack[INVERSIONS.index(found)]
        return [f"{found} has {word(asked)} lowest; here {self._why}"], []


@dataclass(frozen=True, repr=False)
class NextInversion(_OnGrip):
    """The next inversion, as a grip on the same strings or as notes from the bottom up.

    >>> task = NextInversion("Cmaj7", "x3545x")
    >>> task
    Cmaj7 is held as x3545x. Each voice moves up to the next note of the chord on its own string: which grip ...
    >>> task.check("x7958x"), task.check("E B C G").right, task.check("x7957x")
    (Right: after x3545x (C G B E) comes x7958x (E B C G), first inversion., True, Not yet: the top voice is off: ...)
    """

    kind = "next_inversion"
    chapter = 2
    about = "find the next inversion on the same strings"
    writing = "click or write a grip, or write the four notes from the bottom up"
    examples = ("x3545x", "x-10-10-9-10-x")
    grips = "one"
    blank_necks = 1

    def __post_init__(self) -> None:
        super().__post_init__()
        if not self._next:
            raise HarmonyError(
                f"after {self._grip} no hand holds the next inversion of {self._voicing.chord} on strings "
                f"{self._grip.string_set}: choose another grip"
            )

    @cached_property
    def _next(self) -> tuple[tuple[Voicing, Grip], ...]:
        """The next inversion with its grips on these strings, the nearest octave upwards first."""
        turned = [self._voicing.step(1 + octave) for octave in (0, -4, 4, -8, 8)]
        placed = ((v, self.neck.place(v, self._grip.strings)) for v in turned)
        return tuple((v, grip) for v, grip in placed if grip)

    @property
    def question(self) -> str:
        folded = self._next[0][0].top.midi < self._voicing.top.midi
        ends = " There the neck ends: take it an octave lower." if folded else ""
        return (
            f"{self._voicing.chord} is held as {self._grip}. Each voice moves up to the next note of the chord on its "
            f"own string: which grip (or which notes, bottom to top) comes next?{ends}"
        )

    @property
    def hints(self) -> tuple[str, ...]:
        v, (after, grip) = self._voicing, self._next[0]
        moves = ", ".join(f"{a}→{b}" for a, b in zip(v.degrees, after.degrees, strict=True))
        return (
            f"{self._grip} is {v.inversion}, {v.spread}: name the degree on each string first",
            f"from the bottom the degrees move {moves}",
            f"the lowest note comes to string {grip.strings[0]}, fret {grip.frets[-grip.strings[0]]}",
        )

    @property
    def truth(self) -> str:
        after, grip = self._next[0]
        before = joined(p.name for p in self._voicing.pitches)
        return (
            f"after {self._grip} ({before}) comes {grip} ({joined(p.name for p in after.pitches)}), {after.inversion}"
        )

    def solution(self) -> str:
        return str(self._next[0][1])

    def judge(self, answer: Written) -> Verdict:
        after, grip = self._next[0]
        answer = reading_grips.without_x(answer, grip.strings, after.chord, self.neck)
        given = reading_notes.notes(answer, after.chord, self.neck)
        faults, remarks = compare_voices(given, after)
        if not faults and given.grip:
            if given.grip.strings != grip.strings:
                asked = f"asked are strings {grip.string_set}: every voice stays on its own string"
                return [f"{given.grip} lies on strings {given.grip.string_set}; {asked}"], []
            self.neck.fingered(given.grip.frets)
            if given.grip.frets != grip.frets:
                remarks = [*remarks, f"the nearest one, going up, is {grip}"]
        if faults and not compare_voices(given, self._voicing)[0]:
            faults.append("that is the grip you start from")
        return faults, remarks


_SPREAD = re.compile(
    r"(?:spread\s*:?\s*)?\b(?:(?:drop(?:ped)?|d(?=\d))[\s-]*(?:2|3|two|three)?(?:\s*(?:and|&|\+|/)?\s*(?:4|four))?|closed?"
    r"(?:\s*position)?)",
    re.I,
)
_AROUND = re.compile(r"\b(?:with|and|the root|root|on|in)\b|[,;:/]", re.I)


def _string_and_spread(text: str) -> dict[Written, Written]:
    """The parts of “5, drop 2”, “drop 2 with the root on the G string” or “root 4, spread drop 3”."""
    sign = _SPREAD.search(text)
    if sign is None:
        root, _, rest = text.replace(",", " ").strip().partition(" ")
        return {"root": root, "spread": rest or None} if root.isdigit() else {"root": text, "spread": None}
    root = _AROUND.sub(" ", f"{text[: sign.start()]} {text[sign.end() :]}").strip(" .")
    spread = sign[0].lower().removeprefix("spread").strip(" :")
    return {"root": root or None, "spread": spread}


@dataclass(frozen=True, repr=False)
class FindRoot(_OnGrip):
    """Say on which string the root lies, and which spread a grip is.

    >>> task = FindRoot("G7", "3x343x")
    >>> task
    G7 is held as 3x343x: on which string is the root, and which spread is it?
    >>> task.check((6, "drop 3")), task.check("5, drop 3")
    (Right: the root G is on string 6, and 3x343x is drop 3., Not yet: string 5 is not played; asked is the string ...)
    """

    kind = "find_root"
    chapter = 2
    about = "say where the root is and which spread a grip is"
    writing = "write the string and the spread"
    examples = ("5, drop 2", "6, drop 3", "4, drop 2 and 4")

    @property
    def question(self) -> str:
        return f"{self._voicing.chord} is held as {self._grip}: on which string is the root, and which spread is it?"

    @property
    def _string(self) -> int:
        return self._grip.strings[self._voicing.degrees.index("1")]

    @property
    def menus(self) -> tuple[Menu, ...]:
        count = len(self.neck.open_strings)
        strings = [(str(n), f"{n} · {self.neck.open_strings[-n].name}") for n in range(count, 0, -1)]
        return ("string", strings), ("spread", [(name, name) for name in SPREADS])

    @property
    def lines(self) -> tuple[str, ...]:
        return ("string of the root", "spread")

    @property
    def hints(self) -> tuple[str, ...]:
        v = self._voicing
        close = voice(v.chord, "close", v.top, v.stack)
        return (
            "name the notes from the lowest string up, then compare with close position under the same top note",
            f"they are {joined(p.name for p in v.pitches)}; in close position {joined(p.name for p in close.pitches)}",
            f"the root is {v.chord.root}; look which notes of close position lie an octave lower here",
        )

    @property
    def truth(self) -> str:
        v = self._voicing
        return f"the root {v.chord.root} is on string {self._string}, and {self._grip} is {v.spread}"

    def solution(self) -> dict[str, int | str]:
        return {"root": self._string, "spread": self._voicing.spread}

    def judge(self, answer: Written) -> Verdict:
        if isinstance(answer, str):
            answer = _string_and_spread(answer)
        if (
            isinstance(answer, tuple)
            and isinstance(answer[0], str)
            and answer[0].lower()[:5] in ("drop ", "drop-", "close")
        ):
            answer = answer[::-1]
        parts = written.keyed(answer, {"root": ("string", "root string"), "spread": ("voicing",)})
        v, faults = self._voicing, []
        if not parts:
            raise Unread(f"{written.quoted(answer)} does not say string and spread; {self.form}")
        string = parts.get("root")
        if written.blank(string):
            faults.append("the string of the root is still to be written")
        else:
            found = reading_words.string_number(string, self.neck)
            degrees = dict(zip(self._grip.strings, zip(v.degrees, v.pitches, strict=True), strict=True))
            if found not in degrees:
                faults.append(f"string {found} is not played; asked is the string that sounds {v.chord.root}")
            elif found != self._string:
                degree, pitch = degrees[found]
                faults.append(f"string {found} sounds {pitch.name}, {word(degree)}; the root is {v.chord.root}")
        if written.blank(parts.get("spread")):
            faults.append("the spread is still to be written")
        else:
            spread = reading_words.spread(parts["spread"])
            if spread != v.spread:
                other = voice(v.chord, spread, v.top, v.stack)
                asked, here = (joined(p.name for p in w.pitches) for w in (other, v))
                faults.append(f"{spread} with {v.top.name} on top would be {asked}; here it is {here}")
        return faults, []
