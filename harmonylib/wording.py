"""Words for messages and captions: text made plain, numbers with their nouns."""

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


def capital(text: str) -> str:
    """A text with its first letter large, the others as they are.

    >>> capital("ebm7"), capital("")
    ('Ebm7', '')
    """
    return text[:1].upper() + text[1:]


def bare(text: str) -> str:
    """The letters and figures of a text, small and with nothing between them: what two ways to write a word share.

    >>> bare("Drop-2"), bare("drop 2")
    ('drop2', 'drop2')
    """
    return re.sub(r"[\W_]", "", text).lower()


def joined(items: Iterable[object]) -> str:
    return " ".join(map(str, items))
