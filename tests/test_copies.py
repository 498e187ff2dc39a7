"""A copy of one's own: what is laid, what is replaced, what is left; and that nothing of the learner's is ever lost."""

import errno
import json
import os
import re
import subprocess
import sys
import time
from datetime import date
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbformat.sign import NotebookNotary

from harmonylib.classroom import copies
from harmonylib.classroom.copies import Copy, lay, trust
from harmonylib.classroom.manifest import MANIFEST, content, read_manifest
from harmonylib.classroom.opening import own_copy, told
from harmonylib.classroom.shipped import course_chapters, course_files, course_folder
from harmonylib.errors import HarmonyError
from harmonylib.files import LOCK, PASSING

ROOT = Path(__file__).resolve().parent.parent
ONE, TWO, TUNE = "00_start_here.ipynb", "01_next.ipynb", "tunes/a_tune.abc"
posix = pytest.mark.skipif(os.name != "posix", reason="links, signals and modes of POSIX")


def notebook(source: str, outputs: Any = (), **metadata: Any) -> str:
    cell = {"id": "a", "cell_type": "code", "source": source, "outputs": list(outputs), "metadata": {}}
    return json.dumps(
        {"cells": [cell | {"execution_count": None}], "metadata": metadata, "nbformat": 4, "nbformat_minor": 5}
    )


@pytest.fixture
def course(tmp_path: Path) -> Path:
    """A course of two chapters and a tune, in its first version."""
    folder = tmp_path / "course"
    (folder / "tunes").mkdir(parents=True)
    for name in (ONE, TWO):
        (folder / name).write_text(notebook(f"{name!r}, version 1"))
    (folder / TUNE).write_text("X:1\n")
    return folder


@pytest.fixture
def mine(tmp_path: Path, course: Path) -> Path:
    """A learner's folder with the first version laid."""
    lay(course, tmp_path / "mine")
    return tmp_path / "mine"


def newer(course: Path, version: int = 2) -> None:
    for name in (ONE, TWO):
        (course / name).write_text(notebook(f"{name!r}, version {version}"))


def files(folder: Path) -> dict[str, str]:
    """What a folder holds, the manifest left out."""
    found = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    return {name: path.read_text() for name, path in found.items() if name != MANIFEST}


def test_the_first_time_everything_is_laid(course: Path, tmp_path: Path) -> None:
    done = lay(course, tmp_path / "deep" / "mine")
    assert done == Copy(tmp_path / "deep" / "mine", (ONE, TWO, TUNE))
    assert files(tmp_path / "deep" / "mine") == files(course)


def test_the_second_time_nothing_is_written(course: Path, mine: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in mine.rglob("*")}
    assert lay(course, mine) == Copy(mine)
    assert {path: path.stat().st_mtime_ns for path in mine.rglob("*")} == before


def test_what_is_missing_is_laid_again(course: Path, mine: Path) -> None:
    (mine / TWO).unlink()
    (mine / TUNE).unlink()
    assert lay(course, mine).laid == (TWO, TUNE)
    assert files(mine) == files(course)


def test_to_run_and_to_save_is_no_change_and_a_newer_course_replaces_it(course: Path, mine: Path) -> None:
    ran = notebook([f"{ONE!r},", " version 1"], [{"output_type": "stream", "name": "stdout", "text": "ran"}], saved=1)
    (mine / ONE).write_text(ran)
    assert lay(course, mine) == Copy(mine)
    assert (mine / ONE).read_text() == ran
    newer(course)
    assert lay(course, mine).laid == (ONE, TWO)
    assert files(mine) == files(course)


def test_what_was_touched_is_left_and_the_newer_one_laid_beside_it_once(course: Path, mine: Path) -> None:
    (mine / ONE).write_text(notebook("my own"))
    assert lay(course, mine) == Copy(mine)
    newer(course)
    done = lay(course, mine)
    assert (done.laid, done.beside) == ((TWO,), ((ONE, f"new_{ONE}"),))
    assert told(done)[1] == f"Note: your {ONE} was left as it is; the newer one is new_{ONE}."
    assert files(mine)[ONE] == notebook("my own")
    assert files(mine)[f"new_{ONE}"] == files(course)[ONE]
    (mine / f"new_{ONE}").unlink()
    assert lay(course, mine) == Copy(mine)


@pytest.mark.parametrize("touched", [False, True])
def test_a_newer_one_beside_gives_way_to_a_newer_one_still_unless_it_was_touched(
    course: Path, mine: Path, touched: bool
) -> None:
    (mine / ONE).write_text(notebook("my own"))
    newer(course)
    lay(course, mine)
    if touched:
        (mine / f"new_{ONE}").write_text(notebook("mine too"))
    newer(course, 3)
    place = f"new_{Path(ONE).stem}_2.ipynb" if touched else f"new_{ONE}"
    assert lay(course, mine).beside == ((ONE, place),)
    assert files(mine)[place] == files(course)[ONE]
    assert files(mine)[f"new_{ONE}"] == (notebook("mine too") if touched else files(course)[ONE])


@pytest.mark.parametrize("manifest", [None, "{", "[]", '{"files": {"00_start_here.ipynb": 7}}'])
def test_without_a_manifest_nothing_that_differs_is_overwritten(
    course: Path, tmp_path: Path, manifest: str | None
) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    if manifest:
        (mine / MANIFEST).write_text(manifest)
    (mine / ONE).write_text("no notebook at all")
    (mine / TWO).write_text(notebook(f"{TWO!r}, version 1", metadata="other"))
    done = lay(course, mine)
    assert (done.laid, done.beside) == ((TUNE,), ((ONE, f"new_{ONE}"),))
    assert files(mine)[ONE] == "no notebook at all"
    assert set(read_manifest(mine)) == {ONE, TWO, TUNE}


def test_reset_keeps_the_learners_file_under_a_date(course: Path, mine: Path) -> None:
    for attempt, words in enumerate(("one", "two")):
        (mine / TWO).write_text(notebook(words))
        dated = f"{date.today()}_{Path(TWO).stem}{'_2' * attempt}.ipynb"
        done = lay(course, mine, reset=1)
        assert (done.laid, done.kept) == ((TWO,), ((TWO, dated),))
        assert files(mine)[dated] == notebook(words)
        assert files(mine)[TWO] == files(course)[TWO]
    with pytest.raises(HarmonyError, match="there is no chapter 9: choose one from 0 to 1"):
        lay(course, mine, reset=9)


def test_other_files_of_the_learner_are_never_touched(course: Path, mine: Path) -> None:
    (mine / "progress.json").write_text("{}")
    (mine / "tunes" / "my_own.abc").write_text("X:2\n")
    newer(course)
    lay(course, mine, reset=0)
    assert files(mine)["progress.json"] == "{}"
    assert files(mine)["tunes/my_own.abc"] == "X:2\n"
    assert set(read_manifest(mine)) == {ONE, TWO, TUNE}


@posix
@pytest.mark.parametrize("linked", ["", "tunes"])
def test_a_folder_that_is_a_link_is_refused(course: Path, mine: Path, tmp_path: Path, linked: str) -> None:
    target = tmp_path / "elsewhere"
    target.mkdir()
    place = tmp_path / "other"
    if linked:
        place.mkdir()
    (place / linked).symlink_to(target, target_is_directory=True)
    with pytest.raises(HarmonyError, match="is a link: name the folder itself"):
        lay(course, place)
    assert list(target.iterdir()) == []


@posix
def test_a_file_that_is_a_link_is_left_and_nothing_goes_through_it(course: Path, mine: Path, tmp_path: Path) -> None:
    target = tmp_path / "elsewhere.ipynb"
    target.write_text(notebook(f"{ONE!r}, version 1"))
    (mine / ONE).unlink()
    (mine / ONE).symlink_to(target)
    newer(course)
    assert lay(course, mine).beside == ((ONE, f"new_{ONE}"),)
    assert target.read_text() == notebook(f"{ONE!r}, version 1")
    assert (mine / ONE).is_symlink()


def test_a_folder_that_is_a_file_is_told(course: Path, tmp_path: Path) -> None:
    (tmp_path / "mine").write_text("a file")
    with pytest.raises(HarmonyError, match=r"cannot be laid into '.*mine': File exists; name a folder"):
        lay(course, tmp_path / "mine")
    assert (tmp_path / "mine").read_text() == "a file"


@pytest.mark.parametrize("fault", [errno.ENOSPC, errno.EROFS, errno.EACCES])
@pytest.mark.parametrize("at", range(4))
def test_a_full_or_closed_folder_is_one_line_and_nothing_is_lost(
    course: Path, mine: Path, monkeypatch: pytest.MonkeyPatch, fault: int, at: int
) -> None:
    """The fault comes at the first file, at the second one, or at the manifest."""
    (mine / TUNE).write_text("mine\n")
    before = files(mine)
    newer(course)
    writing, written = Path.write_bytes, []

    def failing(path: Path, data: bytes) -> int:
        written.append(path)
        if len(written) == at + 1:
            raise OSError(fault, os.strerror(fault))
        return writing(path, data)

    monkeypatch.setattr(Path, "write_bytes", failing)
    if at < 3:
        with pytest.raises(HarmonyError, match=rf"{os.strerror(fault)}; name a folder of your own that has room"):
            lay(course, mine, reset=0)
        assert files(mine) == before
    else:
        assert lay(course, mine, reset=0).laid == (ONE, TWO)
    assert not list(mine.glob(f"{PASSING}*"))


def test_what_is_saved_while_a_newer_course_is_laid_is_not_overwritten(
    course: Path, mine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    newer(course)
    carried = copies._carry_out

    def saved_meanwhile(*arguments: Any) -> None:
        (mine / ONE).write_text(notebook("just saved"))
        carried(*arguments)

    monkeypatch.setattr(copies, "_carry_out", saved_meanwhile)
    lay(course, mine)
    assert files(mine)[ONE] == notebook("just saved")
    assert files(mine)[TWO] == files(course)[TWO]


LAYING = (
    "import sys\nfrom pathlib import Path\nfrom harmonylib.classroom.copies import lay\n"
    "lay(Path(sys.argv[1]), Path(sys.argv[2]))"
)


def laying(course: Path, mine: Path) -> subprocess.Popen[str]:
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [sys.executable, "-c", LAYING, str(course), str(mine)], stderr=subprocess.PIPE, text=True, env=environment
    )


def test_six_at_once_lay_one_course(course: Path, mine: Path) -> None:
    (mine / ONE).write_text(notebook("my own"))
    newer(course)
    started = [laying(course, mine) for _ in range(6)]
    assert [process.communicate(timeout=60)[1] for process in started] == [""] * 6
    expected = files(course) | {ONE: notebook("my own"), f"new_{ONE}": files(course)[ONE]}
    assert {name: text for name, text in files(mine).items() if name != LOCK} == expected


@posix
def test_killed_half_way_the_next_run_ends_the_work(course: Path, mine: Path) -> None:
    (mine / ONE).write_text(notebook("my own"))
    for number in range(2, 60):  # many files, so that a kill comes amid them
        (course / f"{number:02}_more.ipynb").write_text(notebook("more" * 50_000))
    newer(course)
    amid = 0
    for _ in range(4):
        process = laying(course, mine)
        while process.poll() is None and not list(mine.glob(f"{PASSING}*/*")):
            time.sleep(0.002)
        amid += process.poll() is None
        process.kill()
        process.communicate()
        assert files(mine)[ONE] == notebook("my own")
    assert amid, "no kill came while files were written"
    lay(course, mine)
    found = {name: text for name, text in files(mine).items() if name != LOCK}
    assert found == files(course) | {ONE: notebook("my own"), f"new_{ONE}": files(course)[ONE]}
    assert not list(mine.glob(f"{PASSING}*"))


@pytest.mark.parametrize("name", ["a.ipynb", "a.abc"])
def test_content_tells_every_change_that_counts(name: str) -> None:
    one = notebook("a = 1")
    assert content(name, one.encode()) != content(name, notebook("a = 2").encode())
    assert content(name, b"[]") != content(name, b"{}")
    pinned = json.loads(one)
    pinned["cells"][0]["attachments"] = {"a.png": {"image/png": "AAAA"}}
    assert content(name, one.encode()) != content(name, json.dumps(pinned).encode())


def test_line_ends_are_no_change_of_a_tune() -> None:
    assert content("a.abc", b"X:1\nK:C\n") == content("a.abc", b"X:1\r\nK:C\r\n")


def test_only_what_was_laid_is_trusted(
    course: Path, mine: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JUPYTER_DATA_DIR", str(tmp_path / "not" / "there"))
    (mine / TWO).write_text(notebook("from a stranger", [{"output_type": "stream", "name": "stdout", "text": "x"}]))
    trust(course, mine)
    notary = NotebookNotary()
    signed = [notary.check_signature(nbformat.read(mine / name, as_version=4)) for name in (ONE, TWO)]
    assert signed == [True, False]


def test_the_copy_goes_into_this_folder_where_it_was_laid_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JUPYTER_DATA_DIR", str(tmp_path / "jupyter"))
    monkeypatch.chdir(tmp_path)
    assert own_copy().folder == tmp_path / "block-chords"
    monkeypatch.chdir(tmp_path / "block-chords")
    assert own_copy() == Copy(tmp_path / "block-chords")
    with pytest.raises(HarmonyError, match="is the course itself"):
        own_copy(str(course_folder()))


def test_stray_copies_are_no_part_of_the_course(course: Path) -> None:
    for stray in ("01_next-Copy1.ipynb", "Untitled.ipynb", "tunes/a_tune-Copy1.abc", "tunes/notes.txt"):
        (course / stray).write_text("stray")
    assert course_files(course) == (ONE, TWO, TUNE)
    (course / "glossary.ipynb").write_text(notebook("words"))
    assert course_files(course) == (ONE, TWO, "glossary.ipynb", TUNE)
    assert course_chapters(course) == {0: ONE, 1: TWO}
    with pytest.raises(HarmonyError, match="there is no chapter 9: choose one from 0 to 1"):
        lay(course, course.parent / "mine", reset=9)
    assert not [name for name in course_files(course_folder()) if re.search("copy", name, re.IGNORECASE)]


def test_every_link_of_a_chapter_leads_somewhere_in_the_copy(tmp_path: Path) -> None:
    lay(course_folder(), tmp_path / "mine")
    texts = {}
    for path in (tmp_path / "mine").glob("*.ipynb"):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        texts[path.name] = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")
    places = {
        name: {heading.strip().replace(" ", "-") for heading in re.findall(r"(?m)^#+ (.+)$", text)}
        for name, text in texts.items()
    }
    links = {
        (name, *link.partition("#")[::2]) for name, text in texts.items() for link in re.findall(r"\]\(([^)]+)\)", text)
    }
    astray = [link for link in links if not (tmp_path / "mine" / link[1]).exists()]
    astray += [link for link in links if link[2] and link[2] not in places[link[1]]]
    assert astray == []
    assert {target for _, target, place in links if place} == {"glossary.ipynb"}
