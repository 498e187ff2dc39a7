"""The families of chords: the four degrees of each, the symbols they are written with, and what replaces what.

Conventions
- A degree is text: an accidental and a number above the root, ``"1"``, ``"♭3"``, ``"♯11"``. Semitones follow from it.
- A *family* is four degrees; a *triad* has three and names the families a block chord may fill it up to.
- 9, 11 and 13 are extensions: each takes the place of a neighbour, so that four notes stay four notes.

Sources: the degree content of every kind is that of MusicXML 4.0 ``kind-value`` where it has one; how triads are filled
and which neighbour an extension replaces are common practice.
"""

from __future__ import annotations

import re
from functools import lru_cache

from harmonylib.errors import HarmonyError, shown
from harmonylib.theory.pitch import alter_of

FAMILIES = {
    # label        name                          spellings                  degrees        semitones follow
    "maj7": ("major seventh", "maj7 ma7 M7 Δ Δ7", "1 3 5 7"),  # ........... 0 4 7 11
    "6": ("major sixth", "6", "1 3 5 6"),  # ............................... 0 4 7 9
    "7": ("dominant seventh", "7", "1 3 5 ♭7"),  # ......................... 0 4 7 10
    "7sus4": ("suspended seventh", "7sus4 7sus", "1 4 5 ♭7"),  # ........... 0 5 7 10
    "7♭5": ("seventh, flat five", "7♭5 7(♭5)", "1 3 ♭5 ♭7"),  # ............ 0 4 6 10
    "7♯5": ("augmented seventh", "7♯5 +7 aug7", "1 3 ♯5 ♭7"),  # ........... 0 4 8 10
    "maj7♯5": ("augmented major seventh", "maj7♯5 +maj7", "1 3 ♯5 7"),  # .. 0 4 8 11
    "maj7♭5": ("major seventh, flat five", "maj7♭5", "1 3 ♭5 7"),  # ....... 0 4 6 11
    "m7": ("minor seventh", "m7 mi7 min7 -7", "1 ♭3 5 ♭7"),  # ............. 0 3 7 10
    "m6": ("minor sixth", "m6 mi6 -6", "1 ♭3 5 6"),  # ..................... 0 3 7 9
    "m(maj7)": ("minor, major seventh", "m(maj7) mMaj7 mM7", "1 ♭3 5 7"),  # 0 3 7 11
    "m7♭5": ("half-diminished", "m7♭5 ø ø7 -7♭5", "1 ♭3 ♭5 ♭7"),  # ........ 0 3 6 10
    "dim7": ("diminished seventh", "dim7 °7 o7", "1 ♭3 ♭5 ♭♭7"),  # ........ 0 3 6 9
}

TRIADS = {
    # label   name                      spellings          degrees     families a block chord fills it up to
    "": ("major triad", "maj ma M", "1 3 5", ("6", "maj7", "7")),
    "m": ("minor triad", "m mi min -", "1 ♭3 5", ("m7", "m6")),
    "dim": ("diminished triad", "dim ° o", "1 ♭3 ♭5", ("dim7",)),
    "aug": ("augmented triad", "aug +", "1 3 ♯5", ("7♯5", "maj7♯5")),
    "sus4": ("suspended fourth", "sus4 sus", "1 4 5", ("7sus4",)),
}

CHORD_KINDS = {**FAMILIES, **{label: row[:3] for label, row in TRIADS.items()}}

REPLACES = {
    # an extension takes the place of its neighbour (common practice)
    **dict.fromkeys(("♭9", "9", "♯9"), ("1",)),
    "11": ("3", "♭3"),
    "♯11": ("5", "♯5"),
    "♭13": ("5", "♭5"),
    "13": ("5", "♯5", "♭5"),
    "7": ("♭♭7",),
}

MUSICXML_KINDS = {
    # MusicXML 4.0 kind-value: the symbol suffix it stands for
    **{"major": "", "minor": "m", "augmented": "aug", "diminished": "dim", "dominant": "7", "major-seventh": "maj7"},
    **{"minor-seventh": "m7", "diminished-seventh": "dim7", "augmented-seventh": "7♯5", "half-diminished": "m7♭5"},
    **{"major-minor": "m(maj7)", "major-sixth": "6", "minor-sixth": "m6", "dominant-ninth": "9"},
    **{"major-ninth": "maj9", "minor-ninth": "m9", "dominant-11th": "11", "major-11th": "maj11", "minor-11th": "m11"},
    **{"dominant-13th": "13", "major-13th": "maj13", "minor-13th": "m13", "suspended-second": "sus2"},
    **{"suspended-fourth": "sus4", "power": "5", "Neapolitan": "", "Italian": "7", "French": "7♭5", "German": "7"},
    **{"Tristan": "m7♭5", "pedal": ""},
}

PRACTICE_ORDER = "C F B♭ E♭ A♭ D♭ G♭ B E A D G".split()
"""The twelve roots in the order of fourths, as they are practised."""

MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)


@lru_cache(maxsize=256)
def interval(degree: str) -> tuple[int, int]:
    """Letters and semitones of a degree above the root.

    >>> interval("♭3"), interval("♯11"), interval("♭♭7")
    ((2, 3), (10, 18), (6, 9))
    """
    match = re.fullmatch(r"([♭♯b#]*)(\d{1,2})", degree)
    if not match or not 1 <= int(match[2]) <= 14:
        raise HarmonyError(f"{degree!r} is not a degree: write 1 to 14 with flats or sharps before it, as in ♭3 or #11")
    octaves, step = divmod(int(match[2]) - 1, 7)
    return 7 * octaves + step, 12 * octaves + MAJOR_SCALE[step] + alter_of(match[1])


def degrees_of(kind: str) -> tuple[str, ...]:
    """The degrees of a family or triad by its label.

    >>> degrees_of("m7♭5")
    ('1', '♭3', '♭5', '♭7')
    """
    if kind not in CHORD_KINDS:
        raise HarmonyError(f"{shown(kind)} is not a kind of chord: name one of {', '.join(filter(None, CHORD_KINDS))}")
    return tuple(CHORD_KINDS[kind][2].split())
