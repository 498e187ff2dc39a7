"""The class's file: a call goes before it, the command too; what is wrong in it is one sentence."""

import os
from pathlib import Path

import pytest

from harmonylib import arrange, respond, stages
from harmonylib.answering.stages import STAGES
from harmonylib.arranging.checking import check
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.settings import CLASS_FILE, section
from tests.test_arranging import grips, tune_of

TUNE = tune_of("[Cmaj7] E5/2 G5/2", "[G7] C5/2 B4/2", "[Cmaj7] E5/4", tempo=100)


@pytest.fixture
def class_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Writes the class's file and opens the course beside it."""
    monkeypatch.delenv(CLASS_FILE, raising=False)
    monkeypatch.chdir(tmp_path)

    def write(text: str, place: str = "tunes") -> Path:
        path = tmp_path / place / "class.toml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_the_file_says_what_a_call_leaves_open(class_file):
    class_file(
        '[neck]\nfrets = 10\n[arrange]\nforeign = "enriched"\ncosts = { travel = 0.3 }\n[answers]\nshare = 0.0\n'
    )
    made = arrange(TUNE)
    assert (made.settings.neck, made.settings.foreign, made.settings.costs) == (
        Neck(frets=10),
        "enriched",
        {"travel": 0.3},
    )
    assert arrange(TUNE, foreign="diminished", neck=Neck()).settings.foreign == "diminished"
    assert arrange(TUNE, neck=Neck(reach_mm=90)).settings.neck == Neck(reach_mm=90)
    assert respond(made).answers == ()
    assert respond(made, share=1.0).answers != ()


def test_a_changed_file_counts_at_once_and_one_that_is_gone_does_not(class_file):
    path = class_file('[arrange]\nhand = "one set"\n')
    assert arrange(TUNE).settings.hand == "one set"
    path.write_text('[arrange]\nhand = "in position"\n')
    os.utime(path, ns=(1, 1))
    assert arrange(TUNE).settings.hand == "in position"
    path.unlink()
    assert arrange(TUNE).settings.hand == "sliding"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("[arrange\n", "cannot be read as settings: Expected"),
        ("[colours]\nred = 1\n", "'colours' is no section of settings: write one of \\[neck\\], \\[arrange\\]"),
        ("arrange = 3\n", "'arrange' is no section of settings"),
        ("[arrange]\ncolour = 'red'\n", "'colour' is not a setting here: there are neck, density"),
        ("[arrange]\nhand = 'left'\n", "'left' is not a hand: choose sliding"),
        ("[neck]\nstrings = 12\n", "'strings' is not a setting of \\[neck\\]: there are tuning, frets"),
        ("[neck]\nfrets = 'all'\n", "'all' frets: a neck here has"),
        ("x = " + "[" * 5000, "cannot be read as settings"),
    ],
)
def test_what_is_wrong_in_the_file_is_one_sentence(class_file, text, why):
    class_file(text)
    with pytest.raises(HarmonyError, match=why) as raised:
        arrange(TUNE)
    assert "\n" not in str(raised.value)


def test_a_huge_file_and_an_unreadable_one_are_refused(class_file):
    path = class_file("#" * 200_000)
    with pytest.raises(HarmonyError, match="larger than 100 kB"):
        section("arrange")
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(HarmonyError, match="cannot be read as settings"):
        section("arrange")


def test_off_means_none(class_file, monkeypatch):
    class_file('[arrange]\nhand = "one set"\n', place=".")
    assert section("arrange") == {"hand": "one set"}
    monkeypatch.setenv(CLASS_FILE, "off")
    assert section("arrange") == {}


def test_all_four_stages_build_on_each_other():
    made = stages(TUNE, density="every")
    assert list(made) == list(STAGES) == ["melody", "roots", "chords", "answers"]
    assert all(check(arrangement) == [] for arrangement in made.values())
    assert grips(made["answers"]) == grips(made["chords"])
    assert made["answers"].answers
    assert [len(choice.grip.strings) for choice in made["roots"].choices] == [2] * 5
    assert arrange(TUNE, stage="answers", density="every").answers == made["answers"].answers


def test_an_unknown_stage_is_named():
    with pytest.raises(HarmonyError, match="'all' is not a stage: choose melody, roots, chords, answers"):
        arrange(TUNE, stage="all")
