"""Work sheets: a set of exercises as a printed sheet, its key, and a notebook for the learner.

A set comes from a call, `sheet("Monday", [{"kind": "spell", "count": 4}], seed=7)`, or from a TOML file with `title`,
`seed`, `level`, `paper` and one ``[[tasks]]`` table for each exercise or group:

    [[tasks]]                          [[tasks]]
    kind = "drop"                      kinds = ["spell", "which_degree"]
    chord = "Ebm7"                     count = 4

Conventions
- A table with `count` is drawn by the seed and level of the sheet; any other one is the exercise it describes.
- Questions are numbered from 1, and question 3 is number 3 on the sheet, in the key and in the notebook.
- A tune that is named by its file goes along as text, so that a notebook works in any folder; a TOML file names tunes
  as seen from its own folder.
- Every text reaches Typst as data and Markdown escaped. Same sheet, same bytes; seed and level stand at the foot of the
  page, so a key can be made again.

Sources: TOML 1.0, PDF, the notebook format 4.5 (nbformat), CommonMark for what is escaped. The layout is ours.
"""

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
