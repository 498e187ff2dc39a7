"""What a tally file bears: it comes back as it was, a save that fails changes nothing, and no other file is taken."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from harmonylib.errors import HarmonyError
from harmonylib.exercises.catalogue import KINDS, random_exercise, spell
from harmonylib.exercises.progress import FILE, NOTHING, VARIABLE, KeptTally, Progress, kept_in
from harmonylib.exercises.tally import MOST_BYTES, Tally


def filled() -> Tally:
    tally = Tally()
    for kind in KINDS:
        task = random_exercise(kind, 1)
        tally.count(task, task.check("C"))
        if kind < "m":
            tally.count(task, task.check(task.solution()))
    return tally


def test_a_tally_comes_back_from_its_file_and_its_bytes_are_always_the_same(tmp_path: Path) -> None:
    tally, path, again = filled(), tmp_path / "tally.json", tmp_path / "again.json"
    tally.save(path)
    back = Tally.read(str(path))
    assert (back.rows, repr(back)) == (tally.rows, repr(tally))
    Tally(rows=dict(reversed(list(back.rows.items())))).save(again)
    assert again.read_bytes() == path.read_bytes()
    assert sorted(os.listdir(tmp_path)) == ["again.json", "tally.json"], "nothing half written lies about"
    assert Tally.read(tmp_path / "new.json").rows == {}


def test_a_save_that_fails_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "tally.json"
    Tally().save(path)
    before = path.read_bytes()

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", fail)
    with pytest.raises(HarmonyError, match=r"nothing was written to the folder .*No space left"):
        filled().save(path)
    assert path.read_bytes() == before
    assert os.listdir(tmp_path) == ["tally.json"]
    monkeypatch.undo()
    with pytest.raises(HarmonyError, match="holds more than 1024 KB"):
        Tally(rows={json.dumps({"kind": "x" * MOST_BYTES}): (False, 1)}).save(path)
    assert path.read_bytes() == before


def whole(*rows: object, **other: object) -> bytes:
    return json.dumps({"format": "harmonylib tally", "version": 1, "exercises": rows} | other).encode()


GOOD = {"exercise": {"kind": "spell", "chord": "C7"}, "right": True, "tried": 2}
BAD = {
    "empty": b"",
    "cut": whole(GOOD)[:-5],
    "latin": '{"format": "é"}'.encode("latin-1"),
    "deep": b"[" * 100_000,
    "long number": b'{"version": ' + b"9" * 5000 + b"}",
    "list": b"[1, 2]",
    "foreign": b'{"cells": [], "nbformat": 4}',
    "later": whole(GOOD, version=2),
    "no list": whole(exercises={"a": 1}),
    "many": whole(*[GOOD] * 5001),
    "huge": b" " * (MOST_BYTES + 1),
    "twice": whole(GOOD, GOOD),
    "row": whole(5),
    "no exercise": whole(GOOD | {"exercise": None}),
    "no kind": whole(GOOD | {"exercise": {"chord": "C7"}}),
    "nested": whole(GOOD | {"exercise": {"kind": ["spell"]}}),
    "no number": whole(GOOD | {"exercise": {"kind": "spell", "reach": float("nan")}}),
    "surrogate": whole(GOOD | {"exercise": {"kind": "\ud800"}}),
    "right": whole(GOOD | {"right": 1}),
    "tried": whole(GOOD | {"tried": True}),
    "none tried": whole(GOOD | {"tried": 0}),
    "too often": whole(GOOD | {"tried": 10**7}),
}


@pytest.mark.parametrize("name", BAD)
def test_a_file_that_is_no_tally_is_refused_by_name(name: str, tmp_path: Path) -> None:
    path = tmp_path / "odd.json"
    path.write_bytes(whole(GOOD))
    assert Tally.read(path).of(spell("C7")) == (True, 2)
    path.write_bytes(BAD[name])
    with pytest.raises(HarmonyError, match=r"odd\.json"):
        Tally.read(path)


def test_a_path_that_is_none_is_refused(tmp_path: Path) -> None:
    for wrong in (5, None, ""):
        with pytest.raises(HarmonyError, match="name a file for the tally"):
            Tally.read(wrong)  # type: ignore[arg-type]
    with pytest.raises(HarmonyError, match="is no file"):
        Tally.read(tmp_path)
    (tmp_path / "file").touch()
    for wrong in (tmp_path, tmp_path / "file" / "tally.json"):
        with pytest.raises(HarmonyError, match="nothing was written to the folder"):
            Tally().save(wrong)


# --- progress -----------------------------------------------------------------------------------------------------


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(VARIABLE, str(tmp_path))
    return tmp_path / FILE


def test_progress_is_kept_from_kernel_to_kernel_and_two_chapters_add_up(kept: Path) -> None:
    one, two = KeptTally(kept_in()), KeptTally(kept_in())
    one.count(spell("C7"), spell("C7").check("C E G Bb"))
    two.count(spell("F7"), spell("F7").check("C"))
    assert repr(KeptTally(kept)) == "right 1 of 2 exercises tried, 2 answers"
    assert repr(Progress(KeptTally(kept))) == "Chapter 1, spell a chord: 1 right of 2 exercises"
    Progress(one).reset()
    assert (Tally.read(kept).rows, repr(Progress(KeptTally(kept)))) == ({}, NOTHING)


def test_a_progress_file_that_is_none_is_left_alone_and_named(kept: Path) -> None:
    kept.write_text("{}")
    tally = KeptTally(kept_in())
    tally.count(spell("C7"), spell("C7").check("C E G Bb"))
    assert kept.read_text() == "{}"
    assert "1 right of 1 exercise\nprogress.json is no tally" in repr(Progress(tally))


def test_nothing_is_kept_where_it_is_off_or_outside_a_notebook(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "off")
    assert kept_in() is None
    monkeypatch.delenv(VARIABLE)
    assert kept_in() is None
    assert repr(Progress(KeptTally(None))) == NOTHING


def test_a_long_tune_takes_little_room(kept: Path) -> None:
    tally = KeptTally(kept_in())
    task = random_exercise("harmonise_bar", 1)
    long = type(task)("X:1\nT:Two bars\nM:2/4\nL:1/4\nK:C\n" + '"Cmaj7"E G|' * 100, bar=1)
    tally.count(long, long.check("x3545x"))
    assert len(kept.read_bytes()) < 1000
