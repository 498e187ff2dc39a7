"""The answer box without a browser: every kind answered through the box."""

from __future__ import annotations

from typing import Any

import pytest

from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.catalogue import KINDS, find_grips, next_inversion, random_exercise, spell, which_degree
from harmonylib.exercises.tally import Tally
from harmonylib.exercises.written import as_text
from harmonylib.pictures.theme import THEMES
from tests.test_widgets import alive, bundle
from widgets import AnswerBox

every_kind = pytest.mark.parametrize("kind", KINDS)
WRONG = {"name_inversion": "5th inversion", "find_gaps": "1.1"}


def drawn(kind: str) -> Exercise:
    return random_exercise(kind, 1)


def press(box: AnswerBox, answer: str) -> str:
    """What a browser does on Enter: text and count come together."""
    box.form.set_state({"answer": answer, "checks": box.form.checks + 1})
    return box.form.reply


# --- every kind ---------------------------------------------------------------------------------------------------


@every_kind
def test_a_solution_written_in_the_field_is_right_and_counted_once(kind: str) -> None:
    task, tally = drawn(kind), Tally()
    box = AnswerBox(task, tally)
    reply = press(box, as_text(task.solution()))
    assert (reply.split(":")[0], box.form.mood) == ("Right", "right")
    box.form.answer = "C"
    assert (box.form.reply, box.form.mood) == ("", ""), "right was another answer"
    press(box, WRONG.get(kind, "C"))
    press(box, as_text(task.solution()))
    assert tally.of(task) == (True, 1)
    box.close()


@every_kind
def test_a_wrong_answer_shows_the_reply_and_a_stub_says_not_started(kind: str) -> None:
    task, tally = drawn(kind), Tally()
    box = AnswerBox(task, tally)
    assert press(box, "").startswith(f"Not started: {task.form}")
    assert (box.form.mood, box.form.tried, tally.rows) == ("", False, {})
    press(box, "...")
    assert not box.form.tried
    assert press(box, WRONG.get(kind, "C")).startswith("Not yet: ")
    assert (box.form.mood, box.form.tried, tally.of(task)) == ("wrong", True, (False, 1))
    box.close()


@every_kind
def test_hints_come_one_by_one_and_the_solution_only_after_an_attempt(kind: str) -> None:
    task, tally = drawn(kind), Tally()
    box = AnswerBox(task, tally)
    box.form.set_state({"told": 1})
    assert not box.form.solution
    for number in range(1, len(task.hints) + 3):
        box.form.set_state({"hinted": number})
        assert box.form.hints == list(task.hints[:number])
    press(box, WRONG.get(kind, "C"))
    box.form.set_state({"told": 2})
    told = box.form.solution.removeprefix("One solution: ")
    assert press(box, told).startswith("Right")
    assert tally.of(task) == (False, 1), "an answer that was shown is not the learner's"
    box.close()


@pytest.mark.few(5)
@every_kind
def test_a_box_shows_itself_without_a_kernel_and_twice_the_same(kind: str) -> None:
    before = alive()
    one, two = AnswerBox(drawn(kind), theme="projector dark"), AnswerBox(drawn(kind), theme="projector dark")
    shown, again = bundle(one), bundle(two)
    live = "application/vnd.jupyter.widget-view+json"
    assert live in shown
    assert {k: v for k, v in shown.items() if k != live} == {k: v for k, v in again.items() if k != live}
    assert shown["text/plain"] == repr(one) == drawn(kind).question
    assert ("image/svg+xml" in shown) == (drawn(kind).grips != "" or drawn(kind).picture is not None)
    one.close()
    two.close()
    assert alive() == before


@pytest.mark.few(1)
@pytest.mark.parametrize("kind", ["spell", "next_inversion", "which_degree"])
def test_fifty_rounds_of_build_and_close_leave_nothing(kind: str) -> None:
    task, tally, before = drawn(kind), Tally(), alive()
    for _ in range(50):
        box = AnswerBox(task, tally)
        assert alive() > before
        box.close()
        box.close()
    assert alive() == before
    tally.count(task, task.check("C"))  # a closed box no longer listens


# --- field, menus and neck ----------------------------------------------------------------------------------------


def click(box: AnswerBox, *places: tuple[int, int]) -> None:
    """Clicks as the browser sends them: a marked place is taken away, another one added."""
    for place in places:
        old = [list(other) for other in box.neck.selected]
        new = [other for other in old if other != list(place)]
        box.neck.set_state({"selected": new if len(new) < len(old) else [*old, list(place)], "cursor": list(place)})


@pytest.mark.parametrize("kind", ["next_inversion", "shell", "find_grips", "harmonise_bar", "harmonise_phrase"])
def test_a_solution_clicked_on_the_neck_is_right_and_goes_in_as_pairs(kind: str) -> None:
    task = drawn(kind)
    box, given = AnswerBox(task), []
    solution = task.solution()
    for grip in [solution] if isinstance(solution, str) else solution:
        if box.form.answer:
            box.form.answer += ", "
            assert box.neck.selected == []
        parts = grip.split("-") if "-" in grip else list(grip)
        places = [(len(parts) - n, int(fret)) for n, fret in enumerate(parts) if fret != "x"]
        click(box, *places)
        given.append(tuple(places))
    assert box.answer == (given[0] if task.grips == "one" else tuple(given))
    assert box.check().right
    box.close()


def test_field_and_neck_stay_in_step() -> None:
    box = AnswerBox(next_inversion("Gm7", "x5536x"))
    click(box, (5, 8), (4, 8), (3, 7))
    assert box.form.answer == "x887xx"
    assert box.neck.text.startswith("x887xx: string 5 fret 8")
    click(box, (3, 7))
    assert box.form.answer == "x88xxx"
    click(box, (5, 9))
    assert box.form.answer == "x98xxx", "a string has one place, the last clicked"
    assert box.neck.selected == [[5, 9], [4, 8]]
    box.form.answer = "x8878x"
    assert box.neck.selected == [[5, 8], [4, 8], [3, 7], [2, 8]]
    box.form.answer = "C E G B"
    assert box.neck.selected == []
    assert box.answer == "C E G B"
    click(box, (1, 0))
    assert box.form.answer == "xxxxx0"
    click(box, (1, 0))
    assert box.form.answer == ""
    box.close()


def test_the_neck_holds_the_grip_written_last_and_keeps_the_words_before_it() -> None:
    several = AnswerBox(find_grips("F6", "drop 2", "5432", "A"))
    several.form.answer = "x3545x, x-10-10-9-10-x"
    assert several.neck.selected == [[5, 10], [4, 10], [3, 9], [2, 10]]
    click(several, (2, 10))
    assert several.form.answer == "x3545x, x-10-10-9-x-x"
    several.form.answer = "x3545x x7958x"
    assert several.answer == "x3545x x7958x", "what is not plainly a list of grips goes in as it stands"
    several.close()
    mend = AnswerBox(drawn("mend"))
    mend.form.answer = "2.1"
    click(mend, (1, 3))
    click(mend, (2, 4))
    assert mend.form.answer == "2.1, xxxx43"
    mend.close()


@pytest.mark.parametrize("odd", [[[9, 3]], [[1, 99]], [[1, 2, 3]], ["ab", 5], [[1, None]], [[[], 1]]])
def test_places_that_are_none_leave_the_answer_as_it_was(odd: Any) -> None:
    box = AnswerBox(next_inversion("Gm7", "x5536x"))
    box.form.answer = "x8878x"
    box.neck.selected = odd
    assert (box.form.answer, len(box.neck.selected)) == ("x8878x", 4)
    box.close()


@pytest.mark.few(15)
@pytest.mark.parametrize("text", ["x" * 5000, "99-99-99-99-99-99", "<b>", "\x00", "x3545x,,,,", ";", ", ", "🎸", "-1"])
@pytest.mark.parametrize("kind", ["spell", "shell", "find_grips", "mend", "answer_call"])
def test_any_text_gets_a_reply(kind: str, text: str) -> None:
    box = AnswerBox(drawn(kind))
    assert press(box, text).startswith(("Not yet: ", "Not started: "))
    box.close()


@pytest.mark.slow
def test_menus_write_what_the_exercise_reads() -> None:
    for kind in ("name_inversion", "which_degree", "find_root", "which_diminished"):
        for seed in range(8):
            task = random_exercise(kind, seed, 2)
            menus = AnswerBox(task).form.choices
            first, *rest = [[value for value, _ in options] for _, options in menus]
            said = [", ".join((one, *more)) for one in first for more in ([(r,) for r in rest[0]] if rest else [()])]
            replies = [task.check(text) for text in said]
            assert any(replies)
            assert not all(replies)
            assert not [reply for reply in replies if not reply.started or " is not a" in reply.text]


@pytest.mark.parametrize("theme", ["paper", "paper grey 14", "projector dark"])
def test_every_theme_and_hand_works(theme: str) -> None:
    box = AnswerBox(drawn("shell"), theme=theme, left_handed=True)
    assert box.form.colours["paper"] == THEMES[theme].paper
    box.close()


def test_what_is_no_exercise_tally_or_theme_is_refused_and_leaves_nothing() -> None:
    before = alive()
    for wrong, named in (
        ({"task": "spell"}, "“str” is no exercise"),
        ({"task": spell("C7"), "tally": {}}, "“dict” is no tally"),
        ({"task": spell("C7"), "theme": "sepia"}, "'sepia' is not a theme"),
    ):
        with pytest.raises(HarmonyError, match=named):
            AnswerBox(**wrong)  # type: ignore[arg-type]
    assert alive() == before


def test_state_outlives_the_box_until_it_holds_another_exercise() -> None:
    state: dict[str, Any] = {}
    box = AnswerBox(next_inversion("Gm7", "x5536x"), state=state)
    press(box, "x3545x")
    box.hint()
    box.tell()
    shown = box.form.solution
    box.close()
    box = AnswerBox(next_inversion("Gm7", "x5536x"), state=state)
    assert (box.form.answer, box.form.tried, len(box.form.hints), box.form.solution) == ("x3545x", True, 1, shown)
    assert len(box.neck.selected) == 4
    box.close()
    state |= {"answer": 5, "hints": "many", "tried": None}
    box = AnswerBox(next_inversion("Gm7", "x5536x"), state=state)
    assert (box.form.answer, box.form.hints) == ("", [])
    box.close()
    box = AnswerBox(spell("C7"), state=state)
    assert (box.form.answer, box.form.tried, box.form.solution) == ("", False, "")
    box.close()


# --- the tally ----------------------------------------------------------------------------------------------------


def test_boxes_share_a_tally_and_count_an_exercise_once() -> None:
    tally, task = Tally(), spell("C7")
    one, two, other = AnswerBox(task, tally), AnswerBox(spell("C7"), tally), AnswerBox(which_degree("E", "C7"), tally)
    press(one, "C E G")
    press(two, "C E G Bb")
    press(one, "C E G Bb")
    press(other, "foreign")
    assert repr(tally) == "right 1 of 2 exercises tried, 3 answers"
    assert tally.of(task) == (True, 2)
    assert one.form.tally == two.form.tally == f"this one: right, answers 2 · all: {tally}"
    assert other.form.tally == f"this one: not yet right, answers 1 · all: {tally}"
    for box in (one, two, other):
        box.close()
