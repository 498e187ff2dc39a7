"""What an edit cell may hold: every setting by name, what it is, what the course ships, and how it is read.

Conventions
- A setting is text, a number or a pair of numbers, so that a set of them can be stored as JSON.
- A reader takes what was written and gives what is meant; it raises `HarmonyError` that says what would do.
- Lengths are millimetres, tempo is quarter notes a minute, bars are numbered as on the sheet.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from harmonylib.arranging.density import DENSITIES
from harmonylib.errors import HarmonyError, expect, shown, whole, within
from harmonylib.guitar.neck import LAST_FRET, LONG_SCALE, REACH_MM, TUNINGS, Neck
from harmonylib.lessons.symbols import chord_of, key_of
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Name
from harmonylib.theory.voicings import SPREADS
from harmonylib.tunes.kinds import SUFFIXES
from harmonylib.tunes.reading import read, read_text
from harmonylib.tunes.tune import Tune
from harmonylib.wording import bare, capital

MEANINGS = {
    # setting      what it is
    "tune": "the name of a tune in the folder tunes, a file, or a lead sheet as text",
    "bars": "the first and the last bar to show, as in (1, 4)",
    "key": 'a key to move the tune to, as in "Eb", or "best"; empty: as written',
    "tempo": "quarter notes a minute",
    "density": f"which notes carry a chord: {', '.join(DENSITIES)}",
    "chord": 'a chord symbol, as in "Ebm7"',
    "spread": f"how the notes are spread: {', '.join(list(SPREADS)[1:])}",
    "strings": 'a string set, as in "4321"; empty: the usual one',
    "tuning": f"{', '.join(TUNINGS)}, or the open strings from the lowest up",
    "reach_mm": "how far the hand stretches, in millimetres",
    "frets": "the highest fret in use",
    "capo": "the fret a capo stands at, 0 for none",
    "seed": "a number that draws the questions",
    "level": "how hard the questions are, 1 to 3",
    "kinds": "the kinds of question for a work sheet",
}

EVERYWHERE: dict[str, Any] = {
    **{"tune": "lantern_on_the_landing", "bars": (1, 4), "key": "", "tempo": 96, "density": "every"},
    **{"chord": "Cmaj7", "spread": "drop 2", "strings": "", "tuning": "standard", "reach_mm": int(REACH_MM)},
    **{"frets": LAST_FRET, "capo": 0, "seed": 1, "level": 1, "kinds": ("spell", "drop", "name_inversion")},
}

SHIPPED: dict[int, dict[str, Any]] = {
    # chapter: what its edit cell holds when it leaves the house
    0: {"tune": "lantern_on_the_landing", "bars": (1, 4), "tempo": 72, "reach_mm": 105},
    1: {"chord": "Cmaj7", "spread": "drop 2", "tuning": "standard", "reach_mm": 105},
    2: {"chord": "Cmaj7", "spread": "drop 2", "strings": "5432", "tempo": 60, "reach_mm": 105},
    3: {"tune": "lantern_on_the_landing", "bars": (1, 3), "tempo": 72, "reach_mm": 105},
    4: {"chord": "C6", "strings": "4321", "tune": "lantern_on_the_landing", "reach_mm": 105},
    5: {"tune": "lantern_on_the_landing", "bars": (1, 4), "tempo": 96, "density": "every", "reach_mm": 105},
    6: {"tune": "lantern_on_the_landing", "bars": (1, 4), "seed": 2, "reach_mm": 105},
    7: {"bars": (1, 4), "tempo": 108, "density": "every", "tuning": "standard", "reach_mm": 105},
    8: {"tune": "slate_roof_blues", "chord": "Ebm7", "seed": 7, "reach_mm": 105},
}

QUIETER: dict[int, dict[str, Any]] = {4: {"tempo": 72}, 8: {"tempo": 88, "density": "comfortable"}}
"""What a chapter takes without writing it down, where it is not what is taken everywhere."""

OTHERS = (".pdf", ".mid", ".midi", ".txt", ".mp3", ".wav", ".png", ".jpg")
"""Files that people keep tunes in, and that are not read."""

NAMED = 12
"""So many tunes are named where one is not found."""

COURSE_TUNES = Path(__file__).resolve().parents[2] / "chapters" / "tunes"

SPARE_TUNE = 'T:Four bars to begin with\nM:4/4\nL:1/4\nK:C\n"Cmaj7" e3 d | "Am7" c4 | "Dm7" d2 f2 | "G7" d4 |]'
"""Taken where not even the course's own tunes are at hand."""


def tune_source(written: object) -> str:
    """The path or text that names a tune; raises `HarmonyError` when no such file is there."""
    text = expect(str, written, "a tune: write the name of one in the folder tunes, as in 'lantern_on_the_landing'")
    if "\n" in text.strip():
        return text
    name = text.strip()
    if not name:
        raise HarmonyError("no tune is named: write one of the folder tunes, as in 'lantern_on_the_landing'")
    endings = [""] if name.lower().endswith(SUFFIXES) else list(SUFFIXES)
    for folder in (Path(), Path("tunes"), COURSE_TUNES):
        for ending in endings:
            if (folder / f"{name}{ending}").is_file():
                return (folder / f"{name}{ending}").as_posix()
    there, ending = _tunes_by_title(), Path(name).suffix.lower()
    title = bare(Path(name).stem if ending in SUFFIXES else name)
    if title in there:
        return there[title].as_posix()
    names = ", ".join(sorted({path.stem for path in there.values()})[:NAMED])
    near = [there[one].stem for one in get_close_matches(title, there, 1)]
    more = f"; did you mean {near[0]}?" if near else ""
    if ending in OTHERS:
        more = f"; a tune is read from a file that ends in {', '.join(SUFFIXES)}"
    raise HarmonyError(f"no tune called {shown(name)} is in the folder tunes: there are {names}{more}")


def _tunes_by_title() -> dict[str, Path]:
    """The tunes at hand by their names without spaces, strokes and capitals; the learner's own go first."""
    found: dict[str, Path] = {}
    for path in (*tune_files(Path("tunes")), *tune_files(COURSE_TUNES)):
        found.setdefault(bare(path.stem), path)
    return found


def tune_files(folder: Path) -> list[Path]:
    """The files of a folder that can be read as tunes, by name; none where there is no such folder."""
    return sorted(path for path in folder.glob("*") if path.suffix.lower() in SUFFIXES)


def tune_of(source: str) -> Tune:
    """The tune that `tune_source` has found."""
    if "\n" not in source.strip():
        return read(source)
    return read_text(source, "musicxml" if source.lstrip().startswith("<") else "abc")


def bars_in(written: object, tune: Tune) -> tuple[int, int]:
    """First and last bar, low to high, of those the tune has.

    >>> bars_in("2-3", tune_of(SPARE_TUNE)), bars_in(3, tune_of(SPARE_TUNE)), bars_in((9, 2), tune_of(SPARE_TUNE))
    ((2, 3), (3, 3), (2, 4))
    """
    found: Any = [int(number) for number in re.findall(r"\d+", written)] if isinstance(written, str) else written
    found = list(found) if isinstance(found, tuple | list | range) else [found]
    if len(found) > 2 and all(type(bar) is int and bar - found[0] == place for place, bar in enumerate(found)):
        found = [found[0], found[-1]]  # every bar named, one after another
    if len(found) not in (1, 2):
        raise HarmonyError(f"bars {shown(written)}: write the first and the last, as in (1, 4)")
    low, high = sorted(whole(number, "the number of a bar, as in (1, 4)") for number in (found[0], found[-1]))
    there = [bar.number for bar in tune.bars if low <= bar.number <= high]
    if not there:
        asked = f"bar {low}" if low == high else f"bars {low} to {high}"
        raise HarmonyError(f"{asked}: the tune has {tune.bars[0].number} to {tune.bars[-1].number}")
    return there[0], there[-1]


def first_bars(tune: Tune, usual: tuple[int, int]) -> tuple[int, int]:
    """The usual bars as far as a tune has them, else its first four."""
    there = [bar.number for bar in tune.bars if usual[0] <= bar.number <= usual[1]]
    there = there or [bar.number for bar in tune.bars[:4]]
    return there[0], there[-1]


def number(written: object, low: float, high: float, what: str) -> float:
    """A number, also one written as text, with its unit if you like; whole ones stay whole."""
    found: object = written
    if isinstance(written, str):
        plain = re.fullmatch(r"\s*(?:♩\s*=)?\s*(\d{1,5}(?:\.\d{1,5})?)\s*(?:mm|bpm)?\s*", written)
        if not plain:
            raise HarmonyError(f"{what} {shown(written)}: write a number, {low:.0f} to {high:.0f}")
        found = float(plain[1])
    within(found, low, high, f"{what} {{}}: choose {low:.0f} to {high:.0f}")
    value = float(found)  # type: ignore[arg-type]
    return int(value) if value.is_integer() else value


def counted(written: object, low: int, high: int, what: str) -> int:
    """A whole number, also one written as text."""
    return whole(number(written, low, high, what), what)


def choice(written: object, known: tuple[str, ...], what: str) -> str:
    """One of a few words, however its letters, spaces and hyphens are written.

    >>> choice("Drop2", ("close", "drop 2"), "spread")
    'drop 2'
    """
    text = expect(str, written, f"a {what}: choose {', '.join(known)}")
    for word, figure in (("two", "2"), ("three", "3"), ("four", "4")):
        text = re.sub(rf"\b{word}\b", figure, text)
    meant = {bare(word): word for word in known}.get(bare(re.sub(r"[&+]", "and", text)))
    if meant is None:
        raise HarmonyError(f"{shown(text)} is not a {what}: choose {', '.join(known)}")
    return meant


def tuning_of(written: object) -> str:
    """A tuning by name, by its open strings, or by their letters alone, each then as near the standard as it goes.

    >>> tuning_of("DADGAD"), tuning_of("E4 B3 G3 D3 A2 E2")
    ('D2 A2 D3 G3 A3 D4', 'E2 A2 D3 G3 B3 E4')
    """
    if isinstance(written, tuple | list):
        written = " ".join(map(str, written))
    text = expect(str, written, f"a tuning: choose {', '.join(TUNINGS)}, or write the open strings")
    letters = re.findall(r"[A-Ga-g][b#♭♯]?", text)
    if re.fullmatch(f"[A-Ga-g]{{{len(STANDARD)}}}", text):  # six letters are six strings: dadgbe has no flat
        letters = list(text)
    if len(letters) == len(STANDARD) and "".join(letters) == re.sub(r"[\s,\-]+", "", text):
        return _checked_tuning(" ".join(map(_near, letters, STANDARD)))
    if re.search(r"\d", text):
        return _checked_tuning(text)
    try:
        return choice(re.sub(r"^\s*drop\b", "dropped", text, flags=re.I), tuple(TUNINGS), "tuning")
    except HarmonyError as error:
        raise HarmonyError(f"{error}, or write the open strings, as in 'D2 A2 D3 G3 B3 E4'") from None


STANDARD = Neck().open_midi
"""The open strings of the standard tuning, from the lowest up."""


def _near(letter: str, usual: int) -> str:
    """The pitch of that letter nearest to an open string of the standard tuning; the lower one of two."""
    name = Name.parse(capital(letter))
    return str(name.at(next(m for m in range(usual - 6, usual + 6) if m % 12 == name.pitch_class)))


def _checked_tuning(text: str) -> str:
    names = [capital(name) for name in re.split(r"[\s,]+", text.strip())]
    neck = Neck(" ".join(names))  # refuses what is no tuning
    falling = list(neck.open_midi) == sorted(set(neck.open_midi), reverse=True)
    return " ".join(reversed(names) if falling else names)


def strings_of(written: object, spread: str, neck: Neck) -> str:
    """A string set such as “5432” of those a spread is played on; empty for the usual one."""
    sets = ["".join(map(str, strings)) for strings in neck.string_sets(spread)]
    if not sets:
        raise HarmonyError(f"{spread} needs more strings than this neck has")
    if isinstance(written, tuple | list):
        written = "".join(map(str, written))
    text = re.sub(r"[\s,\-]", "", str(written))
    text = text[::-1] if text[::-1] in sets else text
    if text and text not in sets:
        raise HarmonyError(f"strings {shown(written)}: {spread} is played on {', '.join(sets)}")
    return text


def plain_chord(written: object) -> Chord:
    return chord_of(expect(str, written, "a chord symbol: write it in quotes, as in 'Cmaj7'"))


def kinds_of(written: object) -> tuple[str, ...]:
    """Names of kinds of question; whether there are such kinds, the exercises know."""
    found = re.split(r"[\s,;]+", written.strip()) if isinstance(written, str) else written
    if not isinstance(found, tuple | list) or not found or not all(isinstance(kind, str) for kind in found):
        raise HarmonyError(f"kinds {shown(written)}: name one or more in quotes, as in ('spell', 'drop')")
    return tuple(found)


SIMPLE: Mapping[str, Callable[[Any], Any]] = {
    # settings that hang on no other
    "tempo": lambda written: number(written, 10, 600, "tempo"),
    "density": lambda written: choice(written, tuple(DENSITIES), "density"),
    "chord": lambda written: str(plain_chord(written)),
    "spread": lambda written: choice(written, tuple(list(SPREADS)[1:]), "spread"),
    "tuning": tuning_of,
    "reach_mm": lambda written: number(written, 20, 250, "reach_mm"),
    "frets": lambda written: counted(written, 1, 22, "frets"),
    "capo": lambda written: counted(written, 0, 12, "capo"),
    "seed": lambda written: counted(written, 0, 10**6, "seed"),
    "level": lambda written: counted(written, 1, 3, "level"),
    "kinds": kinds_of,
    "key": lambda written: key_of(written) if written else "",
}


def neck_of(taken: Mapping[str, Any]) -> Neck:
    """The neck of settings that are read."""
    return Neck(taken["tuning"], taken["frets"], LONG_SCALE, taken["reach_mm"], taken["capo"])
