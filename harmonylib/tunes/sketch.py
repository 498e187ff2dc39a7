"""A tune as it is written down: note after note, each with its length and perhaps a chord symbol, as ABC.

Conventions
- Lengths are quarter notes. A note ends in the bar it starts in; what does not fit is refused at once. A longer one is
  written in parts, each tied to the one before.
- A triplet is three notes in the time of two, or what adds up to them: it starts with its first note and ends where its
  notes make one or two quarters. It starts on a beat, in a metre of quarters, and only notes of a triplet go into it.
- A key pressed is spelled by the key, then by the chord, else with a flat or sharp as the key has them.

Source: ABC 2.1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from typing import NamedTuple

from harmonylib.errors import HarmonyError, shown
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Name, Pitch, spell
from harmonylib.tunes.metre import quarters
from harmonylib.tunes.tune import signature, tonic
from harmonylib.wording import capital, many, plain

LENGTHS = {
    # note                quarter notes
    **{"whole": Fraction(4), "dotted half": Fraction(3), "half": Fraction(2), "dotted quarter": Fraction(3, 2)},
    **{"quarter": Fraction(1), "dotted eighth": Fraction(3, 4), "eighth": Fraction(1, 2), "sixteenth": Fraction(1, 4)},
    **{"triplet quarter": Fraction(2, 3), "triplet eighth": Fraction(1, 3)},
}

THIRDS = (Fraction(1, 3), Fraction(2, 3))
"""The lengths that stand in a triplet."""

METRES = ("4/4", "3/4", "2/4", "6/8", "5/4")

KEYS = tuple("C F Bb Eb Ab Db Gb G D A E B F# Am Dm Gm Cm Fm Bbm Em Bm F#m C#m".split())

BARS_A_LINE = 4

ACCIDENTALS = {-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}


class Part(NamedTuple):
    """A note or a rest (without a pitch), the chord symbol that starts with it, and whether it holds on the last."""

    pitch: Pitch | None
    length: Fraction
    chord: str = ""
    tied: bool = False


@dataclass(frozen=True)
class Sketch:
    """What has been written down; adding to it or taking back makes another one.

    >>> made = Sketch("Two", "F", "3/4").add(70, "half", "Bb6").add(None, "quarter").add(65, "dotted half", "F")
    >>> print(made.abc)
    X:1
    T:Two
    M:3/4
    L:1/8
    K:F
    "Bb6"B4 z2 | "F"F6 |]
    >>> made.told
    '2 bars, each full'
    """

    title: str = "My tune"
    key: str = "C"
    metre: str = "4/4"
    parts: tuple[Part, ...] = ()

    @property
    def bar(self) -> Fraction:
        """How long a bar is."""
        beats, unit = map(int, self.metre.split("/"))
        return Fraction(4 * beats, unit)

    @property
    def length(self) -> Fraction:
        return _length(self.parts)

    @property
    def left(self) -> Fraction:
        """What the bar has room for that comes next: a whole bar where the last one is full."""
        return self.bar - self.length % self.bar

    @property
    def told(self) -> str:
        """How far the tune has come, and what does not fill its bar."""
        full, rest = divmod(self.length, self.bar)
        if not self.parts:
            return "nothing is written yet"
        if self.triplet:
            return f"the triplet in bar {full + 1} is not full: {self._left_of_triplet} left"
        if rest:
            return f"bar {full + 1} is not full: {quarters(self.left)} left"
        return f"{many(int(full), 'bar')}, {'each ' if full > 1 else ''}full"

    @property
    def triplet(self) -> tuple[Part, ...]:
        """The parts of a triplet that is not full yet."""
        last = _groups(self.parts)[-1:]
        return tuple(last[0]) if last and last[0][0].length in THIRDS and _length(last[0]).denominator > 1 else ()

    @property
    def _left_of_triplet(self) -> str:
        """What ends the triplet: quarters where it has only those and its bar has room for three."""
        held = _length(self.triplet)
        if all(part.length == THIRDS[1] for part in self.triplet) and 2 - held <= self.left:
            return many(int((2 - held) / THIRDS[1]), "triplet quarter")
        return many(int((ceil(held) - held) / THIRDS[0]), "triplet eighth")

    def add(self, pitch: Pitch | int | None, note: str, chord: str = "") -> Sketch:
        """One note more, by pitch or by its key as a MIDI number (None: a rest).

        Raises `HarmonyError` for what does not fit its bar or its triplet and for a strange chord.
        """
        symbol = chord.strip()
        meant = Chord.parse(symbol) if symbol else self.chord
        pitch = spelled(pitch, self.key, meant) if isinstance(pitch, int) else pitch
        return self._with(Part(pitch, LENGTHS[note], symbol), note)

    def tie(self, note: str, chord: str = "") -> Sketch:
        """The last note held on for so long, over the bar line or within the bar; a chord may come in meanwhile.

        Raises `HarmonyError` where there is no note to hold, and as `add` does.

        >>> held = Sketch("Held").add(60, "whole", "C6").tie("half").add(None, "half")
        >>> held.abc.splitlines()[-1]
        '"C6"C8- | C4 z4 |]'
        """
        last, symbol = self.parts[-1] if self.parts else None, chord.strip()
        if not last or not last.pitch:
            raise HarmonyError("a tie holds a note on: write the note first, then tie to it what it is held for")
        if symbol:
            Chord.parse(symbol)
        return self._with(Part(last.pitch, LENGTHS[note], symbol, tied=True), note)

    def _with(self, part: Part, note: str) -> Sketch:
        """With one part more, if it fits."""
        third, held = part.length in THIRDS, _length(self.triplet) + part.length
        room = self.left - part.length
        if self.triplet and (not third or held > 2 or room < ceil(held) - held):
            why = self.told
        elif third and self.metre.endswith("8"):
            why = f"three eighths are a beat of {self.metre} as they stand; write plain eighths"
        elif third and not self.triplet and self.left.denominator > 1:
            why = f"a triplet starts on a beat; fill the beat first, {self._room}"
        elif room < 0:
            why = self._room + ("; write as much, then tie the rest to it" if part.pitch else "")
        else:
            return replace(self, parts=(*self.parts, part))
        article = "an" if note[0] in "aeiou" else "a"
        raise HarmonyError(f"{article} {note} {'note' if part.pitch else 'rest'} does not fit: {why}")

    @property
    def _room(self) -> str:
        return f"bar {self.length // self.bar + 1} has {quarters(self.left)} left"

    @property
    def chord(self) -> Chord | None:
        """The chord written last."""
        symbols = [part.chord for part in self.parts if part.chord]
        return Chord.parse(symbols[-1]) if symbols else None

    def take_back(self) -> Sketch:
        """Without the note or rest written last."""
        if not self.parts:
            raise HarmonyError("there is nothing to take back")
        return replace(self, parts=self.parts[:-1])

    @property
    def abc(self) -> str:
        """The tune as ABC text; a triplet that is not full yet ends in a rest."""
        held, parts = _length(self.triplet), self.parts
        if self.triplet:
            parts = (*parts, Part(None, ceil(held) - held))
        bars: list[list[str]] = []
        at, altered = Fraction(0), set[str]()
        ties = iter([*(part.tied for part in parts), False][1:])
        for group in _groups(parts):
            if at % self.bar == 0:
                bars.append([])
                altered.clear()
            third = group[0].length in THIRDS
            written = f"(3:2:{len(group)}" if third else ""
            for part in group:
                symbol = f'"{part.chord}"' if part.chord else ""
                units = _units(part.length * Fraction(3, 2) if third else part.length)
                written += f"{symbol}{_sign(part.pitch, self.key, altered)}{units}{'-' if next(ties) else ''}"
            bars[-1].append(written)
            at += _length(group)
        lines = [bars[n : n + BARS_A_LINE] for n in range(0, len(bars), BARS_A_LINE)]
        music = " |\n".join(" | ".join(" ".join(bar) for bar in line) for line in lines)
        head = f"X:1\nT:{plain(self.title).replace('%', ' ')}\nM:{self.metre}\nL:1/8\nK:{self.key}"
        return f"{head}\n{music} |]"


def _groups(parts: Sequence[Part]) -> list[list[Part]]:
    """Parts by themselves, those of a triplet together."""
    groups: list[list[Part]] = []
    open_ = False
    for part in parts:
        third = part.length in THIRDS
        if third and open_:
            groups[-1].append(part)
        else:
            groups.append([part])
        open_ = third and _length(groups[-1]).denominator > 1
    return groups


def _length(parts: Sequence[Part]) -> Fraction:
    return sum((part.length for part in parts), Fraction(0))


def named(text: str, near: Pitch | None = None) -> Pitch:
    """A note written as text; without an octave the one nearest to a pitch, or in the middle of the neck.

    >>> named("E5"), named("bb"), named("c", Pitch.parse("A4"))
    (E5, B♭4, C5)
    """
    written = capital(text.strip())
    if written[-1:].isdigit():
        return Pitch.parse(written)
    try:
        name = Name.parse(written)
    except HarmonyError:
        raise HarmonyError(f"{shown(text)} is not a note: write a letter, as in e, Bb or E5") from None
    middle = near.midi if near else 66
    return name.at(middle - 6 + (name.pitch_class - middle + 6) % 12)


def spelled(midi: int, key: str, chord: Chord | None = None) -> Pitch:
    """A key of the keyboard as a pitch of the key, else of the chord, else the plainest.

    >>> [str(spelled(70, key)) for key in ("F", "E", "C")], str(spelled(70, "C", Chord.parse("F#7")))
    (['B♭4', 'A♯4', 'B♭4'], 'A♯4')
    """
    for letter in "CDEFGAB":
        name = Name(letter, _signature(key)[letter])
        if name.pitch_class == midi % 12:
            return name.at(midi)
    if chord and midi % 12 in chord.tones:
        return chord.name_of(chord.tones[midi % 12]).at(midi)
    return spell(midi, flats=_fifths(key) < 1).at(midi)


def _fifths(key: str) -> int:
    """Sharps of a key, flats below 0."""
    name, mode = Name.parse(key.rstrip("m")), "minor" if key.endswith("m") else "major"
    return next(fifths for fifths in range(-7, 8) if tonic(fifths, mode) == name)


def _signature(key: str) -> dict[str, int]:
    return signature(_fifths(key))


def _sign(pitch: Pitch | None, key: str, altered: set[str]) -> str:
    """A note as ABC writes it; `altered` are the letters that had an accidental in the bar so far, and grows.

    Readers differ on whether an accidental holds for other octaves, so such a letter is written out from then on.
    """
    if pitch is None:
        return "z"
    if pitch.alter != _signature(key)[pitch.letter]:
        altered.add(pitch.letter)
    sign = ACCIDENTALS[pitch.alter] if pitch.letter in altered else ""
    letter = pitch.letter.lower() if pitch.octave > 4 else pitch.letter
    return sign + letter + "'" * (pitch.octave - 5) + "," * (4 - pitch.octave)


def _units(length: Fraction) -> str:
    """A length in eighths, as ABC writes it."""
    units = 2 * length
    above = str(units.numerator) if units.numerator != 1 else ""
    return above + (f"/{units.denominator}" if units.denominator != 1 else "")
