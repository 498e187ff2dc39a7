"""Chapters run in this process, cell by cell, without a kernel: what each cell shows."""

from __future__ import annotations

import ast
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import nbformat

CHAPTERS = Path(__file__).resolve().parent.parent / "chapters"
PATHS = sorted(CHAPTERS.glob("[0-9][0-9]_*.ipynb"))


@dataclass(frozen=True)
class Ran:
    """A cell and the value it ends with; None for prose, and for code that shows nothing."""

    kind: str
    source: str
    value: Any = None

    @property
    def bundle(self) -> dict[str, str]:
        """What the value shows, as a notebook asks for it."""
        if self.value is None:
            return {}
        if hasattr(self.value, "_repr_mimebundle_"):
            shown = self.value._repr_mimebundle_(include=None, exclude=None) or {}
            return shown[0] if isinstance(shown, tuple) else shown  # a widget gives data and metadata
        return {"text/plain": repr(self.value)}

    @property
    def text(self) -> str:
        return self.bundle.get("text/plain", "")


@contextmanager
def inside(folder: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def edit_of(path: Path, **changes: object) -> Callable[[str], str]:
    """A change of the edit cell: its call of `lesson` with other values, all else as written."""

    def edited(source: str) -> str:
        lines = source.splitlines()
        for number, line in enumerate(lines):
            if "lesson(" not in line:
                continue
            call = ast.parse(line).body[0]
            assert isinstance(call, ast.Assign)
            assert isinstance(call.value, ast.Call)
            kept = [word for word in call.value.keywords if word.arg not in changes]
            new = [ast.keyword(name, ast.Constant(value)) for name, value in changes.items()]
            call.value.keywords = kept + new
            lines[number] = ast.unparse(call)
        return "\n".join(lines)

    return edited


def run(path: Path, folder: Path, edited: Callable[[str], str] = str) -> list[Ran]:
    """Every cell of a chapter, run in order in a folder that may be written to; what a cell raises leaves this."""
    known: dict[str, Any] = {"__name__": "__main__"}
    ran = []
    with inside(folder):
        for cell in nbformat.read(path, as_version=4).cells:
            if cell.cell_type != "code":
                ran.append(Ran("markdown", cell.source))
                continue
            tree = ast.parse(edited(cell.source))
            last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
            exec(compile(tree, path.name, "exec"), known)
            value = eval(compile(ast.Expression(last.value), path.name, "eval"), known) if last else None
            ran.append(Ran("code", cell.source, value))
    return ran
