"""Chords: what a symbol on a lead sheet says, spelled note by note.

Conventions
- A degree is text: an accidental and a number above the root, ``"1"``, ``"♭3"``, ``"♯11"``. Semitones follow from it.
- A *family* is four degrees; a *triad* has three and names the families a block chord may fill it up to.
- 9, 11 and 13 are extensions: each takes the place of a neighbour, so that four notes stay four notes.

Sources: the degree content of every kind is that of MusicXML 4.0 ``kind-value`` where it has one; which symbol means
which family, how triads are filled and which neighbour an extension replaces are common practice.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache

from harmonylib.theory.families import CHORD_KINDS, REPLACES, TRIADS, degrees_of, interval
from harmonylib.theory.pitch import Name
from harmonylib.theory.symbols import read_symbol


@dataclass(frozen=True)
class Chord:
    """A chord symbol, understood: root, kind, extensions and bass.

    >>> c = Chord.parse("Ebm7")
    >>> c, c.names, c.family
    (E♭m7, (E♭, G♭, B♭, D♭), 'minor seventh')
    >>> Chord.parse("G13(b9)/F").extensions
    ('♭9', '13')
    """

    root: Name
    kind: str
    extensions: tuple[str, ...] = ()
    bass: Name | None = None
    remarks: tuple[str, ...] = field(default=(), compare=False, repr=False)

    @classmethod
    def parse(cls, symbol: str) -> Chord:
        """Read a chord symbol as lead sheets write it.

        Raises `HarmonyError` that quotes the symbol, points at the character that cannot be read and names the
        nearest symbol it could have been.

        >>> Chord.parse("C-7b5") == Chord.parse("Cø") == Chord.parse("C m7(♭5)")
        True
        >>> Chord.parse("Cmaj7x")
        Traceback (most recent call last):
        harmonylib.errors.HarmonyError: 'Cmaj7x' is not a chord symbol: 'x', character 6, ... did you mean Cmaj7?
        """
        return _parsed(str(symbol))

    @property
    def family(self) -> str:
        """The name of its kind, in words."""
        return CHORD_KINDS[self.kind][0] + (", major seventh" if self._seventh_beside else "")

    @property
    def is_triad(self) -> bool:
        return len(self.degrees) == 3

    @property
    def degrees(self) -> tuple[str, ...]:
        """The degrees as written, without extensions: three for a triad, four for a family.

        >>> Chord.parse("Cdim").degrees, Chord.parse("Cdim(maj7)").degrees
        (('1', '♭3', '♭5'), ('1', '♭3', '♭5', '7'))
        """
        return (*degrees_of(self.kind), *self._seventh_beside)

    @property
    def _seventh_beside(self) -> tuple[str, ...]:
        """The major seventh of a diminished triad, which no family holds."""
        return ("7",) if self.kind in TRIADS and "7" in self.extensions else ()

    @property
    def names(self) -> tuple[Name, ...]:
        """The notes of the kind as written, spelled."""
        return tuple(self.name_of(degree) for degree in self.degrees)

    def name_of(self, degree: str) -> Name:
        """The spelled name of a degree above this root.

        >>> Chord.parse("Eb7").name_of("♭7"), Chord.parse("D").name_of("♯11")
        (D♭, G♯)
        """
        return self.root.up(*interval(str(degree)))

    def pitch_class_of(self, degree: str) -> int:
        """Semitones above C, 0–11, of a degree above this root."""
        return (self.root.pitch_class + interval(str(degree))[1]) % 12

    @cached_property
    def stacks(self) -> tuple[tuple[str, ...], ...]:
        """Every four-note form a block chord may take, plainest first: fills of a triad, extensions put in.

        >>> Chord.parse("C9").stacks
        (('1', '3', '5', '♭7'), ('9', '3', '5', '♭7'))
        >>> Chord.parse("F").stacks
        (('1', '3', '5', '6'), ('1', '3', '5', '7'), ('1', '3', '5', '♭7'))
        """
        plain = [degrees_of(kind) for kind in TRIADS[self.kind][3]] if self.is_triad else [self.degrees]
        extras = tuple(e for e in self.extensions if e not in self.degrees)
        several = [(e,) for e in extras] + [extras] * (len(extras) > 1)
        forms = plain + [form for some in several for stack in plain if (form := _put_in(stack, some))]
        return tuple(dict.fromkeys(forms))

    @cached_property
    def tones(self) -> dict[int, str]:
        """Pitch class → degree, for every note that counts as in the chord (kind, fills, extensions).

        >>> Chord.parse("C6").tones
        {0: '1', 4: '3', 7: '5', 9: '6'}
        """
        found: dict[int, str] = {}
        for degree in (*self.degrees, *self.extensions, *(d for stack in self.stacks for d in stack)):
            found.setdefault(self.pitch_class_of(degree), degree)
        return found

    @cached_property
    def allowed(self) -> frozenset[int]:
        """Pitch classes that a block chord of this symbol may hold: those of all its four-note forms."""
        return frozenset(self.pitch_class_of(degree) for stack in self.stacks for degree in stack)

    def stacks_for(self, degree: str, key: frozenset[int] = frozenset()) -> tuple[tuple[str, ...], ...]:
        """The four-note forms that hold `degree`, as fits the melody and the key.

        A triad takes the fill whose added note lies in the key (pitch classes; empty: any), unless the melody itself
        holds another; a root in the melody is never put a semitone over a major seventh. A major triad becomes a
        dominant only for a minor seventh in the melody; `harmonylib.arranging.fills` knows what it does in its key.

        >>> in_c = frozenset({0, 2, 4, 5, 7, 9, 11})
        >>> Chord.parse("G").stacks_for("3", in_c), Chord.parse("C").stacks_for("1", in_c)
        ((('1', '3', '5', '6'),), (('1', '3', '5', '6'),))
        """
        holding = tuple(stack for stack in self.stacks if degree in stack)
        if not self.is_triad:
            return holding
        if degree == "1":
            holding = tuple(stack for stack in holding if "7" not in stack) or holding
        if self.kind == "" and degree != "♭7":
            holding = tuple(stack for stack in holding if "♭7" not in stack) or holding
        in_key = tuple(stack for stack in holding if self.pitch_class_of(stack[-1]) in key)
        return in_key or holding

    @property
    def symbol(self) -> str:
        """The symbol as this library writes it; reads back as the same chord.

        >>> [Chord.parse(s).symbol for s in ("CM9", "F69", "Bb7(#9)", "A-11", "Dadd9", "G9sus", "E/G#")]
        ['Cmaj9', 'F6/9', 'B♭7(♯9)', 'Am11', 'Dadd9', 'G9sus4', 'E/G♯']
        """
        return f"{self.root}{self.suffix}" + (f"/{self.bass}" if self.bass else "")

    @cached_property
    def suffix(self) -> str:
        """The symbol without root and bass."""
        extensions, kind = list(self.extensions), self.kind
        altered = {e[1:] for e in extensions if e[0] in "♭♯"}
        for top, needed in (("13", ["9", "13"]), ("11", ["9", "11"]), ("9", ["9"])):
            if kind in _NINTHS and set(needed) <= set(extensions) - altered and top in _TALL.get(kind, (top,)):
                kind = _NINTHS[kind].format(top)
                extensions = [e for e in extensions if e not in needed]
                break
        if self.kind in TRIADS and extensions:
            add = "".join("maj7" if e == "7" else f"add{e}" for e in extensions)
            return kind + (f"({add})" if kind else add)
        if not extensions:
            return kind
        alters = "".join(e if e[0] in "♭♯" else f"add{e}" for e in extensions)
        return f"{kind}({alters})"

    def __str__(self) -> str:
        return self.symbol

    __repr__ = __str__


_NINTHS = {"maj7": "maj{}", "7": "{}", "m7": "m{}", "7sus4": "{}sus4", "6": "6/{}", "m6": "m6/{}"}

_TALL = {**dict.fromkeys(("6", "m6"), ("9",)), **dict.fromkeys(("7", "7♯5", "7♭5"), ("9", "13"))}

_NINTHS |= {"m7♭5": "m{}♭5", "7♯5": "{}♯5", "7♭5": "{}♭5", "m(maj7)": "m(maj{})", "maj7♯5": "maj{}♯5"}


def _put_in(stack: tuple[str, ...], extensions: tuple[str, ...]) -> tuple[str, ...] | None:
    form = list(stack)
    for extension in extensions:
        places = [d for d in REPLACES[extension] if d in form]
        if places:
            form[form.index(places[0])] = extension
    several = {interval(degree)[1] % 12 for degree in form}
    return tuple(form) if form != list(stack) and len(several) == len(form) else None


@lru_cache(maxsize=4096)
def _parsed(symbol: str) -> Chord:
    return Chord(*read_symbol(symbol))
