"""A chord symbol of MusicXML, read: root, kind, degrees and bass as a `Chord`.

Conventions
- The kind as the standard names it comes first, then its value and its printed text read as a symbol.
- A symbol that cannot be read is the `HarmonyError` that says why, as a value: the tune goes on without it.

Sources: MusicXML 4.0 (W3C), ``kind-value`` and ``degree``; `WILD_KINDS` is common practice.
"""

from __future__ import annotations

import contextlib
from dataclasses import replace
from xml.etree.ElementTree import Element

from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import MUSICXML_KINDS
from harmonylib.theory.pitch import LETTERS, Name
from harmonylib.tunes.harmony import NO_CHORD, read_chord
from harmonylib.tunes.sheet import clean

WILD_KINDS = {
    # kinds that programs write although MusicXML has no such value (common practice): their symbol suffix
    **{"dominant-seventh": "7", "minor-major": "m(maj7)", "minor-major-seventh": "m(maj7)", "augmented-ninth": "9♯5"},
    **{"augmented-major-seventh": "maj7♯5", "half-diminished-seventh": "m7♭5", "suspended-fourth-seventh": "7sus4"},
    **{"dominant-suspended-fourth": "7sus4", "major-minor-seventh": "7", "diminished-triad": "dim", "triad": ""},
}


def xml_number(text: str | None, otherwise: float | None = None) -> float:
    """A number of a MusicXML file; `otherwise` where there is none."""
    try:
        value = float(text or "")
    except ValueError:
        value = float("nan")
    if abs(value) < 1e9:
        return value
    if otherwise is None:
        raise HarmonyError(f"{clean(text)[:20]!r} stands where a number was expected: save the file again")
    return otherwise


def symbol(harmony: Element) -> Chord | None | HarmonyError:
    """The chord a MusicXML harmony names; None for “no chord”; the error if it cannot be read."""
    kind = harmony.find("kind")
    value = clean(kind.text) if kind is not None else ""
    text = clean(kind.get("text")) if kind is not None else ""
    if value == "none" or (value in ("", "other") and NO_CHORD.fullmatch(text)):
        return None
    try:
        root = _harmony_name(harmony, "root")
        if root is None:
            return HarmonyError("a chord symbol without a root letter (a function or numeral) is not read")
        chord = _kind_chord(str(root), value, text, [*map(_degree, harmony.findall("degree"))])
        bass = _harmony_name(harmony, "bass")
        return chord if bass is None else replace(chord, bass=bass)
    except HarmonyError as error:
        return error


def _harmony_name(harmony: Element, part: str) -> Name | None:
    letter = clean(harmony.findtext(f"{part}/{part}-step")).upper()
    if not letter:
        return None
    alter = round(xml_number(harmony.findtext(f"{part}/{part}-alter"), 0))
    if letter not in LETTERS or abs(alter) > 3:
        raise HarmonyError(f"{letter[:10]!r} is not the {part} of a chord: expected a letter A to G")
    return Name(letter, alter).simplest()


def _kind_chord(root: str, value: str, text: str, degrees: list[tuple[str, int, str]]) -> Chord:
    """The kind as MusicXML names it, else its value or its printed text read as a symbol."""
    tries = []
    standard = MUSICXML_KINDS.get(value, WILD_KINDS.get(value))
    if standard is not None:
        tries.append(_with_degrees(standard, degrees))
    elif value and value != "other":
        tries.append(_with_degrees(value, degrees))
    tries += [text] * (bool(text) or (not value and not degrees))
    for suffix in tries:
        with contextlib.suppress(HarmonyError):
            return read_chord(root + suffix)
    shown = " ".join(filter(None, (f"kind {value!r}", text and f"printed as {text!r}")))
    raise HarmonyError(f"the chord on {root} ({shown}) cannot be read")


def _degree(degree: Element) -> tuple[str, int, str]:
    number = clean(degree.findtext("degree-value"))
    return number, round(xml_number(degree.findtext("degree-alter"), 0)), clean(degree.findtext("degree-type"))


def _with_degrees(suffix: str, degrees: list[tuple[str, int, str]]) -> str:
    """A symbol suffix with MusicXML degrees written behind it; an added seventh is a minor one unless altered."""
    for number, alter, how in degrees:
        sign = "" if not alter else "b" if alter < 0 else "#"
        if how == "subtract":
            suffix += f"(no{number})" if number in ("1", "3", "5", "7") else ""
        elif number == "7" and how == "add" and suffix == "dim":
            suffix = {"b": "dim7", "": "m7b5", "#": "dim(maj7)"}[sign]
        elif number == "7":
            suffix += ("(add7)" if suffix == "dim7" else "(maj7)") if alter > 0 else "(7)" if how == "add" else ""
        elif number == "3":
            suffix = f"m{suffix}" if alter < 0 and not suffix.startswith("m") else suffix
        elif sign:
            suffix += f"({sign}{number})"
        elif how == "add" and number not in ("1", "5"):
            suffix += f"(add{number})"
    return suffix
