"""Spelled pitches: a letter, an accidental and an octave; every number is derived from them.

Conventions
- Octaves change at C; octave 4 starts at middle C, which is MIDI note 60 (MIDI 1.0).
- A4 sounds at 440 Hz (ISO 16:1975), equal temperament: f = 440 · 2^((m − 69) / 12).
- All pitches are *sounding* pitches. Guitar notation is written an octave higher; only the score writer knows that.
- Accidentals are read in ASCII or Unicode (``b`` ``♭``, ``#`` ``♯``) and always shown in Unicode.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from harmonylib.errors import HarmonyError, whole

LETTERS = "CDEFGAB"

SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

ACCIDENTALS = {-3: "♭♭♭", -2: "♭♭", -1: "♭", 0: "", 1: "♯", 2: "♯♯", 3: "♯♯♯"}

ROOTS = "C C♯ D♭ D D♯ E♭ E F F♯ G♭ G G♯ A♭ A A♯ B♭ B".split()
"""The seventeen roots in use: the naturals and both names of every black key."""

_ASCII = str.maketrans({"♭": "b", "♯": "#", "𝄫": "bb", "𝄪": "##", "♮": ""})

_NAME = re.compile(r"([A-G])(bbb|bb|b|###|##|#|x|)")

_PITCH = re.compile(_NAME.pattern + r"(-?\d{1,2})")


@lru_cache(maxsize=4096)
def alter_of(accidental: str) -> int:
    """Semitones an accidental adds, in ASCII or Unicode.

    >>> alter_of("♭"), alter_of("##"), alter_of("")
    (-1, 2, 0)
    """
    text = accidental.translate(_ASCII).replace("x", "##")
    if text.strip("b") and text.strip("#"):
        raise HarmonyError(f"{accidental!r} is not an accidental: write flats (b, ♭) or sharps (#, ♯)")
    return text.count("#") - text.count("b")


@dataclass(frozen=True, slots=True, order=True)
class Name:
    """A spelled note name without an octave: the root of a chord, the tonic of a key.

    >>> Name.parse("Eb"), Name.parse("F♯").pitch_class
    (E♭, 6)
    """

    letter: str
    alter: int = 0

    @classmethod
    @lru_cache(maxsize=1024)
    def parse(cls, text: str) -> Name:
        """Read ``"C"``, ``"Eb"``, ``"F♯"``; raises `HarmonyError` for anything else."""
        match = _NAME.fullmatch(str(text).translate(_ASCII))
        if not match:
            raise HarmonyError(
                f"{text!r} is not a note name: write a capital letter A–G and an accidental, as in C, Eb or F♯"
            )
        return cls(match[1], alter_of(match[2]))

    @property
    def pitch_class(self) -> int:
        """Semitones above C, 0–11."""
        return (SEMITONES[self.letter] + self.alter) % 12

    def up(self, steps: int, semitones: int) -> Name:
        """The name `steps` letters and `semitones` semitones higher: thirds stay thirds.

        >>> Name.parse("Eb").up(2, 3), Name.parse("C").up(-1, -1)
        (G♭, B)
        """
        return _up(self, whole(steps, "a number of letters"), whole(semitones, "a number of semitones"))

    def at(self, midi: int) -> Pitch:
        """This name as a pitch that sounds at MIDI number `midi`.

        >>> Name.parse("Cb").at(59)
        C♭4
        """
        if (midi - self.pitch_class) % 12:
            raise HarmonyError(f"{self} cannot sound at MIDI note {midi}: that note has another pitch class")
        return Pitch(self.letter, self.alter, (midi - SEMITONES[self.letter] - self.alter) // 12 - 1)

    def simplest(self) -> Name:
        """The same sound with at most one accidental.

        >>> Name.parse("F##").simplest(), Name.parse("Bbb").simplest(), Name.parse("Eb").simplest()
        (G, A, E♭)
        """
        return self if abs(self.alter) < 2 else spell(self.pitch_class, flats=self.alter < 0)

    def __str__(self) -> str:
        return self.letter + ACCIDENTALS[self.alter]

    __repr__ = __str__


@lru_cache(maxsize=8192)
def _up(name: Name, steps: int, semitones: int) -> Name:
    letter = LETTERS[(LETTERS.index(name.letter) + steps) % 7]
    alter = (name.pitch_class + semitones - SEMITONES[letter] + 6) % 12 - 6
    return Name(letter, alter) if abs(alter) <= 3 else spell(name.pitch_class + semitones, flats=alter < 0)


def spell(pitch_class: int, flats: bool = True) -> Name:
    """The plainest name of a pitch class: a natural, else one flat (or one sharp).

    >>> spell(10), spell(10, flats=False), spell(4)
    (B♭, A♯, E)
    """
    names = "C D♭ D E♭ E F G♭ G A♭ A B♭ B" if flats else "C C♯ D D♯ E F F♯ G G♯ A A♯ B"
    return Name.parse(names.split()[pitch_class % 12])


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled, sounding pitch.

    >>> p = Pitch.parse("Eb4")
    >>> p, p.midi, round(p.frequency, 2)
    (E♭4, 63, 311.13)
    >>> Pitch.parse("B#3").midi == Pitch.parse("C4").midi
    True
    """

    letter: str
    alter: int
    octave: int

    @classmethod
    def parse(cls, text: str) -> Pitch:
        """Read ``"C4"``, ``"Eb3"``, ``"F♯5"``; raises `HarmonyError` for anything else."""
        match = _PITCH.fullmatch(str(text).translate(_ASCII))
        if not match:
            raise HarmonyError(
                f"{text!r} is not a pitch: write a letter A–G, an accidental and an octave, as in C4 or E♭3"
            )
        return cls(match[1], alter_of(match[2]), int(match[3]))

    @property
    def midi(self) -> int:
        """MIDI note number; middle C is 60."""
        return 12 * (self.octave + 1) + SEMITONES[self.letter] + self.alter

    @property
    def name(self) -> Name:
        """The spelling without the octave."""
        return Name(self.letter, self.alter)

    @property
    def frequency(self) -> float:
        """Hz, equal temperament, A4 = 440 (ISO 16:1975)."""
        return 440.0 * 2 ** ((self.midi - 69) / 12)

    def up(self, steps: int, semitones: int) -> Pitch:
        """The pitch `steps` letters and `semitones` semitones higher (both may be negative).

        >>> Pitch.parse("B3").up(1, 1), Pitch.parse("C4").up(-7, -12)
        (C4, C3)
        """
        return self.name.up(steps, semitones).at(self.midi + semitones)

    def __str__(self) -> str:
        return f"{self.name}{self.octave}"

    __repr__ = __str__
