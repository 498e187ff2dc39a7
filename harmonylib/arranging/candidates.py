"""The candidates: every grip that puts a melody note on top of its harmony, with what it costs by itself.

Conventions
- A column holds the options of one note, in table order: string sets from the highest, then single notes.
- A single note stands beside chords as the last resort; where the density wants none, it stands alone.
- A grip whose lowest interval blurs so low is no candidate; a pin may still ask for it.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from functools import lru_cache

from harmonylib.arranging.arrangement import Settings
from harmonylib.arranging.chain import Option
from harmonylib.arranging.costs import COMFORT_FRET, COMFORT_MM, MELODY_STRING, Weights, blurred, grinding
from harmonylib.arranging.density import kept_single
from harmonylib.arranging.harmony import Harmony, harmonies
from harmonylib.arranging.shells import shell_options
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.families import interval
from harmonylib.theory.voicings import SPREADS, layout
from harmonylib.tunes.chordtones import Tested, examine
from harmonylib.tunes.tune import Tune

Column = tuple[Option, ...]


def option_columns(
    tune: Tune,
    settings: Settings,
    verdicts: Sequence[Tested] = (),
    made: Sequence[Harmony | None] = (),
    single: Sequence[str] = (),
) -> tuple[Column, ...]:
    """A column of options for every note, pins and bans obeyed; equal notes share one column.

    The last note that can carry a chord closes the tune: its column holds what that costs.
    """
    verdicts = verdicts or examine(tune)
    made, single = made or harmonies(tune, verdicts, settings.foreign), single or kept_single(tune, settings)
    known: dict[object, Column] = {}
    columns = []
    bans: dict[int, set[str]] = {}
    for index, grip in settings.bans:
        bans.setdefault(index, set()).add(str(Grip.parse(grip)))
    for index, (verdict, harmony) in enumerate(zip(verdicts, made, strict=True)):
        same = (verdict.chord, harmony, verdict.note.pitch.midi, bool(single[index]))
        column = known.get(same)
        if column is None:
            column = known[same] = _column(verdict, harmony, not single[index], settings)
        columns.append(column)
    carrying = [index for index, column in enumerate(columns) if any(option.lower for option in column)]
    if carrying and settings.stage == "chords":
        last = carrying[-1]
        columns[last] = _column(verdicts[last], made[last], True, settings, closing=True)
    for index, (verdict, harmony) in enumerate(zip(verdicts, made, strict=True)):
        column = columns[index]
        if index in settings.pins:
            column = (_pinned(index, verdict, harmony, column, tune, settings),)
        if index in bans and column:
            column = tuple(option for option in column if str(option.grip) not in bans[index])
            if not column:
                raise HarmonyError(f"the bans at {tune.where(verdict.note.onset)} leave no grip: take one back")
        columns[index] = column
    return tuple(columns)


def _column(
    verdict: Tested, harmony: Harmony | None, as_chord: bool, settings: Settings, closing: bool = False
) -> Column:
    weight = dict(settings.weights.grip)
    singles = tuple(
        option._replace(
            costs=(("melody string", weight["melody string"] * max(option.grip.strings[0] - MELODY_STRING, 0)),)
        )
        for option in single_options(settings.neck, verdict.note.pitch.midi)
    )
    if settings.stage == "melody" or harmony is None:
        return singles
    if settings.stage == "roots":
        blocks = list(shell_options(verdict, settings.neck, settings.weights))
    elif as_chord:
        blocks = chord_options(verdict, harmony, settings.neck, settings.spreads, settings.weights, closing)
    else:
        return singles
    if not blocks:
        return singles
    alone = ("single", weight["single"])
    options = [*blocks, *(single._replace(costs=(alone, *single.costs)) for single in singles)]
    if settings.seed:
        random.Random(int(settings.seed)).shuffle(options)
    return tuple(options)


def chord_options(
    verdict: Tested,
    harmony: Harmony,
    neck: Neck,
    spreads: Sequence[str],
    weights: Weights | None = None,
    closing: bool = False,
    clear: bool = True,
) -> list[Option]:
    """Every grip that holds the note's harmony with the note on top; with `clear`, none that blurs in the low register.

    `closing` says that the chord ends the tune.
    """
    midi, weights = verdict.note.pitch.midi, weights or Weights()
    asked = set(harmony.chord.extensions) if harmony.treatment in ("chord tone", "push") else set()
    fullest = max((len(set(stack) & asked) for stack in harmony.stacks), default=0)
    found = []
    for stack in harmony.stacks:
        missing = fullest - len(set(stack) & asked)
        semitones = tuple(interval(degree)[1] % 12 for degree in stack)
        top = semitones.index((midi - harmony.chord.root.pitch_class) % 12)
        for spread in spreads:
            for grip, costs, position, lower in shapes(neck, semitones, spread, top, midi, weights):
                if not clear or not blurred((*lower, midi)):
                    found.append(Option(grip, costs + _left_out(missing, weights), position, lower, spread, stack))
    return _for_the_bass(found, verdict, harmony, weights, closing)


def _left_out(missing: int, weights: Weights) -> tuple[tuple[str, float], ...]:
    return (("left out", dict(weights.grip)["left out"] * missing),) if missing else ()


def _for_the_bass(
    found: list[Option], verdict: Tested, harmony: Harmony, weights: Weights, closing: bool
) -> list[Option]:
    """The options with what their lowest note costs: a bass that the symbol asks for, and root or fifth at the end."""
    chord, weight = harmony.chord if harmony.treatment == "push" else verdict.chord, dict(weights.grip)
    assert chord is not None
    wanted: list[tuple[str, set[int]]] = []
    if chord.bass and chord.bass.pitch_class in chord.tones and harmony.treatment != "diminished":
        wanted.append(("slash bass", {chord.bass.pitch_class}))
    if closing:
        fifth = next((d for d in chord.degrees if d.lstrip("♭♯") == "5"), "5")
        wanted.append(("closing", {chord.root.pitch_class, chord.pitch_class_of(fifth)}))
    for name, lowest in wanted:
        found = [o if o.lower[0] % 12 in lowest else o._replace(costs=(*o.costs, (name, weight[name]))) for o in found]
    return found


@lru_cache(maxsize=16384)
def shapes(
    neck: Neck, semitones: tuple[int, ...], spread: str, top: int, midi: int, weights: Weights | None = None
) -> tuple[tuple[Grip, tuple[tuple[str, float], ...], float, tuple[int, ...]], ...]:
    """Playable grips of one voicing shape under one top note, with their own costs, position and lower voices."""
    notes, weight = (
        tuple(midi + below for _, below in layout(semitones, spread, top)),
        dict((weights or Weights()).grip),
    )
    found = []
    for strings in neck.string_sets(spread):
        grip = neck.grip_for(notes, strings)
        if grip:
            costs = {
                "stretch": max(neck.stretch_mm(grip.frets) - COMFORT_MM, 0),
                "open string": grip.frets.count(0),
                "skipped string": strings[0] - strings[-1] + 1 - len(strings),
                "high fret": max(max(grip.fretted, default=0) - COMFORT_FRET, 0),
                "melody string": max(strings[-1] - MELODY_STRING, 0),
                "drop 3": spread == "drop 3",
                "minor ninth": grinding(notes),
            }
            paid = tuple((name, weight[name] * amount) for name, amount in costs.items() if amount)
            found.append((grip, paid, neck.position_mm(grip), notes[:-1]))
    return tuple(found)


@lru_cache(maxsize=4096)
def single_options(neck: Neck, midi: int) -> Column:
    """The places of a single note on the neck, highest string first; empty when it lies off the neck."""
    count, found = len(neck.open_midi), []
    for place in range(count - 1, -1, -1):
        fret = midi - neck.open_midi[place]
        if 0 <= fret <= neck.last_fret:
            frets = tuple(fret if p == place else None for p in range(count))
            grip = Grip(frets, tuple(int(p == place and fret > 0) for p in range(count)))
            found.append(Option(grip, (), neck.position_mm(grip), ()))
    return tuple(found)


def _pinned(
    index: int, verdict: Tested, harmony: Harmony | None, column: Column, tune: Tune, settings: Settings
) -> Option:
    """The option a pin asks for, from any spread; refused with the reason when the note cannot have it."""
    grip, where = Grip.parse(settings.pins[index]), tune.where(verdict.note.onset)
    wide: list[Option] = []
    if harmony is not None:
        wide = chord_options(verdict, harmony, settings.neck, tuple(SPREADS), settings.weights, clear=False)
    for option in [*column, *wide, *single_options(settings.neck, verdict.note.pitch.midi)]:
        if option.grip.frets == grip.frets:
            return option
    sounding = settings.neck.midi(settings.neck.fingered(grip.frets).frets)
    if max(sounding, default=None) != verdict.note.pitch.midi:
        raise HarmonyError(f"the pin {grip} at {where} does not have {verdict.note.pitch}, the melody, on top")
    listed = ", ".join(dict.fromkeys(str(option.grip) for option in wide)) or "single notes only"
    raise HarmonyError(f"the pin {grip} at {where} is no voicing of the chord there; possible: {listed}")
