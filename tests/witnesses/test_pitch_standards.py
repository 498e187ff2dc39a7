"""Pitch against the standards: MIDI 1.0 (60 is middle C, C4; 69 is A4) and ISO 16:1975 (A4 = 440 Hz).

Equal temperament, f = 440 · 2^((m − 69) / 12), is common practice; the frequencies with two decimals follow from it.
Witnesses: music21 for numbers and frequencies, `mir_eval.util.midi_to_hz` for frequencies.
Standard tuning (`tuning.py`) is common practice.
"""

from itertools import product

import mir_eval.util
import pytest
from music21 import pitch as m21

from harmonylib.guitar.neck import Neck
from harmonylib.theory.pitch import LETTERS, Pitch
from tests.witnesses.names import pitch_from, to_music21
from tests.witnesses.tuning import OPEN_MIDI, OPEN_STRINGS

MIDI_NOTES = range(128)


@pytest.mark.parametrize(("text", "midi", "hertz"), [*OPEN_STRINGS, ("C4", 60, 261.63), ("A4", 69, 440.00)])
def test_midi_numbers_and_frequencies(text, midi, hertz):
    assert Pitch.parse(text).midi == midi
    assert round(Pitch.parse(text).frequency, 2) == hertz


def test_the_open_strings_of_standard_tuning():
    assert [str(pitch) for pitch in Neck().open_strings] == [name for name, _, _ in OPEN_STRINGS]
    assert Neck().open_midi == OPEN_MIDI
    assert [round(pitch.frequency, 2) for pitch in Neck().open_strings] == [hertz for _, _, hertz in OPEN_STRINGS]


@pytest.mark.parametrize("number", MIDI_NOTES)
def test_every_midi_note_and_its_enharmonics_have_the_number_music21_gives(number):
    """Three spellings of each, those across the border of an octave (B♯ and C♭) too."""
    plain = m21.Pitch(midi=number)
    spellings = {pitch_from(p) for p in (plain, plain.getHigherEnharmonic(), plain.getLowerEnharmonic())}
    assert len(spellings) == 3
    assert {pitch.midi for pitch in spellings} == {number}


def test_every_spelling_has_the_number_music21_gives():
    """Seven letters, up to three flats or sharps, octaves −1 to 9."""
    for letter, alter, octave in product(LETTERS, range(-3, 4), range(-1, 10)):
        pitch = Pitch(letter, alter, octave)
        assert pitch.midi == m21.Pitch(to_music21(pitch.name), octave=octave).ps


@pytest.mark.parametrize("number", MIDI_NOTES)
def test_frequencies_are_those_of_the_formula_of_mir_eval_and_of_music21(number):
    theirs = m21.Pitch(midi=number)
    frequency = pitch_from(theirs).frequency
    assert frequency == pytest.approx(440 * 2 ** ((number - 69) / 12), rel=1e-12)
    assert frequency == pytest.approx(mir_eval.util.midi_to_hz(number), rel=1e-12)
    assert frequency == pytest.approx(theirs.frequency, rel=1e-12)
