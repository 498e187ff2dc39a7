"""Where the course is: beside the library in a checkout, inside it when it was installed from a wheel.

Conventions
- A chapter is a numbered notebook, ``NN_name.ipynb``; the glossary goes with them; copies that a notebook program made
  of one are none.
- Files are named as seen from the course's folder, with ``/``: ``tunes/slate_roof_blues.abc``.
"""

from __future__ import annotations

import re
from pathlib import Path

from harmonylib.errors import HarmonyError

_HOUSE = Path(__file__).resolve().parent.parent
FIRST_CHAPTER = "00_start_here.ipynb"
DEMO = "tunes/lantern_on_the_landing.abc"
"""The tune that is arranged when none is named."""
_CHAPTER = re.compile(r"\d\d_(?!.*-Copy\d*\.).+\.ipynb")
_TUNES = (".abc", ".musicxml", ".mxl", ".xml")


def course_folder() -> Path:
    """The folder of chapters and tunes that came with this library; raises `HarmonyError` when there is none."""
    for folder in (_HOUSE / "chapters", _HOUSE.parent / "chapters"):
        if (folder / FIRST_CHAPTER).is_file():
            return folder
    raise HarmonyError(f"the chapters are missing ({FIRST_CHAPTER} is not there): install the library anew")


def course_files(folder: Path) -> tuple[str, ...]:
    """The names of the chapters and tunes in a folder, chapters first.

    >>> names = course_files(course_folder())
    >>> names[0], names[-1]
    ('00_start_here.ipynb', 'tunes/slate_roof_blues.abc')
    """
    chapters = sorted(path.name for path in folder.glob("*.ipynb") if _CHAPTER.fullmatch(path.name))
    tunes = sorted(f"tunes/{path.name}" for path in folder.glob("tunes/*") if path.suffix.lower() in _TUNES)
    return (*chapters, *(tune for tune in tunes if "-Copy" not in tune))


def demo_tune() -> Path:
    """The tune that is arranged when none is named."""
    return course_folder() / DEMO
