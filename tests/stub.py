"""The public names for type checkers and editors: ``python -m tests.stub`` writes `harmonylib/__init__.pyi`.

Names are fetched when they are first used, which no tool can see through; the stub says where each of them lives. It is
made from the registry in `harmonylib/__init__.py`, and a test compares the two.
"""

from __future__ import annotations

from pathlib import Path

import harmonylib

FILE = Path(harmonylib.__file__).with_suffix(".pyi")
REGISTRY = "\nROOMS: dict[str, tuple[str, ...]]\nPANELS: tuple[str, ...]\nSUCCESSORS: dict[str, str]\n"


def homes() -> dict[str, tuple[str, ...]]:
    """Every module that has public names, and these."""
    return {f"harmonylib.{room}": names for room, names in harmonylib.ROOMS.items()} | {"widgets": harmonylib.PANELS}


def stub() -> str:
    """The text of the stub: one line a public name, sorted as imports are: tables, things, functions."""
    lines = [
        f"from {home} import {name} as {name}\n"
        for home, names in sorted(homes().items())
        for name in sorted(names, key=lambda name: (not name.isupper(), name.islower(), name))
    ]
    return "".join(lines) + REGISTRY


if __name__ == "__main__":
    FILE.write_text(stub(), encoding="utf-8")
