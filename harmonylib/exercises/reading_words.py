"""Reading words and numbers: inversions, spreads, lengths, places in a tune.

Conventions: a place in a tune is “bar.beat”, as in 2.1 or 2.2½.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

from harmonylib.exercises.reading_grips import whole
from harmonylib.exercises.reading_signs import NUMBERS, ORDINALS, PARTS, in_signs, replaced
from harmonylib.exercises.written import Unread, Written, blank, quoted
from harmonylib.guitar.neck import Neck
from harmonylib.theory.voicings import INVERSIONS, SPREADS
from harmonylib.wording import capital

NUMBER_WORDS = NUMBERS | ORDINALS | {"root": "0", "1st": "1", "2nd": "2", "3rd": "3"}


PARTS_OF_BEAT = {"½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4"}


_PLACE = re.compile(
    r"(?:(?:bar|measure|m\.)\s*)?(\d{1,4})(?:\s*[.:]\s*|\s*,?\s*(?:on\s*)?beat\s*|\s+)(\d{1,2})(\s?(?:[½⅓⅔¼¾]|\.\d{1,3}|\d/\d{1,2}))?(?![\d/])",
    re.I,
)

_TURNED = re.compile(r"beat\s*(\d{1,2}[½⅓⅔¼¾]?)\s*(?:of|in)\s*(?:bar|measure)\s*(\d{1,4})", re.I)
"""A place said the other way round: beat 2 of bar 4."""


def inversion(answer: Written) -> int:
    """The inversion an answer names, 0 for root position.

    >>> [inversion(a) for a in ("first inversion", "2nd", 3, "root", "it is in Root Position", "inversion 1")]
    [1, 2, 3, 0, 0, 1]
    """
    if isinstance(answer, tuple) and len(answer) == 1:
        answer = answer[0]
    text = str(answer).lower() if isinstance(answer, (str, int)) and not isinstance(answer, bool) else ""
    word = re.sub(r"\b(inversion|inv\b\.?|position|pos\b\.?|the|it's|it|is|in)(?!\w)|[-!]", " ", text).strip(" .")
    word = NUMBER_WORDS.get(word, word)
    if not re.fullmatch("[0-3]", word):
        raise Unread(f"{quoted(answer)} is not an inversion: write {', '.join(INVERSIONS)}, or 0 to 3")
    return int(word)


def spread(answer: Written) -> str:
    """The spread an answer names.

    >>> [spread(a) for a in ("Drop 2", "drop-3", 2, "drop 2 & 4", "close position", "drop three", "d2", "2/4")]
    ['drop 2', 'drop 3', 'drop 2', 'drop 2 and 4', 'close', 'drop 3', 'drop 2', 'drop 2 and 4']
    """
    text = str(answer).lower() if isinstance(answer, (str, int)) and not isinstance(answer, bool) else ""
    text = replaced(text, NUMBERS)
    digits = "".join(re.findall("[0-9]", text))
    bare = re.sub(r"dropped|drop|voicing|spread|and|position|it is|it's|^d(?=\d)|[\s\d&+,.\-–/]|\ba\b", "", text)
    found = {"2": "drop 2", "3": "drop 3", "24": "drop 2 and 4"}.get(digits) if not bare else None
    if bare in ("close", "closed") and not digits:
        found = "close"
    if found is None:
        raise Unread(f"{quoted(answer)} is not a spread: write {', '.join(SPREADS)}")
    return found


def string_number(answer: Written, neck: Neck) -> int:
    """The string an answer names: its number, 1 for the highest, or its open note where only one string has it.

    >>> [string_number(a, Neck()) for a in (5, "string 6", "5th string", "the G string", "low E", "string two", "D")]
    [5, 6, 5, 3, 6, 2, 4]
    """
    text = str(answer).strip() if isinstance(answer, (int, str)) and not isinstance(answer, bool) else ""
    bare = re.sub(r"\bfret\s*\d+|\b(?:strings?|the|on|is|it|number|no)\b|root\b|[.:#]", " ", text, flags=re.I).strip()
    found = re.sub(r"(?<=\d)(?:st|nd|rd|th)$", "", NUMBER_WORDS.get(bare.lower(), bare))
    if re.fullmatch("[0-9]{1,2}", found):
        return int(found)
    named = re.fullmatch(r"(?:(low|lowest|high|highest|top|bottom)\s*)?([A-Ga-g][b#♭♯]?)?", in_signs(bare))
    count = len(neck.open_strings)
    names = [str(pitch.name) for pitch in neck.open_strings]
    letter = (named[2] or "") if named else ""
    letter = capital(letter).replace("b", "♭").replace("#", "♯")
    here = [count - place for place, name in enumerate(names) if letter in ("", name)] if named and bare else []
    if named and named[1] and here:
        return max(here) if named[1] in ("low", "lowest", "bottom") else min(here)
    if letter and len(here) > 1:
        listed = " or ".join(f"string {number}" for number in here)
        raise Unread(f"{quoted(answer)} may be {listed}: write its number, 1 for the highest")
    if letter and here:
        return here[0]
    raise Unread(f"{quoted(answer)} is not a string: write its number, 1 for the highest")


def number(answer: Written, what: str) -> Fraction:
    """A number of quarter notes: whole, decimal, or a fraction such as 3/2 or 1½."""
    if isinstance(answer, (int, float, Fraction)) and not isinstance(answer, bool) and math.isfinite(answer):
        return Fraction(answer).limit_denominator(48)
    text = (
        re.sub(r"\s*\b(?:beats?|quarters|quarter notes?)$", "", answer, flags=re.I) if isinstance(answer, str) else ""
    )
    text = re.sub(r"\s*\b(?:and\s+)?(?:a\s+)?(?=[½¼])", "", replaced(in_signs(text), PARTS))
    text = f"0{text}" if text.startswith(".") else text
    match = re.fullmatch(r"(\d{0,3})\s*([½⅓⅔¼¾])?|(\d{1,3}(?:\.\d{1,4}|/[1-9]\d?)?)", text)
    if not text or not match:
        raise Unread(f"{quoted(answer)} is not {what}: write a number such as 1, 0.5 or 3/2")
    if match[3]:
        return Fraction(match[3]).limit_denominator(48)
    return Fraction(match[1] or 0) + Fraction(PARTS_OF_BEAT.get(match[2] or "", 0))


def places(answer: Written) -> list[tuple[int, Fraction]]:
    """Places in a tune as (bar, beat): “2.1”, “bar 2, beat 2½”, pairs of numbers, or a list of such.

    >>> places("2.1, bar 4 beat 2½"), places(((2, 1), "4.2.5"))
    ([(2, Fraction(1, 1)), (4, Fraction(5, 2))], [(2, Fraction(1, 1)), (4, Fraction(5, 2))])
    """
    if isinstance(answer, float):
        answer = str(answer)
    if isinstance(answer, dict):
        answer = tuple(answer.items())
    if isinstance(answer, tuple):
        if len(answer) == 2 and whole(answer[0]) and (whole(answer[1]) or type(answer[1]) in (float, Fraction)):
            return [(int(answer[0]), number(answer[1], "a beat"))]
        return [place for item in answer if not blank(item) for place in places(item)]
    text = _TURNED.sub(r"\2.\1", in_signs(answer)) if isinstance(answer, str) else ""
    found = [(int(m[1]), Fraction(m[2]) + _part(m[3])) for m in _PLACE.finditer(text)]
    if not found or re.sub(r"[\s,;]|and", "", _PLACE.sub("", text)):
        raise Unread(f"{quoted(answer)} is not a place: write bar and beat, as in 2.1 or bar 2, beat 1")
    return found


def _part(text: str | None) -> Fraction:
    text = (text or "0").strip()
    return Fraction(PARTS_OF_BEAT.get(text, "0" + text if text.startswith(".") else text))
