"""The teacher's settings: one file, `class.toml`, that stands beside the tunes or where the course is opened.

A call goes before the command, the command before the file. Each room takes its own section: ``[neck]`` the guitar
and the hand, ``[arrange]`` and ``[answers]`` taste, ``[pictures]`` and ``[paper]`` what is drawn and printed,
``[listening]`` the microphone.

Conventions
- The environment variable `CLASS_FILE` names another file; “off” means none, as in tests and in stored pages.
- The file is data: nothing in it is run. What a section may hold, the room that takes it says with `takes`.
- A wrong value stops nothing: what the course ships is taken in its place, all others stay, and `faults` says so.
"""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple, TypeAlias

from harmonylib.errors import HarmonyError, shown

CLASS_FILE = "HARMONYLIB_CLASS"
NAME = "class.toml"
SECTIONS = ("neck", "arrange", "answers", "pictures", "paper", "listening")
PLACES = (".", "tunes", "chapters/tunes")
"""Where the file may stand, from the folder the course is opened in."""
LARGEST = 100_000
SHUT = "no microphone is asked for"
"""What follows where the file may forbid it and cannot be understood."""
MOST_TOLD = 12
"""So many faults are told, so that a file of quite another kind does not fill a page."""


class Room(NamedTuple):
    """What a section may hold: every key with the value the course ships, and a check of some of them together."""

    shipped: Mapping[str, Any]
    check: Callable[[dict[str, Any]], object]


class Read(NamedTuple):
    """The sections of a file, sentences on what is none, and whether the file could be read at all."""

    sections: dict[str, dict[str, Any]]
    faults: tuple[str, ...] = ()
    legible: bool = True


class Held(NamedTuple):
    """What a section holds that can be taken, and a sentence on each value that cannot."""

    values: dict[str, Any]
    faults: tuple[str, ...] = ()


State: TypeAlias = tuple[int, ...]
_ROOMS: dict[str, Room] = {}


def takes(name: str, shipped: Mapping[str, Any], check: Callable[[dict[str, Any]], object] = dict) -> None:
    """Say what a section of the class's file may hold; `check` raises `HarmonyError` for what cannot be taken."""
    _ROOMS[name] = Room(shipped, check)


takes("listening", {"microphone": True})  # here, so that rooms above the one that listens can tell of it too


def section(name: str) -> dict[str, Any]:
    """What the class's file says in one section and can be taken; empty where there is no such file or section.

    >>> section("arrange")
    {}
    """
    return dict(_held(name).values)


def faults() -> tuple[str, ...]:
    """A sentence on everything in the class's file that cannot be taken, in the sections that are in use by now.

    >>> faults()
    ()
    """
    path = _path()
    told = _read(path, _state(path)).faults if path else ()
    found = (*told, *(fault for name in SECTIONS if name in _ROOMS for fault in _held(name).faults))
    more = (f"in {path.as_posix()} {len(found) - MOST_TOLD} more such",) if path and len(found) > MOST_TOLD else ()
    return (*found[:MOST_TOLD], *more)


def in_doubt(name: str) -> bool:
    """Whether something in that section cannot be taken, or the whole file cannot be read."""
    path = _path()
    return path is not None and (bool(_held(name).faults) or not _read(path, _state(path)).legible)


def there() -> bool:
    """Whether there is a class's file."""
    return _path() is not None


def _path() -> Path | None:
    named = os.environ.get(CLASS_FILE, "")
    if named:
        return None if named == "off" else Path(named)
    return next((path for place in PLACES if os.path.lexists(path := Path(place, NAME))), None)


def _state(path: Path) -> State:
    """Which file it is and when it and its rights were last changed; none for one that is not to be seen."""
    try:
        seen = path.stat()
    except (OSError, ValueError):
        return ()
    return seen.st_dev, seen.st_ino, seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns


def _held(name: str) -> Held:
    path = _path()
    if path is None:
        return Held({})
    if name not in _ROOMS:  # no room is there yet to say what it may hold
        return Held(_read(path, _state(path)).sections.get(name, {}))
    return _checked(path, _state(path), name)


@lru_cache(maxsize=32)
def _checked(path: Path, state: State, name: str) -> Held:
    """The values of a section that can be taken together, as many as there are."""
    room, good = _ROOMS[name], Held({})
    waiting = [(key, entry, value, "") for key, entry, value in _one_by_one(_read(path, state), name)]
    while True:
        left = []
        for key, entry, value, _ in waiting:
            try:
                good = Held(_with(good.values, room, key, entry, value))
            except HarmonyError as error:
                left.append((key, entry, value, str(error)))
        if len(left) == len(waiting):
            break
        waiting = left  # what did not go with a value taken later may go with it now
    told = (_sentence(path, name, room, key, entry, why) for key, entry, _, why in left)
    return Held(good.values, tuple(told))


def _one_by_one(read: Read, name: str) -> Iterator[tuple[str, str, Any]]:
    """Every key and value of a section; of a table within it, such as costs, every entry."""
    for key, value in read.sections.get(name, {}).items():
        if isinstance(value, dict) and isinstance(_ROOMS[name].shipped.get(key), Mapping):
            for entry, one in value.items():
                yield key, entry, one
        else:
            yield key, "", value


def _with(good: dict[str, Any], room: Room, key: str, entry: str, value: Any) -> dict[str, Any]:
    """The values with one more; raises `HarmonyError` when it cannot be taken."""
    if key not in room.shipped:
        raise HarmonyError(f"there is no such setting: there are {', '.join(room.shipped)}")
    if isinstance(room.shipped[key], bool) and not isinstance(value, bool):
        raise HarmonyError(f"{shown(value)}: write true or false")
    more = {**good, key: {**good.get(key, {}), entry: value} if entry else value}
    room.check(more)
    return more


def _sentence(path: Path, name: str, room: Room, key: str, entry: str, why: str) -> str:
    """Which file, which key, what is wrong with it and what is taken."""
    known = key in room.shipped
    own = "the usual weight is" if entry else _told(room.shipped[key]) if known else ""
    taken = SHUT if name == "listening" else f"{own} taken" if known else ""
    return f"in {path.as_posix()}, {key if known else shown(key)} under [{name}]: {why}" + (taken and f"; {taken}")


def _told(value: Any) -> str:
    """A value the course ships, with its verb, as it is written in the file."""
    if isinstance(value, tuple):
        return f"{', '.join(value)} are"
    if isinstance(value, Mapping):
        return "the usual weights are"
    if value is None:
        return "the tune's own is"
    return f"{str(value).lower() if isinstance(value, bool) else value} is"


@lru_cache(maxsize=4)
def _read(path: Path, state: State) -> Read:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise ValueError("it is a folder" if path.is_dir() else "it is no file")
        with path.open("rb") as stream:
            data = stream.read(LARGEST + 1)
        if len(data) > LARGEST:
            raise ValueError(f"it is larger than {LARGEST // 1000} kB, and should hold a few lines")
        text = data.decode("utf-8-sig")
        found = tomllib.loads(text + "\n")  # a fault in the last line then has a place
    except UnicodeDecodeError:
        return _illegible(path, "it is not saved as UTF-8: save it anew with that encoding")
    except tomllib.TOMLDecodeError as error:
        return _illegible(path, _slip(text, str(error)))
    except (OSError, RecursionError, ValueError) as error:
        return _illegible(path, " ".join(str(getattr(error, "strerror", "") or error).split())[:200])
    known = ", ".join(f"[{section}]" for section in SECTIONS)
    odd = [name for name, held in found.items() if name not in SECTIONS or not isinstance(held, dict)]
    said = []
    for name in odd:
        loose = name not in SECTIONS and not isinstance(found[name], dict)
        what = (
            f"stands under no section: write one of {known} above it"
            if loose
            else f"is no section of settings: write one of {known}"
        )
        said.append(f"in {path.as_posix()}, {shown(name)} {what}")
    return Read({name: held for name, held in found.items() if name not in odd}, tuple(said))


def _illegible(path: Path, why: str) -> Read:
    told = f"no settings can be read from {path.as_posix()}: {why}; what the course ships is taken, and {SHUT}"
    return Read({}, (told,), legible=False)


SLIPS = {
    # what a line looks like       what to write instead
    "[“”„‟«»‘’]": "use straight quotes",
    r"=\s*[-+]?\d+,\d": "write a decimal point in place of the comma",
    r"=\s*[\d.]+\s*%": "write a share as a number, as in 0.6",
    r"=\s*(True|False)\b": "write true or false with a small letter",
    r"^\s*[\w-]+\s*:": "write = in place of the colon",
    r"=\s*[^\W\d]": "put words in quotes",
}
"""Slips of a hand in a hurry, the first that fits."""


def _slip(text: str, error: str) -> str:
    """What is wrong with a file that is no TOML, by the line that the parser stopped at.

    >>> _slip("[neck]\\nreach_mm = 95,5", "Expected newline (at line 2, column 14)")
    "line 2, 'reach_mm = 95,5': write a decimal point in place of the comma"
    """
    at = re.search(r"\(at line (\d+), column \d+\)", error)
    lines = text.split("\n")
    if not at or int(at[1]) > len(lines):
        return error[:200]
    line = lines[int(at[1]) - 1]
    twice = "what it names stands there twice" if error.startswith("Cannot") else ""
    slip = twice or next((told for looks, told in SLIPS.items() if re.search(looks, line)), error[: at.start()].strip())
    return f"line {at[1]}, {shown(line.strip())}: {slip}"
