"""A class on one server: a folder with all that a JupyterHub needs, written once and then the teacher's to change.

Conventions
- Every learner has an account of their own on the machine; what is in it, nobody else but a teacher reads.
- What the server must keep to itself stands in the folder `private`, which only root opens.
- A file that lies in the folder already is the teacher's and is left.

Sources: the configuration of JupyterHub 6; useradd and resource limits as Linux has them.
"""

from __future__ import annotations

import shlex
import sys
from importlib import metadata
from pathlib import Path

from harmonylib.errors import HarmonyError
from harmonylib.files import write_together

TEMPLATES = Path(__file__).parent / "folder"
HUB = ("jupyterhub==6.1.1", "jupyterhub-firstuseauthenticator==1.1.1", "jupyterhub-idle-culler==2.0.0")
"""What the server needs beside the course."""
BESIDE = ("harmonylib", "ipykernel", "ipywidgets", "anywidget", "jupyterlab", "jupyter-server", "notebook-shim")
"""Packages whose versions here are written down, so that a class sees what the teacher has tried."""


def write_classroom(folder: str | Path) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """Write the class server's folder; returns the paths written and the names of files that were there and were left.

    Raises `HarmonyError` when it cannot be written.
    """
    target = Path(folder)
    texts = {
        path.name.replace(".py.txt", ".py"): path.read_text(encoding="utf-8")
        for path in sorted(TEMPLATES.iterdir())
        if path.is_file()
    }
    texts["requirements.txt"] = "\n".join((*HUB, *_installed())) + "\n"
    left = tuple(name for name in texts if (target / name).exists())
    files = {name: _filled(text).encode() for name, text in texts.items() if name not in left}
    written = write_together(files, target)
    try:
        for path in written:
            if path.suffix == ".sh":
                path.chmod(0o755)
    except OSError as error:
        raise HarmonyError(f"{str(path)!r} cannot be made a command: {error.strerror}") from error
    return written, left


def _filled(text: str) -> str:
    return text.replace("@PYTHON@", shlex.quote(sys.executable))


def _installed() -> list[str]:
    found = []
    for name in BESIDE:
        try:
            found.append(f"{name}=={metadata.version(name)}")
        except metadata.PackageNotFoundError:  # a checkout that is not installed
            continue
    return found
