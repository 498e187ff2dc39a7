"""A copy of one's own: the course laid into a folder of the learner's, where nothing of the learner's is ever lost.

Conventions
- For every file of the course, what lies in the folder is compared with the manifest and with the course:

    in the folder           | a course as it was laid | a newer course
    ------------------------|-------------------------|-----------------------------------------
    missing                 | laid                    | laid
    as it was laid          | left                    | replaced
    touched, or not known   | left                    | left; the newer one laid beside it, once

- Everything new is written under a passing name first and then renamed; one run at a time works in a folder.
- A folder that is a link is refused, and a file that is a link counts as touched: nothing is written through it.
- Only what lies there byte for byte as it was shipped is signed, so that Jupyter shows its stored pictures.
"""

from __future__ import annotations

import json
import os
import shutil
import stat
import tempfile
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from harmonylib.classroom.manifest import MANIFEST, Laid, content, read_manifest, written_manifest
from harmonylib.classroom.shipped import course_chapters, course_files
from harmonylib.errors import HarmonyError
from harmonylib.files import PASSING, alone

FOLDER = "block-chords"
"""The learner's folder, where no other is named."""


@dataclass(frozen=True)
class Copy:
    """What was done in a learner's folder: names of files as seen from it."""

    folder: Path
    laid: tuple[str, ...] = ()
    beside: tuple[tuple[str, str], ...] = ()
    """Files that were left because they are the learner's, each with the newer one laid beside it."""
    kept: tuple[tuple[str, str], ...] = ()
    """Files that were to be fresh again, each with the dated name the learner's is kept under."""


@dataclass(frozen=True)
class _Step:
    """A file to write: its name in the course, its place in the folder, and what may be lying there (none: "")."""

    name: str
    place: str
    expected: str
    data: bytes


def lay(course: Path, folder: Path, reset: int | None = None) -> Copy:
    """Lay a course into a learner's folder (made if missing); chapter number `reset` is laid afresh.

    Raises `HarmonyError` when the folder cannot be written to; all that was there before is then still there.
    """
    names = course_files(course)
    fresh = "" if reset is None else _chapter(course, reset)
    try:
        _make(folder)
        with alone(folder) as locked:
            if locked:
                for left in folder.glob(f"{PASSING}*"):  # by a run that was killed; it holds nothing of the learner's
                    shutil.rmtree(left, ignore_errors=True)
            return _laid(course, folder, names, fresh)
    except HarmonyError:
        raise
    except (OSError, ValueError) as error:
        raise HarmonyError(
            f"the course cannot be laid into {str(folder)!r}: {getattr(error, 'strerror', '') or error}; name a folder "
            "of your own that has room with --folder"
        ) from error


def _chapter(course: Path, number: int) -> str:
    """The chapter of a number."""
    chapters = course_chapters(course)
    if number not in chapters:
        raise HarmonyError(f"there is no chapter {number}: choose one from 0 to {max(chapters)}")
    return chapters[number]


def _make(folder: Path) -> None:
    for place in (folder, folder / "tunes"):
        if place.is_symlink():
            raise HarmonyError(f"{str(place)!r} is a link: name the folder itself with --folder")
        place.mkdir(parents=True, exist_ok=True)


def _laid(course: Path, folder: Path, names: tuple[str, ...], fresh: str) -> Copy:
    manifest = read_manifest(folder)
    shipped = {name: (course / name).read_bytes() for name in names}
    steps: list[_Step] = []
    after = dict(manifest)
    for name, data in shipped.items():
        found = "" if name == fresh else _content(folder, name)
        after[name], step = _decided(folder, name, data, found, manifest.get(name, Laid()))
        steps += [step] if step else []
    kept = _dated(folder, fresh) if fresh and os.path.lexists(folder / fresh) else ""
    if steps or after != manifest:
        _carry_out(folder, steps, written_manifest(after), (fresh, kept) if kept else None)
    return Copy(
        folder,
        tuple(step.name for step in steps if step.name == step.place),
        tuple((step.name, step.place) for step in steps if step.name != step.place),
        ((fresh, kept),) if kept else (),
    )


def _content(folder: Path, name: str) -> str:
    """The content of a file in the learner's folder: nothing where it is missing, a word for what is no plain file."""
    try:
        if not stat.S_ISREG((folder / name).lstat().st_mode):
            return "no plain file"
        return content(name, (folder / name).read_bytes())
    except FileNotFoundError:
        return ""
    except PermissionError:
        return "closed"


def _decided(folder: Path, name: str, data: bytes, found: str, laid: Laid) -> tuple[Laid, _Step | None]:
    """The entry in the manifest, and what is to be written, if anything."""
    shipped = content(name, data)
    if found == shipped:
        return Laid(shipped), None
    if found in ("", laid.content):
        return Laid(shipped), _Step(name, name, found, data)
    if shipped in (laid.content, laid.beside):
        return laid, None
    place, there = _beside(folder, name, ("", laid.beside, shipped))
    return replace(laid, beside=shipped), None if there == shipped else _Step(name, place, there, data)


def _beside(folder: Path, name: str, ours: tuple[str, ...]) -> tuple[str, str]:
    """Where a newer file goes, and what lies there: a content that is ours, nothing included, else a free name."""
    parent, slash, last = name.rpartition("/")
    place = f"{parent}{slash}new_{last}"
    there = _content(folder, place)
    if there in ours:
        return place, there
    return _free(folder, place), ""


def _dated(folder: Path, name: str) -> str:
    return _free(folder, f"{date.today().isoformat()}_{name}")


def _free(folder: Path, name: str) -> str:
    """The name, or with the first number that makes it free."""
    stem, dot, suffix = name.rpartition(".")
    number = 1
    while os.path.lexists(folder / name):
        number += 1
        name = f"{stem}_{number}{dot}{suffix}"
    return name


def _carry_out(folder: Path, steps: list[_Step], manifest: bytes, kept: tuple[str, str] | None) -> None:
    """Everything under passing names first, then renamed: files before the manifest, so that it promises nothing."""
    with tempfile.TemporaryDirectory(prefix=PASSING, dir=folder, ignore_cleanup_errors=True) as made:
        passing = Path(made)
        for number, step in enumerate(steps):
            (passing / str(number)).write_bytes(step.data)
        (passing / "manifest").write_bytes(manifest)
        if kept:
            (folder / kept[0]).rename(folder / kept[1])
        for number, step in enumerate(steps):
            if _content(folder, step.place) == step.expected:  # else it was saved while this run looked at the rest
                os.replace(passing / str(number), folder / step.place)
        os.replace(passing / "manifest", folder / MANIFEST)


def trust(course: Path, folder: Path) -> None:
    """Sign the chapters that lie in a folder just as they were shipped: Jupyter hides pictures in any other one."""
    import nbformat.sign
    from jupyter_core.paths import jupyter_data_dir

    with suppress(OSError):  # where it is missing and cannot be made, nothing is remembered
        Path(jupyter_data_dir()).mkdir(parents=True, exist_ok=True, mode=0o700)
    notary: Any = nbformat.sign.NotebookNotary()  # type: ignore[no-untyped-call]
    for name in course_files(course):
        with suppress(OSError):
            data = (course / name).read_bytes()
            if name.endswith(".ipynb") and (folder / name).read_bytes() == data:
                notary.sign(nbformat.from_dict(json.loads(data)))  # type: ignore[no-untyped-call]
