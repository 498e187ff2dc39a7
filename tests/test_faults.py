"""Faults while writing (full disks, closed folders, kills, two runs, readers that leave): whole files, one line."""

from __future__ import annotations

import errno
import itertools
import os
import resource
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from harmonylib import files
from harmonylib.__main__ import main
from harmonylib.classroom.repertoire import survey
from harmonylib.classroom.store import STORE
from harmonylib.errors import HarmonyError
from harmonylib.files import LOCK, PASSING, write_together

ROOT = Path(__file__).resolve().parent.parent
TUNE = 'X:1\nT:Four bars\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"Cmaj7"E2 G D|"Dm7"F2 A2|"G7"B2 G2|"C6"E4|\n'
SET = 'title = "Monday"\n[[tasks]]\nkind = "spell"\nchord = "Ebm7"\n[[tasks]]\nkind = "drop"\nchord = "C7"\n'
ANSWERED = '{"cells": [{"cell_type": "code", "source": "answer_01 = \'Eb Gb Bb Db\'"}], "metadata": {}}'
COMMANDS = {
    # command          its arguments                                                what it writes
    "arrange": (["arrange", "tune.abc"], {f"tune.{s}" for s in ("musicxml", "mid", "pdf", "csv")}),
    "survey": (["survey", "."], {"survey.csv", "survey.pdf", "survey.svg"}),
    "worksheet": (["worksheet", "set.toml"], {"set_sheet.pdf", "set_key.pdf", "set_learner.ipynb"}),
    "mark": (["mark", "back", "--key", "set.toml"], {"marks.csv", "class_overview.pdf", "class_overview.svg"}),
}
OF_ITS_OWN = [pytest.param(name, marks=[pytest.mark.slow] if name != "arrange" else []) for name in COMMANDS]
"""Commands that are run in a process of their own: one always, the others where slow tests are asked for."""
posix = pytest.mark.skipif(os.name != "posix", reason="asks for signals, fork and limits of a process")


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The current folder, with all that the commands read and an old set of what they write in `out`."""
    (tmp_path / "tune.abc").write_text(TUNE)
    (tmp_path / "set.toml").write_text(SET)
    (tmp_path / "back").mkdir()
    (tmp_path / "back" / "anna.ipynb").write_text(ANSWERED)
    (tmp_path / "out").mkdir()
    for name in itertools.chain.from_iterable(names for _, names in COMMANDS.values()):
        (tmp_path / "out" / name).write_bytes(b"old")
    with ThreadPoolExecutor(1) as executor:
        survey(tmp_path, tmp_path / "out", executor=executor)  # so that the command starts no processes
    monkeypatch.chdir(tmp_path)
    return tmp_path


def content(folder: Path) -> dict[str, bytes]:
    """All files of a folder, hidden ones too, by name."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def without_store(found: dict[str, bytes]) -> dict[str, bytes]:
    """What a survey knows already grows row by row and is not part of the set."""
    return {name: data for name, data in found.items() if name != STORE}


def child(code: str, *arguments: str, **how: Any) -> subprocess.CompletedProcess[str]:
    """Python code in a process of its own, which may use `main` and `sys.argv[1:]`."""
    opening = "import os, signal, sys\nfrom harmonylib.__main__ import main\n"
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}  # none is cut short
    how = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "env": environment, "timeout": 60} | how
    return subprocess.run([sys.executable, "-c", opening + code, *arguments], text=True, check=False, **how)


RUN = "sys.exit(main(sys.argv[1:]))"


def one_line(said: str) -> str:
    """What a command that fails says on standard error: one line."""
    assert said.startswith("harmonylib: ")
    assert said.count("\n") == 1
    return said


# --- no room, no way in -------------------------------------------------------------------------------------------


@pytest.mark.slow
@posix
@pytest.mark.parametrize("command", OF_ITS_OWN)
def test_a_file_that_finds_no_room_is_told_and_the_old_set_stays(command: str, desk: Path) -> None:
    """A limit on the size of a file stands for a full disk: it takes no rights and fills nothing."""
    before = content(desk / "out")

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))

    done = child(RUN, *COMMANDS[command][0], "--out", "out", preexec_fn=limited)
    assert (done.returncode, done.stdout) == (2, "")
    assert "written to the folder 'out': File too large" in one_line(done.stderr)
    assert content(desk / "out") == before


@pytest.mark.slow
@posix
def test_on_a_full_disk_nothing_is_written(desk: Path) -> None:
    """A real one, of 30 kB, that only this child sees."""
    inside = (
        'mount -t tmpfs -o size=30k none out || exit 77; "$@" >told 2>&1; echo $?; cat told; echo; ls -A out; '
        "head -c 20k /dev/zero >out/fill"
    )
    try:
        done = subprocess.run(
            ["unshare", "--map-root-user", "--mount", "sh", "-c", inside, "sh", sys.executable, "-m", "harmonylib"]
            + [*COMMANDS["arrange"][0], "--out", "out"],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=False,
        )
    except FileNotFoundError:
        pytest.skip("no unshare on this machine")
    if "Operation not permitted" in done.stderr or done.returncode == 77:
        pytest.skip("this machine lets nobody mount a disk of his own")
    code, said, nothing, *left = done.stdout.split("\n")
    assert (code, nothing, left) == ("2", "", ["", ""][: len(left)])
    assert "No space left on device" in one_line(f"{said}\n")


CLOSED = {
    "a file": lambda path: path.write_text("mine"),
    "below a file": lambda path: (path.parent / "file").write_text("mine"),
    "a dangling link": lambda path: path.symlink_to(path.parent / "nowhere"),
    "a link to itself": lambda path: path.symlink_to(path),
    "a folder closed to writers": lambda path: path.mkdir(mode=0o500),
    "a folder of the system": lambda path: path.symlink_to("/proc"),
    "too long a name": lambda path: None,
}


@pytest.mark.few(8)
@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("kind", CLOSED)
def test_a_folder_that_takes_no_files_is_refused_in_one_line(
    kind: str, command: str, desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if kind == "a folder closed to writers" and os.geteuid() == 0:
        pytest.skip("no folder is closed to the super-user")
    if kind == "a folder of the system" and not Path("/proc/self").exists():
        pytest.skip("this system has no /proc")
    target = desk / ("n" * 300 if kind == "too long a name" else "closed")
    CLOSED[kind](target)
    before = content(desk)
    out = desk / "file" / "closed" if kind == "below a file" else target
    assert main([*COMMANDS[command][0], "--out", str(out)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert str(out) in one_line(told.err)
    assert "written to" in told.err
    assert content(desk) == before


@pytest.mark.few(2)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_folder_or_pipe_in_the_place_of_a_file_is_kept(
    command: str, desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for make in (lambda path: path.mkdir(), os.mkfifo) if hasattr(os, "mkfifo") else (lambda path: path.mkdir(),):
        name = sorted(COMMANDS[command][1])[-1]
        path = desk / "out" / name
        path.rmdir() if path.is_dir() else path.unlink()
        make(path)
        before = content(desk / "out")
        assert main([*COMMANDS[command][0], "--out", "out"]) == 2
        assert name in one_line(capsys.readouterr().err)
        assert content(desk / "out") == before
        assert path.exists()


def test_a_link_is_replaced_and_not_what_it_leads_to(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (tmp_path / "mine").write_text("mine")
    (out / "a").symlink_to(tmp_path / "mine")
    (out / "b").symlink_to(tmp_path / "nowhere")
    write_together({"a": b"new", "b": b"new"}, out)
    assert content(tmp_path) == {"mine": b"mine", "out/a": b"new", "out/b": b"new"}
    assert not any(path.is_symlink() for path in out.iterdir())


@pytest.mark.parametrize("folder", ["a\x00b", "a\ud800b"])
def test_a_folder_no_file_system_knows_is_refused(folder: str, tmp_path: Path) -> None:
    with pytest.raises(HarmonyError, match="nothing was written to the folder"):
        write_together({"a": b"new"}, tmp_path / folder)
    assert not list(tmp_path.iterdir())


# --- at every stage -----------------------------------------------------------------------------------------------

OLD = dict.fromkeys("abcd", b"old " * 1000)
NEW = {name: name.encode() * 5000 for name in "abcd"}


def at_stage(number: int, act: Callable[[], None], folder: Path) -> list[str]:
    """From now on `act` is done right before the file operation of that number in the folder; returns what happened."""
    seen: list[str] = []

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        if event in ("open", "os.rename", "os.mkdir", "os.remove", "os.rmdir"):
            paths = [os.fspath(a) for a in arguments[:2] if isinstance(a, (str, os.PathLike))]
            if any(path.startswith(str(folder)) for path in paths):
                seen.append(event)
                if len(seen) == number:
                    act()

    sys.addaudithook(hook)
    return seen


def in_fork(work: Callable[[], int]) -> int:
    """The exit status of a copy of this process that does the work."""
    made = os.fork()
    if not made:
        try:
            os._exit(work())
        except BaseException:
            os._exit(99)
    return os.waitstatus_to_exitcode(os.waitpid(made, 0)[1])


def holding(files: dict[str, bytes], folder: Path) -> Path:
    """A new folder with some files."""
    folder.mkdir()
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return folder


@pytest.mark.few(1)
@posix
@pytest.mark.parametrize("old", [OLD, {}], ids=["over an old set", "into an empty folder"])
def test_a_kill_at_any_stage_leaves_whole_files_and_the_next_run_cleans_up(
    old: dict[str, bytes], tmp_path: Path
) -> None:
    mixed = []
    for number in itertools.count(1):
        folder = holding(old, tmp_path / str(number))

        def work(number: int = number, folder: Path = folder) -> int:
            at_stage(number, lambda: os.kill(os.getpid(), signal.SIGKILL), folder)
            write_together(NEW, folder)
            return 0

        code = in_fork(work)
        found = {name: data for name, data in content(folder).items() if not name.startswith(".")}
        assert all(data in (old.get(name), NEW[name]) for name, data in found.items())
        assert set(found) >= set(old)
        if found not in (old, NEW):
            mixed.append(number)
        if code == 0:
            break
        assert code == -signal.SIGKILL
        write_together({"other": b"x"}, folder)
        assert {name: data for name, data in content(folder).items() if name != "other"} == found, "no trace is left"
        write_together(NEW, folder)
        assert content(folder) == NEW | {"other": b"x"}
    assert number > 15
    assert len(mixed) == len(NEW) - 1, "a set is mixed only between its renames"


@pytest.mark.few(1)
@posix
@pytest.mark.parametrize("fault", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()], ids=repr)
@pytest.mark.parametrize("old", [OLD, {}], ids=["over an old set", "into an empty folder"])
def test_a_fault_at_any_stage_leaves_all_of_the_old_or_all_of_the_new(
    fault: BaseException, old: dict[str, bytes], tmp_path: Path
) -> None:
    refused = 0
    for number in itertools.count(1):
        folder = holding(old, tmp_path / str(number))

        def work(number: int = number, folder: Path = folder) -> int:
            def fail() -> None:
                raise fault

            seen = at_stage(number, fail, folder)
            try:
                write_together(NEW, folder)
            except (HarmonyError, KeyboardInterrupt):
                return 2
            return 0 if len(seen) < number else 1

        code = in_fork(work)
        found = {name: data for name, data in content(folder).items() if not name.startswith(".")}
        assert found == (NEW if code < 2 else old) or (isinstance(fault, KeyboardInterrupt) and found == NEW)
        assert code in (0, 1, 2)
        if code == 2 and found == old:
            refused += 1
            assert set(content(folder)) == set(old), "no passing folder and no lock is left"
        if code == 0:
            break
    assert refused > 8


@pytest.mark.slow
@posix
@pytest.mark.parametrize("command", OF_ITS_OWN)
@pytest.mark.parametrize("sign", ["SIGINT", "SIGKILL"])
def test_a_command_stopped_between_its_renames_leaves_no_half_file(sign: str, command: str, desk: Path) -> None:
    arguments, names = COMMANDS[command]
    before = content(desk / "out")
    code = (
        "moves = []\n"
        "def hook(event, arguments):\n"
        "    if event == 'os.rename' and str(arguments[1]).startswith('out/'):\n"
        "        moves.append(arguments)\n"
        f"        if len(moves) == 2: os.kill(os.getpid(), signal.{sign})\n"
        "sys.addaudithook(hook)\n"
    )
    done = child(code + RUN, *arguments, "--out", "out")
    assert done.stdout == ""
    found = content(desk / "out")
    if sign == "SIGINT":
        assert (done.returncode, done.stderr) == (130, "harmonylib: stopped\n")
        assert found == before
        return
    assert (done.returncode, done.stderr) == (-signal.SIGKILL, "")
    assert sum(data == b"old" for name, data in found.items() if name in names) == len(names) - 1
    assert main([*arguments, "--out", "out"]) == 0
    assert set(content(desk / "out")) == set(before), "the next run takes away what the killed one left"
    assert all(data != b"old" for name, data in content(desk / "out").items() if name in names)


# --- two runs at once ---------------------------------------------------------------------------------------------


@pytest.mark.slow
@posix
def test_files_of_two_runs_at_once_belong_together(tmp_path: Path) -> None:
    """Four processes write forty sets each; whenever all have ended, the files are all from one set."""
    names = "abcd"
    for turn in range(5):
        writers = []
        for writer in range(4):
            made = os.fork()
            if not made:
                try:
                    for number in range(8):
                        stamp = f"{turn} {writer} {number} ".encode() * 500
                        write_together(dict.fromkeys(names, stamp), tmp_path)
                    os._exit(0)
                except BaseException:
                    os._exit(99)
            writers.append(made)
        assert [os.waitstatus_to_exitcode(os.waitpid(w, 0)[1]) for w in writers] == [0] * 4
        found = content(tmp_path)
        assert set(found) == set(names)
        assert len(set(found.values())) == 1


def test_a_run_waits_for_another_that_is_writing_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    replace, half_way, go_on = os.replace, threading.Event(), threading.Event()

    def slow(source: Path, target: Path) -> None:
        if Path(target) == tmp_path / "b" and Path(source).read_bytes() == b"first":
            half_way.set()
            assert go_on.wait(20)
        replace(source, target)

    monkeypatch.setattr(os, "replace", slow)
    with ThreadPoolExecutor(2) as both:
        first = both.submit(write_together, dict.fromkeys("abc", b"first"), tmp_path)
        assert half_way.wait(20)
        second = both.submit(write_together, dict.fromkeys("abc", b"second"), tmp_path)
        time.sleep(0.3)
        assert not second.done()
        assert (tmp_path / "a").read_bytes() == b"first"
        go_on.set()
        assert first.result() == second.result()
    assert content(tmp_path) == dict.fromkeys("abc", b"second")


@pytest.mark.slow
def test_two_commands_into_one_folder_leave_the_files_of_one(desk: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "harmonylib", *COMMANDS["arrange"][0]]
    sets = []
    for tempo in ("80", "160"):
        assert main([*COMMANDS["arrange"][0], "--tempo", tempo, "--out", tempo]) == 0
        sets.append(content(desk / tempo))
    assert all(sets[0][name] != sets[1][name] for name in ("tune.musicxml", "tune.mid", "tune.pdf"))
    both = [
        subprocess.Popen([*command, "--tempo", tempo, "--out", "new"], env=environment, stdout=subprocess.DEVNULL)
        for tempo in ("80", "160")
    ]
    assert [process.wait(60) for process in both] == [0, 0]
    assert content(desk / "new") in sets


def test_a_run_that_never_ends_is_not_waited_for_ever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "PATIENCE_S", 0.1)
    with files.alone(tmp_path) as alone:
        assert alone
        with pytest.raises(HarmonyError, match="another run is writing there"):
            write_together(NEW, tmp_path)
    assert content(tmp_path) == {}
    write_together(NEW, tmp_path)
    assert content(tmp_path) == NEW


@posix
def test_a_file_system_without_locks_is_written_to_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(*_: object) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr("fcntl.flock", none)
    (tmp_path / f"{PASSING}other").mkdir()  # it may be in use
    write_together(NEW, tmp_path)
    assert {name: data for name, data in content(tmp_path).items() if name != LOCK} == NEW
    assert (tmp_path / f"{PASSING}other").is_dir()


@posix
@pytest.mark.parametrize("again", [False, True], ids=["gone", "made anew"])
def test_a_lock_that_another_run_took_away_meanwhile_does_not_count(
    again: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fcntl

    lock, place = fcntl.flock, tmp_path / LOCK

    def late(held: int, how: int) -> None:
        place.unlink()
        if again:
            place.touch()
        lock(held, how)

    monkeypatch.setattr("fcntl.flock", late)
    assert files._taken(place) is None


def test_what_lies_about_under_the_passing_names_does_no_harm(tmp_path: Path) -> None:
    out, mine = tmp_path / "out", tmp_path / "mine"
    (out / f"{PASSING}dead" / "new").mkdir(parents=True)
    (out / f"{PASSING}dead" / "new" / "a").write_text("half")
    mine.mkdir()
    (mine / "kept").write_text("kept")
    (out / f"{PASSING}link").symlink_to(mine)
    (out / f"{PASSING}dead" / "link").symlink_to(mine)
    (out / LOCK).symlink_to(mine / "not made")
    write_together(NEW, out)
    assert content(mine) == {"kept": b"kept"}
    (out / LOCK).unlink()
    write_together(NEW, out)
    assert content(mine) == {"kept": b"kept"}
    assert {path.name for path in out.iterdir()} == {*NEW, f"{PASSING}link"}


# --- nobody reads what is printed -----------------------------------------------------------------------------------


@posix
@pytest.mark.parametrize("command", OF_ITS_OWN)
def test_a_reader_that_leaves_ends_a_command_quietly(command: str, desk: Path) -> None:
    arguments, names = COMMANDS[command]
    read, write = os.pipe()
    os.close(read)
    done = child(RUN, *arguments, "--out", "out", stdout=write)
    os.close(write)
    assert (done.returncode, done.stderr) == (141, "")
    assert all((desk / "out" / name).read_bytes() != b"old" for name in names)
    assert not [name for name in os.listdir(desk / "out") if name.startswith(".")]


@pytest.mark.few(1)
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("command", ["arrange", "mark"])
def test_an_output_that_is_full_is_told_in_one_line(command: str, desk: Path) -> None:
    with open("/dev/full", "w") as full:
        done = child(RUN, *COMMANDS[command][0], "--out", "out", stdout=full)
    assert done.returncode == 2
    assert "the result cannot be printed: No space left on device" in one_line(done.stderr)


@pytest.mark.few(1)
@posix
@pytest.mark.parametrize(
    ("closing", "arguments", "code"),
    [
        (">&-", COMMANDS["arrange"][0], 0),
        (">&- 2>&-", COMMANDS["survey"][0], 0),
        ("2>&-", ["arrange", "none.abc"], 2),
        ("2>/dev/full", ["arrange", "none.abc"], 2),
    ],
)
def test_closed_outputs_change_no_exit_code(closing: str, arguments: list[str], code: int, desk: Path) -> None:
    command = [sys.executable, "-m", "harmonylib", *arguments, "--out", "out"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        ["sh", "-c", f'exec "$@" {closing}', "sh", *command], env=environment, capture_output=True, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (code, b"", b"")
