"""Notation: an arrangement written out as MusicXML, guitar notation over tablature.

There is one MusicXML writer. `harmonylib.printing` engraves the very file it makes, so page and file cannot differ.

Conventions
- The guitar part has two staves: 1 is notation (treble clef with an 8 below, sounding pitches), 2 is tablature with one
  line a string. Voice v of staff 1 is voice v + 4 of staff 2.
- What sounds is a row of `Event`; the writer knows nothing of harmony. Note 12 of the tune has the id ``n12``.
- Time is in quarter notes (`Fraction`); `harmonylib.rhythm` says which note values show it.

Sources: MusicXML 4.0 (W3C).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

_UNSEEN = re.compile("[\u200e\u200f\u061c\u202a-\u202e\u2066-\u2069\ufffe\uffff]")
"""Marks that turn the direction of writing, and what XML forbids beside control characters."""


def plain(text: str) -> str:
    """One line without control characters and without marks that turn the direction of writing.

    >>> plain("A\\x1b[31m \\u202etune\\n"), plain("Été")
    ('A [31m tune', 'Été')
    """
    shown = "".join(" " if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") else c for c in _UNSEEN.sub("", text))
    return " ".join(shown.split())


def counted(number: int, what: str) -> str:
    """A number of things with its verb.

    >>> counted(1, "note"), counted(3, "note")
    ('1 note is', '3 notes are')
    """
    return f"1 {what} is" if number == 1 else f"{number} {what}s are"


def many(number: int | str, what: str) -> str:
    """A number with its noun.

    >>> many(1, "semitone"), many("1½", "quarter")
    ('1 semitone', '1½ quarters')
    """
    return f"{number} {what}{'' if str(number) == '1' else 's'}"


def joined(items: Iterable[object]) -> str:
    return " ".join(map(str, items))
