"""The projector: the chapters on a wall, one step at a time, without code, served on this machine by Voila.

A chapter is run from the top in a kernel of its own when it is opened, and again at every visit. What it shows is cut
into steps here, by what the cells stored, before it runs; the page in `jupyter/` only shows one step after another.

Conventions
- A step opens with a heading or with prose, and takes in what follows as long as it fits the window. Prose that does
  not fit over its picture as a whole leaves its last paragraph there.
- A cell with the tag `projector-skip` is run and not shown.
- Pictures take their theme from the environment variable HARMONYLIB_THEME, which the kernels inherit.
- Nothing is fetched from elsewhere: style, script and fonts are on this machine. Sizes are those of a window 1280 by
  720 pixels and grow with it.

Sources: the template interface of Voila 0.5; the notebook format 4.5.
"""

from __future__ import annotations

import json
import os
import re
import socket
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from harmonylib.errors import HarmonyError
from harmonylib.pictures.theme import THEME_VARIABLE
from harmonylib.score.engraving import LINE_MM, PROJECTOR_MM

TEMPLATES = Path(__file__).parent / "jupyter"
PORT = 8866
SKIP = "projector-skip"
FORSAKEN_S = 300  # a browser that dies says no farewell: its kernel ends after so long without a page
REMARK = 160  # prose of fewer letters that leads to nothing is a remark on what stands above it

# pixels and letters in a window of 1280 by 720, as style sheet and themes make them
ROOM, WIDTH = 640, 1226
PROSE_LETTERS, PROSE_LINE = 78, 37.8
TEXT_LETTERS, TEXT_LINE = 72, 36.4
GAP, AUDIO, SUMMARY = 11, 58, 38
UNKNOWN, CONTROLS = 420, 220
ROW_LETTERS, ROW_LINE = 70, 42
LARGER, CLOSER = 1.15, 0.82  # a picture's larger letters make it taller; staff and tablature stand closer
WIDGET = re.compile(
    r"\b(\w*Panel|NeckView|ScoreView|Player|panel|ask|play)\("
)  # stored as its still picture, without its controls

Cell = dict[str, Any]


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
        lines = [line for cell in cells for line in _joined(cell.get("source", "")).splitlines()[:1]]
        heading = next(filter(None, map(_heading, lines)), "")
        found.append(Chapter(path.name, heading or path.stem))
    return tuple(found)


def cut(cells: list[Cell]) -> list[Cell]:
    """The cells with their step, counted from 1, and their section in `metadata["projector"]`.

    Prose comes apart at its headings, and its last paragraph stands over the picture that it introduces.

    >>> chapter = [{"cell_type": "markdown", "metadata": {}, "source": "# One\\n\\nHello.\\n\\n## Two\\n\\nMore."}]
    >>> [(piece["source"], piece["metadata"]["projector"]["step"]) for piece in cut(chapter)]
    [('# One\\n\\nHello.', 1), ('## Two\\n\\nMore.', 2)]
    """
    pieces = [piece for cell in cells for piece in _pieces(cell)]
    steps: list[list[Cell]] = []
    for piece, after in zip(pieces, [*pieces[1:], None], strict=True):
        if not steps or _opens(piece, steps[-1], after):
            steps.append(_introduction(steps[-1], piece) if steps else [])
        steps[-1].append(piece)
    placed: list[Cell] = []
    section = ""
    for number, step in enumerate(steps, start=1):
        for piece in step:
            section = (_heading(piece["source"]) if piece["cell_type"] == "markdown" else "") or section
            where = {"step": number, "section": section}
            placed.append({**piece, "metadata": {**piece["metadata"], "projector": where}})
    return placed


def _opens(piece: Cell, step: list[Cell], after: Cell | None) -> bool:
    """Whether a piece opens a step of its own: it does where it does not fit, and as prose that leads to a picture."""
    height, filled = _height(piece), sum(map(_height, step))
    if piece["cell_type"] != "markdown":
        return height > 0 and filled > 0 and filled + height > ROOM
    if filled + height > ROOM:
        return True
    if not any(map(_shows, step)):  # prose alone waits for what it introduces
        return bool(step) and bool(re.match(r"#{1,2} ", piece["source"]))
    leads = after is not None and _shows(after)
    return bool(_heading(piece["source"])) or leads or len(piece["source"]) >= REMARK


def _introduction(step: list[Cell], piece: Cell) -> list[Cell]:
    """The last paragraph of a step of prose, taken from it where it fits over the picture that it introduces."""
    if not _shows(piece) or any(map(_shows, step)):
        return []
    said = [number for number, one in enumerate(step) if one["cell_type"] == "markdown"]
    if len(said) < 2 or _height(step[said[-1]]) + _height(piece) > ROOM:
        return []
    taken = step[said[-1] :]
    del step[said[-1] :]
    return taken


def _shows(cell: Cell) -> bool:
    return cell["cell_type"] == "code" and _height(cell) > 0


def _pieces(cell: Cell) -> Iterator[Cell]:
    """The cell, or its prose in paragraphs, a heading with its first one; no prose that is to be skipped."""
    if cell["cell_type"] != "markdown":
        yield cell
    elif SKIP not in cell["metadata"].get("tags", ()):
        parts, fenced = [""], False
        for line in _joined(cell["source"]).splitlines(keepends=True):
            inside, fenced = fenced, fenced ^ line.startswith("```")
            alone = _heading(parts[-1]) and "\n" not in parts[-1].strip()
            ended = parts[-1].endswith("\n\n") and not alone and not _GOES_ON.match(line)
            if not inside and (_heading(line) or ended):
                parts.append("")
            parts[-1] += line
        for number, text in enumerate(filter(None, map(str.strip, parts))):
            yield {**cell, "source": text, "id": f"{cell.get('id', 'cell')}-{number}"}


_GOES_ON = re.compile(r"[-|\s]|\* |\d+\.|```")  # with a list, a table, code, or what is indented


def _heading(text: str) -> str:
    found = re.match(r"#{1,3} +(.+)", text)
    return found[1].strip() if found else ""


def _joined(text: str | list[str]) -> str:
    return text if isinstance(text, str) else "".join(text)


def _height(cell: Cell) -> float:
    """About how high a cell stands on the wall, in pixels of a window 1280 wide, judged by what it stored."""
    if cell["cell_type"] == "markdown":
        parts = re.split(r"\n\n|\n(?=[-|\d])", cell["source"])
        return sum(_folded(part, PROSE_LETTERS) * PROSE_LINE + GAP for part in parts)
    if cell["cell_type"] != "code" or SKIP in cell["metadata"].get("tags", ()):
        return 0
    outputs = cell.get("outputs", [])
    if not outputs and not cell.get("execution_count"):
        return UNKNOWN  # it never ran, and may show anything
    controls = CONTROLS if outputs and WIDGET.search(_joined(cell["source"])) else 0
    return sum(map(_output_height, outputs)) + controls


def _output_height(output: Mapping[str, Any]) -> float:
    data = output.get("data", {})
    html, svg = (_joined(data.get(kind, "")) for kind in ("text/html", "image/svg+xml"))
    if "<audio" in html:
        return AUDIO
    frame = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', html or svg)
    picture = WIDTH * float(frame[2]) / float(frame[1]) if frame else 0.0
    if 'class="system"' in (html or svg):  # engraved bars come out larger on the wall
        picture *= CLOSER * LINE_MM / PROJECTOR_MM
    else:
        picture *= LARGER
    if "<details" in html:
        return picture + SUMMARY
    if html:
        rows = re.findall(r"(?s)<tr>.*?</tr>", html)
        html = re.sub(r"(?s)<table.*</table>", "", html)
        picture += sum(_folded(re.sub(r"<[^>]*>", "  ", row), ROW_LETTERS) * ROW_LINE for row in rows)
        words = re.sub(r"(?s)<svg.*</svg>|<[^>]*>", "", html)
        return picture + _folded(words, PROSE_LETTERS) * PROSE_LINE + GAP
    if svg or any(kind.startswith("image/") for kind in data):
        return picture or UNKNOWN
    lines = _joined(output.get("text", data.get("text/plain", ""))).rstrip().split("\n")
    return sum(_folded(line, TEXT_LETTERS) for line in lines) * TEXT_LINE + GAP


def _folded(text: str, letters: int) -> int:
    """Lines a paragraph takes where a line holds so many letters."""
    return max(1, -(-len(text) // letters))


def serve(folder: Path, *, dark: bool = False, port: int = PORT, browser: bool = True) -> None:
    """Serve the chapters of a folder on this machine until Ctrl+C, and open the contents in a browser.

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

    settings = Config()
    settings.Voila.update(ip="127.0.0.1", port=port, port_retries=0, root_dir=str(folder), open_browser=browser)
    settings.Voila.update(config_file_paths=[], log_level="ERROR")
    settings.VoilaConfiguration.update(template="projector", theme="dark" if dark else "light", classic_tree=True)
    settings.VoilaConfiguration.update(allow_template_override="NO", allow_theme_override="NO", show_tracebacks=True)
    settings.VoilaConfiguration.update(page_config_hook=with_contents, prelaunch_hook=in_steps)
    settings.MappingKernelManager.update(cull_idle_timeout=FORSAKEN_S, cull_interval=FORSAKEN_S // 5)
    settings.VoilaExecutor.coalesce_streams = True  # what a cell prints is one text, however it arrives
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
