"""The course opened: a copy of the learner's own in JupyterLab, or on the projector; one line says where it is.

Conventions
- The server runs in this very process: when it is told to stop, its kernels end with it.
- What stands in `lab/` is read by JupyterLab: configuration (no question about news, no look for updates), and what
  runs a chapter that is opened.
- What a person gives for Jupyter itself is handed on as it is.

Sources: the options of Jupyter Server 2 and of JupyterLab 4, and its “prebuilt extensions”.
"""

from __future__ import annotations

import argparse
import logging
import os
import tempfile
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path

from harmonylib.classroom.copies import FOLDER, Copy, lay, trust
from harmonylib.classroom.manifest import MANIFEST
from harmonylib.classroom.shipped import FIRST_CHAPTER, course_folder
from harmonylib.errors import HarmonyError
from harmonylib.wording import many, plain

LAB = Path(__file__).parent / "lab"
QUIET = (
    "--ServerApp.log_level=ERROR",
    "--LabApp.log_level=ERROR",
    "--ServerApp.answer_yes=True",  # one Ctrl+C stops it
    "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
)
RUNS_BY_ITSELF = f"--LabApp.extra_labextensions_path={LAB / 'labextensions'}"
"""The argument that lets a chapter run once it is open, so that its boxes take an answer at once."""

LONGEST_SOCKET = 103
"""Bytes of the path of a socket that every system takes (Linux 107, macOS 103)."""
KERNEL_LETTERS = len("/kernel-.json-ipc-5") + 36
"""Bytes that a kernel's name takes of them."""


def own_copy(folder: str | None = None, reset: int | None = None) -> Copy:
    """The learner's copy, laid or brought up to date: in the folder named, else in this one or in ``block-chords``.

    This folder is taken when the course was laid into it before. Raises `HarmonyError` where nothing can be laid.
    """
    course = course_folder()
    here = Path.cwd()
    place = Path(folder) if folder is not None else here if (here / MANIFEST).is_file() else here / FOLDER
    if place.resolve() == course:
        raise HarmonyError(f"{str(place)!r} is the course itself: name another folder, or say --here to edit it")
    copy = lay(course, place, reset)
    trust(course, place)
    return copy


def told(copy: Copy) -> list[str]:
    """What was done in the learner's folder, a line each; nothing when nothing was."""
    lines = [f"{many(len(copy.laid), 'file')} of the course laid into {copy.folder}."] if copy.laid else []
    lines += [f"Note: your {name} is kept as {kept}." for name, kept in copy.kept]
    lines += [f"Note: your {name} was left as it is; the newer one is {place}." for name, place in copy.beside]
    return lines


def check_port(port: int | None) -> None:
    """Raises `HarmonyError` for a number that is no port."""
    if port is not None and not 1 <= port <= 65535:
        raise HarmonyError(f"port {port}: choose one from 1 to 65535")


def check_root(allowed: bool) -> None:
    """Raises `HarmonyError` for root who has not said that it is meant."""
    if getattr(os, "geteuid", lambda: 1)() == 0 and not allowed:
        raise HarmonyError(
            "you are root, and what a notebook runs may then do anything here: open the course as another user, or say "
            "--allow-root where that is meant, as in a container"
        )


def open_course(options: argparse.Namespace, say: Callable[[str], None]) -> None:
    """The course in JupyterLab at its first chapter, or on the projector, as the command line asks for it."""
    if options.dark and not options.projector:
        raise HarmonyError("--dark goes with --projector; JupyterLab has its own setting for dark pages")
    if options.jupyter and (options.projector or not options.jupyter[0].startswith("-")):
        raise HarmonyError(f"{options.jupyter[0]!r}: only what is meant for JupyterLab stands here, after --")
    if options.here and (options.folder is not None or options.reset is not None):
        raise HarmonyError("--here opens the course itself: it goes with neither --folder nor --reset")
    check_port(options.port)
    if not options.projector:
        check_root(options.allow_root or "--allow-root" in options.jupyter)
    copy = Copy(course_folder()) if options.here else own_copy(options.folder, options.reset)
    for line in told(copy):
        say(plain(line))
    if options.projector:
        from harmonylib.classroom.projector import PORT, serve

        private = sockets_fit(os.path.join(tempfile.gettempdir(), "voila_12345678"))
        port = options.port or PORT
        serve(copy.folder, dark=options.dark, port=port, browser=not options.no_browser, private=private)
        return
    more = ["--allow-root"] * options.allow_root + options.jupyter
    open_lab(copy.folder, port=options.port, browser=not options.no_browser, more=more)


def sockets_fit(folder: str) -> bool:
    """Whether kernels can talk through files in a folder: there are such files, and its name is not too long."""
    return os.name == "posix" and len(folder.encode()) <= LONGEST_SOCKET - KERNEL_LETTERS


def private_kernels() -> list[str]:
    """The arguments that let kernels talk through files only their owner can open, where there are such files.

    Elsewhere they talk over ports of this machine, and any account on it could listen.
    """
    from jupyter_core.paths import jupyter_runtime_dir

    return ["--KernelManager.transport=ipc"] if sockets_fit(jupyter_runtime_dir()) else []


def open_lab(folder: Path, *, port: int | None = None, browser: bool = True, more: Sequence[str] = ()) -> None:
    """Serve a folder in JupyterLab, open at the first chapter, until Ctrl+C or a signal; prints where it is.

    `more` are further arguments of Jupyter's own. A port in use gives way to the next that is free.
    """
    settings = os.environ.get("JUPYTER_CONFIG_PATH")
    os.environ["JUPYTER_CONFIG_PATH"] = os.pathsep.join([str(LAB), settings] if settings else [str(LAB)])
    from jupyterlab.labapp import LabApp

    arguments = [*QUIET, RUNS_BY_ITSELF, f"--ServerApp.root_dir={folder.resolve()}"]
    arguments += [f"--LabApp.default_url=/lab/tree/{FIRST_CHAPTER}"]
    arguments += [f"--ServerApp.port={port}"] * (port is not None) + ["--no-browser"] * (not browser)
    with warnings.catch_warnings(record=True):  # Jupyter's own, about its own settings
        server = LabApp.initialize_server(argv=[*arguments, *private_kernels(), *more])
    places = dict.fromkeys(url.replace("//localhost", "//127.0.0.1") for url in (server.public_url, server.local_url))
    server.log.addFilter(lambda record: record.levelno != logging.CRITICAL)  # its way to say where it is
    print(f"The course is at {' or '.join(places)} ({folder}); Ctrl+C here stops it.", flush=True)
    server.start()
