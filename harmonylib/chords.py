"""Chords: what a symbol on a lead sheet says, spelled note by note.

Conventions
- A degree is text: an accidental and a number above the root, ``"1"``, ``"♭3"``, ``"♯11"``. Semitones follow from it.
- A *family* is four degrees; a *triad* has three and names the families a block chord may fill it up to.
- 9, 11 and 13 are extensions: each takes the place of a neighbour, so that four notes stay four notes.

Sources: the degree content of every kind is that of MusicXML 4.0 ``kind-value`` where it has one; which symbol means
which family, how triads are filled and which neighbour an extension replaces are common practice.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cached_property, lru_cache

from harmonylib.pitch import HarmonyError, Name, alter_of, shown

FAMILIES = {
    # label        name                          spellings                  degrees        semitones follow
    "maj7": ("major seventh", "maj7 ma7 M7 Δ Δ7", "1 3 5 7"),  # ........... 0 4 7 11
    "6": ("major sixth", "6", "1 3 5 6"),  # ............................... 0 4 7 9
    "7": ("dominant seventh", "7", "1 3 5 ♭7"),  # ......................... 0 4 7 10
    "7sus4": ("suspended seventh", "7sus4 7sus", "1 4 5 ♭7"),  # ........... 0 5 7 10
    "7♭5": ("seventh, flat five", "7♭5 7(♭5)", "1 3 ♭5 ♭7"),  # ............ 0 4 6 10
    "7♯5": ("augmented seventh", "7♯5 +7 aug7", "1 3 ♯5 ♭7"),  # ........... 0 4 8 10
    "maj7♯5": ("augmented major seventh", "maj7♯5 +maj7", "1 3 ♯5 7"),  # .. 0 4 8 11
    "maj7♭5": ("major seventh, flat five", "maj7♭5", "1 3 ♭5 7"),  # ....... 0 4 6 11
    "m7": ("minor seventh", "m7 mi7 min7 -7", "1 ♭3 5 ♭7"),  # ............. 0 3 7 10
    "m6": ("minor sixth", "m6 mi6 -6", "1 ♭3 5 6"),  # ..................... 0 3 7 9
    "m(maj7)": ("minor, major seventh", "m(maj7) mMaj7 mM7", "1 ♭3 5 7"),  # 0 3 7 11
    "m7♭5": ("half-diminished", "m7♭5 ø ø7 -7♭5", "1 ♭3 ♭5 ♭7"),  # ........ 0 3 6 10
    "dim7": ("diminished seventh", "dim7 °7 o7", "1 ♭3 ♭5 ♭♭7"),  # ........ 0 3 6 9
}
TRIADS = {
    # label   name                      spellings          degrees     families a block chord fills it up to
    "": ("major triad", "maj ma M", "1 3 5", ("6", "maj7")),
    "m": ("minor triad", "m mi min -", "1 ♭3 5", ("m7", "m6")),
    "dim": ("diminished triad", "dim ° o", "1 ♭3 ♭5", ("dim7",)),
    "aug": ("augmented triad", "aug +", "1 3 ♯5", ("7♯5", "maj7♯5")),
    "sus4": ("suspended fourth", "sus4 sus", "1 4 5", ("7sus4",)),
}
KINDS = {**FAMILIES, **{label: row[:3] for label, row in TRIADS.items()}}
REPLACES = {
    # an extension takes the place of its neighbour (common practice)
    **dict.fromkeys(("♭9", "9", "♯9"), ("1",)),
    "11": ("3", "♭3"),
    "♯11": ("5", "♯5"),
    "♭13": ("5", "♭5"),
    "13": ("5", "♯5", "♭5"),
    "7": ("♭♭7",),
}
MUSICXML_KINDS = {
    # MusicXML 4.0 kind-value: the symbol suffix it stands for
    **{"major": "", "minor": "m", "augmented": "aug", "diminished": "dim", "dominant": "7", "major-seventh": "maj7"},
    **{"minor-seventh": "m7", "diminished-seventh": "dim7", "augmented-seventh": "7♯5", "half-diminished": "m7♭5"},
    **{"major-minor": "m(maj7)", "major-sixth": "6", "minor-sixth": "m6", "dominant-ninth": "9"},
    **{"major-ninth": "maj9", "minor-ninth": "m9", "dominant-11th": "11", "major-11th": "maj11", "minor-11th": "m11"},
    **{"dominant-13th": "13", "major-13th": "maj13", "minor-13th": "m13", "suspended-second": "sus2"},
    **{"suspended-fourth": "sus4", "power": "5", "Neapolitan": "", "Italian": "7", "French": "7♭5", "German": "7"},
    **{"Tristan": "m7♭5", "pedal": ""},
}
PRACTICE_ORDER = "C F B♭ E♭ A♭ D♭ G♭ B E A D G".split()
"""The twelve roots in the order of fourths, as they are practised."""

MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)


@lru_cache(maxsize=256)
def interval(degree: str) -> tuple[int, int]:
    """Letters and semitones of a degree above the root.

    >>> interval("♭3"), interval("♯11"), interval("♭♭7")
    ((2, 3), (10, 18), (6, 9))
    """
    match = re.fullmatch(r"([♭♯b#]*)(\d{1,2})", degree)
    if not match or not 1 <= int(match[2]) <= 14:
        raise HarmonyError(f"{degree!r} is not a degree: write 1 to 14 with flats or sharps before it, as in ♭3 or #11")
    octaves, step = divmod(int(match[2]) - 1, 7)
    return 7 * octaves + step, 12 * octaves + MAJOR_SCALE[step] + alter_of(match[1])


def degrees_of(kind: str) -> tuple[str, ...]:
    """The degrees of a family or triad by its label.

    >>> degrees_of("m7♭5")
    ('1', '♭3', '♭5', '♭7')
    """
    if kind not in KINDS:
        raise HarmonyError(f"{shown(kind)} is not a kind of chord: name one of {', '.join(filter(None, KINDS))}")
    return tuple(KINDS[kind][2].split())


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
        harmonylib.pitch.HarmonyError: 'Cmaj7x' is not a chord symbol: 'x', character 6, ... did you mean Cmaj7?
        """
        return _parse(str(symbol))

    @property
    def family(self) -> str:
        """The name of its kind, in words."""
        return KINDS[self.kind][0]

    @property
    def is_triad(self) -> bool:
        return self.kind in TRIADS

    @property
    def degrees(self) -> tuple[str, ...]:
        """The degrees of the kind as written: three for a triad, four for a family."""
        return degrees_of(self.kind)

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
        (('1', '3', '5', '6'), ('1', '3', '5', '7'))
        """
        plain = [degrees_of(kind) for kind in (TRIADS[self.kind][3] if self.is_triad else (self.kind,))]
        several = [(e,) for e in self.extensions] + [self.extensions] * (len(self.extensions) > 1)
        forms = plain + [form for extras in several for stack in plain if (form := _put_in(stack, extras))]
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

    def stacks_for(self, degree: str, key: frozenset[int] = frozenset()) -> tuple[tuple[str, ...], ...]:
        """The four-note forms that hold `degree`, as fits the melody and the key.

        A triad takes the fill whose added note lies in the key (pitch classes; empty: any), unless the melody itself
        holds another; a root in the melody is never put a semitone over a major seventh.

        >>> in_c = frozenset({0, 2, 4, 5, 7, 9, 11})
        >>> Chord.parse("G").stacks_for("3", in_c), Chord.parse("C").stacks_for("1", in_c)
        ((('1', '3', '5', '6'),), (('1', '3', '5', '6'),))
        """
        holding = tuple(stack for stack in self.stacks if degree in stack)
        if not self.is_triad:
            return holding
        if degree == "1":
            holding = tuple(stack for stack in holding if "7" not in stack) or holding
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
        if self.is_triad and extensions:
            add = "".join(f"add{e}" for e in extensions)
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


# --- reading a symbol -------------------------------------------------------------------------------------------

_PLAIN = str.maketrans({"♭": "b", "♯": "#", "♮": " ", "−": "-", "–": "-", "△": "Δ", "∆": "Δ", "º": "°", "˚": "°"})
_ROOT = re.compile(r"([A-G])(bb|b|##|#|)")
_BASS = re.compile(r"/\s*([A-Ga-g])(bb|b|##|#|\+|-|)\s*\)?$")
_TOKENS = re.compile(
    r"""(?P<half>ø7?|Ø7?|(?i:half-?dim(?:inished)?))|(?P<minmaj>(?i:minmaj|mimaj))
    |(?P<major>(?i:major|maj)|(?:Ma|ma)(?!dd|ug)|M|Δ)|(?P<minor>(?i:minor|min)|Mi|mi|m)|(?P<dim>(?i:diminished|dim)|°|o)
    |(?P<aug>(?i:augmented|aug))|(?P<sus>(?i:sus)(?:4|2)?)|(?P<dom>(?i:dom(?:inant)?))|(?P<alt>(?i:alt(?:ered)?))
    |(?P<omit>(?i:no|omit)\s*(?:3rd|5th|[1357])) |(?P<add>(?i:add)\s*(?P<added>[b#]?(?:2|4|6|9|11|13)|7))
    |(?P<alter>(?P<sign>[b#]|(?<![A-Gb#])[+\-])(?P<altered>5|9|11|13|6|4|2|10)(?![0-9]))|(?P<sixnine>6/9|69)
    |(?P<number>13|11|9|7|6|5|4|2)|(?P<plus>\+)|(?P<minus>-)|(?P<punctuation>[\s(),\[\]/]+)""",
    re.VERBOSE,
)
_EXTENSION = {
    **{"2": "9", "4": "11", "6": "13", "b2": "♭9", "#2": "♯9", "b10": "♯9", "#4": "♯11", "b6": "♭13"},
    **{"9": "9", "b9": "♭9", "#9": "♯9", "11": "11", "#11": "♯11", "13": "13", "b13": "♭13"},
    **{"b11": "11", "#13": "13", "b4": "11", "#6": "13", "#10": "♯9"},
}


class _Reading:
    """What the tokens of one symbol have said so far."""

    def __init__(self) -> None:
        self.third, self.fifth, self.seventh = "3", "5", ""
        self.number = ""
        self.major = self.diminished = self.triangle = False
        self.extensions: set[str] = set()
        self.remarks: list[str] = []

    def take(self, kind: str, text: str, match: re.Match[str], first: bool) -> bool:
        """Note one token; False when it makes no sense here."""
        if kind == "minmaj":
            self.third, self.major = "♭3", True
        elif kind == "half":
            if self.diminished:
                return False
            self.third, self.fifth, self.seventh = "♭3", "♭5", "♭7"
        elif kind == "major":
            self.major, self.triangle = True, self.triangle or text == "Δ"
        elif kind == "minor" or (kind == "minus" and first):
            if not first and self.third != "3":
                return False
            self.third = "♭3"
        elif kind == "dim":
            if self.seventh:  # half-diminished already
                return False
            self.third, self.fifth, self.diminished = "♭3", "♭5", True
        elif kind in ("aug", "plus"):
            self.fifth = "♯5"
        elif kind == "sus":
            self._suspend(text)
        elif kind == "omit":
            self.remarks.append(f"“{text}” is read, but a block chord keeps four notes")
        elif kind == "alt":
            self.number, self.fifth = self.number or "7", "♯5"
            self.extensions |= {"♭9", "♯9"}
        elif kind == "add":
            self._add(match["added"])
        elif kind == "alter":
            self._alter(match["sign"].replace("+", "#").replace("-", "b"), match["altered"])
        elif kind == "sixnine":
            self.number = "6"
            self.extensions.add("9")
        understood = self._count(text, first) if kind == "number" else kind != "minus" or first
        return understood and not (self.diminished and (self.third, self.fifth) != ("♭3", "♭5"))

    def _suspend(self, text: str) -> None:
        if text.endswith("2"):
            self.extensions.add("9")
            self.remarks.append("a suspended second is played as a ninth; a block chord puts the third back")
        else:
            self.third = "4"

    def _add(self, number: str) -> None:
        if number != "7":
            self.extensions.add(_EXTENSION[number])
        elif self.diminished:
            self.extensions.add("7")
        else:
            self.number = self.number or "7"

    def _alter(self, sign: str, number: str) -> None:
        if number == "5":
            self.fifth = "♭5" if sign == "b" else "♯5"
        else:
            self.extensions.add(_EXTENSION[sign + number])

    def _count(self, text: str, first: bool) -> bool:
        if text == "5":
            if first:
                self.remarks.append("a power chord has no third; a block chord plays it as a major chord")
            return first or self.fifth != "5"
        if text == "2":
            self.extensions.add("9")
        elif text == "4":
            self.third = "4"
        elif not self.number:
            self.number = text
        elif {self.number, text} == {"6", "7"}:
            self.number = "7"
            self.extensions.add("13")
        elif text in ("9", "11", "13"):
            self.extensions.add(text)
        else:
            return False
        return True

    def chord(self, root: Name, bass: Name | None) -> Chord:
        """The chord these tokens name."""
        self.number = self.number or ("7" if self.triangle else "")
        tall = {"9": ("9",), "11": ("9", "11"), "13": ("9", "13")}.get(self.number, ())
        altered = {e[1:] for e in self.extensions if e[0] in "♭♯"}
        self.extensions |= {e for e in tall if e not in altered}
        if self.number == "6":
            self.seventh = "6"
        elif self.number and not self.seventh:
            self.seventh = "7" if self.major else "♭♭7" if self.diminished else "♭7"
        if self.number == "11" and (self.third, self.seventh) == ("3", "♭7"):
            self.third = "4"  # common practice: a dominant eleventh is a ninth with a suspended fourth
        if self.third == "4":
            self.extensions.discard("11")
        kind = self._kind()
        if kind == "dim" and "13" in self.extensions:
            kind = "dim7"
        own = {interval(d)[1] % 12 for d in degrees_of(kind)}
        extensions = (e for e in self.extensions if interval(e)[1] % 12 not in own)
        return Chord(root, kind, tuple(sorted(extensions, key=interval)), bass, tuple(self.remarks))

    def _kind(self) -> str:
        """The kind these degrees make; a degree outside every kind becomes an extension."""
        if self.diminished and self.seventh in ("6", "7"):
            self.extensions |= {"7"} if self.seventh == "7" else set()
            self.seventh = "♭♭7"
        wanted = [d for d in ("1", self.third, self.fifth, self.seventh) if d]
        by_degrees = {" ".join(degrees_of(kind)): kind for kind in KINDS}
        moves = (("4", 1, "3", "11"), ("♭5", 2, "5", "♯11"), ("♯5", 2, "5", "♭13"))
        for degree, place, plain, extension in (("", 0, "1", ""), *reversed(moves), moves[0]):
            if " ".join(wanted) in by_degrees:
                break
            if wanted[place] == degree:
                wanted[place] = plain
                self.extensions.add(extension)
        return by_degrees[" ".join(wanted)]


@lru_cache(maxsize=4096)
def _parse(symbol: str) -> Chord:
    text = symbol.translate(_PLAIN)
    start = len(text) - len(text.lstrip())
    root = _ROOT.match(text, start)
    if not root:
        raise _unreadable(symbol, min(start, max(len(symbol) - 1, 0)), "a symbol opens with its root, a capital A–G")
    bass_match = _BASS.search(text, root.end())
    end = bass_match.start() if bass_match else len(text)
    reading, position, first = _Reading(), root.end(), True
    while position < end:
        match = _TOKENS.match(text, position, end)
        if not match or not match.lastgroup:
            raise _unreadable(symbol, position, "nothing that a chord symbol says starts like that")
        kind = next(k for k in _TOP_TOKENS if match[k] is not None)
        if kind != "punctuation" and not reading.take(kind, match[0], match, first):
            raise _unreadable(symbol, position, "it contradicts what stands before it")
        first = first and kind == "punctuation"
        position = match.end()
    bass = None
    if bass_match:
        sign = {"+": "#", "-": "b"}.get(bass_match[2], bass_match[2])
        bass = Name.parse(bass_match[1].upper() + sign)
    return reading.chord(Name.parse(root[0]), bass)


_TOP_TOKENS = [name for name in _TOKENS.groupindex if name not in ("added", "sign", "altered")]


def spellings() -> Iterator[str]:
    """Every suffix of the family and triad tables, and the usual extended ones."""
    for _, written, *_ in KINDS.values():
        yield from written.split()
    yield from "9 maj9 m9 11 m11 13 maj13 m13 6/9 add9 7♭9 7♯9 7♯11 7alt 9sus4 13sus4".split()


def _unreadable(symbol: str, position: int, why: str) -> HarmonyError:
    shown = symbol if len(symbol) <= 40 else symbol[:39] + "…"
    root = _ROOT.match(symbol.translate(_PLAIN).strip().capitalize())
    stem = root[0] if root else "C"
    known = {(stem + suffix).translate(_PLAIN): stem + suffix for suffix in ("", *spellings())}
    typed = symbol.translate(_PLAIN).strip()[:40]
    close = get_close_matches(typed[:1].upper() + typed[1:], known, n=1, cutoff=0.0)
    nearest = known[close[0]] if close else "Cmaj7"
    if not symbol.strip():
        return HarmonyError(f"{shown!r} is not a chord symbol: it is empty; write one such as Cmaj7")
    return HarmonyError(
        f"{shown!r} is not a chord symbol: {symbol[position]!r}, character {position + 1}, cannot be read ({why}); "
        f"did you mean {nearest}?"
    )
