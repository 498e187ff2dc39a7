"""Keys and sheets on paper: every grip drawn, nothing said twice, pages filled, as the class's file has it."""

import io
import re

import pypdf
import pytest

from harmonylib.classroom.keys import diagrams, told
from harmonylib.classroom.paper import key_pdf, sheet_pdf
from harmonylib.classroom.sheets import sheet
from harmonylib.errors import HarmonyError
from harmonylib.exercises.catalogue import KINDS
from harmonylib.exercises.written import as_text
from harmonylib.guitar.grips import Grip
from harmonylib.pictures.look import Look
from harmonylib.settings import CLASS_FILE
from harmonylib.theory.pitch import Name
from tests.printed import filled, outside, overlaps

GRIPS = re.compile(r"(?<![\w-])(?:[x\d]{1,2}(?:-[x\d]{1,2}){5}|[x\d]{6})(?![\w-])")


SOME = ["spell", "find_grips", "shell", "harmonise_bar", "next_inversion", "name_inversion", "drop"]


def every_kind(seed, level):
    return sheet("All kinds", [{"kinds": list(KINDS), "count": len(KINDS)}], seed, level)


@pytest.mark.few(1)
@pytest.mark.parametrize("seed", range(6))
def test_a_key_draws_every_grip_of_its_answers_and_says_nothing_twice(seed):
    made = every_kind(seed, 1 + seed % 3)
    said = set()
    for _, task in made.numbered:
        lines = told(task, said)
        assert len(lines) == len(set(lines)) in (1, 2)
        drawn = diagrams(task, Look(label="note"))
        grips = GRIPS.findall(as_text(task.solution()))
        assert len(drawn) == (len(grips) if task.grips else 0)
        for (_, frame), text in zip(drawn, grips, strict=False):
            sounding = task.neck.midi(Grip.parse(text).frets)
            assert [Name.parse(mark["text"]).pitch_class for mark in frame.marks] == [midi % 12 for midi in sounding]
    key = pypdf.PdfReader(io.BytesIO(key_pdf(made)))
    sentences = re.findall(r"^[A-Z].{40,}\.$", "\n".join(page.extract_text() for page in key.pages), re.M)
    assert len(sentences) == len(set(sentences)) > 3


def test_sheets_and_keys_fill_their_pages_and_no_words_meet(monkeypatch, tmp_path):
    (tmp_path / "class.toml").write_text(
        '[neck]\nleft_handed = true\n[pictures]\ncolour = false\nlabel = "note"\n[paper]\nsize = 14\n'
    )
    for chosen in ("off", str(tmp_path / "class.toml")):
        monkeypatch.setenv(CLASS_FILE, chosen)
        made = sheet("Some", [{"kinds": SOME, "count": 7}], seed=3)
        for write in (sheet_pdf, key_pdf):
            pdf = write(made)
            full = filled(pdf)[:-1]
            least, usual = (0.6, 0.8) if chosen == "off" else (0.3, 0.5)  # large print: one question a page at times
            assert all(share > least for share in full)
            assert sum(full) >= usual * len(full)
            assert not overlaps(pdf)
            assert not outside(pdf, 30)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ({"kind": "Drop", "chord": "ebm7", "spread": "drop3", "top": "gb"}, {"spread": "drop 3", "top": "Gb"}),
        (
            {"kind": "find-grips", "chord": "cm7", "spread": "Drop2", "top": "c", "strings": [4, 3, 2, 1]},
            {"chord": "Cm7", "strings": "4321"},
        ),
        ({"kind": "find grips", "chord": "Cm7", "spread": "DROP 2", "strings": 5432}, {"strings": "5432"}),
        ({"kind": "Find Root", "chord": "am7", "grip": "X7758X"}, {"chord": "Am7", "grip": "x7758x"}),
        ({"kind": "spell", "chord": "bbmaj7"}, {"chord": "Bbmaj7"}),
    ],
)
def test_what_a_teacher_writes_loosely_is_understood(written, meant):
    data = sheet("Loose", [written]).exercises[0].as_data()
    assert {name: data[name] for name in meant} == meant


def test_what_could_mean_two_things_is_still_told():
    for task, message in (
        ({"kind": "spell", "chord": "h7"}, "'h7' is not a chord symbol"),
        ({"kind": "drop", "chord": "C7", "spread": "drop 5", "top": "C"}, "drop 5"),
        ({"kind": "spel", "chord": "C7"}, "not a kind of exercise"),
        ({"kind": "find_grips", "chord": "C7", "spread": "drop 2", "strings": [4.5]}, "give text or a number"),
    ):
        with pytest.raises(HarmonyError, match=message):
            sheet("Loose", [task])
