"""Who is in the class: the names in `class.txt`, and an account on this machine for each of them.

Conventions
- One name a line; ``teacher NAME`` is a teacher. A name is small letters, digits and hyphens, as accounts are named.
- All accounts made here are in the group ``block-chords``; one that was there before is refused.
- A home belongs to its learner and to the group of teachers, who may read in it; whatever is made in it does so too.
"""

from __future__ import annotations

import os
import re
import stat
import subprocess
from dataclasses import dataclass
from pathlib import Path

from harmonylib.errors import HarmonyError
from harmonylib.files import read_limited

NAMES = "class.txt"
CLASS, TEACHERS = "block-chords", "block-chords-teachers"
_NAME = re.compile(r"[a-z][a-z0-9-]{0,30}")
_LARGEST = 100_000


@dataclass(frozen=True)
class People:
    """The names of a class."""

    teachers: tuple[str, ...]
    learners: tuple[str, ...]

    @property
    def everyone(self) -> tuple[str, ...]:
        """Teachers first."""
        return (*self.teachers, *self.learners)


def read_people(file: Path) -> People:
    """The class in a file of names; raises `HarmonyError` for a name that cannot be an account's."""
    found: dict[str, bool] = {}
    for number, line in enumerate(read_limited(file, _LARGEST).decode("utf-8-sig", "replace").splitlines(), start=1):
        words = line.partition("#")[0].split()
        if not words:
            continue
        name, is_teacher = words[-1], words[0] == "teacher" and len(words) == 2
        if not _NAME.fullmatch(name) or len(words) > 1 + is_teacher or words == ["teacher"]:
            raise HarmonyError(
                f"{file.name}, line {number}: {line.strip()!r} is no name: write small letters, digits and hyphens, or "
                "“teacher” and a name"
            )
        if name in found:
            raise HarmonyError(f"{file.name}, line {number}: {name!r} is there twice")
        found[name] = is_teacher
    teachers = tuple(name for name, is_teacher in found.items() if is_teacher)
    if not teachers:
        raise HarmonyError(f"{file.name} names no teacher: write a line “teacher NAME”")
    return People(teachers, tuple(name for name, is_teacher in found.items() if not is_teacher))


def make_accounts(people: People) -> tuple[str, ...]:
    """An account for everyone who has none yet, and every home closed to the others; returns the names that are new."""
    for group in (CLASS, TEACHERS):
        _run("groupadd", "--force", group)
    new = tuple(name for name in people.everyone if not _known(name))
    for name in new:
        shell = ("--shell", "/usr/sbin/nologin", "--comment", "block chords")
        _run("useradd", "--create-home", "--user-group", "--groups", CLASS, *shell, name)
    for name in people.everyone:
        if name in people.teachers:
            _run("usermod", "--append", "--groups", TEACHERS, name)
        _close(name, name if name in people.teachers else TEACHERS)
    return new


def _known(name: str) -> bool:
    """Whether the account is there; raises `HarmonyError` for one that was not made for a class."""
    import grp
    import pwd

    try:
        user = pwd.getpwnam(name)
    except KeyError:
        return False
    if user.pw_uid < 1000 or name not in grp.getgrnam(CLASS).gr_mem:
        raise HarmonyError(
            f"{name!r} is an account that this machine had before, and whoever signs in first would have it: "
            f"choose another name in {NAMES}"
        )
    return True


def _close(name: str, group: str) -> None:
    """The home for its owner and, to read, for a group."""
    import grp
    import pwd

    user = pwd.getpwnam(name)
    try:
        home = os.open(user.pw_dir, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
        try:
            os.fchown(home, user.pw_uid, grp.getgrnam(group).gr_gid)
            os.fchmod(home, stat.S_ISGID | 0o750)
        finally:
            os.close(home)
    except OSError as error:
        raise HarmonyError(f"the home of {name!r}, {user.pw_dir!r}, cannot be closed: {error.strerror}") from error


def _run(*command: str) -> None:
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except OSError as error:
        raise HarmonyError(f"{command[0]} cannot be run: {error.strerror}") from error
    if done.returncode:
        raise HarmonyError(f"{' '.join(command)}: {done.stderr.strip() or done.returncode}")
