"""Taste, set by name and by value: the stages in which a tune is taught, hands, and weights."""

from __future__ import annotations

from harmonylib.answering.stages import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.costs import HANDS
from harmonylib.lessons.lesson import ON_A_TUNE, Lesson
from harmonylib.lessons.music import Remarked, remarked
from harmonylib.lessons.said import section
from harmonylib.lessons.table import Table, table
from harmonylib.pictures.picture import Picture
from harmonylib.score.engraving import Page, page


@section
def in_stage(today: Lesson, stage: str) -> Page | Remarked | Picture:
    """The bars of a lesson in one stage: "melody", "roots", "chords" or "answers".

    >>> from harmonylib.lessons.lesson import lesson
    >>> str(in_stage(lesson(5), "roots"))[:37]
    'Lantern on the Landing, bars 1 to 4: '
    """
    return remarked(today, page(_again(today, stage=stage), *today.bars))


@section
def hands(today: Lesson) -> Table:
    """What each of the named hands is for, and what it makes of the tune.

    >>> from harmonylib.lessons.lesson import lesson
    >>> [row[0] for row in hands(lesson(8)).rows]
    ['sliding', 'one set', 'in position']
    """
    rows = ((name, what, *_moves(_again(today, hand=name))) for name, (what, _) in HANDS.items())
    head = "hand | what it is for | travel, mm a chord | changes of strings"
    return table(head, rows, ["what it is for"], remarks=today.remarks(*ON_A_TUNE))


@section
def weighed(today: Lesson, what: str, weight: float) -> Table:
    """What another weight, set by value, makes of the tune.

    >>> from harmonylib.lessons.lesson import lesson
    >>> len(weighed(lesson(8), "travel", 0.2).rows)
    2
    """
    now, then = today.music, _again(today, costs={what: weight})
    rows = (("as it is", *_moves(now)), (f"{what} at {weight:g}", *_moves(then)))
    return table("weights | travel, mm a chord | changes of strings", rows, remarks=today.remarks(*ON_A_TUNE))


def _again(today: Lesson, **changes: object) -> Arrangement:
    return arrange(today.tune, today.music.settings, **changes)


def _moves(made: Arrangement) -> tuple[str, str]:
    """How far the hand goes for a chord, and how often it changes strings."""
    neck = made.settings.neck
    held = [choice.grip for choice in made.choices if choice.grip and choice.voicing]
    ways = [abs(neck.position_mm(b) - neck.position_mm(a)) for a, b in zip(held, held[1:], strict=False)]
    changes = sum(a.strings != b.strings for a, b in zip(held, held[1:], strict=False))
    return f"{sum(ways) / max(len(ways), 1):.0f}", str(changes)
