"""The reader of chord symbols: text as a lead sheet has it, made into a root, a family, what is altered, and a bass.

Conventions
- A symbol is read to its last letter or refused; nothing in it is passed over.
- Accidentals are read in ASCII or Unicode, and one family may be written in many ways.

Source: which symbol means which family is common practice.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from difflib import get_close_matches
from typing import NamedTuple

from harmonylib.errors import HarmonyError
from harmonylib.theory.families import CHORD_KINDS, degrees_of, interval
from harmonylib.theory.pitch import Name
from harmonylib.wording import capital

_PLAIN = str.maketrans({"♭": "b", "♯": "#", "♮": " ", "−": "-", "–": "-", "△": "Δ", "∆": "Δ", "º": "°", "˚": "°"})

_ROOT = re.compile(r"([A-G])(bb|b|##|#|)")

_ELSEWHERE = re.compile(r"([A-H])(is|es|s(?!us)|(?<=H))", re.I)
"""A root as it is named where H is B: H, Fis, Es."""

_BASS = re.compile(r"/\s*([A-Ga-g])(bb|b|##|#|\+|-|)\s*\)?$")

_TOKENS = re.compile(
    r"""(?P<half>ø7?|Ø7?|(?i:half[\s-]?dim(?:inished)?))|(?P<minmaj>(?i:minmaj|mimaj))
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


class Read(NamedTuple):
    """A symbol taken apart: root, kind, extensions, bass, and what a teacher should know of the reading."""

    root: Name
    kind: str
    extensions: tuple[str, ...]
    bass: Name | None
    remarks: tuple[str, ...]


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

    def read(self, root: Name, bass: Name | None) -> Read:
        """What these tokens name."""
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
        return Read(root, kind, tuple(sorted(extensions, key=interval)), bass, tuple(self.remarks))

    def _kind(self) -> str:
        """The kind these degrees make; a degree outside every kind becomes an extension."""
        if self.diminished and self.seventh == "6":
            self.seventh = "♭♭7"
        if (self.third, self.fifth, self.seventh) == ("♭3", "♭5", "7"):  # no family: the triad, its seventh beside it
            self.seventh = ""
            self.extensions.add("7")
        wanted = [d for d in ("1", self.third, self.fifth, self.seventh) if d]
        by_degrees = {" ".join(degrees_of(kind)): kind for kind in CHORD_KINDS}
        moves = (("4", 1, "3", "11"), ("♭5", 2, "5", "♯11"), ("♯5", 2, "5", "♭13"))
        for degree, place, plain, extension in (("", 0, "1", ""), *reversed(moves), moves[0]):
            if " ".join(wanted) in by_degrees:
                break
            if wanted[place] == degree:
                wanted[place] = plain
                self.extensions.add(extension)
        return by_degrees[" ".join(wanted)]


def read_symbol(symbol: str) -> Read:
    """What a chord symbol says; `harmonylib.theory.chords.Chord.parse` makes the chord of it.

    Raises `HarmonyError` that points at the character that cannot be read.

    >>> read_symbol("G13/F").kind, read_symbol("G13/F").extensions
    ('7', ('9', '13'))
    """
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
    return reading.read(Name.parse(root[0]), bass)


_TOP_TOKENS = [name for name in _TOKENS.groupindex if name not in ("added", "sign", "altered")]


def spellings() -> Iterator[str]:
    """Every suffix of the family and triad tables, and the usual extended ones."""
    for _, written, *_ in CHORD_KINDS.values():
        yield from written.split()
    yield from "9 maj9 m9 11 m11 13 maj13 m13 6/9 add9 7♭9 7♯9 7♯11 7alt 9sus4 13sus4".split()


def _unreadable(symbol: str, position: int, why: str) -> HarmonyError:
    shown = symbol if len(symbol) <= 40 else symbol[:39] + "…"
    root = _ROOT.match(symbol.translate(_PLAIN).strip().capitalize())
    stem = root[0] if root else "C"
    known = {(stem + suffix).translate(_PLAIN): stem + suffix for suffix in ("", *spellings())}
    typed = symbol.translate(_PLAIN).strip()[:40]
    if named := _ELSEWHERE.match(typed):
        stem = named[1].upper().replace("H", "B") + {"is": "#", "": ""}.get(named[2].lower(), "b")
        typed = stem + typed[named.end() :]
        known = {(stem + suffix).translate(_PLAIN): stem + suffix for suffix in ("", *spellings())}
    close = get_close_matches(capital(typed), known, n=1, cutoff=0.0)
    nearest = known[close[0]] if close else "Cmaj7"
    if not symbol.strip():
        return HarmonyError(f"{shown!r} is not a chord symbol: it is empty; write one such as Cmaj7")
    return HarmonyError(
        f"{shown!r} is not a chord symbol: {symbol[position]!r}, character {position + 1}, cannot be read ({why}); "
        f"did you mean {nearest}?"
    )
