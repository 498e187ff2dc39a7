"""Taste: fills by function, enrichment, pushes, repeats alike, hands and costs by value, stages."""

import random
from dataclasses import replace
from fractions import Fraction as F
from itertools import product

import numpy as np
import pytest

from harmonylib.arranging.arrange import arrange, best
from harmonylib.arranging.arrangement import STAGES, Arrangement
from harmonylib.arranging.candidates import option_columns
from harmonylib.arranging.chain import laid_out, steps_between
from harmonylib.arranging.checking import check
from harmonylib.arranging.costs import GRIP_COSTS, HANDS, STEP_COSTS, weights
from harmonylib.arranging.harmony import FOREIGN
from harmonylib.arranging.repeats import Factor, bound_chain, eliminate, phrases
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.enrichment import ENRICHED, enrichment
from harmonylib.theory.families import interval
from harmonylib.tunes.reading import read_text
from tests.test_arranging import grips, random_tune, tune_of

# --- fills ---------------------------------------------------------------------------------------------------------


def stacks(arrangement: Arrangement) -> list[str]:
    return ["".join(choice.voicing.stack) if choice.voicing else "" for choice in arrangement.choices]


@pytest.mark.parametrize(
    ("tune", "expected"),
    [
        (tune_of("[C] E5/2 [G] B4/2", "[C] C5/4"), "1356 135♭7 1356"),  # V is a dominant
        (tune_of("[C] E5/2 [D] A4/2", "[G] D5/2 [C] E5/2"), "1356 135♭7 135♭7 1356"),  # and what falls a fifth to it
        (tune_of("[C] E5/2 [F] A4/2", "[D] A4/2 [F] C5/2"), "1356 1356 1356 1356"),  # D that goes elsewhere is not
        (tune_of("[Am] C5/2 [Dm] F5/2", "[E] B4/2 [Am] A4/2", mode="minor"), "1♭356 1♭35♭7 135♭7 1♭356"),
        (tune_of("[Am] C5/2 [Dm] F5/2"), "1♭35♭7 1♭35♭7"),  # no tonic minor in a major key
        (tune_of("[C] B4/1 E5/1 G4/2"), "1357 1357 1357"),  # the melody's seventh fills the whole chord
        (tune_of("[C] B4/1 E5/1 C5/2"), "1357 1356 1356"),  # a root asks for the sixth, B keeps its own
        (tune_of("[C] Bb4/2 E5/2"), "135♭7 1356"),  # a minor seventh in the melody makes a dominant
        (tune_of("[G] E5/2 D5/2", "[C] C5/4"), "1356 135♭7 1356"),  # a sixth over V is its own
    ],
)
def test_triads_are_filled_by_what_they_do(tune, expected):
    found = arrange(tune, density="every")
    assert stacks(found) == expected.split()
    assert check(found) == []


# --- foreign notes ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ENRICHED)
def test_every_enrichment_holds_its_note_and_reads_back(kind):
    """Four different notes with the melody among them, on a symbol that names them all; nothing that is in already."""
    chord = Chord.parse(f"E♭{kind}")
    for degree, (ending, *forms) in ENRICHED[kind].items():
        assert chord.pitch_class_of(degree) not in chord.tones
        made = Chord.parse(f"E♭{ending}")
        for form in forms:
            notes = {interval(d)[1] % 12 for d in form.split()}
            assert len(notes) == 4
            assert degree in form.split()
            assert {chord.pitch_class_of(d) for d in form.split()} <= set(made.tones)
        found = enrichment(made.name_of(degree).at(60 + chord.pitch_class_of(degree)), chord)
        assert found is not None
        assert (found.chord, found.degree) == (made, degree)


SUSPENDED = tune_of("[G7] C5/2 B4/2", "[Cmaj7] D5/1/2 E5/3/2 A4/2")


def test_the_default_is_the_diminished_seventh_and_the_seasoned_way_one_setting_off():
    plain, seasoned = (arrange(SUSPENDED, foreign=way, density="every") for way in FOREIGN)
    assert arrange(SUSPENDED, density="every").choices == plain.choices
    treated = [[choice.treatment for choice in found.choices] for found in (plain, seasoned)]
    assert treated == [
        ["diminished", "chord tone", "diminished", "chord tone", "diminished"],
        ["enriched", "chord tone", "diminished", "chord tone", "enriched"],
    ]
    assert [str(choice.voicing.chord) for choice in seasoned.choices if choice.treatment == "enriched"] == [
        "G7sus4",
        "Cmaj13",
    ]
    assert seasoned.choices[0].reason.startswith(
        "C is held over G7: it waits as the fourth, so the chord is G7sus4, until the third comes: drop"
    )
    assert check(plain) == check(seasoned) == []


@pytest.mark.parametrize(
    ("bars", "degree", "becomes"),
    [
        ("[C7] D5/4", "9", "C9"),
        ("[C7] D5/1/2 E5/7/2", "9", "C9"),  # over a dominant at any length
        ("[C7] A5/4", "13", "C13"),
        ("[Cm7] F5/4", "11", "Cm11"),
        ("[Cmaj7] F#5/4", "♯11", "Cmaj7(♯11)"),
        ("[F] G5/4", "9", "F6/9"),
        ("[C7sus4] E5/4", "3", "C7"),
    ],
)
def test_what_a_held_note_makes_of_its_chord(bars, degree, becomes):
    found = arrange(tune_of(bars, tempo=60, fifths=-1), foreign="enriched", density="every")
    choice = found.choices[0]
    assert choice.voicing is not None
    assert (choice.treatment, choice.voicing.degrees[-1], str(choice.voicing.chord)) == ("enriched", degree, becomes)
    assert check(found) == []


@pytest.mark.parametrize(
    "bars", ["[Cmaj7] D5/1/2 E5/7/2", "[C7] Db5/4", "[C7(b9)] D5/4", "[Cmaj7] F5/4", "[Cdim7] D5/4"]
)
def test_the_rest_stays_diminished(bars):
    """Short notes over chords at rest, what the trade has no chord for, and a ninth beside a flat ninth."""
    found = arrange(tune_of(bars, tempo=60), foreign="enriched", density="every")
    assert found.choices[0].treatment == "diminished"


def test_a_push_takes_the_coming_chord():
    pushed = tune_of("[Cmaj7] E5/7/2 A4/1/2", "[F7] r/1 A4/3", tempo=100)
    held = replace(pushed, notes=(pushed.notes[0], replace(pushed.notes[1], duration=F(3, 2)), pushed.notes[2]))
    found = arrange(held, foreign="enriched")
    assert [choice.treatment for choice in found.choices] == ["chord tone", "push", "chord tone"]
    assert found.choices[1].voicing.chord == Chord.parse("F7")
    assert (
        "A is struck ahead of the change and held over it, so the coming chord sounds already"
        in found.choices[1].reason
    )
    assert check(found) == []
    late = replace(
        found, choices=(*found.choices[:1], replace(found.choices[1], treatment="chord tone"), found.choices[2])
    )
    assert any("diminished seventh of" in wrong for wrong in check(late))


def test_the_checker_knows_enrichments_from_the_tables_alone():
    seasoned = arrange(SUSPENDED, foreign="enriched", density="every")
    other = arrange(tune_of("[G7] C5/2 B4/2", "[Cmaj7] D5/1/2 E5/3/2 A4/2"), density="every").choices[0]
    wrong = replace(seasoned, choices=(replace(other, treatment="enriched"), *seasoned.choices[1:]))
    assert check(wrong) == [f"bar 1, beat 1: {other.grip} is not G7 enriched by C"]


# --- repeats alike ------------------------------------------------------------------------------------------------


def bound_by_trying_all(arrangement: Arrangement) -> float:
    """The least cost of any chain that plays equal bars alike, over every combination of grips."""
    tune, settings = arrangement.tune, arrangement.settings
    columns = option_columns(tune, settings)
    gaps = [float(b.onset - a.onset) * 60 / arrangement.tempo for a, b in zip(tune.notes, tune.notes[1:], strict=False)]
    arrays = laid_out(columns)
    steps = [step for _, step in steps_between(arrays, gaps, settings.weights)]
    first: dict[object, int] = {}
    roots = []
    for index, note in enumerate(tune.notes):
        bar = tune.bar_at(note.onset)
        inside = [n for n in tune.notes if bar.onset <= n.onset < bar.end]
        key = tuple((n.onset - bar.onset, n.duration, n.pitch, tune.chord_at(n.onset)) for n in inside)
        roots.append(first.setdefault((key, note.onset - bar.onset), index))
    free = sorted(set(roots))
    least = np.inf
    for picks in product(*(range(len(columns[index])) for index in free)):
        chosen = dict(zip(free, picks, strict=True))
        chain = [chosen[root] for root in roots]
        cost = sum(arrays.cost[n, pick] for n, pick in enumerate(chain))
        cost += sum(step[a, b] for step, a, b in zip(steps, chain, chain[1:], strict=False))
        least = min(least, cost)
    return float(least)


@pytest.mark.parametrize("form", ["aab", "aba", "abab", "abca", "aa"])
def test_the_bound_search_equals_trying_everything(form):
    neck = Neck(frets=10)
    bars = {"a": "[Cmaj7] E5/2 G5/2", "b": "[Dm7] F5/4", "c": "[G7] B4/4"}
    tune = tune_of(*(bars[name] for name in form), tempo=80)
    found = arrange(tune, neck=neck, density="every")
    assert found.cost == pytest.approx(bound_by_trying_all(found))
    assert found.cost >= found.free_cost - 1e-9
    free = arrange(tune, neck=neck, density="every", alike=False)
    assert found.free_cost == pytest.approx(free.cost)
    if form in ("aba", "aa"):
        assert found.cost > free.cost, "here the bond costs something: the test can fail"


def test_equal_bars_get_equal_grips_and_the_cost_is_that_of_its_steps():
    rng = random.Random(4)
    bars = [" ".join(["[Cmaj7]", "E5/1", "G5/1", "D5/2"]), "[Am7] C5/1 E5/1 G5/2", "[Dm7] F5/2 A4/2", "[G7] B4/2 F5/2"]
    for _ in range(10):
        order = [rng.randrange(4) for _ in range(12)]
        found = arrange(tune_of(*(bars[n] for n in order), tempo=90), density="every")
        by_bar: dict[int, set[str]] = {}
        for number, bar in zip(order, found.tune.bars, strict=True):
            inside = [c for c in found.choices if bar.onset <= c.note.onset < bar.end]
            by_bar.setdefault(number, set()).add(" ".join(str(c.grip) for c in inside))
        assert all(len(ways) == 1 for ways in by_bar.values())
        assert sum(sum(step.values()) for step in found.steps()) == pytest.approx(found.cost)
        assert check(found) == []


def test_the_next_best_that_are_alike_come_in_order():
    tune = tune_of("[Cmaj7] E5/2 G5/2", "[Dm7] F5/4", "[Cmaj7] E5/2 G5/2", tempo=80)
    found = best(tune, count=6, density="every")
    costs = [arrangement.cost for arrangement in found]
    assert costs == sorted(costs)
    assert len({tuple(grips(arrangement)) for arrangement in found}) == 6
    assert all(grips(arrangement)[:2] == grips(arrangement)[3:] for arrangement in found)


def test_a_pin_holds_for_one_occurrence_or_for_all():
    tune = tune_of("[Cmaj7] E5/2 G5/2", "[Dm7] F5/4", "[Cmaj7] E5/2 G5/2", tempo=80)
    plain = arrange(tune, density="every")
    other = next(str(grip) for grip in plain.candidates(0) if str(grip) != str(plain.choices[0].grip))
    alone, everywhere = plain.with_pin(0, other), plain.with_pin(0, other, everywhere=True)
    assert (grips(alone)[0], grips(alone)[3]) == (other, grips(plain)[3])
    assert (grips(everywhere)[0], grips(everywhere)[3]) == (other, other)
    assert everywhere.settings.pins == {0: other, 3: other}


def test_elimination_agrees_with_trying_all_and_says_when_it_is_not_proven(monkeypatch):
    rng = np.random.default_rng(3)
    factors = [Factor((a, b), rng.random((3, 3))) for a, b in ((0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (4, 1))]
    every = {v: sum(f.table[v[f.over[0]], v[f.over[1]]] for f in factors) for v in product(range(3), repeat=5)}
    least = min(every.values())
    cost, values, exact = eliminate(factors, {})
    assert (cost, exact) == (pytest.approx(least), True)
    assert every[tuple(values[n] for n in range(5))] == pytest.approx(least)
    monkeypatch.setattr("harmonylib.arranging.repeats.LARGEST", 8)
    cost, values, exact = eliminate(factors, dict.fromkeys(range(5), 1))
    assert not exact
    assert every[tuple(values[n] for n in range(5))] == pytest.approx(cost)
    assert cost >= least


def test_a_chain_that_no_hand_can_play_alike_is_told():
    arrays = laid_out(option_columns(random_tune(random.Random(1), 2, 60), arrange(SUSPENDED).settings))
    shut = np.full((arrays.cost.shape[1],) * 2, np.inf)
    assert bound_chain(arrays, [shut], phrases([("a", 1), ("b", 1)], [1.0]), [0, 0]) is None


# --- settings by value --------------------------------------------------------------------------------------------


def test_costs_by_value_and_hands_change_the_chain():
    tune = read_text(
        'M:4/4\nL:1/4\nK:F\n"F"A c f c|"Gm7"B d g d|"C7"c e g e|"F"f c A c|"Bb"d f b f|"F"c f a f|"C7"g e c B|"F"A4|'
    )
    ways = {
        "sliding": arrange(tune, hand="sliding"),
        "by default": arrange(tune),
        "one set": arrange(tune, hand="one set"),
        "in position": arrange(tune, hand="in position"),
        "heavy": arrange(tune, costs={"travel": 0.5}),
    }
    neck = Neck()

    def travel(name: str) -> float:
        hand = [neck.position_mm(c.grip) for c in ways[name].choices if c.grip]
        return sum(abs(b - a) for a, b in zip(hand, hand[1:], strict=False))

    def sets(name: str) -> int:
        return sum(
            a.grip.strings != b.grip.strings for a, b in zip(ways[name].choices, ways[name].choices[1:], strict=False)
        )

    assert grips(ways["sliding"]) == grips(ways["by default"])
    assert travel("heavy") <= travel("in position") < travel("sliding")
    assert sets("one set") <= sets("sliding")
    assert all(what for what, _ in HANDS.values())
    assert set().union(*(changed for _, changed in HANDS.values())) <= {*GRIP_COSTS, *STEP_COSTS}


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"hand": "left"}, "'left' is not a hand: choose sliding, one set, in position"),
        ({"costs": {"speed": 1}}, "'speed' is not a cost: choose stretch, open string"),
        ({"costs": {"travel": -1}}, "cost travel -1: give a number from 0 to 10,000"),
        ({"costs": {"travel": "much"}}, "cost travel 'much': give a number"),
        ({"costs": 5}, "5 is not a table of costs: write {'travel': 0.05}"),
        ({"foreign": "spicy"}, "'spicy' is not a way with foreign notes: choose diminished, enriched"),
        ({"stage": "all"}, "'all' is not a stage: choose melody, roots, chords"),
        ({"alike": "yes"}, "alike 'yes': write True, or False"),
        ({"practice_tempo": 0}, "practice tempo 0: choose 10 to 600"),
    ],
)
def test_settings_of_taste_that_cannot_be_are_refused(change, why):
    with pytest.raises(HarmonyError) as raised:
        arrange(SUSPENDED, **change)
    assert why in str(raised.value)


def test_weights_set_by_value_go_before_the_hand():
    assert dict(weights("in position", {"travel": 0.3}).step)["travel"] == 0.3


# --- stages -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("stage", STAGES)
def test_every_stage_is_sound(stage):
    found = arrange(tune_of("[Bbmaj7] D5/1 F5/1 Bb4/1 A4/1", "[G7] G4/1/2 A4/1/2 B4/1 C5/2", fifths=-2), stage=stage)
    assert check(found) == []
    sizes = {len(choice.grip.strings) for choice in found.choices if choice.grip}
    assert sizes == {"melody": {1}, "roots": {2}, "chords": {1, 4}}[stage]


def test_roots_lie_under_every_note_the_hand_can_reach():
    found = arrange(tune_of("[C] E5/1 D5/1 [N.C.] G5/1 [F/C] A4/1"), stage="roots")
    assert [c.treatment for c in found.choices] == ["root", "root", "single", "root"]
    neck = Neck()
    assert [neck.midi(c.grip.frets)[0] % 12 for c in found.choices if c.treatment == "root"] == [0, 0, 5]
    assert found.choices[0].reason.startswith("E is the third of C: the root C lies under it on string ")
    assert found.choices[1].reason.startswith("D is foreign to C: the root C lies under it on string ")
    broken = replace(found, choices=(replace(found.choices[0], grip=neck.fingered((None, None, 5, 4, None, None))),))
    assert check(broken)


def test_pins_are_those_of_the_chords():
    plain = arrange(SUSPENDED, density="every")
    pinned = arrange(SUSPENDED, density="every", pins={1: str(plain.candidates(1)[1])})
    assert arrange(SUSPENDED, stage="roots", pins=pinned.settings.pins).settings.pins == {}


def test_practising_slower_changes_no_grip():
    tune = tune_of("[Cmaj7] E5/1/2 G5/1/2 B4/1/2 G4/1/2 E5/1 G5/1/2 A5/1/2", tempo=132)
    slow = arrange(tune, practice_tempo=60)
    assert grips(slow) == grips(arrange(tune))
    assert (slow.tempo, slow.sounding_tempo, arrange(tune).sounding_tempo) == (132, 60, 132)
    assert grips(arrange(tune, tempo=60)) != grips(arrange(tune))


def test_a_pin_for_one_time_through_writes_the_repeat_out():
    tune = read_text('M:4/4\nL:1/2\nQ:1/4=80\nK:C\n|:"Cmaj7"e g|[1"Dm7"f2:|[2"G7"b2|"Cmaj7"e2|')
    plain = arrange(tune, density="every")
    other = next(str(grip) for grip in plain.candidates(0) if str(grip) != str(plain.choices[0].grip))
    found = plain.with_pin(0, other, time=2)
    assert [str(choice.note.pitch) for choice in found.choices] == ["E4", "G4", "F4", "E4", "G4", "B4", "E4"]
    assert (grips(found)[0], grips(found)[3]) == (grips(plain)[0], other)
    assert not any(bar.repeat_end or bar.ending for bar in found.tune.bars)
    assert [bar.number for bar in found.tune.bars] == [1, 2, 3, 4, 5]
    assert check(found) == []
    again = plain.with_pin(2, str(plain.candidates(2)[1])).with_pin(0, other, time=1)
    assert again.settings.pins == {0: other, 2: str(plain.candidates(2)[1])}
    with pytest.raises(HarmonyError, match="time 3: note 0 is played 2 times"):
        plain.with_pin(0, other, time=3)
