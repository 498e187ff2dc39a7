"""Harmonising a tune: candidates for every note, what a chain of grips costs the hand, and the cheapest chain.

A tune is a row of columns, one a note; each column lists the grips that put the melody note on top (or, where no chord
fits, the places of a single note). A chain picks one grip a column. The cheapest chain is a shortest path through the
columns, found exactly by dynamic programming: the best way to reach a grip is the best way to reach some grip of the
column before, plus one step.

Conventions
- Costs are pure numbers that add up; the tables below give each weight and what it stands for. They are settings of
  taste (common practice), not measurements.
- Positions and travel are millimetres along the neck, times are seconds, tempo is quarter notes a minute.
- Notes are counted from 0 in the order of the tune.

`check` tells whether an arrangement is sound; it shares no code with the search.
"""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction

from harmonylib.arranging.arrangement import Settings, tempo_of
from harmonylib.tunes.tune import Note, Tune

FASTEST_CHORD_S = 0.3  # chords closer together than this stay single notes at density “comfortable”


DENSITIES = {
    "every": "every note that can carry a chord carries one",
    "comfortable": f"notes that come faster than a chord every {FASTEST_CHORD_S} s stay single",
    "accents": "strong beats, long notes and syncopations carry chords",
    "changes": "the first note of every chord change carries a chord",
}


def kept_single(tune: Tune, settings: Settings) -> tuple[str, ...]:
    """For each note: empty when the density wants a chord there, else why it stays single."""
    if settings.density == "every":
        return ("",) * len(tune.notes)
    beat = 60 / tempo_of(tune, settings)
    seconds = [float(note.onset) * beat for note in tune.notes]
    changes = [change.onset for change in tune.changes]
    reasons, last_chord, last_change = [], -9.0, -1
    for index, note in enumerate(tune.notes):
        now, reason = seconds[index], ""
        nearest = min((abs(now - seconds[i]) for i in (index - 1, index + 1) if 0 <= i < len(seconds)), default=9.0)
        fast = FASTEST_CHORD_S - 1e-9  # notes just so far apart are not too fast
        if now - last_chord < fast or (nearest < fast and not on_beat(tune, note.onset)):
            reason = f"notes {min(nearest, now - last_chord):.2f} s apart are too fast for a chord on each"
        elif settings.density == "accents" and not _is_accent(tune, note):
            reason = "it is not an accent"
        elif settings.density == "changes":
            change = bisect_right(changes, note.onset)
            if change == last_change:
                reason = "the chord has not changed"
            last_change = change
        if not reason:
            last_chord = now
        reasons.append(reason)
    return tuple(reasons)


def pulse(tune: Tune, onset: Fraction) -> Fraction:
    """Length of the felt beat in quarter notes: a dotted quarter in compound metres."""
    count, unit = tune.bar_at(onset).metre
    return Fraction(3, 2) if unit == 8 and count % 3 == 0 and count > 3 else min(Fraction(4, unit), Fraction(1))


def into_bar(tune: Tune, onset: Fraction) -> Fraction:
    """Quarter notes since the bar line (of a pick-up: since where its bar line would be)."""
    return (tune.beat_at(onset) - 1) * Fraction(4, tune.bar_at(onset).metre[1])


def on_beat(tune: Tune, onset: Fraction) -> bool:
    return into_bar(tune, onset) % pulse(tune, onset) == 0


def _is_accent(tune: Tune, note: Note) -> bool:
    """On a strong beat (the first, or the middle of an even bar), or at least a beat long."""
    beat, metre = pulse(tune, note.onset), tune.bar_at(note.onset).metre
    full, offset = Fraction(4 * metre[0], metre[1]), into_bar(tune, note.onset)
    middle = full / 2 if full / beat % 2 == 0 else Fraction(0)
    return offset in (Fraction(0), middle) or note.duration >= beat
