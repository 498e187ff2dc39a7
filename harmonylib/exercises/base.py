"""What every exercise is and does, and how spellings and voices are compared.

An exercise is a frozen dataclass whose fields are its material; everything else is computed: the question, the hints,
what a right answer is, and what is wrong with another one.

Conventions
- `check` takes any sensible form of an answer, as `exercises.written` reads it, and never raises.
- A right answer in another spelling is right, with a remark. Any grip a hand can hold counts unless the question fixes
  one.
- `drawn` makes material from a source of draws and a level from 1 to 3; material that cannot be solved is refused when
  the exercise is made.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from html import escape
from typing import Any, ClassVar, TypeAlias

from harmonylib.errors import HarmonyError
from harmonylib.exercises import written
from harmonylib.exercises.written import Given, Plain
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import Mark
from harmonylib.pictures.picture import Picture
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import interval
from harmonylib.theory.pitch import ROOTS, Name
from harmonylib.theory.tones import DEGREE_WORDS
from harmonylib.theory.voicings import SPREADS, Voicing, voice
from harmonylib.wording import counted, many

Verdict: TypeAlias = tuple[list[str], list[str]]
"""What is wrong, and remarks that do not count against an answer."""


LEVELS = {
    # level  families                                   roots                        spreads
    1: ("maj7 7 m7 6", "C F B♭ E♭ G D A", "drop 2"),
    2: ("maj7 7 m7 6 m6 m7♭5 dim7 7sus4", "C F B♭ E♭ A♭ D♭ G♭ B E A D G", "drop 2,drop 3"),
    3: ("maj7 6 7 7sus4 7♭5 7♯5 maj7♯5 maj7♭5 m7 m6 m(maj7) m7♭5 dim7", " ".join(ROOTS), "drop 2,drop 3,drop 2 and 4"),
}


VOICES = ("the top voice", "the second voice from the top", "the third voice from the top", "the lowest voice")


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
            given = written.plain(answer)
            if written.blank(given):
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


def text_of(value: object, what: str, example: str) -> str:
    """Material that must be text; raises `HarmonyError` with an example."""
    if not isinstance(value, str) or not value.strip():
        raise HarmonyError(f"{what} {written.shown(value)}: write it as text, as in {example!r}")
    return value.strip()


def four_notes(symbol: str) -> Chord:
    """The chord of a symbol, if it has just four notes; raises `HarmonyError` otherwise."""
    chord = Chord.parse(text_of(symbol, "chord", "Cmaj7"))
    if chord.is_triad or chord.extensions or chord.bass:
        raise HarmonyError(
            f"{chord} is not a plain four-note chord: name one such as {chord.root}maj7 or {chord.root}m7"
        )
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
    return (
        f"{many(semitones % 12, 'semitone')} above {chord.root}, on the letter {chord.root.up(steps, semitones).letter}"
    )


def far(name: Name, chord: Chord) -> str:
    """How far a note lies above the root of a chord."""
    return f"{name} lies {many((name.pitch_class - chord.root.pitch_class) % 12, 'semitone')} above {chord.root}"


def what_is(name: Name, chord: Chord) -> str:
    """What a note is to a chord: its degree, or how far above the root it lies.

    >>> what_is(Name.parse("G"), Chord.parse("Ebm7")), what_is(Name.parse("Db"), Chord.parse("Ebm7"))
    ('G lies 4 semitones above E♭', 'D♭ is the minor seventh (♭7)')
    """
    degree = chord.tones.get(name.pitch_class)
    if degree:
        return f"{name} is {word(degree)}"
    return far(name, chord)


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
        return [f"{counted(len(given.names), 'note')} given; a four-note chord asks for 4, from the bottom up"], []
    faults = []
    for place, (name, own, degree) in enumerate(zip(given.names, wanted, voicing.degrees, strict=True)):
        if name.pitch_class != own.pitch_class:
            faults.append(f"{VOICES[3 - place]} is off: {what_is(name, voicing.chord)}, asked is {word(degree)}")
    if not faults and given.midi:
        under = [midi - given.midi[-1] for midi in given.midi]
        asked = [pitch.midi - voicing.top.midi for pitch in voicing.pitches]
        for place, (is_, ought) in enumerate(zip(under, asked, strict=True)):
            if is_ != ought:
                lies = f"{many(abs(is_), 'semitone')} {'under' if is_ < 0 else 'over'} the top note"
                faults.append(f"{VOICES[3 - place]} lies {lies}, asked is {-ought}: the right note in another octave")
    return faults, [*given.remarks, *respelled(given.names, voicing.chord, voicing.degrees)] if not faults else []


def voicing_of(grip: Grip, chord: Chord, neck: Neck) -> Voicing:
    """The voicing of `chord` that a grip sounds; raises `HarmonyError` when it is none."""
    sounding = neck.midi(neck.fingered(grip.frets).frets)
    if len(sounding) == 4 and {m % 12 for m in sounding} == {chord.pitch_class_of(d) for d in chord.degrees}:
        for spread in SPREADS:
            made = voice(chord, spread, written.named(sounding[-1], chord).at(sounding[-1]), chord.degrees)
            if tuple(pitch.midi for pitch in made.pitches) == sounding:
                return made
    held = " ".join(str(written.named(midi, chord)) for midi in sounding)
    raise HarmonyError(
        f"{grip} ({held}) is no voicing of {chord} ({' '.join(map(str, chord.names))}) in {', '.join(SPREADS)}"
    )


def bare_marks(grip: Grip) -> tuple[Mark, ...]:
    """A grip on the neck that gives nothing away."""
    return tuple(Mark(len(grip.frets) - place, fret) for place, fret in enumerate(grip.frets))


def draw_chord(draws: random.Random, level: int) -> Chord:
    """A four-note chord for a level, spelled without triple accidentals and, but for dim7, without double ones."""
    families, roots, _ = LEVELS[level]
    while True:
        chord = Chord.parse(draws.choice(roots.split()) + draws.choice(families.split()))
        if all(abs(name.alter) < 2 for name in chord.names[:3]):
            return chord


def draw_spread(draws: random.Random, level: int) -> str:
    return draws.choice(LEVELS[level][2].split(","))


def draw_grip(draws: random.Random, level: int) -> tuple[Chord, Voicing, Grip]:
    """A chord with a grip of it on the usual neck: on level 1 the middle strings, else any string set."""
    neck = Neck()
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
