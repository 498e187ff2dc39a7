"""Files: what a run writes into a folder, all of it or none.

Conventions
- A file is written under a passing name in its folder and then renamed, so what bears its own name is always whole.
- A failure or Ctrl-C puts back what was there before.
- One run at a time writes into a folder: of two that write the same names at once, all files come from the later one.
- A process that is killed while its files are renamed (about a millisecond) leaves whole files, of which some are
  old and some new; the same command writes them all again. Its passing folder goes with the next run that writes there.
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

from harmonylib.notation import plain
from harmonylib.pitch import HarmonyError

PASSING, LOCK = ".writing-", ".writing.lock"
PATIENCE_S = 20.0
"""Seconds to wait for another run that writes into the same folder; it needs a few hundredths of one."""


def safe_stem(name: str) -> str:
    """A file name, without its suffix, that every file system takes, from any title.

    >>> safe_stem("../Été: a “song”?"), safe_stem("con"), safe_stem("…")
    ('Été_a_song', 'con_', 'tune')
    """
    kept = "".join(c if c.isalnum() or c in "-_ " else " " for c in unicodedata.normalize("NFC", plain(name)))
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
        with _alone(target) as alone:
            if alone:
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
def _alone(folder: Path) -> Iterator[bool]:
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
