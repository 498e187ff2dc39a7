"""Rhythms of answers: a written table, where each of them fits a gap, and the approaches that fit before its chords.

Conventions
- Rhythms are written in beats, a dotted quarter in compound metres; onsets and lengths are quarter notes.
- Before the next call the answer breathes: its last chord is cut short, by halves of the beat (by thirds with swing and
  in compound metres), to leave the breath asked for. After the last call nothing needs room.

Rhythms and times are common practice.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonylib.answering.gaps import Gap
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.theory.chords import Chord
from harmonylib.tunes.tune import Tune

HALF, THIRD = Fraction(1, 2), Fraction(1, 3)


RHYTHMS: dict[str, tuple[tuple[Fraction | int, Fraction | int], ...]] = {
    # name                        hits: (start, length) in beats, counted from the beat the rhythm begins on
    "on the beat": ((0, 1),),
    "on two beats": ((0, 1), (1, 1)),
    "on three beats": ((0, 1), (1, 1), (2, 1)),
    "off the beat": ((HALF, HALF),),
    "off two beats": ((HALF, HALF), (1 + HALF, HALF)),
    "anticipated": ((HALF, 1 + HALF),),
    "dotted quarter and eighth": ((0, 1 + HALF), (1 + HALF, HALF)),
    "triplet pick-up": ((THIRD, THIRD), (2 * THIRD, THIRD), (1, 1)),
}


FASTEST_ANSWER_S = 0.25  # chords of an answer come no closer together than this (common practice)


APPROACH_S = 0.12  # an approach lasts at least this long (common practice)


class Hit(NamedTuple):
    """One chord to be placed: when, how long, in which chord, and the approach drawn for it ("" for none)."""

    onset: Fraction
    duration: Fraction
    chord: Chord
    approach: str
    lead: Fraction


class Place(NamedTuple):
    """A rhythm where it fits a gap: its name, and (onset, length, chord) of each of its chords."""

    rhythm: str
    spans: tuple[tuple[Fraction, Fraction, Chord], ...]


def placements(arrangement: Arrangement, gap: Gap, swing: bool, breath: float) -> Iterator[Place]:
    """Every rhythm at every beat where it fits the gap and leaves `breath` beats before the next call."""
    tune = arrangement.tune
    shortest = Fraction(FASTEST_ANSWER_S) * Fraction(arrangement.tempo) / 60
    rest = Fraction(breath).limit_denominator(48) if gap.call + 1 < len(arrangement.choices) else Fraction(0)
    beats = list(_beats(tune, gap))
    for name, pattern in RHYTHMS.items():
        halves = any(Fraction(start).denominator == 2 for start, _ in pattern)
        for place, beat in beats:
            if halves and beat.numerator % 3 == 0:
                continue  # a beat of three units has no half
            times = [_times(place, beat, start, length, swing) for start, length in pattern]
            part = beat / 3 if swing or beat.numerator % 3 == 0 else beat / 2
            times[-1] = _cut(*times[-1], gap.end - rest * beat, part)
            if times[0][0] < gap.start or times[-1][1] <= times[-1][0]:
                continue
            apart = [b[0] - a[0] for a, b in zip(times, times[1:], strict=False)] + [gap.end - times[-1][0]]
            chords = [tune.chord_at(onset) for onset, _ in times]
            if min(apart) >= shortest and all(chords):
                changes = [tune.change_after(onset) for onset, _ in times]
                ends = [min(off, c.onset) if c else off for (_, off), c in zip(times, changes, strict=True)]
                spans = zip(times, ends, chords, strict=True)
                yield Place(name, tuple((on, end - on, chord) for (on, _), end, chord in spans if chord))


def _cut(onset: Fraction, end: Fraction, latest: Fraction, part: Fraction) -> tuple[Fraction, Fraction]:
    """A chord that ends by `latest`, cut short by parts of the beat; without room it ends no later than it begins."""
    return onset, end if end <= latest else onset + (latest - onset) // part * part


def _beats(tune: Tune, gap: Gap) -> Iterator[tuple[Fraction, Fraction]]:
    """Every felt beat of the bars a gap touches, with its length, both in quarter notes."""
    for bar in tune.bars_between(gap.start, gap.end):
        beats = bar.grid.beats
        for start, end in zip(beats, beats[1:], strict=False):
            if bar.start + start < min(bar.end, gap.end):
                yield bar.start + start, end - start


def _times(
    place: Fraction, beat: Fraction, start: Fraction | int, length: Fraction | int, swing: bool
) -> tuple[Fraction, Fraction]:
    """When a hit of a rhythm begins and ends, in quarter notes; with swing a half beat is two thirds of it."""
    end = start + length
    if swing:
        start, end = (t + Fraction(1, 6) if Fraction(t).denominator == 2 else t for t in (start, end))
    return place + start * beat, place + end * beat


def with_approach(
    arrangement: Arrangement, gap: Gap, spans: Sequence[tuple[Fraction, Fraction, Chord]], approach: str, swing: bool
) -> list[Hit]:
    """The hits of a rhythm, the drawn approach given to the first one that leaves time for it.

    An approach lasts half a beat; a third with swing, in compound metres, and before a chord on a triplet.
    """
    hits, before = [], gap.start
    for onset, length, chord in spans:
        bar = arrangement.tune.bar_at(onset)
        start, end = bar.grid.beat(onset - bar.start)
        beat = end - start
        in_thirds = swing or beat.numerator % 3 == 0 or ((onset - bar.start - start) / beat).denominator % 3 == 0
        lead = beat / 3 if in_thirds else beat / 2
        fits = bool(approach) and onset - lead >= before and float(lead) * 60 / arrangement.tempo >= APPROACH_S
        hits.append(Hit(onset, length, chord, approach if fits else "", lead))
        if fits:
            approach = ""
        before = onset + Fraction(FASTEST_ANSWER_S) * Fraction(arrangement.tempo) / 60
    return hits
