"""What was laid into a learner's folder: for every file of the course, the content it had when it was laid.

Conventions
- The content of a notebook is its cells' types, sources and attachments. Outputs, counts and metadata are not part of
  it: to run a chapter and to save it is no change.
- The content of any other file is its bytes, with line ends of any system.
- A manifest that cannot be read counts as none: then nothing in the folder is known to be ours.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

MANIFEST = ".course.json"
"""The manifest's file in the learner's folder."""
_LARGEST = 1_000_000


@dataclass(frozen=True)
class Laid:
    """What was laid of one file: its content, and the content of a newer version that was laid beside it, if any."""

    content: str = ""
    beside: str = ""


def content(name: str, data: bytes) -> str:
    """The digest of what counts in a file.

    >>> cell = '{"cells": [{"cell_type": "code", "source": %s, "outputs": %s}]}'
    >>> once, again = cell % ('"a = 1"', "[]"), cell % ('["a = ", "1"]', '["ran"]')
    >>> content("01.ipynb", once.encode()) == content("01.ipynb", again.encode())
    True
    """
    return hashlib.blake2b(_counted(name, data), digest_size=16).hexdigest()


def _counted(name: str, data: bytes) -> bytes:
    if not name.endswith(".ipynb"):
        return data.replace(b"\r\n", b"\n")
    try:
        cells = [
            (cell["cell_type"], "".join(cell["source"]), cell.get("attachments") or {})
            for cell in json.loads(data)["cells"]
        ]
        return json.dumps(cells, sort_keys=True).encode()
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return data  # no notebook: whatever it is, it is the learner's


def read_manifest(folder: Path) -> dict[str, Laid]:
    """What was laid into a folder, by name."""
    path = folder / MANIFEST
    try:
        if path.is_symlink() or path.stat().st_size > _LARGEST:
            return {}
        found = json.loads(path.read_bytes())
        return {str(name): Laid(str(entry["content"]), str(entry["beside"])) for name, entry in found["files"].items()}
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return {}


def written_manifest(laid: Mapping[str, Laid]) -> bytes:
    """A manifest as bytes; `read_manifest` reads them."""
    files = {name: asdict(entry) for name, entry in sorted(laid.items())}
    return json.dumps({"files": files}, indent=1).encode() + b"\n"
