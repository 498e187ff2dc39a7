"""Replies: a page for each learner: what they wrote, what was right, what each reply says, which chapter to look at.

Conventions
- A learner's page lies in a folder of their name; where root writes and that is an account of this machine, the
  folder is that account's to read and nobody else's.
- A page holds no script and asks for nothing from elsewhere; all that a learner wrote is escaped.

Source: HTML (the living standard).
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from html import escape
from pathlib import Path

from harmonylib.classroom.marks import Marks, Row, by_learner, counted_right
from harmonylib.classroom.shipped import course_chapters, course_folder
from harmonylib.errors import HarmonyError
from harmonylib.files import safe_stem, write_together

CHAPTERS = {
    # kind             chapter that explains it
    "spell": 1,
    "drop": 1,
    "find_grips": 1,
    "find_root": 1,
    "name_inversion": 2,
    "next_inversion": 2,
    "which_degree": 3,
    "shell": 3,
    "which_diminished": 4,
    "harmonise_bar": 5,
    "harmonise_phrase": 5,
    "mend": 5,
    "find_gaps": 6,
    "answer_call": 6,
}

_STYLE = (
    "body{font:16px/1.5 sans-serif;max-width:46em;margin:2em auto;padding:0 1em;color:#111;background:#fff}"
    "table{border-collapse:collapse}"
    "th,td{border:1px solid #767676;padding:.3em .6em;text-align:left;vertical-align:top}"
)


def reply_page(marks: Marks, rows: Sequence[Row]) -> str:
    """The page of one learner, whose rows these are.

    >>> from harmonylib.classroom.sheets import sheet
    >>> made = sheet("Monday", [{"kind": "spell", "chord": "C7"}])
    >>> page = reply_page(Marks(made, ()), [Row("Ada", 1, "spell", "right", "Right.")])
    >>> "<h1>Monday: Ada</h1>" in page, "1 of 1 right" in page
    (True, True)
    """
    title = f"{escape(marks.sheet.title)}: {escape(rows[0].learner)}"
    lines = [f"<h1>{title}</h1>", f"<p>{counted_right(marks, rows)} right.</p>"]
    if rows[0].number == 0:
        lines.append(f"<p>{escape(rows[0].reply)}</p>")
    else:
        heads = "".join(f"<th scope='col'>{word}</th>" for word in ("Question", "Your answer", "Mark", "Reply"))
        lines.append(f"<table><thead><tr>{heads}</tr></thead><tbody>")
        for row in rows:
            question = escape(marks.sheet.exercises[row.number - 1].question)
            cells = "".join(f"<td>{escape(words)}</td>" for words in (row.answer or "–", row.state, row.reply))
            lines.append(f"<tr><th scope='row'>{row.number}. {question}</th>{cells}</tr>")
        lines.append("</tbody></table>")
        again = sorted({CHAPTERS[row.kind] for row in rows if row.state != "right" and row.kind in CHAPTERS})
        if again:
            chapters = course_chapters(course_folder())
            looked = "; ".join(f"{number}, {chapters[number][3:-6].replace('_', ' ')}" for number in again)
            lines.append(f"<p>Chapters to look at again: {looked}.</p>")
    head = f"<meta charset='utf-8'><title>{title}</title><style>{_STYLE}</style>"
    return f"<!DOCTYPE html>\n<html lang='en'><head>{head}</head><body>\n" + "\n".join(lines) + "\n</body></html>\n"


def write_replies(marks: Marks, folder: str | Path) -> tuple[Path, ...]:
    """Write each learner's page into a folder of their name in `folder`; returns the paths.

    Raises `HarmonyError` when one cannot be written.
    """
    taken: set[str] = set()
    written: list[Path] = []
    for learner, rows in by_learner(marks):
        place = first = safe_stem(learner)
        number = 1
        while place.lower() in taken:
            number += 1
            place = f"{first}_{number}"
        taken.add(place.lower())
        page = reply_page(marks, rows).encode("utf-8", "replace")
        paths = write_together({f"{safe_stem(marks.sheet.title)}.html": page}, Path(folder) / place)
        _hand_over((*paths, Path(folder) / place), learner)
        written += paths
    return tuple(written)


def _hand_over(paths: Sequence[Path], learner: str) -> None:
    """Let root give the pages and their folder to the learner to read, where the learner has an account here."""
    if getattr(os, "geteuid", lambda: 1)() != 0:
        return
    import pwd

    try:
        group = pwd.getpwnam(learner).pw_gid
    except (KeyError, ValueError):
        return
    for path in paths:
        try:
            os.chown(path, -1, group, follow_symlinks=False)
            path.chmod(0o750 if path.is_dir() else 0o640)
        except OSError as error:
            raise HarmonyError(f"{str(path)!r} cannot be given to {learner!r}: {error.strerror}") from error
