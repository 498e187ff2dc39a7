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

from harmonylib.arranging.arrangement import Settings, tempo_of
from harmonylib.tunes.metre import Bar
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
        if now - last_chord < fast or (nearest < fast and not tune.bar_at(note.onset).on_beat(note.onset)):
            reason = f"notes {min(nearest, now - last_chord):.2f} s apart are too fast for a chord on each"
        elif settings.density == "accents" and not _is_accent(tune.bar_at(note.onset), note):
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


def _is_accent(bar: Bar, note: Note) -> bool:
    """On a strong beat (the first, or the middle of an even bar), or at least a beat long."""
    return bar.on_strong_beat(note.onset) or note.duration >= bar.beat_length(note.onset)
