"""What exercises on a tune share: the tune, its bars and arrangement, and the melodies invented for them.

The tune is the name of a file, ABC text, or, when none is named, four bars invented from key, level and seed.

Conventions
- Bars are named by their number, places are “bar.beat”; a call or gap is counted from 1 as a reader meets it.
- A melody note that the arrangement of this library leaves single may stay single; the others ask for four notes.
- What counts as right is what `arranging.checking` and `answering.checking` find nothing wrong with.

Sources: the melodies are drawn from chord tones and scale steps, the chord progressions are common practice.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import InitVar, dataclass, field, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from typing import Any

from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.choice import Choice
from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_notes, written
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.comparing import text_of
from harmonylib.guitar.grips import Grip
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import passing
from harmonylib.theory.families import interval
from harmonylib.theory.pitch import Name
from harmonylib.theory.tones import degree_of
from harmonylib.theory.voicings import Voicing
from harmonylib.tunes.bars import WhichBars, bars_meant
from harmonylib.tunes.metre import Bar, beat_text
from harmonylib.tunes.reading import read as read_file
from harmonylib.tunes.reading import read_text
from harmonylib.tunes.tune import Change, Note, Tune

PROGRESSIONS = {
    # level  four bars, each the degree of its root in the key and its family
    1: ("1 maj7, 6 m7, 2 m7, 5 7", "1 6, 4 maj7, 5 7, 1 6", "2 m7, 5 7, 1 maj7, 1 6"),
    2: ("1 maj7, 3 m7, 4 maj7, 4 m6", "2 m7, 5 7, 3 m7, 6 7", "1 6, 2 m7, 5 7sus4, 5 7"),
    3: ("2 m7♭5, 5 7, 1 m6, 1 m(maj7)", "3 m7♭5, 6 7♯5, 2 m7, 5 7♭5", "1 maj7, ♭3 dim7, 2 m7, 5 7♯5"),
}


MELODY_RHYTHMS = {
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
        for place, length in enumerate(draws.choice(MELODY_RHYTHMS[level]).split()):
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
    `tempo` quarter notes a minute (0: the tune's own), `density` one of `arranging.density.DENSITIES`. Where bars are
    asked, ``bars="B"`` says first and last at once.
    """

    material = ("arrangement",)
    tune: str = ""
    key: str = field(default="", kw_only=True)
    level: int = field(default=1, kw_only=True)
    seed: int = field(default=0, kw_only=True)
    tempo: int = field(default=0, kw_only=True)
    density: str = field(default="every", kw_only=True)
    bars: InitVar[WhichBars] = field(default=None, kw_only=True)

    def __post_init__(self, bars: WhichBars) -> None:
        if bars is not None:
            if not hasattr(self, "first"):
                raise HarmonyError(f"bars {written.quoted(bars)}: {self.about} takes no bars")
            chosen = bars_meant(self.source, bars)
            object.__setattr__(self, "first", chosen[0].number)
            object.__setattr__(self, "last", chosen[-1].number)
        for name in ("level", "seed", "tempo", *(n for n in ("bar", "first", "last", "call") if hasattr(self, n))):
            if type(getattr(self, name)) is not int:
                raise HarmonyError(f"{name} {written.quoted(getattr(self, name))}: give a whole number")
        if self.level not in TEMPOS:
            raise HarmonyError(f"level {self.level}: choose 1 to {len(TEMPOS)}")
        self._check_material()

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

    def _drawn_after(self, number: int) -> Exercise:
        """The same on other bars (or another call) of this tune; on another invented one, where none was named."""
        if not self.tune.strip():
            return super()._drawn_after(number)
        numbers = [bar.number for bar in self.source.bars]
        for step in range(number, number + len(numbers)):
            with suppress(HarmonyError):
                made = replace(self, **self._moved(step, numbers), seed=self.seed + number)
                if made.question != self.question:
                    return made
        raise HarmonyError(f"{self.source.title} has no other bars to ask about")

    def _moved(self, step: int, numbers: Sequence[int]) -> dict[str, Any]:
        """The bars, or the call, `step` further on; after the last comes the first."""
        if hasattr(self, "call"):
            return {"call": (self.call - 1 + step) % len(numbers) + 1}
        first, last = self.span
        start = (numbers.index(first) + step * (last - first + 1)) % len(numbers)
        if hasattr(self, "bar"):
            return {"bar": numbers[start]}
        return {"first": numbers[start], "last": numbers[min(start + last - first, len(numbers) - 1)]}

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
    pitches = tuple(reading_notes.named(m, over).at(m) for m in midi)
    return replace(choice, grip=grip, voicing=Voicing(over, degrees, "own", degrees, pitches))


def bar_beat(tune: Tune, onset: Fraction) -> tuple[int, Fraction]:
    return tune.bar_at(onset).number, tune.beat_at(onset)


def material(draws: random.Random, level: int) -> dict[str, Any]:
    return {"key": draws.choice(KEYS[level].split()), "level": level, "seed": draws.randrange(10**6)}
