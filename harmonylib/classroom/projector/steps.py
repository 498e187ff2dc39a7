"""A chapter cut into the steps of the wall, before it runs, by what its cells stored.

Conventions
- A step opens with a heading or with prose, and takes in what follows as long as it fits the window. Prose that does
  not fit over its picture as a whole leaves its last paragraph there.
- A cell with the tag `projector-skip` is run and not shown.
- Heights are pixels of a window 1280 wide.

Source: the notebook format 4.5.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from typing import Any

from harmonylib.score.engraving import LINE_MM, PROJECTOR_MM

SKIP = "projector-skip"
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


def cut(cells: list[Cell]) -> list[Cell]:
    """The cells with their step, counted from 1, their section and their number in `metadata["projector"]`.

    Prose comes apart at its headings, and its last paragraph stands over the picture that it introduces.

    >>> chapter = [{"cell_type": "markdown", "metadata": {}, "source": "# One\\n\\nHello.\\n\\n## Two\\n\\nMore."}]
    >>> [(piece["source"], piece["metadata"]["projector"]["step"]) for piece in cut(chapter)]
    [('# One\\n\\nHello.', 1), ('## Two\\n\\nMore.', 2)]
    """
    pieces = [piece for number, cell in enumerate(cells) for piece in _pieces({**cell, "number": number})]
    steps: list[list[Cell]] = []
    for piece, after in zip(pieces, [*pieces[1:], None], strict=True):
        if not steps or _opens(piece, steps[-1], after):
            steps.append(_introduction(steps[-1], piece) if steps else [])
        steps[-1].append(piece)
    placed: list[Cell] = []
    section = ""
    for number, step in enumerate(steps, start=1):
        for piece in step:
            section = (heading(piece["source"]) if piece["cell_type"] == "markdown" else "") or section
            where = {"step": number, "section": section, "number": piece["number"], "makes": _makes(piece)}
            placed.append({**piece, "metadata": {**piece["metadata"], "projector": where}})
    return placed


def _makes(cell: Cell) -> bool:
    """Whether a code cell makes something that later ones may use: all do but those that only show."""
    if cell["cell_type"] != "code":
        return False
    try:
        return not all(isinstance(line, ast.Expr) for line in ast.parse(joined(cell["source"])).body)
    except SyntaxError:  # a magic command, say
        return True


def _opens(piece: Cell, step: list[Cell], after: Cell | None) -> bool:
    """Whether a piece opens a step of its own: it does where it does not fit, and as prose that leads to a picture."""
    tall, filled = height(piece), sum(map(height, step))
    if piece["cell_type"] != "markdown":
        return tall > 0 and filled > 0 and filled + tall > ROOM
    if filled + tall > ROOM:
        return True
    if not any(map(_shows, step)):  # prose alone waits for what it introduces
        return bool(step) and bool(re.match(r"#{1,2} ", piece["source"]))
    leads = after is not None and _shows(after)
    return bool(heading(piece["source"])) or leads or len(piece["source"]) >= REMARK


def _introduction(step: list[Cell], piece: Cell) -> list[Cell]:
    """The last paragraph of a step of prose, taken from it where it fits over the picture that it introduces."""
    if not _shows(piece) or any(map(_shows, step)):
        return []
    said = [number for number, one in enumerate(step) if one["cell_type"] == "markdown"]
    if len(said) < 2 or height(step[said[-1]]) + height(piece) > ROOM:
        return []
    taken = step[said[-1] :]
    del step[said[-1] :]
    return taken


def _shows(cell: Cell) -> bool:
    return cell["cell_type"] == "code" and height(cell) > 0


def _pieces(cell: Cell) -> Iterator[Cell]:
    """The cell, or its prose in paragraphs, a heading with its first one; no prose that is to be skipped."""
    if cell["cell_type"] != "markdown":
        yield cell
    elif SKIP not in cell["metadata"].get("tags", ()):
        parts, fenced = [""], False
        for line in joined(cell["source"]).splitlines(keepends=True):
            inside, fenced = fenced, fenced ^ line.startswith("```")
            alone = heading(parts[-1]) and "\n" not in parts[-1].strip()
            ended = parts[-1].endswith("\n\n") and not alone and not _GOES_ON.match(line)
            if not inside and (heading(line) or ended):
                parts.append("")
            parts[-1] += line
        for number, text in enumerate(filter(None, map(str.strip, parts))):
            yield {**cell, "source": text, "id": f"{cell.get('id', 'cell')}-{number}"}


_GOES_ON = re.compile(r"[-|\s]|\* |\d+\.|```")  # with a list, a table, code, or what is indented


def heading(text: str) -> str:
    found = re.match(r"#{1,3} +(.+)", text)
    return found[1].strip() if found else ""


def joined(text: str | list[str]) -> str:
    return text if isinstance(text, str) else "".join(text)


def height(cell: Cell) -> float:
    """About how high a cell stands on the wall, in pixels of a window 1280 wide, judged by what it stored."""
    if cell["cell_type"] == "markdown":
        parts = re.split(r"\n\n|\n(?=[-|\d])", cell["source"])
        return sum(_folded(part, PROSE_LETTERS) * PROSE_LINE + GAP for part in parts)
    if cell["cell_type"] != "code" or SKIP in cell["metadata"].get("tags", ()):
        return 0
    outputs = cell.get("outputs", [])
    if not outputs and not cell.get("execution_count"):
        return UNKNOWN  # it never ran, and may show anything
    controls = CONTROLS if outputs and WIDGET.search(joined(cell["source"])) else 0
    return sum(map(_output_height, outputs)) + controls


def _output_height(output: Mapping[str, Any]) -> float:
    data = output.get("data", {})
    html, svg = (joined(data.get(kind, "")) for kind in ("text/html", "image/svg+xml"))
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
    lines = joined(output.get("text", data.get("text/plain", ""))).rstrip().split("\n")
    return sum(_folded(line, TEXT_LETTERS) for line in lines) * TEXT_LINE + GAP


def _folded(text: str, letters: int) -> int:
    """Lines a paragraph takes where a line holds so many letters."""
    return max(1, -(-len(text) // letters))
