"""The chapters as texts: their scheme, their links, what they may import, and that the net under them holds."""

import ast
import pkgutil
import re
import subprocess
import sys
from collections.abc import Callable
from html import escape
from itertools import chain, pairwise
from pathlib import Path

import nbformat
import pytest

import harmonylib
from harmonylib.exercises.base import CLOSED
from harmonylib.exercises.catalogue import KINDS

CHAPTERS = Path(__file__).resolve().parent.parent / "chapters"
PATHS = sorted(CHAPTERS.glob("[0-9][0-9]_*.ipynb"))
NAMES = [path.stem for path in PATHS]
GLOSSARY = CHAPTERS / "glossary.ipynb"
OPENING = ("**What you'll do.**", "**What you'll learn.**", "**What you'll need.**")
CLOSING = ("## On your own", "## In practice", "## Roads not taken")


def book(path: Path) -> nbformat.NotebookNode:
    return nbformat.read(path, as_version=4)


def text_of(path: Path, kind: str) -> list[str]:
    return [cell.source for cell in book(path).cells if cell.cell_type == kind]


def test_there_are_chapters() -> None:
    assert "00_start_here" in NAMES


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_a_chapter_opens_and_closes_by_the_scheme(path: Path) -> None:
    prose = text_of(path, "markdown")
    number = int(path.name[:2])
    assert prose[0].startswith(f"# {number} · ")
    places = [prose[0].find(heading) for heading in OPENING]
    assert -1 < places[0] < places[1] < places[2]
    closing = "\n".join(prose[-1:])
    assert [heading for heading in CLOSING if heading not in closing] == []


@pytest.mark.parametrize("path", [*PATHS, GLOSSARY], ids=[*NAMES, "glossary"])
def test_links_lead_somewhere(path: Path) -> None:
    links = re.findall(r"\]\(([^)]+)\)", "\n".join(text_of(path, "markdown")))
    assert links, "a chapter links back or forward"
    pages = [link.partition("#") for link in links]
    assert [page for page, _, _ in pages if not (CHAPTERS / page).exists()] == []
    headings = re.findall(r"(?m)^### (.+)$", "\n".join(text_of(GLOSSARY, "markdown")))
    anchors = {heading.replace(" ", "-") for heading in headings}
    assert [place for _, _, place in pages if place and place not in anchors] == []


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_one_line_imports_all_and_the_edit_cell_follows(path: Path) -> None:
    code = text_of(path, "code")
    imports = [line for source in code for line in source.splitlines() if re.match(r"\s*(from|import)\b", line)]
    assert imports == ["from harmonylib import *"] == code[:1]
    assert any(
        re.match(rf"today = lesson\({int(path.name[:2])}\b", line) for line in chain(*map(str.splitlines, code[1:3]))
    )


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_a_cell_says_one_thing(path: Path) -> None:
    """No comprehension, loop or definition; no line over 90 letters, at most three lines, and most cells have one."""
    code = text_of(path, "code")
    kinds = (ast.comprehension, ast.For, ast.While, ast.If, ast.FunctionDef, ast.ClassDef, ast.Lambda, ast.JoinedStr)
    assert [source for source in code if any(isinstance(node, kinds) for node in ast.walk(ast.parse(source)))] == []
    lengths = sorted(len(source.splitlines()) for source in code)
    assert lengths[-1] <= 3
    assert lengths[len(lengths) // 2] == 1
    assert [line for source in code for line in source.splitlines() if len(line) > 90] == []


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_every_name_a_chapter_uses_is_there(path: Path) -> None:
    """Public, or given a value in a cell above; and no cell gives a public name another meaning."""
    public, known = set(harmonylib.__all__), set()
    for source in text_of(path, "code")[1:]:
        names = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Name)]
        stored = {node.id for node in names if isinstance(node.ctx, ast.Store)}
        assert stored & public == set()
        known |= stored
        assert [node.id for node in names if node.id not in public | known | {"True"}] == []


def test_no_public_name_is_hidden_by_a_room() -> None:
    """A package's own sub-packages are its attributes: a function of the same name would be out of reach."""
    rooms = {module.name for module in pkgutil.iter_modules(harmonylib.__path__)}
    assert rooms & set(harmonylib.__all__) == set()
    assert [name for name in harmonylib.__all__ if getattr(harmonylib, name) is None] == []


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_what_the_wall_shows_speaks_of_no_cells(path: Path) -> None:
    shown = [c for c in book(path).cells if "projector-skip" not in c.metadata.get("tags", ())]
    prose = "\n".join(cell.source for cell in shown if cell.cell_type == "markdown")
    assert re.findall(r"(?i)\bcells?\b|\brun (?:all|it|the|again)\b|Shift\+Enter", prose) == []


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_one_line_tells_to_run_all(path: Path) -> None:
    told = [c for c in book(path).cells if "choose Run, then Run All Cells" in c.source]
    assert [cell.metadata.get("tags") for cell in told] == [["projector-skip"]]


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_there_is_prose_enough_and_not_too_much(path: Path) -> None:
    body = "\n".join(text_of(path, "markdown")[1:]).split(CLOSING[0])[0]  # opening and closing are read, not played
    words = len(re.findall(r"\w+", re.sub(r"(?m)^\|.*$", "", body)))
    cells = len(text_of(path, "code"))
    assert 8 <= words / cells <= 60


@pytest.mark.parametrize("path", PATHS[:2], ids=NAMES[:2])
def test_there_is_something_to_play_on_every_screen(path: Path) -> None:
    """In the first chapters at most three cells in a row come between shapes, notation or sound, exercises apart."""
    pages, since = [], 0
    for cell in book(path).cells:
        if "## Exercises" in cell.source:
            break
        if cell.cell_type == "code":
            played = re.search(
                r"notation|hear|listen|grip|row|shapes|learnt|panel|names|strings|on_neck|twelve|reasons", cell.source
            )
            since = 0 if played else since + 1
            pages.append(since)
    assert max(pages) <= 3


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_every_code_cell_that_shows_something_keeps_it(path: Path) -> None:
    cells = [cell for cell in book(path).cells if cell.cell_type == "code"]
    assert all(cell.execution_count for cell in cells), "refresh the outputs"
    assert any("image/svg+xml" in output.get("data", {}) for cell in cells for output in cell.outputs)
    assert not [output for cell in cells for output in cell.outputs if output.output_type == "error"]


def _cut(path: Path, changed: Callable[[nbformat.NotebookNode], bool]) -> nbformat.NotebookNode:
    """A chapter to the end of its first cell that can be changed, which then is."""
    copy = book(path)
    copy.cells = copy.cells[: next(number for number, cell in enumerate(copy.cells) if changed(cell)) + 1]
    return copy


def _redrawn(cell: nbformat.NotebookNode) -> bool:
    drawn = [output.data for output in cell.get("outputs", ()) if "image/svg+xml" in output.get("data", {})]
    for data in drawn[:1]:
        data["image/svg+xml"] = data["image/svg+xml"].replace("<desc>", "<desc>!", 1)
    return bool(drawn)


def _edited(cell: nbformat.NotebookNode) -> bool:
    found = "reach_mm=105" in cell.source
    cell.source = cell.source.replace("reach_mm=105", "reach_mm=60")
    return found


@pytest.mark.slow
@pytest.mark.parametrize("changed", [_redrawn, _edited])
def test_the_net_holds_one_wrong_output_and_one_wrong_input(
    changed: Callable[[nbformat.NotebookNode], bool], tmp_path: Path
) -> None:
    """Of each chapter the cells before are found right, and the one that was changed is found wrong."""
    (tmp_path / "tunes").symlink_to(CHAPTERS / "tunes")
    copies = {path.name: _cut(path, changed) for path in PATHS}
    for name, copy in copies.items():
        nbformat.write(copy, tmp_path / name)
    command = [sys.executable, "-m", "pytest", "--nbval", "--nbval-cell-timeout=60", "-q", "-p", "no:cacheprovider"]
    command += ["-o", "addopts=", "-n", "2", "--dist", "loadfile", "--rootdir", ".", "-rf", "--tb=no", *copies]
    told = subprocess.run(command, capture_output=True, text=True, check=False, cwd=tmp_path).stdout
    cells = {name: sum(cell.cell_type == "code" for cell in copy.cells) for name, copy in copies.items()}
    assert sorted(re.findall(r"(?m)^FAILED (\S+)::Cell (\d+)", told)) == sorted(
        (name, str(number - 1)) for name, number in cells.items()
    ), told


# --- the course as a whole ----------------------------------------------------------------------------------------

ROOT = CHAPTERS.parent


def _public_functions() -> list[tuple[Path, str]]:
    """Every public function of the library, and the file that defines it."""
    return [
        (path, node.name)
        for path in sorted((ROOT / "harmonylib").rglob("*.py"))
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    ]


FOR_RECORDINGS = ("tuner.py: tune_up",)
"""For those who bring a recording of their own; the page's tuner does the same in the browser."""


def test_every_public_function_serves_a_chapter_a_command_or_another_room() -> None:
    doctests = re.compile(r"(?m)^\s*(>>>|\.\.\.).*$")
    called = re.compile(r"(?<!def )\b[a-z]\w*")
    rooms = [*ROOT.glob("harmonylib/**/*.py"), *ROOT.glob("widgets/*.py")]
    words = {path: set(called.findall(doctests.sub("", path.read_text(encoding="utf-8")))) for path in rooms}
    words |= {path: set(called.findall("\n".join(text_of(path, "code")))) for path in PATHS}
    idle = [
        f"{home.name}: {name}"
        for home, name in _public_functions()
        if not any(name in found for path, found in words.items() if path.name != "__init__.py" or path == home)
    ]
    assert [line for line in idle if line not in FOR_RECORDINGS] == []


def _glossary() -> set[str]:
    words = re.findall(r"(?m)^### (.+)$", "\n".join(text_of(GLOSSARY, "markdown")))
    return {word.strip().lower() for row in words for word in row.split(",")}


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_every_term_set_in_italics_stands_in_the_glossary_and_leads_there_once(path: Path) -> None:
    prose = re.sub(r"\*\*[^*]+\*\*|`[^`]+`", "", "\n".join(text_of(path, "markdown")))
    terms = {" ".join(term.lower().split()) for term in re.findall(r"(?<!\*)\*([^*\n][^*]*?)\*(?!\*)", prose)}
    known = _glossary()
    assert sorted(t for t in terms if t not in known and t.rstrip("s") not in known) == []
    places = re.findall(r"\]\(glossary\.ipynb#([^)]+)\)", prose)
    assert len(places) == len(set(places)) > 0


@pytest.mark.parametrize("path", PATHS[:8], ids=NAMES[:8])
def test_a_chapter_has_four_exercises_or_more_each_under_its_own_heading(path: Path) -> None:
    cells = book(path).cells
    asked = [place for place, cell in enumerate(cells) if cell.source.startswith("ask(")]
    assert len(asked) >= 4
    assert all(re.search(r"(?m)^### \d", cells[place - 1].source) for place in asked)


def shown_by(cell: nbformat.NotebookNode) -> list[dict[str, str]]:
    """What is stored of what a cell shows, by MIME type."""
    return [output.get("data", {}) for output in cell.get("outputs", ())]


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_every_exercise_is_a_box_and_without_a_kernel_its_question(path: Path) -> None:
    """No answer is written in code; what is stored is the question and one line, and no view that needs a kernel."""
    cells = [cell for cell in book(path).cells if cell.cell_type == "code"]
    assert [c.source for c in cells if re.search(r"\banswer\s*=|\.(check|hint|solution)\(", c.source)] == []
    asking = re.compile(rf"(ask|{'|'.join(KINDS)})\([^()]*\)")
    asked = [cell for cell in cells if re.search(rf"\b({asking.pattern})", cell.source)]
    assert [cell.source for cell in asked if not asking.fullmatch(cell.source)] == []
    assert len(asked) >= 1
    for cell in asked:
        (data,) = shown_by(cell)
        assert set(data) == {"text/html", "text/plain"}
        assert data["text/html"].startswith(f"<p>{escape(data['text/plain'])}</p>")
        assert data["text/html"].endswith(f"<p><em>{CLOSED}</em></p>")
        assert data["text/html"].count(CLOSED) == 1


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_nothing_shown_is_a_bare_list_number_or_truth(path: Path) -> None:
    data = [data for cell in book(path).cells for data in shown_by(cell)]
    assert data
    assert [text for d in data if re.match(r"[\[({'\"<]|(True|False|None|[\d.]+)$", text := d["text/plain"])] == []


@pytest.mark.parametrize("path", [*PATHS, GLOSSARY], ids=[*NAMES, "glossary"])
def test_headings_come_in_order_and_none_is_left_out(path: Path) -> None:
    levels = [len(sign) for sign in re.findall(r"(?m)^(#+) ", "\n".join(text_of(path, "markdown")))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert [pair for pair in pairwise(levels) if pair[1] > pair[0] + 1] == []
    shown = [data.get("text/html", "") for cell in book(path).cells for data in shown_by(cell)]
    assert [html[:80] for html in shown if re.search(r"<h[1-6]\b", html)] == [], "what a cell shows has no headings"


def outermost(html: str) -> list[str]:
    """The pictures of a text, each from its opening tag to its end; one within another belongs to it."""
    found, depth, start = [], 0, 0
    for tag in re.finditer(r"<svg\b[^>]*>|</svg>", html):
        if tag[0] == "</svg>":
            depth -= 1
            if not depth:
                found.append(html[start : tag.end()])
        else:
            start, depth = (start if depth else tag.start()), depth + 1
    return found


def undescribed(html: str) -> list[str]:
    """Pictures and players of a text that do not say what is seen or heard."""
    described = re.compile(r'<svg\b[^>]*\brole="img"[^>]*>\s*<title[^>]*>[^<]+</title>\s*<desc[^>]*>([^<]{12,})</desc>')
    mute = [picture for picture in outermost(html) if not described.match(picture)]
    mute += [tag for tag in re.findall(r"<img\b[^>]*>", html) if not re.search(r'\balt="[^"]{12,}"', tag)]
    return mute + [tag for tag in re.findall(r"<audio\b[^>]*>", html) if not re.search(r'aria-label="[^"]{6,}"', tag)]


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_every_picture_says_what_is_seen(path: Path) -> None:
    stored = [data for cell in book(path).cells for data in shown_by(cell)]
    assert [kind for data in stored for kind in data if kind in ("image/png", "image/jpeg")] == []
    shown = [data[kind] for data in stored for kind in ("image/svg+xml", "text/html") if kind in data]
    assert sum(map(len, map(outermost, shown))) >= 6
    assert [mute[:200] for html in shown for mute in undescribed(html)] == []
    assert undescribed('<svg><svg role="img"><title>C</title><desc>C: x3545x, fingers 1 3 2 4</desc></svg></svg>')
