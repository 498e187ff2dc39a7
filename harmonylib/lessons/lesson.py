"""The edit cell of a chapter as one call: takes what can be taken, and says in a sentence what could not.

A wrong value stops nothing: what the course shipped stands in for it. The same settings can come from elsewhere, such
as the bar of the wall: a dictionary as `settings`, or JSON in the environment variable ``HARMONYLIB_LESSON``; they go
before what is written in the call.

Conventions
- `Lesson.settings` holds text, numbers and lists of them alone: it can be stored as JSON and given back as `settings`.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from harmonylib.answering.stages import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError, shown
from harmonylib.guitar.neck import Neck
from harmonylib.lessons import settings as read_as
from harmonylib.lessons.of_class import class_faults
from harmonylib.lessons.said import sentence
from harmonylib.lessons.settings import EVERYWHERE, MEANINGS, QUIETER, SHIPPED
from harmonylib.lessons.table import Table, table
from harmonylib.settings import section
from harmonylib.theory.chords import Chord
from harmonylib.tunes.tune import Tune

SETTINGS_VARIABLE = "HARMONYLIB_LESSON"
ON_A_TUNE = ("tune", "bars", "key", "tempo", "density", "tuning", "reach_mm", "frets", "capo", "settings")
ON_A_CHORD = ("chord", "spread", "strings", "tuning", "reach_mm", "frets", "capo", "settings")


@dataclass(frozen=True, repr=False)
class Lesson:
    """What a chapter works with: `settings` as taken, and in `wrong` a sentence on each that could not be.

    `of_class` are the sentences on the class's file; they are said here and nowhere else in the chapter.

    >>> today = lesson(1, chord="ebm7", reach_mm="long")
    >>> today.chord, today.neck.reach_mm, today.wrong
    (E♭m7, 105, {'reach_mm': "reach_mm 'long': write a number, 20 to 250; 105 is taken"})
    """

    chapter: int
    settings: Mapping[str, Any]
    wrong: Mapping[str, str]
    written: tuple[str, ...]
    tune: Tune = field(compare=False)
    neck: Neck = Neck()
    of_class: tuple[str, ...] = ()

    @property
    def bars(self) -> tuple[int, int]:
        first, last = self.settings["bars"]
        return first, last

    @property
    def tempo(self) -> float:
        return float(self.settings["tempo"])

    @property
    def spread(self) -> str:
        return str(self.settings["spread"])

    @property
    def seed(self) -> int:
        return int(self.settings["seed"])

    @cached_property
    def chord(self) -> Chord:
        """The chord; what could not be taken goes with it as remarks, so that each section can say so."""
        chord = Chord.parse(self.settings["chord"])
        return replace(chord, remarks=(*chord.remarks, *self.remarks(*ON_A_CHORD)))

    @cached_property
    def strings(self) -> tuple[int, ...]:
        """The string set, from the lowest; the highest one of the spread when none is set."""
        sets = {"".join(map(str, strings)): strings for strings in self.neck.string_sets(self.spread)}
        return sets.get(self.settings["strings"]) or next(iter(sets.values()), ())

    @cached_property
    def music(self) -> Arrangement:
        """The tune in block chords, as the settings ask; raises `HarmonyError` when it cannot be."""
        return arrange(
            self.tune,
            neck=self.neck,
            tempo=self.tempo,
            density=self.settings["density"],
            key=self.settings["key"] or None,
        )

    def remarks(self, *names: str) -> tuple[str, ...]:
        """The sentences on the settings named that could not be taken."""
        return tuple(said for name, said in self.wrong.items() if name in names or name not in MEANINGS)

    @property
    def table(self) -> Table:
        """The settings: those written in the cell, and what others there are to write."""
        names = [*self.written, *(name for name in MEANINGS if name not in self.written)]
        used = used_in(self.chapter)
        rows = ((name, self._now(name), MEANINGS[name]) for name in names if name in used)
        return table("setting | now | what it is", rows, ["what it is"], (*self.wrong.values(), *self.of_class))

    def _now(self, name: str) -> str:
        """A setting as a person reads it; of a file, its name."""
        if name == "strings" and not self.settings[name]:
            return "the usual"
        said = _as_written(self.settings[name])
        return said.rsplit("/", 1)[-1].removesuffix(".abc") if name == "tune" else said

    def __repr__(self) -> str:
        written = [f"{name} {self._now(name)}" for name in self.written]
        return "\n".join([", ".join(written), *map(sentence, (*self.wrong.values(), *self.of_class))])

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        return {"text/html": self.table.html, "text/plain": repr(self)}


def used_in(chapter: int) -> set[str]:
    """The settings that a chapter makes use of."""
    tune = {"tune", "bars", "key", "tempo", "density"}
    chord = {"chord", "spread", "strings"}
    own = {1: chord, 2: chord | {"tempo"}, 4: (chord | tune) - {"spread"}, 8: tune | {"chord", "kinds"}}
    return own.get(chapter, tune) | {"tuning", "reach_mm", "frets", "capo", "seed", "level"}


def lesson(chapter: int = 0, settings: Mapping[str, Any] | None = None, **written: Any) -> Lesson:
    """The lesson that an edit cell asks for; whatever it holds, there is one.

    `chapter` says what the course ships; the settings are those of `MEANINGS`, by name. What the class's file says of
    the neck is taken where the cell says nothing.

    >>> lesson(5, bars="2 to 3", tempo=60)
    bars 2 to 3, tempo 60
    >>> lesson(5, bars=(90, 99), temp=60)
    bars 1 to 4
    There is no setting 'temp': there are tune, bars, key, tempo, density, chord, spread, strings, tuning, ...
    Bars 90 to 99: the tune has 1 to 32; bars 1 to 4 are taken.
    """
    known = chapter if isinstance(chapter, int) and chapter in SHIPPED else 0
    shipped = {**EVERYWHERE, **QUIETER.get(known, {}), **SHIPPED[known], **_of_class()}
    wrong: dict[str, str] = {}
    given = settings if isinstance(settings, Mapping) else {}
    asked = written | dict(given) | _from_outside(wrong)
    for name in sorted(asked.keys() - MEANINGS.keys()):
        wrong[name] = f"there is no setting {shown(name)}: there are {', '.join(MEANINGS)}"
    for name in written.keys() & (MEANINGS.keys() - used_in(known)):
        wrong[name] = f"{name} changes nothing in this chapter"
    asked = {name: value for name, value in asked.items() if name in used_in(known)}
    taken = {name: _taken(name, asked, shipped, wrong) for name in read_as.SIMPLE}
    _told(asked, taken, wrong)
    neck = _neck(taken, asked, shipped, wrong)
    taken["strings"] = _strings(taken, asked, shipped, neck, wrong)
    taken["tune"], tune = _tune(asked, shipped, wrong)
    taken["bars"] = _bars(asked, shipped, tune, wrong)
    named = tuple(name for name in MEANINGS if name in asked)
    made = Lesson(known, taken, wrong, named, tune, neck, class_faults())
    return _in_key(made) if taken["key"] else made


def _of_class() -> dict[str, Any]:
    """The neck and the hand that the class's file gives, as far as a lesson takes them."""
    found: dict[str, Any] = {}
    for name, value in section("neck").items():
        with suppress(HarmonyError):
            found |= {name: read_as.SIMPLE[name](value)} if name in read_as.SIMPLE else {}
    return found


def _from_outside(wrong: dict[str, str]) -> dict[str, Any]:
    text = os.environ.get(SETTINGS_VARIABLE, "")
    try:
        found = json.loads(text) if text.strip() else {}
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        wrong["settings"] = f"{SETTINGS_VARIABLE} holds {shown(text)}, which is no JSON of settings by name"
        return {}
    return found


def _taken(name: str, asked: Mapping[str, Any], shipped: Mapping[str, Any], wrong: dict[str, str]) -> Any:
    read = read_as.SIMPLE[name]
    try:
        return read(asked[name]) if name in asked else read(shipped[name])
    except HarmonyError as error:
        instead = "the tune stays as written" if name == "key" else f"{_as_written(shipped[name])} is taken"
        wrong[name] = f"{error}; {instead}"
        return read(shipped[name])


def _told(asked: Mapping[str, Any], taken: Mapping[str, Any], wrong: dict[str, str]) -> None:
    """What the reader remarks on a symbol that is not written as it is then called, such as Gsus2."""
    if "chord" in asked and "chord" not in wrong:
        remarks = dict.fromkeys(read_as.plain_chord(asked["chord"]).remarks)
        said = [remark for remark in remarks if remark not in Chord.parse(taken["chord"]).remarks]
        wrong |= {"chord": "; ".join(said)} if said else {}


def _neck(taken: dict[str, Any], asked: Mapping[str, Any], shipped: Mapping[str, Any], wrong: dict[str, str]) -> Neck:
    try:
        return read_as.neck_of(taken)
    except HarmonyError as error:  # each value is in range, together they are no neck
        wrong["capo"] = f"{error}; no capo and {shipped['frets']} frets are taken"
        taken |= {"capo": 0, "frets": shipped["frets"]}
        return read_as.neck_of(taken)


def _strings(
    taken: Mapping[str, Any], asked: Mapping[str, Any], shipped: Mapping[str, Any], neck: Neck, wrong: dict[str, str]
) -> str:
    try:
        return read_as.strings_of(asked.get("strings", shipped["strings"]), taken["spread"], neck)
    except HarmonyError as error:
        if "strings" in asked:
            wrong["strings"] = f"{error}; the usual ones are taken"
        return ""


def _tune(asked: Mapping[str, Any], shipped: Mapping[str, Any], wrong: dict[str, str]) -> tuple[str, Tune]:
    named = shipped["tune"]
    for written in ([asked["tune"]] if "tune" in asked else []) + [named, read_as.SPARE_TUNE]:
        try:
            source = read_as.tune_source(written)
            return source, read_as.tune_of(source)
        except HarmonyError as error:
            wrong["tune"] = f"{error}; {_as_written(named)} is taken"
    raise HarmonyError("the course's own tunes cannot be read")


def _bars(asked: Mapping[str, Any], shipped: Mapping[str, Any], tune: Tune, wrong: dict[str, str]) -> tuple[int, int]:
    try:
        return read_as.bars_in(asked.get("bars", shipped["bars"]), tune)
    except HarmonyError as error:
        first, last = read_as.first_bars(tune, shipped["bars"])
        if "bars" in asked:
            wrong["bars"] = (
                f"{error}; " + (f"bar {first} is" if first == last else f"bars {first} to {last} are") + " taken"
            )
        return first, last


def _in_key(made: Lesson) -> Lesson:
    """The lesson, without its key when its music cannot be made in it."""
    try:
        _ = made.music
    except HarmonyError as error:
        wrong = {**made.wrong, "key": f"{error}; the tune stays as written"}
        return replace(made, settings={**made.settings, "key": ""}, wrong=wrong)
    return made


def _as_written(value: object) -> str:
    """A setting as a person reads it."""
    if isinstance(value, tuple) and len(value) == 2 and all(isinstance(part, int) for part in value):
        return f"{value[0]} to {value[1]}" if value[0] < value[1] else str(value[0])
    if isinstance(value, tuple | list):
        return ", ".join(map(str, value))
    text = str(value)
    return "your own, as text" if "\n" in text else text or "as written"
