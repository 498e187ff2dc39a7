"""Sections by name, and bars asked for by name, in words or by number, wherever bars are asked."""

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from harmonylib.__main__ import main
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.checking import check
from harmonylib.errors import HarmonyError
from harmonylib.exercises.catalogue import exercise, find_gaps, harmonise_bar, harmonise_phrase, mend
from harmonylib.pictures.calls import calls_picture
from harmonylib.pictures.hand import hand_picture
from harmonylib.pictures.melody import melody_picture
from harmonylib.score.engraving import engrave, page
from harmonylib.score.musicxml import musicxml
from harmonylib.score.tables import rows, text
from harmonylib.sound.events import played_events
from harmonylib.sound.listening import listen
from harmonylib.tunes.bars import bar_range, bars_meant, excerpt, sections
from harmonylib.tunes.reading import read_text
from harmonylib.tunes.tune import Tune
from tests.test_tunes import HARMONY, attributes, note, xml
from widgets.desk import AnswerPanel, ArrangementPanel
from widgets.player import Player

HEAD = "X:1\nT:Named\nP:AAB\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"
NAMED = HEAD + 'P:A\n"C"E4|"F"A4|\nP:B\n"G7"B3 B|"Am7"c4|"Dm7"d4|\nP:Last time\n"C"c4|]\n'


@pytest.fixture(scope="module")
def tune() -> Tune:
    return read_text(NAMED)


@pytest.fixture(scope="module")
def arrangement(tune: Tune) -> Arrangement:
    return arrange(tune, density="every")


def test_part_names_of_abc_open_sections(tune: Tune) -> None:
    assert [bar.section for bar in tune.bars] == ["A", "", "B", "", "", "Last time"]
    assert sections(tune) == {"A": range(2), "B": range(2, 5), "Last time": range(5, 6)}


def test_a_name_in_the_line_and_one_inside_a_bar() -> None:
    named = read_text(HEAD + '[P:A]"C"CDEF|GA[P:B]Bc|defg|\n')
    assert [bar.section for bar in named.bars] == ["A", "", "B"]


def test_a_name_belongs_to_the_voice_that_sounds_next() -> None:
    named = read_text(HEAD + 'P:A\nV:1\n"C"c4|\nV:2\nC4|\nP:B\nV:1\nd4|\nV:2\nD4|\n')
    assert [bar.section for bar in named.bars] == ["A", "B"]


def test_rehearsal_marks_open_sections_and_go_out_again(arrangement: Arrangement) -> None:
    mark = "<direction><direction-type><rehearsal>{}</rehearsal></direction-type></direction>"
    named = xml(attributes() + mark.format("Intro") + HARMONY + note("C5", 24), note("D5", 24), mark.format("B"))
    assert [bar.section for bar in named.bars] == ["Intro", "", "B"]
    back = read_text(musicxml(arrangement), "musicxml")
    assert [bar.section for bar in back.bars] == [bar.section for bar in arrangement.tune.bars]


@pytest.mark.parametrize(
    ("asked", "numbers"),
    [
        ({"bars": "B"}, [3, 4, 5]),
        ({"bars": " last  TIME "}, [6]),
        ({"bars": "2"}, [2]),
        ({"bars": 2}, [2]),
        ({"bars": "2-4"}, [2, 3, 4]),
        ({"bars": "2 – 4"}, [2, 3, 4]),
        ({"bars": "2 to 4"}, [2, 3, 4]),
        ({"bars": (2, 4)}, [2, 3, 4]),
        ({"bars": [2, 4]}, [2, 3, 4]),
        ({"first": "B"}, [3, 4, 5]),
        ({"first": (2, 4)}, [2, 3, 4]),
        ({"first": 5}, [5, 6]),
        ({"last": 2}, [1, 2]),
        ({}, [1, 2, 3, 4, 5, 6]),
    ],
)
def test_bars_are_meant_by_name_words_or_numbers(tune: Tune, asked: dict[str, Any], numbers: list[int]) -> None:
    assert [bar.number for bar in bars_meant(tune, **asked)] == numbers
    assert [tune.bars[place].number for place in bar_range(tune, **asked)] == numbers


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ({"bars": "C"}, "'C' is no section of this tune: it has sections A, B, Last time and bars 1 to 6"),
        ({"bars": ""}, "'' is no section"),
        ({"bars": "5-9"}, "bars 5 to 9: the tune has bars 1 to 6"),
        ({"bars": (4, 3)}, "bars 4 to 3: give the lower number first"),
        ({"bars": 0}, "bars 0 to 0: the tune has bars 1 to 6"),
        ({"bars": (1, 2, 3)}, r"\(1, 2, 3\) names no bars: write a section, as in 'B', or first and last"),
        ({"bars": 1.5}, "1.5 is not the number of a bar"),
        ({"bars": "B", "first": 1}, "which bars is said twice"),
        ({"first": "B", "last": 4}, "'B' is not the number of a bar"),
    ],
)
def test_bars_that_are_not_there_are_named(tune: Tune, asked: dict[str, Any], why: str) -> None:
    with pytest.raises(HarmonyError, match=why):
        bars_meant(tune, **asked)


def test_a_tune_without_sections_says_so() -> None:
    plain = read_text(HEAD + '"C"C4|D4|')
    with pytest.raises(HarmonyError, match="it has no named sections, only bars 1 to 2"):
        bar_range(plain, "B")


def test_a_section_means_the_same_everywhere(arrangement: Arrangement) -> None:
    assert page(arrangement, bars="B").text.startswith("Named, bars 3 to 5: G7 B ")
    assert page(arrangement, "B") == page(arrangement, 3, 5) == page(arrangement, bars=(3, 5))
    assert engrave(arrangement, bars="B") == engrave(arrangement, 3, 5)
    assert text(arrangement, bars="B") == text(arrangement, 3, 5)
    assert rows(arrangement, bars="b") == rows(arrangement, 3, 5)
    assert played_events(arrangement, bars="B") == played_events(arrangement, 3, 5)
    assert (listen(arrangement, bars="B").samples == listen(arrangement, 3, 5).samples).all()
    assert str(melody_picture(arrangement, bars="B")) == str(melody_picture(arrangement, bars=(3, 5)))
    assert str(hand_picture(arrangement, bars="B")) == str(hand_picture(arrangement, bars=(3, 5)))
    assert str(calls_picture(arrangement, bars="B")) == str(calls_picture(arrangement, bars=(3, 5)))


def test_the_player_and_the_panels_take_a_section(arrangement: Arrangement) -> None:
    player = Player(arrangement, bars="B")
    assert (player.first, player.last) == (3, 5)
    player.load(arrangement, bars="A")
    assert (player.first, player.last) == (1, 2)
    player.close()
    for panel in (ArrangementPanel(arrangement, bars="B"), AnswerPanel(arrangement, bars="B")):
        assert "bars 3 to 5 of Named" in repr(panel)
        panel.close()


def test_exercises_take_a_section() -> None:
    assert [kind(NAMED, bars="B").span for kind in (harmonise_phrase, mend, find_gaps)] == [(3, 5)] * 3
    task = exercise("harmonise_phrase", tune=NAMED, bars="B")
    assert task.as_data()["first"] == 3
    with pytest.raises(HarmonyError, match="harmonise a bar, one grip a note takes no bars"):
        harmonise_bar(NAMED, bars="B")


def test_an_excerpt_is_a_tune_of_its_own() -> None:
    long = read_text(HEAD + 'P:A\n"C"C4|"F"A4-|\nP:B\nA2 B2-|"G7"B4-|\nP:C\nB4|')
    cut = excerpt(long, "B")
    assert [(str(n.pitch), n.onset, n.duration) for n in cut.notes] == [("B4", 2, 6)], "tied in: left out; out: cut"
    assert [(c.onset, str(c.chord)) for c in cut.changes] == [(0, "F"), (4, "G7")]
    assert ([bar.number for bar in cut.bars], cut.end) == ([3, 4], 8)
    assert cut.where(Fraction(4)) == "bar 4, beat 1"
    assert check(arrange(cut)) == []
    with pytest.raises(HarmonyError, match="bars 2 to 2 of 'Named' hold no notes"):
        excerpt(read_text(HEAD + '"C"C4|z4|D4|'), 2)


def test_the_command_arranges_a_section(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "named.abc"
    file.write_text(NAMED)
    assert main(["arrange", str(file), "--bars", "B", "--density", "every", "--out", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert {line.split(".")[0] for line in said.splitlines() if line[:1].isdigit() and "." in line[:3]} == {
        "3",
        "4",
        "5",
    }
    written = (tmp_path / "named.musicxml").read_text()
    assert written.count("<measure ") == 3
    assert main(["arrange", str(file), "--bars", "Q", "--out", str(tmp_path)]) == 2
    assert "'Q' is no section of this tune" in capsys.readouterr().err
