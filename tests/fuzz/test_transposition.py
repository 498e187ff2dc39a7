"""Transposition: what moves with a tune, exactly, and what the neck's ends cut off.

A guitar does not transpose freely: frets narrow upwards, and the neck ends at the nut and at the last fret. So three
statements, each as strong as it is true:

1. The test of the melody knows no neck: degrees, roles and diminished chords move with the tune, always.
2. Tune and tuning moved together: every fret, finger, cost, reason's treatment and answer stays what it was, for any
   interval. A capo n frets up on a string longer by 2^(n/12) is the same: the part of the string that sounds is equal.
   The limits under which narrow intervals blur are absolute pitches and do not move: they are lifted here.
3. On one neck the candidates of a note move along it, one by one, but for three kinds: grips with open strings (no
   finger holds them), grips that would lie off the neck, and grips the hand cannot reach where the frets are wider.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from unittest.mock import patch

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.costs import LOWEST_CLEAR
from harmonylib.guitar.neck import MOST_FRETS
from harmonylib.theory.diminished import passing
from harmonylib.tunes.chordtones import examine
from tests.fuzz.strategies import hands, manners, tunes

STEPS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
"""Letters that an interval of so many semitones spans, when a tune is moved by it."""

intervals = st.integers(-24, 24).map(lambda n: (STEPS[n % 12] + 7 * (n // 12), n))


@contextmanager
def no_floor() -> Iterator[None]:
    """No limit for narrow intervals in the low register."""
    with patch.dict(LOWEST_CLEAR, clear=True):
        yield


@given(tunes(), intervals)
def test_the_test_of_the_melody_moves_with_the_tune(tune, interval):
    moved = tune.transposed(*interval)
    semitones = interval[1]
    for before, after in zip(examine(tune), examine(moved), strict=True):
        assert after.note.pitch.midi == before.note.pitch.midi + semitones
        assert (after.note.onset, after.note.duration) == (before.note.onset, before.note.duration)
        assert (after.degree, after.role) == (before.degree, before.role)
        assert (after.chord is None) == (before.chord is None)
        if before.chord and after.chord:
            assert (after.chord.kind, after.chord.extensions) == (before.chord.kind, before.chord.extensions)
            tones = {(pitch_class + semitones) % 12: degree for pitch_class, degree in before.chord.tones.items()}
            assert after.chord.tones == tones
            if before.degree is None:
                low, high = passing(before.note.pitch, before.chord), passing(after.note.pitch, after.chord)
                assert high.action == low.action
                assert (high.chord.root.pitch_class - low.chord.root.pitch_class - semitones) % 12 == 0
                assert (high.target.pitch_class - low.target.pitch_class - semitones) % 12 == 0
    for before, after in zip(tune.bars, moved.bars, strict=True):
        assert (after.fifths - before.fifths - 7 * semitones) % 12 == 0


def played(arrangement):
    """All that an arrangement asks of the hand, and when."""
    answers = [(a.onset, a.duration, a.grip, a.approach, a.voicing.degrees) for a in arrangement.answers]
    chords = [(c.grip, c.treatment, c.tested.degree, c.tested.role, c.why_single) for c in arrangement.choices]
    forms = [c.voicing and (c.voicing.spread, c.voicing.degrees) for c in arrangement.choices]
    return chords, forms, answers


@given(tunes(), hands, manners, intervals)
@no_floor()
def test_tune_and_tuning_moved_together_are_played_the_same(tune, hand, manner, interval):
    steps, semitones = interval
    neck = hand["neck"]
    tuning = " ".join(str(pitch.up(steps, semitones)) for pitch in neck.open_strings)
    found = respond(arrange(tune, **hand), manner)
    moved = respond(arrange(tune.transposed(steps, semitones), **hand | {"neck": replace(neck, tuning=tuning)}), manner)
    assert played(moved) == played(found)
    assert moved.cost == found.cost
    assert [c.note.pitch.midi - semitones for c in moved.choices] == [c.note.pitch.midi for c in found.choices]


@given(tunes(), hands, st.integers(1, 7))
@no_floor()
def test_a_capo_on_a_longer_string_moves_a_tune_by_its_frets(tune, hand, capo):
    """The cost is the same up to rounding; a tie may then fall to another grip, so the grips it may choose are."""
    neck = hand["neck"]
    assume(neck.capo == 0)
    assume(neck.frets + capo <= MOST_FRETS)
    assume(neck.scale_mm * 2 ** (capo / 12) <= 1000)
    higher = replace(neck, capo=capo, frets=neck.frets + capo, scale_mm=neck.scale_mm * 2 ** (capo / 12))
    found = arrange(tune, **hand)
    moved = arrange(tune.transposed(STEPS[capo], capo), **hand | {"neck": higher})
    assert moved.cost == pytest.approx(found.cost)
    for index in range(len(tune.notes)):
        assert moved.candidates(index) == found.candidates(index)


@given(tunes(), hands, st.integers(1, 12))
@no_floor()
def test_candidates_move_along_the_neck_but_for_open_strings_ends_and_reach(tune, hand, semitones):
    neck = hand["neck"]
    found = arrange(tune, **hand)
    moved = replace(found, tune=found.tune.transposed(STEPS[semitones % 12] + 7 * (semitones // 12), semitones))
    for index in range(len(tune.notes)):
        low = {grip.shifted(semitones) for grip in found.candidates(index) if 0 not in grip.frets}
        high = {
            grip for grip in moved.candidates(index) if all(fret is None or fret > semitones for fret in grip.frets)
        }
        assert {grip for grip in low if max(grip.fretted) <= neck.last_fret} == {
            grip for grip in high if neck.stretch_mm(grip.shifted(-semitones).frets) <= neck.reach_mm
        }
