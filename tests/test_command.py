"""The command as a person runs it: exit codes, one clear line for what cannot serve, files whole or not at all."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from harmonylib.__main__ import main
from harmonylib.commands.terminal import python_name
from harmonylib.settings import CLASS_FILE

TUNES = Path(__file__).resolve().parent.parent / "chapters" / "tunes"
BLUES = str(TUNES / "slate_roof_blues.abc")


class Told(NamedTuple):
    """What came of a command."""

    code: object
    out: str
    err: str


@pytest.fixture
def told_by(capsys: pytest.CaptureFixture[str]) -> Callable[..., Told]:
    """A function that runs the command in this process."""

    def run(*arguments: str) -> Told:
        try:
            code: object = main(list(arguments))
        except SystemExit as ended:
            code = ended.code
        return Told(code, *capsys.readouterr())

    return run


def test_arrange_writes_four_files_and_says_every_note(tmp_path: Path) -> None:
    """In a process of its own."""
    command = [sys.executable, "-m", "harmonylib", "arrange", BLUES, "--out", str(tmp_path / "new")]
    done = subprocess.run(
        [*command, "--density", "every"], capture_output=True, text=True, check=False, encoding="utf-8"
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    names = {path.name for path in (tmp_path / "new").iterdir()}
    assert names == {f"slate_roof_blues{suffix}" for suffix in (".musicxml", ".mid", ".pdf", ".csv")}
    lines = done.stdout.splitlines()
    assert lines[0] == "Slate Roof Blues (written for this course)"
    assert sum(" is the " in line or " is foreign " in line or " stays single" in line for line in lines) == 41
    assert lines[-1].endswith("-m harmonylib course")


def test_the_same_command_writes_the_same_bytes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for folder in ("one", "two"):
        assert main(["arrange", BLUES, "--out", str(tmp_path / folder), "--answers", "0.5", "--seed", "7"]) == 0
    one, two = ({p.name: p.read_bytes() for p in (tmp_path / f).iterdir()} for f in ("one", "two"))
    assert one == two
    assert "gaps are answered" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["arrange", "no_such_tune.abc"], "was not found"),
        (["arrange", str(TUNES)], "is a folder"),
        (["arrange", BLUES, "--density", "some"], "invalid choice: 'some'"),
        (["arrange", BLUES, "--reach", "5"], "a hand reaches between 20 and 250 mm"),
        (["arrange", BLUES, "--frets", "99"], "a neck here has 1 to 22"),
        (["arrange", BLUES, "--key", "H"], "'H' is not a note name"),
        (["arrange", BLUES, "--key", "G major"], "the tune is in G minor"),
        (["arrange", BLUES, "--tempo", "0"], "choose 10 to 600"),
        (["arrange", BLUES, "--tuning", "E2 A2"], "write 4 to 10 pitches"),
        (["arrange", BLUES, "--number", "2"], "tune"),
        (["arrange", BLUES, "--answers", "2"], "between 0 and 1"),
        (["arrange", BLUES, "--answers", "--breath", "9"], "beats that stay free before the next call, 0 to 4"),
        (["arrange", BLUES, "--answers", "--rhythms", "0"], "0 rhythms: a chorus lives on 1 to"),
        (["arrange", BLUES, "--answers", "--answer-cost", "speed=1"], "'speed' is not a cost of an answer"),
        (["conquer"], "invalid choice: 'conquer'"),
    ],
)
def test_what_cannot_serve_gets_one_line_and_code_2(
    arguments: list[str], told: str, tmp_path: Path, told_by: Callable[..., Told]
) -> None:
    extra = ["--out", str(tmp_path / "out")] if arguments[0] == "arrange" else []
    done = told_by(*arguments, *extra)
    assert done.code == 2
    assert done.out == ""
    assert done.err.startswith("harmonylib: ")
    assert done.err.count("\n") == 1
    assert told in done.err
    assert not (tmp_path / "out").exists()


def test_a_refusal_ends_a_process_with_code_2_and_one_line(tmp_path: Path) -> None:
    """What the tests above see in their own process is what a shell sees."""
    command = [sys.executable, "-m", "harmonylib", "arrange", "no_such_tune.abc", "--out", str(tmp_path / "out")]
    done = subprocess.run(command, capture_output=True, text=True, check=False, encoding="utf-8")
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert done.stderr.startswith("harmonylib: ")


def test_a_folder_that_is_a_file_is_refused_and_left_alone(tmp_path: Path, told_by: Callable[..., Told]) -> None:
    blocked = tmp_path / "out"
    blocked.write_text("mine")
    done = told_by("arrange", BLUES, "--out", str(blocked))
    assert done.code == 2
    assert "nothing was written" in done.err
    assert blocked.read_text() == "mine"


def test_the_key_moves_chords_and_melody(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["arrange", BLUES, "--out", str(tmp_path), "--key", "Am"]) == 0
    printed = capsys.readouterr().out
    assert "A minor, 112 quarter notes a minute" in printed
    assert "Note: moved from G minor to A minor" in printed


@pytest.mark.few(1)
@pytest.mark.parametrize(("kind", "opening"), [("wav", b"RIFF"), ("mp3", b"\xff")])
def test_sound_is_written_beside_the_rest(kind: str, opening: bytes, tmp_path: Path) -> None:
    assert main(["arrange", BLUES, "--out", str(tmp_path), "--sound", kind]) == 0
    written = (tmp_path / f"slate_roof_blues.{kind}").read_bytes()
    assert written.startswith(opening)
    assert len(list(tmp_path.iterdir())) == 5


def test_the_help_names_every_option(told_by: Callable[..., Told]) -> None:
    told = told_by("arrange", "--help").out
    for option in ("TUNE", "--out", "--density", "--key", "--reach", "--frets", "--tempo", "--seed", "--answers"):
        assert option in told
    assert "None" not in told


def test_taste_is_set_on_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tune = tmp_path / "held.abc"
    tune.write_text('X:1\nT:Held\nM:4/4\nL:1/4\nQ:1/4=80\nK:C\n"G7"c2 B2|"Cmaj7"E4|\n')
    out = ["--out", str(tmp_path)]
    assert main(["arrange", str(tune), *out, "--foreign", "enriched", "--density", "every"]) == 0
    assert "the chord is G7sus4, until the third comes" in capsys.readouterr().out
    assert main(["arrange", str(tune), *out, "--stage", "roots"]) == 0
    assert "the root G lies under it" in capsys.readouterr().out
    assert main(["arrange", str(tune), *out, "--stage", "answers", "--hand", "one set", "--cost", "travel=0.3"]) == 0
    assert " → " in capsys.readouterr().out
    for odd, why in (("speed=1", "'speed' is not a cost"), ("travel", "write a name and a number, as in travel=0.05")):
        assert main(["arrange", str(tune), *out, "--cost", odd]) == 2
        assert why in capsys.readouterr().err


def test_answers_are_asked_for_on_the_command_line_and_in_the_file_of_the_class(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def chords(*arguments: str) -> int:
        assert main(["arrange", BLUES, "--out", str(tmp_path), "--answers", "1", *arguments]) == 0
        return sum(" → " in line for line in capsys.readouterr().out.splitlines())

    monkeypatch.delenv(CLASS_FILE)
    monkeypatch.chdir(tmp_path)
    plain = chords()
    assert chords("--breath", "3") < plain, "more breath leaves room for fewer"
    (tmp_path / "class.toml").write_text("[answers]\nbreath = 3\nswing = true\n")
    of_class = chords()
    assert of_class < plain
    assert chords("--breath", "0.5", "--rhythms", "3", "--answer-cost", "cover=3") > of_class


def test_the_command_goes_before_the_file_of_the_class(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "class.toml").write_text('[arrange]\nstage = "melody"\n[neck]\ncapo = 2\n')
    (tmp_path / "tune.abc").write_text('X:1\nT:T\nM:4/4\nL:1/4\nQ:1/4=80\nK:C\n"Cmaj7"e4|\n')
    monkeypatch.delenv(CLASS_FILE)
    monkeypatch.chdir(tmp_path)
    assert main(["arrange", "tune.abc"]) == 0
    printed = capsys.readouterr().out
    assert "this stage plays the melody alone" in printed
    assert "capo at fret 2" in printed
    assert main(["arrange", "tune.abc", "--stage", "chords", "--capo", "0"]) == 0
    printed = capsys.readouterr().out
    assert "E is the third of Cmaj7" in printed
    assert "capo" not in printed


def test_a_python_in_a_folder_with_a_space_can_be_typed_as_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for folder, told in ((".venv", ".venv/bin/python"), ("my é", '"my é/bin/python"')):
        monkeypatch.setattr(sys, "executable", str(tmp_path / folder / "bin" / "python"))
        assert python_name().replace("\\", "/") == told
