"""The root-position grips that every player learns first, fret by fret.

Source: common practice; the grips and the rule of thumb (root on string 5: drop 2; root on string 6: drop 3; the
diminished seventh on strings 6, 5 and 4) are from memory. That each grip is the chord it is called is proved first,
from the tuning (MIDI 1.0 numbers) and the intervals of the family alone, without the library.
"""

from itertools import product

import pytest

from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import FAMILIES, PRACTICE_ORDER
from harmonylib.theory.voicings import inversions
from tests.witnesses.tuning import OPEN_MIDI

GRIPS = """
C | drop 2 | maj7 x3545x, 7 x3535x, m7 x3534x, m7b5 x3434x, dim7 x3424x
G | drop 3 | maj7 3x443x, 7 3x343x, m7 3x333x, m7b5 3x332x, dim7 3x232x
E | drop 2 | dim7 xx2323
"""
"""Fret by string 6 → 1; x: not played."""
ROWS = [[cell.strip() for cell in line.split("|")] for line in GRIPS.strip().splitlines()]
LEARNT = [(root, spread, *pair.split()) for root, spread, grips in ROWS for pair in grips.split(", ")]

TONIC = {"C": 0, "E": 4, "G": 7}
STEPS = {
    # family: root, third, fifth, seventh in semitones
    "maj7": (0, 4, 7, 11),
    "7": (0, 4, 7, 10),
    "m7": (0, 3, 7, 10),
    "m7b5": (0, 3, 6, 10),
    "dim7": (0, 3, 6, 9),
}
BOTTOM_UP = {"drop 2": (0, 2, 3, 1), "drop 3": (0, 3, 1, 2)}
"""Root position 1 5 7 3 and 1 7 3 5, as places in `STEPS`."""


@pytest.mark.parametrize(("root", "spread", "kind", "grip"), LEARNT)
def test_the_frets_of_a_learnt_grip_are_the_chord_by_plain_arithmetic(root, spread, kind, grip):
    sounding = [low + int(fret) for low, fret in zip(OPEN_MIDI, grip, strict=True) if fret != "x"]
    assert sounding == sorted(sounding)
    assert [(note - TONIC[root]) % 12 for note in sounding] == [STEPS[kind][place] for place in BOTTOM_UP[spread]]


@pytest.mark.parametrize(("root", "spread", "kind", "grip"), LEARNT)
def test_a_learnt_grip_is_the_root_position_the_library_places(root, spread, kind, grip):
    neck, learnt, chord = Neck(), Grip.parse(grip), Chord.parse(root + kind)
    rooted = inversions(chord, spread, chord.root.at(neck.midi(learnt.frets)[0]))[0]
    assert rooted.inversion == "root position"
    placed = neck.place(rooted, learnt.strings)
    assert str(placed) == grip
    assert placed in neck.grips(rooted)
    assert neck.fault(placed) is None


@pytest.mark.parametrize(
    ("string", "spread", "kind"),
    [*product([5], ["drop 2"], FAMILIES), *product([6], ["drop 3"], FAMILIES), (4, "drop 2", "dim7")],
)
def test_by_the_rule_of_thumb_every_root_has_its_grip_on_that_string(string, spread, kind):
    """The everyday hand can hold it on all twelve roots, the root its lowest note, at one fret or twelve higher."""
    neck = Neck()
    for root in PRACTICE_ORDER:
        chord = Chord.parse(root + kind)
        low = OPEN_MIDI[-string] + (chord.root.pitch_class - OPEN_MIDI[-string]) % 12
        places = [inversions(chord, spread, chord.root.at(octave))[0] for octave in (low, low + 12)]
        assert any(grip.strings[0] == string for rooted in places for grip in neck.grips(rooted))
