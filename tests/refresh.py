"""Run every chapter from a fresh kernel and store its outputs: ``python -m tests.refresh`` (``--check``: only compare).

Stored are the outputs a reader without a kernel needs (text, SVG, HTML, sound), and nothing that changes from run to
run: no execution times, no widget state; and the pictures of the README. Exit code 1 when ``--check`` finds a chapter
or a picture that would change.
"""

from __future__ import annotations

import os
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from traitlets.config import Config

from harmonylib import Neck, arrange, grip_marks, neck_picture, page, read, voice
from harmonylib.classroom.opening import sockets_fit
from harmonylib.score.engraving import LINE_MM
from harmonylib.settings import CLASS_FILE

os.environ[CLASS_FILE] = "off"  # what is stored is the course as it ships, not one class's

CHAPTERS = Path(__file__).resolve().parent.parent / "chapters"
PICTURES = CHAPTERS / "pictures"
VIEW = "application/vnd.jupyter.widget-view+json"


def drawn() -> dict[str, str]:
    """The pictures of the README by their file names, as the code draws them now."""
    neck, tune = Neck(), read(CHAPTERS / "tunes" / "lantern_on_the_landing.abc")
    score = page(arrange(tune, neck=neck, density="every"), 1, 8, width=LINE_MM, projector=False).svg
    marks = grip_marks(neck, "x3545x", voice("Cmaj7", "drop 2", "E4"))
    return {
        "arrangement.svg": score.replace('style="', 'style="background:#fff;', 1),  # a page may be dark
        "neck.svg": neck_picture(neck, marks, title="Cmaj7, drop 2, root position", theme="paper").svg,
    }


def private_kernel(folder: str) -> Config:
    """A kernel that talks through files in a folder where it can; over ports it would warn that anyone may listen."""
    transport = "ipc" if sockets_fit(folder) else "tcp"
    return Config(KernelManager={"transport": transport, "connection_file": str(Path(folder, "kernel.json"))})


def refreshed(path: Path) -> str:
    """The chapter as text, run from the top."""
    book = nbformat.read(path, as_version=4)
    place = {"metadata": {"path": str(path.parent)}}
    with tempfile.TemporaryDirectory() as folder:
        how = private_kernel(folder)
        NotebookClient(book, timeout=60, coalesce_streams=True, resources=place, config=how).execute()
    book.metadata.pop("widgets", None)
    book.metadata["kernelspec"] = {"display_name": "Python 3", "language": "python", "name": "python3"}
    book.metadata["language_info"] = {"name": "python"}
    for number, cell in enumerate(book.cells):
        cell["id"] = f"cell-{number:02d}"
        cell.metadata.pop("execution", None)
        for output in cell.get("outputs", []):
            output.get("data", {}).pop(VIEW, None)
    return nbformat.writes(book, indent=1) + "\n"


def compared(text: str) -> list[dict[str, object]]:
    """The cells of a chapter as they are compared: sound, whose bytes hang on the machine, is left out."""
    cells = nbformat.reads(text, as_version=4).cells
    return [
        {**cell, "outputs": None} if "nbval-ignore-output" in cell.metadata.get("tags", ()) else cell for cell in cells
    ]


def main() -> int:
    check = "--check" in sys.argv[1:]
    os.environ["HARMONYLIB_PROGRESS"] = "off"  # what is stored is the same for everybody
    paths = sorted(CHAPTERS.glob("[0-9][0-9]_*.ipynb"))
    changed = []
    with ThreadPoolExecutor(2) as pool:
        for path, text in zip(paths, pool.map(refreshed, paths), strict=True):
            if compared(text) != compared(path.read_text(encoding="utf-8")):
                changed.append(path.name)
                if not check:
                    path.write_text(text, encoding="utf-8")
    for name, svg in drawn().items():
        path = PICTURES / name
        if not path.is_file() or path.read_text(encoding="utf-8") != svg:
            changed.append(name)
            if not check:
                path.write_text(svg, encoding="utf-8")
    print(f"{len(paths)} chapters run; " + ("unchanged" if not changed else f"changed: {', '.join(changed)}"))
    return int(check and bool(changed))


if __name__ == "__main__":
    sys.exit(main())
