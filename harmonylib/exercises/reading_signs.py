"""Reading words as signs: “e flat and the third” is what a learner means by ``Eb 3``.

Conventions
- Letters keep their case, and what is no such word stays as it is.
- M, P and m before a number say major, perfect and minor, as interval names are written: M3, P5, m7.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

NUMBERS = dict(zip("zero one two three four five six seven eight nine ten".split(), map(str, range(11)), strict=True))
ORDINALS = {
    **{"root": "1", "tonic": "1", "first": "1", "second": "2", "third": "3", "fourth": "4", "fifth": "5"},
    **{"sixth": "6", "seventh": "7", "ninth": "9", "eleventh": "11", "thirteenth": "13"},
}
PARTS = {"half": "½", "quarter": "¼"}

_PERFECT = ("1", "4", "5", "11")
_SIGNS = {"flat": "b", "flatted": "b", "lowered": "b", "sharp": "#", "sharpened": "#", "raised": "#", "natural": ""}
_SIZES = "maj(?:or)?|perfect|min(?:or)?|dom(?:inant)?|dim(?:inished)?|aug(?:mented)?"

_ENDING = re.compile(r"(?<!\d)(\d{1,2})(?:st|nd|rd|th)\b", re.I)
_DOUBLE = re.compile(r"\b([A-G])[\s-]*double[\s-]*(flat|sharp)\b", re.I)
_NOTE = re.compile(r"\b([A-G])[\s-]*(flat|sharp|natural)\b", re.I)
_ALTERED = re.compile(rf"\b({'|'.join(_SIGNS)})[\s-]*(\d{{1,2}})\b", re.I)
_INTERVAL = re.compile(rf"\b({_SIZES})[\s-]*(\d{{1,2}})\b", re.I)
_SHORT = re.compile(r"(?<![\w♭♯#])([MPm])(2|3|4|5|6|7|9|11|13)(?!\w)")
_BEFORE_STEP = re.compile(r"\b(?:(?:its|it's|it is|is|the|a|an)\s+)+(?=[b#♭♯]{0,2}\d)", re.I)
_LINKS = re.compile(r"\b(?:and|then|the)\b|[&+](?!\d)", re.I)
_BARE = re.compile(
    rf"(?:(?:the|a|an|its|it's|it is)\s+)*(?:{'|'.join(ORDINALS)}|\d{{1,2}}(?:st|nd|rd|th))", re.I
)  # fmt: skip


def replaced(text: str, words: Mapping[str, str]) -> str:
    """The text with whole words replaced, whatever their case.

    >>> replaced("Drop Three", NUMBERS)
    'Drop 3'
    """
    return re.sub(rf"\b({'|'.join(words)})\b", lambda found: words[found[1].lower()], text, flags=re.I)


def in_signs(text: str) -> str:
    """Notes, accidentals, intervals and numbers said in words, as signs.

    >>> [in_signs(t) for t in ("e flat, G-flat and B natural", "a minor 3rd", "flat seven", "M3", "the root")]
    ['eb, Gb   B', 'b3', 'b7', '3', '1']
    """
    text = _ENDING.sub(r"\1", replaced(text, NUMBERS | ORDINALS))
    text = _DOUBLE.sub(lambda found: found[1] + 2 * _SIGNS[found[2].lower()], text)
    text = _NOTE.sub(lambda found: found[1] + _SIGNS[found[2].lower()], text)
    text = _ALTERED.sub(lambda found: _SIGNS[found[1].lower()] + found[2], text)
    text = _SHORT.sub(_degree, _INTERVAL.sub(_degree, text))
    return _LINKS.sub(" ", _BEFORE_STEP.sub("", text)).strip()


def _degree(found: re.Match[str]) -> str:
    """A named interval as a degree: the minor third is b3, the diminished seventh bb7."""
    size, step = found[1] if len(found[1]) == 1 else found[1].lower()[:3], found[2]
    lowered = {"m": "b", "min": "b", "dom": "b", "dim": "b" if step in _PERFECT else "bb", "aug": "#"}.get(size, "")
    return lowered + step


def is_bare(text: str) -> bool:
    """Whether a degree is named by its step alone, in words: “a third”, “the 7th”."""
    return _BARE.fullmatch(text.strip(" .")) is not None
