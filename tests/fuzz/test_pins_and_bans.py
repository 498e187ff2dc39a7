"""Pins are kept and bans obeyed, or they are refused with the reason; nothing else, however they are mixed."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.checking import check
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.voicings import SPREADS, voice
from tests.fuzz.strategies import hands, tunes

REFUSALS = (
    "no hand gets from pin to pin",
    "leave no grip",
    "on top",
    "is no voicing of the chord there",
    "is not a grip",
    "names",
    "lies beyond the last one in use",
    "stretches",
    "needs more than four fingers",
)
"""All that can be wrong with a pin or ban, as its message says it."""


@st.composite
def grips(draw: st.DrawFn, found, index: int, neck: Neck) -> str:
    """A grip for a note: one it may have, another of its chord from any spread, or any row of frets at all."""
    kind = draw(st.sampled_from(("candidate", "candidate", "candidate", "spread", "row")))
    candidates, chord, top = found.candidates(index), found.choices[index].chord, found.choices[index].note.pitch
    if kind == "candidate" and candidates:
        return str(draw(st.sampled_from(candidates)))
    if kind == "spread" and isinstance(chord, Chord) and top.midi % 12 in chord.tones:
        placed = [grip for spread in SPREADS for grip in neck.grips(voice(chord, spread, top))]
        if placed:
            return str(draw(st.sampled_from(placed)))
    count = len(neck.open_strings) + draw(st.sampled_from((0, 0, 0, -1, 1)))
    frets = st.sampled_from(("x", "x", "0", "3", "4", "5", "15", "22"))
    return " ".join(draw(st.lists(frets, min_size=count, max_size=count)))


@given(tunes(), hands, st.data())
def test_pins_are_kept_and_bans_obeyed_or_they_are_refused(tune, hand, data):
    found = arrange(tune, **hand)
    asked = data.draw(st.lists(st.integers(0, len(tune.notes) - 1), min_size=1, max_size=3, unique=True))
    pins = {index: data.draw(grips(found, index, hand["neck"])) for index in asked if data.draw(st.booleans())}
    bans = [(index, data.draw(grips(found, index, hand["neck"]))) for index in asked if data.draw(st.booleans())]
    try:
        made = arrange(tune, **hand, pins=pins, bans=bans)
    except HarmonyError as error:
        assert pins or bans  # noqa: PT017  only what is refused has a message
        assert any(reason in str(error) for reason in REFUSALS)  # noqa: PT017
        return
    played = [choice.grip and choice.grip.frets for choice in made.choices]
    assert all(played[index] == Grip.parse(grip).frets for index, grip in pins.items())
    assert all(played[index] != Grip.parse(grip).frets for index, grip in bans)
    assert check(made) == check(found)
    own = all(Grip.parse(grip).frets in {c.frets for c in found.candidates(index)} for index, grip in pins.items())
    assert not own or made.cost >= found.cost - 1e-9


@given(tunes(), hands, st.data())
def test_bans_are_refused_only_when_nothing_is_left(tune, hand, data):
    found = arrange(tune, **hand)
    index = data.draw(st.integers(0, len(tune.notes) - 1))
    candidates = [str(grip) for grip in found.candidates(index)]
    assume(candidates)
    banned = set(data.draw(st.lists(st.sampled_from(candidates), unique=True)))
    left = [grip for grip in found.candidates(index) if str(grip) not in banned]
    try:
        made = arrange(tune, **hand, bans=[(index, grip) for grip in banned])
    except HarmonyError as error:
        assert ("leave no grip" in str(error)) == (not left)  # noqa: PT017  only what is refused has a message
        assert all(len(grip.strings) > 1 for grip in left), "a single note can always be reached"  # noqa: PT017
        return
    assert made.choices[index].grip in left
    assert made.cost >= found.cost - 1e-9
    if found.choices[index].grip in left:
        assert made.cost == pytest.approx(found.cost)
