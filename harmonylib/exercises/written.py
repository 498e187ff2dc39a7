"""Reading answers: whatever a learner writes, made into notes, degrees, grips, places or a friendly line.

Conventions
- An answer is first made *plain*: text, numbers, tuples and dictionaries, of bounded size. A note, grip, chord or
  voicing becomes its own text. Nothing of an unknown object is called or shown.
- Clicks are (string, fret) pairs in any order; a dictionary of string → fret says the same.
- A place in a tune is “bar.beat”, as in 2.1 or 2.2½.
- What cannot be read raises `Unread`, whose message says what can.
"""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Frets, Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import interval
from harmonylib.theory.pitch import Name, Pitch, spell
from harmonylib.theory.voicings import INVERSIONS, SPREADS, Voicing

Plain = object
"""Text, number, None or ``...``, or a tuple or dictionary of such."""


MOST_LETTERS, MOST_ITEMS, DEEPEST = 4000, 400, 5


LARGEST = 10**6


NUMBER_WORDS = {"root": 0, "first": 1, "second": 2, "third": 3, "1st": 1, "2nd": 2, "3rd": 3, "zero": 0}


NUMBER_WORDS |= {"one": 1, "two": 2, "three": 3}


PARTS_OF_BEAT = {"½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4"}


_DEGREE = re.compile(r"[♭♯b#]{0,3}\d{1,2}")


_PLACE = re.compile(
    r"(?:bar\s*)?(\d{1,4})(?:\s*[.:]\s*|\s*,?\s*beat\s*|\s+)(\d{1,2})(\s?(?:[½⅓⅔¼¾]|\.\d{1,3}|\d/\d{1,2}))?(?![\d/])",
    re.I,
)


class Unread(HarmonyError):
    """An answer that cannot be read; the message says how one is written."""


def plain(answer: object, depth: int = 0) -> Plain:
    """An answer of any sort as text, numbers, tuples and dictionaries.

    >>> plain(["C", Name("E"), 5]), plain(Grip.parse("x3545x"))
    (('C', 'E', 5), 'x3545x')
    >>> plain(print)
    Traceback (most recent call last):
    harmonylib.exercises.written.Unread: this cannot be read as an answer
    """
    try:
        return _plain(answer, depth)
    except Unread:
        raise
    except Exception:  # an object may raise anything when it is looked at
        raise Unread("this cannot be read as an answer") from None


def _plain(answer: object, depth: int) -> Plain:
    kind = type(answer)
    if answer is None or answer is ... or kind is bool:
        return answer
    if kind in (Name, Pitch, Grip, Chord):
        return str(answer)[:MOST_LETTERS]
    if kind is Voicing:
        return _plain(answer.pitches, depth)  # type: ignore[attr-defined]
    if hasattr(kind, "__index__"):
        answer, kind = operator.index(answer), int  # type: ignore[arg-type]
    elif issubclass(kind, float):
        answer = float(answer)  # type: ignore[arg-type]
    if kind in (int, Fraction) or issubclass(kind, float):
        if not abs(answer) <= LARGEST:  # type: ignore[arg-type]
            raise Unread("that number is too large, or none at all")
        return answer
    if issubclass(kind, str):
        text = str.__str__(answer)
        if len(text) > MOST_LETTERS:
            raise Unread("that is a long text; an answer takes one line")
        return text.strip()
    if depth > DEEPEST:
        raise Unread("that is a list in a list in a list; write the answer in one row")
    if kind in (list, tuple, set, frozenset, dict) or issubclass(kind, tuple):
        if len(answer) > MOST_ITEMS:  # type: ignore[arg-type]
            raise Unread("that list is too long for an answer")
        if kind is dict:
            return {plain(k, DEEPEST): plain(v, depth + 1) for k, v in answer.items()}  # type: ignore[attr-defined]
        if getattr(kind, "_fields", ())[:2] == ("string", "fret"):  # a mark on the neck
            return tuple(answer)[:2]  # type: ignore[arg-type]
        made = tuple(plain(item, depth + 1) for item in answer)  # type: ignore[attr-defined]
        return tuple(sorted(made, key=str)) if kind in (set, frozenset) else made
    raise Unread("this cannot be read as an answer")


def blank(answer: Plain) -> bool:
    """Whether nothing has been written yet: ``...``, None, empty text, or a list of those.

    >>> blank(()), blank(("", ...)), blank("C")
    (True, True, False)
    """
    if isinstance(answer, dict):
        return all(blank(value) for value in answer.values())
    if isinstance(answer, tuple):
        return all(blank(item) for item in answer)
    return answer is None or answer is ... or answer in ("", "...", "…")


def shown(value: Plain) -> str:
    """A value quoted on one short line, without signs that steer a terminal."""
    text = "".join(c if c.isprintable() else " " for c in str(value)[:60])
    return f"“{text if len(text) <= 40 else text[:39] + '…'}”"


@dataclass(frozen=True)
class Given:
    """Notes as a learner gave them: names bottom to top; MIDI numbers and a grip where the answer has them."""

    names: tuple[Name, ...]
    midi: tuple[int, ...] = ()
    grip: Grip | None = None
    by_degree: bool = False
    remarks: tuple[str, ...] = ()


def notes(answer: Plain, chord: Chord, neck: Neck) -> Given:
    """The notes of an answer: names, pitches, degrees of `chord`, a grip or clicks.

    >>> c, neck = Chord.parse("Cm7"), Neck()
    >>> notes("C Eb G Bb", c, neck).names == notes("1 b3 5 b7", c, neck).names == notes("1b35b7", c, neck).names
    True
    >>> notes(((3, 3), (5, 3)), c, neck)
    Given(names=(C, B♭), midi=(48, 58), grip=Grip(frets=(None, 3, None, 3, None, None), fingers=()), ...)
    """
    clicks = _pairs(answer)
    frets = None if clicks else _frets(answer, neck)
    if clicks or frets:
        one_a_string = len({string for string, _ in clicks}) == len(clicks)
        midi = neck.midi(frets) if frets else _sounding(clicks, neck)
        held = Grip(frets or _clicked(clicks, neck)) if frets or one_a_string else None
        return Given(tuple(named(m, chord) for m in midi), midi, held)
    tokens = _tokens(answer)
    if not tokens:
        raise Unread(f"{shown(answer)} names no notes")
    degrees = [_degree_text(token) for token in tokens]
    if all(degrees):
        own = [_own_degree(d, chord) for d in degrees if d]
        remarks = (f"{d} is short for {o} of {chord}" for d, o in zip(degrees, own, strict=True) if d != o)
        return Given(tuple(chord.name_of(d) for d in own), by_degree=True, remarks=tuple(remarks))
    read = [_note(token) for token in tokens]
    pitches = [item for item in read if isinstance(item, Pitch)]
    midi = tuple(pitch.midi for pitch in pitches) if len(pitches) == len(read) else ()
    return Given(tuple(item.name if isinstance(item, Pitch) else item for item in read), midi)


def named(midi: int, chord: Chord) -> Name:
    """A sounding note spelled as its chord spells it, else plainly."""
    degree = chord.tones.get(midi % 12)
    return chord.name_of(degree) if degree else spell(midi, flats=any(name.alter < 0 for name in chord.names))


def _tokens(answer: Plain) -> list[str]:
    if isinstance(answer, dict):
        return _tokens(tuple(answer.values()))
    if isinstance(answer, tuple):
        return [token for item in answer for token in _tokens(item)]
    if isinstance(answer, str):
        tokens = [token for token in re.split(r"[\s,;–—→|/·]+|(?<=\S)-(?=\S)", answer) if token]
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


def _note(token: str) -> Name | Pitch:
    text = token[:1].upper() + token[1:]
    try:
        return Pitch.parse(text) if text[-1:].isdigit() else Name.parse(text)
    except HarmonyError:
        raise Unread(f"{shown(token)} is not a note: write a letter A–G and an accidental, as in C, Eb or F#") from None


def degree(answer: Plain) -> str:
    """A degree as the library writes it.

    >>> degree("b3"), degree(5), degree("#11")
    ('♭3', '5', '♯11')
    """
    found = _degree_text(str(answer)) if isinstance(answer, (str, int)) and not isinstance(answer, bool) else None
    if found is None:
        raise Unread(f"{shown(answer)} is not a degree: write one as in 5, b3 or #11")
    return found


def grip(answer: Plain, neck: Neck) -> Grip:
    """One grip: its text, clicks, or its frets string by string; whether a hand can hold it is not asked here.

    >>> neck = Neck()
    >>> [str(grip(a, neck)) for a in ("x3545x", ((5, 3), (2, 5), (4, 5), (3, 4)), (None, 3, 5, 4, 5, "x"))]
    ['x3545x', 'x3545x', 'x3545x']
    """
    frets = _frets(answer, neck)
    if frets is None:
        count = len(neck.open_strings)
        raise Unread(
            f"{shown(answer)} is not a grip: write one fret for each of the {count} strings from the lowest up, x for "
            "a string not played, as in x3545x, or clicks as (string, fret) pairs"
        )
    return Grip(frets)


def grips(answer: Plain, neck: Neck) -> list[Grip | None]:
    """Several grips: a list, or text with commas, semicolons or new lines between them; None where one is blank.

    >>> [str(g) for g in grips("x3545x, x-10-12-11-12-x", Neck())]
    ['x3545x', 'x-10-12-11-12-x']
    """
    if isinstance(answer, dict) and not _pairs(answer):
        answer = tuple(answer.values())
    if _frets(answer, neck):
        return [grip(answer, neck)]
    if isinstance(answer, str):
        parts = [part.strip() for part in re.split(r"[;,\n|]+|\band\b", answer) if part.strip()]
        if len(parts) == 1:
            parts = parts[0].split()
        return [grip(part, neck) for part in parts]
    if isinstance(answer, tuple):
        return [None if blank(item) else grip(item, neck) for item in answer]
    return [grip(answer, neck)]


def _frets(answer: Plain, neck: Neck) -> Frets | None:
    """The frets an answer shows, lowest string first; None when it does not look like a grip."""
    count = len(neck.open_strings)
    if isinstance(answer, str):
        try:
            frets = Grip.parse(answer).frets
        except HarmonyError:
            return None
        return frets if len(frets) == count and any(fret is not None for fret in frets) else None
    clicks = _pairs(answer)
    if clicks:
        return _clicked(clicks, neck)
    if isinstance(answer, tuple) and len(answer) == count and all(_is_fret(item) for item in answer):
        frets = tuple(int(item) if _whole(item) else None for item in answer)
        return frets if any(fret is not None for fret in frets) else None
    return None


def _whole(value: Plain) -> bool:
    return (isinstance(value, int) and not isinstance(value, bool)) or (
        isinstance(value, str) and re.fullmatch(r"[0-9]{1,2}", value) is not None
    )


def _is_fret(value: Plain) -> bool:
    return value is None or value in ("x", "X") or _whole(value)


def _pairs(answer: Plain) -> list[tuple[int, int]]:
    """(string, fret) pairs, if that is all the answer holds."""
    items = tuple(answer.items()) if isinstance(answer, dict) else answer
    if isinstance(items, tuple) and len(items) == 2 and all(isinstance(i, int) for i in items):
        items = (items,)
    if not isinstance(items, tuple) or not items:
        return []
    there = [item for item in items if not (isinstance(item, tuple) and len(item) == 2 and item[1] is None)]
    if not all(isinstance(item, tuple) and len(item) == 2 and all(_whole(value) for value in item) for item in there):
        return []
    return [(int(string), int(fret)) for string, fret in there]


def _sounding(clicks: Sequence[tuple[int, int]], neck: Neck) -> tuple[int, ...]:
    """MIDI numbers of clicks, low to high."""
    count = len(neck.open_strings)
    for string, fret in clicks:
        if not (1 <= string <= count and 0 <= fret <= neck.last_fret):
            raise Unread(
                f"string {string}, fret {fret} is not on this neck: strings are 1 to {count}, frets 0 to "
                f"{neck.last_fret}"
            )
    return tuple(sorted(neck.open_midi[-string] + fret for string, fret in clicks))


def _clicked(clicks: Sequence[tuple[int, int]], neck: Neck) -> Frets:
    """The frets of clicks, one a string."""
    _sounding(clicks, neck)
    frets: list[int | None] = [None] * len(neck.open_strings)
    for string, fret in clicks:
        if frets[-string] not in (None, fret):
            raise Unread(f"string {string} has two frets; it can sound only one note")
        frets[-string] = fret
    return tuple(frets)


def inversion(answer: Plain) -> int:
    """The inversion an answer names, 0 for root position.

    >>> [inversion(a) for a in ("first inversion", "2nd", 3, "root", "Root Position")]
    [1, 2, 3, 0, 0]
    """
    if isinstance(answer, tuple) and len(answer) == 1:
        answer = answer[0]
    text = str(answer).lower() if isinstance(answer, (str, int)) and not isinstance(answer, bool) else ""
    word = re.sub(r"\b(inversion|inv\.?|position|pos\.?|the)", " ", text).strip(" .")
    found = NUMBER_WORDS.get(word, int(word) if re.fullmatch("[0-3]", word) else None)
    if found is None:
        raise Unread(f"{shown(answer)} is not an inversion: write {', '.join(INVERSIONS)}, or 0 to 3")
    return found


def spread(answer: Plain) -> str:
    """The spread an answer names.

    >>> [spread(a) for a in ("Drop 2", "drop-3", 2, "drop 2 & 4", "close position")]
    ['drop 2', 'drop 3', 'drop 2', 'drop 2 and 4', 'close']
    """
    text = str(answer).lower() if isinstance(answer, (str, int)) and not isinstance(answer, bool) else ""
    digits = "".join(re.findall("[0-9]", text))
    bare = re.sub(r"drop|voicing|and|position|[\s\d&+,\-–/]", "", text)
    found = {"2": "drop 2", "3": "drop 3", "24": "drop 2 and 4"}.get(digits) if not bare else None
    if bare in ("close", "closed") and not digits:
        found = "close"
    if found is None:
        raise Unread(f"{shown(answer)} is not a spread: write {', '.join(SPREADS)}")
    return found


def number(answer: Plain, what: str) -> Fraction:
    """A number of quarter notes: whole, decimal, or a fraction such as 3/2 or 1½."""
    if isinstance(answer, (int, float, Fraction)) and not isinstance(answer, bool) and math.isfinite(answer):
        return Fraction(answer).limit_denominator(48)
    text = answer if isinstance(answer, str) else ""
    match = re.fullmatch(r"(\d{0,3})\s*([½⅓⅔¼¾])?|(\d{1,3}(?:\.\d{1,4}|/[1-9]\d?)?)", text)
    if not text or not match:
        raise Unread(f"{shown(answer)} is not {what}: write a number such as 1, 0.5 or 3/2")
    if match[3]:
        return Fraction(match[3]).limit_denominator(48)
    return Fraction(match[1] or 0) + Fraction(PARTS_OF_BEAT.get(match[2] or "", 0))


def places(answer: Plain) -> list[tuple[int, Fraction]]:
    """Places in a tune as (bar, beat): “2.1”, “bar 2, beat 2½”, pairs of numbers, or a list of such.

    >>> places("2.1, bar 4 beat 2½"), places(((2, 1), "4.2.5"))
    ([(2, Fraction(1, 1)), (4, Fraction(5, 2))], [(2, Fraction(1, 1)), (4, Fraction(5, 2))])
    """
    if isinstance(answer, float):
        answer = str(answer)
    if isinstance(answer, dict):
        answer = tuple(answer.items())
    if isinstance(answer, tuple):
        if len(answer) == 2 and _whole(answer[0]) and (_whole(answer[1]) or type(answer[1]) in (float, Fraction)):
            return [(int(answer[0]), number(answer[1], "a beat"))]
        return [place for item in answer if not blank(item) for place in places(item)]
    text = answer if isinstance(answer, str) else ""
    found = [(int(m[1]), Fraction(m[2]) + _part(m[3])) for m in _PLACE.finditer(text)]
    if not found or re.sub(r"[\s,;]|and", "", _PLACE.sub("", text)):
        raise Unread(f"{shown(answer)} is not a place: write bar and beat, as in 2.1 or bar 2, beat 1")
    return found


def _part(text: str | None) -> Fraction:
    text = (text or "0").strip()
    return Fraction(PARTS_OF_BEAT.get(text, "0" + text if text.startswith(".") else text))


def keyed(answer: Plain, keys: Mapping[str, Sequence[str]]) -> dict[str, Plain]:
    """The parts of an answer by name, whether written as a dictionary (any of each part's names) or in order."""
    if isinstance(answer, dict):
        by_name = {other: key for key, others in keys.items() for other in (key, *others)}
        return {by_name[str(k).lower()]: v for k, v in answer.items() if str(k).lower() in by_name}
    if isinstance(answer, tuple):
        return dict(zip(keys, answer, strict=False)) if len(answer) <= len(keys) else {}
    return {}
