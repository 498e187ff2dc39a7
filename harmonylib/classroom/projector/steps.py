"""A chapter cut into the steps of the wall, before it runs, by what its cells stored.

Conventions
- Prose stands over the picture it leads to. Where it does not fit there as a whole it is folded to one line, of its
  heading and last sentence, and opens at a click; of more than half a wall only the last part stands there.
- Prose that leads to nothing stays under what it is about, or fills steps of its own; one or two lines do not fill one,
  and go to a neighbour. A sound stands on the step of its picture.
- A setting in prose, as in `tempo=20`, is read as words; what is about code or a terminal is not shown.
- A cell with the tag `projector-skip` is run and not shown.
- Heights are pixels of a window 1280 wide.

Source: the notebook format 4.5.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from typing import Any

from harmonylib.exercises import base, catalogue
from harmonylib.score.engraving import LINE_MM, PROJECTOR_MM

SKIP = "projector-skip"

# Heights are judged before anything is laid out; the page then draws a step together, or shows it in parts, where they
# are a little wrong. Pixels and letters in a window of 1280 by 720, as style sheet and themes make them.
ROOM, WIDTH = 642, 1226  # of the wall over its bar
PROSE_LETTERS, PROSE_LINE = 84, 37.8  # of a line of prose, of printed text
TEXT_LETTERS, TEXT_LINE = 72, 36.4
ROW_LETTERS, ROW_LINE, ROW_GAP = 80, 33.6, 9.4  # of a row of a table
GAP = 11  # after a paragraph
FOLD, FOLDED_LETTERS, BOLD = 45, 72, 1.15  # prose folded to a line, what fits there, how much wider a heading is
SUMMARY = 38  # the line of what opens under a picture
SMALL = 120  # what is no higher than three lines joins the step before it
THIN = 100  # what is no higher fills no step
SQUEEZE = 1.04  # so much too high is drawn together by the page
AUDIO, FORM, CONTROLS = 48, 110, 220  # a sound, the form of an answer, the controls of a panel
NECK, PLAYER = 380, 612  # a whole neck, a player with its music
UNKNOWN = 420  # a cell that never ran
LARGER, GRIPS = 1.15, 1.065  # larger letters make a picture taller, and one of grips a little
CLOSER = 0.82  # staff and tablature stand closer than on paper
PAPER = 490  # pictures of fewer grips than fill a row are narrower on paper, not on the wall
WIDGET = re.compile(r"\b(\w*Panel|NeckView|ScoreView|Player|panel)\(")  # stored without its controls
PLAYED = re.compile(r"^(play|hear_\w+)\(")  # stored as a sound, shown with a player and a neck
QUESTION = re.compile(r"\bask\(\w+, \"(\w+)\"")
SOUND = re.compile(r"^(.+)\.listen\(")
GRIP = re.compile(r"\b[x\d]{6}\b|\b[x\d]+(-[x\d]+){5}\b")

Cell = dict[str, Any]


def cut(cells: list[Cell]) -> list[Cell]:
    """The cells with their step, counted from 1, their section and their number in `metadata["projector"]`.

    Prose comes apart at its headings, and its last paragraph stands over the picture that it introduces.

    >>> chapter = [{"cell_type": "markdown", "metadata": {}, "source": "# One\\n\\nHello.\\n\\n## Two\\n\\nMore."}]
    >>> [(piece["source"], piece["metadata"]["projector"]["step"]) for piece in cut(chapter)]
    [('# One\\n\\nHello.', 1), ('## Two\\n\\nMore.', 2)]
    """
    pieces = [piece for number, cell in enumerate(cells) for piece in _pieces({**cell, "number": number})]
    placed: list[Cell] = []
    section = ""
    for number, step in enumerate(_filled(_steps(pieces)), start=1):
        for piece in step:
            section = (heading(piece["source"]) if piece["cell_type"] == "markdown" else "") or section
            where = {"step": number, "section": section, "number": piece["number"], "makes": _makes(piece)}
            where |= {"line": piece.get("line"), "folded": piece.get("folded", False), "sound": _plays(piece) != ""}
            placed.append({**piece, "metadata": {**piece["metadata"], "projector": where}})
    return placed


def _plays(cell: Cell) -> str:
    """What a cell makes heard, in its own words."""
    found = SOUND.match(joined(cell["source"])) if cell["cell_type"] == "code" else None
    return found[1] if found else ""


def _makes(cell: Cell) -> bool:
    """Whether a code cell makes something that later ones may use: all do but those that only show."""
    if cell["cell_type"] != "code":
        return False
    try:
        return not all(isinstance(line, ast.Expr) for line in ast.parse(joined(cell["source"])).body)
    except SyntaxError:  # a magic command, say
        return True


def _steps(pieces: list[Cell]) -> list[list[Cell]]:
    steps: list[list[Cell]] = []
    waiting: list[Cell] = []  # prose, until it is known what it leads to
    for piece, after in zip(pieces, [*pieces[1:], None], strict=True):
        leads = after is not None and _shows(after)
        if not any(map(height, waiting)) and _beside_its_picture(steps, piece):
            continue
        if _shows(piece):
            _lead(steps, waiting, piece)
            waiting = []
        elif not (steps and not waiting and not leads and _remarked(steps[-1], piece)):
            waiting.append(piece)
    _alone(steps, waiting)
    return steps


def _beside_its_picture(steps: list[list[Cell]], piece: Cell) -> bool:
    """Lay a sound on the step that shows what it plays, and say whether it has room there."""
    plays = _plays(piece)
    for place in reversed(range(len(steps))) if plays else ():
        shown = [cell for cell in steps[place] if _shows(cell) and cell["source"].splitlines()[-1:] == [plays]]
        if not shown:
            continue
        in_parts = any(height(cell) > ROOM and not _is_table(cell) for cell in shown)
        for step in (steps[place], _under_a_line(steps[place])):
            if in_parts or _tall(step) + height(piece) <= ROOM:
                steps[place] = [*step, piece]
                return True
    return False


def _filled(steps: list[list[Cell]]) -> list[list[Cell]]:
    """The steps, those of a sentence or two laid with a neighbour that has room."""
    filled: list[list[Cell]] = []
    ahead = list(steps)
    while ahead:
        step = ahead.pop(0)
        if not (_thin(step) and _given_to(filled, step, ahead)):
            filled.append(step)
    return filled


def _thin(step: list[Cell]) -> bool:
    return _tall(step) <= THIN and not any(piece.get("folded") or _heads(piece) for piece in step)


def _given_to(before: list[list[Cell]], thin: list[Cell], after: list[list[Cell]]) -> bool:
    """Lay a thin step over what it leads to, under what it is about, over what comes next, or in the line before it."""
    heard = any(map(_shows, thin))
    leads = bool(after) and _shows(after[0][0]) and not heard
    under = [[*before[-1], *thin]] if before else []
    over = [[*thin, *after[0]]] if after and not heard and not _titled(after[0]) else []
    if before and not heard and _tall(thin) > FOLD:
        under.append([*before[-1], *_folded_up(thin, last=False)])
    if leads:
        over.append([*_folded_up(thin, last=True), *after[0]])
    if before and _tall(before[-1][:1]) == FOLD:
        under.append(_in_the_line(before[-1], thin))
    for to, steps in ((after, over), (before, under)) if leads else ((before, under), (after, over)):
        now = 0 if to is after else -1
        for step in steps:
            room = ROOM * (SQUEEZE if leads or _tall(thin) < 2 * PROSE_LINE or not any(map(_shows, step)) else 1)
            if _tall(step) <= max(room, _tall(to[now])):
                to[now] = step
                return True
    return False


def _in_the_line(step: list[Cell], thin: list[Cell]) -> list[Cell]:
    """A step with the prose of a thin one in the line that stands over it."""
    said = [piece for piece in thin if not _shows(piece)]
    first = next((at for at, piece in enumerate(step) if not piece.get("folded")), 0)
    line = [{name: held for name, held in piece.items() if name not in ("line", "folded")} for piece in step[:first]]
    return [*_folded_up([*line, *said], last=True), *step[first:], *filter(_shows, thin)]


def _lead(steps: list[list[Cell]], prose: list[Cell], shown: Cell) -> None:
    """Lay what is shown on the wall, with the prose that leads to it."""
    if steps and not any(map(height, prose)) and _tall(steps[-1]) + height(shown) > ROOM:
        smaller = _under_a_line(steps[-1])
        if _tall(smaller) + height(shown) <= ROOM:  # a picture's sound stands beside it
            steps[-1] = smaller
    filled = _tall(steps[-1]) if steps and any(map(_shows, steps[-1])) else ROOM
    new = any(_heads(piece, most=2) for piece in prose)
    if not new and (not _tall(prose) or filled <= ROOM / 2 or height(shown) <= SMALL):
        for lead in (prose, _folded_up(prose, last=True)):
            if filled + _tall([*lead, shown]) <= ROOM:
                steps[-1] += [*lead, shown]
                return
    first = max((at for at, piece in enumerate(prose) if _heads(piece, most=2)), default=0)
    if _titled(prose[first:]):
        first = len(prose) - 1
    if _tall([*prose[first:], shown]) > ROOM and _tall(prose[first:]) > ROOM / 2:
        first = len(prose) - 1
    _alone(steps, prose[:first])
    over = prose[first:]
    if _tall([*over, shown]) > ROOM:
        if ROOM - FOLD < height(shown) <= ROOM and not _is_table(shown):  # which may be drawn together a little
            _alone(steps, over)
            over = []
        else:
            over = _folded_up(over, last=True)
    steps.append([*over, shown])


def _is_table(shown: Cell) -> bool:
    html = "".join(joined(output.get("data", {}).get("text/html", "")) for output in shown.get("outputs", []))
    return "<table" in html


def _remarked(step: list[Cell], piece: Cell) -> bool:
    """Whether a piece that leads to nothing is laid under what the step shows."""
    if not height(piece):
        step.append(piece)
        return True
    if heading(piece["source"]) or not any(map(_shows, step)):
        return False
    filled = _tall(step)
    if filled + height(piece) <= ROOM:
        step.append(piece)
    elif height(piece) > FOLD and filled + FOLD <= ROOM:
        step += _folded_up([piece], last=False)
    else:
        return False
    return True


def _alone(steps: list[list[Cell]], prose: list[Cell]) -> None:
    """Lay prose on steps of its own, as much on each as fits; the chapter's title page stays as it is."""
    fresh = True
    for piece in prose:
        if height(piece):
            full = fresh or _tall([*steps[-1], piece]) > ROOM or (_heads(piece, most=2) and _titled(steps[-1]))
            if not steps or (full and _tall(steps[-1])):
                steps.append([])
            fresh = False
        elif not steps:
            steps.append([])
        steps[-1].append(piece)


def _titled(step: list[Cell]) -> bool:
    return any(_heads(piece, most=1) for piece in step)


def _heads(piece: Cell, most: int = 3) -> bool:
    """Whether prose opens with a heading of so many marks at most."""
    return piece["cell_type"] == "markdown" and bool(re.match(f"#{{1,{most}}} ", piece["source"]))


def _folded_up(prose: list[Cell], last: bool) -> list[Cell]:
    """Prose folded to a line: its heading, if it has one, and its last or first sentence, as far as they fit."""
    told = [piece for piece in prose if piece["cell_type"] == "markdown"]
    if not told:
        return prose
    head = next(filter(None, (heading(piece["source"]) for piece in told)), "")
    said = [line for piece in told for line in _sentences(piece["source"])]
    sentence = said[-1 if last else 0] if said else ""
    if head and BOLD * len(head) + len(sentence) > FOLDED_LETTERS:
        head, sentence = ("", sentence) if len(sentence) <= FOLDED_LETTERS and not _named(head) else (head, "")
    if len(sentence) > FOLDED_LETTERS:
        sentence = sentence[: FOLDED_LETTERS - 1].rsplit(" ", 1)[0] + " …"
    line = {"head": head, "sentence": sentence}
    folded = [{**piece, "folded": True} for piece in prose]
    return [{**folded[0], "line": line}, *folded[1:]]


def _under_a_line(step: list[Cell]) -> list[Cell]:
    """A step with the prose that leads to its picture folded up."""
    first = next((at for at, piece in enumerate(step) if _shows(piece)), 0)
    over = step[:first]
    return step if any(piece.get("folded") for piece in over) else [*_folded_up(over, last=True), *step[first:]]


def _named(head: str) -> bool:
    """Whether a heading says more than a sentence under it: those of exercises do."""
    return bool(re.match(r"\d", head))


def _sentences(text: str) -> list[str]:
    """The sentences of prose without its heading, as plain words."""
    words = re.sub(r"(?m)^#+ .*$", "", text)
    words = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", words)
    words = " ".join(re.sub(r"[*`]|(?m:^(-|\d+\.) )", "", words).split())
    return [said.strip() for said in re.findall(r".+?[.!?:](?= [A-Z]|$)|.+$", words)]


def _tall(pieces: list[Cell]) -> float:
    """How high pieces stand on the wall; what is folded takes one line."""
    lines = sum(FOLD for piece in pieces if piece.get("line"))
    return lines + sum(height(piece) for piece in pieces if not piece.get("folded"))


def _shows(cell: Cell) -> bool:
    return cell["cell_type"] == "code" and height(cell) > 0


def _pieces(cell: Cell) -> Iterator[Cell]:
    """The cell, or its prose in paragraphs, a heading with its first one; no prose that is to be skipped."""
    if cell["cell_type"] != "markdown":
        yield {**cell, "source": joined(cell.get("source", ""))}
    elif SKIP not in cell["metadata"].get("tags", ()):
        parts, fenced = [""], False
        for line in joined(cell["source"]).splitlines(keepends=True):
            inside, fenced = fenced, fenced ^ line.startswith("```")
            alone = heading(parts[-1]) and "\n" not in parts[-1].strip()
            ended = parts[-1].endswith("\n\n") and not alone and not _GOES_ON.match(line)
            if not inside and (heading(line) or ended):
                parts.append("")
            parts[-1] += line
        for number, text in enumerate(filter(None, map(_spoken, parts))):
            yield {**cell, "source": text, "id": f"{cell.get('id', 'cell')}-{number}"}


_GOES_ON = re.compile(r"[-|\s]|\* |\d+\.|```")  # with a list, a table, code, or what is indented


def _spoken(text: str) -> str:
    """Prose as it is said to a class: a setting in words; nothing where it is about code or a terminal."""
    text = re.sub(r"`(\w+)=([^`]*)`", lambda named: f"{named[1]} " + re.sub(r'[()"]', "", named[2]), text)
    return "" if re.search(r"(?<!`)`[^`]*(\w\(|python -m )[^`]*`(?!`)", text) else text.strip()


def heading(text: str) -> str:
    found = re.match(r"#{1,3} +(.+)", text)
    return found[1].strip() if found else ""


def joined(text: str | list[str]) -> str:
    return text if isinstance(text, str) else "".join(text)


def height(cell: Cell) -> float:
    """About how high a cell stands on the wall, in pixels of a window 1280 wide, judged by what it stored."""
    if cell["cell_type"] == "markdown":
        parts = re.split(r"\n\n|\n(?=[-|\d])", re.sub(r"\]\([^)]*\)", "", cell["source"]))
        return sum(_folded(part, PROSE_LETTERS) * PROSE_LINE + GAP for part in parts)
    if cell["cell_type"] != "code" or SKIP in cell["metadata"].get("tags", ()):
        return 0
    outputs = cell.get("outputs", [])
    if not outputs and not cell.get("execution_count"):
        return UNKNOWN  # it never ran, and may show anything
    source = joined(cell["source"]) if outputs else ""
    if PLAYED.match(source):
        return PLAYER
    shown = sum(map(_output_height, outputs))
    if asked := QUESTION.search(source):
        on_neck = asked[1] in catalogue.KINDS and base.REGISTRY[asked[1]].grips
        neck = NECK if on_neck and shown < NECK else 0  # it takes turns with the picture
        return min(ROOM - FOLD, shown + neck + FORM)  # what is higher comes in parts
    return shown + (CONTROLS if WIDGET.search(source) else 0)


def _output_height(output: Mapping[str, Any]) -> float:
    data = output.get("data", {})
    html, svg = (joined(data.get(kind, "")) for kind in ("text/html", "image/svg+xml"))
    if "<audio" in html:
        return AUDIO
    frame = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', html or svg)
    picture = WIDTH * float(frame[2]) / max(PAPER, float(frame[1])) if frame else 0.0
    if 'class="system"' in (html or svg):  # engraved bars come out larger on the wall
        picture *= CLOSER * LINE_MM / PROJECTOR_MM
    else:
        picture *= GRIPS if GRIP.search(joined(data.get("text/plain", ""))) else LARGER
    if "<details" in html:
        return picture + SUMMARY
    if html and html != svg:
        picture += sum(map(_table_height, re.findall(r"(?s)<table.*?</table>", html)))
        html = re.sub(r"(?s)<table.*</table>", "", html)
        words = re.sub(r"(?s)<svg.*</svg>|<[^>]*>", "", html).strip()
        return picture + GAP + (_folded(words, PROSE_LETTERS) * PROSE_LINE if words else 0)
    if svg or any(kind.startswith("image/") for kind in data):
        return picture or UNKNOWN
    lines = joined(output.get("text", data.get("text/plain", ""))).rstrip().split("\n")
    return sum(_folded(line, TEXT_LETTERS) for line in lines) * TEXT_LINE + GAP


def _table_height(html: str) -> float:
    """Every column as wide as its longest cell, but the widest one folds where that is more than the wall."""
    rows = [re.findall(r"(?s)<t[hd].*?>(.*?)</t[hd]>", row) for row in re.findall(r"(?s)<tr>.*?</tr>", html)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=False)]
    widest = max(range(len(widths)), key=widths.__getitem__, default=0)
    room = max(ROW_LETTERS // 4, ROW_LETTERS - sum(widths, 2 * len(widths)) + max(widths, default=0))
    return sum(_folded("".join(row[widest : widest + 1]), room) * ROW_LINE + ROW_GAP for row in rows)


def _folded(text: str, letters: int) -> int:
    """Lines a paragraph takes where a line holds so many letters."""
    return max(1, -(-len(text) // letters))
