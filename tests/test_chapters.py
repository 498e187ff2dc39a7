"""The chapters as texts: their scheme, their links, what they may import, and that the net under them holds."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest
from ipywidgets import Widget

CHAPTERS = Path(__file__).resolve().parent.parent / "chapters"
PATHS = sorted(CHAPTERS.glob("[0-9][0-9]_*.ipynb"))
NAMES = [path.stem for path in PATHS]
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


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_links_lead_somewhere(path: Path) -> None:
    links = re.findall(r"\]\(([^)]+)\)", "\n".join(text_of(path, "markdown")))
    assert links, "a chapter links back or forward"
    assert [link for link in links if not (CHAPTERS / link).exists()] == []


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_cells_are_short_and_define_nothing(path: Path) -> None:
    code = text_of(path, "code")
    for source in code:
        tree = ast.parse(source)
        assert not [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Lambda)]
    assert [source for source in code[1:] if len(source.splitlines()) > 6] == []


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_only_the_library_is_imported_and_by_name(path: Path) -> None:
    for number, source in enumerate(text_of(path, "code")):
        for node in ast.walk(ast.parse(source)):
            assert not isinstance(node, ast.Import)
            if isinstance(node, ast.ImportFrom):
                assert number == 0, "the set-up is the first cell"
                assert node.module in ("harmonylib", "widgets")


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_there_is_prose_enough_and_not_too_much(path: Path) -> None:
    body = "\n".join(text_of(path, "markdown")[1:]).split(CLOSING[0])[0]  # opening and closing are read, not run
    words = len(re.findall(r"\w+", re.sub(r"(?m)^\|.*$", "", body)))
    lines = sum(len(source.splitlines()) for source in text_of(path, "code"))
    assert 8 <= words / lines <= 25


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_every_code_cell_that_shows_something_keeps_it(path: Path) -> None:
    cells = [cell for cell in book(path).cells if cell.cell_type == "code"]
    assert all(cell.execution_count for cell in cells), "refresh the outputs"
    assert any("image/svg+xml" in output.get("data", {}) for cell in cells for output in cell.outputs)
    assert not [output for cell in cells for output in cell.outputs if output.output_type == "error"]


def _nbval(path: Path) -> int:
    """The exit code of a comparison that stops at the first wrong cell."""
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-x", "--nbval", "--nbval-cell-timeout=60", "-q", "-p", "no:cacheprovider"]
        + ["-o", "addopts=", "--rootdir", str(path.parent), str(path)],
        capture_output=True,
        check=False,
        cwd=path.parent,
    ).returncode


def _copied(path: Path, folder: Path) -> nbformat.NotebookNode:
    (folder / "tunes").symlink_to(CHAPTERS / "tunes")
    return book(path)


tampered = pytest.mark.parametrize(
    "path", [PATHS[0], *(pytest.param(path, marks=pytest.mark.slow) for path in PATHS[1:])], ids=NAMES
)


@tampered
def test_one_wrong_output_fails(path: Path, tmp_path: Path) -> None:
    copy = _copied(path, tmp_path)
    drawn = next(o for cell in copy.cells for o in cell.get("outputs", ()) if "image/svg+xml" in o.get("data", {}))
    drawn["data"]["image/svg+xml"] = drawn["data"]["image/svg+xml"].replace("<desc>", "<desc>!", 1)
    nbformat.write(copy, tmp_path / path.name)
    assert _nbval(tmp_path / path.name) == 1


@tampered
def test_one_wrong_input_fails(path: Path, tmp_path: Path) -> None:
    copy = _copied(path, tmp_path)
    edited = next(cell for cell in copy.cells if "reach_mm=105" in cell.source)
    edited.source = edited.source.replace("reach_mm=105", "reach_mm=60")
    nbformat.write(copy, tmp_path / path.name)
    assert _nbval(tmp_path / path.name) == 1


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


def test_every_public_function_serves_a_chapter_a_command_or_another_room() -> None:
    texts = {
        path: path.read_text(encoding="utf-8")
        for path in [*ROOT.glob("harmonylib/**/*.py"), *ROOT.glob("widgets/*.py")]
    }
    texts |= {path: "\n".join(text_of(path, "code")) for path in PATHS}
    idle = []
    for home, name in _public_functions():
        calls = re.compile(rf"(?<!def )\b{name}\b")
        doctests = re.compile(r"^\s*(>>>|\.\.\.).*$", re.MULTILINE)
        used = any(
            calls.search(doctests.sub("", text))
            for path, text in texts.items()
            if path.name != "__init__.py" or path == home
        )
        if not used:
            idle.append(f"{home.name}: {name}")
    assert idle == []


def _glossary() -> set[str]:
    table = "\n".join(text_of(CHAPTERS / "00_start_here.ipynb", "markdown")).split("## Words used here")[1]
    rows = re.findall(r"(?m)^\| ([^|]+?) \|", table)
    return {word.strip().lower() for row in rows[1:] for word in row.split(",")}


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_every_term_set_in_italics_stands_in_the_glossary(path: Path) -> None:
    prose = re.sub(r"\*\*[^*]+\*\*|`[^`]+`", "", "\n".join(text_of(path, "markdown")))
    terms = {" ".join(term.lower().split()) for term in re.findall(r"(?<!\*)\*([^*\n][^*]*?)\*(?!\*)", prose)}
    known = _glossary()
    assert sorted(t for t in terms if t not in known and t.rstrip("s") not in known) == []


@pytest.mark.parametrize("path", PATHS[1:7], ids=NAMES[1:7])
def test_a_chapter_has_four_exercises_or_more_and_an_edit_cell(path: Path) -> None:
    code = text_of(path, "code")
    assert sum("check(answer" in source for source in code) >= 4
    assert "Neck(" in code[1]


def _run(source: str, names: dict[str, object]) -> object:
    """The value of a cell's last line, run in this process among the names of the cells before it."""
    *body, last = ast.parse(source).body
    shown = isinstance(last, ast.Expr)
    exec(compile(ast.Module(body if shown else [*body, last], []), "cell", "exec"), names)
    return eval(compile(ast.Expression(last.value), "cell", "eval"), names) if isinstance(last, ast.Expr) else None


@pytest.mark.parametrize("path", PATHS, ids=NAMES)
def test_solutions_turn_every_check_right(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    copy = _copied(path, tmp_path)
    stubs = [cell for cell in copy.cells if cell.cell_type == "code" and cell.source.startswith("answer = ...")]
    for cell in stubs:
        task = re.search(r"(\w+)\.check\(answer\)", cell.source)
        assert task, "the check stands under its answer"
        cell.source = cell.source.replace("answer = ...", f"answer = {task[1]}.solution()")
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    values = {id(cell): _run(cell.source, names) for cell in copy.cells if cell.cell_type == "code"}
    Widget.close_all()
    replies = [repr(values[id(cell)]) for cell in stubs]
    assert len(replies) >= 4
    assert [reply for reply in replies if not reply.startswith("Right")] == []
