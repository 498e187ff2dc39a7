"""The inversion cycle: four steps are one octave, for every chord, spread and string set."""

from hypothesis import assume, given
from hypothesis import strategies as st

from harmonylib.theory.voicings import SPREADS, inversions
from tests.fuzz.strategies import chords, necks

steps = st.integers(-9, 9)


@given(chords, st.sampled_from(tuple(SPREADS)), steps, steps)
def test_four_steps_are_an_octave_and_steps_add_up(chord, spread, first, second):
    """The steps of a voicing are a group: n up and n down is where it began, and every fourth is twelve semitones."""
    turned = inversions(chord, spread)
    assert [voicing.step(1) for voicing in turned[:3]] == list(turned[1:])
    for voicing in turned:
        octave = voicing.step(4)
        assert octave.degrees == voicing.degrees
        assert [high.midi - low.midi for low, high in zip(voicing.pitches, octave.pitches, strict=True)] == [12] * 4
        assert [high.name for high in octave.pitches] == [low.name for low in voicing.pitches]
        assert voicing.step(first).step(second) == voicing.step(first + second)
    for voice_number in range(4):
        assert {voicing.degrees[voice_number] for voicing in turned} == set(turned[0].stack)


@given(necks, chords, st.sampled_from(tuple(SPREADS)), st.data())
def test_a_cycle_on_a_string_set_holds_its_inversions_in_whole_octaves(neck, chord, spread, data):
    """The grips lie on the strings, each sounds another inversion; one left out lies nowhere on these strings."""
    sets = neck.string_sets(spread)
    assume(sets)
    strings = data.draw(st.sampled_from(sets))
    start = data.draw(st.sampled_from(inversions(chord, spread)))
    around = [start.step(n) for n in range(-8, 12)]
    found = neck.cycle(start, strings)
    assert len({turned.degrees for turned, _ in found}) == len(found) <= 4
    for turned, grip in found:
        assert turned in around
        assert grip.strings == strings
        assert neck.midi(grip.frets) == tuple(pitch.midi for pitch in turned.pitches)
        assert neck.fault(grip) is None
    missing = {turned.degrees for turned in around} - {turned.degrees for turned, _ in found}
    assert not any(neck.place(turned, strings) for turned in around if turned.degrees in missing)
