"""An arrangement: what was chosen for every note, what it costs, and the settings it was made with.

Conventions
- Notes are counted from 0 in the order of the tune; times are quarter notes, tempo is quarter notes a minute.
- An arrangement never changes; a pin, a ban or an answer makes another one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from functools import cached_property
from typing import Any, NamedTuple, TypeVar

from harmonylib.arranging.chain import Option, laid_out, step_terms
from harmonylib.arranging.choice import Choice
from harmonylib.arranging.costs import Weights, weights
from harmonylib.arranging.twins import twins
from harmonylib.errors import HarmonyError, expect, shown, whole
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.voicings import Voicing
from harmonylib.tunes.tune import Tune
from harmonylib.tunes.written_out import written_out

ARRANGEMENT = "an arrangement: make one first, as in arrange(tune)"


STAGES = {
    # stage       what is played
    "melody": "the melody alone",
    "roots": "the melody with the chord's root under it, wherever a hand can",
    "chords": "the middle filled in: block chords",
}


Kind = TypeVar("Kind")


@dataclass(frozen=True)
class Settings:
    """What a teacher may set: the neck and hand, how dense, at what tempo, in which key, with which pins and bans.

    `pins` maps a note's index to the grip it must have, `bans` lists (index, grip) pairs that are not wanted; `spreads`
    are the voicings to choose from; `seed` picks among chains that cost the same (0: the first in table order).
    `foreign` says how foreign notes are harmonised (one of `FOREIGN`), `hand` is one of `HANDS`, `costs` sets weights
    of `GRIP_COSTS` and `STEP_COSTS` by value; `alike` plays bars alike that are the same. `stage` is one of `STAGES`:
    the way a tune is taught. `tempo` decides what the hand has time for, `practice_tempo` is that of the sound alone.
    """

    neck: Neck = Neck()
    density: str = "comfortable"
    tempo: float | None = None
    key: str | None = None
    spreads: tuple[str, ...] = ("drop 2", "drop 3")
    pins: Mapping[int, str] = field(default_factory=dict)
    bans: Sequence[tuple[int, str]] = ()
    seed: int = 0
    foreign: str = "diminished"
    hand: str = "sliding"
    costs: Mapping[str, float] = field(default_factory=dict)
    alike: bool = True
    stage: str = "chords"
    practice_tempo: float | None = None

    @cached_property
    def weights(self) -> Weights:
        """The weights in force: those of the hand, and before them those set by value."""
        return weights(self.hand, self.costs)


@dataclass(frozen=True)
class Answer:
    """One chord that answers a call, the melody note number `call`; made by `answering`.

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


class Search(NamedTuple):
    """The ways into the search that made an arrangement, kept with it so that it can be asked again."""

    arrange: Callable[[Tune, Settings], Arrangement]
    columns: Callable[[Tune, Settings], tuple[tuple[Option, ...], ...]]


@dataclass(frozen=True)
class Arrangement:
    """A tune in block chords: `tune` is as it sounds here (key and octave chosen), `source` as it was given."""

    tune: Tune
    source: Tune
    settings: Settings
    choices: tuple[Choice, ...]
    cost: float
    free_cost: float
    search: Search = field(repr=False, compare=False)
    remarks: tuple[str, ...] = ()
    answers: tuple[Answer, ...] = ()

    @property
    def tempo(self) -> float:
        """Quarter notes a minute."""
        return tempo_of(self.tune, self.settings)

    @property
    def sounding_tempo(self) -> float:
        """Quarter notes a minute of the sound: slower than `tempo` to practise, with the same grips."""
        return self.tempo if self.settings.practice_tempo is None else self.settings.practice_tempo

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
        return tuple(option.grip for option in self.search.columns(self.tune, self.settings)[index])

    def steps(self) -> tuple[dict[str, float], ...]:
        """What each note adds to the cost: its grip's own entries and the step that leads to it.

        The values of all entries add up to `cost`.
        """
        options = self.search.columns(self.tune, self.settings)
        path = [
            next(o for o in column if o.grip.frets == choice.grip.frets)
            for column, choice in zip(options, self.choices, strict=True)
            if choice.grip
        ]
        entries = [dict(path[0].costs)] if path else []
        for before, after in zip(path, path[1:], strict=False):
            step = step_terms(laid_out([[before]]), laid_out([[after]]), self.settings.weights)
            entries.append(dict(after.costs) | {name: float(value[0, 0, 0]) for name, value in step.items()})
        return tuple({name: value for name, value in entry.items() if value} for entry in entries)

    def with_pin(self, index: int, grip: str, everywhere: bool = False, time: int | None = None) -> Arrangement:
        """The best arrangement in which note `index` has `grip`; the chain re-forms round it.

        With `everywhere` its twins in bars that are the same have it too; else it holds for this note alone. With
        `time` it holds for that time through a written repeat alone, from 1: the form is then written out.
        """
        _known_note(index, self.tune)
        if time is not None:
            return self._pinned_once(index, grip, time)
        notes = next(group for group in twins(self.tune) if index in group) if everywhere else (index,)
        pins = {**self.settings.pins, **dict.fromkeys(notes, grip)}
        return self.search.arrange(self.source, replace(self.settings, pins=pins))

    def _pinned_once(self, index: int, grip: str, time: int) -> Arrangement:
        """The tune written out, with one time through a passage pinned; other pins and bans hold every time."""
        made = written_out(self.source)
        places = [number for number, was in enumerate(made.was) if was == index]
        if not 1 <= whole(time, "a time through a repeat") <= len(places):
            raise HarmonyError(f"time {shown(time)}: note {index} is played {len(places)} times")
        pins = {number: self.settings.pins[was] for number, was in enumerate(made.was) if was in self.settings.pins}
        bans = tuple((n, ban) for n, was in enumerate(made.was) for note, ban in self.settings.bans if note == was)
        settings = replace(self.settings, pins={**pins, places[time - 1]: grip}, bans=bans)
        return self.search.arrange(made.tune, settings)

    def with_ban(self, index: int, grip: str | None = None) -> Arrangement:
        """The best arrangement in which note `index` has any grip but this one (default: the one it has now)."""
        banned = grip or str(self.choices[_known_note(index, self.tune)].grip)
        bans = (*self.settings.bans, (index, banned))
        return self.search.arrange(self.source, replace(self.settings, bans=bans))


def settings_with(settings: object, kind: type[Kind], changes: Mapping[str, object]) -> Kind:
    """Settings of a kind with some of them changed by name; raises `HarmonyError` for a name there is not."""
    known = [setting.name for setting in fields(kind)]  # type: ignore[arg-type]
    unknown = [name for name in changes if name not in known]
    if unknown:
        raise HarmonyError(f"{unknown[0]!r} is not a setting here: there are {', '.join(known)}")
    made: Kind = replace(expect(kind, settings, f"a {kind.__name__}"), **changes)  # type: ignore[type-var]
    return made


def tempo_of(tune: Tune, settings: Settings) -> float:
    return tune.tempo if settings.tempo is None else settings.tempo


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
