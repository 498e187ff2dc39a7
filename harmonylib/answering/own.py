"""A player's say in the answers: keep one, ban one, or put one's own in its place.

Conventions
- Calls are counted as the notes of the tune, from 0. A player's own times are quarter notes after the call's onset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from numbers import Real

from harmonylib.answering.manner import Manner
from harmonylib.answering.palette import signature
from harmonylib.arranging.arrangement import ARRANGEMENT, Answer, Arrangement
from harmonylib.errors import HarmonyError, expect, shown, whole
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import spell
from harmonylib.theory.voicings import Voicing

LATEST = 1_000_000  # quarter notes; no tune is as long


def keep_answer(arrangement: Arrangement, manner: Manner, call: int) -> Manner:
    """The manner that keeps the present answer to a call whatever else changes."""
    own = tuple(answer for answer in expect(Arrangement, arrangement, ARRANGEMENT).answers if answer.call == call)
    expect(Manner, manner, "a Manner")
    return replace(manner, keep={**manner.keep, whole(call, "the number of a call"): own})


def ban_answer(arrangement: Arrangement, manner: Manner, call: int) -> Manner:
    """The manner that bans the present answer to a call: the next best takes its place."""
    own = [answer for answer in expect(Arrangement, arrangement, ARRANGEMENT).answers if answer.call == call]
    expect(Manner, manner, "a Manner")
    return replace(manner, bans=(*manner.bans, (call, signature(own))))


def with_own(arrangement: Arrangement, call: int, hits: Sequence[tuple[Fraction | float, float, str]]) -> Arrangement:
    """The arrangement with a player's own answer to one call, to be looked at by `check_answers`.

    Each hit is (start after the call's onset, length, grip), both in quarter notes. Raises `HarmonyError` for a call
    that is not there, a time that is none, and a grip no hand can hold.
    """
    expect(Arrangement, arrangement, ARRANGEMENT)
    if not 0 <= whole(call, "the number of a note") < len(arrangement.choices):
        raise HarmonyError(
            f"note {shown(call)} cannot be answered: the tune has notes 0 to {len(arrangement.choices) - 1}"
        )
    choice, made = arrangement.choices[call], []
    if not isinstance(hits, list | tuple) or not all(isinstance(hit, tuple | list) and len(hit) == 3 for hit in hits):
        raise HarmonyError(f"{shown(hits)} are no hits: write each as (start, length, grip), as in (2, 1, 'x3545x')")
    for after, length, text in hits:
        if not all(isinstance(time, Real) and abs(time) < LATEST for time in (after, length)) or length <= 0:  # type: ignore[operator]
            raise HarmonyError(
                f"hit at {shown(after)}, long {shown(length)}: give quarter notes after the call, and a length above 0"
            )
        onset = choice.note.onset + Fraction(after).limit_denominator(48)
        grip, chord = arrangement.settings.neck.fingered(Grip.parse(text).frets), arrangement.tune.chord_at(onset)
        if not grip.strings:
            raise HarmonyError(f"{text!r} sounds no string: an answer needs a chord")
        if chord is None:
            raise HarmonyError(f"{arrangement.tune.where(onset)}: no chord sounds here to answer in")
        voicing = heard(arrangement.settings.neck, grip, chord)
        long, reason = Fraction(length).limit_denominator(48), f"answers in {chord} with {voicing.top.name} on top"
        made.append(Answer(call, onset, long, voicing, grip, "your own", "", reason))
    others = tuple(answer for answer in arrangement.answers if answer.call != call)
    return replace(arrangement, answers=tuple(sorted([*others, *made], key=lambda answer: answer.onset)))


def heard(neck: Neck, grip: Grip, chord: Chord) -> Voicing:
    """What a grip sounds, spelled from the chord where its notes belong to it.

    >>> heard(Neck(), Grip.parse("x7958x"), Chord.parse("Cmaj7")).degrees
    ('3', '7', '1', '5')
    """
    midi = neck.midi(grip.frets)
    degrees = tuple(chord.tones.get(m % 12, "") for m in midi)
    names = [chord.name_of(d) if d else spell(m) for d, m in zip(degrees, midi, strict=True)]
    return Voicing(chord, degrees, "own", degrees, tuple(n.at(m) for n, m in zip(names, midi, strict=True)))
