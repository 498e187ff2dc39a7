"""Files: whole or nothing when writing, bounded when reading, harmless as names and as cells of a table.

Conventions
- Files that belong together are written together; when one cannot be, those that were there before stay as they were.
- One run at a time writes into a folder; the lock is freed by the system when its process ends.

Sources: RFC 4180 for cells of CSV; which cells a spreadsheet takes for formulas is common practice.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
import tempfile
import time
import unicodedata
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from harmonylib.errors import HarmonyError
from harmonylib.wording import plain

_FORMULA = re.compile(r"""(^|[;\t])(?=[\s"\u200b-\u200f\ufeff]*[=+\-@\uff1d\uff0b\uff0d\uff20])|^(?=[\t\r\n])""")
"""Where a cell, or what a spreadsheet that splits at semicolons takes for one, starts like a formula."""

PASSING, LOCK = ".writing-", ".writing.lock"

PATIENCE_S = 20.0
"""Seconds to wait for another run that writes into the same folder; it needs a few hundredths of one."""


def safe_cell(value: str) -> str:
    """The value, made harmless for spreadsheets, which run cells that start like a formula.

    >>> safe_cell("=1+1"), safe_cell("♭7"), safe_cell(" ＝1"), safe_cell("x;=1+1")
    ("'=1+1", '♭7', "' ＝1", "x;'=1+1")
    """
    return _FORMULA.sub(r"\1'", value)


def safe_stem(name: str) -> str:
    """A file name, without its suffix, that every file system takes, from any title; E flat and E have different ones.

    >>> safe_stem("../Été: a “song”?"), safe_stem("con"), safe_stem("…"), safe_stem("Shapes on E♭")
    ('Été_a_song', 'con_', 'tune', 'Shapes_on_Eb')
    """
    title = plain(name).replace("♭", "b").replace("♯", "sharp")
    kept = "".join(c if c.isalnum() or c in "-_ " else " " for c in unicodedata.normalize("NFC", title))
    stem = "_".join(kept.split()).strip("-_")
    while len(stem.encode()) > 80:
        stem = stem[:-1]
    reserved = re.fullmatch(r"con|prn|aux|nul|com\d|lpt\d", stem, re.IGNORECASE)
    return f"{stem}_" if reserved else stem or "tune"


def write_together(files: Mapping[str, bytes], folder: str | Path) -> tuple[Path, ...]:
    """Write files by name into a folder (made if missing), all of them or none; returns the paths.

    Raises `HarmonyError` that names the folder and the cause; files that were there before are then as they were.
    """
    target = Path(folder)
    try:
        target.mkdir(parents=True, exist_ok=True)
        with alone(target) as locked:
            if locked:
                for left in target.glob(f"{PASSING}*"):  # by a run that was killed
                    shutil.rmtree(left, ignore_errors=True)
            _replace_all(files, target)
    except (OSError, ValueError) as error:
        raise HarmonyError(
            f"nothing was written to the folder {str(folder)!r}: {getattr(error, 'strerror', '') or error}; name a "
            "folder that can be written to and has room"
        ) from error
    return tuple(target / name for name in files)


def _replace_all(files: Mapping[str, bytes], folder: Path) -> None:
    """Every file under a passing name first, then all renamed; whatever ends that early takes back what was done."""
    blocked = next((name for name in files if (folder / name).is_dir()), None)
    if blocked:
        raise IsADirectoryError(0, f"{blocked} is a folder")
    with tempfile.TemporaryDirectory(prefix=PASSING, dir=folder, ignore_cleanup_errors=True) as passing:
        fresh, old = Path(passing, "new"), Path(passing, "old")
        fresh.mkdir()
        old.mkdir()
        for name, data in files.items():
            (fresh / name).write_bytes(data)
            if os.path.lexists(folder / name):
                shutil.copy2(folder / name, old / name, follow_symlinks=False)
        moved: list[str] = []
        try:
            for name in files:
                moved.append(name)
                os.replace(fresh / name, folder / name)
        except BaseException:
            for name in moved:
                with suppress(OSError):
                    if os.path.lexists(old / name):
                        os.replace(old / name, folder / name)
                    else:
                        (folder / name).unlink(missing_ok=True)
            raise


@contextmanager
def alone(folder: Path) -> Iterator[bool]:
    """Keep other runs out of a folder; tells whether it could: some file systems know no locks."""
    place, until = folder / LOCK, time.monotonic() + PATIENCE_S
    try:
        while (held := _taken(place)) is None and time.monotonic() < until:
            time.sleep(0.02)
    except OSError:
        yield False
        return
    if held is None:
        raise TimeoutError(0, "another run is writing there and does not end")
    try:
        yield True
    finally:
        _released(place, held)


if sys.platform == "win32":

    def _taken(place: Path) -> int | None:
        """The lock, a file that the system deletes when its process ends, or None while another run has it."""
        try:
            return os.open(place, os.O_CREAT | os.O_EXCL | os.O_TEMPORARY)
        except FileExistsError:
            return None
        except PermissionError:
            if os.path.lexists(place):  # deleted, and not gone yet
                return None
            raise

    def _released(place: Path, held: int) -> None:
        os.close(held)

else:
    import fcntl

    def _taken(place: Path) -> int | None:
        """The lock, which the system frees when its process ends, or None while another run has it."""
        held = os.open(place, os.O_CREAT | os.O_RDWR | os.O_NOFOLLOW, 0o666)
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if os.path.samestat(os.fstat(held), os.lstat(place)):  # else the run before has just taken it away
                return held
        except (BlockingIOError, FileNotFoundError):
            pass
        except BaseException:
            os.close(held)
            raise
        os.close(held)
        return None

    def _released(place: Path, held: int) -> None:
        with suppress(OSError):
            place.unlink()
        os.close(held)


def read_limited(file: Path, most: int) -> bytes:
    """The bytes of a file of the teacher's; raises `HarmonyError`."""
    try:
        with file.open("rb") as stream:
            data = stream.read(most + 1)
    except FileNotFoundError:
        raise HarmonyError(f"{str(file)!r} was not found: check the name and the folder") from None
    except (OSError, ValueError) as error:
        raise HarmonyError(f"{str(file)!r} cannot be opened: {getattr(error, 'strerror', '') or error}") from None
    if len(data) > most:
        raise HarmonyError(f"{str(file)!r} is larger than {most // 1_000_000} MB")
    return data
