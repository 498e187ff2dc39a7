"""What came back: the notebooks in a folder and in the folders of learners in it, opened with care.

Conventions
- A notebook in the folder itself is a learner's of its name. What lies in a folder below is the learner's whose name
  that folder bears; where several notebooks are one learner's, each is named after the folder and the file.
- With a name asked for, as for the homes of a class, only files of that name count: the one least deep, one a learner.
- No link is followed at any level, and only plain files are opened, up to a size. Names that start with a dot are left.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from harmonylib.errors import HarmonyError

MOST_FILES, MOST_BYTES, MOST_NAMES, DEEPEST_FOLDER = 1000, 5_000_000, 50_000, 4
"""Notebooks and bytes of each; names that are looked at in all; folders below the one named."""


class Unmarked(HarmonyError):
    """An answer or a notebook that cannot be read; the message says why."""


@dataclass(frozen=True)
class Returned:
    """A notebook that came back: its learner, and its names from the folder down; none for a learner without one."""

    learner: str
    names: tuple[str, ...]


def returned(folder: Path, name: str | None = None, key: str | Path | None = None) -> list[Returned]:
    """The notebooks of a folder, by learner; the file `key` is left out, and with `name` every other file is.

    Raises `HarmonyError` for a folder that cannot be read, holds none or too many.
    """
    own = Path(key).parent.resolve() / Path(key).name if key else None
    try:
        top = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except OSError as error:
        raise HarmonyError(f"the folder {str(folder)!r} cannot be read: {error.strerror or error}") from None
    budget = iter(range(MOST_NAMES))
    found = []
    for entry in top:
        if entry.name.startswith("."):
            continue
        if _is_folder(entry) and not _is_notebook(entry.name):
            found += _of_learner(entry.name, sorted(_below(folder, (entry.name,), budget)), name)
        elif name is None and _is_notebook(entry.name) and folder.resolve() / entry.name != own:
            found.append(Returned(Path(entry.name).stem, (entry.name,)))
    found = [one for one in found if own is None or folder.resolve().joinpath(*one.names) != own]
    if not any(one.names for one in found):
        what = f"no file named {name!r} in a folder of a learner" if name else "no notebooks"
        raise HarmonyError(f"the folder {str(folder)!r} holds {what}: put the files that came back in it")
    if len(found) > MOST_FILES:
        raise HarmonyError(f"the folder {str(folder)!r} holds {len(found)} notebooks; at most {MOST_FILES} at a time")
    return found


def _of_learner(learner: str, files: list[tuple[str, ...]], name: str | None) -> list[Returned]:
    if name is not None:
        same = sorted((names for names in files if names[-1] == name), key=lambda names: (len(names), names))
        return [Returned(learner, same[0] if same else ())]
    if len(files) == 1:
        return [Returned(learner, files[0])]
    return [Returned("/".join((learner, *names[1:-1], Path(names[-1]).stem)), names) for names in files]


def _below(folder: Path, names: tuple[str, ...], budget: Iterator[int]) -> Iterator[tuple[str, ...]]:
    """The notebooks in a folder of a learner and those below it; what cannot be opened holds none."""
    try:
        entries = sorted(_listed(folder, names), key=lambda entry: entry[0])
    except OSError:
        return
    for entry, is_folder in entries:
        if next(budget, None) is None:
            raise HarmonyError(f"the folder {str(folder)!r} holds more than {MOST_NAMES} files: name a smaller one")
        if entry.startswith("."):
            continue
        if is_folder and not _is_notebook(entry):
            if len(names) < DEEPEST_FOLDER:
                yield from _below(folder, (*names, entry), budget)
        elif _is_notebook(entry):
            yield (*names, entry)


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir(follow_symlinks=False) and not (hasattr(entry, "is_junction") and entry.is_junction())
    except OSError:
        return False


def _is_notebook(name: str) -> bool:
    return name.lower().endswith(".ipynb")


def read_returned(folder: Path, names: tuple[str, ...]) -> bytes:
    """The bytes of a plain file, names counted from the folder down; raises `Unmarked`."""
    try:
        opened = _opened(folder, names, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(opened, "rb") as stream:
            if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
                raise Unmarked("is a link or a folder, not a notebook")
            data = stream.read(MOST_BYTES + 1)
    except OSError as error:
        if _is_special(folder, names):
            raise Unmarked("is a link or a folder, not a notebook") from None
        raise Unmarked(f"cannot be opened: {error.strerror or error}") from None
    if len(data) > MOST_BYTES:
        raise Unmarked(f"is larger than {MOST_BYTES // 1_000_000} MB")
    return data


def _is_special(folder: Path, names: tuple[str, ...]) -> bool:
    try:
        return not stat.S_ISREG(folder.joinpath(*names).lstat().st_mode)
    except OSError:
        return False


if os.open in os.supports_dir_fd and os.scandir in os.supports_fd:

    def _opened(folder: Path, names: tuple[str, ...], how: int) -> int:
        """A file or folder opened step by step, so that no folder on the way can turn into a link meanwhile."""
        at = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        for place, name in enumerate(names):
            flags = how if place == len(names) - 1 else os.O_RDONLY | os.O_DIRECTORY
            try:
                inner = os.open(name, flags | os.O_NOFOLLOW, dir_fd=at)
            finally:
                os.close(at)
            at = inner
        return at

    def _listed(folder: Path, names: tuple[str, ...]) -> list[tuple[str, bool]]:
        opened = _opened(folder, names, os.O_RDONLY | os.O_DIRECTORY)
        try:
            with os.scandir(opened) as entries:
                return [(entry.name, _is_folder(entry)) for entry in entries]
        finally:
            os.close(opened)

else:

    def _opened(folder: Path, names: tuple[str, ...], how: int) -> int:
        """A file opened where no name on the way is a link."""
        for place in range(1, len(names) + 1):
            if folder.joinpath(*names[:place]).is_symlink():
                raise OSError(0, "is a link")
        return os.open(folder.joinpath(*names), how)

    def _listed(folder: Path, names: tuple[str, ...]) -> list[tuple[str, bool]]:
        with os.scandir(folder.joinpath(*names)) as entries:
            return [(entry.name, _is_folder(entry)) for entry in entries]
