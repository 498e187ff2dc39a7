"""A learner's seat: run by the Hub as the learner, it lays their copy of the course and serves it.

Conventions
- It never runs as root or as somebody else than the one who signed in: a linked folder would be written
  through, and one learner would read another's work.
- What the learner makes can be read by the learner and by teachers, who are the group of the home.
- Kernels talk through files in a short folder that only the learner opens; over ports, any account could listen.
- Replies of the teacher that wait for this learner are copied beside the chapters.
"""

from __future__ import annotations

import os
import resource
import stat
import sys
import tempfile
from pathlib import Path

from harmonylib.classroom.copies import FOLDER, lay, trust
from harmonylib.classroom.lean import lean
from harmonylib.classroom.opening import LAB, RUNS_BY_ITSELF, told
from harmonylib.classroom.shipped import course_folder
from harmonylib.errors import HarmonyError
from harmonylib.files import write_together

SHORT = Path("/tmp")
"""Where paths are short enough for sockets."""
REPLIES = "HARMONYLIB_REPLIES"
"""The variable that names the folder of replies, one folder in it a learner."""
LIMITS = {
    # what                    of each process, but processes of each learner
    resource.RLIMIT_AS: 6 * 2**30,
    resource.RLIMIT_FSIZE: 2**30,
    resource.RLIMIT_NOFILE: 4096,
    resource.RLIMIT_NPROC: 400,
    resource.RLIMIT_CORE: 0,
}
CLOSED = (
    "--KernelManager.transport=ipc",
    "--ServerApp.terminals_enabled=False",
    RUNS_BY_ITSELF,
    "--ServerApp.log_level=WARN",
    "--LabApp.extension_manager=readonly",
    "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
)
_LARGEST_REPLY = 2_000_000


def main() -> int:
    """Lay the copy, then be the learner's server; 1 and a line for the Hub's log when that cannot be."""
    lean()
    try:
        check_account(os.environ.get("JUPYTERHUB_USER", ""))
        os.umask(0o027)
        for what, most in LIMITS.items():
            hard = resource.getrlimit(what)[1]
            lower = most if hard == resource.RLIM_INFINITY else min(most, hard)
            resource.setrlimit(what, (lower, lower))
        course, folder = course_folder(), Path.home() / FOLDER
        for line in told(lay(course, folder)):
            print(line, flush=True)
        trust(course, folder)
        fetch_replies(folder)
    except HarmonyError as error:
        print(f"harmonylib: {error}", file=sys.stderr)
        return 1
    return _serve(folder)


def _serve(folder: Path) -> int:
    """Serve in this very process: what signing the chapters has imported is half of what a server imports."""
    os.environ["JUPYTER_RUNTIME_DIR"] = str(runtime_folder())
    os.environ["JUPYTER_CONFIG_PATH"] = str(LAB)
    os.chdir(folder)
    from jupyterhub.singleuser import main as serve

    sys.argv[1:1] = [f"--ServerApp.root_dir={folder}", *CLOSED]
    serve()
    return 0


def check_account(name: str) -> None:
    """Raises `HarmonyError` unless this process is the account of that name, and not root."""
    import pwd

    mine = pwd.getpwuid(os.geteuid()).pw_name
    if os.geteuid() == 0 or mine != name:
        raise HarmonyError(
            f"the server of {name!r} would run as {mine!r}: every learner needs an account of their own, so the Hub "
            "must start servers as system users"
        )


def runtime_folder() -> Path:
    """A short folder that only this account opens: the same one each time, or a new one where that is not ours."""
    folder = SHORT / f"{FOLDER}-{os.getuid()}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.lstat()
        if stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid() and not found.st_mode & 0o077:
            return folder
    except OSError:
        pass
    return Path(tempfile.mkdtemp(prefix=f"{FOLDER}-", dir=SHORT))


def fetch_replies(folder: Path) -> None:
    """Copy the pages that wait for this learner into the folder `replies` of the copy; what lies there is left.

    A page that has changed since comes under a further name.
    """
    given, mine = os.environ.get(REPLIES), folder / "replies"
    if not given or mine.is_symlink():
        return
    try:
        for page in sorted(Path(given, os.environ["JUPYTERHUB_USER"]).glob("*.html")):
            name = _unread(page, mine)
            if name:
                write_together({name: page.read_bytes()}, mine)
    except (OSError, HarmonyError) as error:
        print(f"harmonylib: replies were not copied: {error}", file=sys.stderr)


def _unread(page: Path, mine: Path) -> str:
    """The name a page gets among those the learner has; none where it is there already, or larger than a reply is."""
    size, name, number = page.stat().st_size, page.name, 1
    if size > _LARGEST_REPLY:
        return ""
    while os.path.lexists(mine / name):
        if (mine / name).is_file() and (mine / name).read_bytes() == page.read_bytes():
            return ""
        number += 1
        name = f"{page.stem}_{number}{page.suffix}"
    return name


if __name__ == "__main__":
    sys.exit(main())
