"""Reading grips: text such as x3545x, frets string by string, or clicks on the neck.

Conventions
- Clicks are (string, fret) pairs in any order; a dictionary of string → fret says the same.
- Whether a hand can hold a grip is not asked here.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from harmonylib.exercises.written import Unread, Written, blank, quoted
from harmonylib.guitar.grips import Frets, Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.wording import many

FEWEST = 6
"""Strings of the smallest neck."""

_HYPHENS = "; frets above 9 are kept apart by hyphens, as in x-10-12-8-11-x"


def grip(answer: Written, neck: Neck) -> Grip:
    """One grip: its text, clicks, or its frets string by string; whether a hand can hold it is not asked here.

    >>> neck = Neck()
    >>> [str(grip(a, neck)) for a in ("x3545x", ((5, 3), (2, 5), (4, 5), (3, 4)), (None, 3, 5, 4, 5, "x"))]
    ['x3545x', 'x3545x', 'x3545x']
    >>> [str(grip(text, neck)) for text in ("X 3 5 4 5 X", "x/3/5/4/5/x", "xx10-12-12-12")]
    ['x3545x', 'x3545x', 'x-x-10-12-12-12']
    >>> grip("3545", neck)
    Traceback (most recent call last):
    harmonylib.exercises.written.Unread: “3545” gives 4 frets for 6 strings: write an x for each string that is not ...
    """
    frets = frets_of(answer, neck)
    if frets is None:
        count = len(neck.open_strings)
        signs = _signs(answer) if isinstance(answer, str) else []
        if signs and len(signs) != count:
            raise Unread(
                f"{quoted(answer)} gives {many(len(signs), 'fret')} for {count} strings: write an x for each string "
                f"that is not played, {count} signs from the lowest string up, as in x3545x"
                + _HYPHENS
                * (len(signs) > count and signs == list(str(answer)))
            )
        raise Unread(
            f"{quoted(answer)} is not a grip: write one fret for each of the {count} strings from the lowest up, x for "
            "a string not played, as in x3545x, or click them on the neck"
        )
    return Grip(frets)


def grips(answer: Written, neck: Neck) -> list[Grip | None]:
    """Several grips: a list, or text with commas, semicolons or new lines between them; None where one is blank.

    >>> [str(g) for g in grips("x3545x, x-10-12-11-12-x", Neck())]
    ['x3545x', 'x-10-12-11-12-x']
    """
    if isinstance(answer, dict) and not pairs(answer):
        answer = tuple(answer.values())
    if frets_of(answer, neck):
        return [grip(answer, neck)]
    if isinstance(answer, str):
        parts = [part.strip() for part in re.split(r"[;,\n|+&]+|\s/\s|\band\b", answer) if part.strip()]
        if len(parts) == 1:
            parts = parts[0].split()
        return [grip(part, neck) for part in parts]
    if isinstance(answer, tuple):
        return [None if blank(item) else grip(item, neck) for item in answer]
    return [grip(answer, neck)]


def frets_of(answer: Written, neck: Neck) -> Frets | None:
    """The frets an answer shows, lowest string first; None when it does not look like a grip."""
    count = len(neck.open_strings)
    if isinstance(answer, str):
        read = tuple(None if sign in "xX" else int(sign) for sign in _signs(answer))
        return read if len(read) == count and any(fret is not None for fret in read) else None
    clicks = pairs(answer)
    if clicks:
        return clicked(clicks, neck)
    if isinstance(answer, tuple) and len(answer) == count and all(_is_fret(item) for item in answer):
        frets = tuple(int(item) if whole(item) else None for item in answer)
        return frets if any(fret is not None for fret in frets) else None
    return None


def _signs(text: str) -> list[str]:
    """The frets and x of a grip as text, whatever stands between them; none when there is anything else."""
    parts = [part for part in re.split(r"[\s,./|\-–—]+", text.strip(" ()[]").replace("o", "0")) if part]
    if len(parts) == 1:
        return list(parts[0]) if re.fullmatch(r"[xX\d]+", parts[0]) else []
    if not all(re.fullmatch(r"[xX]*\d{0,2}[xX]*", part) for part in parts):
        return []
    return [sign for part in parts for sign in re.findall(r"[xX]|\d+", part)]


def is_cut_short(text: str) -> bool:
    """Whether a text is frets and at least one x, but for fewer strings than a neck has.

    >>> is_cut_short("x7958"), is_cut_short("x7958x"), is_cut_short("7958")
    (True, False, False)
    """
    signs = _signs(text)
    return len(signs) < FEWEST and any(sign in "xX" for sign in signs) and any(sign.isdigit() for sign in signs)


def without_x(answer: Written, strings: Sequence[int], chord: Chord, neck: Neck) -> Written:
    """The grip that frets alone mean on strings that are known; any other answer as it is.

    Digits that are all degrees of the chord, each once, stay degrees, as in 1573.

    >>> c = Chord.parse("Cmaj7")
    >>> [without_x(a, (5, 4, 3, 2), c, Neck()) for a in ("7958", "12-14-12-13", "3 7 1 5", "x7958x")]
    ['x7958x', 'x-12-14-12-13-x', '3 7 1 5', 'x7958x']
    """
    signs = _signs(answer) if isinstance(answer, str) else []
    if len(signs) != len(strings) or not all(sign.isdigit() for sign in signs):
        return answer
    if sorted(signs) == sorted(degree.lstrip("♭♯") for degree in chord.degrees):
        return answer
    frets: list[int | None] = [None] * len(neck.open_strings)
    for string, sign in zip(strings, signs, strict=True):
        frets[-string] = int(sign)
    return str(Grip(tuple(frets)))


def whole(value: Written) -> bool:
    return (isinstance(value, int) and not isinstance(value, bool)) or (
        isinstance(value, str) and re.fullmatch(r"[0-9]{1,2}", value) is not None
    )


def _is_fret(value: Written) -> bool:
    return value is None or value in ("x", "X") or whole(value)


def pairs(answer: Written) -> list[tuple[int, int]]:
    """(string, fret) pairs, if that is all the answer holds."""
    items = tuple(answer.items()) if isinstance(answer, dict) else answer
    if isinstance(items, tuple) and len(items) == 2 and all(isinstance(i, int) for i in items):
        items = (items,)
    if not isinstance(items, tuple) or not items:
        return []
    there = [item for item in items if not (isinstance(item, tuple) and len(item) == 2 and item[1] is None)]
    if not all(isinstance(item, tuple) and len(item) == 2 and all(whole(value) for value in item) for item in there):
        return []
    return [(int(string), int(fret)) for string, fret in there]


def sounding(clicks: Sequence[tuple[int, int]], neck: Neck) -> tuple[int, ...]:
    """MIDI numbers of clicks, low to high."""
    count = len(neck.open_strings)
    for string, fret in clicks:
        if not (1 <= string <= count and 0 <= fret <= neck.last_fret):
            raise Unread(
                f"string {string}, fret {fret} is not on this neck: strings are 1 to {count}, frets 0 to "
                f"{neck.last_fret}"
            )
    return tuple(sorted(neck.open_midi[-string] + fret for string, fret in clicks))


def clicked(clicks: Sequence[tuple[int, int]], neck: Neck) -> Frets:
    """The frets of clicks, one a string."""
    sounding(clicks, neck)
    frets: list[int | None] = [None] * len(neck.open_strings)
    for string, fret in clicks:
        if frets[-string] not in (None, fret):
            raise Unread(f"string {string} has two frets; it can sound only one note")
        frets[-string] = fret
    return tuple(frets)
