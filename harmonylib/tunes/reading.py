"""Reading a tune from a file or from text: the door to MusicXML and ABC.

Conventions
- How large a file may be is limited before it is read.
- music21 reads notes; what a chord symbol says is read by `theory.symbols` alone, so music21 never sees one.
- Nothing but a `HarmonyError` leaves this module.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import threading
import warnings
from collections.abc import Iterator
from pathlib import Path

from harmonylib.errors import HarmonyError, expect, shown
from harmonylib.tunes.kinds import EXPORT, SUFFIXES, foreign, foreign_name
from harmonylib.tunes.melody import tune_of
from harmonylib.tunes.sheet import LIMIT
from harmonylib.tunes.tune import Tune

_READING = threading.Lock()


def read(path: str | Path, number: int = 1) -> Tune:
    """The tune in a MusicXML file (.musicxml, .xml, .mxl) or an ABC file (.abc).

    Parameters are the path and, for a book of ABC tunes, which one: counted from 1 in written order. The melody is the
    top line of the first part that has notes; what was left out or guessed stands in `remarks`.

    Raises `HarmonyError` for a file that is missing, unreadable, without melody or without chord symbols.

    >>> read("no such tune.abc")
    Traceback (most recent call last):
    harmonylib.errors.HarmonyError: 'no such tune.abc' was not found: check the name and the folder
    """
    if not isinstance(path, str | Path):
        raise HarmonyError(f"{shown(path)} is not the name of a file: write it in quotes, as in read('file.abc')")
    file = Path(path)
    return read_bytes(_load(file), format_of(file), number, file.stem, str(path))


def read_text(text: str, format: str = "abc", number: int = 1) -> Tune:
    """The tune in a text, `format` "abc" or "musicxml"; raises `HarmonyError` as `read` does.

    >>> tune = read_text('T:Four bars\\nM:3/4\\nL:1/4\\nK:F\\n"F"A2 c|"Gm7"B2 d|"C7"e2 c|"F"f3|')
    >>> tune.title, tune.key, len(tune.bars), tune.changes[1].chord, tune.notes[0].pitch, tune.where(5)
    ('Four bars', 'F major', 4, Gm7, A4, 'bar 2, beat 3')
    """
    expect(str, text, "the text of a tune; read() takes the name of a file")
    if format not in ("abc", "musicxml"):
        raise HarmonyError(f"{shown(format)} is not a format this course reads: write 'abc' or 'musicxml'")
    plain = re.sub(r"^\s*<\?xml[^>]*\?>", "", text)  # a text is decoded already, whatever its declaration says
    return read_bytes(plain.encode("utf-8", "replace"), format, number)


def tunes_in(path: str | Path) -> tuple[bytes, ...]:
    """The tunes of a file, each as the bytes of a file of its own: an ABC book is taken apart, nothing is read.

    Raises `HarmonyError` for a file that cannot be opened or is of another kind.
    """
    data = _load(Path(path))
    if format_of(path) != "abc" or len(data) > LIMIT:
        return (data,)
    from harmonylib.tunes.abc import split_book

    return split_book(data)


def count_tunes(path: str | Path) -> int:
    """How many tunes a file holds: those of an ABC book, else one; the last is ``read(path, count_tunes(path))``."""
    return len(tunes_in(path))


def format_of(path: str | Path) -> str:
    """What the name of a file says it is: "abc" or "musicxml"."""
    return "abc" if Path(path).suffix.lower() == ".abc" else "musicxml"


def _load(file: Path) -> bytes:
    """The bytes of a file, one more than `LIMIT` at most."""
    if os.path.isdir(file):  # unlike that of a Path it takes any name
        raise HarmonyError(f"{str(file)!r} is a folder: name one file in it that ends in {', '.join(SUFFIXES)}")
    if file.suffix.lower() not in SUFFIXES:
        raise HarmonyError(f"{str(file)!r} is {foreign_name(file.suffix)}: {EXPORT}")
    try:
        with file.open("rb") as stream:
            return stream.read(LIMIT + 1)
    except FileNotFoundError:
        raise HarmonyError(f"{str(file)!r} was not found: check the name and the folder") from None
    except (OSError, ValueError) as error:
        raise HarmonyError(f"{str(file)!r} cannot be opened: {getattr(error, 'strerror', '') or error}") from None


def read_bytes(data: bytes, format: str, number: int, stem: str = "Untitled", where: str = "the text") -> Tune:
    """A tune from the bytes of a file; `where` names it in errors, `stem` is its title if it has none."""
    if not data.strip():
        raise HarmonyError(f"{where!r} is empty, it should hold a tune in MusicXML or ABC: export it again")
    if len(data) > LIMIT:
        raise HarmonyError(f"{where!r} is larger than {LIMIT // 1_000_000} MB: give the file of a single tune")
    if isinstance(number, bool) or not isinstance(number, int) or number < 1:
        raise HarmonyError(f"{number!r} is not the number of a tune: count the tunes of a book from 1")
    what = foreign(data)
    if what:
        raise HarmonyError(f"{where!r} is {what}: {EXPORT}")
    from harmonylib.tunes.abc import read_abc
    from harmonylib.tunes.musicxml import read_musicxml

    try:
        with _quiet():
            sheet = read_abc(data, number) if format == "abc" else read_musicxml(data, number)
            return tune_of(sheet, stem)
    except HarmonyError as error:
        raise HarmonyError(f"{where}: {error}") from error
    except Exception as error:  # music21 raises what it likes on a damaged file; the reader of a message wants one kind
        raise HarmonyError(
            f"{where}: the notes cannot be read ({type(error).__name__}: {str(error)[:120]}); open the file in a "
            f"notation program, repair it and save it again"
        ) from error


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Nothing on standard error; it is swapped for the whole process, so one file at a time."""
    with _READING, contextlib.redirect_stderr(io.StringIO()), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
