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

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

from harmonylib.arranging.arrangement import Arrangement, Choice, Search, Settings, pairs_of, settings_with, tempo_of
from harmonylib.arranging.candidates import option_columns
from harmonylib.arranging.chain import Option, best_chains
from harmonylib.arranging.density import DENSITIES, kept_single
from harmonylib.arranging.keys import placed_tune
from harmonylib.errors import HarmonyError, expect, shown, whole, within
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import passing
from harmonylib.theory.voicings import SPREADS, Voicing, voice
from harmonylib.tunes.chordtones import Tested, examine
from harmonylib.tunes.tune import Note, Tune

MOST_CHAINS = 1000  # so many take 0.7 s and 25 MB for a tune of 131 notes (measured)


def arrange(tune: Tune, settings: Settings | None = None, **changes: object) -> Arrangement:
    """The best block-chord arrangement of a tune.

    Settings are given whole or by name: ``arrange(tune, density="every", tempo=96)``. Raises `HarmonyError` for a
    setting, key, pin or ban that cannot be followed.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E2 G2 | "Dm7"F2 A2 |]')
    >>> [str(choice.grip) for choice in arrange(tune).choices]
    ['7x555x', 'x7958x', 'x5756x', 'x5x565']
    """
    return best(tune, settings, count=1, **changes)[0]


def best(tune: Tune, settings: Settings | None = None, count: int = 3, **changes: object) -> tuple[Arrangement, ...]:
    """The `count` cheapest arrangements, the best first; fewer when there are not so many chains."""
    expect(Tune, tune, "a tune: read it first, as in arrange(read('file.abc'))")
    settings = settings_with(Settings() if settings is None else settings, Settings, changes)
    count = whole(count, "a number of arrangements")
    if count < 1:
        raise HarmonyError(f"{count} arrangements: ask for 1 or more")
    if count > MOST_CHAINS:
        raise HarmonyError(f"{shown(count)} arrangements: ask for {MOST_CHAINS} at most")
    _check_settings(tune, settings)
    moved, remarks = placed_tune(tune, settings)
    verdicts = examine(moved)
    wanted = kept_single(moved, settings)
    columns = option_columns(moved, settings, verdicts, wanted)
    gaps = _seconds_between(moved, settings)
    chains = best_chains(columns, gaps, count)
    if not chains:
        raise HarmonyError(
            "no hand gets from pin to pin in time at this tempo: take a pin back, or set a slower tempo "
            f"(pins at {', '.join(moved.where(moved.notes[i].onset) for i in sorted(settings.pins))})"
        )
    made = []
    for cost, chain in chains:
        choices = tuple(
            _choice(index, verdict, column[pick] if column else None, wanted[index], moved, settings)
            for index, (verdict, column, pick) in enumerate(zip(verdicts, columns, chain, strict=True))
        )
        made.append(Arrangement(moved, tune, settings, choices, cost, Search(arrange, option_columns), remarks))
    return tuple(made)


def _seconds_between(tune: Tune, settings: Settings) -> list[float]:
    beat = 60 / tempo_of(tune, settings)
    return [float(b.onset - a.onset) * beat for a, b in zip(tune.notes, tune.notes[1:], strict=False)]


def _check_settings(tune: Tune, settings: Settings) -> None:
    expect(Neck, settings.neck, "a neck: make one, as in Neck(frets=12)")
    if expect(str, settings.density, f"a density: choose {', '.join(DENSITIES)}") not in DENSITIES:
        raise HarmonyError(f"{settings.density!r} is not a density: choose {', '.join(DENSITIES)}")
    if not tune.notes or not tune.bars:
        raise HarmonyError(f"{tune.title!r} has no notes to harmonise")
    spreads = settings.spreads
    if not isinstance(spreads, tuple | list) or not spreads or any(spread not in list(SPREADS) for spread in spreads):
        raise HarmonyError(f"spreads {shown(spreads)}: name one or more of {', '.join(SPREADS)}, as in ('drop 2',)")
    within(tempo_of(tune, settings), 10, 600, "tempo {}: choose 10 to 600 quarter notes a minute")
    whole(settings.seed, "a seed")
    if settings.key is not None:
        expect(str, settings.key, "a key: write its tonic, as in 'Eb', or 'best'")
    pins = pairs_of(settings.pins, Mapping, "pins map notes to grips, as in {0: 'x3545x'}")
    bans = pairs_of(settings.bans, Sequence, "bans are pairs of a note and a grip, as in [(0, 'x3545x')]")
    for index, _ in [*pins, *bans]:
        if not 0 <= whole(index, "the number of a note") < len(tune.notes):
            last = len(tune.notes) - 1
            raise HarmonyError(f"note {index} cannot be pinned or banned: the tune has notes 0 to {last}")


def _choice(
    index: int, verdict: Tested, option: Option | None, held_back: str, tune: Tune, settings: Settings
) -> Choice:
    if option is None:
        return Choice(index, verdict, "single", None, why_single="it lies off this neck; only the notation shows it")
    if not option.lower:
        asked = index in settings.pins or index in {i for i, _ in settings.bans}
        why = held_back or _why_single(verdict, option, asked, settings)
        return Choice(index, verdict, "single", option.grip, why_single=why)
    assert verdict.chord is not None
    dim = passing(verdict.note.pitch, verdict.chord) if verdict.degree is None else None
    chord = dim.chord if dim else verdict.chord
    voicing = _spelled(chord, option.spread, verdict.note, option.stack)
    return Choice(index, verdict, "diminished" if dim else "chord tone", option.grip, voicing, dim)


@lru_cache(maxsize=16384)
def _voiced(chord: Chord, spread: str, midi: int, stack: tuple[str, ...]) -> Voicing:
    degree = next(d for d in stack if chord.pitch_class_of(d) == midi % 12)
    return voice(chord, spread, chord.name_of(degree).at(midi), stack)


def _spelled(chord: Chord, spread: str, note: Note, stack: tuple[str, ...]) -> Voicing:
    """The voicing, its top note spelled as the tune spells it."""
    voicing = _voiced(chord, spread, note.pitch.midi, stack)
    if voicing.top == note.pitch:
        return voicing
    return replace(voicing, pitches=(*voicing.pitches[:-1], note.pitch))


def _why_single(verdict: Tested, option: Option, asked: bool, settings: Settings) -> str:
    if verdict.chord is None:
        return "no chord sounds here"
    if dict(option.costs).get("single"):
        return "the pins and bans here ask for it" if asked else "the hand has no time to reach a chord here"
    if verdict.note.pitch.midi < settings.neck.open_midi[-1] + 5:
        return "it lies too low for three notes under it on this neck"
    return "no chord with it on top lies within reach on this neck"
