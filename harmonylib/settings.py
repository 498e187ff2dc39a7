"""The teacher's settings: one file, `class.toml`, that stands beside the tunes or where the course is opened.

A call goes before the command, the command before the file. Each room takes its own section: ``[neck]`` the guitar
and the hand, ``[arrange]`` and ``[answers]`` taste, ``[pictures]`` and ``[paper]`` what is drawn and printed,
``[listening]`` the microphone.

Conventions
- The environment variable `CLASS_FILE` names another file; “off” means none, as in tests and in stored pages.
- The file is data: nothing in it is run. What a section may hold, the room that takes it knows and checks.
"""

from __future__ import annotations

import os
import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

from harmonylib.errors import HarmonyError, shown

CLASS_FILE = "HARMONYLIB_CLASS"
NAME = "class.toml"
SECTIONS = ("neck", "arrange", "answers", "pictures", "paper", "listening")
PLACES = (".", "tunes", "chapters/tunes")
"""Where the file may stand, from the folder the course is opened in."""
LARGEST = 100_000


def section(name: str) -> dict[str, Any]:
    """The settings of one section of the class's file; empty where there is no file or no such section.

    Raises `HarmonyError`, in one line, for a file that cannot be read or has a section that is not known.

    >>> section("arrange")
    {}
    """
    path = _path()
    if path is None:
        return {}
    try:
        changed = path.stat().st_mtime_ns
    except OSError:
        return {}
    return dict(_read(path, changed).get(name, {}))


def _path() -> Path | None:
    named = os.environ.get(CLASS_FILE, "")
    if named:
        return None if named == "off" else Path(named)
    return next((path for place in PLACES if (path := Path(place, NAME)).is_file()), None)


@lru_cache(maxsize=4)
def _read(path: Path, changed: int) -> dict[str, dict[str, Any]]:
    try:
        data = path.read_bytes()[: LARGEST + 1]
        if len(data) > LARGEST:
            raise HarmonyError(f"{str(path)!r} is larger than {LARGEST // 1000} kB: it holds a few lines of settings")
        found = tomllib.loads(data.decode("utf-8-sig"))
    except (OSError, RecursionError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise HarmonyError(f"{str(path)!r} cannot be read as settings: {' '.join(str(error).split())[:200]}") from None
    for name, held in found.items():
        if name not in SECTIONS or not isinstance(held, dict):
            known = ", ".join(f"[{section}]" for section in SECTIONS)
            raise HarmonyError(f"{str(path)!r}: {shown(name)} is no section of settings: write one of {known}")
    return found
