"""`panel`: the panel of a chapter, set to the lesson of its edit cell."""

from __future__ import annotations

from harmonylib.errors import HarmonyError
from harmonylib.lessons.lesson import Lesson
from harmonylib.lessons.music import in_chord
from harmonylib.lessons.said import Said, section
from harmonylib.theory.pitch import Pitch
from widgets.cells import in_place
from widgets.desk import AnswerPanel, ArrangementPanel
from widgets.panel import Panel
from widgets.panels import DiminishedPanel, InversionPanel, MelodyPanel, SpreadPanel


@section
def panel(today: Lesson) -> Panel | Said:
    """Controls over a picture for what the chapter is about; a sentence where its material gives none.

    >>> from harmonylib.lessons.lesson import lesson
    >>> type(panel(lesson(2))).__name__
    'InversionPanel'
    """
    if today.chapter not in _MADE:
        raise HarmonyError(f"chapter {today.chapter} has no panel")
    made: Panel = in_place(_MADE[today.chapter](today))
    return made


def _shapes(today: Lesson) -> Panel:
    return SpreadPanel(str(today.chord), today.spread, _strings(today), neck=today.neck)


def _inversions(today: Lesson) -> Panel:
    return InversionPanel(str(today.chord), today.spread, _strings(today), neck=today.neck)


def _strings(today: Lesson) -> str:
    return "".join(map(str, today.strings))


def _melody(today: Lesson) -> Panel:
    spot = in_chord(today)[0]
    pitch: Pitch = spot.note.pitch
    assert spot.voicing is not None
    return MelodyPanel(str(spot.chord), spot.voicing.spread, str(pitch), neck=today.neck)


def _diminished(today: Lesson) -> Panel:
    return DiminishedPanel(str(today.chord), neck=today.neck)


def _desk(today: Lesson) -> Panel:
    return ArrangementPanel(today.music, bars=today.bars)


def _answers(today: Lesson) -> Panel:
    return AnswerPanel(today.music, bars=today.bars, seed=today.seed)


_MADE = {1: _shapes, 2: _inversions, 3: _melody, 4: _diminished, 5: _desk, 6: _answers, 7: _desk}
