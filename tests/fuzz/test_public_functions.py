"""Public functions with odd arguments: a result or a `HarmonyError` in one line, whatever a notebook cell passes.

One argument at a time is exchanged for something odd: a number that is huge, negative or none at all, an empty or
unknown text, None, the thing of another room. What only the library itself calls is not asked here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harmonylib.answering.checking import check_answers
from harmonylib.answering.gaps import gaps
from harmonylib.answering.manner import Manner
from harmonylib.answering.own import ban_answer, keep_answer, with_own
from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange, best
from harmonylib.arranging.checking import check
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.score.engraving import page
from harmonylib.score.events import written_events
from harmonylib.score.midi import midi
from harmonylib.score.musicxml import musicxml
from harmonylib.score.tables import csv_text, text
from harmonylib.sound.events import cycle_events
from harmonylib.sound.listening import listen
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import passing
from harmonylib.theory.pitch import Pitch
from harmonylib.theory.tones import degree_of
from harmonylib.theory.voicings import inversions, voice
from harmonylib.tunes.chordtones import examine
from harmonylib.tunes.reading import read, read_text
from tests.fuzz.strategies import quick, tunes

ABC = 'X:1\nM:4/4\nL:1/4\nK:C\n"Cmaj7"E2 G2|"Dm7"F2 z2|]'
TUNE, CHORD, PITCH, NECK = read_text(ABC), Chord.parse("C7"), Pitch.parse("E4"), Neck()
PLAIN, GRIP, VOICING = arrange(TUNE), Grip.parse("x3545x"), voice("Cmaj7", "drop 2", "E4")
ANSWERED, SET = respond(PLAIN, share=1), (5, 4, 3, 2)

CALLS: list[tuple[Callable[..., Any], tuple[Any, ...], dict[str, Any]]] = [
    # function, arguments that are right, and those given by name
    (Pitch.parse, ("E4",), {}),
    (PITCH.up, (2, 3), {}),
    (Chord.parse, ("C7",), {}),
    (CHORD.name_of, ("3",), {}),
    (CHORD.pitch_class_of, ("3",), {}),
    (voice, ("C7", "drop 2", "E4"), {}),
    (inversions, ("C7", "drop 2"), {"lowest": Pitch.parse("C3")}),
    (VOICING.step, (1,), {}),
    (Grip.parse, ("x3545x",), {}),
    (Neck, (), {"tuning": "standard", "frets": 15, "scale_mm": 648.0, "reach_mm": 105.0, "capo": 0}),
    (NECK.grips, (VOICING,), {}),
    (NECK.cycle, (VOICING, SET), {}),
    (NECK.place, (VOICING, SET), {}),
    (NECK.fingered, (GRIP.frets,), {}),
    (NECK.fault, (GRIP,), {}),
    (NECK.midi, (GRIP.frets,), {}),
    (NECK.string_sets, ("drop 2",), {}),
    (read, ("none.abc",), {"number": 1}),
    (read_text, (ABC,), {"format": "abc", "number": 1}),
    (TUNE.transposed, (2, 3), {}),
    (TUNE.where, (Fraction(1),), {}),
    (TUNE.chord_at, (Fraction(1),), {}),
    (degree_of, (PITCH, CHORD), {}),
    (examine, (TUNE,), {}),
    (passing, (PITCH, CHORD), {}),
    (arrange, (TUNE,), {"settings": None, "neck": NECK, "density": "every", "tempo": 90, "key": "C"}),
    (arrange, (TUNE,), {"spreads": ("drop 2",), "pins": {}, "bans": (), "seed": 1, "colour": "blue"}),
    (best, (TUNE,), {"count": 2}),
    (check, (PLAIN,), {}),
    (PLAIN.with_pin, (0, "7x555x"), {}),
    (PLAIN.with_ban, (0, "7x555x"), {}),
    (PLAIN.candidates, (0,), {}),
    (PLAIN.held, (0,), {}),
    (respond, (PLAIN,), {"manner": None, "share": 1, "approached": 0.5, "approach_from": "both", "contour": "any"}),
    (respond, (PLAIN,), {"swing": True, "seed": 3, "keep": {}, "bans": (), "colour": "blue"}),
    (check_answers, (ANSWERED,), {}),
    (gaps, (PLAIN,), {}),
    (keep_answer, (ANSWERED, Manner(), 0), {}),
    (ban_answer, (ANSWERED, Manner(), 0), {}),
    (with_own, (PLAIN, 0, [(1, 1, "x3545x")]), {}),
    (text, (ANSWERED,), {"first": 1, "last": 2}),
    (csv_text, (ANSWERED,), {}),
    (musicxml, (ANSWERED,), {"first": 1, "last": 2}),
    (written_events, (ANSWERED,), {}),
    (cycle_events, ([GRIP],), {"neck": NECK, "beats": 2}),
    (listen, (PLAIN,), {"first": 1, "last": 1, "tempo": 90, "swing": 0.6, "volume": 0.4, "count_in": 1, "click": True}),
    (listen, (cycle_events([GRIP]),), {"tempo": 90, "count_in": 1, "metre": (4, 4)}),
    (listen, (cycle_events([GRIP]),), {"metre": (6, 8)}),
    (page, (PLAIN,), {"first": 1, "last": 1, "width": 170.0, "projector": True}),
]

numbers = st.one_of(
    st.integers(-3, 30),
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.fractions(),
    st.sampled_from((np.int64(3), np.float64("nan"), np.int64(-1), True, 10**400)),
)
texts = st.one_of(
    st.text(max_size=8),
    st.sampled_from("C7 E4 Cm F# standard best every x3545x 335433 5432 rising below file.abc drop bar".split(" ")),
    st.sampled_from(("drop 2", "drop 9", "E2 A2 D3 G3", "E2\nA2", " \n ", "C4" * 500)),
)
things = st.sampled_from(
    (None, b"C7", TUNE, PLAIN, ANSWERED, CHORD, PITCH, GRIP, GRIP.frets, NECK, VOICING, Manner(), object())
)
simple = numbers | texts | things
odd = st.one_of(
    numbers,
    texts,
    things,
    st.lists(simple, max_size=4),
    st.lists(st.tuples(simple, simple), max_size=2),
    st.lists(st.tuples(simple, simple, simple), max_size=2),
    st.dictionaries(st.integers(-1, 4) | st.text(max_size=2), simple, max_size=2),
    st.sampled_from((("drop 2", "drop 3"), ("drop 9",), {0: "x3545x"}, [(0, "x3545x")], {9: "x3545x"}, [(0, None)])),
)
slots = st.sampled_from(
    [(call, slot) for call in CALLS for slot in [*range(len(call[1])), *call[2]]],
)


def one_line_or_none(function: Callable[..., Any], *args: Any, **named: Any) -> str:
    """The message of a refusal, empty when there is none; any other exception passes through and fails."""
    try:
        function(*args, **named)
    except HarmonyError as error:
        message = str(error)
        assert "\n" not in message  # noqa: PT017  only a refusal has a message
        assert message  # noqa: PT017
        return message
    return ""


@pytest.mark.parametrize("call", CALLS, ids=lambda call: call[0].__name__)
def test_the_right_arguments_are_right(call):
    """Else the test below would try nothing; a file that is not there and a setting that is none are meant."""
    function, args, named = call
    message = one_line_or_none(function, *args, **{name: value for name, value in named.items() if name != "colour"})
    assert not message or (function is read and "was not found" in message)


@quick
@given(slots, odd)
def test_an_odd_argument_gives_a_result_or_a_refusal_in_one_line(slot, value):
    (function, args, named), place = slot
    if isinstance(place, int):
        args = (*args[:place], value, *args[place + 1 :])
    else:
        named = {**{name: right for name, right in named.items() if name != "colour"}, place: value}
    one_line_or_none(function, *args, **named)


@given(tunes(most=1), st.sampled_from(("no notes", "no bars", "no changes", "backwards", "no length", "one moment")))
def test_a_tune_that_is_none_is_arranged_or_refused(tune, how):
    """Tunes built by hand need not be sound: without notes or bars, notes in disorder, without length, at once."""
    notes = tune.notes
    made = {
        "no notes": lambda: replace(tune, notes=()),
        "no bars": lambda: replace(tune, bars=()),
        "no changes": lambda: replace(tune, changes=()),
        "backwards": lambda: replace(tune, notes=notes[::-1], changes=tune.changes[::-1]),
        "no length": lambda: replace(tune, notes=tuple(replace(note, duration=Fraction(0)) for note in notes)),
        "one moment": lambda: replace(tune, notes=tuple(replace(note, onset=Fraction(0)) for note in notes)),
    }[how]()

    def whole_way() -> None:
        arrangement = respond(arrange(made))
        for look in (check, check_answers, musicxml, midi, csv_text, text):
            look(arrangement)

    one_line_or_none(whole_way)
