"""One felt beat: simple, compound, irregular and additive metres, and everything that goes by them.

Source: common practice of notation. Witness: the beats of `music21.meter.TimeSignature`.
"""

from fractions import Fraction as F
from itertools import pairwise

import pytest
from music21 import meter

from harmonylib.guitar.neck import Neck
from harmonylib.score.rhythm import bar_signs
from harmonylib.sound.events import ACCENT, click_events
from harmonylib.theory.pitch import Pitch
from harmonylib.tunes.metre import Bar, grid
from harmonylib.tunes.tune import Note

SIMPLE = [(n, 4) for n in (2, 3, 4, 5, 7)] + [(n, 2) for n in (2, 3, 4)]
COMPOUND = [(n, 8) for n in (3, 6, 9, 12)] + [(n, 16) for n in (3, 6, 9, 12)]
ADDITIVE = [((5, 8), (3, 2)), ((5, 8), (2, 3)), ((8, 8), (3, 3, 2)), ((7, 8), (2, 2, 3)), ((7, 8), (3, 2, 2))]
IRREGULAR = {
    (5, 8): "1 3/2",
    (7, 8): "1 1 3/2",
    (11, 8): "1 1 1 1 3/2",
    (5, 16): "1/2 3/4",
    (4, 8): "1 1",
    (8, 8): "1 1 1 1",
}
"""Without groups of its own: twos, and what is left at the end. Here music21 counts every eighth."""


def bar(metre: tuple[int, int], groups: tuple[int, ...] = ()) -> Bar:
    return Bar(1, F(0), F(4 * metre[0], metre[1]), metre, groups=groups)


def lengths(beats: tuple[F, ...]) -> list[F]:
    return [b - a for a, b in pairwise(beats)]


@pytest.mark.parametrize(("metre", "groups"), [*((m, ()) for m in SIMPLE + COMPOUND), *ADDITIVE])
def test_beats_are_those_music21_counts(metre, groups):
    written = f"{'+'.join(map(str, groups)) or metre[0]}/{metre[1]}"
    theirs = [F(beat.duration.quarterLength) for beat in meter.TimeSignature(written).beatSequence]
    assert lengths(bar(metre, groups).grid.beats) == theirs


@pytest.mark.parametrize("metre", IRREGULAR)
def test_irregular_metres_run_in_twos_with_what_is_left_at_the_end(metre):
    assert lengths(bar(metre).grid.beats) == [F(part) for part in IRREGULAR[metre].split()]


@pytest.mark.parametrize("metre", [(6, 4), (9, 4)])
def test_metres_over_four_are_counted_in_quarters(metre):
    """Lead sheets in 6/4 are; music21 takes them for compound."""
    assert lengths(bar(metre).grid.beats) == [F(1)] * metre[0]


@pytest.mark.parametrize("metre", [*SIMPLE, *COMPOUND, *IRREGULAR, (1, 8), (1, 4), (15, 8), (13, 32)])
def test_the_beats_fill_the_bar_and_a_longer_bar_goes_on(metre):
    full = F(4 * metre[0], metre[1])
    beats = grid(metre, full).beats
    assert beats[0] == 0
    assert beats[-1] == full
    longer = grid(metre, full + 3).beats
    assert longer[: len(beats)] == beats
    assert longer[-1] >= full + 3


def test_a_pick_up_counts_towards_the_next_bar_line():
    pick_up = Bar(0, F(0), F(1, 2), (6, 8))
    assert (pick_up.full, pick_up.lead, pick_up.start) == (3, F(5, 2), F(-5, 2))
    assert pick_up.beat_length(F(0)) == F(3, 2)
    assert not pick_up.on_beat(F(0))
    assert Bar(0, F(0), F(1), (4, 4)).on_beat(F(0))
    split = Bar(4, F(12), F(1), (4, 4))
    assert (split.lead, split.start) == (0, 12), "only a pick-up counts from the end"


@pytest.mark.parametrize(
    ("metre", "groups", "strong"),
    [
        ((4, 4), (), "0 2"),
        ((3, 4), (), "0"),
        ((6, 8), (), "0 3/2"),
        ((12, 8), (), "0 3"),
        ((2, 2), (), "0 2"),
        ((5, 8), (), "0"),
    ],
)
def test_strong_beats_are_the_first_and_the_middle(metre, groups, strong):
    made = bar(metre, groups)
    found = [at for at in (F(n, 2) for n in range(int(2 * made.length))) if made.on_strong_beat(at)]
    assert found == [F(text) for text in strong.split()]


@pytest.mark.parametrize(
    ("metre", "groups"), [((5, 8), ()), ((5, 8), (3, 2)), ((2, 2), ()), ((12, 16), ()), ((3, 8), ())]
)
def test_click_and_beams_go_by_the_same_beats(metre, groups):
    made = bar(metre, groups)
    clicks = click_events([made])
    assert [click.onset for click in clicks] == list(made.grid.beats[:-1])
    assert [click.midi == (ACCENT,) for click in clicks] == [True] + [False] * (len(clicks) - 1)
    step = F(4, max(metre[1], 8))
    notes = [Note(Pitch.parse("C4"), step * n, step) for n in range(int(made.length / step))]
    signs = bar_signs(notes, made)
    begins = [sign.onset for sign in signs if sign.beams and sign.beams[0] == "begin"]
    assert begins == list(made.grid.beats[:-1])


def test_where_the_hand_is():
    assert Neck().position_mm(Neck().fingered((None, 3, 5, 4, 5, None))) == pytest.approx(Neck().nut_to(3))
