"""Exercises on one chord: spelling, spreads, inversions, grips on the neck, degrees, diminished sevenths, shells.

An exercise is a frozen dataclass whose fields are its material; everything else is computed: the question, the hints,
what a right answer is, and what is wrong with another one.

Conventions
- `check` takes any sensible form of an answer, as `harmonylib.exercise_answers` reads it, and never raises.
- A right answer in another spelling is right, with a remark. Any grip a hand can hold counts unless the question fixes
  one.
- `drawn` makes material from a source of draws and a level from 1 to 3; material that cannot be solved is refused when
  the exercise is made.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields
from functools import cached_property
from html import escape
from itertools import combinations
from typing import Any, ClassVar, TypeAlias

from harmonylib import exercise_answers as read
from harmonylib.chords import Chord, interval
from harmonylib.chordtones import DEGREE_WORDS, degree_of
from harmonylib.diagrams import Mark, Picture, neck_picture
from harmonylib.diminished import ACTIONS, passing
from harmonylib.exercise_answers import Given, Plain, Unread
from harmonylib.neck import Grip, Neck
from harmonylib.pitch import ROOTS, HarmonyError, Name, Pitch, spell
from harmonylib.voicings import INVERSIONS, SPREADS, Voicing, known, layout, voice

Verdict: TypeAlias = tuple[list[str], list[str]]
"""What is wrong, and remarks that do not count against an answer."""
LEVELS = {
    # level  families                                   roots                        spreads
    1: ("maj7 7 m7 6", "C F B♭ E♭ G D A", "drop 2"),
    2: ("maj7 7 m7 6 m6 m7♭5 dim7 7sus4", "C F B♭ E♭ A♭ D♭ G♭ B E A D G", "drop 2,drop 3"),
    3: ("maj7 6 7 7sus4 7♭5 7♯5 maj7♯5 maj7♭5 m7 m6 m(maj7) m7♭5 dim7", " ".join(ROOTS), "drop 2,drop 3,drop 2 and 4"),
}
VOICES = ("the top voice", "the second voice from the top", "the third voice from the top", "the lowest voice")
TWELFTHS = "root, flat ninth, ninth, minor third, third, fourth, flat fifth, fifth, sharp fifth, sixth".split(", ")
TWELFTHS += ["minor seventh", "major seventh"]


@dataclass(frozen=True, repr=False)
class Reply:
    """What `check` says: whether the answer is right, why, remarks, and whether there was an answer at all."""

    right: bool
    text: str
    remarks: tuple[str, ...] = ()
    started: bool = True

    def __bool__(self) -> bool:
        return self.right

    def __repr__(self) -> str:
        return "\n".join([self.text, *(f"Remark: {remark}." for remark in self.remarks)])


@dataclass(frozen=True, repr=False)
class Exercise:
    """A question that knows its answers; `neck` is the neck and hand it is asked for."""

    kind: ClassVar[str] = ""
    about: ClassVar[str] = ""
    form: ClassVar[str] = ""
    neck: Neck = field(default=Neck(), kw_only=True)

    @property
    def question(self) -> str:
        """What is asked, in one line."""
        raise NotImplementedError

    @property
    def hints(self) -> tuple[str, ...]:
        """Steps from a gentle one to near the solution."""
        raise NotImplementedError

    @property
    def picture(self) -> Picture | None:
        """A drawing that goes with the question."""
        return None

    @property
    def truth(self) -> str:
        """What is so, said when an answer is right."""
        raise NotImplementedError

    def solution(self) -> Any:
        """A right answer, in a form `check` takes."""
        raise NotImplementedError

    def judge(self, answer: Plain) -> Verdict:
        """What is wrong with a plain answer; raises `HarmonyError` when it cannot be read."""
        raise NotImplementedError

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        """Material for an exercise of this kind."""
        raise NotImplementedError

    def check(self, answer: object = ...) -> Reply:
        """What is right or wrong with an answer, in any sensible form; never raises."""
        try:
            given = read.plain(answer)
            if read.blank(given):
                return Reply(False, f"Not started: {self.form}.", started=False)
            faults, remarks = self.judge(given)
        except HarmonyError as error:
            how = "" if "write" in str(error) else f"; {self.form}"
            return Reply(False, f"Not yet: {error}{how}.")
        if not faults:
            return Reply(True, f"Right: {self.truth}.", tuple(dict.fromkeys(remarks)))
        more = [f"and {len(faults) - 4} more"] if len(faults) > 5 else []
        listed = faults[:4] + more if more else faults
        return Reply(False, f"Not yet: {'; '.join(listed)}.", tuple(dict.fromkeys(remarks)))

    def hint(self, step: int = 1) -> str:
        """Hint number `step`, from 1, each nearer the solution; after the last comes the last again."""
        if not isinstance(step, int) or step < 1:
            raise HarmonyError(f"hint {step!r}: hints are counted from 1 to {len(self.hints)}")
        return self.hints[min(step, len(self.hints)) - 1]

    def as_data(self) -> dict[str, str | int]:
        """The exercise as text and numbers by name; settings that have their usual value are left out."""
        made: dict[str, str | int] = {"kind": self.kind}
        usual = Neck()
        for item in fields(self.neck):
            value = getattr(self.neck, item.name)
            if value != getattr(usual, item.name):
                made[item.name] = value
        for item in fields(self):
            if item.name != "neck" and (not item.kw_only or getattr(self, item.name) != item.default):
                made[item.name] = getattr(self, item.name)
        return made

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        drawing = self.picture.svg if self.picture else ""
        return {"text/html": f"<p>{escape(self.question)}</p>{drawing}", "text/plain": self.question}

    def __repr__(self) -> str:
        return self.question


# --- shared by the kinds ------------------------------------------------------------------------------------------


def text_of(value: object, what: str, example: str) -> str:
    """Material that must be text; raises `HarmonyError` with an example."""
    if not isinstance(value, str) or not value.strip():
        raise HarmonyError(f"{what} {read.shown(value)}: write it as text, as in {example!r}")
    return value.strip()


def four_notes(symbol: str) -> Chord:
    """The chord of a symbol, if it has just four notes; raises `HarmonyError` otherwise."""
    chord = Chord.parse(text_of(symbol, "chord", "Cmaj7"))
    if chord.is_triad or chord.extensions or chord.bass:
        raise HarmonyError(f"{chord} is not a plain four-note chord: name one such as {chord.root}maj7 or {chord.root}m7")
    return chord


def word(degree: str) -> str:
    """A degree in words and figures: “the minor third (♭3)”."""
    return f"the {DEGREE_WORDS.get(degree, 'degree')} ({degree})"


def above(degree: str, chord: Chord) -> str:
    """The rule for a degree: how far it lies above the root, and on which letter.

    >>> above("♭3", Chord.parse("Ebm7"))
    '3 semitones above E♭, on the letter G'
    """
    steps, semitones = interval(degree)
    if degree == "1":
        return f"{chord.root} itself"
    return f"{semitones % 12} semitones above {chord.root}, on the letter {chord.root.up(steps, semitones).letter}"


def what_is(name: Name, chord: Chord) -> str:
    """What a note is to a chord: its degree, or how far above the root it lies.

    >>> what_is(Name.parse("G"), Chord.parse("Ebm7")), what_is(Name.parse("Db"), Chord.parse("Ebm7"))
    ('G lies 4 semitones above E♭', 'D♭ is the minor seventh (♭7)')
    """
    degree = chord.tones.get(name.pitch_class)
    if degree:
        return f"{name} is {word(degree)}"
    return f"{name} lies {(name.pitch_class - chord.root.pitch_class) % 12} semitones above {chord.root}"


def respelled(names: Sequence[Name], chord: Chord, degrees: Sequence[str]) -> list[str]:
    """A remark for every note that sounds right but is spelled otherwise."""
    wanted = {chord.pitch_class_of(d): (d, chord.name_of(d)) for d in degrees}
    found = []
    for name in names:
        degree, own = wanted.get(name.pitch_class, ("", name))
        if own != name:
            found.append(f"{name} sounds right, but {word(degree)} of {chord} is spelled {own}")
    return found


def compare_voices(given: Given, voicing: Voicing) -> Verdict:
    """Notes bottom to top against a voicing, voice by voice; in any octave, but spread as the voicing is."""
    wanted = [voicing.chord.name_of(d) for d in voicing.degrees]
    if len(given.names) != 4:
        return [f"{len(given.names)} notes are given; a four-note chord asks for 4, from the bottom up"], []
    faults = []
    for place, (name, own, degree) in enumerate(zip(given.names, wanted, voicing.degrees, strict=True)):
        if name.pitch_class != own.pitch_class:
            faults.append(f"{VOICES[3 - place]} is off: {what_is(name, voicing.chord)}, asked is {word(degree)}")
    if not faults and given.midi:
        under = [midi - given.midi[-1] for midi in given.midi]
        asked = [pitch.midi - voicing.top.midi for pitch in voicing.pitches]
        for place, (is_, ought) in enumerate(zip(under, asked, strict=True)):
            if is_ != ought:
                lies = f"{abs(is_)} semitones {'under' if is_ < 0 else 'over'} the top note"
                faults.append(f"{VOICES[3 - place]} lies {lies}, asked is {-ought}: the right note in another octave")
    return faults, respelled(given.names, voicing.chord, voicing.degrees) if not faults else []


def voicing_of(grip: Grip, chord: Chord, neck: Neck) -> Voicing:
    """The voicing of `chord` that a grip sounds; raises `HarmonyError` when it is none."""
    sounding = neck.midi(neck.fingered(grip.frets).frets)
    if len(sounding) == 4 and {m % 12 for m in sounding} == {chord.pitch_class_of(d) for d in chord.degrees}:
        for spread in SPREADS:
            made = voice(chord, spread, read.named(sounding[-1], chord).at(sounding[-1]), chord.degrees)
            if tuple(pitch.midi for pitch in made.pitches) == sounding:
                return made
    held = " ".join(str(read.named(midi, chord)) for midi in sounding)
    raise HarmonyError(f"{grip} ({held}) is no voicing of {chord} ({' '.join(map(str, chord.names))}) in {', '.join(SPREADS)}")


def bare_marks(grip: Grip, neck: Neck, chord: Chord | None = None) -> tuple[Mark, ...]:
    """A grip on the neck that gives nothing away; with a chord, its notes by name."""
    marks = []
    for place, fret in enumerate(grip.frets):
        name = "" if fret is None or chord is None else str(read.named(neck.open_midi[place] + fret, chord))
        marks.append(Mark(len(grip.frets) - place, fret, name, "plain"))
    return tuple(marks)


def draw_chord(draws: random.Random, level: int) -> Chord:
    """A four-note chord for a level, spelled without triple accidentals and, but for dim7, without double ones."""
    families, roots, _ = LEVELS[level]
    while True:
        chord = Chord.parse(draws.choice(roots.split()) + draws.choice(families.split()))
        if all(abs(name.alter) < 2 for name in chord.names[:3]):
            return chord


def draw_spread(draws: random.Random, level: int) -> str:
    return draws.choice(LEVELS[level][2].split(","))


def draw_grip(draws: random.Random, level: int, neck: Neck = Neck()) -> tuple[Chord, Voicing, Grip]:  # noqa: B008
    """A chord with a grip of it: on level 1 the middle strings, else any string set."""
    while True:
        chord, spread = draw_chord(draws, level), draw_spread(draws, level)
        sets = neck.string_sets(spread)
        strings = sets[len(sets) // 2] if level == 1 else draws.choice(sets)
        degree = draws.choice(chord.degrees)
        midi = neck.open_midi[-strings[-1]] + draws.randrange(13)
        while midi % 12 != chord.pitch_class_of(degree):
            midi += 1
        voicing = voice(chord, spread, chord.name_of(degree).at(midi), chord.degrees)
        grip = neck.place(voicing, strings)
        if grip:
            return chord, voicing, grip


def joined(items: Iterable[object]) -> str:
    return " ".join(map(str, items))


# --- the kinds ----------------------------------------------------------------------------------------------------


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
    about = "spell a chord"
    form = "write the notes by name, as in C E G B"
    chord: str

    def __post_init__(self) -> None:
        self._chord  # noqa: B018  reading it refuses a bad symbol at once

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
        rule = ", ".join(f"{word(d)} {above(d, chord)}" for d in self._degrees[1:])
        return (f"{chord} is a {chord.family}: {joined(self._degrees)}", f"from {chord.root}: {rule}")

    @property
    def truth(self) -> str:
        return f"{self._chord} is {self.solution()}"

    def solution(self) -> str:
        return joined(self._chord.name_of(d) for d in self._degrees)

    def judge(self, answer: Plain) -> Verdict:
        chord, given = self._chord, read.notes(answer, self._chord, self.neck)
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
                faults.append(f"{word(degree)} is off: {_far(near[0], chord)}; asked is {above(degree, chord)}")
            else:
                faults.append(f"{word(degree)} is missing: {above(degree, chord)}")
        faults += [f"{name} is no note of {chord}: {_far(name, chord)}" for name in extra]
        return faults, respelled(given.names, chord, self._degrees)

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        return {"chord": str(draw_chord(draws, level))}


def _far(name: Name, chord: Chord) -> str:
    return f"{name} lies {(name.pitch_class - chord.root.pitch_class) % 12} semitones above {chord.root}"


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
    about = "drop the right voice of a close position"
    form = "write the four notes from the bottom up, as in C G B E"
    chord: str
    spread: str = "drop 2"
    top: str = ""

    def __post_init__(self) -> None:
        if self.spread == "close" or not isinstance(self.spread, str):
            raise HarmonyError(f"{read.shown(self.spread)} drops no voice: choose {', '.join(list(SPREADS)[1:])}")
        known(self.spread)
        self._voicing  # noqa: B018  reading it refuses bad material at once

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
        return (self._rule, f"here {lowered} goes down, {self._voicing.top.name} stays on top")

    @property
    def truth(self) -> str:
        return f"in {self.spread}, {self._voicing.chord} with {self._voicing.top.name} on top is {self.solution()}"

    def solution(self) -> str:
        return joined(self._voicing.chord.name_of(d) for d in self._voicing.degrees)

    def judge(self, answer: Plain) -> Verdict:
        v, given = self._voicing, read.notes(answer, self._voicing.chord, self.neck)
        faults, remarks = compare_voices(given, v)
        for spread in SPREADS if faults else ():
            if not compare_voices(given, voice(v.chord, spread, v.top, v.stack))[0]:
                faults = [*faults, f"that is {'close position' if spread == 'close' else spread}"]
        return [*faults, self._rule] if faults else [], remarks

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        chord = draw_chord(draws, level)
        return {"chord": str(chord), "spread": draw_spread(draws, level), "top": str(draws.choice(chord.names))}


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
        return neck_picture(self.neck, bare_marks(self._grip, self.neck), title=f"{self._voicing.chord}, {self._grip}")

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
        return f"{self._why}, so {self._grip} is {'in root position' if name == INVERSIONS[0] else f'a {name}'}"

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
    Cmaj7 is held as x3545x. Each voice moves up to the next note of the chord on its own string: which grip (or which ...
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
        return (
            f"{self._voicing.chord} is held as {self._grip}. Each voice moves up to the next note of the chord on its own "
            "string: which grip (or which notes, bottom to top) comes next?"
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
        return f"after {self._grip} ({before}) comes {grip} ({joined(p.name for p in after.pitches)}), {after.inversion}"

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

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        return super().drawn(draws, level)


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
        return f"the root {self._voicing.chord.root} is on string {self._string}, and {self._grip} is {self._voicing.spread}"

    def solution(self) -> dict[str, int | str]:
        return {"root": self._string, "spread": self._voicing.spread}

    def judge(self, answer: Plain) -> Verdict:
        if isinstance(answer, str):
            answer = _string_and_spread(answer)
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
                notes = joined(p.name for p in other.pitches)
                faults.append(f"{spread} with {v.top.name} on top would be {notes}; here it is {joined(p.name for p in v.pitches)}")
        return faults, []


def _string_number(value: Plain) -> int:
    text = str(value).lower().replace("string", "").strip(" .") if isinstance(value, (int, str)) else ""
    text = text.removesuffix("th").removesuffix("rd").removesuffix("nd").removesuffix("st")
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
    return {"root": lower, "spread": None}


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
            raise HarmonyError(f"{name} is not in {self._chord} ({joined(self._chord.names)}): choose one of these for the top")
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
            f"there are {len(self._grips)}, on strings {', '.join(sets)}",
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
            faults.append(f"{len(missing)} of {len(self._grips)} {'is' if len(missing) == 1 else 'are'} missing, on strings {sets}")
        return faults, remarks

    def _about(self, grip: Grip) -> Verdict:
        """Why a grip is not one of those asked for; a remark when only its strings are unusual."""
        try:
            self.neck.fingered(grip.frets)
        except HarmonyError as error:
            return [str(error)], []
        sounding = self.neck.midi(grip.frets)
        given = Given(tuple(read.named(midi, self._chord) for midi in sounding), sounding, grip)
        tries = [compare_voices(given, voice(self._chord, self.spread, self._chord.name_of(d).at(60 + pc), self._chord.degrees))[0]
                 for pc, d in self._tops.items()]
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
class Degree(Exercise):
    """Chord tone or not, and which degree.

    >>> task = Degree("Bb", "C7")
    >>> task
    Is B♭ a note of C7? Write its degree, or “foreign”.
    >>> task.check("b7"), task.check("7")
    (Right: B♭ is the minor seventh (♭7) of C7., Not yet: the major seventh (7) lies 11 semitones above C, B♭ lies 10.)
    """

    kind = "degree"
    about = "say whether a note is in the chord, and which degree"
    form = "write a degree such as 5 or b3, or foreign"
    note: str
    chord: str

    def __post_init__(self) -> None:
        self._name, self._chord  # noqa: B018  reading them refuses bad material at once

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
    def hints(self) -> tuple[str, ...]:
        return (
            f"{self._chord} is a {self._chord.family}: {joined(self._chord.tones.values())}",
            f"{self._name} lies {self._distance} semitones above {self._chord.root}",
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

    def judge(self, answer: Plain) -> Verdict:
        if isinstance(answer, tuple) and len(answer) == 1:
            answer = answer[0]
        text = answer.lower().strip(" .!") if isinstance(answer, str) else answer
        words = {name: degree for degree, name in DEGREE_WORDS.items()} | {"root": "1", "major third": "3"}
        words |= {"perfect fifth": "5", "perfect fourth": "4", "major sixth": "6", "major ninth": "9"}
        if answer is False or text in ("no", "foreign", "none", "not in the chord", "not", "no chord tone", "foreign note"):
            if self._degree is None:
                return [], []
            if self._only_a_fill:
                return [], [f"a block chord fills {self._chord} up with {self._name}, its {DEGREE_WORDS[self._degree]}"]
            return [f"{self._name} is in {self._chord}: it lies {self._distance} semitones above {self._chord.root}"], []
        if answer is True or text in ("yes", "chord tone"):
            raise Unread("which degree is it, then? write it, as in 5 or b3")
        found = words.get(text.removeprefix("the "), "") if isinstance(text, str) else ""
        found = found or read.degree(answer)
        semitones = interval(found)[1] % 12
        if semitones != self._distance:
            named = f"{word(found)} lies {semitones} semitones above {self._chord.root}, {self._name} lies {self._distance}"
            return [named if self._degree else f"{named}: it is foreign to {self._chord}"], []
        if self._degree is None:
            held = joined(self._chord.name_of(d) for d in self._chord.tones.values())
            return [f"{self._chord} holds {held}; {self._name} is none of them, so it is foreign"], []
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

    kind = "diminished"
    about = "choose the diminished seventh for a foreign note"
    form = f"write its name and which it is, as in Ebdim7, {' or '.join(ACTIONS)}"
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

    def judge(self, answer: Plain) -> Verdict:
        if isinstance(answer, str):
            answer = self._parts(answer)
        parts = read.keyed(answer, {"chord": ("name", "which"), "why": ("action", "reason")})
        if not parts:
            raise Unread(f"{read.shown(answer)} does not say which and why; {self.form}")
        faults, remarks = self._judge_chord(parts.get("chord"))
        why = parts.get("why")
        if read.blank(why):
            return [*faults, f"say also which it is: {', '.join(ACTIONS)}"], remarks
        text = str(why).lower().replace("_", " ") if isinstance(why, str) else ""
        found = [name for name in ACTIONS if text.replace(" ", "-").startswith((name, name.split("-")[0]))]
        if not found:
            raise Unread(f"{read.shown(why)} is none of the three: write {', '.join(ACTIONS)}")
        if found[0] != self._passing.action:
            faults.append(f"{self._rules[found[0]]}; this one does not")
        return faults, remarks

    def _parts(self, text: str) -> dict[Plain, Plain]:
        lower = text.lower()
        for action in ACTIONS:
            at = lower.find(action.split("-")[0])
            if at >= 0:
                rest = text[:at] if text[:at].strip() else text[at + len(action) :]
                return {"chord": rest.strip(" ,;:.()") or None, "why": lower[at:]}
        return {"chord": text, "why": None}

    def _judge_chord(self, value: Plain) -> Verdict:
        own: Chord = self._passing.chord
        if read.blank(value):
            return ["say also which diminished seventh it is, by name"], []
        found = _diminished(value, self.neck)
        holds = sorted((found.pitch_class + n) % 12 for n in (0, 3, 6, 9))
        if self._pitch.midi % 12 not in holds:
            notes = joined(Chord(found, "dim7").names)
            return [f"{found}dim7 is {notes}: it does not hold {self._pitch.name}"], []
        same = found.pitch_class == own.root.pitch_class
        return [], [] if same else [f"{found}dim7 and {own} are the same four notes; seen from {self._chord} it is {own}"]

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        chord = draw_chord(draws, level)
        foreign = [spell(pc, flats=chord.root.alter <= 0) for pc in range(12) if pc not in chord.tones]
        return {"note": str(draws.choice(foreign)), "chord": str(chord)}


def _diminished(value: Plain, neck: Neck) -> Name:
    """The root of the diminished seventh an answer names: a symbol, its root alone, or its four notes."""
    try:
        if isinstance(value, str):
            text = value[:1].upper() + value[1:]
            symbol = Chord.parse(text)
            if symbol.kind in ("dim7", "dim") or text == str(symbol.root) or "dim" not in symbol.kind and not symbol.kind:
                return symbol.root
            raise Unread(f"{symbol} is not a diminished seventh: write one such as Bdim7")
    except Unread:
        raise
    except HarmonyError:
        pass
    given = read.notes(value, Chord.parse("Cdim7"), neck)
    pcs = {name.pitch_class for name in given.names}
    if len(pcs) == 4 and len({pc % 3 for pc in pcs}) == 1:
        return given.names[0]
    raise Unread(f"{read.shown(value)} is not a diminished seventh: write one such as Bdim7")


@dataclass(frozen=True, repr=False)
class Shell(Exercise):
    """A two-note shell: a melody note with the chord's root below it, as a grip or as notes.

    >>> task = Shell("E4", "Cmaj7")
    >>> task
    The melody note is E4 over Cmaj7. Play it with only the chord's root below it: which two notes, or which grip?
    >>> task.check("x3xx5x"), task.check("C E").right, task.check("E C").right
    (Right: C lies below E, the third (3) of Cmaj7: x3xx5x is one way., True, False)
    """

    kind = "shell"
    about = "put the root under a melody note"
    form = "write two notes from the bottom up, as in C E, or a grip"
    note: str
    chord: str

    def __post_init__(self) -> None:
        if not self._grips:
            raise HarmonyError(f"no hand holds {self._pitch} with {self._chord.root} below it on this neck: choose a higher note")

    @cached_property
    def _pitch(self) -> Pitch:
        return Pitch.parse(text_of(self.note, "note", "E4"))

    @cached_property
    def _chord(self) -> Chord:
        return Chord.parse(text_of(self.chord, "chord", "Cmaj7"))

    @cached_property
    def _grips(self) -> tuple[Grip, ...]:
        """Every shell a hand can hold, the nearest root and the smallest stretch first."""
        found, count = [], len(self.neck.open_midi)
        for low, high in combinations(range(count), 2):
            fret = self._pitch.midi - self.neck.open_midi[high]
            for root in range(self.neck.last_fret + 1):
                below = self._pitch.midi - self.neck.open_midi[low] - root
                if below > 0 and (self.neck.open_midi[low] + root - self._chord.root.pitch_class) % 12 == 0:
                    frets = tuple({low: root, high: fret}.get(place) for place in range(count))
                    if 0 <= fret <= self.neck.last_fret and self.neck.stretch_mm(frets) <= self.neck.reach_mm:
                        found.append((below > 24, self.neck.stretch_mm(frets), 0 in frets, self.neck.fingered(frets)))
        return tuple(grip for *_, grip in sorted(found, key=lambda item: item[:3]))

    @property
    def _is(self) -> str:
        degree = degree_of(self._pitch, self._chord)
        return f"{word(degree)} of" if degree else "foreign to"

    @property
    def question(self) -> str:
        return (
            f"The melody note is {self._pitch} over {self._chord}. Play it with only the chord's root below it: which two "
            "notes, or which grip?"
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
        return f"{self._chord.root} lies below {self._pitch.name}, {self._is} {self._chord}: {self._grips[0]} is one way"

    def solution(self) -> str:
        return str(self._grips[0])

    def judge(self, answer: Plain) -> Verdict:
        chord, melody = self._chord, self._pitch
        given = read.notes(answer, chord, self.neck)
        if len(given.names) != 2:
            return [f"{len(given.names)} notes are given; a shell has two, the root and the melody over it"], []
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
        remarks = [] if faults else [f"{n} sounds right; here it is spelled {wanted[n.pitch_class]}"
                                     for n in given.names if given.grip is None and n not in (chord.root, melody.name)]
        return faults, remarks

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        chord = draw_chord(draws, level)
        name = draws.choice([n for n in chord.names if abs(n.alter) < 2])
        low = 59 if level == 1 else 55
        midi = next(m for m in range(low + draws.randrange(12), 99) if m % 12 == name.pitch_class)
        return {"note": str(name.at(midi)), "chord": str(chord)}
