"""The bar of the wall: what a teacher may change in a lesson, what there is to choose from, and what stands there now.

Conventions
- A field is a dictionary that can be stored as JSON; `kind` says which control shows it. A choice is a pair: what is
  set, and what is read.
- The tunes are those of the folder `tunes` beside the chapter, and the one the lesson has.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from harmonylib.arranging.density import DENSITIES
from harmonylib.lessons.lesson import Lesson, used_in
from harmonylib.lessons.said import sentence
from harmonylib.lessons.settings import tune_files
from harmonylib.theory.voicings import SPREADS

KEYS = "C Db D Eb E F F# G Ab A Bb B".split()
MINOR = "C C# D Eb E F F# G G# A Bb B".split()

Field = dict[str, Any]
Choice = tuple[str, str]


def bar(today: Lesson) -> dict[str, Any]:
    """The fields of the bar for a lesson, and the sentences on what it could not take.

    >>> from harmonylib.lessons.lesson import lesson
    >>> [field["name"] for field in bar(lesson(5))["fields"]]
    ['tune', 'bars', 'key', 'tempo', 'density', 'reach_mm']
    >>> [field["name"] for field in bar(lesson(1))["fields"]]
    ['chord', 'spread', 'reach_mm']
    """
    fields = [
        _field("tune", "tune", "one of", today, choices=_tunes(today)),
        _field("bars", "bars", "two numbers", today, least=today.tune.bars[0].number, most=today.tune.bars[-1].number),
        _field("key", "key", "one of", today, choices=_keys(today)),
        _field("chord", "chord", "text", today),
        _field("spread", "spread", "one of", today, choices=[(name, name) for name in list(SPREADS)[1:]]),
        _field("tempo", "tempo", "number", today, least=40, most=240, by=4),
        _field("density", "chords on", "one of", today, choices=[(name, name) for name in DENSITIES]),
        _field("reach_mm", "reach, mm", "number", today, least=60, most=160, by=5),
    ]
    used = used_in(today.chapter)
    said = [sentence(wrong) for wrong in today.wrong.values()]
    return {"fields": [field for field in fields if field["name"] in used], "wrong": said}


def _field(name: str, label: str, kind: str, today: Lesson, **more: Any) -> Field:
    return {"name": name, "label": label, "kind": kind, "now": today.settings[name], **more}


def _tunes(today: Lesson) -> list[Choice]:
    found = [(path.as_posix(), path.stem.replace("_", " ")) for path in tune_files(Path("tunes"))]
    now = today.settings["tune"]
    known = [path for path, _ in found]
    return found if now in known else [(now, today.tune.title or "the chapter's own"), *found]


def _keys(today: Lesson) -> list[Choice]:
    minor = " minor" if "minor" in str(today.tune.key) else ""
    keys = [f"{tonic}{minor}" for tonic in (MINOR if minor else KEYS)]
    named = [(key, key.replace("b", "♭").replace("#", "♯")) for key in keys]
    now = today.settings["key"]
    own = [] if now in ("", "best", *keys) else [(now, now)]
    return [("", "as written"), ("best", "the best for the hand"), *named, *own]
