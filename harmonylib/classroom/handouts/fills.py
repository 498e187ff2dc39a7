"""Calls and answers on paper: each call of a tune once, with its answer in notation and a diagram over every grip.

Conventions
- What is printed is the tune's stage of answers; calls that are answered alike stand together under all their bars.
- An answer that lies over the bar line brings its bar along: such a line takes the whole width, and a short one that
  comes later may stand in the place it leaves free.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import chain
from typing import Any

from harmonylib.answering.stages import arrange
from harmonylib.arranging.arrangement import Answer, Arrangement
from harmonylib.classroom.handouts.frames import TIGHT, frame
from harmonylib.classroom.handouts.setting import GUTTER, ROOM, Line, Section
from harmonylib.classroom.handouts.tunes import HANDED_OUT, music_mm, placed
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.look import SIZES, Look
from harmonylib.score.engraving import drawn_excerpts, for_print
from harmonylib.tunes.bars import bar_range
from harmonylib.tunes.tune import Tune

ALONE = {**HANDED_OUT, "minLastJustification": 0, "breaks": "auto"}
"""These bars stand by themselves: they fill the line, and no line of the tune ends in them."""

SHORTEST_MM = 80.0
"""A line of music as short as this still holds a bar."""


def fill_sections(tune: Tune, neck: Neck, look: Look, **settings: Any) -> tuple[Section, ...]:
    """The calls of a tune that are answered, two beside each other where print is small; each bar stands there once."""
    made = arrange(tune, neck=neck, stage="answers", **settings)
    if not made.answers:
        raise HarmonyError(f"{tune.title} has no gap long enough for an answer at {made.tempo:g}: try it slower")
    across = 2 if look.size == SIZES[0] else 1
    groups: dict[tuple[range, ...], list[list[int]]] = {}
    for calls in _alike(made):
        groups.setdefault(tuple(_bars(made, call) for call in calls), []).append(calls)
    lines: dict[tuple[range, ...], list[Line]] = {}
    for wide in (False, True):
        chosen = [places for places in groups if (len(places[0]) > 1) is wide]
        beside = 1 if wide else across
        width = max(SHORTEST_MM, music_mm(look) / beside)
        drawn = drawn_excerpts(made, width, ALONE, [each[0] for each in chosen])
        for places, pages in zip(chosen, drawn, strict=True):
            lines[places] = [_line(made, groups[places], page, look, beside) for page in pages]
            lines[places][0] = replace(lines[places][0], head=_head(made, groups[places]))
    note = "The call stands first in each; the mark under a ring is the top note."
    return (
        Section("Calls and answers", note, lines=tuple(chain(*(lines[places] for places in groups))), across=across),
    )


def _alike(made: Arrangement) -> list[list[int]]:
    """The calls that are answered; those with the same grip, answered alike, together."""
    groups: dict[object, list[int]] = {}
    for call in sorted({answer.call for answer in made.answers}):
        onset = made.choices[call].note.onset
        hits = tuple((str(a.grip), a.onset - onset, a.duration) for a in _answers(made, call))
        groups.setdefault((str(made.choices[call].grip), str(made.choices[call].chord), hits), []).append(call)
    return list(groups.values())


def _answers(made: Arrangement, call: int) -> Sequence[Answer]:
    return [answer for answer in made.answers if answer.call == call]


def _bars(made: Arrangement, call: int) -> range:
    """The bars of a call and its answer, by their places in the tune."""
    first = made.tune.bar_at(made.choices[call].note.onset).number
    return bar_range(made.tune, first=first, last=max(made.tune.bar_at(a.onset).number for a in _answers(made, call)))


def _line(made: Arrangement, groups: Sequence[Sequence[int]], page: str, look: Look, beside: int) -> Line:
    """A line of music with diagrams over the first calls of their groups and over their answers alone."""
    room = (ROOM[look.paper] - GUTTER * (beside - 1)) / beside
    firsts = [calls[0] for calls in groups]
    wanted = {f"n{call}" for call in firsts}
    wanted |= {f"a{n}" for n, answer in enumerate(made.answers) if answer.call in firsts}
    frames = tuple(
        (x, frame(made.settings.neck, held.grip, held.voicing, look, TIGHT))
        for x, held in placed(made, page, room)
        if held.name in wanted
    )
    return Line(for_print(page, look.colour), frames, wide=beside == 1)


def _head(made: Arrangement, groups: Sequence[Sequence[int]]) -> str:
    """The bars of some calls, and over which chords they have what on top."""
    numbers = sorted({made.tune.bar_at(made.choices[call].note.onset).number for calls in groups for call in calls})
    tops: dict[str, list[str]] = {}
    for calls in groups:
        choice = made.choices[calls[0]]
        tops.setdefault(str(choice.chord), []).append(str(choice.note.pitch.name))
    told = "; ".join(f"{chord}, {' and '.join(dict.fromkeys(names))} on top" for chord, names in tops.items())
    return f"Bar{'s' * (len(numbers) > 1)} {', '.join(map(str, numbers))}: {told}"
