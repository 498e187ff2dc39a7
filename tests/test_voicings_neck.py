"""Voicings and grips: the tables of the trade written out again, and the finder of grips against the rules of the hand.

`Neck.fault` is the validator and `fingering` the finder; they share no code. Where a test says “brute force” it tries
every assignment of four fingers and asks the validator.
"""

import random
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harmonylib.errors import HarmonyError
from harmonylib.guitar.fingering import fingering
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import LAYOUTS, LONG_SCALE, MOST_FRETS, SHORT_SCALE, TUNINGS, Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import FAMILIES, PRACTICE_ORDER, TRIADS
from harmonylib.theory.pitch import ROOTS, Pitch
from harmonylib.theory.voicings import INVERSIONS, SPREADS, inversions, voice
from tests.draws import draws

SPREAD_TABLE = """
top | close   | drop 2  | drop 3  | drop 2 and 4
7   | 1 3 5 7 | 5 1 3 7 | 3 1 5 7 | 1 5 3 7
1   | 3 5 7 1 | 7 3 5 1 | 5 3 7 1 | 3 7 5 1
3   | 5 7 1 3 | 1 5 7 3 | 7 5 1 3 | 5 1 7 3
5   | 7 1 3 5 | 3 7 1 5 | 1 7 3 5 | 7 3 1 5
"""
HEADER, *SPREAD_ROWS = [[cell.strip() for cell in line.split("|")] for line in SPREAD_TABLE.strip().splitlines()]
SIXTEEN = [(spread, row[0], row[column]) for row in SPREAD_ROWS for column, spread in enumerate(HEADER) if column]

NECKS = {
    "standard": Neck(),
    "seven strings": Neck("seven strings"),
    "all fourths": Neck("all fourths"),
    "open G": Neck("open G"),
    "short scale": Neck(scale_mm=SHORT_SCALE),
    "capo 3": Neck(capo=3),
    "small hand": Neck(reach_mm=70),
    "large hand, long neck": Neck(frets=22, reach_mm=160),
    "four strings": Neck("C3 G3 D4 A4"),
    "five strings": Neck("A2 D3 G3 B3 E4", frets=12),
}
NO_LIMIT = Neck(scale_mm=300, reach_mm=250, frets=22)
"""A neck so short that no stretch is too wide: only the fingers decide."""


def some_fingers_hold(neck: Neck, frets: tuple[int | None, ...]) -> bool:
    """Brute force: whether any of the 4^k assignments of fingers has no fault."""
    pressed = [place for place, fret in enumerate(frets) if fret]
    for assigned in product((1, 2, 3, 4), repeat=len(pressed)):
        fingers = [0] * len(frets)
        for place, finger in zip(pressed, assigned, strict=True):
            fingers[place] = finger
        if neck.fault(Grip(frets, tuple(fingers))) is None:
            return True
    return False


def tops(chord: Chord, neck: Neck) -> list[Pitch]:
    """Every chord tone from the lowest open string to the end of the highest."""
    lowest, highest = neck.open_midi[0], neck.open_midi[-1] + neck.last_fret
    return [
        name.at(midi) for midi in range(lowest, highest + 1) for name in chord.names if name.pitch_class == midi % 12
    ]


# --- spread voicings ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("spread", "top", "degrees"), SIXTEEN)
def test_the_spread_table_in_full(spread, top, degrees):
    """Sixteen cells, bottom to top, on every family and root: 3, 5, 7 stand for the family's own degrees."""
    place = {"1": 0, "3": 1, "5": 2, "7": 3}
    for kind, root in product(FAMILIES, ROOTS):
        chord = Chord.parse(root + kind)
        own = chord.degrees
        voicing = voice(chord, spread, chord.name_of(own[place[top]]).at(_in_octave_five(chord, own[place[top]])))
        assert voicing.degrees == tuple(own[place[degree]] for degree in degrees.split())
        midi = [pitch.midi for pitch in voicing.pitches]
        assert midi == sorted(set(midi))
        assert [pitch.name for pitch in voicing.pitches] == [chord.name_of(degree) for degree in voicing.degrees]
        assert voicing.inversion == INVERSIONS[place[degrees.split()[0]]]


def _in_octave_five(chord: Chord, degree: str) -> int:
    return 72 + chord.pitch_class_of(degree)


@given(st.sampled_from(sorted(FAMILIES)), st.sampled_from(ROOTS), st.integers(0, 3), st.sampled_from(list(SPREADS)))
def test_a_drop_lowers_voices_of_the_close_position_by_an_octave(kind, root, which, spread):
    """The definition itself: drop 2 lowers the second voice from the top, drop 3 the third, 2 and 4 both."""
    chord = Chord.parse(root + kind)
    top = chord.names[which].at(72 + chord.names[which].pitch_class)
    close = [pitch.midi for pitch in voice(chord, "close", top).pitches]
    assert close[-1] - close[0] < 12
    lowered = {"close": [], "drop 2": [2], "drop 3": [3], "drop 2 and 4": [2, 4]}[spread]
    for voice_number in lowered:
        close[-voice_number] -= 12
    assert [pitch.midi for pitch in voice(chord, spread, top).pitches] == sorted(close)


@pytest.mark.parametrize(
    ("spread", "cycle"),
    [
        ("close", "1357 3571 5713 7135"),
        ("drop 2", "1573 3715 5137 7351"),
        ("drop 3", "1735 3157 5371 7513"),
        ("drop 2 and 4", "1537 3751 5173 7315"),
    ],
)
def test_the_inversion_cycle(spread, cycle):
    """Every voice moves up to the next note of the chord: 1→3→5→7→1; the fourth step is an octave higher."""
    for kind, root in product(FAMILIES, PRACTICE_ORDER):
        turned = inversions(root + kind, spread)
        own = turned[0].chord.degrees
        expected = [tuple(own["1357".index(degree)] for degree in word) for word in cycle.split()]
        assert [voicing.degrees for voicing in turned] == expected
        assert [voicing.inversion for voicing in turned] == list(INVERSIONS)
        for before, after in zip(turned, turned[1:], strict=False):
            assert all(0 < b.midi - a.midi < 7 for a, b in zip(before.pitches, after.pitches, strict=True))
            assert before.step() == after
            assert after.step(-1) == before
        octave = turned[0].step(4)
        assert [b.midi - a.midi for a, b in zip(turned[0].pitches, octave.pitches, strict=True)] == [12] * 4


def test_inversions_start_where_asked():
    assert [str(pitch) for pitch in inversions("Ebm7", "drop 2", Pitch.parse("Eb2"))[0].pitches] == [
        "E♭2",
        "B♭2",
        "D♭3",
        "G♭3",
    ]
    assert inversions("B♭7", "drop 3")[0].pitches[0] == Pitch.parse("B♭3")


def test_extensions_stand_for_their_neighbour_in_a_voicing():
    assert voice("C9", "drop 2", "D5").degrees == ("♭7", "3", "5", "9")
    assert voice("Cm11", "close", "F5").degrees == ("5", "♭7", "1", "11")
    assert voice("C13", "drop 2", "A5").degrees == ("3", "♭7", "1", "13")
    assert voice("Cmaj7#11", "drop 3", "F#5").degrees[-1] == "♯11"
    assert voice("C", "drop 2", "C5").stack == ("1", "3", "5", "6")
    assert voice("C", "drop 2", "B4").stack == ("1", "3", "5", "7")


def test_bad_spreads_and_top_notes_are_refused():
    with pytest.raises(HarmonyError, match="'drop 5' is not a spread: choose close, drop 2, drop 3, drop 2 and 4"):
        voice("C7", "drop 5", "C5")
    with pytest.raises(HarmonyError, match="'drop 5' is not a spread"):
        inversions("C7", "drop 5")
    with pytest.raises(HarmonyError, match="'drop 5' is not a spread"):
        Neck().string_sets("drop 5")
    with pytest.raises(HarmonyError, match=r"C♯5 is not in C7 \(C E G B♭\)"):
        voice("C7", "drop 2", "C#5")
    with pytest.raises(HarmonyError, match="'C' is not a pitch"):
        voice("C7", "drop 2", "C")
    with pytest.raises(HarmonyError, match="'Q7' is not a chord symbol"):
        voice("Q7", "drop 2", "C5")


# --- the neck -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "why"),
    [
        (lambda: voice(None, "drop 2", "E4"), "'None' is not a chord symbol"),
        (lambda: voice("C7", "drop 2", 64), "64 is not a pitch"),
        (lambda: voice("C7", ["drop 2"], "E4"), r"\['drop 2'\] is not a spread: choose close"),
        (lambda: inversions("C7", "drop 2", "C3"), "'C3' is not a pitch"),
        (lambda: voice("C7", "drop 2", "E4").step("1"), "'1' is not a number of steps"),
        (lambda: Neck(frets="x"), "'x' frets: a neck here has 1 to 22"),
        (lambda: Neck(reach_mm=float("nan")), "reach nan mm: a hand reaches between 20 and 250 mm"),
        (lambda: Neck(capo=1.5), "1.5 is not a fret for a capo: give a whole number"),
        (lambda: Neck(tuning=None), "None is not a tuning: write its open strings"),
        (lambda: Neck().grips("Cmaj7"), "'Cmaj7' is not a voicing: make one"),
        (lambda: Neck().fault("x3545x"), "'x3545x' is not a grip: read it first"),
        (lambda: Neck().fingered("x3545x"), "'x3545x' is no row of frets"),
        (lambda: Neck().midi((3, 5)), r"\(3, 5\) does not name one fret a string: this neck has 6"),
        (lambda: Neck().cycle(voice("C7", "drop 2", "E4"), None), "None is not a string set: write one such as"),
        (lambda: Neck().place(voice("C7", "drop 2", "E4"), [{}, 4, 3, 2]), "name 4 of this neck's 6"),
    ],
)
def test_what_is_of_another_kind_is_refused_by_name(call, why):
    with pytest.raises(HarmonyError, match=why):
        call()


def test_other_tunings_and_a_capo_have_other_open_strings():
    assert Neck(capo=3).open_midi == (43, 48, 53, 58, 62, 67)
    assert Neck("D2 A2 D3 G3 B3 E4").open_midi == Neck("dropped D").open_midi
    assert len(Neck("seven strings").open_strings) == 7
    steps = [b - a for a, b in zip(Neck("all fourths").open_midi, Neck("all fourths").open_midi[1:], strict=False)]
    assert steps == [5] * 5


@pytest.mark.parametrize("scale", [LONG_SCALE, SHORT_SCALE])
def test_frets_halve_the_string_every_octave(scale):
    """Nut to fret n is L · (1 − 2^(−n/12)): equal temperament."""
    neck = Neck(scale_mm=scale, frets=22)
    assert neck.nut_to(0) == 0
    assert neck.nut_to(12) == pytest.approx(scale / 2)
    assert neck.nut_to(7) == pytest.approx(scale / 3, rel=0.003)  # a fifth is nearly two thirds of the string
    for fret in range(21):
        left = scale - neck.nut_to(fret)
        assert scale - neck.nut_to(fret + 1) == pytest.approx(left / 2 ** (1 / 12))


def test_scale_lengths():
    """Common practice: 648 mm long, 628 mm short."""
    assert (LONG_SCALE, SHORT_SCALE) == (648, 628)


def test_stretch_figures():
    """Four frets are about 126 mm at fret 1; from fret 12 they are 66.8 mm (the trade rounds this to 66 or 67)."""
    assert Neck().stretch_mm((1, 5)) == pytest.approx(126.2, abs=0.05)
    assert Neck(frets=22).stretch_mm((12, 16)) == pytest.approx(66.8, abs=0.05)
    assert Neck().stretch_mm((1, 5)) == pytest.approx(648 * (2 ** (-1 / 12) - 2 ** (-5 / 12)))
    assert Neck().stretch_mm((0, None, 5)) == 0  # an open string needs no finger
    assert Neck().stretch_mm((None, 0, None)) == 0


def test_a_capo_leaves_the_same_frets_in_the_same_place():
    open_neck, capo = Neck(), Neck(capo=3)
    for low, high in ((1, 4), (2, 7)):
        assert capo.stretch_mm((low, high)) == pytest.approx(open_neck.stretch_mm((low + 3, high + 3)))
    assert capo.last_fret == open_neck.last_fret - 3
    assert capo.nut_to(0) == 0
    assert capo.nut_to(9) == pytest.approx(open_neck.nut_to(12) - open_neck.nut_to(3))


def test_string_sets():
    neck = Neck()
    sets = {spread: ["".join(map(str, strings)) for strings in neck.string_sets(spread)] for spread in LAYOUTS}
    assert sets["drop 2"] == ["4321", "5432", "6543"]
    assert sets["drop 3"] == ["5321", "6432"]
    assert sets["drop 2 and 4"] == ["5421", "6532"]
    assert [len(Neck("seven strings").string_sets(spread)) for spread in ("drop 2", "drop 3")] == [4, 3]
    assert [len(Neck("C3 G3 D4 A4").string_sets(spread)) for spread in ("drop 2", "drop 3", "drop 2 and 4")] == [
        1,
        0,
        0,
    ]


# --- grips: found against checked ----------------------------------------------------------------------------------


@pytest.mark.few(5)
@pytest.mark.parametrize("name", NECKS)
def test_every_grip_found_passes_the_validator_and_sounds_its_voicing(name):
    neck, found = NECKS[name], 0
    for kind, spread in product(FAMILIES, SPREADS):
        for root in ("C", "E♭", "F♯"):
            chord = Chord.parse(root + kind)
            for top in tops(chord, neck):
                voicing = voice(chord, spread, top)
                for grip in neck.grips(voicing):
                    found += 1
                    assert neck.fault(grip) is None
                    assert neck.midi(grip.frets) == tuple(pitch.midi for pitch in voicing.pitches)
                    assert neck.fingered(grip.frets) == grip
                    assert Grip.parse(str(grip)).frets == grip.frets
    assert found >= (10 if len(neck.open_midi) == 4 else 100)


@pytest.mark.parametrize("name", ["standard", "small hand", "all fourths", "capo 3"])
def test_no_playable_grip_is_missed(name):
    """Brute force: a string set is left out only when a note is off the neck, out of reach, or beyond four fingers."""
    neck, missed = NECKS[name], 0
    for kind, spread in product(("maj7", "7", "m7♭5", "dim7", "7sus4"), SPREADS):
        chord = Chord.parse("D" + kind)
        for top in tops(chord, neck)[::2]:
            voicing = voice(chord, spread, top)
            found = {grip.strings for grip in neck.grips(voicing)}
            for strings in neck.string_sets(spread):
                if strings in found:
                    continue
                missed += 1
                frets: list[int | None] = [None] * len(neck.open_midi)
                for pitch, string in zip(voicing.pitches, strings, strict=True):
                    frets[-string] = pitch.midi - neck.open_midi[-string]
                on_neck = all(0 <= fret <= neck.last_fret for fret in frets if fret is not None)
                assert not on_neck or not some_fingers_hold(neck, tuple(frets))
    assert missed > 10


fret_rows = st.integers(1, 9).flatmap(
    lambda low: st.lists(st.one_of(st.none(), st.just(0), st.integers(low, low + 4)), min_size=6, max_size=6)
)


@settings(max_examples=draws(250))
@given(fret_rows)
def test_fingering_is_none_only_when_brute_force_finds_none(row):
    frets = tuple(row)
    fingers = fingering(frets)
    if fingers is None:
        assert not some_fingers_hold(NO_LIMIT, frets)
        with pytest.raises(HarmonyError, match="needs more than four fingers"):
            NO_LIMIT.fingered(frets)
    else:
        assert NO_LIMIT.fault(Grip(frets, fingers)) is None
        assert [bool(finger) for finger in fingers] == [bool(fret) for fret in frets]


def test_more_than_four_fingers_do_occur():
    """The brute force above has something to refuse: five frets apart, and bars with a lower note under them."""
    assert fingering((1, 2, 3, 4, 5, None)) is None
    assert fingering((3, 1, 3, 1, 3, 1)) is not None
    assert fingering((1, 3, 1, 3, 1, 3)) is not None
    assert fingering((2, 0, 2, 0, 2, 0)) is not None
    assert fingering((3, 2, 3, 2, 3, 1)) is None


@pytest.mark.parametrize(
    ("frets", "fingers"),
    [
        ("x3545x", (0, 1, 3, 2, 4, 0)),
        ("x3535x", (0, 1, 3, 1, 4, 0)),
        ("3x343x", (1, 0, 1, 2, 1, 0)),
        ("xx5555", (0, 0, 1, 1, 1, 1)),
        ("x0221x", (0, 0, 2, 3, 1, 0)),
    ],
)
def test_natural_fingers(frets, fingers):
    """What most hands would do, or at least a way the validator allows (common practice)."""
    grip = Neck().fingered(Grip.parse(frets).frets)
    assert Neck().fault(grip) is None
    assert Neck().fault(Grip(grip.frets, fingers)) is None


FAULTS = [
    ("x3545x", (0, 1, 2, 3, 4, 0), "finger 3 at fret 4 and finger 2 at fret 5 are crossed"),
    ("x3545x", (0, 1, 4, 2, 3, 0), "fingers 4 and 3 at fret 5 are crossed"),
    ("x3545x", (0, 2, 3, 2, 4, 0), "finger 2 at fret 3 and finger 2 at fret 4 are crossed"),
    ("x3535x", (0, 1, 3, 1, 3, 0), "finger 3 bars fret 5 over a lower note"),
    ("x202xx", (0, 1, 0, 1, 0, 0), "finger 1 bars fret 2 over a lower note"),
    ("x3545x", (), "fret 3 on string 5 has no finger"),
    ("x3545x", (0, 1, 3, 0, 4, 0), "fret 4 on string 3 has no finger"),
    ("x3545x", (0, 1, 3, 2, 5, 0), "fret 5 on string 2 has no finger"),
    ("x15x6xx", (0, 1, 0, 0, 2, 0, 0), "names 7 strings; this neck has 6"),
    ("x3545", (0, 1, 3, 2, 4), "names 5 strings; this neck has 6"),
    ("x1x6xx", (0, 1, 0, 4, 0, 0), "stretches 153 mm; this hand reaches 105 mm"),
    ("x-14-14-16-14-x", (0, 1, 1, 3, 1, 0), "fret 16 on string 3 is not on this neck"),
]


@pytest.mark.parametrize(("frets", "fingers", "fault"), FAULTS)
def test_planted_faults_are_named(frets, fingers, fault):
    assert fault in (Neck().fault(Grip(Grip.parse(frets).frets, fingers)) or "none")


def test_a_row_of_fingers_that_does_not_match_the_strings_is_a_fault():
    assert Neck().fault(Grip.parse("x3545x")) is not None
    assert Neck().fault(replace(Grip.parse("x3545x"), fingers=(1, 2))) is not None


@pytest.mark.parametrize(
    ("frets", "why"),
    [
        ("x3545", "names 5 strings; this neck has 6"),
        ("x-14-14-16-14-x", "fret 16 lies beyond the last one in use, 15"),
        ("x1x6xx", "stretches 153 mm; this hand reaches 105 mm"),
        ("323231", "needs more than four fingers"),
    ],
)
def test_grips_no_hand_can_hold_are_refused_with_the_reason(frets, why):
    with pytest.raises(HarmonyError, match=why):
        Neck().fingered(Grip.parse(frets).frets)


@pytest.mark.parametrize("strings", [(9, 4, 3, 2), (5, 4, 3), (5, 4, 3, 0), (5, 5, 3, 2)])
def test_strings_that_are_not_there_are_refused(strings):
    with pytest.raises(HarmonyError, match="string"):
        Neck().place(voice("Cmaj7", "drop 2", "E4"), strings)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"frets": 0}, "0 frets: a neck here has 1 to"),
        ({"frets": MOST_FRETS + 1}, "a neck here has 1 to"),
        ({"capo": 15}, "capo 15: it stands at a fret below the last one used, 15"),
        ({"capo": -1}, "capo -1"),
        ({"scale_mm": 100}, "scale 100 mm"),
        ({"reach_mm": 10}, "reach 10 mm: a hand reaches between 20 and 250 mm"),
        ({"reach_mm": float("nan")}, "reach nan mm"),
        ({"tuning": "E2 A2"}, "tuning 'E2 A2': name one of standard"),
        ({"tuning": "E2 A2 D3 G3 B3 H4"}, "'H4' is not a pitch"),
        ({"tuning": ""}, "tuning ''"),
    ],
)
def test_impossible_necks_are_refused(change, why):
    with pytest.raises(HarmonyError, match=why):
        Neck(**change)


def test_grips_read_back_and_bad_ones_are_quoted():
    for text in ("x3545x", "x-10-12-11-12-x", "000000", "xxxxxx", "0-12-x-x-x-x"):
        assert str(Grip.parse(text)) == text
    assert Grip.parse("x 3 5 4 5 x") == Grip.parse("X,3,5,4,5,X") == Grip.parse("x3545x")
    for text in ("", "x35y5x", "x-100-3", "x3.45x"):
        with pytest.raises(HarmonyError, match=f"^{text!r} is not a grip"):
            Grip.parse(text)


# --- cycles on the neck ---------------------------------------------------------------------------------------------


def test_four_steps_are_twelve_frets_on_the_same_strings():
    neck = Neck(frets=22, reach_mm=250)
    for kind, root in product(FAMILIES, PRACTICE_ORDER):
        for spread in ("drop 2", "drop 3"):
            for strings in neck.string_sets(spread):
                voicing = inversions(root + kind, spread)[0]
                for octave in (0, -4, 4):
                    low = neck.place(voicing.step(octave), strings)
                    high = neck.place(voicing.step(octave + 4), strings)
                    if low and high and 0 not in low.frets:  # a fret cannot be held as an open string is
                        assert low.shifted(12).frets == high.frets
                        assert low.fingers == high.fingers


def test_cycles_hold_four_inversions_in_order_and_fold_at_the_end_of_the_neck():
    """Every family, drop 2 and drop 3, all string sets, twelve roots: with a wide hand nothing is left out."""
    neck = Neck(reach_mm=200)
    for kind, root in product(FAMILIES, PRACTICE_ORDER):
        for spread in ("drop 2", "drop 3"):
            start = inversions(root + kind, spread)[0]
            for strings in neck.string_sets(spread):
                cycle = neck.cycle(start, strings)
                assert [voicing.inversion for voicing, _ in cycle] == list(INVERSIONS)
                for voicing, grip in cycle:
                    assert grip.strings == strings
                    assert neck.fault(grip) is None
                    assert neck.midi(grip.frets) == tuple(pitch.midi for pitch in voicing.pitches)
                    assert [pitch.name for pitch in voicing.pitches] == [
                        voicing.chord.name_of(degree) for degree in voicing.degrees
                    ]


def test_the_everyday_hand_leaves_out_only_what_it_cannot_hold():
    """An inversion is missing from a cycle only when no octave of it is playable on these strings."""
    neck, left_out = Neck(), 0
    for kind, root in product(FAMILIES, PRACTICE_ORDER):
        for spread in SPREADS:
            start = inversions(root + kind, spread)[0]
            for strings in neck.string_sets(spread):
                there = {voicing.inversion for voicing, _ in neck.cycle(start, strings)}
                for steps in range(4):
                    turned = start.step(steps)
                    if turned.inversion not in there:
                        left_out += 1
                        assert not any(neck.place(turned.step(octave), strings) for octave in (-8, -4, 0, 4, 8))
    assert left_out > 0


def test_grips_are_the_same_every_time_in_table_order():
    voicing = voice("G7", "drop 2", "F4")
    assert Neck().grips(voicing) == Neck().grips(voicing)
    sets = [grip.strings for grip in Neck(reach_mm=200).grips(voicing)]
    assert sets == [strings for strings in Neck().string_sets("drop 2") if strings in sets]


def test_triads_sound_as_their_plainest_fill_on_the_neck():
    rng = random.Random(4)
    neck = Neck()
    for kind in TRIADS:
        chord = Chord.parse(rng.choice(ROOTS) + kind)
        for voicing in inversions(chord, "drop 2"):
            assert {pitch.midi % 12 for pitch in voicing.pitches} == {
                chord.pitch_class_of(degree) for degree in chord.stacks[0]
            }
            assert all(neck.fault(grip) is None for grip in neck.grips(voicing))


def test_tunings_are_data():
    assert {name: len(Neck(name).open_strings) for name in TUNINGS} == {
        name: len(TUNINGS[name].split()) for name in TUNINGS
    }
    own = Neck("B1 E2 A2 D3 G3 C4 F4 A4")
    assert own.string_sets("drop 2")[0] == (4, 3, 2, 1)
    assert own.grips(voice("Cmaj7", "drop 2", "E4"))
