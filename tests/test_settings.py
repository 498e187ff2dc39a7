"""The class's file: a call goes before it, the command too; what is wrong in it is one sentence and stops nothing."""

import json
import os
from html import escape
from itertools import count
from pathlib import Path

import pytest

from harmonylib import arrange, respond, settings, stages
from harmonylib.__main__ import main
from harmonylib.answering.stages import STAGES
from harmonylib.arranging.arrangement import Settings
from harmonylib.arranging.checking import check
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.hearing.verdicts import allowed
from harmonylib.lessons.lesson import lesson
from harmonylib.lessons.of_class import class_faults
from harmonylib.lessons.said import sentence
from harmonylib.pictures.look import Look, look
from harmonylib.settings import CLASS_FILE, MOST_TOLD, section
from tests.chapter_runs import PATHS, run
from tests.test_arranging import grips, tune_of

TUNE = tune_of("[Cmaj7] E5/2 G5/2", "[G7] C5/2 B4/2", "[Cmaj7] E5/4", tempo=100)


@pytest.fixture
def class_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Writes the class's file and opens the course beside it."""
    monkeypatch.delenv(CLASS_FILE, raising=False)
    monkeypatch.chdir(tmp_path)
    moments = count()

    def write(text: str, place: str = "tunes") -> Path:
        path = tmp_path / place / "class.toml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
        os.utime(path, ns=(1, next(moments)))  # so that two quick changes differ on a slow clock too
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


def test_a_chapter_has_the_neck_of_the_class_where_its_cell_names_no_other(class_file):
    class_file('[neck]\ntuning = "dropped D"\ncapo = 2\nframe = 1\nreach_mm = 80\n')
    today = lesson(5, reach_mm=105)
    assert (today.neck, today.settings["capo"]) == (Neck("dropped D", capo=2, reach_mm=105), 2)
    assert lesson(5, tuning="standard", capo=0).neck == Neck(reach_mm=80)
    assert lesson(5, reach_mm="wide").neck.reach_mm == 80
    class_file("[neck]\nfrets = 30\ncapo = 11\n")  # a neck may have more frets than a chapter shows
    assert lesson(5).neck == Neck(capo=11)


def test_a_changed_file_counts_at_once_and_one_that_is_gone_does_not(class_file):
    path = class_file('[arrange]\nhand = "one set"\n')
    assert arrange(TUNE).settings.hand == "one set"
    path.write_text('[arrange]\nhand = "in position"\n')
    os.utime(path, ns=(1, 1))
    assert arrange(TUNE).settings.hand == "in position"
    path.unlink()
    assert arrange(TUNE).settings.hand == "sliding"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "[arrange\n",
            "no settings can be read from class.toml: line 1, '[arrange': Expected ']' at the end of a table",
        ),
        ("[neck]\nreach_mm = 95,5", "line 2, 'reach_mm = 95,5': write a decimal point in place of the comma; what the"),
        ("[paper]\npaper = “a4”", "line 2, 'paper = “a4”': use straight quotes;"),
        ("[paper]\r\npaper = a4\r\n", "line 2, 'paper = a4': put words in quotes;"),
        ("[pictures]\ncolour = True", "line 2, 'colour = True': write true or false with a small letter;"),
        ("[paper]\nsize: 14", "line 2, 'size: 14': write = in place of the colon;"),
        ("[answers]\nshare = 60%", "line 2, 'share = 60%': write a share as a number, as in 0.6;"),
        ("[paper]\nsize = 14\n[paper]\npaper = 'a4'", "line 3, '[paper]': what it names stands there twice;"),
        ("[paper]\nsize = 14\nsize = 18", "line 3, 'size = 18': what it names stands there twice;"),
        ("size = 14", "in class.toml, 'size' stands under no section: write one of [neck], [arrange],"),
        ("x = " + "[" * 5000, "no settings can be read from class.toml: "),
        ("x = " + "1" * 5000, "no settings can be read from class.toml: Exceeds the limit"),
        ("[colours]\nred = 1", "in class.toml, 'colours' is no section of settings: write one of [neck], [arrange],"),
        ("arrange = 3", "in class.toml, 'arrange' is no section of settings"),
        ("[arrange]\ncolour = 'red'", "in class.toml, 'colour' under [arrange]: there is no such setting: there are d"),
        (
            "[arrange]\nhand = 3",
            "in class.toml, hand under [arrange]: 3 is not a hand: choose sliding, one set, in posi",
        ),
        (
            "[arrange]\nkey = 'Cm'",
            "in class.toml, key under [arrange]: 'Cm' is not a note name: write a capital letter",
        ),
        (
            "[arrange]\nstage = []",
            "in class.toml, stage under [arrange]: [] is not a stage: choose melody, roots, chords",
        ),
        ("[arrange]\nspreads = 'drop 2'", "; drop 2, drop 3 are taken"),
        (
            "[arrange]\ntempo = 5",
            "tempo under [arrange]: tempo 5: choose 10 to 600 quarter notes a minute; the tune's own",
        ),
        ("[arrange]\nalike = 1", "in class.toml, alike under [arrange]: 1: write true or false; true is taken"),
        ("[arrange]\ncosts = { travel = 'far' }", "costs under [arrange]: cost travel 'far': give a number from 0 to"),
        ("[arrange]\ncosts = 7", "7 is not a table of costs: write {'travel': 0.05}; the usual weights are taken"),
        ("[answers]\nrhythms = 40", "rhythms under [answers]: 40 rhythms: a chorus lives on 1 to"),
        ("[answers]\ncosts = { cover = -1 }", "cover -1: give a weight between 0 and 1000; the usual weight is taken"),
        (
            "[neck]\nfrets = 'all'",
            "in class.toml, frets under [neck]: 'all' frets: a neck here has 1 to 22; 15 is taken",
        ),
        ("[neck]\nfrets = true", "in class.toml, frets under [neck]: True frets: a neck here has 1 to 22; 15 is taken"),
        ("[neck]\nleft_handed = 'yes'", "left_handed under [neck]: 'yes': write true or false; false is taken"),
        ("[paper]\npaper = 'letterr'", "paper 'letterr' is not to be had here: choose a4, us-letter; a4 is taken"),
        (
            "[pictures]\nprint = 'huge'",
            "'print' under [pictures]: there is no such setting: there are colour, label, upri",
        ),
    ],
)
def test_what_is_wrong_in_the_file_is_one_sentence_that_says_what_is_taken(class_file, text, told):
    class_file(text, place=".")
    (said,) = class_faults()
    assert told in said
    assert "\n" not in said
    assert arrange(TUNE).settings == Settings()
    assert look() == Look()


def test_of_a_file_of_quite_another_kind_the_first_faults_are_told(class_file):
    class_file("\n".join(f"[section{number}]" for number in range(40)), place=".")
    assert len(class_faults()) == MOST_TOLD + 1
    assert class_faults()[-1] == f"in class.toml {40 - MOST_TOLD} more such"


def made(kind: str, path: Path) -> None:
    """Something in the place of the class's file that cannot be read as text."""
    if kind == "a folder":
        path.mkdir()
    elif kind == "no plain file":
        os.mkfifo(path)
    elif kind == "a link to nowhere":
        path.symlink_to("gone.toml")
    else:
        path.write_bytes(b"\xff\xfe\x00" if kind == "not UTF-8" else b"#" * 200_000)


@pytest.mark.parametrize(
    ("kind", "why"),
    [
        ("a folder", "it is a folder"),
        ("no plain file", "it is no file"),
        ("a link to nowhere", "No such file or directory"),
        ("not UTF-8", "it is not saved as UTF-8: save it anew with that encoding"),
        ("too large", "it is larger than 100 kB"),
    ],
)
def test_what_is_no_file_of_settings_is_one_sentence(class_file, tmp_path, kind, why):
    made(kind, tmp_path / "class.toml")
    (said,) = class_faults()
    assert said.startswith(f"no settings can be read from class.toml: {why}")
    assert said.endswith("; what the course ships is taken, and no microphone is asked for")
    assert arrange(TUNE).settings == Settings()


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root reads everything")
def test_a_file_closed_to_the_reader_is_one_sentence_and_counts_as_soon_as_it_is_open(class_file):
    path = class_file('[arrange]\nhand = "one set"\n', place=".")
    path.chmod(0)
    assert class_faults()[0].startswith("no settings can be read from class.toml: Permission denied")
    path.chmod(0o600)
    assert class_faults() == ()
    assert arrange(TUNE).settings.hand == "one set"


def test_a_file_that_is_named_and_not_there_is_told(class_file, monkeypatch):
    monkeypatch.setenv(CLASS_FILE, "clas.toml")
    assert class_faults()[0].startswith("no settings can be read from clas.toml: No such file")


def test_values_that_go_together_are_taken_in_any_order(class_file):
    class_file("[neck]\ncapo = 16\nreach_mm = 'wide'\nfrets = 20\n", place=".")
    assert section("neck") == {"capo": 16, "frets": 20}
    class_file('[arrange]\ncosts = { speed = 1, travel = 0.3, voices = "none", closing = 5 }\n', place=".")
    assert section("arrange") == {"costs": {"travel": 0.3, "closing": 5}}
    assert len(class_faults()) == 2


GOOD = {
    "neck": ("scale_mm", 628),
    "arrange": ("practice_tempo", 60),
    "answers": ("approached", 0.5),
    "pictures": ("label", "note"),
    "paper": ("size", 14),
    "listening": ("microphone", True),
}
"""A value of each section that must stay in force beside a wrong one."""

WRONG = (
    *(
        '"letterr"',
        '""',
        r'"a\u0000b"',
        '"𝄞"',
        '"""two\nlines"""',
        "-1",
        "0",
        "1",
        "3",
        "15",
        "1.5",
        "-0.0",
        "nan",
        "inf",
    ),
    *("999999999999999999999999999999", "1e300", "true", "false", "[]", "[[]]", '["drop 2", 3]', "[1, 2, 3]", "{}"),
    *("{ a = 1 }", "{ travel = nan }", "{ cover = [] }", '{ "" = true }', "1979-05-27", "07:32:00", "0x7f"),
)
"""Values as a file may have them: most are wrong for any one key, and some are right for one and not for another."""

KEYS = [(name, key) for name in GOOD for key in [*settings._ROOMS[name].shipped, "colours", "neck", "pins"]]


@pytest.mark.few(12)
@pytest.mark.parametrize(("name", "key"), KEYS)
def test_whatever_a_key_holds_it_is_taken_or_told_and_all_others_stay(class_file, name, key):
    beside, value = GOOD[name]
    for wrong in WRONG:
        own = "" if key == beside else f"{beside} = {json.dumps(value)}\n"
        class_file(f"[{name}]\n{key} = {wrong}\n{own}")
        said, held = class_faults(), section(name)
        assert (key in held) == (not said) or (wrong == "{}" and key not in held and not said), (wrong, said)
        assert not own or held[beside] == value, (wrong, said)
        assert all(f"in tunes/class.toml, {key}" in one.replace("'", "") for one in said)
        assert all(len(one) < 500 and "\n" not in one for one in said)
        assert look().paper
        assert not said or name != "listening" or not allowed()
        arrange(TUNE, stage="answers")


ALL_WRONG = """[neck]
frets = "all"
tuning = "E"
left_handed = "no"
reach_mm = nan
[arrange]
hand = 3
density = "thick"
costs = { travel = "far", speed = 1 }
key = "Cm"
stage = "coda"
[answers]
share = 4
swing = "yes"
[pictures]
print = "huge"
label = 5
colour = "red"
[paper]
paper = "letterr"
size = 14.5
[listening]
microphone = true
"""


@pytest.mark.parametrize(("number", "text"), [(4, ALL_WRONG), (0, "[paper\n")], ids=["every section", "no TOML"])
def test_a_chapter_says_it_once_at_its_top_and_shows_all_else(class_file, tmp_path, number, text):
    path = PATHS[number]
    plain = [repr(cell.value) for cell in run(path, tmp_path)]
    class_file(text, place=".")
    ran = run(path, tmp_path)
    said = [sentence(fault) for fault in class_faults()]
    assert len(said) == (MOST_TOLD + 1 if text == ALL_WRONG else 1)
    shown = [cell.bundle for cell in ran]
    (top,) = [number for number, bundle in enumerate(shown) if "class.toml" in "".join(map(str, bundle.values()))]
    assert "lesson(" in ran[top].source
    assert shown[top]["text/plain"].splitlines()[-len(said) :] == said
    assert all(escape(one) in shown[top]["text/html"] for one in said)
    assert [repr(cell.value) for cell in [*ran[:top], *ran[top + 1 :]]] == [*plain[:top], *plain[top + 1 :]]


def test_a_command_says_it_on_standard_error_and_does_its_work(class_file, tmp_path, capsys):
    class_file(ALL_WRONG, place=".")
    asked = ["handout", "scale", "Eb", "--out", str(tmp_path / "out"), "--formats", "svg"]
    assert main(asked) == 0
    printed = capsys.readouterr()
    assert printed.err.splitlines() == [f"harmonylib: {fault}" for fault in class_faults()]
    assert "class.toml" not in printed.out
    assert list((tmp_path / "out").glob("*.svg"))
    class_file("[paper]\nsize = 14\n", place=".")
    assert main(asked) == 0
    assert capsys.readouterr().err == ""


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
