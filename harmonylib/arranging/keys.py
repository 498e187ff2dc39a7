"""The key: which key and octave let a hand carry most of the melody with chords.

Conventions
- A way to another key is (steps of the scale, semitones); the nearest key that carries as much is taken.
"""

from __future__ import annotations

from typing import NamedTuple

from harmonylib.arranging.arrangement import Settings
from harmonylib.arranging.candidates import chord_options, single_options
from harmonylib.arranging.harmony import Harmony, harmonies
from harmonylib.errors import HarmonyError
from harmonylib.theory.families import PRACTICE_ORDER
from harmonylib.theory.pitch import Name
from harmonylib.tunes.chordtones import Tested, examine
from harmonylib.tunes.tune import Tune


class Placed(NamedTuple):
    """A tune in its key and octave, its notes tested and harmonised, and what was done to it."""

    tune: Tune
    verdicts: tuple[Tested, ...]
    harmonies: tuple[Harmony | None, ...]
    remarks: tuple[str, ...] = ()


def placed_tune(tune: Tune, settings: Settings) -> Placed:
    """The tune in the key asked for and the octave in which most notes carry a chord, and what was done."""
    if settings.key is None:
        keys = [(0, 0)]
    elif settings.key == "best":
        keys = [_way_to(tune, Name.parse(name)) for name in PRACTICE_ORDER]
    else:
        keys = [_way_to(tune, _tonic_asked(settings.key, tune))]
    keys.sort(key=lambda way: abs(way[1]))
    best_way, most = (0, 0), (-1, -1)
    placed = Placed(tune, (), ())
    for steps, semitones in keys:
        for octave in (0, -1, 1, -2, 2, -3, 3):
            way = (steps + 7 * octave, semitones + 12 * octave)
            carried, here = _carried(tune, way, settings)
            if carried > most:
                best_way, most, placed = way, carried, here
            if carried == (len(tune.notes), len(tune.notes)):
                break
        if most == (len(tune.notes), len(tune.notes)):
            break
    remarks = []
    if settings.key is not None and placed.tune.key != tune.key:
        remarks.append(f"moved from {tune.key} to {placed.tune.key}")
    octaves = (best_way[1] + 5) // 12  # a key lies at most 5 semitones down or 6 up
    if octaves:
        moved_by = f"{'up' if octaves > 0 else 'down'} {abs(octaves)} octave{'s' * (abs(octaves) > 1)}"
        remarks.append(f"moved {moved_by}, where most notes carry a chord")
    return placed._replace(remarks=tuple(remarks))


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


def _carried(tune: Tune, way: tuple[int, int], settings: Settings) -> tuple[tuple[int, int], Placed]:
    """How many notes, moved by `way`, lie on the neck, and how many of them can carry a chord; and the tune moved."""
    moved = tune.transposed(*way) if way != (0, 0) else tune
    on_neck = carrying = 0
    known: dict[object, tuple[int, int]] = {}
    verdicts = examine(moved)
    made = harmonies(moved, verdicts, settings.foreign)
    for verdict, harmony in zip(verdicts, made, strict=True):
        same = (harmony, verdict.note.pitch.midi)
        if same not in known:
            column = chord_options(verdict, harmony, settings.neck, settings.spreads) if harmony else []
            there = bool(single_options(settings.neck, verdict.note.pitch.midi))
            known[same] = (int(there), int(bool(column) or (verdict.chord is None and there)))
        on_neck += known[same][0]
        carrying += known[same][1]
    return (on_neck, carrying), Placed(moved, verdicts, made)
