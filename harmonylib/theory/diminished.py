"""The passing diminished chord: the one diminished seventh that holds a foreign melody note.

Conventions
- There are three diminished sevenths and each pitch belongs to exactly one, so a foreign note has one answer.
- The chord is named by its own root and spelled minor third by minor third; the melody keeps the tune's spelling.

Sources: the rule and the names leading-tone and common-tone diminished are common practice; that a leading-tone
diminished seventh is a dominant seventh, flat nine without its root follows from the spelling (B D F A♭ in G7♭9).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from harmonylib.errors import expect
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import interval
from harmonylib.theory.pitch import Name, Pitch

ACTIONS = {
    # name                  degree of R that its own root is   what it does
    "leading-tone": "7",  # a semitone under R: the dominant with a flat nine, without its root; resolves into R
    "common-tone": "1",  # shares R: decorates the chord and falls back into it
    "secondary": "♯1",  # a semitone over R: leads to the chord a tone above R
}


@dataclass(frozen=True, slots=True)
class Passing:
    """A diminished seventh over a chord on `over`: the chord itself, which of the three it is, where it leads."""

    chord: Chord
    action: str
    target: Name

    @property
    def sentence(self) -> str:
        """What it does, in words.

        >>> passing(Pitch.parse("D4"), Chord.parse("Cmaj7")).sentence
        'the leading-tone diminished seventh Bdim7, G7(♭9) without its root, resolves into C'
        """
        if self.action == "leading-tone":
            dominant = self.target.up(4, 7)
            rootless = f"{dominant}7(♭9) without its root"
            return f"the leading-tone diminished seventh {self.chord}, {rootless}, resolves into {self.target}"
        if self.action == "common-tone":
            return f"the common-tone diminished seventh {self.chord} keeps {self.target} and falls back into its chord"
        return f"the diminished seventh {self.chord} leads to a chord on {self.target}, a tone above"


def passing(pitch: Pitch, over: Chord) -> Passing:
    """The diminished seventh that holds `pitch`, seen from the chord `over`.

    >>> [passing(Pitch.parse(p), Chord.parse("C")).action for p in ("D4", "Eb4", "Db4")]
    ['leading-tone', 'common-tone', 'secondary']
    >>> passing(Pitch.parse("Ab4"), Chord.parse("C6")).chord.names
    (B, D, F, A♭)
    """
    expect(Pitch, pitch, "a pitch: read it first, as in Pitch.parse('D4')")
    return _passing(pitch, expect(Chord, over, "a chord: read it first, as in Chord.parse('Cmaj7')"))


@lru_cache(maxsize=4096)
def _passing(pitch: Pitch, over: Chord) -> Passing:
    above = (pitch.midi - over.root.pitch_class) % 12
    action = next(name for name, degree in ACTIONS.items() if (above - interval(degree)[1]) % 3 == 0)
    root = over.name_of(ACTIONS[action]).simplest()
    target = root.up(1, 1) if action == "secondary" else over.root
    return Passing(Chord(root, "dim7"), action, target)
