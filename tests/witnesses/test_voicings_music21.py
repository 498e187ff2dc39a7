"""Voicings against music21's own analysis of the notes: which inversion, and which seventh chord.

music21 names stacks of thirds only: it finds the root by spelling. So a sixth chord is there an inversion of a seventh
chord on its sixth (C6 = A minor seventh, Cm6 = A half-diminished), and a suspended seventh has no root of ours at all.
"""

from itertools import product

import pytest
from music21 import chord as m21

from harmonylib.theory.families import FAMILIES
from harmonylib.theory.pitch import ROOTS, Pitch
from harmonylib.theory.voicings import INVERSIONS, SPREADS, Voicing, inversions
from tests.witnesses.names import name_from, to_music21

NAMES = {
    # family   music21's name, where it has one that does not depend on the inversion
    "maj7": "major seventh chord",
    "7": "dominant seventh chord",
    "7♯5": "augmented seventh chord",
    "m7": "minor seventh chord",
    "m7♭5": "half-diminished seventh chord",
    "dim7": "diminished seventh chord",
    "6": "minor seventh chord",
    "m6": "half-diminished seventh chord",
}
SIXTHS = {"6", "m6"}
SUSPENDED = {"7sus4"}


def heard(voicing: Voicing) -> m21.Chord:
    return m21.Chord([to_music21(pitch) for pitch in voicing.pitches])


@pytest.mark.parametrize("kind", FAMILIES)
def test_inversions_and_names(kind):
    """All roots, spreads and inversions of a family."""
    for root, spread in product(ROOTS, SPREADS):
        for number, voicing in enumerate(inversions(root + kind, spread)):
            assert voicing.inversion == INVERSIONS[number]
            chord = heard(voicing)
            assert [pitch.midi for pitch in chord.pitches] == [pitch.midi for pitch in voicing.pitches]
            if kind in SUSPENDED:
                assert not chord.isSeventh()  # fourths, not thirds: it cannot witness the inversion
                continue
            assert chord.isSeventh()
            stacked_on = voicing.chord.name_of("6") if kind in SIXTHS else voicing.chord.root
            assert name_from(chord.root()) == stacked_on
            assert chord.inversion() == ((number + 1) % 4 if kind in SIXTHS else number)


@pytest.mark.parametrize(("kind", "name"), NAMES.items())
def test_names_of_seventh_chords(kind, name):
    """Root position and the open spreads alike, on every root."""
    for root, spread in product(ROOTS, SPREADS):
        for voicing in inversions(root + kind, spread):
            assert heard(voicing).commonName == name


def test_semitones_agree_with_music21_pitch_by_pitch():
    """The spelled names sound where music21 says they sound, double accidentals and octaves included."""
    for kind, root in product(FAMILIES, ROOTS):
        for voicing in inversions(root + kind, "drop 2", Pitch.parse(f"{root}2")):
            assert [pitch.midi for pitch in heard(voicing).pitches] == [pitch.midi for pitch in voicing.pitches]
            assert [round(p.frequency, 6) for p in voicing.pitches] == [
                round(p.frequency, 6) for p in heard(voicing).pitches
            ]
