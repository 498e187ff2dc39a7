"""A learner's progress: a tally that is kept from day to day in a file of their own.

Conventions
- The file is `progress.json` in the folder a chapter is opened in; HARMONYLIB_PROGRESS names another folder, and
  “off” keeps nothing. Outside a notebook nothing is kept unless a folder is named.
- What another chapter has counted meanwhile is read before something is added. A file that cannot be read is left as it
  is; counting then goes on without it, and `progress()` says so.
"""

from __future__ import annotations

import os
import sys
from functools import lru_cache
from html import escape
from pathlib import Path

from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import REGISTRY, Exercise, Reply
from harmonylib.exercises.catalogue import KINDS
from harmonylib.exercises.tally import Tally, kind_of
from harmonylib.wording import many

VARIABLE, FILE = "HARMONYLIB_PROGRESS", "progress.json"

NOTHING = "Nothing tried yet: what you answer is counted here from day to day."


def in_notebook() -> bool:
    """Whether this is the kernel of a notebook."""
    shell = getattr(sys.modules.get("IPython"), "get_ipython", lambda: None)()
    return getattr(shell, "kernel", None) is not None


def kept_in() -> Path | None:
    """The file that keeps the progress; None where none is kept."""
    named = os.environ.get(VARIABLE, "" if in_notebook() else "off")
    return None if named == "off" else Path(named or os.curdir).resolve() / FILE


class KeptTally(Tally):
    """A tally that is in its file after every answer; without a file it lasts as long as the kernel."""

    def __init__(self, path: Path | None) -> None:
        super().__init__()
        self.path, self.trouble = path, ""
        self._read()

    def _read(self) -> None:
        if self.path is None or self.trouble:
            return
        try:
            self.rows = Tally.read(self.path).rows
        except HarmonyError as error:
            self.trouble = f"{error}; move it away and restart the kernel to count from day to day again"

    def count(self, task: Exercise, reply: Reply) -> None:
        self._read()
        super().count(task, reply)
        self._save()

    def _save(self) -> None:
        if self.path is None or self.trouble:
            return
        try:
            self.save(self.path)
        except HarmonyError as error:
            self.trouble = str(error)

    def reset(self) -> None:
        """Forget all that was counted, in the file too."""
        self._read()
        self.rows = {}
        self._save()
        self.tell()


@lru_cache(maxsize=8)
def _tally(path: Path | None) -> KeptTally:
    return KeptTally(path)


def kept_tally() -> KeptTally:
    """The tally that all answer boxes of this kernel share."""
    return _tally(kept_in())


class Progress:
    """What a learner has tried and got right so far, by kind of exercise; `reset` starts anew.

    >>> Progress(Tally())
    Nothing tried yet: what you answer is counted here from day to day.
    """

    def __init__(self, tally: Tally) -> None:
        self.tally = tally

    @property
    def lines(self) -> tuple[str, ...]:
        """A line for every kind that was tried, in the order in which they are taught, and what hinders keeping it."""
        by_kind: dict[str, list[bool]] = {}
        for key, (right, _) in self.tally.rows.items():
            by_kind.setdefault(kind_of(key), []).append(right)
        taught = [REGISTRY[kind] for kind in KINDS if kind in by_kind]
        told = [
            f"Chapter {made.chapter}, {made.about}: {sum(by_kind[made.kind])} right of "
            f"{many(len(by_kind[made.kind]), 'exercise')}"
            for made in taught
        ]
        trouble = getattr(self.tally, "trouble", "")
        return (*(told or [NOTHING]), *([trouble] if trouble else []))

    def reset(self) -> Progress:
        """Forget all that was counted."""
        self.tally.reset()
        return self

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        listed = "".join(f"<li>{escape(line)}</li>" for line in self.lines)
        return {"text/html": f"<p><strong>Your progress</strong></p><ul>{listed}</ul>", "text/plain": repr(self)}

    def __repr__(self) -> str:
        return "\n".join(self.lines)


def progress() -> Progress:
    """Your progress so far, as the last line of a cell shows it; ``progress().reset()`` starts anew."""
    return Progress(kept_tally())
