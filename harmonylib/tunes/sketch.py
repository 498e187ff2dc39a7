"""A tune as it is written down: note after note, each with its length and perhaps a chord symbol, as ABC.

Conventions
- Lengths are quarter notes. A note ends in the bar it starts in; what does not fit is refused at once.
- A key pressed is spelled by the key, then by the chord, else with a flat or sharp as the key has them.

Source: ABC 2.1.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

from harmonylib.errors import HarmonyError, shown
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Name, Pitch, spell
from harmonylib.tunes.metre import beat_text
from harmonylib.tunes.tune import signature, tonic
from harmonylib.wording import capital, many, plain

LENGTHS = {
    # note                quarter notes
    **{"whole": Fraction(4), "dotted half": Fraction(3), "half": Fraction(2), "dotted quarter": Fraction(3, 2)},
    **{"quarter": Fraction(1), "dotted eighth": Fraction(3, 4), "eighth": Fraction(1, 2), "sixteenth": Fraction(1, 4)},
}

METRES = ("4/4", "3/4", "2/4", "6/8", "5/4")

KEYS = tuple("C F Bb Eb Ab Db Gb G D A E B F# Am Dm Gm Cm Fm Bbm Em Bm F#m C#m".split())

BARS_A_LINE = 4

ACCIDENTALS = {-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}


class Part(NamedTuple):
    """A note or a rest (without a pitch), and the chord symbol that starts with it."""

    pitch: Pitch | None
    length: Fraction
    chord: str = ""


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
        return sum((part.length for part in self.parts), Fraction(0))

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
        if rest:
            return f"bar {full + 1} is not full: {quarters(self.left)} left"
        return f"{many(int(full), 'bar')}, {'each ' if full > 1 else ''}full"

    def add(self, pitch: Pitch | int | None, note: str, chord: str = "") -> Sketch:
        """One note more, by pitch or by its key as a MIDI number (None: a rest).

        Raises `HarmonyError` for what does not fit its bar and for a strange chord.
        """
        length = LENGTHS[note]
        if length > self.left:
            bar = int(self.length // self.bar) + 1
            raise HarmonyError(f"a {note} note does not fit: bar {bar} has {quarters(self.left)} left")
        symbol = chord.strip()
        meant = Chord.parse(symbol) if symbol else self.chord
        pitch = spelled(pitch, self.key, meant) if isinstance(pitch, int) else pitch
        return replace(self, parts=(*self.parts, Part(pitch, length, symbol)))

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
        """The tune as ABC text."""
        bars: list[list[str]] = []
        at, altered = Fraction(0), set[str]()
        for part in self.parts:
            if at % self.bar == 0:
                bars.append([])
                altered.clear()
            symbol = f'"{part.chord}"' if part.chord else ""
            bars[-1].append(f"{symbol}{_sign(part.pitch, self.key, altered)}{_units(part.length)}")
            at += part.length
        lines = [bars[n : n + BARS_A_LINE] for n in range(0, len(bars), BARS_A_LINE)]
        music = " |\n".join(" | ".join(" ".join(bar) for bar in line) for line in lines)
        head = f"X:1\nT:{plain(self.title).replace('%', ' ')}\nM:{self.metre}\nL:1/8\nK:{self.key}"
        return f"{head}\n{music} |]"


def quarters(length: Fraction) -> str:
    """A length in words.

    >>> quarters(Fraction(1)), quarters(Fraction(3, 2))
    ('1 quarter', '1½ quarters')
    """
    text = beat_text(length).removeprefix("0")
    return many(text, "quarter") if length > 1 else f"{text} quarter"


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
