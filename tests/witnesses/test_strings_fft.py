"""The synthesised strings against ISO 16:1975 (A4 = 440 Hz, equal temperament), measured by FFT in the samples.

Standard tuning is common practice, its notes are MIDI 1.0 numbers. The meter (`tests/witnesses/fft.py`) shares nothing
with the library and is proved first: on fading sines over the whole range it is right within 0.01 cent, and it sees
detuning of 1 and of 5 cents as what it is.
"""

import numpy as np
import pytest

from harmonylib.guitar.neck import Neck
from harmonylib.sound.events import Event
from harmonylib.sound.rendering import render
from harmonylib.sound.strings import HIGHEST, LOWEST, RATE
from tests.witnesses.fft import cents_off, frequency
from tests.witnesses.tuning import OPEN_MIDI


def iso_16(midi: int) -> float:
    return 440.0 * 2 ** ((midi - 69) / 12)


def sine(hertz: float) -> np.ndarray:
    """Two seconds, fading like a string."""
    time = np.arange(2 * RATE) / RATE
    return np.exp(-3 * time) * np.sin(2 * np.pi * hertz * time + 1)


def heard(midi: int) -> np.ndarray:
    """A note of two seconds as it leaves the speakers, both sides together."""
    return render([Event(0, 2, (midi,))], tempo=60).sum(axis=1)


@pytest.mark.few(2)
@pytest.mark.parametrize("detuned", [-5, -1, 0, 1, 5])
def test_the_meter_sees_a_detuned_sine_as_detuned_by_so_much(detuned):
    for midi in range(LOWEST, HIGHEST + 1):
        assert cents_off(sine(iso_16(midi) * 2 ** (detuned / 1200)), RATE, iso_16(midi)) == pytest.approx(
            detuned, abs=0.01
        )


def test_the_meter_hears_no_tone_where_there_is_none():
    with pytest.raises(AssertionError, match="no tone here"):
        frequency(sine(iso_16(69)), RATE, iso_16(60))


@pytest.mark.parametrize("midi", range(LOWEST, HIGHEST + 1))
def test_every_note_is_in_tune_within_a_tenth_of_a_cent(midi):
    assert abs(cents_off(heard(midi), RATE, iso_16(midi))) < 0.1


@pytest.mark.parametrize("string", range(6, 0, -1))
def test_every_fret_sounds_its_own_frequency_within_three_cents(string):
    """Frets 0 to 15, as the neck hands them to the strings; fret n is n semitones above the open string."""
    for fret in range(16):
        frets = tuple(fret if number == string else None for number in range(6, 0, -1))
        (midi,) = Neck().midi(frets)
        assert abs(cents_off(heard(midi), RATE, iso_16(OPEN_MIDI[-string]) * 2 ** (fret / 12))) < 3
