"""Reading notes and degrees: names, pitches, degrees of a chord, or what a grip or clicks sound.

Conventions: those of `harmonylib.exercises.written`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_grips
from harmonylib.exercises.reading_signs import in_signs, is_bare
from harmonylib.exercises.written import Unread, Written, quoted
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import interval
from harmonylib.theory.pitch import Name, Pitch, spell
from harmonylib.wording import capital

_ONE = re.compile(r"[A-G][♭♯b#]{0,2}\d?")
_RUN = re.compile(rf"(?:{_ONE.pattern}){{2,}}")
"""Notes written without a space between them; their letters are capitals, or b would be a note and a flat at once."""

_CAPITALS = re.compile(r"(?:[A-G]B){3,}")
"""Flats typed in capitals, without a space: they could be notes as well."""

_GERMAN = re.compile(r"H(?:is)?|[A-H](?:is|es)|[AE]s", re.I)
"""Notes as some name them, where H is the B of the course and B its B♭."""

_DEGREE = re.compile(r"[♭♯b#]{0,3}\d{1,2}")


@dataclass(frozen=True)
class Given:
    """Notes as a learner gave them: names bottom to top; MIDI numbers and a grip where the answer has them."""

    names: tuple[Name, ...]
    midi: tuple[int, ...] = ()
    grip: Grip | None = None
    by_degree: bool = False
    remarks: tuple[str, ...] = ()


def notes(answer: Written, chord: Chord, neck: Neck) -> Given:
    """The notes of an answer: names, pitches, degrees of `chord`, a grip or clicks.

    >>> c, neck = Chord.parse("Cm7"), Neck()
    >>> notes("C Eb G Bb", c, neck).names == notes("1 b3 5 b7", c, neck).names == notes("1b35b7", c, neck).names
    True
    >>> notes(((3, 3), (5, 3)), c, neck)
    Given(names=(C, B♭), midi=(48, 58), grip=Grip(frets=(None, 3, None, 3, None, None), fingers=()), ...)
    """
    clicks = reading_grips.pairs(answer)
    frets = None if clicks else reading_grips.frets_of(answer, neck)
    if clicks or frets:
        one_a_string = len({string for string, _ in clicks}) == len(clicks)
        midi = neck.midi(frets) if frets else reading_grips.sounding(clicks, neck)
        held = Grip(frets or reading_grips.clicked(clicks, neck)) if frets or one_a_string else None
        return Given(tuple(named(m, chord) for m in midi), midi, held)
    if isinstance(answer, str) and reading_grips.is_cut_short(answer):
        reading_grips.grip(answer, neck)  # says what to add
    tokens = _tokens(answer)
    if not tokens:
        raise Unread(f"{quoted(answer)} names no notes")
    degrees = [_degree_text(token) for token in tokens]
    if all(degrees):
        own = [_own_degree(d, chord) for d in degrees if d]
        if all(token.isdigit() for token in tokens) and not {*own} <= {*chord.tones.values()}:
            raise Unread(
                f"{quoted(answer)} is neither degrees of {chord} nor a grip: for frets write an x for each string that "
                "is not played, as in x3545x"
            )
        remarks = (f"{d} is short for {o} of {chord}" for d, o in zip(degrees, own, strict=True) if d != o)
        return Given(tuple(chord.name_of(d) for d in own), by_degree=True, remarks=tuple(remarks))
    read = [_note(token if token in str(answer) else str(answer), token) for token in tokens]
    pitches = [item for item in read if isinstance(item, Pitch)]
    midi = tuple(pitch.midi for pitch in pitches) if len(pitches) == len(read) else ()
    return Given(tuple(item.name if isinstance(item, Pitch) else item for item in read), midi)


def named(midi: int, chord: Chord) -> Name:
    """A sounding note spelled as its chord spells it, else by a flat, over a chord with sharps by a sharp."""
    degree = chord.tones.get(midi % 12)
    return chord.name_of(degree) if degree else spell(midi, flats=not any(name.alter > 0 for name in chord.names))


def _tokens(answer: Written) -> list[str]:
    if isinstance(answer, dict):
        return _tokens(tuple(answer.values()))
    if isinstance(answer, tuple):
        return [token for item in answer for token in _tokens(item)]
    if isinstance(answer, str):
        answer = in_signs(answer)
        tokens = [token for token in re.split(r"[\s,;.–—→|/·()\[\]!]+|(?<=\S)-(?=\S)", answer) if token.strip("-")]
        if len(tokens) == 1 and _CAPITALS.fullmatch(tokens[0]):
            raise Unread(f"{quoted(answer)} may be read in two ways: write flats as a small b, as in Eb Gb")
        if len(tokens) == 1 and _RUN.fullmatch(tokens[0]) and not _ONE.fullmatch(tokens[0]):
            return _ONE.findall(tokens[0])
        together = re.findall(r"[♭♯b#]*\d", answer)
        compact = len(tokens) == 1 and len(together) > 1 and "".join(together) == answer and len(answer) > 2
        return together if compact and not _degree_text(answer) else tokens
    if answer is None or answer is ... or isinstance(answer, bool):
        raise Unread("one of the notes is still to be written")
    return [str(answer)]


def _degree_text(token: str) -> str | None:
    """The degree a token names, in the library's signs."""
    if not _DEGREE.fullmatch(token):
        return None
    try:
        interval(token)
    except HarmonyError:
        return None
    return token.replace("b", "♭").replace("#", "♯")


def _own_degree(degree: str, chord: Chord) -> str:
    """A bare 3, 5 or 7 stands for the chord's own third, fifth or seventh, as in the shorthand 1573.

    >>> _own_degree("7", Chord.parse("C7")), _own_degree("7", Chord.parse("Cmaj7")), _own_degree("6", Chord.parse("C7"))
    ('♭7', '7', '6')
    """
    if degree in chord.degrees:
        return degree
    return next((own for own in chord.degrees if own.lstrip("♭♯") == degree), degree)


def _note(said: str, token: str) -> Name | Pitch:
    """The note that a word names; `said` is how the learner wrote it."""
    text = capital(token)
    if re.fullmatch(r"[A-G]B\d?", text):
        text = text[0] + "b" + text[2:]
    try:
        return Pitch.parse(text) if text[-1:].isdigit() else Name.parse(text)
    except HarmonyError:
        raise Unread(f"{quoted(said)} is not a note{_why_not(token)}") from None


def _why_not(token: str) -> str:
    """What to write for a word that is no note, where that can be told; how an answer is written, its exercise says."""
    if re.fullmatch(r"[a-g♭♯#]{3,}", token):
        return ": put a space between the notes"
    if _GERMAN.fullmatch(token):
        if len(token) == 1:
            return " here: write B for it, and Bb for the note a semitone lower"
        return f" here: write {capital(token)[0].replace('H', 'B')}{'#' if token[1:] == 'is' else 'b'}"
    try:
        Chord.parse(capital(token))
    except HarmonyError:
        return ""
    return ": it names a chord, and its notes are asked for"


def degree(answer: Written, chord: Chord | None = None) -> str:
    """A degree as the library writes it; “a third” is the third that the chord has.

    >>> [degree(a) for a in ("b3", 5, "#11", "minor 3rd", "a third", "M3", "flat 7")]
    ['♭3', '5', '♯11', '♭3', '3', '3', '♭7']
    >>> degree("the third", Chord.parse("Cm7"))
    '♭3'
    """
    text = str(answer) if isinstance(answer, (str, int)) and not isinstance(answer, bool) else ""
    found = _degree_text(re.sub(r"(?<=[♭♯b#])\s+(?=\d)", "", in_signs(text)).strip(" .!"))
    if found is None:
        if re.fullmatch(r"[A-G][b#♭♯]?", capital(text.strip(" .!"))):
            raise Unread(f"{quoted(answer)} is a note: write which degree it is, as in 5, b3 or #11")
        raise Unread(f"{quoted(answer)} is not a degree: write one as in 5, b3 or #11")
    return _own_degree(found, chord) if chord and is_bare(text) else found
