"""Material for exercises on chords, drawn by seed: what each level from 1 to 3 asks for."""

from __future__ import annotations

import random

from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import ROOTS
from harmonylib.theory.voicings import Voicing, voice

LEVELS = {
    # level  families                                   roots                        spreads
    1: ("maj7 7 m7 6", "C F B♭ E♭ G D A", "drop 2"),
    2: ("maj7 7 m7 6 m6 m7♭5 dim7 7sus4", "C F B♭ E♭ A♭ D♭ G♭ B E A D G", "drop 2,drop 3"),
    3: ("maj7 6 7 7sus4 7♭5 7♯5 maj7♯5 maj7♭5 m7 m6 m(maj7) m7♭5 dim7", " ".join(ROOTS), "drop 2,drop 3,drop 2 and 4"),
}


def draw_chord(draws: random.Random, level: int) -> Chord:
    """A four-note chord for a level, spelled without triple accidentals and, but for dim7, without double ones."""
    families, roots, _ = LEVELS[level]
    while True:
        chord = Chord.parse(draws.choice(roots.split()) + draws.choice(families.split()))
        if all(abs(name.alter) < 2 for name in chord.names[:3]):
            return chord


def chords_of(level: int) -> list[Chord]:
    """Every chord that `draw_chord` may draw on a level.

    >>> len(chords_of(1)), chords_of(1)[:3]
    (28, [Cmaj7, C7, Cm7])
    """
    families, roots, _ = LEVELS[level]
    made = [Chord.parse(root + family) for root in roots.split() for family in families.split()]
    return [chord for chord in made if all(abs(name.alter) < 2 for name in chord.names[:3])]


def draw_spread(draws: random.Random, level: int) -> str:
    return draws.choice(LEVELS[level][2].split(","))


def draw_grip(draws: random.Random, level: int) -> tuple[Chord, Voicing, Grip]:
    """A chord with a grip of it on the usual neck: on level 1 the middle strings, else any string set."""
    neck = Neck()
    while True:
        chord, spread = draw_chord(draws, level), draw_spread(draws, level)
        sets = neck.string_sets(spread)
        strings = sets[len(sets) // 2] if level == 1 else draws.choice(sets)
        degree = draws.choice(chord.degrees)
        midi = neck.open_midi[-strings[-1]] + draws.randrange(13)
        while midi % 12 != chord.pitch_class_of(degree):
            midi += 1
        voicing = voice(chord, spread, chord.name_of(degree).at(midi), chord.degrees)
        grip = neck.place(voicing, strings)
        if grip:
            return chord, voicing, grip


def level_of(chord: str, spread: str = "") -> int:
    """The lowest level that has such a chord and spread; the highest when none has.

    >>> level_of("Cmaj7"), level_of("Bm6", "drop 3"), level_of("C7b5")
    (1, 2, 3)
    """
    try:
        made = Chord.parse(chord)
    except HarmonyError:
        return 1
    for level, (families, roots, spreads) in LEVELS.items():
        if made.kind in families.split() and str(made.root) in roots.split() and spread in ("", *spreads.split(",")):
            return level
    return max(LEVELS)
