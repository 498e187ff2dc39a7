"""Calls and answers: sound on whole tunes and on small random ones, exact against trying all, every fault named.

What an answer costs, where a rhythm can stand and which grips there are is worked out here a second time, in plain
numbers (`Every`); of the search only the draws of a seed are taken over.
"""

import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import pairwise, product
from math import inf, isfinite
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from music21 import common

from harmonylib.answering.checking import check_answers
from harmonylib.answering.gaps import SHORTEST_GAP_S, Gap, gaps
from harmonylib.answering.manner import CONTOURS, COSTS, Manner
from harmonylib.answering.motif import drawn, motif
from harmonylib.answering.own import ban_answer, keep_answer, with_own
from harmonylib.answering.palette import signature
from harmonylib.answering.respond import _places, answers_for, respond
from harmonylib.answering.rhythms import APPROACH_S, FASTEST_ANSWER_S, RHYTHMS, placements
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Answer, Arrangement
from harmonylib.arranging.chain import Option
from harmonylib.arranging.checking import check
from harmonylib.arranging.costs import SHIFT_MM, TRAVEL_MM_S
from harmonylib.arranging.density import DENSITIES
from harmonylib.arranging.fills import fill_at, forms
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.score.events import written_events
from harmonylib.score.musicxml import musicxml
from harmonylib.score.tables import csv_text
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Pitch, spell
from harmonylib.theory.voicings import voice
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.reading import read
from harmonylib.tunes.tune import Tune
from tests.draws import draws
from tests.test_arranging import LOW_LIMITS, SYMBOLS, grip_cost, index_finger_mm, tune_of

OWN = Path(__file__).resolve().parent.parent / "chapters" / "tunes"
SHEETS = [*sorted(OWN.glob("*.abc")), *sorted((Path(common.getCorpusFilePath()) / "leadSheet").glob("*.mxl"))]
SIDES = {"below": -1, "above": 1}


def one(call: int, arrangement: Arrangement) -> tuple[Answer, ...]:
    return tuple(item for item in arrangement.answers if item.call == call)


def key_of(answers: tuple[Answer, ...]) -> tuple[object, ...]:
    """When the chords of an answer sound, on which frets, and what leads into what."""
    return tuple((item.onset, item.grip.frets, item.approach) for item in answers)


def assert_fits(plain: Arrangement, answered: Arrangement) -> None:
    """All that must hold of every answered arrangement, looked at without the checker, and then with it."""
    neck = plain.settings.neck
    assert answered.choices == plain.choices
    assert (answered.tune, answered.source, answered.settings) == (plain.tune, plain.source, plain.settings)
    calls = [event for event in written_events(answered) if event.voice == 1]
    assert [(event.onset, event.pitches[-1]) for event in calls] == [(n.onset, n.pitch) for n in plain.tune.notes]
    assert all(0 < answered.held(c.index) <= c.note.duration for c in answered.choices)
    room = {gap.call: gap for gap in gaps(plain)}
    for call in {item.call for item in answered.answers}:
        answers, gap, choice = one(call, answered), room[call], plain.choices[call]
        assert not gap.why_silent
        assert answered.held(call) == min(choice.note.duration, answers[0].onset - choice.note.onset)
        assert gap.start <= answers[0].onset
        assert answers[-1].end <= gap.end
        assert all(before.end <= after.onset for before, after in pairwise(answers))
        assert all(item.duration > 0 for item in answers)
        assert not answers[-1].approach
        for before, after in pairwise(answers):
            if before.approach:
                moved = [fret if fret is None else fret + SIDES[before.approach] for fret in after.grip.frets]
                assert list(before.grip.frets) == moved
                assert 0 not in before.grip.frets, "an open string cannot slide"
                assert before.end == after.onset
                assert not after.approach
        spoken = [choice.grip, *(item.grip for item in answers if not item.approach)]
        assert all(a.frets != b.frets for a, b in pairwise(spoken))
        assert choice.grip.frets not in {grip.frets for grip in spoken[1:]}
        assert 1 <= len(spoken) - 1 <= 3
        onsets = [item.onset for item in answers if not item.approach] + [gap.end]
        assert all(float(b - a) * 60 / plain.tempo > FASTEST_ANSWER_S - 1e-9 for a, b in pairwise(onsets))
        for item in answers:
            assert item.rhythm in RHYTHMS
            assert neck.midi(item.grip.frets) == tuple(pitch.midi for pitch in item.voicing.pitches)
            assert item.reason
    assert check(answered) == check(plain)
    assert check_answers(answered) == []


# --- whole tunes --------------------------------------------------------------------------------------------------


def test_the_sheets_are_there():
    assert len(SHEETS) == 4


@cache
def arranged(path: Path, tempo: float, density: str = "comfortable") -> Arrangement:
    return arrange(read(path), tempo=tempo, density=density)


def contour_of(item: Answer) -> str:
    """The contour an answer's reason names; an approach names none."""
    return "" if item.approach else item.reason.split(": ")[0].split(", ")[-1]


@pytest.mark.few(2)
@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
@pytest.mark.parametrize("tempo", [80, 140, 220])
def test_whole_tunes_are_answered_soundly_in_every_manner(path, tempo):
    sides, shapes = set(), set()
    for number, (contour, side) in enumerate(product([*CONTOURS, "any"], [*SIDES, "both"])):
        plain = arranged(path, tempo, list(DENSITIES)[number % 4])
        manner = Manner(
            share=1, approached=0.7, approach_from=side, contour=contour, swing=number % 2 == 1, seed=number
        )
        answered = respond(plain, manner)
        assert_fits(plain, answered)
        assert check(answered) == []
        sides |= {item.approach for item in answered.answers if side == "both"}
        assert {item.approach for item in answered.answers} <= {"", side} or side == "both"
        shapes |= {contour_of(item) for item in answered.answers}
        if contour != "any":
            assert {contour_of(item) for item in answered.answers} <= {contour, ""}
    if tempo == 80:
        assert sides == {"", "below", "above"}
        assert shapes == {*CONTOURS, ""}


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_the_faster_the_fewer_answers_and_the_reason_is_given(path):
    slow, fast = (arranged(path, tempo, "every") for tempo in (80, 220))
    slow_gaps, fast_gaps = gaps(slow), gaps(fast)
    assert [gap.call for gap in slow_gaps] == [gap.call for gap in fast_gaps], "the same gaps, at other tempos"
    for seed in range(3):
        many, few = respond(slow, share=1, seed=seed), respond(fast, share=1, seed=seed)
        answered = [{item.call for item in made.answers} for made in (many, few)]
        assert answered[1] < answered[0]
        assert len(few.answers) < len(many.answers)
    for plain, found in ((slow, slow_gaps), (fast, fast_gaps)):
        for gap in found:
            seconds = float(gap.end - gap.start) * 60 / plain.tempo
            expected = f"{seconds:.2f} s is too short for an answer" if seconds < SHORTEST_GAP_S else ""
            assert gap.why_silent == expected
    short = sum(bool(gap.why_silent) for gap in fast_gaps)
    assert short > sum(bool(gap.why_silent) for gap in slow_gaps)
    expected = f"{len(answered[1])} of {len(fast_gaps)} gaps are answered; {short} stay silent: at 220 quarter notes a "
    assert few.remarks[-1] == expected + "minute they are too short"


@pytest.mark.slow
def test_one_gap_holds_fewer_chords_the_faster_it_goes():
    """Three beats: three chords a beat apart need 0.75 s, three of a triplet's length 0.25 s each."""
    held, most = tune_of("[G7] D5/4", "[Cmaj7] B4/4"), []
    for tempo in (60, 100, 200, 250, 300, 400):
        plain = arrange(held, tempo=tempo, density="every")
        made = [one(0, respond(plain, share=1, approached=1, seed=seed)) for seed in range(40)]
        most.append(max(len(answers) for answers in made))
    assert most == sorted(most, reverse=True)
    assert most[0] == 4, "three chords and an approach"
    assert most[-1] == 0


@pytest.mark.parametrize("share", [0, 0.25, 0.5, 0.75, 1])
def test_the_share_of_gaps_is_answered_and_the_rest_stays_silent(share):
    plain = arranged(SHEETS[0], 100)
    there = [gap for gap in gaps(plain) if not gap.why_silent]
    answered = respond(plain, share=share, seed=4)
    assert len({item.call for item in answered.answers}) == round(share * len(there))
    assert answered.remarks[-1].startswith(f"{round(share * len(there))} of ")
    if share == 0:
        assert replace(answered, remarks=plain.remarks) == plain


def test_a_greater_share_adds_answers_and_changes_none():
    plain = arranged(SHEETS[0], 100)
    steps = [respond(plain, share=share / 8, seed=2).answers for share in range(9)]
    assert all(set(map(str, a)) <= set(map(str, b)) for a, b in pairwise(steps))
    assert len(steps[-1]) > len(steps[4]) > 0


def test_seeds_differ_and_a_seed_repeats():
    plain = arranged(SHEETS[0], 100)
    texts = [musicxml(respond(plain, share=1, seed=seed)) for seed in (*range(4), *range(4))]
    assert texts[:4] == texts[4:]
    assert len(set(texts)) == 4


@pytest.mark.parametrize(
    ("call", "why"),
    [
        (lambda plain: respond("C7"), "'C7' is not an arrangement: make one first"),
        (lambda plain: respond(plain, colour="blue"), "'colour' is not a setting here: there are share, approached"),
        (lambda plain: respond(plain, share="all"), "share 'all': give a share between 0 and 1"),
        (lambda plain: respond(plain, keep={0: "x3545x"}), "cannot be kept: keep maps calls to answers"),
        (lambda plain: respond(plain, bans=[3]), r"\[3\] cannot be followed: bans are pairs of a call and an answer"),
        (lambda plain: keep_answer(plain, None, 0), "None is not a Manner"),
        (lambda plain: with_own(plain, "0", []), "'0' is not the number of a note"),
        (lambda plain: with_own(plain, 0, ["x3545x"]), r"are no hits: write each as \(start, length, grip\)"),
        (lambda plain: gaps(None), "None is not an arrangement"),
    ],
)
def test_what_is_of_another_kind_is_refused_by_name(call, why):
    with pytest.raises(HarmonyError, match=why):
        call(arranged(SHEETS[0], 100))


def test_answering_again_starts_afresh():
    plain = arranged(SHEETS[0], 100)
    assert respond(respond(plain, share=1, seed=5), share=0.5) == respond(plain, share=0.5)


# --- breath, motif, like phrases ----------------------------------------------------------------------------------


def ends(answered: Arrangement) -> list[tuple[Fraction, Fraction]]:
    """How long each answer lasts past its gap's start, and how much it leaves free before the next note, in beats."""
    tune, found = answered.tune, []
    for call in {item.call for item in answered.answers}:
        if call + 1 < len(tune.notes):
            last, beat = one(call, answered)[-1], felt(tune.bar_at(tune.notes[call].onset))
            found.append((last.duration / beat, (tune.notes[call + 1].onset - last.end) / beat))
    return found


@pytest.mark.few(4)
@pytest.mark.parametrize("breath", [0, 0.5, 1, 1.5])
@pytest.mark.parametrize("metre", [(4, 4), (3, 4), (12, 8)])
def test_an_answer_leaves_the_breath_asked_for_and_uses_what_there_is(metre, breath):
    lasting = METRES[metre]
    plain = arrange(tune_of(f"[Cmaj7] E5/{lasting}", f"[Dm7] F5/{lasting}", metre=metre), density="every", tempo=70)
    free = [end for seed in range(40) for end in ends(respond(plain, share=1, seed=seed, breath=breath))]
    assert len(free) == 40
    assert min(rest for _, rest in free) >= breath
    assert min(rest for _, rest in free) < breath + 0.5
    assert min(length for length, _ in free) >= Fraction(1, 3)


@pytest.mark.parametrize(("swing", "metre", "parts"), [(False, (4, 4), 2), (True, (4, 4), 3), (False, (6, 8), 3)])
def test_a_chord_is_cut_short_by_parts_of_the_beat(swing, metre, parts):
    lasting = METRES[metre]
    bars = (f"[Cmaj7] E5/{lasting}", f"[Dm7] F5/{lasting}")
    plain = arrange(tune_of(*bars, metre=metre), density="every", tempo=80)
    for seed in range(20):
        for length, _ in ends(respond(plain, share=1, seed=seed, swing=swing, approached=0)):
            assert (length * parts).denominator == 1


def test_what_has_no_room_for_a_breath_stays_silent_and_is_said():
    plain = arrange(tune_of("[C6] E5/3/2 G5/5/2", "[Dm7] F5/4"), density="every", tempo=40)
    assert {item.call for item in respond(plain, share=1, breath=0).answers} == {0, 1, 2}
    answered = respond(plain, share=1)
    assert {item.call for item in answered.answers} == {1, 2}
    assert answered.remarks[-1] == "2 of 3 gaps are answered; 1 has no room for an answer and a breath"


@pytest.mark.few(1)
@pytest.mark.parametrize("rhythms", [1, 2, 8])
def test_a_chorus_lives_on_the_rhythms_asked_for(rhythms):
    plain = arranged(SHEETS[0], 80)
    heard = [{item.rhythm for item in respond(plain, share=1, rhythms=rhythms, seed=s).answers} for s in range(12)]
    where_none_fits = 1
    assert max(map(len, heard)) <= rhythms + where_none_fits
    assert len(set().union(*heard)) >= 4, "another seed, other rhythms"
    assert rhythms < 8 or max(map(len, heard)) >= 3


LIKE = ("[Cmaj7] E5/4", "[Dm7] F5/2 D5/2", "[Cmaj7] E5/4", "[Dm7] F5/2 D5/2", "[Cmaj7] E5/4", "[Dm7] F5/4")


def test_like_calls_are_answered_alike_and_each_for_itself_when_asked():
    plain = arrange(tune_of(*LIKE), density="every", tempo=80)
    assert len({plain.choices[call].grip for call in (0, 3)}) == 1
    apart = 0
    for seed in range(10):
        alike = respond(plain, share=1, seed=seed)
        moved = [(i.onset - 8, i.grip, i.approach) for i in one(3, alike)]
        assert moved == [(i.onset, i.grip, i.approach) for i in one(0, alike)]
        single = respond(plain, share=1, seed=seed, alike=False)
        apart += [i.onset - 8 for i in one(3, single)] != [i.onset for i in one(0, single)]
    assert apart > 3


@pytest.mark.slow
def test_a_teacher_weighs_each_matter_of_taste():
    plains, counts = [arranged(path, 100) for path in SHEETS], {}
    for name in ("cover", "pre-empt"):
        for weight in (0, 6, 60):
            made = [respond(plain, share=1, seed=seed, costs={name: weight}) for plain in plains for seed in range(3)]
            words = {"cover": "lies over its call", "pre-empt": "is the next note of the melody"}[name]
            counts[name, weight] = sum(words in said for one in made for said in check_answers(one, taste=True))
        assert counts[name, 0] > 2 * counts[name, 6] >= 2 * counts[name, 60], counts


# --- small random tunes -------------------------------------------------------------------------------------------

METRES = {(4, 4): 4, (3, 4): 3, (6, 8): 3, (2, 2): 4, (5, 4): 5, (7, 8): Fraction(7, 2), (12, 8): 6, (2, 4): 2}
LENGTHS = [Fraction(length) for length in ("1/2", "1", "3/2", "2", "3", "4", "1/3", "6")]
NECKS = [
    Neck(),
    Neck(capo=3),
    Neck("seven strings", frets=9),
    Neck("D3 G3 B3 E4"),
    Neck("all fourths", frets=5, reach_mm=140),
    Neck("G4 D3 G3 B3 D4", frets=9, capo=2),
    Neck(reach_mm=20),
    Neck(frets=22, reach_mm=250),
    Neck(frets=3, capo=2),
]


@st.composite
def tunes(draw: st.DrawFn, metres: tuple[tuple[int, int], ...] = tuple(METRES)) -> Tune:
    """One to three bars with changes under held notes, rests, N.C. and, now and then, a pick-up."""
    metre = draw(st.sampled_from(metres))
    pick_up = draw(st.sampled_from((Fraction(0), Fraction(0), Fraction(1, 2), Fraction(1))))
    bars = []
    for number in range(draw(st.integers(1, 3))):
        words, left = [], pick_up if pick_up and not number else Fraction(METRES[metre])
        while left:
            chords = draw(st.lists(st.sampled_from([*SYMBOLS, "N.C."]), max_size=1))
            if not bars and not words:
                chords = [draw(st.sampled_from(SYMBOLS))]
            midi = draw(st.integers(60, 79))
            length = min(left, draw(st.sampled_from(LENGTHS)))
            pitch = str(spell(midi % 12).at(midi)) if words or bars else "E5"
            words += [f"[{symbol}]" for symbol in chords]
            words.append(f"{pitch if not words[:-1] or draw(st.integers(0, 3)) else 'r'}/{length}")
            left -= length
        bars.append(" ".join(words))
    made = tune_of(*bars, metre=metre, fifths=draw(st.integers(-4, 4)))
    if draw(st.booleans()):  # chord changes that fall on no note
        later = [
            replace(change, onset=change.onset + Fraction(1, 2) * bool(n)) for n, change in enumerate(made.changes)
        ]
        onsets = [change.onset for change in later]
        if len(set(onsets)) == len(onsets):
            made = replace(made, changes=tuple(later))
    if pick_up:
        made = replace(made, bars=tuple(replace(bar, number=n) for n, bar in enumerate(made.bars)))
    return made


MANNERS = st.builds(
    Manner,
    share=st.just(1.0),
    approached=st.sampled_from((0.0, 0.5, 1.0)),
    approach_from=st.sampled_from((*SIDES, "both")),
    contour=st.sampled_from((*CONTOURS, "any")),
    swing=st.booleans(),
    seed=st.integers(0, 99),
)


@given(tunes(), MANNERS, st.sampled_from((10, 50, 80, 120, 200, 600)), st.sampled_from(tuple(DENSITIES)))
@settings(max_examples=draws(150))
def test_any_tune_is_answered_soundly_and_the_same_each_time(made, manner, tempo, density):
    plain = arrange(made, tempo=tempo, density=density)
    answered, again = respond(plain, manner), respond(plain, manner)
    assert_fits(plain, answered)
    assert (musicxml(answered), csv_text(answered)) == (musicxml(again), csv_text(again))
    silent = respond(plain, manner, share=0)
    assert replace(silent, remarks=plain.remarks) == plain
    assert musicxml(silent) == musicxml(plain)
    assert csv_text(silent) == csv_text(plain)


EMPTY_FIRST = tune_of(
    "[Bb7] E4/3/2 [A7alt] r/3 Db5/1 [E7b9] B4/1/2",
    "r/2 [Caug] E4/4",
    "F4/1 [Ab7#11] D5/1/2 [Cadd13] Gb4/1/2 [Fm6] Db4/2 E4/2",
    metre=(12, 8),
)


@pytest.mark.parametrize("neck", NECKS, ids=lambda neck: f"{neck.tuning} {neck.frets} {neck.reach_mm}")
@given(
    tunes(),
    MANNERS,
    st.sampled_from((("close",), ("drop 2",), ("drop 3",), ("drop 2 and 4",), ("drop 2", "drop 3"))),
    st.sampled_from((10, 60, 120, 600)),
)
@example(EMPTY_FIRST, Manner(share=1, approached=0, contour="rising", swing=True, seed=7), ("close",), 120)
@settings(max_examples=draws(30))
def test_any_neck_is_answered_soundly(neck, made, manner, spreads, tempo):
    plain = arrange(made, neck=neck, spreads=spreads, tempo=tempo, density="every")
    answered = respond(plain, manner)
    assert_fits(plain, answered)
    assert {item.voicing.spread for item in answered.answers} <= set(spreads)
    assert musicxml(answered) == musicxml(respond(plain, manner))
    assert csv_text(answered)


@pytest.mark.few(4)
@pytest.mark.parametrize("tempo", [10, 600])
@pytest.mark.parametrize("neck", NECKS[:5], ids=lambda neck: neck.tuning)
def test_the_slowest_and_the_fastest_are_answered(neck, tempo):
    """Over a gap of twelve beats and the last one of seven."""
    held = tune_of("[Cmaj7] E5/4", "r/4", "r/4", "[Dm7] F5/4", "[G7] r/4", tempo=tempo)
    plain = arrange(held, neck=neck, density="every")
    assert plain.share == 1
    for seed in range(4):
        answered = respond(plain, share=1, seed=seed)
        assert_fits(plain, answered)
        assert len({item.call for item in answered.answers}) == 2


# --- gaps ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bars", "changes", "expected"),
    [
        (("[C6] E5/4", "G5/4"), {}, [(0, "1", "4"), (1, "5", "8")]),
        (("[C6] E5/1/2 r/7/2",), {}, [(0, "1/2", "4")]),
        (("[C6] E5/2 r/2", "r/4", "r/1 G5/1 E5/2"), {}, [(0, "1", "9"), (2, "11", "12")]),  # across two bar lines
        (("[C6] E5/1", "G5/1/2"), {}, []),  # a last bar too short for more than its note
        (("[C6] E5/1 G5/1/4 r/1/4",), {}, [(1, "5/4", "3/2")]),
        (("[C6] E5/3", "G5/3/2 r/3/2"), {"metre": (6, 8)}, [(0, "3/2", "3"), (1, "9/2", "6")]),
        (("[C6] E5/2 [N.C.] G5/2",), {}, [(0, "1", "2")]),  # a single note is no call
        (("[C6] r/4", "r/4", "E5/1 r/3"), {}, [(0, "9", "12")]),
    ],
)
def test_gaps(bars, changes, expected):
    found = gaps(arrange(tune_of(*bars, **changes), density="every"))
    assert [(gap.call, str(gap.start), str(gap.end)) for gap in found] == expected


def test_a_pick_up_has_a_gap_and_its_answer_lies_on_the_beats_of_the_bar_line():
    made = tune_of("[C6] E5/1/2 r/2", "[Dm7] F5/4")
    made = replace(made, bars=(replace(made.bars[0], number=0), replace(made.bars[1], number=1)))
    plain = arrange(made, density="every", tempo=60)
    assert (gaps(plain)[0].start, gaps(plain)[0].end) == (Fraction(1, 2), Fraction(5, 2))
    onsets = set()
    for seed in range(20):
        found = one(0, respond(plain, share=1, approached=0, seed=seed))
        onsets |= {item.onset for item in found if item.rhythm == "on the beat"}
    assert onsets == {Fraction(1, 2), Fraction(3, 2)}


@pytest.mark.few(1)
@pytest.mark.parametrize("second", [(6, 8), (4, 4)])
def test_on_the_beat_means_the_felt_beat_of_its_own_bar(second):
    """A gap over a change of metre, and over a bar that is not whole beats long."""
    made = tune_of("[Cmaj7] E5/3 r/1/2", "r/3", "[Dm7] F5/3")
    made = replace(made, bars=(made.bars[0], *(replace(bar, metre=second) for bar in made.bars[1:])))
    plain, beat = arrange(made, density="every", tempo=90), felt(made.bars[1])
    found = [one(0, respond(plain, share=1, approached=0, seed=seed)) for seed in range(100)]
    inside = [item.onset - made.bars[1].onset for answers in found for item in answers if item.rhythm == "on the beat"]
    inside = [offset for offset in inside if offset >= 0]
    assert len(inside) > 3
    assert all(offset % beat == 0 for offset in inside)


@pytest.mark.parametrize("swing", [False, True])
def test_swing_lays_off_beat_chords_and_approaches_on_the_last_third(swing):
    plain = arrange(tune_of("[Cmaj7] E5/4", "[Dm7] F5/4"), density="every", tempo=100)
    places = set()
    for seed in range(40):
        for item in respond(plain, share=1, approached=1, swing=swing, seed=seed).answers:
            if item.rhythm != "triplet pick-up":
                places.add(item.onset % 1)
    assert places == ({0, Fraction(2, 3), Fraction(1, 3)} if swing else {0, Fraction(1, 2)})


# --- trying every answer ------------------------------------------------------------------------------------------


def felt(bar: Bar) -> Fraction:
    """The felt beat in quarter notes: three eighths where eighths come in threes, else a quarter, or an eighth."""
    count, unit = bar.metre
    if unit == 8:
        return Fraction(3, 2) if count in (6, 9, 12) else Fraction(1, 2)
    return Fraction(1)


class Every:
    """All answers to one gap with their costs, from the cost tables, the frets and the rules in words alone."""

    def __init__(self, arrangement: Arrangement, gap: Gap, manner: Manner) -> None:
        self.arrangement, self.tune, self.gap = arrangement, arrangement.tune, gap
        self.neck, self.beat_s = arrangement.settings.neck, 60 / arrangement.tempo
        self.call = arrangement.choices[gap.call]
        self.following = next((c for c in arrangement.choices if c.index == gap.call + 1), None)
        self.coming = self.following and self.following.note.pitch.midi
        self.weights, self.swing = COSTS | dict(manner.costs), manner.swing
        self.places = list(self.all_places(manner.swing, Fraction(manner.breath) if self.following else Fraction(0)))
        self.drawn, self.contour, self.side = None, "", ""
        if self.places:
            theirs = list(placements(arrangement, gap, manner.swing, manner.breath))
            rhythms = motif(_places(arrangement, gaps(arrangement), manner), manner)
            asked = drawn(arrangement, gap, theirs, rhythms, manner)
            self.contour, self.side = asked.contour, asked.approach
            self.drawn = [(onset, chord) for onset, _, chord in theirs[asked.place].spans], theirs[asked.place].rhythm
        self.grips = {chord: list(self.all_grips(chord)) for place, _ in self.places for _, chord in place}

    def all_places(self, swing: bool, breath: Fraction) -> Iterator[tuple[list[tuple[Fraction, Chord]], str]]:
        """Every rhythm from every beat where it fits: onset and chord of each of its chords, and its name.

        Before the next note it breathes: its last chord may be held for fewer halves or thirds of the beat.
        """
        for (name, pattern), bar in product(RHYTHMS.items(), self.tune.bars):
            beat, place = felt(bar), bar.onset
            if beat == Fraction(3, 2) and any(start in (Fraction(1, 2), Fraction(3, 2)) for start, _ in pattern):
                continue
            if bar.number == 0:
                place = bar.end - bar.metre[0] * Fraction(4, bar.metre[1])
            while place < bar.end:
                late = [[t + Fraction(1, 6) if swing and t % 1 == Fraction(1, 2) else t for t in (s, s + length)]
                        for s, length in pattern]  # fmt: skip
                onsets = [place + start * beat for start, _ in late]
                part = beat / 3 if swing or beat == Fraction(3, 2) else beat / 2
                parts = [n * part for n in range(1, 7) if n * part < (late[-1][1] - late[-1][0]) * beat]
                ends = [onsets[-1] + length for length in [(late[-1][1] - late[-1][0]) * beat, *parts]]
                held = any(end <= self.gap.end - breath * beat for end in ends)
                chords = [self.tune.chord_at(onset) for onset in onsets]
                seconds = [float(b - a) * self.beat_s for a, b in pairwise([*onsets, self.gap.end])]
                inside = self.gap.start <= onsets[0] and held and None not in chords
                if inside and min(seconds) >= FASTEST_ANSWER_S - 1e-12:
                    yield list(zip(onsets, chords, strict=True)), name
                place += beat

    def all_grips(self, chord: Chord) -> Iterator[Grip]:
        """Every voicing of a chord on the call's lowest string or the one beside it."""
        change = next(c for c in self.tune.changes if c.chord == chord)
        stack = self.call.voicing.stack if chord == self.call.voicing.chord else None
        stack = stack or forms(chord, chord.degrees[1], fill_at(self.tune, change))[0]
        for spread, degree, octave in product(self.arrangement.settings.spreads, stack, range(9)):
            name = chord.name_of(degree)
            for grip in self.neck.grips(voice(chord, spread, Pitch(name.letter, name.alter, octave), stack)):
                low, second = self.neck.midi(grip.frets)[:2]
                blurs = second - low in LOW_LIMITS and low < Pitch.parse(LOW_LIMITS[second - low]).midi
                if abs(grip.strings[0] - self.call.grip.strings[0]) <= 1 and not blurs:
                    yield grip

    def lead(self, onset: Fraction) -> Fraction:
        """How long an approach lasts: half a beat, a third where the beat goes in thirds."""
        bar = next(bar for bar in self.tune.bars if bar.onset <= onset < bar.end)
        beat = felt(bar)
        in_thirds = self.swing or beat == Fraction(3, 2) or ((onset - bar.onset) / beat % 1).denominator == 3
        return beat / 3 if in_thirds else beat / 2

    def led(self, place: list[tuple[Fraction, Chord]]) -> list[str]:
        """Which chord the drawn approach leads into: the first that leaves time for it."""
        sides, free = [""] * len(place), self.gap.start
        for index, (onset, _) in enumerate(place):
            lead = self.lead(onset)
            if self.side and onset - lead >= free and float(lead) * self.beat_s >= APPROACH_S:
                sides[index] = self.side
                break
            free = onset + Fraction(FASTEST_ANSWER_S) * Fraction(self.arrangement.tempo) / 60
        return sides

    def own_cost(self, grip: Grip) -> float:
        option = Option(grip, (), 0.0, ())
        top = self.neck.midi(grip.frets)[-1]
        taste = self.weights["cover"] * (top > self.call.note.pitch.midi)
        taste += self.weights["pre-empt"] * (top == self.coming)
        return grip_cost(self.neck, option, (option,), self.call.chord, foreign=True, closes=False) + taste

    def step(self, before: Grip, after: Grip, seconds: float) -> float:
        """The way from one grip to the next; infinity where the hand has no time for it."""
        way = abs(index_finger_mm(self.neck, before) - index_finger_mm(self.neck, after))
        first, second = self.neck.midi(before.frets), self.neck.midi(after.frets)
        both = len(first) == len(second) == 4
        if both and way > max(SHIFT_MM, TRAVEL_MM_S * seconds):
            return inf
        voices = sum(abs(a - b) for a, b in zip(first[:3], second[:3], strict=True)) if both else 0
        changed = self.weights["string set"] * (before.strings != after.strings)
        return self.weights["travel"] * way + self.weights["voices"] * voices + changed

    def cost(self, onsets: list[Fraction], grips: tuple[Grip, ...], sides: list[str], drawn: list[str]) -> float:
        """What an answer costs, its rhythm apart."""
        total, grip, since = 0.0, self.call.grip, self.call.note.onset
        for index, (onset, after, side) in enumerate(zip(onsets, grips, sides, strict=True)):
            if after.frets in (grip.frets, self.call.grip.frets):
                return inf
            first = Grip(tuple(f if f is None else f + SIDES.get(side, 0) for f in after.frets), after.fingers)
            if side and (0 in after.frets or 0 in first.frets or self.neck.fault(first)):
                return inf
            arrives = onset - self.lead(onset) if side else onset
            total += self.own_cost(after) + self.step(grip, first, float(arrives - since) * self.beat_s)
            total += self.weights["approach"] * (side != drawn[index])
            rise = self.neck.midi(after.frets)[-1] - self.neck.midi(grip.frets)[-1]
            up = {"rising": True, "falling": False, "turning": index < len(onsets) / 2}[self.contour]
            total += self.weights["contour"] * (rise <= 0 if up else rise >= 0) * (index > 0)
            grip, since = after, onset
        if self.following and self.following.grip:
            if grip.frets == self.following.grip.frets:
                return inf
            total += self.step(grip, self.following.grip, float(self.following.note.onset - since) * self.beat_s)
        return total

    def costs(self) -> dict[tuple[object, ...], float]:
        """The cost of every answer a hand can play, by what tells it from the others."""
        found: dict[tuple[object, ...], float] = {}
        for place, rhythm in self.places:
            onsets, drawn = [onset for onset, _ in place], self.led(place)
            sides = [drawn] if not any(drawn) else [drawn, [""] * len(place)]
            for grips, side in product(product(*(self.grips[chord] for _, chord in place)), sides):
                cost = self.cost(onsets, grips, side, drawn) + self.weights["rhythm"] * ((place, rhythm) != self.drawn)
                key = tuple(self.key(onsets, grips, side))
                if cost < found.get(key, inf):  # infinity: no hand gets there
                    found[key] = cost
        return found

    def key(self, onsets: list[Fraction], grips: tuple[Grip, ...], sides: list[str]) -> Iterator[tuple[object, ...]]:
        for onset, grip, side in zip(onsets, grips, sides, strict=True):
            if side:
                moved = tuple(fret if fret is None else fret + SIDES[side] for fret in grip.frets)
                yield onset - self.lead(onset), moved, side
            yield onset, grip.frets, ""


SMALL = {"neck": Neck(frets=9), "spreads": ("drop 2",), "density": "every"}
SMALL_GAPS = {
    # name                   bars, settings, metre
    "held": (("[Cmaj7] E5/3", "[Dm7] F5/3"), {"tempo": 100}, (3, 4)),
    "fast": (("[G7] D5/4", "[Cmaj7] E5/4"), {"tempo": 300, "neck": Neck()}, (4, 4)),
    "slow": (("[G7] D5/2", "[Cmaj7] E5/2"), {"tempo": 60}, (2, 4)),
    "a rest": (("[Dm7] C5/1/2 r/3/2", "[G7] B4/2"), {"tempo": 120}, (2, 4)),
    "change under it": (("[Dm7] C5/2 [G7] r/1", "[Cmaj7] E5/3"), {"tempo": 90, "neck": Neck()}, (3, 4)),
    "no chord in it": (("[Dm7] C5/2 [N.C.] r/1", "[Cmaj7] E5/3"), {"tempo": 90, "neck": Neck()}, (3, 4)),
    "the end": (("[Dm7] C5/1", "[G7] B4/2 r/1"), {"tempo": 100}, (3, 4)),
    "compound": (("[Cmaj7] E5/9/2", "[Dm7] F5/9/2"), {"tempo": 120}, (9, 8)),
    "back to one note": (("[Dm7] C5/2 r/1", "[N.C.] E4/3"), {"tempo": 110}, (3, 4)),
    "diminished call": (("[C6] D5/2 r/1", "[C6] C5/3"), {"tempo": 100}, (3, 4)),
    "triad": (("[C] C5/2 r/1", "[F] C5/3"), {"tempo": 100}, (3, 4)),
    "both spreads": (("[Cmaj7] E5/3", "[Dm7] F5/3"), {"tempo": 100, "spreads": ("drop 2", "drop 3")}, (3, 4)),
    "same top": (
        ("[Am7] C5/5/2 C5/1/2",),
        {"tempo": 80, "neck": Neck(frets=12), "spreads": ("drop 2", "drop 3")},
        (3, 4),
    ),
    "led in haste": (
        ("[Cmaj7] C4/3", "[N.C.] C4/3"),
        {"tempo": 190, "neck": Neck(), "pins": {0: "x2201x"}},
        (3, 4),
    ),
    "other tuning": (("[Cmaj7] E5/3", "[Dm7] F5/3"), {"tempo": 130, "neck": Neck("open G", 9, capo=1)}, (3, 4)),
    "three chords": (("[G7] D5/4", "[Cmaj7] E5/4"), {"tempo": 120, "neck": Neck(frets=5)}, (4, 4)),
    "triplets": (("[G7] D5/3", "[Cmaj7] E5/3"), {"tempo": 60, "neck": Neck(frets=5)}, (3, 4)),
}


def small(name: str) -> tuple[Arrangement, Gap]:
    bars, changes, metre = SMALL_GAPS[name]
    plain = arrange(tune_of(*bars, metre=metre), **SMALL | changes)
    return plain, next(gap for gap in gaps(plain) if gap.call == (1 if name == "the end" else 0))


@pytest.mark.few(6)
@pytest.mark.parametrize("name", SMALL_GAPS)
def test_the_best_answers_are_those_found_by_trying_all(name):
    plain, gap = small(name)
    met = set()
    for seed in range(4):
        manner = Manner(share=1, approached=seed % 2, seed=seed, swing=seed == 3, breath=seed / 4)
        if seed == 1:
            manner = replace(manner, costs={"cover": 1.5, "pre-empt": 0, "travel": 0.02}, alike=False)
        every = Every(plain, gap, manner)
        costs = every.costs()
        count = len(costs) + 1 if len(costs) < 1000 else 60  # all of them where they are not too many
        found = answers_for(plain, gap, manner, count)
        assert [cost for cost, _ in found] == pytest.approx(sorted(costs.values())[:count])
        for cost, answers in found:
            assert costs[key_of(answers)] == pytest.approx(cost)
        assert len({key_of(answers) for _, answers in found}) == len(found)
        assert key_of(one(gap.call, respond(plain, manner))) == (key_of(found[0][1]) if found else ())
        met |= {len(place) for place, _ in every.places} | (
            {"led"} if any(any(every.led(place)) for place, _ in every.places) else set()
        )
    assert met >= {1}
    assert {"led"} <= met or name in ("fast", "slow", "a rest")
    if name in ("three chords", "triplets"):
        assert 3 in met


def test_the_jump_rule_binds_in_the_brute_force():
    plain, gap = small("fast")
    every = Every(plain, gap, Manner())
    tight = [every.step(plain.choices[0].grip, grip, 0.2) for grip in every.grips[plain.choices[0].chord]]
    assert inf in tight
    assert any(map(isfinite, tight))


# --- what a teacher keeps and bans --------------------------------------------------------------------------------


@pytest.fixture(name="plain", scope="module")
def plain_fixture() -> Arrangement:
    bars = ("[Cmaj7] E5/4", "[Dm7] F5/2 r/2", "[G7] D5/4", "[Cmaj7] E5/4")
    return arrange(tune_of(*bars), density="every", tempo=80)


def test_bans_bring_the_next_best_again_and_again():
    """Far enough for rhythms that begin alike (“off the beat”, “anticipated”) to bring the same grips."""
    plain = arrange(tune_of("[Cmaj7] E5/4", "[Dm7] F5/2 r/2"), density="every")
    manner, cost, gone = Manner(share=1, seed=1), -inf, set()
    ranked = {key_of(answers): cost for cost, answers in answers_for(plain, gaps(plain)[0], manner, 30)}
    first = answered = respond(plain, manner)
    for _ in range(28):
        assert check_answers(answered) == []
        own = one(0, answered)
        assert own
        assert key_of(own) not in gone
        assert ranked[key_of(own)] >= cost
        cost = ranked[key_of(own)]
        gone.add(key_of(own))
        assert [item for item in answered.answers if item.call] == [item for item in first.answers if item.call]
        manner = ban_answer(answered, manner, 0)
        answered = respond(answered, manner)
    assert len(answered.remarks) == len(first.remarks)


def test_a_gap_falls_silent_when_all_is_banned():
    little = arrange(
        tune_of("[Cmaj7] E5/2", "[N.C.] F5/2"), neck=Neck(frets=5), tempo=60, density="every", spreads=("drop 2",)
    )
    manner, answered, rounds = Manner(share=1, approached=0, breath=0), little, 0
    total = len(Every(little, gaps(little)[0], manner).costs())
    answered = respond(little, manner)
    while answered.answers:
        manner = ban_answer(answered, manner, 0)
        answered = respond(little, manner)
        rounds += 1
    assert rounds == total > 3
    assert answered.remarks[-1] == "0 of 1 gap is answered"


def test_what_is_kept_stays_whatever_else_changes(plain):
    manner = Manner(share=1, seed=3)
    answered = respond(plain, manner)
    kept = keep_answer(answered, manner, 1)
    others = set()
    for seed in range(6):
        again = respond(plain, kept, seed=seed, contour="rising")
        assert one(1, again) == one(1, answered)
        others.add(str(one(0, again)))
        assert check_answers(again) == []
    assert len(others) > 1
    alone = respond(plain, kept, share=0)
    assert alone.answers == one(1, answered)


def test_silence_can_be_kept_too(plain):
    manner = keep_answer(plain, Manner(share=1), 0)
    assert {item.call for item in respond(plain, manner).answers} == {gap.call for gap in gaps(plain)} - {0}


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"share": 1.5}, "share 1.5: give a share between 0 and 1"),
        ({"share": -0.1}, "share -0.1: give a share between 0 and 1"),
        ({"share": float("nan")}, "share nan: give a share between 0 and 1"),
        ({"approached": 2}, "approached 2: give a share between 0 and 1"),
        ({"approach_from": "beside"}, "approach from 'beside': choose below, above or both"),
        ({"contour": "wavy"}, "'wavy' is not a contour: choose rising, falling, turning or any"),
        ({"breath": -1}, "breath -1: give beats that stay free before the next call, 0 to 4"),
        ({"breath": "long"}, "breath 'long': give beats"),
        ({"rhythms": 0}, "0 rhythms: a chorus lives on 1 to 8"),
        ({"rhythms": 1.5}, "1.5 is not a number of rhythms"),
        ({"costs": {"colour": 1}}, "'colour' is not a cost of an answer: there are travel, voices, string set, cover"),
        ({"costs": {"cover": -1}}, "cover -1: give a weight between 0 and 1000"),
        ({"costs": 3}, r"3 cannot be followed: costs map names to weights, as in \{'cover': 3\}"),
        ({"keep": {9: ()}}, r"note 9 has no gap after it: gaps follow notes \[0, 1, 2, 3\]"),
        ({"bans": ((-1, ""),)}, r"note -1 has no gap after it: gaps follow notes \[0, 1, 2, 3\]"),
    ],
)
def test_a_manner_that_cannot_be_followed_is_refused(plain, change, why):
    with pytest.raises(HarmonyError, match=why):
        respond(plain, **change)


@pytest.mark.parametrize("change", [keep_answer, ban_answer])
def test_a_note_without_a_gap_can_be_neither_kept_nor_banned(plain, change):
    with pytest.raises(HarmonyError, match="note 7 has no gap after it"):
        respond(plain, change(plain, Manner(), 7))


def test_a_signature_tells_answers_apart(plain):
    made = one(0, respond(plain, share=1, seed=1))
    assert signature(made) == " ".join(f"{item.onset}:{item.grip}" for item in made)
    assert signature(made) != signature(one(1, respond(plain, share=1, seed=1)))


# --- planted faults -----------------------------------------------------------------------------------------------

FIRST, SECOND = "xx9988", "x-10-10-9-12-x"  # two voicings of Cmaj7


@pytest.fixture(name="good", scope="module")
def good_fixture() -> Arrangement:
    """A call held for four beats at 60, answered by two chords, the second one approached from below."""
    bars = ("[Cmaj7] E5/4", "[Dm7] F5/3 [N.C.] A4/1", "[Cmaj7] E5/2 [Dm7] r/1 [N.C.] r/1")
    made = with_own(arrange(tune_of(*bars), density="every", tempo=60), 0, [(1, 1, FIRST), (Fraction(5, 2), 1, SECOND)])
    first, second = made.answers
    good = replace(made, answers=(first, led_by(second, -1, "below"), second))
    assert check_answers(good) == []
    return good


def led_by(target: Answer, frets: int, side: str, grip: Grip | None = None) -> Answer:
    """A chord half a beat before another, `frets` off it or with a grip of its own."""
    notes = tuple(spell(pitch.midi + frets).at(pitch.midi + frets) for pitch in target.voicing.pitches)
    voicing = replace(target.voicing, pitches=notes)
    onset = target.onset - Fraction(1, 2)
    return replace(target, onset=onset, duration=Fraction(1, 2), voicing=voicing, approach=side,
                   grip=grip or target.grip.shifted(frets))  # fmt: skip


def changed(good: Arrangement, place: int, **changes: object) -> Arrangement:
    answers = list(good.answers)
    answers[place] = replace(answers[place], **changes)
    return replace(good, answers=tuple(answers))


def regripped(good: Arrangement, place: int, grip: str | Grip) -> Arrangement:
    """One answer on other frets, with the pitches they sound."""
    neck = good.settings.neck
    grip = neck.fingered(Grip.parse(grip).frets) if isinstance(grip, str) else grip
    notes = tuple(spell(midi).at(midi) for midi in neck.midi(grip.frets))
    return changed(good, place, grip=grip, voicing=replace(good.answers[place].voicing, pitches=notes))


def unled(good: Arrangement) -> Arrangement:
    return replace(good, answers=(good.answers[0], good.answers[2]))


def at(good: Arrangement, tempo: float) -> Arrangement:
    return replace(good, settings=replace(good.settings, tempo=tempo))


def relead(good: Arrangement, frets: int, side: str) -> Arrangement:
    first, _, second = good.answers
    return replace(good, answers=(first, led_by(second, frets, side), second))


def bent(good: Arrangement) -> Arrangement:
    """The approach with one voice left where it goes to."""
    frets = list(good.answers[1].grip.frets)
    frets[2] += 1
    return regripped(good, 1, Grip(tuple(frets), good.answers[1].grip.fingers))


def moved(good: Arrangement, call: int, *hits: tuple[float, float, str]) -> Arrangement:
    """Only these hits, as the answer to another call."""
    return with_own(replace(good, answers=()), call, hits)


def fingerless(good: Arrangement) -> Arrangement:
    return changed(good, 0, grip=Grip(good.answers[0].grip.frets))


FAULTS = {
    # name: (what is done to the good arrangement, the sentence it must bring)
    "over the next call": (
        lambda g: changed(g, 2, duration=2),
        "beat 3½, answer x-10-10-9-12-x: it sounds over the next call",
    ),
    "wholly after the next call": (lambda g: changed(g, 2, onset=Fraction(5)), "bar 2, beat 2.* over the next call"),
    "over the end of the tune": (lambda g: moved(g, 3, (2, 3, "x5756x")), "it sounds on after the tune has ended"),
    "its call again": (lambda g: regripped(g, 0, str(g.choices[0].grip)), "bar 1, beat 2, .*it repeats its call"),
    "its call again, later": (lambda g: regripped(unled(g), 1, str(g.choices[0].grip)), "it repeats its call"),
    "its neighbour again": (lambda g: regripped(unled(g), 1, FIRST), "xx9988: it repeats the answer before it"),
    "an approach that waits": (lambda g: changed(g, 1, duration=Fraction(1, 4)), "resolves at once; this one waits"),
    "an approach to nothing": (lambda g: replace(g, answers=g.answers[:2]), "its target moved by one fret"),
    "an approach to another call's answer": (
        lambda g: replace(g, answers=(*g.answers[:2], *moved(g, 1, (2, 1, "x5756x")).answers)),
        "its target moved by one fret",
    ),
    "two frets off": (lambda g: relead(g, -2, "below"), "approach from below is its target moved by one fret in all"),
    "from the other side": (lambda g: relead(g, -1, "above"), "approach from above is its target moved by one fret"),
    "from above, called below": (lambda g: relead(g, 1, "below"), "approach from below is its target moved by one"),
    "one voice stays": (bent, "in all voices; this is not"),
    "an open string slides": (lambda g: relead(regripped(g, 2, "xx2413"), -1, "below"), "xx1302: .* an open string"),
    "no such side": (lambda g: changed(g, 1, approach="beside"), "comes from below or above, not 'beside'"),
    "too far to get there": (lambda g: at(moved(g, 0, (1, 1, "xx5557")), 600), "xx5557: 122 mm in 0.10 s is too far"),
    "too far to get back": (
        lambda g: at(moved(g, 0, (3, 1, "xx5557")), 600),
        "xx5557, back to the call: 161 mm in 0.10 s is too far for the hand",
    ),
    "too far from answer to answer": (
        lambda g: at(moved(g, 0, (1, 0.5, FIRST), (1.5, 1, "xx2413")), 600),
        "xx2413: 203 mm in 0.05 s is too far",
    ),
    "too far for the approach": (
        lambda g: at(changed(relead(regripped(g, 2, "xx2413"), -1, "below"), 0, onset=Fraction(7, 4)), 600),
        "xx1302: 2.. mm in 0.03 s is too far",
    ),
    "a foreign note": (lambda g: regripped(g, 0, "xx9989"), "it holds D♭, foreign to Cmaj7"),
    "another chord": (lambda g: regripped(g, 0, "x-x-10-10-10-10"), "holds F, A, D, foreign to Cmaj7"),
    "three notes": (lambda g: regripped(g, 0, "xx998x"), "does not hold four different notes"),
    "a note twice": (lambda g: regripped(g, 0, "xx5553"), "does not hold four different notes"),
    "other notes than written": (lambda g: changed(g, 0, voicing=g.answers[2].voicing), "the voicing written for it"),
    "no fingers": (fingerless, "fret 9 on string 4 has no finger"),
    "too wide": (lambda g: regripped(g, 0, Grip((None, None, 2, 9, 8, 8), (0, 0, 1, 3, 2, 2))), "stretches .* reaches"),
    "beyond the neck": (
        lambda g: regripped(g, 0, Grip(g.answers[0].grip.frets, ()).shifted(12)),
        "is not on this neck",
    ),
    "a string too few": (lambda g: changed(g, 0, grip=Grip.parse("x9988")), "x9988 names 5 strings; this neck has 6"),
    "a target with a string too few": (lambda g: changed(g, 2, grip=Grip.parse("7958x")), "names 5 strings"),
    "cuts its call off": (
        lambda g: changed(g, 0, onset=Fraction(3, 4)),
        "beat 1¾, .*it cuts its call off; the gap opens at bar 1, beat 2",
    ),
    "before its call": (lambda g: changed(g, 0, onset=Fraction(-1)), "it cuts its call off"),
    "over the next answer": (lambda g: changed(g, 0, duration=Fraction(2)), "begins before the answer in front of it"),
    "out of order": (lambda g: replace(unled(g), answers=unled(g).answers[::-1]), "begins before the answer in front"),
    "no length": (lambda g: changed(g, 0, duration=Fraction(0)), "it has no length"),
    "less than no length": (lambda g: changed(g, 0, duration=Fraction(-1, 2)), "it has no length"),
    "the harmony changes under it": (
        lambda g: moved(g, 3, (1, 2, FIRST)),
        "bar 3, beat 2, .*it sounds on after the chord has changed at bar 3, beat 3",
    ),
    "the chord of before": (lambda g: moved(g, 3, (2, 1, FIRST)), "foreign to Dm7"),
    "no chord": (
        lambda g: changed(moved(g, 3, (1, 1, FIRST)), 0, onset=Fraction(11)),
        "beat 4, .*no chord sounds here",
    ),
    "an answer to a single note": (lambda g: changed(g, 0, call=2), "note 2 is no call: it carries no chord"),
    "an answer to no note": (lambda g: changed(g, 0, call=99), "note 99 is no call"),
    "an answer to the note before the first": (lambda g: changed(g, 0, call=-1), "note -1 is no call"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_every_planted_fault_is_named(good, name):
    plant, sentence = FAULTS[name]
    wrong = check_answers(plant(good))
    assert any(re.search(sentence, said) for said in wrong), wrong


def test_a_sound_answer_of_each_call_stays_unblamed(good):
    """The places where faults are planted are sound without them."""
    for made in (unled(good), relead(good, 1, "above"), moved(good, 3, (1, 1, FIRST)), moved(good, 3, (2, 1, "x5756x")),
                 moved(good, 0, (1, 1, "xx5557")), moved(good, 0, (3, 1, "xx5557")),
                 at(moved(good, 0, (1, 0.5, FIRST), (1.5, 2.5, SECOND)), 600)):  # fmt: skip
        assert made.answers
        assert check_answers(made) == []


# --- matters of taste ---------------------------------------------------------------------------------------------

G_TOP, B_TOP, C_TOP, E_TOP = "xx2413", "xx5557", "xx9988", "x-x-10-12-12-12"


@pytest.fixture(name="spoken", scope="module")
def spoken_fixture() -> Arrangement:
    """E is held for three beats and B follows, twice; then C is held to the end."""
    bars = ("[Cmaj7] E5/3 B4/1", "[Cmaj7] E5/3 B4/1", "[Cmaj7] C5/4")
    return arrange(tune_of(*bars), density="every", tempo=60)


@pytest.mark.parametrize(
    ("answers", "remarks"),
    [
        ([(0, (1, 1, G_TOP))], []),
        ([(0, (2, 0.5, G_TOP))], []),
        ([(4, (2, 2, G_TOP))], []),  # nothing follows: it may ring
        ([(0, (1, 1, G_TOP)), (2, (1, 0.5, C_TOP)), (4, (1, 1, B_TOP))], []),
        ([(4, (1, 1, E_TOP))], ["bar 3, beat 2, .*: its top E5 lies over its call C5; it draws the ear"]),
        ([(0, (1, 1, B_TOP))], ["bar 1, beat 2, .*: its top B4 is the next note of the melody"]),
        ([(0, (2, 1, G_TOP))], ["bar 1, beat 3, .*: it runs into the next call; let it end half a beat before"]),
        ([(0, (2, 0.6, G_TOP))], ["bar 1, beat 3, .*: it runs into the next call"]),
        (
            [(0, (1, 1, G_TOP)), (2, (1.5, 1, G_TOP))],
            ["the call at bar 2, beat 1 is like that at bar 1, beat 1 and is answered in another rhythm"],
        ),
        (
            [(0, (1, 1, G_TOP)), (2, (1.5, 1, G_TOP)), (4, (1, 1, B_TOP), (2, 1, G_TOP))],
            ["bar 2, beat 1 is like that at", "the answers come in 3 rhythms; a chorus lives on one or two"],
        ),
    ],
)
def test_matters_of_taste_are_remarks_and_no_faults(spoken, answers, remarks):
    made = spoken
    for call, *hits in answers:
        made = with_own(made, call, hits)
    assert check_answers(made) == []
    found = check_answers(made, taste=True)
    assert len(found) == len(remarks)
    assert all(re.match(f"remark: .*{remark}", said) for remark, said in zip(remarks, found, strict=True)), found


def test_an_approach_may_lie_over_its_call(spoken):
    made = with_own(spoken, 4, [(2, 1, B_TOP)])
    made = replace(made, answers=(led_by(made.answers[0], 1, "above"), made.answers[0]))
    assert made.answers[0].voicing.pitches[-1].midi == spoken.choices[4].note.pitch.midi
    assert check_answers(made, taste=True) == []


def test_faults_come_before_remarks(good):
    found = check_answers(changed(good, 2, duration=2), taste=True)
    assert "over the next call" in found[0]
    assert check_answers(changed(good, 2, duration=2)) == [said for said in found if not said.startswith("remark")]


# --- a player's own answer ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "hits", "sentences"),
    [
        (0, [(1, 1, FIRST)], []),
        (0, [(1, 1, FIRST), (2.5, 0.5, SECOND), (3, 1, FIRST)], []),
        (0, [(1 / 3 + 1, 1 / 3, FIRST)], []),
        (0, [], []),
        (0, [(0.5, 1, FIRST)], ["bar 1, beat 1½, answer xx9988: it cuts its call off; the gap opens at bar 1, beat 2"]),
        (0, [(1, 1, FIRST), (2, 1, FIRST)], ["bar 1, beat 3, answer xx9988: it repeats the answer before it"]),
        (0, [(1, 1, "x-x-10-12-12-12")], ["bar 1, beat 2, answer x-x-10-12-12-12: it repeats its call"]),
        (0, [(1, 1, "xx9989")], ["bar 1, beat 2, answer xx9989: it holds D♭, foreign to Cmaj7"]),
        (0, [(1, 1, "x3xxxx")], ["bar 1, beat 2, answer x3xxxx: it does not hold four different notes"]),
        (0, [(2, 2.5, FIRST)], ["bar 1, beat 3, answer xx9988: it sounds over the next call at bar 2, beat 1",
                                "bar 1, beat 3, answer xx9988: it sounds on after the chord has changed at bar 2, "
                                "beat 1"]),
        (2, [(-1, 1, "x5756x")], ["note 2 is no call: it carries no chord"]),
    ],
)  # fmt: skip
def test_a_players_own_answer_is_judged_like_any_other(good, call, hits, sentences):
    made = with_own(replace(good, answers=()), call, hits)
    assert check_answers(made) == sentences
    assert len(made.answers) == len(hits)
    assert csv_text(made).count("\n") == 1 + len(good.choices) + len(hits)
    assert all(item.call == call for item in made.answers)


def test_what_the_search_finds_can_be_written_by_hand(plain):
    found = respond(plain, share=1, approached=0, seed=6)
    made = plain
    for gap in gaps(plain):
        start = plain.choices[gap.call].note.onset
        made = with_own(made, gap.call, [(i.onset - start, i.duration, str(i.grip)) for i in one(gap.call, found)])
    assert check_answers(made) == []
    assert list(map(key_of, [made.answers])) == list(map(key_of, [found.answers]))
    assert [i.voicing.pitches for i in made.answers] == [i.voicing.pitches for i in found.answers]
    assert [i.duration for i in made.answers] == [i.duration for i in found.answers]


def test_an_own_answer_replaces_the_one_that_was_there_and_no_other(plain):
    found = respond(plain, share=1)
    made = with_own(found, 1, [(1, 1, "x5756x")])
    assert [i.call for i in made.answers] == sorted(i.call for i in made.answers)
    assert [str(i.grip) for i in one(1, made)] == ["x5756x"]
    assert [i for i in made.answers if i.call != 1] == [i for i in found.answers if i.call != 1]


@pytest.mark.parametrize(
    ("call", "hit", "why"),
    [
        (0, (1, 1, "xxx55-10"), "'xxx55-10' is not a grip"),
        (0, (1, 1, ""), "'' is not a grip"),
        (0, (1, 1, "x3545"), "x3545 names 5 strings; this neck has 6"),
        (0, (1, 1, "x-x-9-9-8-16"), "fret 16 lies beyond the last one in use, 15"),
        (0, (1, 1, "xx1988"), "xx1988 stretches .* mm; this hand reaches 105 mm"),
        (0, (1, 1, "xxxxxx"), "'xxxxxx' sounds no string"),
        (0, (1, 0, FIRST), "hit at 1, long 0: .*a length above 0"),
        (0, (1, -1, FIRST), "hit at 1, long -1"),
        (0, (float("nan"), 1, FIRST), "hit at nan"),
        (0, (1, float("inf"), FIRST), "long inf"),
        (0, (10**400, 1, FIRST), "hit at 1000000"),
        (3, (3, 1, FIRST), "bar 3, beat 4: no chord sounds here to answer in"),
        (9, (1, 1, FIRST), "note 9 cannot be answered: the tune has notes 0 to 3"),
        (-1, (1, 1, FIRST), "note -1 cannot be answered"),
    ],
)
def test_what_no_hand_can_play_is_refused(good, call, hit, why):
    with pytest.raises(HarmonyError, match=why):
        with_own(good, call, [hit])
