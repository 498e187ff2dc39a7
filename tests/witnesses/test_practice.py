"""Arrangements of public-domain tunes held to what players do: figures of `tests.witnesses.practice`, with limits.

The limits are aims of taste; that they can be missed is shown on arrangements spoilt on purpose.
"""

import pytest

from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.checking import check
from harmonylib.arranging.harmony import FOREIGN
from tests.witnesses.practice import corpus, figures

TUNES = corpus(14)
AT_LEAST = {
    "melody on strings 1 and 2": 0.9,
    "repeated bars alike": 0.99,
    "closing on root or fifth": 1.0,
    "triads on V with the minor seventh": 1.0,
    "same string set": 0.6,
}
AT_MOST = {"muddy": 0.0, "rough": 0.01, "long notes single for a shorter one": 0.0}


@pytest.fixture(scope="module", params=FOREIGN)
def made(request):
    return request.param, [arrange(tune, foreign=request.param) for tune in TUNES]


def test_the_figures_are_those_of_players(made):
    way, arrangements = made
    found = figures(arrangements)
    assert {name: share for name, share in found.items() if share < AT_LEAST.get(name, 0)} == {}
    assert {name: share for name, share in found.items() if share > AT_MOST.get(name, 1)} == {}
    if way == "enriched":
        assert found["diminished on long notes"] <= 0.03
    assert all(check(arrangement) == [] for arrangement in arrangements)


def test_at_every_only_range_and_floor_leave_a_note_single():
    reasons = {
        choice.why_single
        for tune in TUNES
        for choice in arrange(tune, density="every").choices
        if choice.treatment == "single"
    }
    in_time = "the hand has no time to reach a chord here"
    assert reasons <= {
        *("it lies too low for three notes under it on this neck", "three notes under it would blur so low"),
        *("no chord with it on top lies within reach on this neck", "no chord sounds here", in_time),
    }


def test_the_figures_can_miss_their_limits():
    """Without the weights of taste the same tunes fall short of nearly all of them."""
    plain = {"melody string": 0, "closing": 0, "minor ninth": 0, "travel": 0.06, "open string": 2}
    found = figures([arrange(tune, costs=plain, alike=False) for tune in TUNES])
    missed = {name for name, limit in AT_LEAST.items() if found[name] < limit}
    assert {"melody on strings 1 and 2", "repeated bars alike", "closing on root or fifth"} <= missed
