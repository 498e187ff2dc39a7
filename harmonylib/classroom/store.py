"""The outcomes of earlier surveys, kept on disk, so that a stopped survey goes on and a changed tune is done again.

Conventions
- A row is stored as soon as it is there, as one line of JSON, under the file, the bytes of the tune, the settings and
  the code that measures.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from harmonylib.classroom.difficulty import Outcome, Row
from harmonylib.errors import HarmonyError

STORE = "survey.jsonl"

HOUSE = Path(__file__).resolve().parent.parent
"""The package whose code the figures hang on."""


class Store:
    """The outcomes of earlier runs in one file of JSON lines; without a folder it holds nothing.

    A line cut short or spoilt counts as not there. To start afresh, delete the file.
    """

    def __init__(self, folder: Path | None, settings: dict[str, Any]) -> None:
        self.path = folder / STORE if folder else None
        self.settings = json.loads(json.dumps(settings))
        self.known: dict[tuple[str, int, str], Outcome] = {}

    def __enter__(self) -> Store:
        if self.path:
            try:
                self.path.parent.mkdir(parents=True, exist_ok=True)
                self.lines = self.path.open("a+", encoding="utf-8", errors="replace", newline="\n")
                self._load()
            except OSError as error:
                raise _unwritable(self.path.parent, error) from error
        return self

    def __exit__(self, *_: object) -> None:
        if self.path:
            try:
                self.lines.close()
            except OSError as error:
                raise _unwritable(self.path.parent, error) from error

    def _load(self) -> None:
        self.lines.seek(0)
        line = "\n"
        for line in self.lines:
            try:
                entry = json.loads(line)
                if entry["settings"] != self.settings:
                    continue
                row = entry["row"] and Row(**{**entry["row"], "remarks": tuple(entry["row"]["remarks"])})
                self.known[entry["file"], entry["number"], entry["tune"]] = Outcome(row, entry["why"])
            except (ValueError, TypeError, KeyError):
                continue
        if not line.endswith("\n"):
            self.lines.write("\n")

    def get(self, file: str, number: int, data: bytes) -> Outcome | None:
        return self.known.pop((file, number, _digest(data)), None) if self.path else None

    def put(self, file: str, number: int, data: bytes, outcome: Outcome) -> None:
        if self.path:
            entry = {"file": file, "number": number, "tune": _digest(data), "settings": self.settings}
            entry |= {"why": outcome.why, "row": outcome.row and asdict(outcome.row)}
            try:
                self.lines.write(json.dumps(entry) + "\n")
                self.lines.flush()
            except OSError as error:
                raise _unwritable(self.path.parent, error) from error


def _digest(data: bytes) -> str:
    return hashlib.blake2b(data, digest_size=16).hexdigest()


def code_digest() -> str:
    """Changes with every line of code in the package: any of it may bear on a figure."""
    rooms = sorted(HOUSE.rglob("*.py"))
    return _digest(b"".join(room.relative_to(HOUSE).as_posix().encode() + room.read_bytes() for room in rooms))


def _unwritable(folder: Path, error: OSError) -> HarmonyError:
    return HarmonyError(
        f"the folder {str(folder)!r} cannot be written to: {error.strerror or error}; name another one with --out"
    )
