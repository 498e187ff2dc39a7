"""What learners write in their own way is read, or the reply says exactly what to add."""

from __future__ import annotations

import pytest

from harmonylib.exercises.catalogue import (
    drop,
    exercise_set,
    find_gaps,
    find_grips,
    find_root,
    mend,
    name_inversion,
    next_inversion,
    random_exercise,
    shell,
    spell,
    which_degree,
    which_diminished,
)
from harmonylib.exercises.reading_signs import in_signs
from harmonylib.guitar.neck import Neck
from harmonylib.theory.tones import DEGREE_WORDS

RIGHT = [
    (
        spell("Ebm7"),
        "e flat g flat b flat d flat; E-flat G-flat B-flat D-flat; EbGbBbDb; Eb, Gb, Bb and Db; Eb/Gb/Bb/Db; "
        "Eb & Gb & Bb & Db;"
        "E♭G♭B♭D♭; Eflat Gflat Bflat Dflat; Eb. Gb. Bb. Db.; Eb - Gb - Bb - Db",
    ),
    (spell("E7"), "E G# B D; E, G sharp, B and D; E G-sharp B natural D; EG#BD"),
    (
        which_degree("Eb", "Cm7"),
        "b3; ♭3; minor third; a minor third; the minor 3rd; m3; flat 3; flat three; flat third; b 3; 3rd; "
        "a third; the third;"
        "min 3; minor-third; it's a minor third; minor third.",
    ),
    (
        which_degree("E", "Cmaj7"),
        "3; 3rd; third; a third; the third; M3; major third; major 3rd; maj 3; It is the third.",
    ),
    (which_degree("G", "C7"), "P5; perfect fifth; the 5th; fifth; a perfect 5th"),
    (which_degree("Bb", "C7"), "m7; flat seven; minor 7th; b7; the seventh; flatted seventh"),
    (which_degree("F", "C7"), "foreign; no; not a chord tone; non-chord tone; foreign note; it is foreign; outside"),
    (
        find_root("G7", "3x343x"),
        "6, drop 3; string 6, drop three; the low E string, drop-3; sixth string, drop 3; drop 3, string six;"
        "drop three on the 6th string; root 6, spread drop 3; 6 / drop 3; "
        "low E, drop 3; Drop 3 with the root on string 6",
    ),
    (find_root("C6", "x-10-10-9-10-x"), "4, drop 2; D string, drop two; the D string, drop 2; d string and drop 2"),
    (name_inversion("C7", "x3535x"), "root; root position; 0; Root Position; zero; it is in root position"),
    (
        name_inversion("Cmaj7", "x7958x"),
        "first; 1st; 1; one; first inversion; 1st inv.; the first inversion; inversion 1",
    ),
    (
        next_inversion("Cmaj7", "x3545x"),
        "x7958x; x 7 9 5 8 x; x-7-9-5-8-x; X7958X; x/7/9/5/8/x; x,7,9,5,8,x; 7958; 7 9 5 8; 7-9-5-8; E B C G; EBCG;"
        "3 7 1 5; 3715; third seventh root fifth; e, b, c and g",
    ),
    (next_inversion("Gm7", "x5536x"), "x8878x; 8 8 7 8; 8-8-7-8; 8878"),
    (find_grips("Cmaj7", "drop 2", "5432", "E"), "x3545x; 3545; 3-5-4-5; x 3 5 4 5 x; x-3-5-4-5-x"),
    (shell("E4", "Cmaj7"), "x3xx5x; C E; C and E; CE; x 3 x x 5 x; the root and the third; 1 3; x-3-x-x-5-x"),
    (drop("Cmaj7", "drop 2", "E"), "C G B E; CGBE; 1573; 1 5 7 3; root fifth seventh third; x3545x; C, G, B and E"),
    (
        which_diminished("D", "Cmaj7"),
        "Bdim7, leading-tone; B dim, leading tone; b diminished, leading tone; B diminished seventh leading-tone;"
        "Bo7 leading-tone; B°, leading; leading tone: B dim7; d dim, leading-tone; A flat diminished 7th, leading-tone",
    ),
]
CASES = [(task, text.strip()) for task, texts in RIGHT for text in texts.split(";")]


@pytest.mark.parametrize(("task", "text"), CASES, ids=[text for _, text in CASES])
def test_the_many_ways_to_write_a_right_answer(task, text):
    assert task.check(text).right, task.check(text)


ADD = [
    (drop("Cmaj7", "drop 2", "E"), "3545", "write an x for each string that is not played, as in x3545x"),
    (
        find_grips("Cmaj7", "drop 2"),
        "3545",
        "gives 4 frets for 6 strings: write an x for each string that is not played",
    ),
    (next_inversion("Cmaj7", "x3545x"), "x7958", "gives 5 frets for 6 strings: write an x for each string"),
    (spell("Ebm7"), "ebgbbbdb", "put a space between the notes"),
    (find_root("C6", "x-10-10-9-10-x"), "the E string, drop 2", "may be string 6 or string 1: write its number"),
    (find_root("G7", "3x343x"), "drop 3", "the string of the root is still to be written"),
    (find_root("G7", "3x343x"), "6", "the spread is still to be written"),
    (which_degree("E", "Cmaj7"), "yes", "which degree is it, then?"),
    (which_diminished("D", "Cmaj7"), "B dim", "say also which it is: leading-tone, common-tone, secondary"),
]


@pytest.mark.parametrize(("task", "text", "said"), ADD, ids=[text for _, text, _ in ADD])
def test_what_is_not_enough_is_told_what_to_add(task, text, said):
    reply = task.check(text)
    assert not reply.right
    assert said in reply.text
    assert "is off" not in reply.text, "nothing is said of degrees"


def test_right_frets_without_x_get_no_reply_about_degrees():
    for seed in range(30):
        for kind in ("next_inversion", "find_grips", "shell"):
            task = random_exercise(kind, seed, 2)
            solution = task.solution() if isinstance(task.solution(), str) else task.solution()[0]
            frets = " ".join(sign for sign in (solution.split("-") if "-" in solution else solution) if sign != "x")
            reply = task.check(frets)
            if not reply.right and kind != "shell":
                assert "degree" not in reply.text.replace("neither degrees", ""), (task, frets, reply)


def test_places_and_lengths_in_words():
    task = find_gaps('X:1\nT:Two bars\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"Cmaj7"E4|"Dm7"F2 A2|', first=1, last=2)
    for text in ("1.2, 2.2, 2.4", "bar 1 beat 2, bar 2 beat 2 and bar 2 beat 4", "bar one beat two; 2:2; 2 4"):
        assert task.check(text).right, text
    spoilt = mend('X:1\nT:Two bars\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"Cmaj7"E4|"Dm7"F2 A2|', first=1, last=2)
    where, grip = spoilt.solution()
    bar, beat = where.split(".")
    for text in (
        f"{where}, {grip}",
        f"{where} {grip}",
        f"bar {bar}, beat {beat}: {grip}",
        f"measure {bar} beat {beat} {grip}",
    ):
        assert spoilt.check(text).right, text


def test_every_name_of_a_degree_is_read_as_that_degree():
    for degree, name in DEGREE_WORDS.items():
        assert in_signs(name).replace("b", "♭").replace("#", "♯").replace("1", "1") in (
            degree,
            degree.replace("♭♭", "♭♭"),
        )


@pytest.mark.parametrize("kind", ["find_root", "which_degree", "spell"])
def test_the_example_of_how_to_write_gives_nothing_away(kind):
    for seed in range(200):
        task = random_exercise(kind, seed, 3)
        example = task.form.partition(", as in ")[2]
        assert example
        assert not task.check(example).right


def test_another_one_is_of_the_same_kind_neck_and_tune_and_never_the_same():
    neck = Neck("D2 A2 D3 G3 B3 D4")
    for task in exercise_set(["spell", "find_root", "next_inversion", "shell"], 4, seed=2, level=2):
        task = type(task)(**{**{k: v for k, v in task.as_data().items() if k != "kind"}, "neck": Neck()})
        seen = [task.another(number) for number in range(1, 5)]
        assert {type(other) for other in seen} == {type(task)}
        assert task.question not in {other.question for other in seen}
        assert seen == [task.another(number) for number in range(1, 5)]
    assert spell("C7", neck=neck).another(1).neck == neck
    tune = random_exercise("harmonise_bar", 1, 2)
    assert tune.another(2).level == 2
    abc = 'X:1\nT:Three bars\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"Cmaj7"E4|"Dm7"F2 A2|"C6"G4|'
    gaps = find_gaps(abc, first=1, last=1, tempo=80)
    assert [(gaps.another(n).first, gaps.another(n).tempo) for n in (1, 2)] == [(2, 80), (3, 80)]
