"""Windows and the like, by simulation: locks that are files, folders that cannot be opened step by step, files in use.

Each module is loaded a second time, as the other system would load it; what that system does itself is acted out here.
"""

from __future__ import annotations

import errno
import importlib.util
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path, PureWindowsPath
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from harmonylib import files as our_files
from harmonylib.classroom import copies, opening
from harmonylib.classroom import returned as our_returned
from harmonylib.classroom.copies import lay
from harmonylib.classroom.manifest import content
from harmonylib.classroom.shipped import course_files, course_folder
from harmonylib.errors import HarmonyError
from tests.test_copies import ONE, course, files, mine, newer, notebook  # noqa: F401

DELETED_ON_CLOSE = 1 << 30

posix = pytest.mark.skipif(os.name != "posix", reason="stands in for the other systems")


def loaded_again(module: ModuleType) -> Any:
    """A module as it is on the system that is simulated now."""
    assert module.__file__
    spec = importlib.util.spec_from_file_location(f"{module.__name__}_elsewhere", module.__file__)
    assert spec
    assert spec.loader
    again = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = again
    try:
        spec.loader.exec_module(again)
    finally:
        del sys.modules[spec.name]
    return again


@pytest.fixture
def windows_files(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The module of files with the locks of Windows; a file opened to be deleted goes when it is closed."""
    opening_, closing, passing = os.open, os.close, {}

    def opened(path: Any, flags: int, *more: Any, **how: Any) -> int:
        held = opening_(path, flags & ~DELETED_ON_CLOSE, *more, **how)
        if flags & DELETED_ON_CLOSE:
            passing[held] = path
        return held

    def closed(held: int) -> None:
        closing(held)
        if held in passing:
            os.unlink(passing.pop(held))

    monkeypatch.setattr(os, "O_TEMPORARY", DELETED_ON_CLOSE, raising=False)
    monkeypatch.setattr(os, "open", opened)
    monkeypatch.setattr(os, "close", closed)
    with monkeypatch.context() as other:
        other.setattr(sys, "platform", "win32")
        module = loaded_again(our_files)
    monkeypatch.setattr(module, "PATIENCE_S", 0.05)
    return module


@posix
def test_a_lock_that_is_a_file_keeps_a_second_run_out_and_goes_with_the_first(
    windows_files: Any, tmp_path: Path
) -> None:
    place = tmp_path / our_files.LOCK
    with windows_files.alone(tmp_path) as locked:
        assert locked
        assert place.exists()
        with pytest.raises(TimeoutError, match="another run is writing there"), windows_files.alone(tmp_path):
            pass
        with pytest.raises(HarmonyError, match="nothing was written to the folder .* another run is writing there"):
            windows_files.write_together({"a": b"1"}, tmp_path)
    assert not place.exists()
    with pytest.raises(ZeroDivisionError), windows_files.alone(tmp_path):
        _ = 1 / 0
    assert not place.exists()
    assert windows_files.write_together({"a": b"1"}, tmp_path) == (tmp_path / "a",)
    assert [path.name for path in tmp_path.iterdir()] == ["a"]


@posix
def test_a_lock_that_is_just_being_deleted_is_waited_for(
    windows_files: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows says “access denied” for it, as it does for a folder that is closed: there nobody waits."""
    calls = []

    def denied(path: Any, *_: Any, **__: Any) -> int:
        calls.append(path)
        raise PermissionError(errno.EACCES, "access denied")

    monkeypatch.setattr(os, "open", denied)
    with windows_files.alone(tmp_path) as locked:
        assert not locked
    assert len(calls) == 1
    (tmp_path / our_files.LOCK).mkdir()
    with pytest.raises(TimeoutError), windows_files.alone(tmp_path):
        pass
    assert len(calls) > 2


@pytest.fixture
def elsewhere(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The module that opens what came back, where folders cannot be opened step by step."""
    with monkeypatch.context() as other:
        other.setattr(os, "supports_dir_fd", set())
        return loaded_again(our_returned)


def test_what_came_back_is_found_where_folders_are_not_opened_step_by_step(elsewhere: Any, tmp_path: Path) -> None:
    for names in (("ada", "block-chords", "week1.ipynb"), ("ben", "week1.ipynb"), ("ben", "old", "week1.ipynb")):
        tmp_path.joinpath(*names).parent.mkdir(parents=True, exist_ok=True)
        tmp_path.joinpath(*names).write_text("{}")
    found = elsewhere.returned(tmp_path, "week1.ipynb")
    here = our_returned.returned(tmp_path, "week1.ipynb")
    assert [(one.learner, one.names) for one in found] == [(one.learner, one.names) for one in here]
    assert elsewhere.read_returned(tmp_path, ("ben", "week1.ipynb")) == b"{}"


@posix
def test_no_link_is_followed_there_either(elsewhere: Any, tmp_path: Path) -> None:
    homes, secret = tmp_path / "homes", tmp_path / "secret"
    (homes / "ada").mkdir(parents=True)
    secret.mkdir()
    (secret / "week1.ipynb").write_text("{}")
    (homes / "ada" / "week1.ipynb").symlink_to(secret / "week1.ipynb")
    (homes / "ada" / "more").symlink_to(secret, target_is_directory=True)
    (homes / "ben").symlink_to(secret, target_is_directory=True)
    found = elsewhere.returned(homes, "week1.ipynb")
    assert [(one.learner, one.names) for one in found] == [("ada", ("ada", "week1.ipynb"))]
    for names in (("ada", "week1.ipynb"), ("ada", "more", "week1.ipynb"), ("ben", "week1.ipynb")):
        with pytest.raises(elsewhere.Unmarked, match="is a link"):
            elsewhere.read_returned(homes, names)


def in_use(monkeypatch: pytest.MonkeyPatch, at: int) -> list[Path]:
    """From the call numbered `at`, counted from 0, files cannot be replaced; gives the list of those that were."""
    replacing: Callable[..., None] = os.replace
    replaced: list[Path] = []

    def replace(source: Any, target: Any) -> None:
        if len(replaced) >= at:
            raise PermissionError(errno.EACCES, "The process cannot access the file because it is in use")
        replacing(source, target)
        replaced.append(Path(target))

    monkeypatch.setattr(copies.os, "replace", replace)
    return replaced


@pytest.mark.parametrize("reset", [None, 1])
@pytest.mark.parametrize("at", range(4))
def test_a_file_in_use_is_one_line_and_the_next_run_ends_the_work(
    course: Path,  # noqa: F811
    mine: Path,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
    at: int,
    reset: int | None,
) -> None:
    """The second chapter is the learner's; the course has three files that are newer and the manifest."""
    second = "01_next.ipynb"
    (mine / second).write_text(notebook("my own"))
    (course / "tunes" / "a_tune.abc").write_text("X:2\n")
    newer(course)
    with monkeypatch.context() as other:
        replaced = in_use(other, at)
        with pytest.raises(HarmonyError, match=r"cannot be laid into .* it is in use; name a folder of your own"):
            lay(course, mine, reset)
    assert len(replaced) == at
    assert notebook("my own") in files(mine).values()
    lay(course, mine)
    found = files(mine)
    assert notebook("my own") in found.values()
    assert (found[ONE], found["tunes/a_tune.abc"]) == (files(course)[ONE], "X:2\n")
    assert files(course)[second] in found.values()
    assert not list(mine.glob(f"{our_files.PASSING}*"))


def test_names_of_the_course_are_paths_on_windows_and_a_tune_with_its_line_ends_is_the_same() -> None:
    for name in course_files(course_folder()):
        path = PureWindowsPath("C:/Users/Ada B/block-chords", name)
        assert path.relative_to("C:/Users/Ada B/block-chords").as_posix() == name
        assert not any(set(part) & set('<>:"|?*') or part != part.rstrip(". ") for part in path.parts[1:])
        if not name.endswith(".ipynb"):
            data = (course_folder() / name).read_bytes()
            assert content(name, data.replace(b"\n", b"\r\n")) == content(name, data)


def test_a_chapter_saved_with_other_line_ends_is_untouched() -> None:
    data = json.dumps(json.loads(notebook("a = 1\nb = 2")), indent=1).encode()
    assert content(ONE, data.replace(b"\n", b"\r\n")) == content(ONE, data)


def test_kernels_talk_over_ports_where_there_are_no_sockets(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "sockets_fit", lambda folder: True)
    assert opening.private_kernels() == ["--KernelManager.transport=ipc"]
    monkeypatch.undo()
    monkeypatch.setattr(opening, "os", SimpleNamespace(name="nt"))  # in its view alone
    assert opening.private_kernels() == []
