"""README.md and DEVELOPERS.md: their pictures are what the code draws now, and what they name is there."""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path

import pytest

from tests.refresh import PICTURES, drawn

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PAPERS = {"README.md": README, "DEVELOPERS.md": DEVELOPERS}


def test_the_pictures_are_what_the_code_draws_now() -> None:
    assert {path.name: path.read_text(encoding="utf-8") for path in PICTURES.iterdir()} == drawn()


def test_the_readme_shows_every_picture_and_says_what_is_in_it() -> None:
    shown = re.findall(r"!\[([^\]]+)\]\(([^)]+)\)", README)
    assert sorted(path for _, path in shown) == sorted(f"chapters/pictures/{name}" for name in drawn())
    assert all(len(words) > 20 for words, _ in shown)


def test_the_readme_has_two_commands_and_the_second_runs_the_tests() -> None:
    commands = re.findall(r"(?ms)^```sh\n(.*?)^```$", README)
    assert README.count("```") == 4
    assert [command.split()[-1] for command in commands] == ["out", "pytest"]
    assert README.index("## Pass all tests") < README.index(commands[1])


@pytest.mark.parametrize("paper", PAPERS)
def test_every_path_it_names_is_there(paper: str) -> None:
    text = PAPERS[paper]
    links = re.findall(r"\]\(([^)#]+)\)", text)
    named = re.findall(r"`((?:[\w.-]+/)+[\w.-]*)`", text)
    assert links or named
    assert [path for path in links + named if not (ROOT / path).exists() and not path.startswith(".venv")] == []


def test_the_map_names_every_room() -> None:
    house = ROOT / "harmonylib"
    rooms = {path.parent.name for path in house.glob("*/__init__.py")} | {path.stem for path in house.glob("[!_]*.py")}
    rows = re.findall(r"(?m)^\| ((?:`\w+`(?:, )?)+) \|", DEVELOPERS)
    assert sorted(re.findall(r"\w+", " ".join(rows))) == sorted(rooms)


def test_every_table_stands_in_the_file_it_is_said_to_stand_in() -> None:
    pairs = re.findall(r"`([A-Z_]{4,})`(?: and `([A-Z_]{4,})`)? in `harmonylib/([\w/]+)\.py`", DEVELOPERS)
    assert len(pairs) >= 3
    for *names, path in pairs:
        module = import_module(f"harmonylib.{path.replace('/', '.')}")
        assert [name for name in names if name and name not in vars(module)] == []
