"""Chord symbols and keys as people type them: small letters for roots are read, a doubtful one is asked back.

Conventions
- A small root letter is read as the capital; what follows it is never changed, since m and M are two things.
"""

from __future__ import annotations

import re

from harmonylib.errors import HarmonyError, expect, shown
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Name
from harmonylib.wording import capital

_DOUBTFUL = re.compile(r"bb(?=(5|6|9|11|13)\b)")
"""“bb9” may be B flat with a ninth, or B with a flat ninth."""


def chord_of(symbol: Chord | str) -> Chord:
    """The chord of a symbol; raises `HarmonyError` for one that cannot be read or has two readings.

    >>> chord_of("ebm7"), chord_of("cM7"), chord_of("bb7")
    (E♭m7, Cmaj7, B♭7)
    >>> chord_of("bb9")
    Traceback (most recent call last):
    harmonylib.errors.HarmonyError: 'bb9' has two readings, Bb9 and B(b9): write the one you mean with its capital
    """
    if isinstance(symbol, Chord):
        return symbol
    text = expect(str, symbol, "a chord symbol: write it in quotes, as in 'Cmaj7'").strip()
    doubt = _DOUBTFUL.match(text)
    if doubt:
        rest = text[2:]
        raise HarmonyError(
            f"{text!r} has two readings, Bb{rest} and B(b{rest}): write the one you mean with its capital"
        )
    return Chord.parse(with_capital(_in_figures(in_signs(text))))


def key_of(key: str) -> str:
    """A key as the arranger takes it; raises `HarmonyError` where minor or major stays open.

    >>> key_of("bb"), key_of("c minor"), key_of("Am"), key_of("best")
    ('Bb', 'C minor', 'Am', 'best')
    >>> key_of("CM")
    Traceback (most recent call last):
    harmonylib.errors.HarmonyError: key 'CM': is C major or C minor meant? write the word, as in 'C minor'
    """
    text = in_signs(expect(str, key, "a key: write its tonic in quotes, as in 'Eb', or 'best'").strip())
    if text.lower() == "best":
        return "best"
    match = re.fullmatch(r"([A-Ga-g])((?:[b♭]|#|♯)*)\s*(.*)", text)
    if not match:
        raise HarmonyError(f"{shown(key)} is not a key: write its tonic, as in 'Eb' or 'C minor', or 'best'")
    tonic, mode = match[1].upper() + match[2], match[3]
    if mode == "M":
        raise HarmonyError(f"key {text!r}: is {tonic} major or {tonic} minor meant? write the word, as in 'C minor'")
    words = {"": "", "m": "m", "min": " minor", "minor": " minor", "maj": " major", "major": " major"}
    if mode != "m" and mode.lower() not in words:
        raise HarmonyError(f"{shown(key)} is not a key: write its tonic, as in 'Eb' or 'C minor', or 'best'")
    Name.parse(tonic)
    return tonic + words[mode if mode == "m" else mode.lower()]


_FIGURES = {"six": "6", "sixth": "6", "seven": "7", "seventh": "7", "nine": "9", "ninth": "9"}


def _in_figures(text: str) -> str:
    return re.sub(rf"\b({'|'.join(_FIGURES)})\b", lambda found: _FIGURES[found[1].lower()], text, flags=re.I)


def in_signs(text: str) -> str:
    """A symbol whose root is said in words, with the sign in its place.

    >>> in_signs("E flat minor"), in_signs("f-sharp"), in_signs("Eb")
    ('Eb minor', 'f#', 'Eb')
    """
    sign = {"flat": "b", "sharp": "#"}
    return re.sub(r"^([A-G])[\s-]*(flat|sharp)\b", lambda found: found[1] + sign[found[2].lower()], text, flags=re.I)


def with_capital(text: str) -> str:
    """The text with its first letter large when it is one of the seven: a root.

    >>> with_capital("ebm7"), with_capital("hello")
    ('Ebm7', 'hello')
    """
    return capital(text) if text[:1] in tuple("abcdefg") else text
