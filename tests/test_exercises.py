"""Exercises: every right answer is right in every form, every wrong voice is named, and nothing a learner types raises.

What is right is decided here again from the tables of the trade: pitch classes from `FAMILIES`' semitones, spreads by
moving the close position by hand, grips by trying every fret on every string against `Neck.fault`.
"""

import json
import random
import re
import time
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import permutations, product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from harmonylib.answering.checking import check_answers
from harmonylib.answering.gaps import gaps
from harmonylib.answering.own import with_own
from harmonylib.arranging.checking import check
from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import Reply
from harmonylib.exercises.catalogue import (
    KINDS,
    answer_call,
    drop,
    exercise,
    exercise_set,
    find_gaps,
    find_grips,
    find_root,
    from_data,
    harmonise_bar,
    harmonise_phrase,
    mend,
    name_inversion,
    next_inversion,
    random_exercise,
    shell,
    spell,
    which_degree,
    which_diminished,
)
from harmonylib.exercises.tunes import invented
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import Mark
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import interval
from harmonylib.theory.pitch import Name, Pitch
from harmonylib.theory.pitch import spell as plain_name
from harmonylib.theory.tones import DEGREE_WORDS
from harmonylib.theory.voicings import INVERSIONS, voice
from tests.draws import draws

NECK = Neck()
ON_TUNES = ("harmonise_bar", "harmonise_phrase", "find_gaps", "answer_call", "mend")
ON_CHORDS = tuple(kind for kind in KINDS if kind not in ON_TUNES)
pytestmark = pytest.mark.drawn
SEEDS = {kind: range(draws(8 if kind in ON_TUNES else 70)) for kind in KINDS}
"""With three levels, in the longer profile 210 exercises of a kind on chords, 24 of a kind on tunes."""
ABC = 'X:1\nT:Two bars\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"Cmaj7"E2 G D|"Dm7"F2 z2|'
ON_VOICES = ("the top voice", "the second voice from the top", "the third voice from the top", "the lowest voice")


def drawn(kind):
    return [random_exercise(kind, seed, level) for level in (1, 2, 3) for seed in SEEDS[kind]]


def midi_of(text):
    """What a grip sounds on the standard neck, worked out from the open strings."""
    marks = text.split("-") if "-" in text else list(text)
    return [open_ + int(mark) for open_, mark in zip((40, 45, 50, 55, 59, 64), marks, strict=True) if mark != "x"]


def classes(chord):
    """Pitch classes of a four-note chord, in the order of its degrees."""
    return [(chord.root.pitch_class + interval(d)[1]) % 12 for d in chord.degrees]


def dropped(notes, spread):
    """Close position (MIDI, bottom to top) to another spread, by the definition of the drops."""
    down = {"close": (), "drop 2": (2,), "drop 3": (3,), "drop 2 and 4": (2, 4)}[spread]
    return sorted(note - 12 * (4 - place in down) for place, note in enumerate(notes))


def close_under(top, pitch_classes):
    """The close position with MIDI note `top` on top."""
    return sorted(top - (top - pc) % 12 for pc in pitch_classes)


def playable(frets):
    """Whether a hand holds these frets: some fingers without fault."""
    pressed = [place for place, fret in enumerate(frets) if fret]
    for fingers in product((1, 2, 3, 4), repeat=len(pressed)):
        given_ = dict(zip(pressed, fingers, strict=True))
        grip = Grip(tuple(frets), tuple(given_.get(place, 0) for place in range(6)))
        if NECK.fault(grip) is None:
            return True
    return False


def clicks(text, draws=None):
    """A grip as (string, fret) pairs, shuffled."""
    marks = text.split("-") if "-" in text else list(text)
    made = [(6 - place, int(mark)) for place, mark in enumerate(marks) if mark != "x"]
    (draws or random.Random(text)).shuffle(made)
    return made


# --- every kind ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_the_solution_is_right_and_the_stub_is_not_started(kind):
    for task in drawn(kind):
        reply = task.check(task.solution())
        assert reply.right, (task, task.solution(), reply)
        assert bool(reply)
        assert reply.started
        assert str(reply).startswith("Right: ")
        assert all("lies over its call" in said for said in reply.remarks), "nothing lies under the lowest calls"
        for stub in (..., None, "", "  ", [], (), {}, [...], ["", None], "..."):
            unwritten = task.check(stub)
            assert (unwritten.right, unwritten.started) == (False, False), stub
            assert unwritten.text == f"Not started: {task.form}."
        assert task.check() == task.check(...)


@pytest.mark.parametrize("kind", KINDS)
def test_same_seed_same_exercise_and_data_go_round(kind):
    for task in drawn(kind)[:: 1 if kind in ON_CHORDS else 3]:
        data = json.loads(json.dumps(task.as_data()))
        assert all(type(value) in (str, int) for value in data.values())
        again = from_data(data)
        assert again == task
        assert again.question == task.question
        assert again.solution() == task.solution()
    for level, seed in product((1, 2, 3), (0, 5, 77)):
        assert random_exercise(kind, seed, level) == random_exercise(kind, seed, level)
    assert len({random_exercise(kind, seed, 2).question for seed in range(12)}) > 6


@pytest.mark.few(5)
@pytest.mark.parametrize("kind", KINDS)
def test_question_hints_and_picture(kind):
    for task in drawn(kind)[::12]:
        shown = task._repr_mimebundle_()
        assert shown["text/plain"] == task.question == repr(task)
        assert "\n" not in task.question
        assert shown["text/html"].startswith("<p>")
        assert ("<svg" in shown["text/html"]) == (task.picture is not None)
        hints = task.hints
        assert 2 <= len(hints) == len(set(hints))
        assert [task.hint(n + 1) for n in range(len(hints))] == list(hints)
        assert task.hint(99) == hints[-1]
        assert not task.check(hints[0]).right
    with pytest.raises(HarmonyError, match="counted from 1"):
        task.hint(0)


def test_pictures_and_questions_of_grips_do_not_tell_the_answer():
    for kind in ("name_inversion", "find_root"):
        for task in drawn(kind)[::9]:
            assert "=" not in task.picture.text
            assert not any(word in task.question for word in ("drop", "inversion is it: ", "root position"))
    assert "secondary" not in repr(mend(key="F"))


def test_sets_hold_no_two_alike_and_repeat():
    for level in (1, 2, 3):
        made = exercise_set(list(ON_CHORDS), 60, seed=level, level=level)
        assert made == exercise_set(list(ON_CHORDS), 60, seed=level, level=level)
        assert len({task.question for task in made}) == len(set(made)) == 60
        assert [task.kind for task in made[: len(ON_CHORDS)]] == list(ON_CHORDS)
        assert all(task.check(task.solution()) for task in made)
    assert exercise_set("spell", 20, seed=1) != exercise_set("spell", 20, seed=2)
    assert len({t.question for t in exercise_set(ON_TUNES, 20, seed=3, level=3)}) == 20
    for kind in ("which_degree", "next_inversion", "find_gaps"):
        assert len({str(t.solution()) for t in exercise_set(kind, 5, seed=3, level=2)}) == 5
    assert sorted(Counter(t.solution() for t in exercise_set("name_inversion", 8)).values()) == [2, 2, 2, 2]
    assert len(exercise_set("spell", 28)) == 28  # seven roots, four families: all there are at level 1
    with pytest.raises(HarmonyError, match="level 1 has no 29 different exercises of kind 'spell'"):
        exercise_set("spell", 29)


def test_levels_widen_families_keys_strings_and_tempo():
    spelled, roots = (
        [[random_exercise(kind, seed, level) for seed in range(24)] for level in (1, 2, 3)]
        for kind in ("spell", "find_root")
    )
    families = [{Chord.parse(t.chord).kind for t in level} for level in spelled]
    assert families[0] == {"maj7", "7", "m7", "6"}
    assert families[0] < families[1] < families[2] | families[1]
    assert len(families[2]) > len(families[1])
    sets = [{Grip.parse(t.grip).string_set for t in level} for level in roots]
    assert sets[0] == {"5432"}
    assert sets[0] < sets[1] <= sets[1] | sets[2]
    assert (len(sets[1]), len(sets[2])) in ((5, 7), (4, 6), (5, 6))
    assert [random_exercise("harmonise_bar", 1, n).arrangement.tempo for n in (1, 2, 3)] == [72, 96, 132]


# --- malformed answers --------------------------------------------------------------------------------------------


class Hostile:
    """An object that raises whatever is done with it."""

    def __getattribute__(self, name):
        raise RuntimeError(name)

    def __repr__(self):
        raise RuntimeError("repr")

    __str__ = __len__ = __iter__ = __eq__ = __hash__ = __bool__ = __repr__


class HostileText(str):
    def __str__(self):
        raise RuntimeError("text")

    __len__ = strip = lower = __eq__ = __hash__ = __str__


class HostileNumber(float):
    def __abs__(self):
        raise RuntimeError("number")

    __float__ = __str__ = __repr__ = __le__ = __abs__


class HostileMeta(type):
    @property
    def __name__(cls):
        raise RuntimeError("name")

    def __getattr__(cls, name):
        raise RuntimeError(name)


class HostileList(list):
    def __iter__(self):
        raise RuntimeError("list")

    __len__ = __getitem__ = __iter__


class HostileTuple(tuple):
    def __iter__(self):
        raise RuntimeError("tuple")


def nested(depth):
    made = ["C"]
    for _ in range(depth):
        made = [made]
    return made


def looped():
    made = []
    made.append(made)
    return made


ODD = [
    Hostile(),
    HostileText("C"),
    HostileNumber(2),
    HostileMeta("X", (), {})(),
    HostileList([1]),
    HostileTuple((1, 2)),
]
ODD += [nested(3), nested(50_000), looped(), "x" * 10**7, "9" * 5000, 10**5000, -1, 1e308, float("nan"), float("inf")]
ODD += [print, lambda: 1, b"C E G B", bytearray(9), object(), type, range(10**9), {}, {"": ""}, {1: {2: {3: 4}}}, 1j]
ODD += [
    [1, "C", None, 2.5],
    [[]],
    [[[]]],
    "\x00\x1b[2J",
    "♭♭♭",
    "C♭♭♭♭",
    "x-x-x-x-x-x",
    "xxxxxx",
    "000000",
    "x9999999x",
]
ODD += [
    "<script>alert(1)</script>",
    "22-22-22-22-22-22",
    "1.1.1.1.1",
    "bar",
    "-",
    "–",
    ",",
    ";;",
    (1, 1),
    (0, 0),
    (7, 1),
]
ODD += [("x3545x",) * 50, ["x3545x"] * 401, [None] * 500, {"chord": object()}, True, False, Pitch("C", 0, 99), Grip(())]
ODD += [Name("H"), Grip((None,) * 6), Grip((3, "q")), [(5, 3), (5, 4)], [(5, 99)], {5: 3, 6: "x"}, (1, 0, "x3545x")]
ODD += [
    ("1", "nan", "x3545x"),
    ("1/0", 1, "x3545x"),
    (1, -1, "x3545x"),
    {1.1: "x3545x"},
    {"1.1": None},
    {"9.9": "x3545x"},
]
ODD += [
    ("2.1", "x3545x"),
    Fraction(1, 3),
    Fraction(10**30),
    (99999, 1),
    "0.0",
    "1.0",
    {frozenset({1}): 2},
    "²",
    "٣",
    "1/2/3",
]


@pytest.mark.parametrize("kind", KINDS)
def test_malformed_answers_get_a_friendly_line_quickly(kind):
    task = random_exercise(kind, 4, 2)
    for answer in ODD:
        started = time.perf_counter()
        reply = task.check(answer)
        assert time.perf_counter() - started < 1
        assert type(reply) is Reply
        assert reply.text.startswith(("Not yet: ", "Not started: ", "Right: "))
        assert len(repr(reply)) < 1500
        assert reply.text.isprintable()
        assert "Traceback" not in repr(reply)
        assert "0x" not in repr(reply)


def test_what_is_wrong_with_a_malformed_answer_is_said():
    task = spell("C7")
    assert "a list in a list in a list" in task.check(nested(9)).text
    assert "that number is too large" in task.check(10**9).text
    assert "a long text" in task.check("C" * 5000).text
    assert "too long for an answer" in task.check(["C"] * 500).text
    assert "string 5 has two frets" in find_grips("Cmaj7").check([[(5, 3), (5, 4)]]).text
    assert (
        repr(task.check(b"C")) == "Not yet: this cannot be read as an answer; write the notes by name, as in C E G B."
    )


LEAVES = st.one_of(
    *(st.none(), st.just(...), st.booleans(), st.integers(), st.floats(), st.text(max_size=30), st.binary(max_size=5)),
    st.sampled_from("C Eb 1 b3 x3545x 2.1 drop first leading-tone x-10-12-11-12-x Bdim7 ♭♭7 0 5".split()),
    st.sampled_from([Name("C"), Pitch("E", 0, 4), Grip.parse("x3545x"), Chord.parse("C"), voice("C6", "drop 2", "E4")]),
)
ANYTHING = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.lists(inner, max_size=6),
        st.tuples(inner, inner),
        st.tuples(inner, inner, inner),
        st.dictionaries(st.one_of(st.text(max_size=6), st.integers(0, 7), st.sampled_from(["root", "grip"])), inner),
    ),
    max_leaves=12,
)


@pytest.mark.few(5)
@pytest.mark.parametrize("kind", KINDS)
@given(answer=ANYTHING)
@settings(max_examples=draws(80), suppress_health_check=list(HealthCheck))
def test_no_answer_raises(kind, answer):
    reply = random_exercise(kind, 2, 2).check(answer)
    assert type(reply.right) is bool
    assert repr(reply)
    assert not (reply.right and not reply.started)


# --- spelling -----------------------------------------------------------------------------------------------------


def sharp_or_flat(name):
    """Another spelling of the same sound."""
    for letter, alter in product("CDEFGAB", (0, -1, 1, -2, 2)):
        other = Name(letter, alter)
        if other.pitch_class == name.pitch_class and other != name:
            return other
    raise AssertionError(name)


def test_spelling_every_order_form_and_enharmonic_name():
    for task in drawn("spell"):
        names = Chord.parse(task.chord).names
        for order in permutations(names):
            assert task.check(list(order)).right
        forms = [", ".join(map(str, names)), "-".join(map(str, names)), tuple(map(str, names)), set(names)]
        forms += [" ".join(map(str, names)).replace("♭", "b").replace("♯", "#"), dict(enumerate(names))]
        forms += [[name.at(60 + name.pitch_class) for name in names], " ".join(str(n).lower() for n in names)]
        forms += [voice(task.chord, "drop 2", names[1].at(72 + names[1].pitch_class), Chord.parse(task.chord).degrees)]
        for form in forms:
            assert task.check(form).right, (form, task.check(form))
        for place, name in enumerate(names):
            other = sharp_or_flat(name)
            reply = task.check([other if n == place else kept for n, kept in enumerate(names)])
            assert reply.right
            assert len(reply.remarks) == 1
            assert f"{other} sounds right" in reply.remarks[0]
            assert f"is spelled {name}" in reply.remarks[0]


def test_spelling_every_wrong_note_is_named_with_its_degree():
    for task in drawn("spell")[::5]:
        chord = Chord.parse(task.chord)
        own = {name.pitch_class for name in chord.names}
        for place, wrong in product(range(4), range(12)):
            if wrong in own:
                continue
            given_ = [plain_name(wrong) if n == place else name for n, name in enumerate(chord.names)]
            reply = task.check(given_)
            assert not reply.right
            named = (
                f"the {DEGREE_WORDS[chord.degrees[place]]} ({chord.degrees[place]}) is off: {plain_name(wrong)} lies "
            )
            assert reply.text.startswith(f"Not yet: {named}{(wrong - chord.root.pitch_class) % 12} semitone")
            assert reply.text.count(" is off") == 1
        for place in range(4):
            short = task.check(chord.names[:place] + chord.names[place + 1 :])
            assert not short.right
            assert f"({chord.degrees[place]}) is missing" in short.text


def test_replies_to_typical_errors_in_full():
    assert repr(spell("Ebm7").check("Eb G Bb Db")) == (
        "Not yet: the minor third (♭3) is off: G lies 4 semitones above E♭; asked is 3 semitones above E♭, on the "
        "letter G."
    )
    assert repr(spell("Ebm7").check("Eb F# Bb Db")) == (
        "Right: E♭m7 is E♭ G♭ B♭ D♭.\nRemark: F♯ sounds right, but the minor third (♭3) of E♭m7 is spelled G♭."
    )
    assert repr(spell("C7").check("C E G")) == (
        "Not yet: the minor seventh (♭7) is missing: 10 semitones above C, on the letter B."
    )
    assert repr(spell("C7").check("1 3 5 b7")) == (
        "Not yet: those are degrees; write the notes by name, as in C E G B."
    )
    assert repr(drop("Cmaj7", "drop 2", top="E").check("B G C E")) == (
        "Not yet: the lowest voice is off: B is the major seventh (7), asked is the root (1); the second voice from "
        "the top is off: C is the root (1), asked is the major seventh (7); that is drop 3; drop 2 lowers the second "
        "note from the top by an octave."
    )
    assert repr(name_inversion("C7", "x3535x").check("2nd")) == (
        "Not yet: second inversion has the fifth (5) lowest; here C, the root (1), lies lowest."
    )
    assert repr(next_inversion("Cmaj7", "x3545x").check("x3545x")).endswith("; that is the grip you start from.")
    assert repr(next_inversion("Cmaj7", "x3545x").check("xx9-9-8-q")).startswith("Not yet: “xx9” is not a note; ")
    assert repr(find_root("G7", "3x343x").check("string 4, drop 2")) == (
        "Not yet: string 4 sounds F, the minor seventh (♭7); the root is G; drop 2 with D on top would be B F G D; "
        "here it is G F B D."
    )
    assert repr(which_degree("Bb", "C7").check("7")) == (
        "Not yet: the major seventh (7) lies 11 semitones above C, B♭ lies 10."
    )
    assert repr(which_degree("F", "C7").check("4")) == (
        "Not yet: counted from C, F is the 4; but C7 holds C E G B♭, so it is foreign."
    )
    assert repr(which_diminished("D", "Cmaj7").check("C#dim7, leading-tone")) == (
        "Not yet: C♯dim7 is C♯ E G B♭: it does not hold D."
    )
    assert repr(which_diminished("D", "Cmaj7").check("Bdim7, common-tone")) == (
        "Not yet: the common-tone one holds C itself; this one does not."
    )
    assert repr(shell("E4", "Cmaj7").check("G E")) == (
        "Not yet: the lower note is off: G is the fifth (5), asked is the root (1), C."
    )
    assert repr(find_grips("Cmaj7", strings="5432").check("x3545x")) == (
        "Not yet: 4 of 5 are missing, on strings 5432."
    )
    assert repr(harmonise_bar(ABC, 1).check("x3545x, x7958x, xx2323")) == (
        "Not yet: 1.4: the top note of xx2323 is G4; the melody D4 belongs on top, on the highest string."
    )
    assert repr(harmonise_bar(ABC, 1).check("x3545x, x7958x")) == (
        "Not yet: 2 grips are given for 3 notes: 1.1 Cmaj7 E4, 1.3 Cmaj7 G4, 1.4 Cmaj7 D4."
    )
    assert repr(find_gaps(ABC, 1, 2).check("1.1")) == (
        "Not yet: 1.1: the call at 1.1 has to ring for a beat first; 2 of 2 are missing."
    )
    assert repr(answer_call(ABC, call=2).check((2, 1, "x5756x"))) == (
        "Not yet: bar 2, beat 3, answer x5756x: it repeats its call."
    )


def test_spelling_extended_chords_and_triads():
    assert spell("C9").solution() == "C E G B♭ D"
    assert not spell("C9").check("C E G Bb").right
    assert (
        spell("C7").check("C E G# A D").text.count(" semitones above C") == 5
    )  # two voices off and what is asked, one extra
    assert "the ninth (9) is missing" in spell("C9").check("C E G Bb").text
    assert spell("F#m").check("F# A C#").right


# --- dropping a voice ---------------------------------------------------------------------------------------------


def test_dropping_a_voice_by_the_definition():
    for task in drawn("drop"):
        chord, top = Chord.parse(task.chord), 72 + Name.parse(task.top).pitch_class
        names = dict(zip(classes(chord), chord.names, strict=True))
        by_class = dict(zip(classes(chord), chord.degrees, strict=True))
        right = dropped(close_under(top, classes(chord)), task.spread)
        told = [names[midi % 12] for midi in right]
        degrees = [by_class[midi % 12] for midi in right]
        assert task.solution() == " ".join(map(str, told))
        forms = [told, tuple(map(str, told)), ", ".join(map(str, told)), " ".join(degrees), "".join(degrees), degrees]
        forms += [
            " ".join(degrees).replace("♭", "b").replace("♯", "#"),
            [name.at(m) for name, m in zip(told, right, strict=True)],
        ]
        forms += [[name.at(m - 12) for name, m in zip(told, right, strict=True)]]
        forms += [[int(d) if d.isdigit() else d for d in degrees], dict(enumerate(told))]
        for form in forms:
            assert task.check(form).right, (task, form, task.check(form))
        loose = task.check("".join(d.strip("♭♯") for d in degrees))
        assert loose.right
        assert bool(loose.remarks) == any(d.strip("♭♯") != d for d in degrees)
        for order in permutations(told):
            assert task.check(order).right == (list(order) == told)
        spelled = [sharp_or_flat(told[0]), *told[1:]]
        assert task.check(spelled).right
        assert task.check(spelled).remarks


def test_dropping_a_voice_names_the_wrong_voice():
    for task in drawn("drop")[::4]:
        told = [Name.parse(text) for text in task.solution().split()]
        for place, wrong in product(range(4), range(12)):
            if wrong == told[place].pitch_class:
                continue
            reply = task.check([plain_name(wrong) if n == place else name for n, name in enumerate(told)])
            assert not reply.right
            assert f"{ON_VOICES[3 - place]} is off: {plain_name(wrong)} " in reply.text
            assert reply.text.count("is off") == 1
        assert not task.check(told[:3]).right
        assert not task.check([*told, told[0]]).right


def test_a_drop_in_the_wrong_octave_is_told():
    task = drop("Cmaj7", "drop 2", top="E")
    reply = task.check("C4 G3 B3 E4")
    assert not reply.right
    assert reply.text.startswith("Not yet: the lowest voice lies 4 semitones under the top note, asked is 16")
    assert task.check("C2 G2 B2 E3").right
    assert "that is close position" in task.check("G B C E").text


# --- inversions and roots -----------------------------------------------------------------------------------------


def test_naming_inversions_in_every_form():
    ordinal = ["root", "first", "second", "third"]
    short = ["0", "1st", "2nd", "3rd"]
    for task in drawn("name_inversion"):
        chord = Chord.parse(task.chord)
        right = classes(chord).index(min(midi_of(task.grip)) % 12)
        assert task.solution() == INVERSIONS[right]
        for number in range(4):
            forms = [
                number,
                str(number),
                ordinal[number],
                short[number],
                INVERSIONS[number],
                INVERSIONS[number].upper(),
            ]
            forms += [f"the {INVERSIONS[number]}", [INVERSIONS[number]]]
            for form in forms:
                reply = task.check(form)
                assert reply.right == (number == right), (task, form)
                assert reply.right or f"({chord.degrees[right]}), lies lowest" in reply.text
                assert reply.right or f"{INVERSIONS[number]} has " in reply.text


def test_next_inversions_on_the_same_strings_by_brute_force():
    for task in drawn("next_inversion")[::3]:
        chord = Chord.parse(task.chord)
        ring = classes(chord)
        now = midi_of(task.grip)
        wanted = [ring[(ring.index(m % 12) + 1) % 4] for m in now]
        places = [place for place, fret in enumerate(Grip.parse(task.grip).frets) if fret is not None]
        options = [
            [f for f in range(16) if (NECK.open_midi[p] + f) % 12 == pc] for p, pc in zip(places, wanted, strict=True)
        ]
        rise = [(b - a % 12) % 12 for a, b in zip(now, wanted, strict=True)]
        up = [a + r for a, r in zip(now, rise, strict=True)]
        right = set()
        for choice in product(*options):
            frets = [None] * 6
            for place, fret in zip(places, choice, strict=True):
                frets[place] = fret
            sounding = [NECK.open_midi[p] + f for p, f in zip(places, choice, strict=True)]
            same_shape = len({a - b for a, b in zip(sounding, up, strict=True)}) == 1
            text = str(Grip(tuple(frets)))
            reply = task.check(text)
            assert reply.right == (same_shape and playable(frets)), (task, text, reply)
            if reply.right:
                right.add(text)
                assert task.check(clicks(text)).right
                assert task.check(dict(clicks(text))).right
                assert task.check(list(frets)).right
                assert task.check(Grip.parse(text)).right
        assert task.solution() in right
        degrees = [chord.degrees[ring.index(pc)] for pc in wanted]
        assert task.check(degrees).right
        assert task.check([chord.name_of(d) for d in degrees]).right
        for place, move in product(places, (-1, 1)):
            frets = list(Grip.parse(task.solution()).frets)
            if 0 <= frets[place] + move <= 15:
                frets[place] += move
                reply = task.check(str(Grip(tuple(frets))))
                assert not reply.right
                assert f"{ON_VOICES[3 - places.index(place)]} is off" in reply.text


def test_the_next_inversion_keeps_its_strings_and_a_hand():
    task = next_inversion("Cmaj7", "x3545x")
    assert task.check("12-14-14-12-x-x").text.startswith("Not yet: the ")
    other = NECK.place(voice("Cmaj7", "drop 2", "G4"), (4, 3, 2, 1))
    assert "every voice stays on its own string" in task.check(other).text
    assert str(other) in task.check(other).text


def test_finding_root_and_spread_in_every_form():
    spreads = ("close", "drop 2", "drop 3", "drop 2 and 4")
    short = {
        "drop 2": (2, "drop2", "Drop-2"),
        "drop 3": (3, "Drop 3"),
        "drop 2 and 4": ("drop 2&4", "drop 24"),
        "close": ("close position",),
    }
    for task in drawn("find_root"):
        chord, now = Chord.parse(task.chord), midi_of(task.grip)
        strings = Grip.parse(task.grip).strings
        string = next(s for s, m in zip(strings, now, strict=True) if m % 12 == chord.root.pitch_class)
        spread = next(s for s in spreads if dropped(close_under(now[-1], classes(chord)), s) == now)
        for root, other in product(range(1, 7), spreads):
            right = (root, other) == (string, spread)
            forms = [(root, other), {"root": root, "spread": other}, f"{root}, {other}", f"string {root}, {other}"]
            forms += [(other, root), f"{other}, string {root}", f"{root} {other}", [str(root), other.upper()]]
            forms += [(root, form) for form in short[other]]
            forms += [f"{STRINGS[root]} string, {other}"] + [f"{root} {n}" for n in short[other] if isinstance(n, int)]
            for form in forms:
                reply = task.check(form)
                assert reply.right == right, (task, form, reply)
            if root != string and other == spread:
                assert f"string {root} " in reply.text
                assert "drop" not in reply.text.replace(f"{task.grip}", "")
            if other != spread:
                assert f"{other} with" in task.check((root, other)).text
        assert "still to be written" in task.check({"root": string}).text
        assert "still to be written" in task.check(f"{string}").text


# --- every grip ---------------------------------------------------------------------------------------------------


STRINGS = dict(enumerate("first second third fourth fifth sixth".split(), start=1))


def brute_grips(task):
    """Every grip by trying all frets on the strings of the spread."""
    chord = Chord.parse(task.chord)
    ups = {"drop 2": (0, 1, 2, 3), "drop 3": (0, 2, 3, 4), "drop 2 and 4": (0, 1, 3, 4)}[task.spread]
    found = set()
    for low in range(6 - ups[-1]):
        places = [low + up for up in ups]
        if task.strings and "".join(str(6 - p) for p in places) != task.strings:
            continue
        for top_fret in range(16):
            top = NECK.open_midi[places[-1]] + top_fret
            if top % 12 not in classes(chord) or (task.top and top % 12 != Name.parse(task.top).pitch_class):
                continue
            frets = [None] * 6
            for place, midi in zip(places, dropped(close_under(top, classes(chord)), task.spread), strict=True):
                frets[place] = midi - NECK.open_midi[place]
            if all(f is None or 0 <= f <= 15 for f in frets) and playable(frets):
                found.add(str(Grip(tuple(frets))))
    return found


def test_finding_every_grip_by_brute_force():
    for task in drawn("find_grips")[::3]:
        right = brute_grips(task)
        assert set(task.solution()) == right
        listed = sorted(right)
        forms = [listed[::-1], ", ".join(listed), "; ".join(listed), "\n".join(listed), " ".join(listed), set(listed)]
        forms += [[Grip.parse(t) for t in listed], [clicks(t) for t in listed], dict(enumerate(listed))]
        for form in forms:
            assert task.check(form).right, (task, form, task.check(form))
        for missing in listed:
            reply = task.check([t for t in listed if t != missing] or "...")
            assert not reply.right
            assert (
                len(listed) == 1
                or f"1 of {len(listed)} is missing, on strings {Grip.parse(missing).string_set}" in reply.text
            )
        for move, place in product((-1, 1), range(4)):
            frets = list(Grip.parse(listed[0]).frets)
            at = [n for n, f in enumerate(frets) if f is not None][place]
            if 0 <= frets[at] + move <= 15:
                frets[at] += move
                wrong = str(Grip(tuple(frets)))
                reply = task.check([*listed, wrong])
                assert not reply.right
                assert wrong in reply.text


def test_a_grip_on_unusual_strings_is_a_remark_unless_the_strings_are_fixed():
    # C G B E with the two lower notes on strings 6 and 4: a drop 2 nobody's table has
    odd = next(
        str(Grip(frets))
        for frets in (
            (8, None, 5, 4, 5, None),
            (8, None, 9, 9, None, None),
            (None, 3, None, 0, 0, 0),
            (8, None, 5, 4, None, 0),
        )
        if playable(list(frets)) and sorted(NECK.midi(frets)) == [48, 55, 59, 64]
    )
    everywhere = find_grips("Cmaj7", "drop 2", top="E")
    reply = everywhere.check([*everywhere.solution(), odd])
    assert reply.right
    assert odd in reply.remarks[0]
    fixed = find_grips("Cmaj7", "drop 2", strings="5432", top="E")
    assert "asked are strings 5432" in fixed.check([*fixed.solution(), odd]).text


# --- degrees and diminished sevenths ------------------------------------------------------------------------------

ALL_DEGREES = "1 ♭2 2 ♯2 ♭3 3 4 ♯4 ♭5 5 ♯5 ♭6 6 ♭♭7 ♭7 7 ♭9 9 ♯9 11 ♯11 ♭13 13".split()
STEPS = dict(zip(ALL_DEGREES, (0, 1, 2, 3, 3, 4, 5, 6, 6, 7, 8, 8, 9, 9, 10, 11, 1, 2, 3, 5, 6, 8, 9), strict=True))


def test_degrees_every_name_of_the_same_step_is_right():
    seen = set()
    for task in drawn("which_degree"):
        chord = Chord.parse(task.chord)
        step = (Name.parse(task.note).pitch_class - chord.root.pitch_class) % 12
        inside = (step + chord.root.pitch_class) % 12 in classes(chord)
        seen.add(inside)
        for name, steps in STEPS.items():
            for form in (name, name.replace("♭", "b").replace("♯", "#"), [name]):
                reply = task.check(form)
                assert reply.right == (inside and steps == step), (task, form, reply)
                if reply.right:
                    assert bool(reply.remarks) == (name not in chord.degrees)
                else:
                    assert task.note in reply.text
        for form in ("foreign", "no", "Foreign.", False):
            assert task.check(form).right == (not inside)
        if inside:
            own = chord.degrees[classes(chord).index((step + chord.root.pitch_class) % 12)]
            assert task.check(DEGREE_WORDS[own]).right
            assert task.check(f"the {DEGREE_WORDS[own]}").right
        assert not task.check("yes").right
    assert seen == {True, False}


def test_a_fill_of_a_triad_may_be_called_foreign():
    assert which_degree("A", "C").check("6").right
    assert which_degree("A", "C").check("no").right
    assert "fills C up" in which_degree("A", "C").check("no").remarks[0]
    assert not which_degree("E", "C").check("no").right


def test_diminished_sevenths_by_any_of_their_four_roots():
    actions = {11: "leading-tone", 2: "leading-tone", 5: "leading-tone", 8: "leading-tone"}
    actions |= dict.fromkeys((0, 3, 6, 9), "common-tone") | dict.fromkeys((1, 4, 7, 10), "secondary")
    for task in drawn("which_diminished"):
        chord, note = Chord.parse(task.chord), Name.parse(task.note)
        why = actions[(note.pitch_class - chord.root.pitch_class) % 12]
        assert task.solution()["why"] == why
        for root, action in product(range(12), ("leading-tone", "common-tone", "secondary")):
            right = (root - note.pitch_class) % 3 == 0 and action == why
            name = plain_name(root)
            forms = [(f"{name}dim7", action), f"{name}°7, {action}", {"chord": f"{name}dim7", "why": action}]
            if action == why:
                forms += [
                    f"{action}: {name}dim7",
                    (str(name), action.split("-")[0]),
                    [Chord.parse(f"{name}o7"), action.upper()],
                ]
                forms += [(" ".join(str(plain_name(root + n)) for n in (0, 3, 6, 9)), action)]
                forms += [([plain_name(root + n) for n in (0, 3, 6, 9)], action)]
            for form in forms:
                reply = task.check(form)
                assert reply.right == right, (task, form, reply)
            if (root - note.pitch_class) % 3:
                assert f"{name}dim7 is " in reply.text
                assert f"it does not hold {note}" in reply.text
            elif action != why:
                assert f"the {action} one holds" in reply.text
            elif name.pitch_class != Chord.parse(task.solution()["chord"]).root.pitch_class:
                assert "the same four notes" in reply.remarks[0]
        assert "say also which it is" in task.check(task.solution()["chord"]).text
        assert "by name" in task.check(("", why)).text


# --- shells -------------------------------------------------------------------------------------------------------


def test_shells_every_playable_grip_counts():
    for task in drawn("shell")[::14]:
        chord, melody = Chord.parse(task.chord), Pitch.parse(task.note)
        found = 0
        for low, high in ((a, b) for a in range(6) for b in range(a + 1, 6)):
            for low_fret, high_fret in product(range(16), repeat=2):
                sounding = NECK.open_midi[low] + low_fret, NECK.open_midi[high] + high_fret
                if sounding[1] % 12 != melody.midi % 12 or sounding[0] % 12 != chord.root.pitch_class:
                    continue
                frets = [None] * 6
                frets[low], frets[high] = low_fret, high_fret
                right = sounding[1] == melody.midi and sounding[0] < melody.midi and playable(frets)
                text = str(Grip(tuple(frets)))
                assert task.check(text).right == right, (task, text, task.check(text))
                found += right
                assert not right or task.check(clicks(text)).right
        assert found == len(task._grips) > 0
        names = [chord.root, melody.name]
        for form in (names, " ".join(map(str, names)), tuple(map(str, names)), f"{chord.root}, {melody.name}"):
            assert task.check(form).right
        for wrong in range(12):
            name = plain_name(wrong)
            low, top = task.check([name, melody.name]), task.check([chord.root, name])
            assert low.right == (wrong == chord.root.pitch_class)
            assert low.right or "the lower note is off" in low.text
            assert top.right == (wrong == melody.midi % 12)
            assert top.right or "the top note is off" in top.text


# --- on tunes -----------------------------------------------------------------------------------------------------


def hold(frets):
    try:
        return NECK.fingered(tuple(frets))
    except HarmonyError:
        return None


def right_grips(task, choice):
    """Grips for one melody note by brute force: any four strings, melody on top, four different notes of the chord."""
    chord, melody = choice.chord, choice.note.pitch.midi
    tones = {chord.pitch_class_of(d) for stack in chord.stacks for d in stack}
    if melody % 12 not in tones | {chord.pitch_class_of(e) for e in chord.extensions}:
        tones = {(melody + n) % 12 for n in (0, 3, 6, 9)}
    found = []
    for top in range(3, 6):
        top_fret = melody - NECK.open_midi[top]
        if not 0 <= top_fret <= 15:
            continue
        for places in ((a, b, c) for a in range(top) for b in range(a + 1, top) for c in range(b + 1, top)):
            near = range(max(0, top_fret - 4), min(15, top_fret + 4) + 1)
            for low in product(*([f for f in near if (NECK.open_midi[p] + f) % 12 in tones] for p in places)):
                frets = [None] * 6
                frets[top] = top_fret
                for place, fret in zip(places, low, strict=True):
                    frets[place] = fret
                sounding = NECK.midi(frets)
                if len({m % 12 for m in sounding}) == 4 and max(sounding) == melody and hold(frets):
                    found.append(str(Grip(tuple(frets))))
    return found


def test_harmonising_takes_every_right_grip_and_names_the_wrong_note():
    for seed, level in product(range(5), (1, 2, 3)):
        task = random_exercise("harmonise_bar", seed, level)
        choices, solution = task.arrangement.choices, task.solution()
        tune = task.arrangement.tune
        for index, choice in enumerate(choices):
            assert choice.voicing is not None
            where = f"{tune.bar_at(choice.note.onset).number}."
            near = [
                NECK.nut_to(min(g.fretted, default=0))
                for g in (choices[n].grip for n in (index - 1, index + 1) if 0 <= n < len(choices))
            ]
            grips = right_grips(task, choice)
            assert solution[index] in grips
            for text in grips:
                at = NECK.nut_to(min(Grip.parse(text).fretted, default=0))
                if all(abs(at - other) <= 40 for other in near):
                    reply = task.check([text if n == index else own for n, own in enumerate(solution)])
                    assert reply.right, (task, text, reply)
            spoilt = list(Grip.parse(solution[index]).frets)
            for place, move in product(range(6), (-1, 1)):
                frets = list(spoilt)
                if frets[place] is None or not 0 <= frets[place] + move <= 15:
                    continue
                frets[place] += move
                text = str(Grip(tuple(frets)))
                if text in grips:
                    continue
                reply = task.check([text if n == index else own for n, own in enumerate(solution)])
                assert not reply.right
                assert reply.text.startswith(f"Not yet: {where}")
                assert text in reply.text


def test_harmonising_in_every_form():
    task = harmonise_bar(ABC, 1)
    solution = task.solution()
    forms = [", ".join(solution), "; ".join(solution), "\n".join(solution), tuple(map(Grip.parse, solution))]
    forms += [
        " ".join(solution),
        [clicks(text) for text in solution],
        dict(zip(("1.1", "bar 1, beat 3", "1.4"), solution, strict=True)),
    ]
    forms += [dict(enumerate(solution)), {1.1: solution[0], 1.3: solution[1], 1.4: solution[2]}]
    for form in forms:
        assert task.check(form).right, (form, task.check(form))
    assert "1.3: a grip is still to be written" in task.check([solution[0], ..., solution[2]]).text
    assert "1.3: a grip is still to be written" in task.check({0: solution[0], 2: solution[2]}).text
    assert "no note begins at" in task.check({"1.2": "x3545x"}).text
    assert "1.1: string 5 of x2545x is off: B is" not in task.check(["x2545x", *solution[1:]]).text
    jump = harmonise_bar('X:1\nT:Fast\nM:4/4\nL:1/4\nQ:1/4=240\nK:C\n"C6"G A G E|', 1)
    far = jump.check(["xx2213", "15-15-14-14-x-x", *jump.solution()[2:]])
    assert re.match(r"Not yet: bar 1, beat 2: \d+ mm in 0.25 s is too fast a jump to 15-15-14-14-x-x", far.text)


def test_a_phrase_is_longer_than_a_bar_and_single_notes_may_stay_single():
    task = harmonise_phrase(ABC, 1, 2)
    assert len(task.solution()) == 4
    alone = harmonise_bar('X:1\nT:Low\nM:4/4\nL:1/4\nK:C\n"N.C."E2 "Cmaj7"G2|', 1)
    assert "Single notes will do at 1.1." in alone.question
    assert alone.check(["xxxxx0", alone.solution()[1]]).right
    assert not alone.check(["xxxxx0", "xxxxx3"]).right
    assert "four different notes" in alone.check(["xxxxx0", "xxxxx3"]).text


def test_gaps_in_every_form_and_every_wrong_place_named():
    for task in drawn("find_gaps"):
        arrangement = task.arrangement
        tune = arrangement.tune
        right = {(tune.bar_at(g.start).number, tune.beat_at(g.start)) for g in gaps(arrangement) if not g.why_silent}
        silent = {(tune.bar_at(g.start).number, tune.beat_at(g.start)) for g in gaps(arrangement) if g.why_silent}
        listed = sorted(right)
        forms = [
            listed,
            ", ".join(f"bar {b}, beat {float(t):g}" for b, t in listed),
            [[b, float(t)] for b, t in listed],
        ]
        forms += ["; ".join(f"{b}.{float(t):g}" for b, t in listed[::-1]), {(b, t) for b, t in listed}]
        for form in forms:
            assert task.check(form).right, (task, form, task.check(form))
        for bar, half in product(range(1, 5), range(2, 10)):
            spot = (bar, Fraction(half, 2))
            reply = task.check([*listed, spot])
            assert reply.right == (spot in right | silent), (task, spot, reply)
            assert reply.right or reply.text.startswith(f"Not yet: {bar}.{half // 2}")
        for spot in listed if len(listed) > 1 else ():
            assert f"1 of {len(listed)} is missing" in task.check([s for s in listed if s != spot]).text


def test_answers_to_a_call_are_what_the_checker_accepts():
    for task in drawn("answer_call"):
        arrangement, gap = task.arrangement, task._gap
        call = arrangement.choices[gap.call]
        opens = gap.start - call.note.onset
        accepted = 0
        for voicing, grip in NECK.cycle(call.voicing, call.grip.strings):
            assert voicing
            hit = (opens, Fraction(1, 2), str(grip))
            fits = not check_answers(with_own(arrangement, gap.call, [hit]))
            for form in (
                hit,
                [hit],
                f"{opens} 1/2 {grip}",
                (float(opens), 0.5, clicks(str(grip))),
                {"after": opens, "length": "½", "grip": grip},
            ):
                assert task.check(form).right == fits, (task, form, task.check(form))
            accepted += fits
        assert accepted
        for length in (0, -1, "0", 65):
            assert "lengths above 0" in task.check((opens, length, task.solution()[0][2])).text
        same = task.check((opens, Fraction(1, 2), str(call.grip)))
        assert not same.right
        assert "repeats its call" in same.text
        late = task.check((gap.end - call.note.onset, 1, task.solution()[0][2]))
        assert not late.right
        assert "over the next call" in late.text or "after the tune has ended" in late.text
        early = task.check((0, 1, task.solution()[0][2]))
        assert "cuts its call off" in early.text


def test_mending_finds_the_one_spoilt_grip_and_takes_every_right_one():
    for task in drawn("mend"):
        index, made = task.spoilt
        assert len(check(made)) == 1
        assert check(task.arrangement) == []
        different = [
            n for n, (a, b) in enumerate(zip(made.choices, task.arrangement.choices, strict=True)) if a.grip != b.grip
        ]
        assert different == [index]
        place, good = task.solution()
        spoilt = str(made.choices[index].grip)
        assert midi_of(spoilt)[-1] == midi_of(good)[-1]
        before, after = Grip.parse(spoilt).frets, Grip.parse(good).frets
        assert sum(a != b for a, b in zip(before, after, strict=True)) == 1
        bar, beat = place.split(".", 1)
        for form in (
            (place, good),
            f"{place}, {good}",
            f"bar {bar}, beat {beat}: {good}",
            {"place": place, "grip": good},
            (index, good),
            {place: good},
            (place, clicks(good)),
            {"index": index, "grip": Grip.parse(good)},
        ):
            assert task.check(form).right, (task, form, task.check(form))
        near = [
            NECK.nut_to(min(g.fretted, default=0))
            for g in (made.choices[n].grip for n in (index - 1, index + 1) if 0 <= n < len(made.choices))
        ]
        for text in right_grips(task, made.choices[index])[:30]:
            if all(abs(NECK.nut_to(min(Grip.parse(text).fretted, default=0)) - at) <= 40 for at in near):
                assert task.check((place, text)).right
        wrong = task.check((place, spoilt))
        assert not wrong.right
        string = next(6 - n for n, (a, b) in enumerate(zip(before, after, strict=True)) if a != b)
        off, twice = (
            f"{place}: string {string} of {spoilt} is off",
            rf"{place}: {spoilt} holds .* on strings .*{string}",
        )
        assert off in wrong.text or re.search(twice, wrong.text)
        for other in range(len(made.choices)):
            if other != index:
                assert "is sound" in task.check((other, good)).text
        assert "mended grip is still" in task.check((place, ...)).text
        assert task.hints[-1] in wrong.text


def test_invented_tunes_are_sound():
    for level, key, seed in product((1, 2, 3), "C F B♭ E♭ D A".split(), range(6)):
        tune = invented(key, level, seed)
        assert tune.key == f"{key} major"
        assert all(a.end <= b.onset for a, b in zip(tune.notes, tune.notes[1:], strict=False))
        assert all(64 <= note.pitch.midi <= 79 and abs(note.pitch.alter) < 2 for note in tune.notes)
        assert tune.notes[-1].end <= tune.end == 16


# --- material -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: spell("Hm7"), "'Hm7' is not a chord symbol"),
        (lambda: spell(7), "chord “7”: write it as text"),
        (lambda: spell(""), "write it as text"),
        (lambda: drop("C", "drop 2"), "C is not a plain four-note chord: name one such as Cmaj7"),
        (lambda: drop("Cmaj7", "drop 5"), "is not a spread"),
        (lambda: drop("Cmaj7", "close"), "drops no voice"),
        (lambda: drop("Cmaj7", "drop 2", top="F"), "is not in Cmaj7"),
        (lambda: name_inversion("C7", "x3534x"), "x3534x (C G B♭ E♭) is no voicing of C7 (C E G B♭)"),
        (lambda: name_inversion("C7", "x3x"), "names 3 strings"),
        (lambda: name_inversion("C7", "hello"), "is not a grip"),
        (lambda: next_inversion("Cmaj7", "1-14-x-x-x-x"), "stretches"),
        (lambda: find_grips("Cmaj7", "drop 2", strings="6432"), "drop 2 is played on 6543, 5432, 4321"),
        (lambda: find_grips("Cmaj7", "close", strings="6543", neck=Neck(reach_mm=20)), "no hand holds"),
        (lambda: find_grips("Cmaj7", top="F"), "F is not in Cmaj7 (C E G B)"),
        (lambda: which_degree("H", "C7"), "'H' is not a note name"),
        (lambda: which_diminished("E", "Cmaj7"), "E is in Cmaj7: name a note that is foreign"),
        (lambda: shell("E2", "Cmaj7"), "no hand holds E2 with C below it"),
        (lambda: shell("E", "Cmaj7"), "'E' is not a pitch"),
        (lambda: harmonise_bar("none.abc"), "was not found"),
        (lambda: harmonise_bar(ABC, 9), "bars 9 to 9: Two bars has bars 1 to 2"),
        (lambda: harmonise_phrase(ABC, 2, 1), "low to high"),
        (lambda: harmonise_bar(ABC, "1"), "bar “1”: give a whole number"),
        (lambda: harmonise_bar(ABC, level=4), "level 4: choose 1 to 3"),
        (lambda: harmonise_bar(ABC, tempo=5), "choose 10 to 600"),
        (lambda: harmonise_bar(42), "give a file's name or ABC text"),
        (lambda: answer_call(ABC, call=9), "has fewer gaps"),
        (lambda: find_gaps('X:1\nT:Full\nM:2/4\nL:1/4\nK:C\n"C6"E G|E G|', 1, 2), "no gap long enough"),
        (lambda: exercise("sing"), "“sing” is not a kind of exercise: choose spell, drop"),
        (lambda: exercise("spell"), "needs chord"),
        (lambda: exercise("spell", chord="C", colour=1), "takes no colour: give chord"),
        (lambda: exercise("spell", chord="C", reach_mm="far"), "reach_mm “far”: give a setting"),
        (lambda: random_exercise("spell", 1, 4), "choose 1, 2 or 3"),
        (lambda: exercise_set([], 2), "name one kind or more"),
        (lambda: from_data([1]), "give a dictionary"),
        (lambda: from_data({"chord": "C"}), "is not a kind of exercise"),
    ],
)
def test_bad_material_is_refused_with_a_helpful_line(make, says):
    with pytest.raises(HarmonyError, match=re.escape(says)):
        make()


def test_another_neck_is_stored_and_obeyed():
    task = find_grips("Cmaj7", "drop 2", neck=Neck("all fourths", frets=12, reach_mm=90))
    data = task.as_data()
    assert data["tuning"] == "all fourths"
    assert from_data(data) == task
    assert set(task.solution()) != set(find_grips("Cmaj7", "drop 2").solution())
    assert task.check(task.solution()).right
    assert exercise("find_grips", chord="Cmaj7", frets=12).neck == Neck(frets=12)


def test_a_small_hand_takes_the_next_inversion_higher_up():
    task = next_inversion("Cmaj7", "x3545x", neck=Neck(frets=22, reach_mm=95))
    assert task.solution() == "x-19-21-17-20-x"
    assert re.fullmatch(r"Not yet: x7958x stretches \d+ mm; this hand reaches 95 mm.*", task.check("x7958x").text)


def test_four_notes_that_are_no_diminished_seventh():
    reply = which_diminished("D", "Cmaj7").check(("B D F G", "leading-tone"))
    assert "“B D F G” is not a diminished seventh" in reply.text


def test_marks_of_the_neck_are_clicks():
    task = shell("E4", "Cmaj7")
    assert task.check([Mark(5, 3, "C"), Mark(2, 5, "E", "third", True)]).right
    assert next_inversion("Cmaj7", "x3545x").check([Mark(s, f) for s, f in clicks("x7958x")] + [Mark(6, None)]).right


def test_a_reply_is_a_value():
    reply = spell("C7").check("C E G Bb")
    assert reply == replace(reply)
    assert (repr(reply), bool(reply)) == ("Right: C7 is C E G B♭.", True)
    assert not spell("C7").check("C E G B")
