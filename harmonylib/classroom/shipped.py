"""Where the course is: beside the library in a checkout, inside it when it was installed from a wheel.

Conventions
- A chapter is a numbered notebook, ``NN_name.ipynb``; copies that a notebook program made of one are none. The glossary
  goes with the chapters, which lead to it.
- Files are named as seen from the course's folder, with ``/``: ``tunes/slate_roof_blues.abc``.
"""

from __future__ import annotations

import re
from pathlib import Path

from harmonylib.errors import HarmonyError

_HOUSE = Path(__file__).resolve().parent.parent
FIRST_CHAPTER, GLOSSARY = "00_start_here.ipynb", "glossary.ipynb"
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


def course_chapters(folder: Path) -> dict[int, str]:
    """The chapters in a folder by number, in order.

    >>> course_chapters(course_folder())[0]
    '00_start_here.ipynb'
    """
    return {int(path.name[:2]): path.name for path in sorted(folder.glob("*.ipynb")) if _CHAPTER.fullmatch(path.name)}


def course_files(folder: Path) -> tuple[str, ...]:
    """The names of what a learner is given from a folder: chapters, glossary, tunes.

    >>> names = course_files(course_folder())
    >>> names[0], names[-1]
    ('00_start_here.ipynb', 'tunes/slate_roof_blues.abc')
    """
    glossary = [GLOSSARY] * (folder / GLOSSARY).is_file()
    tunes = sorted(f"tunes/{path.name}" for path in folder.glob("tunes/*") if path.suffix.lower() in _TUNES)
    return (*course_chapters(folder).values(), *glossary, *(tune for tune in tunes if "-Copy" not in tune))


def demo_tune() -> Path:
    """The tune that is arranged when none is named."""
    return course_folder() / DEMO
