"""A tune on paper: notation and tablature, stage by stage, with diagrams and fingers over the bars.

Conventions
- What is engraved is what `score.engraving` draws; a diagram stands over the note it belongs to.
- Diagrams stand at every grip of a line where they fit, else at changes of chord and answers, and the sheet says so.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from harmonylib.answering.stages import STAGES, arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.classroom.handouts.frames import TIGHT, Frame, frame
from harmonylib.classroom.handouts.setting import ROOM, Line, Section
from harmonylib.errors import HarmonyError, shown
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.said import sentence
from harmonylib.pictures.look import SIZES, Look
from harmonylib.score.engraving import PRINTED, drawn_pages, for_print
from harmonylib.theory.voicings import Voicing
from harmonylib.tunes.tune import Tune

MUSIC_MM, LARGEST = 180.0, 15
HANDED_OUT = {**PRINTED, "pageMarginTop": 20, "pageMarginBottom": 4, "minLastJustification": 0.4}
"""Lines of music stand close, and music grows to `LARGEST` points only, so that two lines with diagrams fit a page."""
AT_CHANGES = "Where more grips than fit stand in a line, diagrams stand at changes of chord and answers."

_NOTE = re.compile(r'<g id="([na]\d+)" class="note"[^>]*>.*?translate\((\d+), ', re.S)
_WIDE = re.compile(r'class="definition-scale"[^>]*viewBox="0 0 (\d+) ')
_MARGIN = re.compile(r'class="page-margin" transform="translate\((\d+),')


def music_mm(look: Look) -> float:
    """How wide a line of music is engraved: narrower for large print, so that its notes come out larger."""
    return MUSIC_MM * SIZES[0] / min(look.size, LARGEST)


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
    pages = drawn_pages(made, music_mm(look), HANDED_OUT)
    lines, thinned = [], False
    for page in pages:
        frames, fewer = _over(made, page, look)
        thinned |= fewer
        lines.append(Line(for_print(page, look.colour), frames))
    note = sentence(STAGES[stage])
    return Section(
        stage.capitalize(),
        f"{note} {AT_CHANGES}" if thinned else note,
        lines=tuple(lines),
        whole=len(pages) < 3 and look.size == SIZES[0],
    )


def _over(made: Arrangement, page: str, look: Look) -> tuple[tuple[tuple[float, Frame], ...], bool]:
    """The diagrams over a line of music, and whether there are fewer than grips."""
    room = ROOM[look.paper]
    grips = [(x, each) for x, each in placed(made, page, room) if len(each.grip.strings) > 1]
    look = replace(look, label="finger")
    drawn = [(x, frame(made.settings.neck, each.grip, each.voicing, look, TIGHT)) for x, each in grips]
    if sum(each.width for _, each in drawn) <= room:
        return tuple(drawn), False
    changes = [
        each
        for place, (each, (_, held)) in enumerate(zip(drawn, grips, strict=True))
        if not place or held.chord != grips[place - 1][1].chord or held.answers
    ]
    most = int(room // max(each.width for _, each in drawn))
    return tuple(changes[:: -(-len(changes) // most)]), True


class Held(NamedTuple):
    """A grip of the music: the name of its note on the page, what it holds, the chord over it."""

    name: str
    grip: Grip
    voicing: Voicing | None
    chord: str

    @property
    def answers(self) -> bool:
        return self.name.startswith("a")


def placed(made: Arrangement, page: str, room: float) -> list[tuple[float, Held]]:
    """The grips of a line of music, each with where its note stands, in points from the left edge."""
    calls = [Held(f"n{c.index}", c.grip, c.voicing, str(c.chord)) for c in made.choices if c.grip]
    answers = [Held(f"a{n}", a.grip, a.voicing, str(a.voicing.chord)) for n, a in enumerate(made.answers)]
    held = {each.name: each for each in (*calls, *answers)}
    return [(x, held[name]) for name, x in _places(page, room) if name in held]


def _places(page: str, room: float) -> list[tuple[str, float]]:
    """The top notes of a line with their middles, in points, from left to right."""
    wide, margin = _WIDE.search(page), _MARGIN.search(page)
    assert wide is not None
    assert margin is not None
    scale = room / float(wide[1])
    head = 120  # half a note head, in the engraver's units
    found = {name: (float(x) + float(margin[1]) + head) * scale for name, x in _NOTE.findall(page)}
    return sorted(found.items(), key=lambda item: item[1])
