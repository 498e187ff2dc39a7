"""The projector: the chapters on a wall, one step at a time, without code, served on this machine by Voila.

A chapter opens with what it stored, cut into steps by `steps.py`. The page in `jupyter/` then runs it cell by cell in a
kernel of its own by way of `running.py`, and shows what comes in place of what was stored; the bar runs it again.

Conventions
- Pictures take their theme from the environment variable HARMONYLIB_THEME, which the kernels inherit.
- Nothing is fetched from elsewhere: style, script and fonts are on this machine. Sizes are those of a window 1280 by
  720 pixels and grow with it.
- An address may carry settings for the lesson as JSON, after `?lesson=`; they are data for the edit cell.

Source: the template interface of Voila 0.5.
"""

from __future__ import annotations

import json
import os
import socket
from pathlib import Path
from typing import Any, NamedTuple

from harmonylib.classroom.projector.steps import cut, heading, joined
from harmonylib.errors import HarmonyError
from harmonylib.pictures.theme import THEME_VARIABLE

TEMPLATES = Path(__file__).parent / "jupyter"
PORT = 8866
FORSAKEN_S = 300  # a browser that dies says no farewell: its kernel ends after so long without a page


class Chapter(NamedTuple):
    """A chapter in the contents: the name of its file, and its first heading."""

    file: str
    title: str


def contents(folder: Path) -> tuple[Chapter, ...]:
    """The chapters of a folder in order, each with its first heading; without one, with the name of its file."""
    found = []
    for path in sorted(folder.glob("[0-9][0-9]_*.ipynb")):
        try:
            cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        except (ValueError, KeyError):  # just being saved, or no notebook
            cells = []
        lines = [line for cell in cells for line in joined(cell.get("source", "")).splitlines()[:1]]
        title = next(filter(None, map(heading, lines)), "")
        found.append(Chapter(path.name, title or path.stem))
    return tuple(found)


def serve(folder: Path, *, dark: bool = False, port: int = PORT, browser: bool = True, private: bool = False) -> None:
    """Serve the chapters of a folder on this machine until Ctrl+C, and open the contents in a browser.

    With `private`, kernels talk through files that only their owner opens, and no other account here can listen.
    Raises `HarmonyError` when Voila is not installed or the port is not free.
    """
    try:
        from traitlets.config import Config
        from voila.app import Voila
    except ImportError:
        raise HarmonyError(
            "the projector needs Voila, which is not installed here: python -m pip install 'voila>=0.5.8,<0.6'"
        ) from None
    _reserve(port)
    os.environ[THEME_VARIABLE] = "projector dark" if dark else "projector light"
    os.environ["JUPYTER_PATH"] = os.pathsep.join(filter(None, [str(TEMPLATES), os.environ.get("JUPYTER_PATH")]))

    def with_contents(page_config: dict[str, Any], **_: object) -> dict[str, Any]:
        page_config["chapters"] = contents(folder)
        return page_config

    def in_steps(visit: Any, *, notebook: Any, cwd: str) -> Any:
        _ = visit.xsrf_token  # asking for it sets the cookie, without which the farewell of the page is refused
        notebook.cells = [type(notebook)(cell) for cell in cut(notebook.cells)]
        return notebook

    os.environ["PYTHONSTARTUP"] = str(Path(__file__).with_name("starting.py"))
    settings = Config()
    settings.Voila.update(ip="127.0.0.1", port=port, port_retries=0, root_dir=str(folder), open_browser=browser)
    settings.Voila.update(config_file_paths=[], log_level="ERROR")
    settings.VoilaConfiguration.update(template="projector", theme="dark" if dark else "light", classic_tree=True)
    settings.VoilaConfiguration.update(allow_template_override="NO", allow_theme_override="NO")
    settings.VoilaConfiguration.update(page_config_hook=with_contents, prelaunch_hook=in_steps)
    settings.KernelManager.update(transport="ipc" if private else "tcp")
    settings.MappingKernelManager.update(cull_idle_timeout=FORSAKEN_S, cull_interval=FORSAKEN_S // 5)
    print(f"The course is at http://127.0.0.1:{port}/ for the projector; Ctrl+C here stops it.", flush=True)
    Voila.launch_instance(argv=[], config=settings)


def _reserve(port: int) -> None:
    if not 1 <= port <= 65535:
        raise HarmonyError(f"port {port}: choose one from 1 to 65535")
    with socket.socket() as probe:
        if os.name == "posix":  # a port just given back is free; elsewhere this flag would take it from its owner
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            raise HarmonyError(f"port {port} is not free ({error.strerror}): choose another with --port") from None
