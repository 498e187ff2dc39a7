"""Exercises on bars of a tune: harmonise them, or mend a grip in them."""

from __future__ import annotations

import random
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.checking import check
from harmonylib.arranging.choice import Choice
from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_grips, reading_notes, reading_words, written
from harmonylib.exercises.comparing import Verdict, what_is, word
from harmonylib.exercises.tunes import BARS, TuneExercise, bar_beat, material, place, sounded
from harmonylib.exercises.written import Unread, Written
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.grips import grip_row
from harmonylib.pictures.melody import melody_picture
from harmonylib.pictures.picture import Picture
from harmonylib.theory.diminished import passing
from harmonylib.theory.tones import degree_of
from harmonylib.tunes.tune import Tune
from harmonylib.wording import counted, joined


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
        top = reading_notes.named(max(midi), chord).at(max(midi)) if chord else max(midi)
        return [f"{where}: the top note of {grip} is {top}; the melody {melody} belongs on top, on the highest string"]
    if choice.voicing is None and len(midi) == 1:
        return []
    if chord is None:
        return [f"{where}: no chord sounds here; {melody} stays single"]
    degree = degree_of(melody, chord)
    over = chord if degree else passing(melody, chord).chord
    allowed = over.allowed
    said = (
        f"{melody.name} is {word(degree)} of {chord}"
        if degree
        else f"{melody.name} is foreign to {chord}, so {over} is asked"
    )
    wrong = []
    for number, note in zip(grip.strings, midi, strict=True):
        if note % 12 not in allowed:
            wrong.append(
                f"{where}: string {number} of {grip} is off: {what_is(reading_notes.named(note, chord), over)}; {said}"
            )
    if not wrong and (len(midi) != 4 or len({m % 12 for m in midi}) != 4):
        twice = [m for m in midi if sum((m - other) % 12 == 0 for other in midi) > 1]
        held = joined(reading_notes.named(m, over) for m in midi)
        if twice:
            strings = [str(string) for string, m in zip(grip.strings, midi, strict=True) if (m - twice[0]) % 12 == 0]
            held += f", {reading_notes.named(twice[0], over)} on strings {' and '.join(strings)}"
        wrong.append(f"{where}: {grip} holds {held}; four different notes of {over} are asked")
    return wrong


_AT = re.compile(r"^\d{1,3}(?:\.\d\S*|[:.)])\s+(?=[xX\d])")  # a place before its grip, as in “1.3 x3545x”


@dataclass(frozen=True, repr=False)
class _Harmonise(TuneExercise):
    """Give every melody note of some bars a grip."""

    writing = "click or write a grip for each note, with commas between them"
    examples = ("x3545x, x7958x", "xx2323, xx5656", "3x443x, 7x778x")
    grips = "several"

    def _check_material(self) -> None:
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
    def music(self) -> Arrangement:
        return self.arrangement

    @property
    def lines(self) -> tuple[str, ...]:
        """A line for every note."""
        tune = self.arrangement.tune
        return tuple(
            f"{place(tune, c.note.onset)} {c.chord or 'N.C.'} {c.note.pitch}" for c in self.arrangement.choices
        )

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

    def judge(self, answer: Written) -> Verdict:
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

    def _grips(self, answer: Written) -> list[Grip | None]:
        """One entry a note; a dictionary may name the notes it speaks of by place or index."""
        choices, tune = self.arrangement.choices, self.arrangement.tune
        if isinstance(answer, dict):
            found: list[Grip | None] = [None] * len(choices)
            for key, value in answer.items():
                index = _note_at(key, choices, tune)
                found[index] = None if written.blank(value) else reading_grips.grip(value, self.neck)
            return found
        if isinstance(answer, str):
            answer = (
                tuple(part.strip() for part in answer.replace(";", ",").replace("\n", ",").split(","))
                if "," in answer or ";" in answer or "\n" in answer
                else answer
            )
        if isinstance(answer, tuple):
            bare = [_AT.sub("", a) if isinstance(a, str) else a for a in answer]
            return [None if written.blank(a) or a in ("-", "–") else reading_grips.grip(a, self.neck) for a in bare]
        return reading_grips.grips(answer, self.neck)


def _note_at(where: Written, choices: Sequence[Choice], tune: Tune) -> int:
    """The note an answer speaks of: by place, or by its number from 0."""
    if isinstance(where, int) and not isinstance(where, bool):
        if 0 <= where < len(choices):
            return where
        raise Unread(f"note {where}: write its place, as in 2.1, or its number from 0 to {len(choices) - 1}")
    found = reading_words.places(where)
    here = [i for i, c in enumerate(choices) if [bar_beat(tune, c.note.onset)] == found]
    if not here:
        listed = ", ".join(place(tune, c.note.onset) for c in choices)
        raise Unread(f"no note begins at {written.quoted(where)}: write one of {listed}")
    return here[0]


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
    chapter = 3
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
    chapter = 5
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
    chapter = 7
    about = "find the spoilt grip of an arrangement and mend it"
    writing = "write the place, then click or write a right grip"
    examples = ("2.1, x3545x", "1.1, xx2323", "3.1, 3x443x")
    grips = "last"
    material = ("spoilt",)
    first: int = 1
    last: int = 2

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
    def lines(self) -> tuple[str, ...]:
        return ("place", "grip")

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

    def judge(self, answer: Written) -> Verdict:
        index, made = self.spoilt
        tune = made.tune
        if isinstance(answer, str):
            answer = _place_and_grip(answer, self.neck)
        names = {"place": ("where", "index", "bar", "note"), "grip": ("frets", "mended")}
        parts = written.keyed(answer, names)
        if not parts and isinstance(answer, dict) and len(answer) == 1:
            parts = dict(zip(("place", "grip"), next(iter(answer.items())), strict=True))
        if not parts or written.blank(parts.get("place")):
            raise Unread(f"the place is still to be written; {self.form}")
        found = _note_at(parts["place"], made.choices, tune)
        choice = made.choices[found]
        if found != index:
            chord = choice.voicing.chord if choice.voicing else choice.chord
            where = place(tune, choice.note.onset)
            return [f"{where}: {choice.grip} is sound: every note of it belongs to {chord}"], []
        if written.blank(parts.get("grip")):
            return ["the place is right; the mended grip is still to be written"], []
        grip = reading_grips.grip(parts["grip"], self.neck)
        faults = grip_faults(choice, grip, made)
        if faults:
            return faults, []
        mended = sounded(self.neck.fingered(grip.frets), choice, made)
        return check(replace(made, choices=(*made.choices[:index], mended, *made.choices[index + 1 :]))), []

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        first = draws.randrange(1, BARS)
        return {**material(draws, level), "first": first, "last": min(BARS, first + level)}


def _place_and_grip(text: str, neck: Neck) -> tuple[Written, Written]:
    """The parts of “2.1, x3545x” or “bar 2, beat 1: x3545x”."""
    words = text.replace("→", " ").replace(":", " ").replace(",", " ").split()
    for cut in range(1, len(words)):
        try:
            return " ".join(words[:cut]), str(reading_grips.grip(" ".join(words[cut:]), neck))
        except Unread:
            continue
    try:
        reading_words.places(text)
    except Unread:
        return (" ".join(words[:-1]) or text), words[-1] if words else None
    return text, None
