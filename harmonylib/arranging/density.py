"""How dense: which melody notes carry a chord and which stay single, and why.

Conventions
- Long notes and beats come first: where two notes are too near for a chord on each, the note that opens a chord change
  keeps its right, then the longer one, then the one on the stronger beat, then the earlier one.
- A note struck again and again carries a chord the first time and on strong beats.

Source: common practice; so is the fastest chord.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Sequence

from harmonylib.arranging.arrangement import Settings, tempo_of
from harmonylib.arranging.twins import twins
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import Note, Tune

FASTEST_CHORD_S = 0.4  # chords closer together than this stay single notes at density “comfortable”
STRUCK_AGAIN = 3  # from so many strokes of one note under one chord on, weak ones stay single
DENSITIES = {
    "every": "every note that can carry a chord carries one",
    "comfortable": f"notes that come faster than a chord every {FASTEST_CHORD_S} s stay single",
    "accents": "strong beats, long notes and syncopations carry chords",
    "changes": "the first note of every chord change carries a chord",
}


def kept_single(tune: Tune, settings: Settings) -> tuple[str, ...]:
    """For each note: empty when the density wants a chord there, else why it stays single."""
    reasons = [""] * len(tune.notes)
    if settings.density == "every":
        return tuple(reasons)
    openings = _openings(tune)
    for index, note in enumerate(tune.notes):
        if settings.density == "accents" and not _is_accent(tune.note_bars[index], note):
            reasons[index] = "it is not an accent"
        elif settings.density == "changes" and index not in openings:
            reasons[index] = "the chord has not changed"
    for index in _struck_again(tune):
        reasons[index] = reasons[index] or "it is struck again: the chord before it rings on"
    beat = 60 / tempo_of(tune, settings)
    seconds = [float(note.onset) * beat for note in tune.notes]
    fastest = FASTEST_CHORD_S - 1e-9  # notes just so far apart are not too fast
    taken: list[float] = []
    groups = twins(tune) if settings.alike else [(index,) for index in range(len(reasons))]
    for group in sorted(groups, key=lambda group: _rank(tune, group, openings)):
        free = [index for index in group if not reasons[index]]
        nearest = {index: _nearest(taken, seconds[index]) for index in free}
        if all(gap >= fastest for gap in nearest.values()):
            for index in free:
                insort(taken, seconds[index])
            continue
        for index, gap in nearest.items():
            why = f"notes {gap:.2f} s apart are too fast for a chord on each"
            reasons[index] = why if gap < fastest else "where its bar comes again the hand has no time for a chord here"
    return tuple(reasons)


def _openings(tune: Tune) -> frozenset[int]:
    """The first note struck under each chord change."""
    under = tune.note_changes
    return frozenset(index for index, change in enumerate(under) if index == 0 or under[index - 1] is not change)


def _rank(tune: Tune, group: Sequence[int], openings: frozenset[int]) -> tuple[object, ...]:
    """What the right of a note and its twins to a chord goes by, the strongest first."""
    note = tune.notes[group[0]]
    bar = tune.note_bars[group[0]]
    long = note.duration if note.duration >= bar.beat_length(note.onset) else 0
    strength = (not bar.on_strong_beat(note.onset), not bar.on_beat(note.onset))
    return openings.isdisjoint(group), -long, *strength, -note.duration, group[0]


def _nearest(taken: Sequence[float], now: float) -> float:
    """Seconds to the nearest chord."""
    place = bisect_left(taken, now)
    return min((abs(now - taken[i]) for i in (place - 1, place) if 0 <= i < len(taken)), default=9.0)


def _struck_again(tune: Tune) -> list[int]:
    """Notes on weak beats, but for the first, of every run of strokes of one pitch under one chord."""
    found: list[int] = []
    run: list[int] = []
    for index, note in enumerate(tune.notes):
        before = tune.notes[index - 1] if index else None
        same = before is not None and before.pitch.midi == note.pitch.midi and before.end == note.onset
        if not same or tune.note_changes[index - 1] is not tune.note_changes[index]:
            run = []
        run.append(index)
        if len(run) >= STRUCK_AGAIN:
            weak = [i for i in run[1:] if not _strong(tune, i)]
            found += [i for i in weak if i not in found[-len(run) :]]
    return found


def _strong(tune: Tune, index: int) -> bool:
    return tune.note_bars[index].on_strong_beat(tune.notes[index].onset)


def _is_accent(bar: Bar, note: Note) -> bool:
    """On a strong beat (the first, or the middle of an even bar), or at least a beat long."""
    return bar.on_strong_beat(note.onset) or note.duration >= bar.beat_length(note.onset)
