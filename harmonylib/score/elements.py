"""The elements of MusicXML that `score.musicxml` puts together: pitches, accidentals, signatures, chord symbols, words.

Conventions
- Pitches are sounding ones; the clef says that they are written an octave higher.
- An accidental is written where the bar has not said it yet.

Source: MusicXML 4.0 (W3C).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement

from harmonylib.theory.chords import Chord
from harmonylib.theory.families import MUSICXML_KINDS
from harmonylib.theory.pitch import Name, Pitch
from harmonylib.tunes.tune import signature

XML_KINDS = {
    # family or triad: MusicXML 4.0 kind-value, and what its degrees need besides (value, alteration, type)
    **{suffix: (kind, ()) for kind, suffix in reversed(MUSICXML_KINDS.items())},
    "7sus4": ("suspended-fourth", ((7, 0, "add"),)),
    "7♭5": ("dominant", ((5, -1, "alter"),)),
    "maj7♯5": ("major-seventh", ((5, 1, "alter"),)),
    "maj7♭5": ("major-seventh", ((5, -1, "alter"),)),
}

MAJOR_SEVENTH = (7, 1, "add", "")
"""A seventh beside the kind, printed as ♯7: an added one counts from a minor seventh (schema, ``degree-alter``)."""

ACCIDENTALS = {-3: "triple-flat", -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"} | {
    3: "triple-sharp"
}


def add(parent: Element, tag: str, content: object = None, /, **attributes: str) -> Element:
    child = SubElement(parent, tag, attributes)
    if content is not None:
        child.text = str(content)
    return child


class Accidentals:
    """Which accidentals a bar has shown so far, by letter and octave."""

    def __init__(self, fifths: int) -> None:
        self.signature, self.shown = signature(fifths), dict[tuple[str, int], int]()

    def needed(self, pitch: Pitch) -> str:
        """The accidental this note needs here, noted down until the bar ends."""
        place = (pitch.letter, pitch.octave)
        if self.shown.get(place, self.signature[pitch.letter]) == pitch.alter:
            return ""
        self.shown[place] = pitch.alter
        return ACCIDENTALS[pitch.alter]


def notations_element(
    note: Element,
    ties: list[str],
    brackets: Sequence[str],
    beamed: bool,
    tab: bool,
    place: tuple[int, int, int] | None,
    fingered: bool,
) -> None:
    """Ties, tuplet brackets (only the notation shows them, and no bracket over a beam), string, fret and finger."""
    notations = add(note, "notations")
    for kind in ties:
        add(notations, "tied", type=kind)
    for kind in brackets:
        look = {"show-number": "none"} if tab else {"placement": "above"}  # labels stand below
        add(notations, "tuplet", type=kind, number="1", bracket="no" if tab or beamed else "yes", **look)
    if place:
        string, fret, finger = place
        technical = add(notations, "technical")
        if finger and fingered:
            add(technical, "fingering", finger)
        add(technical, "string", string)
        add(technical, "fret", fret)


def words_element(measure: Element, text: str, placement: str, **look: str) -> None:
    direction = add(measure, "direction", placement=placement)
    add(add(direction, "direction-type"), "words", text, **look)
    add(direction, "staff", 1)


SIGN_SOUNDS = {
    # sign: what it tells a program (MusicXML 4.0, `sound`)
    "Segno": {"segno": "segno"},
    "Coda": {"coda": "coda"},
    "To Coda": {"tocoda": "coda"},
    "Fine": {"fine": "yes"},
    "D.C.": {"dacapo": "yes"},
    "D.S.": {"dalsegno": "segno"},
}


def sign_element(measure: Element, sign: str, words: str) -> None:
    """A sign of the form, for people and for programs: a drawn sign for Segno and Coda, words for the others."""
    direction = add(measure, "direction", placement="above")
    kind = add(direction, "direction-type")
    if sign in ("Segno", "Coda") or words == "Coda":
        add(kind, "segno" if sign == "Segno" else "coda")
    else:
        add(kind, "words", words, **{"font-weight": "bold"})
    add(direction, "staff", 1)
    if sign:
        add(direction, "sound", **SIGN_SOUNDS[sign])


def rehearsal_element(measure: Element, text: str) -> None:
    direction = add(measure, "direction", placement="above")
    add(add(direction, "direction-type"), "rehearsal", text)
    add(direction, "staff", 1)


def pitch_element(pitch: Pitch) -> Element:
    element = Element("pitch")
    add(element, "step", pitch.letter)
    if pitch.alter:
        add(element, "alter", pitch.alter)
    add(element, "octave", pitch.octave)
    return element


def ending_numbers(numbers: str) -> str:
    return ", ".join(re.findall(r"[1-9]\d*", numbers)) or "1"


def harmony_element(chord: Chord | None, whole: bool = False) -> Element:
    """A chord symbol: a kind with its own text, and behind it in brackets the degrees that the text does not say.

    Programs print text and degrees one after the other, so together they say each thing once. `whole` is for our own
    page: the text is the symbol as this course writes it, and there are no degrees.
    """
    harmony = Element("harmony", placement="above")
    root = add(harmony, "root")
    if chord is None:
        add(root, "root-step", "C", text="")
        add(harmony, "kind", "none", text="N.C.")
        return harmony
    _add_name(root, "root", chord.root)
    kind, text, degrees = _kind(chord)
    if whole:
        text, degrees = chord.suffix, []
    look = {"parentheses-degrees": "yes"} if degrees else {}
    add(harmony, "kind", kind, text=text, **look)
    if chord.bass:
        _add_name(add(harmony, "bass"), "bass", chord.bass)
    for value, alter, how, word in degrees:
        degree = add(harmony, "degree")
        add(degree, "degree-value", value)
        add(degree, "degree-alter", alter)
        add(degree, "degree-type", how, text=word)
    return harmony


_DEGREE = re.compile(r"(?:add)?[♭♯]*\d+")
_HELD = {"9": (9,), "11": (9, 11), "13": (9, 11, 13)}
"""The degrees that a kind of MusicXML holds over its seventh, by the number in its name."""


def _kind(chord: Chord) -> tuple[str, str, list[tuple[int, int, str, str]]]:
    """The kind of a chord, its text, and what the kind leaves out: value, alteration, type and word of every degree."""
    head, _, inside = chord.suffix.partition("(")
    if chord.suffix in XML_KINDS:
        head, said = chord.suffix, []
    elif head in XML_KINDS and "maj" not in inside:  # in m(maj9) the seventh stands inside too
        said = _DEGREE.findall(inside)
    else:
        head, said = chord.kind, list(chord.extensions)
    kind, degrees = XML_KINDS[head]
    left_out = [(value, alter, how, "") for value, alter, how in degrees]
    held = _HELD.get(head.removeprefix("maj").removeprefix("m"), ())
    for degree in said:
        degree = degree.removeprefix("add")
        if degree == "7":
            left_out.append(MAJOR_SEVENTH)
            continue
        value, alter = int(degree.strip("♯♭")), degree.count("♯") - degree.count("♭")
        word = "add" if f"add{degree}" in chord.suffix else ""
        left_out.append((value, alter, "alter" if value in held else "add", word))
    return kind, MUSICXML_KINDS[kind] if degrees else head, left_out


def _add_name(parent: Element, tag: str, name: Name) -> None:
    add(parent, f"{tag}-step", name.letter)
    if name.alter:
        add(parent, f"{tag}-alter", name.alter)
