"""The tones of a chord: which degree a note is.

Conventions
- “In the chord” means: in the chord as written, in a fill of a triad (6 or maj7 …), or a written extension.
"""

from __future__ import annotations

from harmonylib.errors import expect
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Pitch

DEGREE_WORDS = {
    **{"1": "root", "♭9": "flat ninth", "9": "ninth", "♯9": "sharp ninth", "♭3": "minor third", "3": "third"},
    **{"4": "fourth", "11": "eleventh", "♯11": "sharp eleventh", "♭5": "flat fifth", "5": "fifth", "♯5": "sharp fifth"},
    **{"♭13": "flat thirteenth", "6": "sixth", "13": "thirteenth", "♭♭7": "diminished seventh"},
    **{"♭7": "minor seventh", "7": "major seventh"},
}


def degree_of(pitch: Pitch, chord: Chord) -> str | None:
    """The degree a pitch is of a chord, None when it is foreign; enharmonic spellings count.

    >>> degree_of(Pitch.parse("D4"), Chord.parse("Bbmaj7")), degree_of(Pitch.parse("C#5"), Chord.parse("C"))
    ('3', None)
    """
    expect(Pitch, pitch, "a pitch: read it first, as in Pitch.parse('D4')")
    return expect(Chord, chord, "a chord: read it first, as in Chord.parse('Bbmaj7')").tones.get(pitch.midi % 12)
