"""Run every chapter from a fresh kernel and store its outputs: ``python -m tests.refresh`` (``--check``: only compare).

Stored are the outputs a reader without a kernel needs (text, SVG, HTML, sound), and nothing that changes from run to
run: no execution times, no widget state. Exit code 1 when ``--check`` finds a chapter whose outputs would change.
"""

from __future__ import annotations

import os
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import nbformat
from nbclient import NotebookClient

CHAPTERS = Path(__file__).resolve().parent.parent / "chapters"
VIEW = "application/vnd.jupyter.widget-view+json"


def refreshed(path: Path) -> str:
    """The chapter as text, run from the top."""
    book = nbformat.read(path, as_version=4)
    NotebookClient(
        book, timeout=60, coalesce_streams=True, resources={"metadata": {"path": str(path.parent)}}
    ).execute()
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
    print(f"{len(paths)} chapters run; " + ("unchanged" if not changed else f"changed: {', '.join(changed)}"))
    return int(check and bool(changed))


if __name__ == "__main__":
    sys.exit(main())
