"""A work sheet on disk: the sheet, its key and the learner's notebook, written together."""

from __future__ import annotations

from pathlib import Path

from harmonylib.classroom.notebook import learner
from harmonylib.classroom.paper import key_pdf, sheet_pdf
from harmonylib.classroom.sheets import Sheet
from harmonylib.files import safe_stem, write_together


def write_worksheet(made: Sheet, folder: str | Path, stem: str) -> tuple[Path, ...]:
    """Write stem_sheet.pdf, stem_key.pdf and stem_learner.ipynb into a folder, all of them or none; returns the paths.

    Raises `HarmonyError` that names the folder and the cause.
    """
    name = safe_stem(stem)
    files = {
        f"{name}_sheet.pdf": sheet_pdf(made),
        f"{name}_key.pdf": key_pdf(made),
        f"{name}_learner.ipynb": learner(made).encode(),
    }
    return write_together(files, folder)
