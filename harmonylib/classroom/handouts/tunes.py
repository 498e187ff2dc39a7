"""A tune on paper: notation and tablature, stage by stage, with diagrams and fingers over the bars.

Conventions
- What is engraved is what `score.engraving` draws; a diagram stands over the note it belongs to.
- Diagrams stand at every grip of a line where they fit, else at the changes of chord, and the sheet says so.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from harmonylib.answering.stages import STAGES, arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.classroom.handouts.frames import TIGHT, Frame, frame
from harmonylib.classroom.handouts.look import SIZES, Look
from harmonylib.classroom.handouts.setting import ROOM, Line, Section
from harmonylib.errors import HarmonyError, shown
from harmonylib.guitar.neck import Neck
from harmonylib.score.engraving import PRINT_FONT, PRINTED, drawn_pages, plain_signs
from harmonylib.tunes.tune import Tune

MUSIC_MM = 180.0
AT_CHANGES = "Where more grips than fit stand in a line, diagrams stand at changes of chord."

_NOTE = re.compile(r'<g id="([na]\d+)" class="note">.*?translate\((\d+), ', re.S)
_WIDE = re.compile(r'class="definition-scale"[^>]*viewBox="0 0 (\d+) ')
_MARGIN = re.compile(r'class="page-margin" transform="translate\((\d+),')


def tune_sections(
    tune: Tune, neck: Neck, look: Look, stages: Sequence[str] = tuple(STAGES), **settings: Any
) -> tuple[Section, ...]:
    """The tune in the stages asked for, each with its lines of music and the diagrams over them."""
    wanted = [stages] if isinstance(stages, str) else list(stages)
    for stage in wanted:
        if stage not in STAGES:
            raise HarmonyError(f"{shown(stage)} is not a stage: choose {', '.join(STAGES)}")
    return tuple(_section(arrange(tune, neck=neck, stage=stage, **settings), stage, look) for stage in wanted)


def _section(made: Arrangement, stage: str, look: Look) -> Section:
    pages = drawn_pages(made, MUSIC_MM * SIZES[0] / look.size, PRINTED)
    lines, thinned = [], False
    for page in pages:
        frames, fewer = _over(made, page, look)
        thinned |= fewer
        lines.append(Line(plain_signs(page, PRINT_FONT), frames))
    note = f"{STAGES[stage][:1].upper()}{STAGES[stage][1:]}."
    return Section(
        stage.capitalize(),
        f"{note} {AT_CHANGES}" if thinned else note,
        lines=tuple(lines),
        whole=len(pages) < 3 and look.size == SIZES[0],
    )


def _over(made: Arrangement, page: str, look: Look) -> tuple[tuple[tuple[float, Frame], ...], bool]:
    """The diagrams over a line of music, and whether there are fewer than grips."""
    room = ROOM[look.paper]
    places = _places(page, room)
    look = replace(look, label="finger")
    calls = {f"n{c.index}": (c.grip, c.voicing, str(c.chord)) for c in made.choices}
    answers = {f"a{n}": (a.grip, a.voicing, str(a.voicing.chord)) for n, a in enumerate(made.answers)}
    held = {**calls, **answers}
    found = [(x, *held[name]) for name, x in places if name in held]
    grips = [(x, grip, voicing, chord) for x, grip, voicing, chord in found if grip and len(grip.strings) > 1]
    drawn = [(x, frame(made.settings.neck, grip, voicing, look, TIGHT)) for x, grip, voicing, _ in grips]
    if sum(each.width for _, each in drawn) <= room:
        return tuple(drawn), False
    changes = [each for place, each in enumerate(drawn) if place == 0 or grips[place][3] != grips[place - 1][3]]
    most = int(room // max(each.width for _, each in drawn))
    return tuple(changes[:: -(-len(changes) // most)]), True


def _places(page: str, room: float) -> list[tuple[str, float]]:
    """The top notes of a line with their middles, in points, from left to right."""
    wide, margin = _WIDE.search(page), _MARGIN.search(page)
    assert wide is not None
    assert margin is not None
    scale = room / float(wide[1])
    head = 120  # half a note head, in the engraver's units
    found = {name: (float(x) + float(margin[1]) + head) * scale for name, x in _NOTE.findall(page)}
    return sorted(found.items(), key=lambda item: item[1])
