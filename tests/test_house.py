"""The house: arrows go one way, files and functions stay short, and every public name is where the registry says."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

import harmonylib
from tests.stub import FILE, homes, stub

ROOT = Path(harmonylib.__file__).parent.parent
FLOORS = (
    *("errors", "wording", "files", "settings", "theory", "guitar", "tunes", "arranging", "answering"),
    *("pictures", "sound", "score", "lessons", "exercises", "hearing", "classroom"),
)
"""The rooms of `harmonylib` from the ground up; the files on disk come before what draws and teaches with them."""

TOP = ("widgets", "harmonylib", "commands", "__main__")
"""What stands over all rooms: the widgets, the table of contents, and the commands."""

LIGHT = ("theory", "guitar", "arranging", "answering")
HEAVY = ("music21", "matplotlib", "verovio", "ipywidgets", "anywidget", "traitlets", "soundfile", "typst")

MOST_LINES, MOST_IN_A_FUNCTION = 400, 60


class Arrow(NamedTuple):
    """One import, wherever in a file it stands: who imports, at which line, which module, which names of it."""

    source: str
    line: int
    target: str
    names: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.source}:{self.line} imports {self.target}"


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


FILES = {module_name(path): path for top in ("harmonylib", "widgets") for path in sorted((ROOT / top).rglob("*.py"))}
TREES = {module: ast.parse(path.read_text(encoding="utf-8")) for module, path in FILES.items()}


def arrows_of(source: str, tree: ast.Module, modules: frozenset[str]) -> Iterator[Arrow]:
    """Every import of a file, those inside functions and under TYPE_CHECKING too, and modules fetched by their name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Arrow(source, node.lineno, alias.name, ())
        elif isinstance(node, ast.ImportFrom):
            home = "." * node.level + (node.module or "")
            for alias in node.names:
                inner = f"{home}.{alias.name}"
                yield Arrow(source, node.lineno, inner if inner in modules else home, (alias.name,))
        elif isinstance(node, ast.Call) and getattr(node.func, "id", getattr(node.func, "attr", "")) == "import_module":
            for argument in node.args[:1]:
                if isinstance(argument, ast.Constant):
                    yield Arrow(source, node.lineno, str(argument.value), ())


def arrows() -> list[Arrow]:
    return [arrow for module, tree in TREES.items() for arrow in arrows_of(module, tree, frozenset(FILES))]


def room(module: str) -> str:
    """The room a module lies in: `theory` of `harmonylib.theory.pitch`; `widgets` and `harmonylib` are their own."""
    first, _, rest = module.partition(".")
    return rest.partition(".")[0] or first if first == "harmonylib" else first


def floor(name: str) -> int:
    return (*FLOORS, *TOP).index(name)


def upward(found: list[Arrow]) -> list[str]:
    """Arrows that go up; the one exception is the table of contents, which fetches rooms and widgets when asked."""
    inside = [arrow for arrow in found if arrow.target.partition(".")[0] in ("harmonylib", "widgets")]
    return [str(a) for a in inside if floor(room(a.target)) > floor(room(a.source)) and a.source != "harmonylib"]


def circles(found: list[Arrow]) -> list[list[str]]:
    """Modules that import each other in a ring, one list a ring, whether at import or at run time."""
    targets: dict[str, set[str]] = {}
    for arrow in found:
        if arrow.target in FILES and arrow.source != "harmonylib":
            targets.setdefault(arrow.source, set()).add(arrow.target)
    rings, done = [], set()

    def visit(module: str, path: tuple[str, ...]) -> None:
        if module in path:
            rings.append([*path[path.index(module) :], module])
        elif module not in done:
            for target in sorted(targets.get(module, ())):
                visit(target, (*path, module))
            done.add(module)

    for module in sorted(targets):
        visit(module, ())
    return rings


def test_every_folder_is_a_room_of_the_map() -> None:
    assert {room(module) for module in FILES} <= {*FLOORS, *TOP}


def test_arrows_between_rooms_go_one_way() -> None:
    assert upward(arrows()) == []


def test_no_modules_import_each_other_in_a_ring() -> None:
    assert circles(arrows()) == []


def test_only_the_table_of_contents_fetches_widgets_and_late() -> None:
    fetching = {a.source for a in arrows() if room(a.target) == "widgets" and not a.source.startswith("widgets")}
    assert fetching <= {"harmonylib"}
    at_import = [
        ast.unparse(node) for node in TREES["harmonylib"].body if isinstance(node, ast.Import | ast.ImportFrom)
    ]
    assert not [line for line in at_import if "widgets" in line]


@pytest.mark.parametrize(
    ("source", "text"),
    [
        ("harmonylib.theory.pitch", "def f():\n    from harmonylib.guitar.neck import Neck"),
        ("harmonylib.guitar.neck", "if TYPE_CHECKING:\n    import harmonylib.tunes.tune"),
        ("harmonylib.score.pdf", "from harmonylib.classroom import store"),
        ("harmonylib.classroom.marks", "x = importlib.import_module('widgets.neck')"),
        ("harmonylib.tunes.tune", "from harmonylib import read"),
    ],
)
def test_an_arrow_that_goes_up_is_seen_wherever_it_stands(source: str, text: str) -> None:
    assert upward(list(arrows_of(source, ast.parse(text), frozenset(FILES))))


def test_a_ring_is_seen() -> None:
    there, back = "harmonylib.tunes.tune", "harmonylib.tunes.metre"
    assert circles([Arrow(there, 1, back, ()), Arrow(back, 2, there, ())]) == [[back, there, back]]
    assert circles([Arrow(there, 1, there, ())]) == [[there, there]]


def test_the_rooms_that_think_import_nothing_heavy() -> None:
    heavy = [str(a) for a in arrows() if room(a.source) in LIGHT and a.target.partition(".")[0] in HEAVY]
    assert heavy == []


def test_no_private_name_crosses_from_one_module_to_another() -> None:
    ours = [a for a in arrows() if a.target in FILES]
    crossing = [f"{a}: {name}" for a in ours for name in a.names if name.startswith("_") and name != "__main__"]
    assert crossing == []


def test_imports_are_written_out_in_full() -> None:
    assert [str(arrow) for arrow in arrows() if arrow.target.startswith(".")] == []


def test_files_are_short() -> None:
    lengths = {module: len(path.read_text(encoding="utf-8").splitlines()) for module, path in FILES.items()}
    lengths |= {
        path.name: len(path.read_text(encoding="utf-8").splitlines()) for path in (ROOT / "widgets").glob("**/*.js")
    }
    assert {name: lines for name, lines in lengths.items() if lines > MOST_LINES} == {}


def test_functions_are_short() -> None:
    long = {
        f"{module}.{node.name}": node.end_lineno - node.lineno + 1
        for module, tree in TREES.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.end_lineno
    }
    assert {name: lines for name, lines in long.items() if lines > MOST_IN_A_FUNCTION} == {}


def test_every_module_opens_with_what_it_alone_does() -> None:
    openings = {module: (ast.get_docstring(tree) or "").partition("\n")[0] for module, tree in TREES.items()}
    assert [module for module, opening in openings.items() if not opening] == []
    assert [opening for opening, count in Counter(openings.values()).items() if count > 1] == []


@pytest.mark.parametrize(("home", "names"), homes().items(), ids=list(homes()))
def test_every_public_name_is_in_its_room(home: str, names: tuple[str, ...]) -> None:
    module = importlib.import_module(home)
    assert [name for name in names if getattr(harmonylib, name) is not getattr(module, name)] == []


def test_a_public_name_has_one_room() -> None:
    listed = Counter(name for names in homes().values() for name in names)
    assert [name for name, count in listed.items() if count > 1] == []
    assert sorted(listed) == sorted(harmonylib.__all__)
    assert set(harmonylib.__all__) <= set(dir(harmonylib))


@pytest.mark.parametrize(("old", "new"), harmonylib.SUCCESSORS.items())
def test_a_name_that_is_gone_tells_its_successor(old: str, new: str) -> None:
    assert new in harmonylib.__all__
    with pytest.raises(AttributeError, match=rf"harmonylib\.{old} is now called {new}"):
        getattr(harmonylib, old)


def test_a_name_that_never_was_is_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'banjo'"):
        getattr(harmonylib, "banjo")  # noqa: B009


def test_the_stub_lists_what_the_registry_lists() -> None:
    assert FILE.read_text(encoding="utf-8") == stub(), "write it anew: python -m tests.stub"


def test_importing_the_library_is_quick_and_fetches_nothing() -> None:
    code = (
        "import sys, time; known = set(sys.modules); start = time.perf_counter(); import harmonylib; "
        "print(time.perf_counter() - start, *sorted(set(sys.modules) - known))"
    )
    said = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    seconds, *fetched = said.split()
    assert float(seconds) < 0.5
    assert "harmonylib" in fetched
    assert [name for name in fetched if name.partition(".")[0] in ("numpy", "widgets", *HEAVY)] == []
    assert [name for name in fetched if name.startswith("harmonylib.")] == []
