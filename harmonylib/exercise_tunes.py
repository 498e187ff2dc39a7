"""Exercises on a tune: harmonise bars, find the gaps, answer a call, mend a spoilt arrangement.

The tune is the name of a file, ABC text, or, when none is named, four bars invented from key, level and seed.

Conventions
- Bars are named by their number, places are “bar.beat”; a call or gap is counted from 1 as a reader meets it.
- A melody note that the arrangement of this library leaves single may stay single; the others ask for four notes.
- What counts as right is what `arranging.check` and `fills.check_answers` find nothing wrong with.

The melodies are drawn from chord tones and scale steps, the chord progressions are common practice.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from typing import Any

from harmonylib import exercise_answers as read
from harmonylib.arranging import Arrangement, Choice, arrange, check
from harmonylib.chords import Chord, interval
from harmonylib.chordtones import degree_of
from harmonylib.diagrams import Picture, grip_row, melody_picture
from harmonylib.diminished import passing
from harmonylib.exercise_answers import Plain, Unread
from harmonylib.exercise_base import Exercise, Verdict, counted, joined, text_of, what_is, word
from harmonylib.neck import Grip, Neck
from harmonylib.pitch import HarmonyError, Name
from harmonylib.tunes import Bar, Change, Note, Tune, beat_text, read_text
from harmonylib.tunes import read as read_file
from harmonylib.voicings import Voicing

PROGRESSIONS = {
    # level  four bars, each the degree of its root in the key and its family
    1: ("1 maj7, 6 m7, 2 m7, 5 7", "1 6, 4 maj7, 5 7, 1 6", "2 m7, 5 7, 1 maj7, 1 6"),
    2: ("1 maj7, 3 m7, 4 maj7, 4 m6", "2 m7, 5 7, 3 m7, 6 7", "1 6, 2 m7, 5 7sus4, 5 7"),
    3: ("2 m7♭5, 5 7, 1 m6, 1 m(maj7)", "3 m7♭5, 6 7♯5, 2 m7, 5 7♭5", "1 maj7, ♭3 dim7, 2 m7, 5 7♯5"),
}
RHYTHMS = {
    # level  lengths of a bar's notes in quarters; what is missing at its end is a rest
    1: ("2 2", "1 1 2", "4", "3", "2 1 1"),
    2: ("1 1 1 1", "2 1 1", "3", "1.5 0.5 2", "4"),
    3: ("1 0.5 0.5 2", "1.5 0.5 1 1", "1 1 1 0.5 0.5", "3.5", "2"),
}
TEMPOS = {1: 72, 2: 96, 3: 132}
KEYS = {1: "C F G", 2: "C F B♭ E♭ G D", 3: "C F B♭ E♭ A♭ D♭ G D A E"}
LOWEST, HIGHEST = 64, 79  # where three notes lie under the melody on most necks
BARS = 4


@lru_cache(maxsize=256)
def invented(key: str, level: int, seed: int) -> Tune:
    """Four bars in a major key: the same key, level and seed, the same tune.

    >>> tune = invented("F", 1, 3)
    >>> tune.key, len(tune.bars), tune == invented("F", 1, 3)
    ('F major', 4, True)
    """
    draws = random.Random(f"tune {key} {level} {seed}")
    home = Name.parse(text_of(key, "key", "F"))
    scale = [home.up(*interval(d)) for d in "1 2 3 4 5 6 7".split()]
    found, changes, bars, midi = [], [], [], draws.randrange(67, 75)
    fifths = min((n for n in range(-7, 8) if (7 * n - home.pitch_class) % 12 == 0), key=abs)
    for number, entry in enumerate(draws.choice(PROGRESSIONS[level]).split(", ")):
        degree, kind = entry.split(" ", 1)
        onset = Fraction(4 * number)
        chord = Chord(home.up(*interval(degree)).simplest(), kind)
        bars.append(Bar(number + 1, onset, Fraction(4), (4, 4), fifths))
        changes.append(Change(onset, chord))
        for place, length in enumerate(draws.choice(RHYTHMS[level]).split()):
            names = {name.pitch_class: name.simplest() for name in (*(scale if place % 2 else ()), *chord.names)}
            near = [m for m in range(midi - 5, midi + 6) if m % 12 in names and LOWEST <= m <= HIGHEST and m != midi]
            midi = draws.choice(near)
            found.append(Note(names[midi % 12].at(midi), onset, Fraction(length)))
            onset += Fraction(length)
    return Tune("Invented melody", tuple(found), tuple(changes), tuple(bars), tempo=TEMPOS[level])


@dataclass(frozen=True, repr=False)
class TuneExercise(Exercise):
    """An exercise on some bars of a tune.

    `tune` is a file name or ABC text (empty: invented from `key`, `level` and `seed`), `key` a key to move it to,
    `tempo` quarter notes a minute (0: the tune's own), `density` one of `arranging.DENSITIES`.
    """

    tune: str = ""
    key: str = field(default="", kw_only=True)
    level: int = field(default=1, kw_only=True)
    seed: int = field(default=0, kw_only=True)
    tempo: int = field(default=0, kw_only=True)
    density: str = field(default="every", kw_only=True)

    def __post_init__(self) -> None:
        for name in ("level", "seed", "tempo", *(n for n in ("bar", "first", "last", "call") if hasattr(self, n))):
            if type(getattr(self, name)) is not int:
                raise HarmonyError(f"{name} {read.shown(getattr(self, name))}: give a whole number")
        if self.level not in TEMPOS:
            raise HarmonyError(f"level {self.level}: choose 1 to {len(TEMPOS)}")
        self._ready()

    def _ready(self) -> None:
        """Refuse bad material at once."""
        self.arrangement  # noqa: B018  making it refuses bad material

    @property
    def span(self) -> tuple[int, int]:
        """First and last bar."""
        raise NotImplementedError

    @cached_property
    def source(self) -> Tune:
        """The tune as it was given."""
        if not isinstance(self.tune, str):
            raise HarmonyError("a tune that can be stored with its exercise is text: give a file's name or ABC text")
        if not self.tune.strip():
            return invented(self.key or "C", self.level, self.seed)
        if "\n" in self.tune.strip():
            return read_text(self.tune, "musicxml" if self.tune.lstrip().startswith("<") else "abc")
        return read_file(self.tune)

    @cached_property
    def arrangement(self) -> Arrangement:
        """The whole tune arranged for this neck, key and tempo."""
        return self._arranged(self.source)

    def _arranged(self, tune: Tune) -> Arrangement:
        key = (self.key or None) if self.tune.strip() else None
        return arrange(tune, neck=self.neck, tempo=self.tempo or None, key=key, density=self.density)

    def _bars(self, tune: Tune) -> tuple[Bar, ...]:
        first, last = self.span
        found = tuple(bar for bar in tune.bars if first <= bar.number <= last)
        if not found or first > last or found[0].number != first or found[-1].number != last:
            numbers = f"{tune.bars[0].number} to {tune.bars[-1].number}"
            raise HarmonyError(f"bars {first} to {last}: {tune.title} has bars {numbers}, low to high")
        return found

    def _inside(self, onset: Fraction) -> bool:
        bars = self._bars(self.arrangement.tune)
        return bars[0].onset <= onset < bars[-1].end

    @property
    def _where(self) -> str:
        first, last = self.span
        bars = f"bar {first}" if first == last else f"bars {first} to {last}"
        tune = self.arrangement.tune
        return (
            f"{bars} of {' '.join(tune.title.split())} ({tune.key}, {self.arrangement.tempo:g} quarter notes a minute)"
        )

    def _melody(self, choices: Sequence[Choice]) -> str:
        """The notes in one line: place, chord, pitch."""
        tune = self.arrangement.tune
        return ", ".join(f"{place(tune, c.note.onset)} {c.chord or 'N.C.'} {c.note.pitch}" for c in choices)


def place(tune: Tune, onset: Fraction) -> str:
    """A moment as “bar.beat”."""
    return f"{tune.bar_at(onset).number}.{beat_text(tune.beat_at(onset))}"


def sounded(grip: Grip, choice: Choice, arrangement: Arrangement) -> Choice:
    """The choice played with another grip: what it sounds, spelled from its chord."""
    neck, chord = arrangement.settings.neck, choice.chord
    midi = neck.midi(grip.frets)
    if chord is None or len(midi) == 1:
        return replace(choice, grip=grip, voicing=None)
    over = chord if degree_of(choice.note.pitch, chord) else passing(choice.note.pitch, chord).chord
    degrees = tuple(over.tones.get(m % 12, "") for m in midi)
    pitches = tuple(read.named(m, over).at(m) for m in midi)
    return replace(choice, grip=grip, voicing=Voicing(over, degrees, "own", degrees, pitches))


def grip_faults(choice: Choice, grip: Grip, arrangement: Arrangement) -> list[str]:
    """All that is wrong with a grip under one melody note, each sentence with its place."""
    neck, melody, where = arrangement.settings.neck, choice.note.pitch, place(arrangement.tune, choice.note.onset)
    try:
        neck.fingered(grip.frets)
    except HarmonyError as error:
        return [f"{where}: {error}"]
    midi = neck.midi(grip.frets)
    chord = choice.chord
    if max(midi) != midi[-1] or midi[-1] != melody.midi:
        top = read.named(max(midi), chord).at(max(midi)) if chord else max(midi)
        return [f"{where}: the top note of {grip} is {top}; the melody {melody} belongs on top, on the highest string"]
    if choice.voicing is None and len(midi) == 1:
        return []
    if chord is None:
        return [f"{where}: no chord sounds here; {melody} stays single"]
    degree = degree_of(melody, chord)
    over = chord if degree else passing(melody, chord).chord
    allowed = {over.pitch_class_of(d) for stack in over.stacks for d in stack}
    said = (
        f"{melody.name} is {word(degree)} of {chord}"
        if degree
        else f"{melody.name} is foreign to {chord}, so {over} is asked"
    )
    wrong = []
    for number, note in zip(grip.strings, midi, strict=True):
        if note % 12 not in allowed:
            wrong.append(f"{where}: string {number} of {grip} is off: {what_is(read.named(note, chord), over)}; {said}")
    if not wrong and (len(midi) != 4 or len({m % 12 for m in midi}) != 4):
        twice = [m for m in midi if sum((m - other) % 12 == 0 for other in midi) > 1]
        held = joined(read.named(m, over) for m in midi)
        if twice:
            strings = [str(string) for string, m in zip(grip.strings, midi, strict=True) if (m - twice[0]) % 12 == 0]
            held += f", {read.named(twice[0], over)} on strings {' and '.join(strings)}"
        wrong.append(f"{where}: {grip} holds {held}; four different notes of {over} are asked")
    return wrong


@dataclass(frozen=True, repr=False)
class _Harmonise(TuneExercise):
    """Give every melody note of some bars a grip."""

    form = "write a grip for each note with commas between them, as in x3545x, x7958x"

    def _ready(self) -> None:
        if not any(choice.voicing for choice in self.arrangement.choices):
            raise HarmonyError(f"no note in {self._where} carries a chord: choose other bars")

    @cached_property
    def arrangement(self) -> Arrangement:
        """These bars alone, arranged."""
        tune, bars = self.source, self._bars(self.source)
        inside = tuple(note for note in tune.notes if bars[0].onset <= note.onset < bars[-1].end)
        if not inside:
            raise HarmonyError(
                f"bars {self.span[0]} to {self.span[1]} of {tune.title} hold no notes: choose other bars"
            )
        return self._arranged(replace(tune, notes=inside))

    @property
    def question(self) -> str:
        choices = self.arrangement.choices
        single = [place(self.arrangement.tune, c.note.onset) for c in choices if c.voicing is None]
        alone = f" Single notes will do at {', '.join(single)}." if single else ""
        return f"Harmonise {self._where}, one grip a note, the melody on top: {self._melody(choices)}.{alone}"

    @property
    def picture(self) -> Picture:
        return melody_picture(self.arrangement.tune, bars=self.span)

    @property
    def hints(self) -> tuple[str, ...]:
        told, tune = [], self.arrangement.tune
        for choice in self.arrangement.choices:
            if choice.voicing:
                top = (
                    choice.diminished.chord
                    if choice.diminished
                    else f"{choice.chord} with its {choice.tested.degree} on top"
                )
                told.append(f"{place(tune, choice.note.onset)} {top}")
        one = next(choice for choice in self.arrangement.choices if choice.voicing)
        sets = [c.voicing and c.grip and f"{c.voicing.spread} on {c.grip.string_set}" for c in self.arrangement.choices]
        return (
            "ask of each melody note which degree of its chord it is; a foreign note takes a diminished seventh",
            "; ".join(told),
            f"these serve: {', '.join(dict.fromkeys(s for s in sets if s))}",
            f"at {place(tune, one.note.onset)}: {one.grip}",
        )

    @property
    def truth(self) -> str:
        return "every grip has the melody on top and its chord under it, and the hand gets from each to the next"

    def solution(self) -> list[str]:
        return [str(choice.grip) if choice.grip else "-" for choice in self.arrangement.choices]

    def judge(self, answer: Plain) -> Verdict:
        choices = self.arrangement.choices
        given = self._grips(answer)
        if len(given) != len(choices):
            return [f"{counted(len(given), 'grip')} given for {len(choices)} notes: {self._melody(choices)}"], []
        faults, played = [], list(choices)
        for index, (choice, grip) in enumerate(zip(choices, given, strict=True)):
            if choice.grip is None:
                continue
            if grip is None:
                faults.append(f"{place(self.arrangement.tune, choice.note.onset)}: a grip is still to be written")
                continue
            wrong = grip_faults(choice, grip, self.arrangement)
            faults += wrong
            if not wrong:
                played[index] = sounded(self.neck.fingered(grip.frets), choice, self.arrangement)
        if not faults:
            faults = [
                fault
                for fault in check(replace(self.arrangement, choices=tuple(played)))
                if "off this neck" not in fault
            ]
        return faults, []

    def _grips(self, answer: Plain) -> list[Grip | None]:
        """One entry a note; a dictionary may name the notes it speaks of by place or index."""
        choices, tune = self.arrangement.choices, self.arrangement.tune
        if isinstance(answer, dict):
            found: list[Grip | None] = [None] * len(choices)
            for key, value in answer.items():
                index = _note_at(key, choices, tune)
                found[index] = None if read.blank(value) else read.grip(value, self.neck)
            return found
        if isinstance(answer, str):
            answer = (
                tuple(part.strip() for part in answer.replace(";", ",").replace("\n", ",").split(","))
                if "," in answer or ";" in answer or "\n" in answer
                else answer
            )
        if isinstance(answer, tuple):
            return [None if read.blank(a) or a in ("-", "–") else read.grip(a, self.neck) for a in answer]
        return read.grips(answer, self.neck)


def _note_at(where: Plain, choices: Sequence[Choice], tune: Tune) -> int:
    """The note an answer speaks of: by place, or by its number from 0."""
    if isinstance(where, int) and not isinstance(where, bool):
        if 0 <= where < len(choices):
            return where
        raise Unread(f"note {where}: write its place, as in 2.1, or its number from 0 to {len(choices) - 1}")
    found = read.places(where)
    here = [i for i, c in enumerate(choices) if [bar_beat(tune, c.note.onset)] == found]
    if not here:
        listed = ", ".join(place(tune, c.note.onset) for c in choices)
        raise Unread(f"no note begins at {read.shown(where)}: write one of {listed}")
    return here[0]


def bar_beat(tune: Tune, onset: Fraction) -> tuple[int, Fraction]:
    return tune.bar_at(onset).number, tune.beat_at(onset)


@dataclass(frozen=True, repr=False)
class HarmoniseBar(_Harmonise):
    """Harmonise one bar.

    >>> task = HarmoniseBar('X:1\\nT:Two bars\\nM:2/4\\nL:1/4\\nK:C\\n"Cmaj7"E G|"Dm7"F2|', bar=1)
    >>> task
    Harmonise bar 1 of Two bars (C major, 120 quarter notes a minute), one grip a note, ...: 1.1 Cmaj7 E4, 1.2 Cmaj7 G4.
    >>> task.check("x3545x, x7958x").right
    True
    """

    kind = "harmonise_bar"
    about = "harmonise a bar, one grip a note"
    bar: int = 1

    @property
    def span(self) -> tuple[int, int]:
        return self.bar, self.bar

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        return {**material(draws, level), "bar": draws.randrange(1, BARS + 1)}


@dataclass(frozen=True, repr=False)
class HarmonisePhrase(_Harmonise):
    """Harmonise several bars.

    >>> HarmonisePhrase(key="F", first=1, last=2).check("x3545x")
    Not yet: 1 grip is given for ...
    """

    kind = "harmonise_phrase"
    about = "harmonise a phrase, one grip a note"
    first: int = 1
    last: int = BARS

    @property
    def span(self) -> tuple[int, int]:
        return self.first, self.last

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        first = draws.randrange(1, BARS)
        return {**material(draws, level), "first": first, "last": min(BARS, first + level)}


def material(draws: random.Random, level: int) -> dict[str, Any]:
    return {"key": draws.choice(KEYS[level].split()), "level": level, "seed": draws.randrange(10**6)}


@dataclass(frozen=True, repr=False)
class Mend(TuneExercise):
    """Mend an arrangement in which the seed has spoilt one grip: say where, and give a right grip.

    >>> task = Mend('X:1\\nT:Two bars\\nM:4/4\\nL:1/4\\nQ:1/4=90\\nK:C\\n"Cmaj7"E4|"Dm7"F2 A2|', first=1, last=2)
    >>> task
    One grip in bars 1 to 2 of Two bars (C major, 90 quarter notes a minute) is spoilt: 1.1 Cmaj7 E4 ...
    >>> task.check(task.solution()).right
    True
    """

    kind = "mend"
    about = "find the spoilt grip of an arrangement and mend it"
    form = "write the place and a right grip, as in 2.1, x3545x"
    first: int = 1
    last: int = 2

    def _ready(self) -> None:
        self.spoilt  # noqa: B018  making it refuses bad material

    @property
    def span(self) -> tuple[int, int]:
        return self.first, self.last

    @cached_property
    def arrangement(self) -> Arrangement:
        """These bars alone, arranged without a fault."""
        tune, bars = self.source, self._bars(self.source)
        inside = tuple(note for note in tune.notes if bars[0].onset <= note.onset < bars[-1].end)
        if not inside:
            raise HarmonyError(f"bars {self.first} to {self.last} of {tune.title} hold no notes: choose other bars")
        return self._arranged(replace(tune, notes=inside))

    @cached_property
    def spoilt(self) -> tuple[int, Arrangement]:
        """The index of the spoilt grip, and the arrangement with it: one lower note a fret off, and no other fault."""
        whole = self.arrangement
        draws = random.Random(f"mend {self.seed}")
        ways = [
            (choice, string, move)
            for choice in whole.choices
            if choice.voicing and choice.grip
            for string in choice.grip.strings[:-1]
            for move in (-1, 1)
        ]
        for choice, string, move in sorted(ways, key=lambda _: draws.random()):
            frets = list(choice.grip.frets) if choice.grip else []
            frets[-string] = (frets[-string] or 0) + move
            try:
                grip = self.neck.fingered(tuple(frets))
            except HarmonyError:
                continue
            if min(f for f in frets if f is not None) < 0:
                continue
            choices = tuple(sounded(grip, c, whole) if c is choice else c for c in whole.choices)
            made = replace(whole, choices=choices)
            if grip_faults(choice, grip, whole) and len(check(made)) == 1:
                return choice.index, made
        raise HarmonyError(f"no grip in {self._where} can be spoilt: choose bars with chords in them")

    @property
    def question(self) -> str:
        tune, choices = self.arrangement.tune, self.spoilt[1].choices
        listed = ", ".join(
            f"{place(tune, c.note.onset)} {c.chord or 'N.C.'} {c.note.pitch} {c.grip or '-'}" for c in choices
        )
        return f"One grip in {self._where} is spoilt: {listed}. Which, and how is it mended?"

    @property
    def picture(self) -> Picture:
        tune = self.arrangement.tune
        shown = [c for c in self.spoilt[1].choices if c.grip]
        told = [f"{place(tune, c.note.onset)} {c.chord or 'N.C.'}" for c in shown]
        return grip_row(self.neck, [(None, c.grip) for c in shown if c.grip], captions=told, label="note")

    @property
    def hints(self) -> tuple[str, ...]:
        index, made = self.spoilt
        choice, tune = self.arrangement.choices[index], self.arrangement.tune
        spoilt = made.choices[index].grip
        assert spoilt is not None
        return (
            "name the notes of each grip and compare them with the chord above it; the top notes are all right",
            f"it is in bar {tune.bar_at(choice.note.onset).number}",
            grip_faults(choice, spoilt, self.arrangement)[0],
        )

    @property
    def truth(self) -> str:
        where = place(self.arrangement.tune, self.arrangement.choices[self.spoilt[0]].note.onset)
        return f"the spoilt grip was {self.spoilt[1].choices[self.spoilt[0]].grip} at {where}"

    def solution(self) -> tuple[str, str]:
        choice = self.arrangement.choices[self.spoilt[0]]
        return place(self.arrangement.tune, choice.note.onset), str(choice.grip)

    def judge(self, answer: Plain) -> Verdict:
        index, made = self.spoilt
        tune = made.tune
        if isinstance(answer, str):
            answer = _place_and_grip(answer, self.neck)
        names = {"place": ("where", "index", "bar", "note"), "grip": ("frets", "mended")}
        parts = read.keyed(answer, names)
        if not parts and isinstance(answer, dict) and len(answer) == 1:
            parts = dict(zip(("place", "grip"), next(iter(answer.items())), strict=True))
        if not parts or read.blank(parts.get("place")):
            raise Unread(f"the place is still to be written; {self.form}")
        found = _note_at(parts["place"], made.choices, tune)
        choice = made.choices[found]
        if found != index:
            chord = choice.voicing.chord if choice.voicing else choice.chord
            where = place(tune, choice.note.onset)
            return [f"{where}: {choice.grip} is sound: every note of it belongs to {chord}"], []
        if read.blank(parts.get("grip")):
            return ["the place is right; the mended grip is still to be written"], []
        grip = read.grip(parts["grip"], self.neck)
        faults = grip_faults(choice, grip, made)
        if faults:
            return faults, []
        mended = sounded(self.neck.fingered(grip.frets), choice, made)
        return check(replace(made, choices=(*made.choices[:index], mended, *made.choices[index + 1 :]))), []

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        first = draws.randrange(1, BARS)
        return {**material(draws, level), "first": first, "last": min(BARS, first + level)}


def _place_and_grip(text: str, neck: Neck) -> tuple[Plain, Plain]:
    """The parts of “2.1, x3545x” or “bar 2, beat 1: x3545x”."""
    words = text.replace("→", " ").replace(":", " ").replace(",", " ").split()
    for cut in range(1, len(words)):
        try:
            return " ".join(words[:cut]), str(read.grip(" ".join(words[cut:]), neck))
        except Unread:
            continue
    try:
        read.places(text)
    except Unread:
        return (" ".join(words[:-1]) or text), words[-1] if words else None
    return text, None
