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

import random
from collections.abc import Sequence
from functools import lru_cache

from harmonylib.arranging.arrangement import Settings
from harmonylib.arranging.chain import Option
from harmonylib.arranging.costs import COMFORT_FRET, COMFORT_MM, GRIP_COSTS
from harmonylib.arranging.density import kept_single
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.diminished import passing
from harmonylib.theory.families import interval
from harmonylib.theory.voicings import layout
from harmonylib.tunes.chordtones import Tested, examine
from harmonylib.tunes.tune import Tune


def option_columns(
    tune: Tune, settings: Settings, verdicts: Sequence[Tested] = (), wanted: Sequence[str] = ()
) -> tuple[tuple[Option, ...], ...]:
    """A column of options for every note, pins and bans obeyed; equal notes share one column."""
    verdicts, wanted = verdicts or examine(tune), wanted or kept_single(tune, settings)
    known: dict[object, tuple[Option, ...]] = {}
    columns = []
    bans: dict[int, set[str]] = {}
    for index, grip in settings.bans:
        bans.setdefault(index, set()).add(str(Grip.parse(grip)))
    for index, verdict in enumerate(verdicts):
        key = tune.key_at(verdict.note.onset) if verdict.chord and verdict.chord.is_triad else frozenset[int]()
        same = (verdict.chord, verdict.note.pitch.midi, key, bool(wanted[index]))
        column = known.get(same)
        if column is None:
            column = known[same] = _column(verdict, key, not wanted[index], settings)
        if index in settings.pins:
            column = (_pinned(index, verdict, column, tune, settings),)
        if index in bans and column:
            column = tuple(option for option in column if str(option.grip) not in bans[index])
            if not column:
                raise HarmonyError(f"the bans at {tune.where(verdict.note.onset)} leave no grip: take one back")
        columns.append(column)
    return tuple(columns)


def _column(verdict: Tested, key: frozenset[int], as_chord: bool, settings: Settings) -> tuple[Option, ...]:
    midi = verdict.note.pitch.midi
    singles = single_options(settings.neck, midi)
    if not as_chord:
        return singles
    blocks = chord_options(verdict, key, settings.neck, settings.spreads)
    options = [*blocks, *(single._replace(costs=(("single", GRIP_COSTS["single"]),)) for single in singles)]
    if not blocks:
        return singles
    if settings.seed:
        random.Random(int(settings.seed)).shuffle(options)
    return tuple(options)


def chord_options(verdict: Tested, key: frozenset[int], neck: Neck, spreads: tuple[str, ...]) -> list[Option]:
    """Every grip that holds the note's chord, or its diminished seventh, with the note on top."""
    pitch, chord = verdict.note.pitch, verdict.chord
    if chord is None:
        return []
    if verdict.degree is None:
        chord = passing(pitch, chord).chord
        stacks: tuple[tuple[str, ...], ...] = (chord.degrees,)
    else:
        stacks = chord.stacks_for(verdict.degree, key)
    fullest = max((len(set(stack) & set(chord.extensions)) for stack in stacks), default=0)
    found = []
    for stack in stacks:
        missing = fullest - len(set(stack) & set(chord.extensions))
        semitones = tuple(interval(degree)[1] % 12 for degree in stack)
        top = semitones.index((pitch.midi - chord.root.pitch_class) % 12)
        for spread in spreads:
            for grip, costs, position, lower in shapes(neck, semitones, spread, top, pitch.midi):
                left_out = (("left out", GRIP_COSTS["left out"] * missing),) if missing else ()
                found.append(Option(grip, costs + left_out, position, lower, spread, stack))
    return found


@lru_cache(maxsize=16384)
def shapes(
    neck: Neck, semitones: tuple[int, ...], spread: str, top: int, midi: int
) -> tuple[tuple[Grip, tuple[tuple[str, float], ...], float, tuple[int, ...]], ...]:
    """Playable grips of one voicing shape under one top note, with their own costs, position and lower voices."""
    notes = tuple(midi + below for _, below in layout(semitones, spread, top))
    grinds = any(midi - low in (1, 13) for low in notes)
    found = []
    for strings in neck.string_sets(spread):
        grip = neck.grip_for(notes, strings)
        if grip:
            costs = {
                "stretch": GRIP_COSTS["stretch"] * max(neck.stretch_mm(grip.frets) - COMFORT_MM, 0),
                "open string": GRIP_COSTS["open string"] * grip.frets.count(0),
                "skipped string": GRIP_COSTS["skipped string"] * (strings[0] - strings[-1] + 1 - len(strings)),
                "high fret": GRIP_COSTS["high fret"] * max(max(grip.fretted, default=0) - COMFORT_FRET, 0),
                "minor ninth": GRIP_COSTS["minor ninth"] * grinds,
            }
            paid = tuple((name, value) for name, value in costs.items() if value)
            found.append((grip, paid, neck.position_mm(grip), notes[:-1]))
    return tuple(found)


@lru_cache(maxsize=4096)
def single_options(neck: Neck, midi: int) -> tuple[Option, ...]:
    """The places of a single note on the neck, highest string first; empty when it lies off the neck."""
    count, found = len(neck.open_midi), []
    for place in range(count - 1, -1, -1):
        fret = midi - neck.open_midi[place]
        if 0 <= fret <= neck.last_fret:
            frets = tuple(fret if p == place else None for p in range(count))
            grip = Grip(frets, tuple(int(p == place and fret > 0) for p in range(count)))
            found.append(Option(grip, (), neck.position_mm(grip), ()))
    return tuple(found)


def _pinned(index: int, verdict: Tested, column: Sequence[Option], tune: Tune, settings: Settings) -> Option:
    """The option a pin asks for, from any spread; refused with the reason when the note cannot have it."""
    grip, where = Grip.parse(settings.pins[index]), tune.where(verdict.note.onset)
    key = tune.key_at(verdict.note.onset)
    wide = chord_options(verdict, key, settings.neck, ("drop 2", "drop 3", "drop 2 and 4", "close"))
    for option in [*column, *wide, *single_options(settings.neck, verdict.note.pitch.midi)]:
        if option.grip.frets == grip.frets:
            return option
    sounding = settings.neck.midi(settings.neck.fingered(grip.frets).frets)
    if max(sounding, default=None) != verdict.note.pitch.midi:
        raise HarmonyError(f"the pin {grip} at {where} does not have {verdict.note.pitch}, the melody, on top")
    listed = ", ".join(dict.fromkeys(str(option.grip) for option in wide)) or "single notes only"
    raise HarmonyError(f"the pin {grip} at {where} is no voicing of the chord there; possible: {listed}")
