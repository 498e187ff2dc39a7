"""Calls and answers on paper: each call of a tune once, with its answer in notation and a diagram over every grip.

Conventions
- What is printed is the tune's stage of answers; calls that are answered alike stand together under all their bars.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from harmonylib.answering.stages import arrange
from harmonylib.arranging.arrangement import Answer, Arrangement
from harmonylib.classroom.handouts.frames import TIGHT, frame
from harmonylib.classroom.handouts.setting import GUTTER, ROOM, Line, Section
from harmonylib.classroom.handouts.tunes import MUSIC_MM, placed
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.look import SIZES, Look
from harmonylib.score.engraving import PRINTED, drawn_excerpts, for_print
from harmonylib.tunes.bars import bar_range
from harmonylib.tunes.tune import Tune

SHORTEST_MM = 80.0
"""A line of music as short as this still holds a bar."""


def fill_sections(tune: Tune, neck: Neck, look: Look, **settings: Any) -> tuple[Section, ...]:
    """The calls of a tune that are answered, two beside each other where print is small."""
    made = arrange(tune, neck=neck, stage="answers", **settings)
    if not made.answers:
        raise HarmonyError(f"{tune.title} has no gap long enough for an answer at {made.tempo:g}: try it slower")
    across = 2 if look.size == SIZES[0] else 1
    groups = _alike(made)
    width = max(SHORTEST_MM, MUSIC_MM * SIZES[0] / look.size / across)
    pages = drawn_excerpts(
        made, width, {**PRINTED, "minLastJustification": 0}, [_bars(made, calls[0]) for calls in groups]
    )
    lines = [_line(made, calls, page, look, across) for calls, (page, *_) in zip(groups, pages, strict=True)]
    note = "The call stands first in each; the mark under a ring is the top note."
    return (Section("Calls and answers", note, lines=tuple(lines), across=across),)


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


def _line(made: Arrangement, calls: Sequence[int], page: str, look: Look, across: int) -> Line:
    """A line of music with diagrams over a call and its answer alone."""
    first, tune = calls[0], made.tune
    choice = made.choices[first]
    numbers = [tune.bar_at(made.choices[call].note.onset).number for call in calls]
    room = (ROOM[look.paper] - GUTTER * (across - 1)) / across
    wanted = {f"n{first}", *(f"a{n}" for n, answer in enumerate(made.answers) if answer.call == first)}
    frames = tuple(
        (x, frame(made.settings.neck, held.grip, held.voicing, look, TIGHT))
        for x, held in placed(made, page, room)
        if held.name in wanted
    )
    bars = ", ".join(map(str, numbers))
    head = f"Bar{'s' * (len(numbers) > 1)} {bars}: {choice.chord}, {choice.note.pitch.name} on top"
    return Line(for_print(page, look.colour), frames, head)
