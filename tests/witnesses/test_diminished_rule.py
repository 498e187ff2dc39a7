"""The rule of the three diminished sevenths, for every note over every chord.

Source: the rule, the three kinds and the degrees each covers are common practice; that the leading-tone diminished
seventh is a dominant seventh, flat nine without its root (B D F A♭ in G7♭9) is plain harmony. The partition of the
twelve notes is arithmetic, written out here. Witness: music21 says of every chord found that it is a diminished seventh
on the root it is named by, third by third as spelled.
"""

from fractions import Fraction
from functools import lru_cache
from itertools import product

import pytest
from music21 import chord as m21

from harmonylib.arranging.arrange import arrange
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import ACTIONS, passing
from harmonylib.theory.families import CHORD_KINDS
from harmonylib.theory.pitch import ROOTS, Name, Pitch
from harmonylib.theory.tones import degree_of
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import Change, Note, Tune
from tests.witnesses.names import to_music21

THREE = ({0, 3, 6, 9}, {1, 4, 7, 10}, {2, 5, 8, 11})
COVERS = {
    # kind: semitones of its own root above R, degrees of R it covers
    "leading-tone": (11, "7 2 4 ♭6"),
    "common-tone": (0, "1 ♭3 ♭5 6"),
    "secondary": (1, "♭2 3 5 ♭7"),
}
DEGREES = "1 ♭2 2 ♭3 3 4 ♭5 5 ♭6 6 ♭7 7".split()
"""Of R, a semitone apart."""
NOTES = [Pitch.parse(f"{name}4") for name in ROOTS]
"""The twelve notes, black keys under both names."""


@lru_cache
def is_diminished_by_music21(chord: Chord) -> bool:
    """Root, third, fifth and seventh by the letters, in our order, with the semitones of a diminished seventh."""
    names = [to_music21(name) for name in chord.names]
    theirs = m21.Chord(names)
    by_letters = [theirs.root(), *(theirs.getChordStep(step) for step in (3, 5, 7))]
    return theirs.isDiminishedSeventh() and [pitch.name for pitch in by_letters] == names


def test_there_are_only_three_and_each_note_is_in_one():
    held = {frozenset(name.pitch_class for name in Chord.parse(root + "dim7").names) for root in ROOTS}
    assert held == {frozenset(notes) for notes in THREE}
    assert sorted(note for notes in THREE for note in notes) == list(range(12))
    assert sorted(" ".join(degrees for _, degrees in COVERS.values()).split()) == sorted(DEGREES)
    assert set(COVERS) == set(ACTIONS)


@pytest.mark.parametrize("kind", CHORD_KINDS)
def test_every_note_over_every_chord_has_the_one_that_holds_it(kind):
    """All notes, chord tones too, on seventeen roots: which chord, which kind of the three, where it leads."""
    for root, pitch in product(ROOTS, NOTES):
        over = Chord.parse(root + kind)
        found = passing(pitch, over)
        (one,) = (notes for notes in THREE if pitch.midi % 12 in notes)
        assert {name.pitch_class for name in found.chord.names} == one
        assert is_diminished_by_music21(found.chord)
        assert abs(found.chord.root.alter) < 2

        low = Name.parse(root).pitch_class
        above, covered = COVERS[found.action]
        assert DEGREES[(pitch.midi - low) % 12] in covered.split()
        assert (found.chord.root.pitch_class - low) % 12 == above
        assert (found.target.pitch_class - low) % 12 == (2 if found.action == "secondary" else 0)


@pytest.mark.few(6)
@pytest.mark.parametrize("kind", CHORD_KINDS)
def test_every_foreign_note_is_harmonised_with_it_and_keeps_its_spelling(kind):
    """A tune of all notes over one chord: under each foreign note the three others of its diminished seventh."""
    for root in ROOTS:
        over = Chord.parse(root + kind)
        notes = tuple(Note(pitch, Fraction(4 * index), Fraction(4)) for index, pitch in enumerate(NOTES))
        length = Fraction(4 * len(notes))
        tune = Tune("All notes", notes, (Change(Fraction(0), over),), (Bar(1, Fraction(0), length),))
        foreign = 0
        for choice, pitch in zip(arrange(tune, density="every").choices, NOTES, strict=True):
            assert (choice.treatment == "diminished") == (degree_of(pitch, over) is None)
            if choice.treatment == "diminished":
                foreign += 1
                found = passing(pitch, over)
                below = {name for name in found.chord.names if name.pitch_class != pitch.midi % 12}
                assert choice.voicing.top.name == pitch.name
                assert {sounding.name for sounding in choice.voicing.pitches[:-1]} == below
                assert len(below) == 3
                assert choice.reason.startswith(f"{pitch.name} is foreign to {over} (")
                assert found.sentence in choice.reason
        assert foreign >= 17 - 2 * len(over.tones)


def test_leading_tone_is_a_dominant_with_flat_nine_without_its_root():
    """B D F A♭ inside G7♭9, over C: in every key the chord is the dominant seventh, flat nine, less its root."""
    for root in ROOTS:
        over = Chord.parse(root)
        found = passing(over.name_of("7").at(60 + over.pitch_class_of("7")), over)
        dominant = Chord(over.name_of("5"), "7", ("♭9",))
        upper = {dominant.pitch_class_of(degree) for degree in ("3", "5", "♭7", "♭9")}
        assert {name.pitch_class for name in found.chord.names} == upper
        assert found.target == over.root
        assert f"{dominant.root}7(♭9) without its root, resolves into {over.root}" in found.sentence
    assert [str(name) for name in passing(Pitch.parse("Ab4"), Chord.parse("C")).chord.names] == "B D F A♭".split()
