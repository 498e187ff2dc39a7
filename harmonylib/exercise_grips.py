"""Exercises on the neck: inversions of a grip, where its root is, every grip of a voicing, two-note shells.

Conventions: those of `harmonylib.exercise_base`.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Any

from harmonylib import exercise_answers as read
from harmonylib.chords import Chord
from harmonylib.chordtones import degree_of
from harmonylib.diagrams import Picture, neck_picture
from harmonylib.exercise_answers import Given, Plain, Unread
from harmonylib.exercise_base import (
    Exercise,
    Verdict,
    bare_marks,
    compare_voices,
    counted,
    draw_chord,
    draw_grip,
    four_notes,
    joined,
    text_of,
    voicing_of,
    what_is,
    word,
)
from harmonylib.neck import Grip
from harmonylib.pitch import HarmonyError, Name, Pitch
from harmonylib.voicings import INVERSIONS, Voicing, known, voice


@dataclass(frozen=True, repr=False)
class _OnGrip(Exercise):
    """An exercise about a chord and a grip that holds it."""

    chord: str
    grip: str

    def __post_init__(self) -> None:
        self._voicing  # noqa: B018  reading it refuses bad material at once

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
    about = "name the inversion of a grip"
    form = f"write {', '.join(INVERSIONS)}, or 0 to 3"

    @property
    def question(self) -> str:
        return f"{self._voicing.chord} is held as {self._grip}: which inversion is it?"

    @property
    def _why(self) -> str:
        v = self._voicing
        return f"{v.pitches[0].name}, {word(v.degrees[0])}, lies lowest"

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

    def judge(self, answer: Plain) -> Verdict:
        found = INVERSIONS[read.inversion(answer)]
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
    about = "find the next inversion on the same strings"
    form = "write a grip such as x3545x, or the four notes from the bottom up"

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

    def judge(self, answer: Plain) -> Verdict:
        after, grip = self._next[0]
        given = read.notes(answer, after.chord, self.neck)
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
    about = "say where the root is and which spread a grip is"
    form = "write the string and the spread, as in 5, drop 2"

    @property
    def question(self) -> str:
        return f"{self._voicing.chord} is held as {self._grip}: on which string is the root, and which spread is it?"

    @property
    def _string(self) -> int:
        return self._grip.strings[self._voicing.degrees.index("1")]

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

    def judge(self, answer: Plain) -> Verdict:
        if isinstance(answer, str):
            answer = _string_and_spread(answer)
        if (
            isinstance(answer, tuple)
            and isinstance(answer[0], str)
            and answer[0].lower()[:5] in ("drop ", "drop-", "close")
        ):
            answer = answer[::-1]
        parts = read.keyed(answer, {"root": ("string", "root string"), "spread": ("voicing",)})
        v, faults = self._voicing, []
        if not parts:
            raise Unread(f"{read.shown(answer)} does not say string and spread; {self.form}")
        string = parts.get("root")
        if read.blank(string):
            faults.append("the string of the root is still to be written")
        else:
            found = _string_number(string)
            degrees = dict(zip(self._grip.strings, zip(v.degrees, v.pitches, strict=True), strict=True))
            if found not in degrees:
                faults.append(f"string {found} is not played; asked is the string that sounds {v.chord.root}")
            elif found != self._string:
                degree, pitch = degrees[found]
                faults.append(f"string {found} sounds {pitch.name}, {word(degree)}; the root is {v.chord.root}")
        if read.blank(parts.get("spread")):
            faults.append("the spread is still to be written")
        else:
            spread = read.spread(parts["spread"])
            if spread != v.spread:
                other = voice(v.chord, spread, v.top, v.stack)
                asked, here = (joined(p.name for p in w.pitches) for w in (other, v))
                faults.append(f"{spread} with {v.top.name} on top would be {asked}; here it is {here}")
        return faults, []


STRING_WORDS = dict(zip("fir seco thi four fif six seven".split(), "1234567", strict=True))
STRING_WORDS |= dict(zip("one two three five".split(), "1235", strict=True))
"""Number words, ordinals without their ending."""


def _string_number(value: Plain) -> int:
    text = str(value).lower().replace("string", "").strip(" .") if isinstance(value, (int, str)) else ""
    text = text.removesuffix("th").removesuffix("rd").removesuffix("nd").removesuffix("st")
    text = STRING_WORDS.get(text, text)
    if not text.isascii() or not text.isdigit() or len(text) > 2:
        raise Unread(f"{read.shown(value)} is not a string: write its number, 1 for the highest")
    return int(text)


def _string_and_spread(text: str) -> dict[Plain, Plain]:
    """The parts of “5, drop 2” or “drop 2, string 5”."""
    lower = text.lower()
    for sign in ("drop", "close"):
        at = lower.find(sign)
        if at < 0:
            continue
        before, after = lower[:at].strip(" ,;:"), lower[at:]
        if before:
            return {"root": before.removeprefix("root").strip(" :,"), "spread": after}
        spread, _, rest = after.partition("," if "," in after else "string")
        return {"root": rest.removeprefix("root").strip(" :,") or None, "spread": spread.strip(" ,")}
    root, _, rest = lower.replace(",", " ").strip().partition(" ")
    return {"root": root, "spread": rest or None} if root.isdigit() else {"root": lower, "spread": None}


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
    about = "find every grip of a voicing"
    form = "write the grips with commas between them, as in x3545x, x7958x"
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
                voicing = voice(chord, self.spread, read.named(midi, chord).at(midi), chord.degrees)
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

    def judge(self, answer: Plain) -> Verdict:
        given = dict.fromkeys(str(grip) for grip in read.grips(answer, self.neck) if grip)
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
        given = Given(tuple(read.named(midi, self._chord) for midi in sounding), sounding, grip)
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
    about = "put the root under a melody note"
    form = "write two notes from the bottom up, as in C E, or a grip"
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

    def judge(self, answer: Plain) -> Verdict:
        chord, melody = self._chord, self._pitch
        given = read.notes(answer, chord, self.neck)
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
