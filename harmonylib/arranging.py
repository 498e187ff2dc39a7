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
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from harmonylib.chords import PRACTICE_ORDER, Chord, interval
from harmonylib.chordtones import DEGREE_WORDS, Tested, degree_of, examine
from harmonylib.diminished import Passing, passing
from harmonylib.neck import Grip, Neck
from harmonylib.pitch import HarmonyError, Name, expect, shown, whole, within
from harmonylib.tunes import Note, Tune
from harmonylib.voicings import SPREADS, Voicing, layout, voice

GRIP_COSTS = {
    # what             weight  a grip pays it for …
    "stretch": 0.04,  # ...... each millimetre of stretch beyond COMFORT_MM
    "open string": 2.0,  # ... each open string: it cannot be damped or slid by the hand that holds the chord
    "skipped string": 0.8,  #  each string inside the grip that must be damped
    "high fret": 0.6,  # ..... each fret its highest note lies beyond COMFORT_FRET, where the body is in the way
    "minor ninth": 1.5,  # ... an inner voice a minor ninth (or a semitone) under the melody: it grinds
    "left out": 1.0,  # ...... a form that leaves out extensions the symbol asks for
    "single": 1000.0,  # ..... a single note where a chord was wanted: only when no hand gets there
}
STEP_COSTS = {
    # what             weight  a step from grip to grip pays it for …
    "travel": 0.06,  # ....... each millimetre the hand moves along the neck
    "voices": 0.2,  # ........ each semitone that each lower voice moves
    "string set": 1.5,  # .... a change of strings
}
COMFORT_MM, COMFORT_FRET = 70.0, 12
TRAVEL_MM_S = 800.0  # the fastest the hand travels to a chord (common practice)
SHIFT_MM = 40.0  # a move this small needs no time of its own
FASTEST_CHORD_S = 0.3  # chords closer together than this stay single notes at density “comfortable”
DENSITIES = {
    "every": "every note that can carry a chord carries one",
    "comfortable": f"notes that come faster than a chord every {FASTEST_CHORD_S} s stay single",
    "accents": "strong beats, long notes and syncopations carry chords",
    "changes": "the first note of every chord change carries a chord",
}
ARRANGEMENT = "an arrangement: make one first, as in arrange(tune)"
TREATMENTS = ("chord tone", "diminished", "single")
MOST_CHAINS = 1000  # so many take 0.7 s and 25 MB for a tune of 131 notes (measured)
Array = NDArray[np.float64]
Kind = TypeVar("Kind")


@dataclass(frozen=True)
class Settings:
    """What a teacher may set: the neck and hand, how dense, at what tempo, in which key, with which pins and bans.

    `pins` maps a note's index to the grip it must have, `bans` lists (index, grip) pairs that are not wanted; `spreads`
    are the voicings to choose from; `seed` picks among chains that cost the same (0: the first in table order).
    """

    neck: Neck = Neck()
    density: str = "comfortable"
    tempo: float | None = None
    key: str | None = None
    spreads: tuple[str, ...] = ("drop 2", "drop 3")
    pins: Mapping[int, str] = field(default_factory=dict)
    bans: Sequence[tuple[int, str]] = ()
    seed: int = 0


@dataclass(frozen=True)
class Choice:
    """One melody note as it is played: its grip, the voicing it holds, and why."""

    index: int
    tested: Tested
    treatment: str
    grip: Grip | None
    voicing: Voicing | None = None
    diminished: Passing | None = None
    why_single: str = ""

    @property
    def note(self) -> Note:
        return self.tested.note

    @property
    def chord(self) -> Chord | None:
        """The chord of the lead sheet under this note."""
        return self.tested.chord

    @cached_property
    def reason(self) -> str:
        """Why this grip, in one sentence."""
        return _reason(self)


@dataclass(frozen=True)
class Answer:
    """One chord that answers a call, the melody note number `call`; made by `harmonylib.fills`.

    `approach` is "below" or "above" for a chord that only leads, by one fret in all voices, into the answer after it.
    """

    call: int
    onset: Fraction
    duration: Fraction
    voicing: Voicing
    grip: Grip
    rhythm: str = ""
    approach: str = ""
    reason: str = ""

    @property
    def end(self) -> Fraction:
        return self.onset + self.duration


@dataclass(frozen=True)
class Arrangement:
    """A tune in block chords: `tune` is as it sounds here (key and octave chosen), `source` as it was given."""

    tune: Tune
    source: Tune
    settings: Settings
    choices: tuple[Choice, ...]
    cost: float
    remarks: tuple[str, ...] = ()
    answers: tuple[Answer, ...] = ()

    @property
    def tempo(self) -> float:
        """Quarter notes a minute."""
        return _tempo(self.tune, self.settings)

    @property
    def share(self) -> float:
        """Share of melody notes that carry a block chord, 0 to 1."""
        return sum(c.voicing is not None for c in self.choices) / max(len(self.choices), 1)

    def held(self, index: int) -> Fraction:
        """How long a call sounds, in quarter notes: to the note's end, or to the first answer if that comes sooner."""
        note = self.choices[_known_note(index, self.tune)].note
        first = self._first_answers.get(index, note.end)
        return min(note.end, first) - note.onset

    @cached_property
    def _first_answers(self) -> dict[int, Fraction]:
        return {answer.call: answer.onset for answer in reversed(self.answers)}

    def candidates(self, index: int) -> tuple[Grip, ...]:
        """Every grip the search may choose for a note, in table order."""
        _known_note(index, self.tune)
        return tuple(option.grip for option in _options(self.tune, self.settings)[index])

    def steps(self) -> tuple[dict[str, float], ...]:
        """What each note adds to the cost: its grip's own entries and the step that leads to it.

        The values of all entries add up to `cost`.
        """
        options = _options(self.tune, self.settings)
        path = [
            next(o for o in column if o.grip.frets == choice.grip.frets)
            for column, choice in zip(options, self.choices, strict=True)
            if choice.grip
        ]
        entries = [dict(path[0].costs)] if path else []
        for before, after in zip(path, path[1:], strict=False):
            step = _step_terms(_columns([[before]]), _columns([[after]]))
            entries.append(dict(after.costs) | {name: float(value[0, 0, 0]) for name, value in step.items()})
        return tuple({name: value for name, value in entry.items() if value} for entry in entries)

    def with_pin(self, index: int, grip: str) -> Arrangement:
        """The best arrangement in which note `index` has `grip`; the chain re-forms round it."""
        pins = {**self.settings.pins, whole(index, "the number of a note"): grip}
        return arrange(self.source, replace(self.settings, pins=pins))

    def with_ban(self, index: int, grip: str | None = None) -> Arrangement:
        """The best arrangement in which note `index` has any grip but this one (default: the one it has now)."""
        banned = grip or str(self.choices[_known_note(index, self.tune)].grip)
        return arrange(self.source, replace(self.settings, bans=(*self.settings.bans, (index, banned))))


class Option(NamedTuple):
    """One way to play one melody note: a grip with what it costs, and the voicing behind it."""

    grip: Grip
    costs: tuple[tuple[str, float], ...]
    position: float
    lower: tuple[int, ...]
    spread: str = ""
    stack: tuple[str, ...] = ()


# --- the search ---------------------------------------------------------------------------------------------------


def arrange(tune: Tune, settings: Settings | None = None, **changes: object) -> Arrangement:
    """The best block-chord arrangement of a tune.

    Settings are given whole or by name: ``arrange(tune, density="every", tempo=96)``. Raises `HarmonyError` for a
    setting, key, pin or ban that cannot be followed.

    >>> from harmonylib.tunes import read_text
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
    moved, remarks = _place_tune(tune, settings)
    verdicts = examine(moved)
    wanted = _wanted(moved, settings)
    columns = _options(moved, settings, verdicts, wanted)
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
        made.append(Arrangement(moved, tune, settings, choices, cost, remarks))
    return tuple(made)


def settings_with(settings: object, kind: type[Kind], changes: Mapping[str, object]) -> Kind:
    """Settings of a kind with some of them changed by name; raises `HarmonyError` for a name there is not."""
    known = [setting.name for setting in fields(kind)]  # type: ignore[arg-type]
    unknown = [name for name in changes if name not in known]
    if unknown:
        raise HarmonyError(f"{unknown[0]!r} is not a setting here: there are {', '.join(known)}")
    made: Kind = replace(expect(kind, settings, f"a {kind.__name__}"), **changes)  # type: ignore[type-var]
    return made


def best_chains(
    columns: Sequence[Sequence[Option]], gaps: Sequence[float], count: int = 1
) -> list[tuple[float, tuple[int, ...]]]:
    """The `count` cheapest chains through the columns: (cost, index chosen in each column), exact.

    `gaps` holds the seconds between one note and the next. A column without options is passed over. Empty when the
    hand cannot follow any chain.
    """
    full = [index for index, column in enumerate(columns) if column]
    if not full:
        return [(0.0, (0,) * len(columns))]
    arrays = _columns([columns[index] for index in full])
    width, times = arrays.cost.shape[1], _gaps_between(full, gaps)
    total = np.full((width, count), np.inf)
    total[:, 0] = arrays.cost[0]
    back = np.empty((len(full), count, width), dtype=np.int32)
    for index, step in _steps(arrays, times):
        total, back[index] = advance(total, step, arrays.cost[index], count)
    ends = total.ravel().argsort(kind="stable")[:count]
    chains = []
    for end in ends:
        if not np.isfinite(total.ravel()[end]):
            break
        pick, rank = divmod(int(end), count)
        picks = [pick]
        for index in range(len(full) - 1, 0, -1):
            pick, rank = divmod(int(back[index, rank, pick]), count)
            picks.append(pick)
        chain = [0] * len(columns)
        for index, pick in zip(full, reversed(picks), strict=True):
            chain[index] = pick
        chains.append((float(total.ravel()[end]), tuple(chain)))
    return chains


def advance(total: Array, step: Array, own: Array, count: int) -> tuple[Array, NDArray[np.intp]]:
    """One column further: the `count` cheapest ways to every option of the next column, and where they come from.

    `total` has shape (options, count), `step` (options, options of the next column), `own` their own costs. A way comes
    from slot option · count + rank of the column before.
    """
    if count == 1:
        reach = total + step
        return (reach.min(0) + own)[:, None], reach.argmin(0)[None]
    before, width = step.shape
    reach = (total[:, :, None] + step[:, None, :]).reshape(before * count, width)
    order = reach.argsort(0, kind="stable")[:count]
    return reach[order, np.arange(width)].T + own[:, None], order


class Columns(NamedTuple):
    """Options as arrays of shape (notes, width), padded with options that cost infinity; `lower` has three voices."""

    cost: Array
    position: Array
    lower: Array
    strings: Array
    block: NDArray[np.bool_]

    def part(self, start: int, stop: int) -> Columns:
        """The columns from `start` to before `stop`."""
        cost, position, lower, strings, block = (array[start:stop] for array in self)
        return Columns(cost, position, lower, strings, block)  # type: ignore[arg-type]


def _columns(columns: Sequence[Sequence[Option]]) -> Columns:
    """The arrays of some columns; equal columns (the same object) are laid out once."""
    different = {id(column): column for column in columns}
    rows = {key: row for row, key in enumerate(different)}
    width = max(len(column) for column in columns)
    shape = (len(different), width)
    cost, position, strings = np.full(shape, np.inf), np.zeros(shape), np.zeros(shape)
    lower, block = np.zeros((*shape, 3)), np.zeros(shape, dtype=bool)
    for row, column in enumerate(different.values()):
        size = len(column)
        cost[row, :size] = [sum(value for _, value in option.costs) for option in column]
        position[row, :size] = [option.position for option in column]
        strings[row, :size] = [string_bits(option.grip.frets) for option in column]
        block[row, :size] = [bool(option.lower) for option in column]
        lower[row, :size] = [option.lower or (0, 0, 0) for option in column]
    take = np.array([rows[id(column)] for column in columns])
    return Columns(cost[take], position[take], lower[take], strings[take], block[take])


@lru_cache(maxsize=65536)
def string_bits(frets: tuple[int | None, ...]) -> int:
    """A number that is the same for the same strings and no others."""
    return sum(1 << place for place, fret in enumerate(frets) if fret is not None)


def _step_terms(before: Columns, after: Columns) -> dict[str, Array]:
    """What each entry of `STEP_COSTS` comes to, from every option to every option: shape (notes, width, width)."""
    travel = np.abs(before.position[:, :, None] - after.position[:, None, :])
    both = before.block[:, :, None] & after.block[:, None, :]
    voices = np.zeros_like(travel)
    for voice_number in range(3):
        voices += np.abs(before.lower[:, :, None, voice_number] - after.lower[:, None, :, voice_number])
    moved = before.strings[:, :, None] != after.strings[:, None, :]
    return {
        "travel": STEP_COSTS["travel"] * travel,
        "voices": STEP_COSTS["voices"] * voices * both,
        "string set": STEP_COSTS["string set"] * (moved & both),
    }


def _steps(arrays: Columns, times: Sequence[float], chunk: int = 2048) -> Iterator[tuple[int, Array]]:
    """For each note but the first: its index and the cost of every step to it; too fast a jump costs infinity."""
    seconds = np.asarray(times)
    for start in range(1, len(arrays.cost), chunk):
        stop = min(start + chunk, len(arrays.cost))
        before, after = arrays.part(start - 1, stop - 1), arrays.part(start, stop)
        steps = sum(_step_terms(before, after).values())
        reach = np.maximum(TRAVEL_MM_S * seconds[start - 1 : stop - 1], SHIFT_MM)[:, None, None]
        far = np.abs(before.position[:, :, None] - after.position[:, None, :]) > reach
        steps = np.where(far & after.block[:, None, :], np.inf, steps)
        yield from ((start + offset, step) for offset, step in enumerate(steps))


def _gaps_between(full: Sequence[int], gaps: Sequence[float]) -> list[float]:
    if len(full) == len(gaps) + 1:
        return list(gaps)
    return [sum(gaps[a:b]) for a, b in zip(full, full[1:], strict=False)]


def _seconds_between(tune: Tune, settings: Settings) -> list[float]:
    beat = 60 / _tempo(tune, settings)
    return [float(b.onset - a.onset) * beat for a, b in zip(tune.notes, tune.notes[1:], strict=False)]


# --- candidates ---------------------------------------------------------------------------------------------------


def _options(
    tune: Tune, settings: Settings, verdicts: Sequence[Tested] = (), wanted: Sequence[str] = ()
) -> tuple[tuple[Option, ...], ...]:
    """A column of options for every note, pins and bans obeyed; equal notes share one column."""
    verdicts, wanted = verdicts or examine(tune), wanted or _wanted(tune, settings)
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
    blocks = _blocks(verdict, key, settings.neck, settings.spreads)
    options = [*blocks, *(single._replace(costs=(("single", GRIP_COSTS["single"]),)) for single in singles)]
    if not blocks:
        return singles
    if settings.seed:
        random.Random(int(settings.seed)).shuffle(options)
    return tuple(options)


def _blocks(verdict: Tested, key: frozenset[int], neck: Neck, spreads: tuple[str, ...]) -> list[Option]:
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
        grip = neck.placed(notes, strings)
        if grip:
            costs = {
                "stretch": GRIP_COSTS["stretch"] * max(neck.stretch_mm(grip.frets) - COMFORT_MM, 0),
                "open string": GRIP_COSTS["open string"] * grip.frets.count(0),
                "skipped string": GRIP_COSTS["skipped string"] * (strings[0] - strings[-1] + 1 - len(strings)),
                "high fret": GRIP_COSTS["high fret"] * max(max(grip.fretted, default=0) - COMFORT_FRET, 0),
                "minor ninth": GRIP_COSTS["minor ninth"] * grinds,
            }
            paid = tuple((name, value) for name, value in costs.items() if value)
            found.append((grip, paid, _position(neck, grip), notes[:-1]))
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
            found.append(Option(grip, (), _position(neck, grip), ()))
    return tuple(found)


def _position(neck: Neck, grip: Grip) -> float:
    """Millimetres from the nut to the lowest fret pressed: where the index finger is."""
    return neck.nut_to(min(grip.fretted, default=0))


def _pinned(index: int, verdict: Tested, column: Sequence[Option], tune: Tune, settings: Settings) -> Option:
    """The option a pin asks for, from any spread; refused with the reason when the note cannot have it."""
    grip, where = Grip.parse(settings.pins[index]), tune.where(verdict.note.onset)
    key = tune.key_at(verdict.note.onset)
    wide = _blocks(verdict, key, settings.neck, ("drop 2", "drop 3", "drop 2 and 4", "close"))
    for option in [*column, *wide, *single_options(settings.neck, verdict.note.pitch.midi)]:
        if option.grip.frets == grip.frets:
            return option
    sounding = settings.neck.midi(settings.neck.fingered(grip.frets).frets)
    if max(sounding, default=None) != verdict.note.pitch.midi:
        raise HarmonyError(f"the pin {grip} at {where} does not have {verdict.note.pitch}, the melody, on top")
    listed = ", ".join(dict.fromkeys(str(option.grip) for option in wide)) or "single notes only"
    raise HarmonyError(f"the pin {grip} at {where} is no voicing of the chord there; possible: {listed}")


# --- what the teacher asked for -----------------------------------------------------------------------------------


def _tempo(tune: Tune, settings: Settings) -> float:
    return tune.tempo if settings.tempo is None else settings.tempo


def _check_settings(tune: Tune, settings: Settings) -> None:
    expect(Neck, settings.neck, "a neck: make one, as in Neck(frets=12)")
    if expect(str, settings.density, f"a density: choose {', '.join(DENSITIES)}") not in DENSITIES:
        raise HarmonyError(f"{settings.density!r} is not a density: choose {', '.join(DENSITIES)}")
    if not tune.notes or not tune.bars:
        raise HarmonyError(f"{tune.title!r} has no notes to harmonise")
    spreads = settings.spreads
    if not isinstance(spreads, tuple | list) or not spreads or any(spread not in list(SPREADS) for spread in spreads):
        raise HarmonyError(f"spreads {shown(spreads)}: name one or more of {', '.join(SPREADS)}, as in ('drop 2',)")
    within(_tempo(tune, settings), 10, 600, "tempo {}: choose 10 to 600 quarter notes a minute")
    whole(settings.seed, "a seed")
    if settings.key is not None:
        expect(str, settings.key, "a key: write its tonic, as in 'Eb', or 'best'")
    pins = pairs_of(settings.pins, Mapping, "pins map notes to grips, as in {0: 'x3545x'}")
    bans = pairs_of(settings.bans, Sequence, "bans are pairs of a note and a grip, as in [(0, 'x3545x')]")
    for index, _ in [*pins, *bans]:
        if not 0 <= whole(index, "the number of a note") < len(tune.notes):
            last = len(tune.notes) - 1
            raise HarmonyError(f"note {index} cannot be pinned or banned: the tune has notes 0 to {last}")


def pairs_of(settings: object, kind: type, how: str) -> list[tuple[Any, Any]]:
    """What a mapping or a sequence of pairs holds; raises `HarmonyError` that says how it is written."""
    held: Any = settings if isinstance(settings, kind) else [None]
    pairs = list(held.items() if isinstance(held, Mapping) else held)
    if not all(isinstance(pair, tuple | list) and len(pair) == 2 for pair in pairs):
        raise HarmonyError(f"{shown(settings)} cannot be followed: {how}")
    return pairs


def _known_note(index: int, tune: Tune) -> int:
    if not 0 <= whole(index, "the number of a note") < len(tune.notes):
        raise HarmonyError(f"note {shown(index)} is not there: the tune has notes 0 to {len(tune.notes) - 1}")
    return index


def _place_tune(tune: Tune, settings: Settings) -> tuple[Tune, tuple[str, ...]]:
    """The tune in the key asked for and the octave in which most notes carry a chord, and what was done."""
    if settings.key is None:
        keys = [(0, 0)]
    elif settings.key == "best":
        keys = [_way_to(tune, Name.parse(name)) for name in PRACTICE_ORDER]
    else:
        keys = [_way_to(tune, _tonic_asked(settings.key, tune))]
    keys.sort(key=lambda way: abs(way[1]))
    best_way, most = (0, 0), (-1, -1)
    for steps, semitones in keys:
        for octave in (0, -1, 1, -2, 2, -3, 3):
            way = (steps + 7 * octave, semitones + 12 * octave)
            carried = _carried(tune, way, settings)
            if carried > most:
                best_way, most = way, carried
            if carried == (len(tune.notes), len(tune.notes)):
                break
        if most == (len(tune.notes), len(tune.notes)):
            break
    moved = tune.transposed(*best_way) if best_way != (0, 0) else tune
    remarks = []
    if settings.key is not None and moved.key != tune.key:
        remarks.append(f"moved from {tune.key} to {moved.key}")
    octaves = (best_way[1] + 5) // 12  # a key lies at most 5 semitones down or 6 up
    if octaves:
        moved_by = f"{'up' if octaves > 0 else 'down'} {abs(octaves)} octave{'s' * (abs(octaves) > 1)}"
        remarks.append(f"moved {moved_by}, where most notes carry a chord")
    return moved, tuple(remarks)


def _way_to(tune: Tune, tonic: Name) -> tuple[int, int]:
    """The nearest interval from the tune's tonic to another: (letters, semitones), at most a tritone."""
    semitones = (tonic.pitch_class - tune.tonic.pitch_class + 5) % 12 - 5
    letters = ("CDEFGAB".index(tonic.letter) - "CDEFGAB".index(tune.tonic.letter)) % 7
    return min(((letters + 7 * o, semitones) for o in (-1, 0)), key=lambda way: abs(way[0] * 12 / 7 - semitones))


def _tonic_asked(key: str, tune: Tune) -> Name:
    """The tonic a key names; “Cm” and “C minor” ask for a tune with a minor third."""
    text = key.strip()
    for ending, minor in (("minor", True), ("major", False), ("m", True)):
        if text.endswith(ending):
            text = text[: -len(ending)].strip()
            if minor != (tune.mode in ("minor", "dorian", "phrygian", "locrian")):
                raise HarmonyError(f"key {key!r}: the tune is in {tune.key}; name another {tune.mode} key for it")
            break
    return Name.parse(text)


def _carried(tune: Tune, way: tuple[int, int], settings: Settings) -> tuple[int, int]:
    """How many notes, moved by `way`, lie on the neck, and how many of them can carry a chord."""
    moved = tune.transposed(*way) if way != (0, 0) else tune
    on_neck = carrying = 0
    known: dict[object, tuple[int, int]] = {}
    for verdict in examine(moved):
        key = moved.key_at(verdict.note.onset) if verdict.chord and verdict.chord.is_triad else frozenset[int]()
        same = (verdict.chord, verdict.note.pitch.midi, key)
        if same not in known:
            column = _blocks(verdict, key, settings.neck, settings.spreads)
            there = bool(single_options(settings.neck, verdict.note.pitch.midi))
            known[same] = (int(there), int(bool(column) or (verdict.chord is None and there)))
        on_neck += known[same][0]
        carrying += known[same][1]
    return on_neck, carrying


def _wanted(tune: Tune, settings: Settings) -> tuple[str, ...]:
    """For each note: empty when the density wants a chord there, else why it stays single."""
    if settings.density == "every":
        return ("",) * len(tune.notes)
    beat = 60 / _tempo(tune, settings)
    seconds = [float(note.onset) * beat for note in tune.notes]
    changes = [change.onset for change in tune.changes]
    reasons, last_chord, last_change = [], -9.0, -1
    for index, note in enumerate(tune.notes):
        now, reason = seconds[index], ""
        nearest = min((abs(now - seconds[i]) for i in (index - 1, index + 1) if 0 <= i < len(seconds)), default=9.0)
        fast = FASTEST_CHORD_S - 1e-9  # notes just so far apart are not too fast
        if now - last_chord < fast or (nearest < fast and not _on_beat(tune, note.onset)):
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


def _offset(tune: Tune, onset: Fraction) -> Fraction:
    """Quarter notes since the bar line (of a pick-up: since where its bar line would be)."""
    return (tune.beat_at(onset) - 1) * Fraction(4, tune.bar_at(onset).metre[1])


def _on_beat(tune: Tune, onset: Fraction) -> bool:
    return _offset(tune, onset) % pulse(tune, onset) == 0


def _is_accent(tune: Tune, note: Note) -> bool:
    """On a strong beat (the first, or the middle of an even bar), or at least a beat long."""
    beat, metre = pulse(tune, note.onset), tune.bar_at(note.onset).metre
    full, offset = Fraction(4 * metre[0], metre[1]), _offset(tune, note.onset)
    middle = full / 2 if full / beat % 2 == 0 else Fraction(0)
    return offset in (Fraction(0), middle) or note.duration >= beat


# --- saying why ---------------------------------------------------------------------------------------------------


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


def _reason(choice: Choice) -> str:
    name, grip = choice.note.pitch.name, choice.grip
    if choice.voicing is None:
        return f"{name} stays single: {choice.why_single}"
    voicing, chord = choice.voicing, choice.chord
    assert chord is not None
    assert grip is not None
    how = f"{voicing.spread} on strings {grip.string_set}, {voicing.inversion}"
    if choice.diminished:
        return f"{name} is foreign to {chord} ({choice.tested.role}): {choice.diminished.sentence}; {how}"
    melody, added = choice.tested.degree or "1", ""
    swaps = {d: chord.stacks[0][place] for place, d in enumerate(voicing.stack) if d in chord.extensions}
    if melody in swaps:
        added += f", in the place of the {DEGREE_WORDS[swaps.pop(melody)]}"
    if swaps:
        added += ", with the " + " and the ".join(
            f"{DEGREE_WORDS[d]} for the {DEGREE_WORDS[p]}" for d, p in swaps.items()
        )
    if chord.is_triad and melody != voicing.stack[3]:
        added += f", filled up with its {DEGREE_WORDS[voicing.stack[3]]}"
    if chord.bass and chord.bass.pitch_class not in {p.midi % 12 for p in voicing.pitches}:
        added += f", the bass {chord.bass} left to a bass player"
    return f"{name} is the {DEGREE_WORDS[melody]} of {chord}{added}: {how}"


# --- the checker --------------------------------------------------------------------------------------------------


def check(arrangement: Arrangement) -> list[str]:
    """All that is wrong with an arrangement, one sentence each; an empty list when it is sound.

    Looks at what would be heard and held: the melody kept and on top, every note in the chord (or in the diminished
    seventh of a foreign note), grips a hand can play, no note over the next one, time enough for every jump.
    """
    expect(Arrangement, arrangement, ARRANGEMENT)
    tune, neck = arrangement.tune, arrangement.settings.neck
    wrong = _check_melody(arrangement)
    previous: tuple[Fraction, float] | None = None
    for choice in arrangement.choices:
        where, grip = tune.where(choice.note.onset), choice.grip
        if grip is None:
            wrong.append(f"{where}: {choice.note.pitch} lies off this neck")
            continue
        fault = neck.fault(grip)
        if fault:
            wrong.append(f"{where}: {fault}")
        if len(grip.frets) != len(neck.open_midi):
            continue
        sounding = neck.midi(grip.frets)
        if not sounding or max(sounding) != sounding[-1] or sounding[-1] != choice.note.pitch.midi:
            wrong.append(f"{where}: {choice.note.pitch} is not on top of {grip}")
        if choice.voicing and tuple(pitch.midi for pitch in choice.voicing.pitches) != sounding:
            wrong.append(f"{where}: {grip} does not sound the voicing written for it")
        position = neck.nut_to(min(grip.fretted, default=0))
        if len(sounding) > 1:
            wrong += _check_chord(choice, tune.chord_at(choice.note.onset), sounding, where)
            if previous:
                seconds = float(choice.note.onset - previous[0]) * 60 / arrangement.tempo
                way = abs(position - previous[1])
                if way > SHIFT_MM and way > TRAVEL_MM_S * seconds + 1e-6:
                    wrong.append(f"{where}: {way:.0f} mm in {seconds:.2f} s is too fast a jump to {grip}")
        previous = (choice.note.onset, position)
    return wrong


def _check_melody(arrangement: Arrangement) -> list[str]:
    given, played = arrangement.source.notes, [choice.note for choice in arrangement.choices]
    if len(given) != len(played):
        return [f"the tune has {len(given)} notes, the arrangement {len(played)}"]
    moves = {b.pitch.midi - a.pitch.midi for a, b in zip(given, played, strict=True)}
    wrong = [] if len(moves) <= 1 else ["the melody has changed: its notes do not all move by one interval"]
    for before, after in zip(played, played[1:], strict=False):
        if before.end > after.onset:
            wrong.append(f"{arrangement.tune.where(before.onset)}: {before.pitch} sounds over the next note")
    if any((a.onset, a.duration) != (b.onset, b.duration) for a, b in zip(given, played, strict=True)):
        wrong.append("the melody has changed: a note starts or ends elsewhere")
    return wrong


def _check_chord(choice: Choice, chord: Chord | None, sounding: Sequence[int], where: str) -> list[str]:
    """Each sounding note belongs to the chord under the melody, or all to the melody's own diminished seventh."""
    melody = choice.note.pitch
    if chord is None:
        return [f"{where}: a chord where the lead sheet has none"]
    if len(sounding) != 4 or len({midi % 12 for midi in sounding}) != 4:
        return [f"{where}: {choice.grip} does not hold four different notes"]
    if degree_of(melody, chord) is None:
        foreign = [midi for midi in sounding if (midi - melody.midi) % 3]
        return [f"{where}: {choice.grip} is not the diminished seventh of {melody}"] if foreign else []
    allowed = {chord.pitch_class_of(degree) for stack in chord.stacks for degree in stack}
    foreign = [midi for midi in sounding if midi % 12 not in allowed]
    return [f"{where}: {choice.grip} holds a note foreign to {chord}"] if foreign else []
