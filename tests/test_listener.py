"""The listening boxes without a browser: what they would ask for, and that a class can leave the microphone off."""

import pytest

from harmonylib.exercises.catalogue import next_inversion, shell, spell
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.hearing.verdicts import MISSED, allowed
from harmonylib.lessons.cycles import cycle
from harmonylib.lessons.lesson import lesson
from harmonylib.lessons.of_class import class_faults
from harmonylib.lessons.said import Said
from widgets import AnswerBox, Listener, listen_to_cycle, listen_to_phrase, listener, tuner
from widgets.listener import CAUTION, MOST_CHORDS, OFF


def asked(box):
    return [tuple(one["midi"]) for one in box.questions]


def test_a_cycle_is_asked_grip_by_grip_on_its_own_neck():
    neck = Neck(tuning="dropped D", reach_mm=110)
    row = cycle("Cm7", neck, "drop 3", (6, 4, 3, 2))
    box = listen_to_cycle(row)
    assert (box.mode, asked(box)) == ("cycle", [neck.midi(grip.frets) for grip in row.grips])
    assert len(row.grips) >= 3
    assert listen_to_cycle(row.grips[:2], neck).questions == box.questions[:2]


def test_a_phrase_is_the_chords_of_the_lessons_bars():
    today = lesson(5, bars=(1, 4))
    box = listen_to_phrase(today)
    chosen = [choice for choice in today.music.choices if choice.voicing]
    chosen = [one.grip for one in chosen if today.music.tune.bar_at(one.note.onset).number <= 4]
    assert (box.mode, box.tempo) == ("phrase", 40)
    assert asked(box) == [today.neck.midi(grip.frets) for grip in chosen]
    assert len(listen_to_phrase(lesson(5, bars=(1, 32)), tempo=20).questions) == MOST_CHORDS


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (lambda: listen_to_cycle(Said("out of reach")), "Out of reach."),
        (lambda: listen_to_cycle(cycle("Cmaj7", Neck(reach_mm=20))), "Out of reach"),
        (lambda: listen_to_cycle([]), "Nothing to listen for"),
        (lambda: listen_to_phrase([]), "Nothing to listen for"),
        (
            lambda: listen_to_phrase([Grip.parse("x3545x")], tempo=41),
            "A tempo of 41: a phrase is listened to at 10 to 40",
        ),
    ],
)
def test_what_cannot_be_listened_for_is_a_sentence(made, said):
    shown = made()
    assert isinstance(shown, Said)
    assert repr(shown).startswith(said)


def test_the_learner_reads_in_five_lines_what_the_ear_hears_and_misses_and_the_cautions():
    for box in (listener("x3545x"), tuner()):
        assert box.about == [*MISSED, CAUTION]
    assert len(MISSED) == 5
    assert "xperimental" in MISSED[-1]


@pytest.mark.parametrize(
    "task", [next_inversion("Cmaj7", "x3545x"), shell("E4", "Cmaj7"), spell("Ebm7")], ids=lambda task: task.kind
)
def test_a_box_that_asks_for_grips_listens_for_the_one_that_is_marked(task):
    box = AnswerBox(task)
    assert (box.listener is not None) == bool(task.grips)
    if box.listener:
        assert asked(box.listener) == []
        box.form.answer = "x3545x"
        assert asked(box.listener) == [Neck().midi(Grip.parse("x3545x").frets)]
        box.form.answer = "x35"
        assert asked(box.listener) == []
    box.close()


@pytest.fixture
def class_file(tmp_path, monkeypatch):
    monkeypatch.setenv("HARMONYLIB_CLASS", str(tmp_path / "class.toml"))
    return lambda text: (tmp_path / "class.toml").write_text(text, encoding="utf-8")


def test_a_class_leaves_the_microphone_off_for_good(class_file):
    class_file("[listening]\nmicrophone = false\n")
    assert not allowed()
    row = cycle("Cmaj7")
    for box in (listener("x3545x"), tuner(), listen_to_cycle(row), listen_to_phrase(lesson(5)), Listener()):
        assert box.off == OFF
    answers = AnswerBox(next_inversion("Cmaj7", "x3545x"))
    assert answers.listener is None
    answers.close()
    class_file("[listening]\nmicrophone = true\n")
    assert listener("x3545x").off == ""


@pytest.mark.parametrize("text", ["microphone = 1", "microphone = 'off'", "micro = false", "microphone = no"])
def test_nobody_listens_where_the_file_may_forbid_it_and_cannot_be_understood(class_file, text):
    class_file(f"[listening]\n{text}\n")
    assert not allowed()
    assert listener("x3545x").off == OFF
    assert [fault.endswith("no microphone is asked for") for fault in class_faults()] == [True]


@pytest.mark.parametrize(
    ("box", "said"), [(tuner(), "A tuner for the open strings"), (listener("x3545x"), "A listener for x3545x")]
)
def test_without_its_kernel_it_says_what_it_is(box, said):
    assert box._repr_mimebundle_()[0]["text/html"] == f"<p>{said}: open the course to play to it.</p>"
    box.close()
