"""Reading words and numbers: inversions, spreads, lengths, places in a tune.

Conventions: a place in a tune is “bar.beat”, as in 2.1 or 2.2½.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

from harmonylib.exercises.reading_grips import whole
from harmonylib.exercises.written import Unread, Written, blank, quoted
from harmonylib.theory.voicings import INVERSIONS, SPREADS

NUMBER_WORDS = {"root": 0, "first": 1, "second": 2, "third": 3, "1st": 1, "2nd": 2, "3rd": 3, "zero": 0}


NUMBER_WORDS |= {"one": 1, "two": 2, "three": 3}


PARTS_OF_BEAT = {"½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4"}


_PLACE = re.compile(
    r"(?:bar\s*)?(\d{1,4})(?:\s*[.:]\s*|\s*,?\s*beat\s*|\s+)(\d{1,2})(\s?(?:[½⅓⅔¼¾]|\.\d{1,3}|\d/\d{1,2}))?(?![\d/])",
    re.I,
)


def inversion(answer: Written) -> int:
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
        raise Unread(f"{quoted(answer)} is not an inversion: write {', '.join(INVERSIONS)}, or 0 to 3")
    return found


def spread(answer: Written) -> str:
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
        raise Unread(f"{quoted(answer)} is not a spread: write {', '.join(SPREADS)}")
    return found


def number(answer: Written, what: str) -> Fraction:
    """A number of quarter notes: whole, decimal, or a fraction such as 3/2 or 1½."""
    if isinstance(answer, (int, float, Fraction)) and not isinstance(answer, bool) and math.isfinite(answer):
        return Fraction(answer).limit_denominator(48)
    text = answer if isinstance(answer, str) else ""
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
    text = answer if isinstance(answer, str) else ""
    found = [(int(m[1]), Fraction(m[2]) + _part(m[3])) for m in _PLACE.finditer(text)]
    if not found or re.sub(r"[\s,;]|and", "", _PLACE.sub("", text)):
        raise Unread(f"{quoted(answer)} is not a place: write bar and beat, as in 2.1 or bar 2, beat 1")
    return found


def _part(text: str | None) -> Fraction:
    text = (text or "0").strip()
    return Fraction(PARTS_OF_BEAT.get(text, "0" + text if text.startswith(".") else text))
