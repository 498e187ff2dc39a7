"""The palette: all grips of a chord with which a call may be answered, and what each costs by itself.

Conventions
- A *node* is one way to play one hit of a rhythm: a grip, or an approach and the grip it leads to.
- An *approach* is the same grip one fret lower or higher.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from harmonylib.answering.rhythms import Hit
from harmonylib.arranging.arrangement import Answer, Arrangement
from harmonylib.arranging.candidates import shapes
from harmonylib.arranging.chain import Array, string_bits
from harmonylib.arranging.choice import Choice
from harmonylib.arranging.costs import Weights, blurred
from harmonylib.arranging.fills import fill_at, forms
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import interval


def signature(answers: Sequence[Answer]) -> str:
    """What tells one answer from another: when its chords sound and which grips they are."""
    return " ".join(f"{answer.onset}:{answer.grip}" for answer in answers)


class Nodes(NamedTuple):
    """Ways to play one hit, as arrays of one length; where an approach comes first, the hand arrives at that."""

    cost: Array
    arrive: Array
    leave: Array
    lower_in: Array
    lower_out: Array
    top: Array
    strings: Array
    grip: Array
    early: Array


class Palette(NamedTuple):
    """All grips of one chord on one neck, with the arrays the search needs."""

    grips: tuple[Grip, ...]
    spreads: tuple[str, ...]
    tops: tuple[tuple[int, int], ...]
    nodes: Nodes
    lowest: Array
    led: dict[str, Nodes]


@lru_cache(maxsize=512)
def palette(neck: Neck, root: int, semitones: tuple[int, ...], spreads: tuple[str, ...], weights: Weights) -> Palette:
    """Every grip of a four-note chord that does not blur: `root` is a pitch class, `semitones` its notes above it."""
    rows = []
    for spread in spreads:
        for top, above in enumerate(semitones):
            first = neck.open_midi[0] + (root + above - neck.open_midi[0]) % 12
            for midi in range(first, neck.open_midi[-1] + neck.last_fret + 1, 12):
                found = shapes(neck, semitones, spread, top, midi, weights)
                rows += [(shape, spread, (top, midi)) for shape in found if not blurred((*shape[3], midi))]
    grips = tuple(shape[0] for shape, _, _ in rows)
    position = np.array([shape[2] for shape, _, _ in rows])
    lower = np.array([shape[3] for shape, _, _ in rows], dtype=float).reshape(-1, 3)
    cost = np.array([sum(value for _, value in shape[1]) for shape, _, _ in rows])
    lowest = np.array([grip.strings[0] for grip in grips], dtype=float)
    strings = np.array([string_bits(grip.frets) for grip in grips], dtype=float)
    top_notes = np.array([midi for _, _, (_, midi) in rows], dtype=float)
    number = np.array([_number(grip) for grip in grips], dtype=float)
    nodes = Nodes(cost, position, position, lower, lower, top_notes, strings, number, np.zeros(len(grips)))
    led = {}
    for side, fret in (("below", -1), ("above", 1)):
        moved = [_leads(neck, grip, fret) for grip in grips]
        arrive = np.array([neck.position_mm(g) if g else 0.0 for g in moved])
        price = np.where([g is not None for g in moved], cost, np.inf)
        led[side] = nodes._replace(cost=price, arrive=arrive, lower_in=lower + fret, early=np.ones(len(grips)))
    return Palette(grips, tuple(s for _, s, _ in rows), tuple(t for _, _, t in rows), nodes, lowest, led)


def _leads(neck: Neck, grip: Grip, fret: int) -> Grip | None:
    """The grip one fret lower or higher in all voices, if the hand can slide there with the same fingers."""
    moved = grip.shifted(fret)
    slides = 0 not in grip.frets and 0 not in moved.frets
    return moved if slides and neck.fault(moved) is None else None


@lru_cache(maxsize=65536)
def _number(grip: Grip) -> int:
    """A number that is the same for the same frets and no others."""
    return sum((0 if fret is None else fret + 1) * 32**place for place, fret in enumerate(grip.frets))


def nodes_for(arrangement: Arrangement, call: Choice, hit: Hit, unled: float) -> Nodes:
    """Every way to play a hit: all grips on the call's strings or their neighbours, approached first where drawn.

    Without the approach that was drawn a grip costs `unled` more.
    """
    book = book_for(arrangement, call, hit.chord)
    assert call.grip is not None
    far = np.abs(book.lowest - call.grip.strings[0]) > 1
    plain = book.nodes._replace(cost=book.nodes.cost + np.where(far, np.inf, 0.0))
    if not hit.approach:
        return plain
    led = book.led[hit.approach]
    led = led._replace(cost=led.cost + np.where(far, np.inf, 0.0))
    plain = plain._replace(cost=plain.cost + unled)
    return Nodes(*(np.concatenate(pair) for pair in zip(led, plain, strict=True)))


def book_for(arrangement: Arrangement, call: Choice, chord: Chord) -> Palette:
    semitones = tuple(interval(degree)[1] % 12 for degree in stack_for(arrangement, call, chord))
    settings = arrangement.settings
    return palette(settings.neck, chord.root.pitch_class, semitones, settings.spreads, settings.weights)


def stack_for(arrangement: Arrangement, call: Choice, chord: Chord) -> tuple[str, ...]:
    """The four degrees an answer uses: the call's own where the chord is the same, else as fits the key."""
    if call.voicing and call.voicing.chord == chord:
        return call.voicing.stack
    change = arrangement.tune.change_at(call.note.onset)
    while change is not None and change.chord != chord:
        change = arrangement.tune.change_after(change.onset)
    return forms(chord, chord.degrees[1], fill_at(arrangement.tune, change) if change else "")[0]


def fixed_node(arrangement: Arrangement, choice: Choice) -> Nodes:
    """A call as the only node of its column."""
    grip, neck = choice.grip, arrangement.settings.neck
    assert grip is not None
    sounding = neck.midi(grip.frets)
    lower = np.array([sounding[:-1] if len(sounding) == 4 else (0.0, 0.0, 0.0)], dtype=float)
    place, one = np.array([neck.position_mm(grip)]), np.zeros(1)
    top, strings = np.array([float(sounding[-1])]), np.array([float(string_bits(grip.frets))])
    return Nodes(one, place, place, lower, lower, top, strings, np.array([float(_number(grip))]), one)
