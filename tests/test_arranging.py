"""Testing the melody, choosing diminished sevenths and the search for the best chain.

What a chain costs is computed here a second time, in plain numbers, from the two cost tables and the frets alone
(`grip_cost`, `step_cost`); the search must agree with trying every chain and with networkx's shortest path.
"""

import random
import re
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise, product
from math import inf, isfinite, prod

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from harmonylib.arranging.arrange import arrange, best
from harmonylib.arranging.arrangement import Arrangement, Settings
from harmonylib.arranging.candidates import option_columns as options_of
from harmonylib.arranging.candidates import single_options
from harmonylib.arranging.chain import Option, best_chains
from harmonylib.arranging.checking import check
from harmonylib.arranging.choice import TREATMENTS
from harmonylib.arranging.costs import COMFORT_FRET, COMFORT_MM, GRIP_COSTS, SHIFT_MM, STEP_COSTS, TRAVEL_MM_S
from harmonylib.arranging.density import DENSITIES, FASTEST_CHORD_S
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import passing
from harmonylib.theory.families import FAMILIES
from harmonylib.theory.pitch import Name, Pitch, spell
from harmonylib.theory.tones import DEGREE_WORDS, degree_of
from harmonylib.theory.voicings import voice
from harmonylib.tunes.chordtones import ROLES, examine
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import Change, Note, Tune
from tests.draws import draws


def tune_of(*bars: str, fifths: int = 0, tempo: float = 120, metre: tuple[int, int] = (4, 4), mode: str = "major"):
    """A tune from bars such as ``"[C] E4/1 r/1 G4/3/2"``: chords in brackets, notes and rests with quarter notes."""
    notes, changes, made, now = [], [], [], Fraction(0)
    for number, bar in enumerate(bars, start=1):
        start = now
        for word in bar.split():
            if word.startswith("["):
                changes.append(Change(now, None if word == "[N.C.]" else Chord.parse(word[1:-1])))
                continue
            pitch, length = word.split("/", 1)
            if pitch != "r":
                notes.append(Note(Pitch.parse(pitch), now, Fraction(length)))
            now += Fraction(length)
        made.append(Bar(number, start, now - start, metre, fifths))
    return Tune("Example", tuple(notes), tuple(changes), tuple(made), mode, tempo)


EXAMPLE = (
    "[Bbmaj7] D5/1 F5/1 Bb4/1 A4/1",
    "[G7] G4/1/2 A4/1/2 B4/1 D5/2",
    "[Cm7] Eb5/1 D5/1/2 C5/1/2 Bb4/2",
    "[F7] A4/1 G4/1 F4/2",
)
tune = tune_of(*EXAMPLE, fifths=-2)


def grips(arrangement: Arrangement) -> list[str]:
    return [str(choice.grip) for choice in arrangement.choices]


# --- the cost of a chain, a second time ---------------------------------------------------------------------------


def index_finger_mm(neck: Neck, grip: Grip) -> float:
    pressed = [fret for fret in grip.frets if fret]
    return neck.scale_mm * (2 ** (-neck.capo / 12) - 2 ** (-(min(pressed, default=0) + neck.capo) / 12))


LOW_LIMITS = {1: "E3", 2: "Eb3", 3: "C3", 4: "Bb2", 5: "Bb2", 6: "B2", 8: "G2", 9: "F2"}
"""The lowest note that narrow intervals at the bottom of a grip may have (arranging handbooks differ by a tone)."""


def grip_cost(
    neck: Neck, option: Option, column: tuple[Option, ...], chord: Chord | None, foreign: bool, closes: bool
) -> float:
    """What a grip costs by itself, from its frets; `column` holds all the note could have had."""
    sounding = neck.midi(option.grip.frets)
    if len(sounding) == 1:
        deep = GRIP_COSTS["melody string"] * max(min(option.grip.strings) - 2, 0)
        return deep + (GRIP_COSTS["single"] if any(len(other.grip.strings) > 1 for other in column) else 0)
    pressed = [fret for fret in option.grip.frets if fret]
    ends = [neck.nut_to(fret) for fret in (min(pressed, default=0), max(pressed, default=0))]
    cost = GRIP_COSTS["stretch"] * max(ends[1] - ends[0] - COMFORT_MM, 0)
    cost += GRIP_COSTS["open string"] * sum(fret == 0 for fret in option.grip.frets)
    strings = option.grip.strings
    skipped = max(strings) - min(strings) + 1 - len(strings)
    cost += GRIP_COSTS["skipped string"] * skipped
    cost += GRIP_COSTS["high fret"] * max(max(pressed, default=0) - COMFORT_FRET, 0)
    cost += GRIP_COSTS["melody string"] * max(min(strings) - 2, 0)
    cost += GRIP_COSTS["drop 3"] * (skipped == 1 and max(strings) - strings[1] == 2)
    ninths = sum(b - a == 13 for n, a in enumerate(sounding) for b in sounding[n + 1 :])
    cost += GRIP_COSTS["minor ninth"] * (ninths + sum(sounding[-1] - midi == 1 for midi in sounding[:-1]))
    assert chord is not None
    lowest = sounding[0] % 12
    if closes:
        fifths = [d for d in chord.degrees if d[-1] == "5"]
        ends_well = {chord.root.pitch_class, *(chord.pitch_class_of(d) for d in fifths or ["5"])}
        cost += GRIP_COSTS["closing"] * (lowest not in ends_well)
    if foreign:
        return cost
    if chord.bass and chord.bass.pitch_class in chord.tones:
        cost += GRIP_COSTS["slash bass"] * (lowest != chord.bass.pitch_class)
    asked = set(chord.extensions)
    held = max(len(asked & set(other.stack)) for other in column)
    return cost + GRIP_COSTS["left out"] * (held - len(asked & set(option.stack)))


def step_cost(neck: Neck, before: Grip, after: Grip, seconds: float) -> float:
    """What the step between two grips costs; infinity when a chord is too far away for the time."""
    way = abs(index_finger_mm(neck, before) - index_finger_mm(neck, after))
    first, second = neck.midi(before.frets), neck.midi(after.frets)
    if len(second) > 1 and way > SHIFT_MM and way > TRAVEL_MM_S * seconds:
        return inf
    cost = STEP_COSTS["travel"] * way
    if len(first) > 1 and len(second) > 1:
        cost += STEP_COSTS["voices"] * sum(abs(a - b) for a, b in zip(first[:-1], second[:-1], strict=True))
        cost += STEP_COSTS["string set"] * (before.strings != after.strings)
    return cost


class Lattice:
    """The columns of an arrangement's search with every cost recomputed."""

    def __init__(self, arrangement: Arrangement) -> None:
        self.tune, self.settings = arrangement.tune, arrangement.settings
        self.neck = self.settings.neck
        self.columns = [column for column in options_of(self.tune, self.settings) if column]
        there = [i for i, column in enumerate(options_of(self.tune, self.settings)) if column]
        free = options_of(self.tune, replace(self.settings, pins={}, bans=()))
        onsets = [self.tune.notes[i].onset for i in there]
        self.gaps = [float(b - a) * 60 / arrangement.tempo for a, b in pairwise(onsets)]
        chords = [self.tune.chord_at(onset) for onset in onsets]
        foreign = [examine(self.tune)[i].degree is None for i in there]
        last = [n for n, i in enumerate(there) if any(len(option.grip.strings) == 4 for option in free[i])]
        self.own = [
            [grip_cost(self.neck, o, free[i], chord, out, last[-1:] == [n]) for o in column]
            for n, (i, column, chord, out) in enumerate(zip(there, self.columns, chords, foreign, strict=True))
        ]
        self.steps = [
            [[step_cost(self.neck, a.grip, b.grip, gap) for b in after] for a in before]
            for before, after, gap in zip(self.columns, self.columns[1:], self.gaps, strict=False)
        ]

    def cost(self, chain: tuple[int, ...]) -> float:
        own = sum(costs[pick] for costs, pick in zip(self.own, chain, strict=True))
        return own + sum(step[a][b] for step, a, b in zip(self.steps, chain, chain[1:], strict=False))

    def by_trying_all(self) -> list[float]:
        """Costs of every chain a hand can follow, cheapest first."""
        chains = product(*(range(len(column)) for column in self.columns))
        return sorted(cost for cost in map(self.cost, chains) if isfinite(cost))

    def by_networkx(self) -> float:
        graph = nx.DiGraph()
        graph.add_weighted_edges_from(("start", (0, pick), cost) for pick, cost in enumerate(self.own[0]))
        for index, step in enumerate(self.steps, start=1):
            for a, row in enumerate(step):
                for b, cost in enumerate(row):
                    if isfinite(cost):
                        graph.add_edge((index - 1, a), (index, b), weight=cost + self.own[index][b])
        last = len(self.columns) - 1
        graph.add_weighted_edges_from(((last, pick), "end", 0) for pick in range(len(self.columns[last])))
        return nx.shortest_path_length(graph, "start", "end", weight="weight")


SYMBOLS = (
    "C Dm7 G7 Cmaj7 Am7 F Fm6 Bb7 E7b9 A7alt Dm11 G13 G7sus4 Bm7b5 C#dim7 Ebmaj7 Ab7#11 Cm Caug Dsus4 G/B C/Bb F6/9 "
    "Em(maj7) Gbmaj7#11 B7#5 Bdim Cmaj9 Am9 D7b5 Cadd13 Cm7♭5(♭13) C7♯5(♯11)"
).split()


def random_tune(rng: random.Random, count: int, tempo: float, low: int = 60, high: int = 76) -> Tune:
    words = []
    for index in range(count):
        if index % 2 == 0:
            words.append(f"[{rng.choice(SYMBOLS)}]")
        midi = rng.randint(low, high)
        words.append(f"{spell(midi % 12, rng.random() < 0.7).at(midi)}/{rng.choice(('1', '1/2', '2', '3/2'))}")
    return tune_of(" ".join(words), fifths=rng.randint(-4, 4), tempo=tempo)


@pytest.mark.parametrize("seed", range(24))
def test_the_search_equals_trying_every_chain_and_so_do_the_next_best(seed):
    """The best, and the first twelve by cost, on short random tunes; fast ones force the jump rule."""
    rng = random.Random(seed)
    tempo = (60, 120, 300, 600)[seed % 4]
    neck = (Neck(), Neck(reach_mm=130, capo=2), Neck("all fourths"), Neck("open G", reach_mm=150))[seed // 4 % 4]
    spreads = (("drop 2", "drop 3"), ("drop 2",), ("close", "drop 2 and 4"))[seed % 3]
    for _ in range(20):
        short = random_tune(rng, rng.randint(3, 5), tempo)
        found = best(short, neck=neck, density="every", spreads=spreads, count=12)
        lattice = Lattice(found[0])
        if prod(map(len, lattice.columns)) < 40_000:
            break
    every = lattice.by_trying_all()
    assert [arrangement.cost for arrangement in found] == pytest.approx(every[:12])
    assert len({tuple(grips(arrangement)) for arrangement in found}) == len(found)
    for arrangement in found:
        assert sum(sum(step.values()) for step in arrangement.steps()) == pytest.approx(arrangement.cost)


def test_the_jump_rule_binds_in_the_brute_force():
    """At least one of those fast tunes has a cheaper chain that is out of time: the rule is really tested."""
    fast = tune_of("[Cmaj7] E4/1/4 C5/1/4 E4/1/4 E5/1/4", tempo=600)
    lattice = Lattice(arrange(fast, density="every"))
    assert any(cost == inf for step in lattice.steps for row in step for cost in row)
    found = arrange(fast, density="every")
    assert found.cost == pytest.approx(lattice.by_trying_all()[0])
    assert found.cost >= GRIP_COSTS["single"]
    assert any("no time" in choice.why_single for choice in found.choices)


@pytest.mark.parametrize("density", DENSITIES)
def test_a_whole_tune_costs_what_networkx_says(density):
    rng = random.Random(7)
    bars = []
    for _ in range(32):
        pitches = [spell(midi % 12).at(midi) for midi in (rng.randint(62, 79) for _ in range(5))]
        lengths = rng.choice((("1", "1/2", "1/2", "1", "1"), ("3/2", "1/2", "1/2", "1/2", "1")))
        words = [f"{pitch}/{length}" for pitch, length in zip(pitches, lengths, strict=True)]
        bars.append(f"[{rng.choice(SYMBOLS)}] " + " ".join(words))
    whole = tune_of(*bars, fifths=-1, tempo=170)
    found = arrange(whole, density=density)
    assert found.cost == pytest.approx(Lattice(found).by_networkx())
    assert check(found) == []


def test_best_chains_on_columns_made_by_hand():
    """Passed-over empty columns, one column, more asked for than there is, and columns no hand can follow."""
    here, there = single_options(Neck(), 64)[0], single_options(Neck(), 64)[1]
    low = Option(Neck().fingered(Grip.parse("x3545x").frets), (), 0.0, (48, 55, 59))
    far = Option(Neck().fingered(Grip.parse("x-14-14-12-13-x").frets), (), 400.0, (59, 64, 67))
    assert best_chains([], []) == [(0.0, ())]
    assert best_chains([(), ()], [1.0]) == [(0.0, (0, 0))]
    assert len(best_chains([(here, there)], [], count=9)) == 2
    assert best_chains([(low,), (far,)], [0.1]) == []
    cost, chain = best_chains([(low,), (), (far,)], [0.3, 0.3])[0]
    assert chain == (0, 0, 0)
    assert cost == pytest.approx(STEP_COSTS["travel"] * 400 + STEP_COSTS["voices"] * (11 + 9 + 8))


def test_costs_name_their_parts():
    found = arrange(tune, density="every")
    names = {name for step in found.steps() for name in step}
    assert names <= {*GRIP_COSTS, *STEP_COSTS}
    assert "travel" in names
    assert not {*found.steps()[0]} & {*STEP_COSTS}
    assert len(found.steps()) == len(tune.notes)


# --- pins, bans, seeds --------------------------------------------------------------------------------------------


def test_the_next_best_cost_more_and_the_first_is_the_best():
    found = best(tune, count=8)
    costs = [arrangement.cost for arrangement in found]
    assert len(found) == 8
    assert costs == sorted(costs)
    assert grips(found[0]) == grips(arrange(tune))
    assert all(check(arrangement) == [] for arrangement in found)


def test_fewer_than_asked_when_there_are_not_so_many():
    one = tune_of("[N.C.] E4/4")
    assert len(best(one, count=50)) == len(single_options(Neck(), 64)) > 1


@pytest.mark.parametrize("index", [0, 5, 14])
def test_a_pin_is_kept_and_costs_least_round_it(index):
    found = arrange(tune, density="every")
    for grip in found.candidates(index):
        pinned = found.with_pin(index, str(grip))
        assert pinned.choices[index].grip.frets == grip.frets
        assert pinned.cost >= found.cost - 1e-9
        assert check(pinned) == []
        assert pinned.cost == pytest.approx(Lattice(pinned).by_networkx())


def test_a_pin_may_come_from_a_spread_that_was_not_asked_for():
    wide = {str(option.grip) for option in options_of(tune, Settings(density="every", spreads=("drop 2 and 4",)))[0]}
    blocks = [grip for grip in wide if len(Grip.parse(grip).strings) == 4]
    assert blocks
    for grip in blocks:
        assert str(arrange(tune, density="every", pins={0: grip}).choices[0].grip) == grip


def test_a_pinned_single_note_says_so():
    found = arrange(tune, density="every", pins={1: str(single_options(Neck(), tune.notes[1].pitch.midi)[0].grip)})
    assert found.choices[1].treatment == "single"
    assert "no time" not in found.choices[1].reason
    assert "pin" in found.choices[1].reason
    assert check(found) == []


@pytest.mark.parametrize(
    ("pins", "why"),
    [
        ({0: "x3545x"}, "the pin x3545x at bar 1, beat 1 does not have D5, the melody, on top"),
        ({0: "xxxxxx"}, "the pin xxxxxx at bar 1, beat 1 does not have D5"),
        ({0: "x-10-10-10-10-10"}, "does not have D5|is no voicing of the chord there"),
        ({1: "xxx55-10"}, "'xxx55-10' is not a grip"),
        ({0: "xx88-11-10"}, "'xx88-11-10' is not a grip"),
        ({0: "x-x-8-8-11-10"}, "is no voicing of the chord there; possible: "),
        ({0: "x3545"}, "names 5 strings; this neck has 6"),
        ({0: "x-x-2-8-6-10"}, "stretches"),
        ({99: "x3545x"}, "note 99 cannot be pinned or banned: the tune has notes 0 to 14"),
        ({-1: "x3545x"}, "note -1 cannot be pinned or banned"),
    ],
)
def test_a_pin_that_cannot_be_is_refused_with_the_reason(pins, why):
    with pytest.raises(HarmonyError, match=why):
        arrange(tune, density="every", pins=pins)


def test_pins_no_hand_can_connect_are_refused():
    fast = tune_of("[Cmaj7] E4/1/4 E5/1/4", tempo=600)
    blocks = [
        [str(option.grip) for option in column if option.lower]
        for column in options_of(fast, Settings(density="every"))
    ]
    lattice = Lattice(arrange(fast, density="every"))
    apart = [
        (a, b)
        for a, b in product(*blocks)
        if step_cost(lattice.neck, Grip.parse(a), Grip.parse(b), lattice.gaps[0]) == inf
    ]
    assert apart
    with pytest.raises(HarmonyError, match="no hand gets from pin to pin in time at this tempo.*bar 1, beat 1"):
        arrange(fast, density="every", pins=dict(enumerate(apart[0])))


def test_bans_are_obeyed_until_nothing_is_left():
    found, gone = arrange(tune, density="every"), set()
    cost = found.cost
    for _ in range(len(found.candidates(3))):
        gone.add(str(found.choices[3].grip))
        if len(gone) == len(arrange(tune, density="every").candidates(3)):
            break
        found = found.with_ban(3)
        assert str(found.choices[3].grip) not in gone
        assert found.cost >= cost - 1e-9
        cost = found.cost
        assert check(found) == []
    assert found.choices[3].treatment == "single"
    assert "no time" not in found.choices[3].reason
    with pytest.raises(HarmonyError, match="the bans at bar 1, beat 4 leave no grip: take one back"):
        found.with_ban(3)


def test_a_ban_holds_for_one_note_only():
    twice = tune_of("[Cmaj7] E5/2 E5/2")
    found = arrange(twice, density="every")
    assert grips(found)[0] == grips(found)[1]
    other = found.with_ban(1)
    assert grips(other)[1] != grips(found)[1]
    assert grips(found)[0] in {str(grip) for grip in other.candidates(0)}


def test_a_pin_and_a_ban_of_the_same_grip_contradict():
    found = arrange(tune, density="every")
    grip = grips(found)[2]
    with pytest.raises(HarmonyError, match="bar 1, beat 3"):
        arrange(tune, density="every", pins={2: grip}, bans=((2, grip),))
    with pytest.raises(HarmonyError, match="bar 1, beat 3"):
        found.with_pin(2, grip).with_ban(2)
    kept = arrange(tune, density="every", pins={2: grip}, bans=((2, "x3545x"),))
    assert grips(kept)[2] == grip


@pytest.mark.parametrize(
    ("call", "why"),
    [
        (lambda: arrange("file.abc"), r"'file.abc' is not a tune: read it first, as in arrange\(read\('file.abc'\)\)"),
        (lambda: arrange(replace(tune, bars=())), "has no notes to harmonise"),
        (lambda: arrange(tune, colour="blue"), "'colour' is not a setting here: there are neck, density, tempo"),
        (lambda: arrange(tune, neck=15), r"15 is not a neck: make one, as in Neck\(frets=12\)"),
        (lambda: arrange(tune, tempo="fast"), "tempo 'fast': choose 10 to 600 quarter notes a minute"),
        (lambda: arrange(tune, density=["every"]), r"\['every'\] is not a density"),
        (lambda: arrange(tune, key=3), "3 is not a key: write its tonic, as in 'Eb', or 'best'"),
        (lambda: arrange(tune, spreads="drop 2"), r"spreads 'drop 2': name one or more of .*, as in \('drop 2',\)"),
        (lambda: arrange(tune, seed=0.5), "0.5 is not a seed: give a whole number"),
        (lambda: arrange(tune, pins=None), "None cannot be followed: pins map notes to grips"),
        (lambda: arrange(tune, bans=["x3545x"]), r"\['x3545x'\] cannot be followed: bans are pairs"),
        (lambda: arrange(tune, pins={"first": "x3545x"}), "'first' is not the number of a note"),
        (lambda: best(tune, count=10**30), "arrangements: ask for 1000 at most"),
        (lambda: arrange(tune).candidates(99), "note 99 is not there: the tune has notes 0 to"),
        (lambda: arrange(tune).with_ban(-99), "note -99 is not there"),
        (lambda: check(tune), "is not an arrangement: make one first"),
    ],
)
def test_what_is_of_another_kind_is_refused_by_name(call, why):
    with pytest.raises(HarmonyError, match=why):
        call()


def test_a_seed_of_numpy_is_a_seed():
    assert grips(arrange(tune, seed=np.int64(3))) == grips(arrange(tune, seed=3))


def test_a_ban_is_no_reason_where_a_note_is_single_without_it():
    found = arrange(tune_of("[N.C.] G#4/1 [Cmaj7] E4/1/8 F4/1/8", tempo=240), bans=[(0, "xxxx9x"), (2, "x-13-x-x-x-x")])
    assert found.choices[0].why_single == "no chord sounds here"
    assert "too fast" in found.choices[2].why_single


def test_a_ban_on_a_note_that_is_off_the_neck_changes_nothing():
    wide = tune_of("[C] E4/2 C9/2")
    assert grips(arrange(wide, bans=((1, "xxxxx1"),))) == grips(arrange(wide))


def test_seeds_choose_among_equals():
    costs = {arrange(tune, seed=seed).cost for seed in range(8)}
    assert max(costs) == pytest.approx(min(costs))
    for seed in range(3):
        assert grips(arrange(tune, seed=seed)) == grips(arrange(tune, seed=seed))
        assert check(arrange(tune, seed=seed)) == []


# --- densities ----------------------------------------------------------------------------------------------------


def treatments(arrangement: Arrangement) -> str:
    """One letter a note: c a chord, s a single note."""
    return "".join("s" if choice.voicing is None else "c" for choice in arrangement.choices)


EIGHTHS = ("[Cmaj7] " + "E5/1/2 G5/1/2 " * 4,) * 2


@pytest.mark.parametrize(
    ("density", "tempo", "expected"),
    [
        ("every", 240, "cccccccc"),
        ("comfortable", 70, "cccccccc"),  # 0.43 s apart: time enough
        ("comfortable", 75, "cccccccc"),  # 0.40 s apart: just time enough
        ("comfortable", 90, "cscscscs"),  # 0.33 s apart: only on the beat
        ("comfortable", 240, "csss" * 2),  # beats 0.25 s apart: every other one
        ("accents", 90, "csss" * 2),  # beats 1 and 3
        ("changes", 90, "csssssss"),
    ],
)
def test_densities(density, tempo, expected):
    found = arrange(tune_of(*EIGHTHS, tempo=tempo), density=density)
    assert treatments(found)[:8] == expected
    for choice in found.choices:
        assert bool(choice.why_single) == (choice.treatment == "single")
        assert choice.treatment in TREATMENTS


def test_comfortable_leaves_no_two_chords_closer_than_the_limit():
    for seed, tempo in product(range(6), (100, 150, 200, 260)):
        found = arrange(random_tune(random.Random(seed), 12, tempo))
        onsets = [float(choice.note.onset) * 60 / tempo for choice in found.choices if choice.voicing]
        assert all(b - a >= FASTEST_CHORD_S - 1e-6 for a, b in pairwise(onsets))


@pytest.mark.parametrize("tempo", [75, 150, 37.5])
def test_notes_exactly_at_the_limit_are_all_treated_alike(tempo):
    length = Fraction(tempo) / 150
    steady = tune_of("[Cmaj7] " + f"E5/{length} G5/{length} " * 12, tempo=tempo)
    assert set(treatments(arrange(steady))) == {"c"}


def test_long_notes_and_beats_come_first():
    """The second of a short note and a long one has the chord, but for a short one that opens a change."""
    tune = tune_of("[Cmaj7] C5/1 E5/1/2 G5/3/2 E5/1", "[F] A4/1/2 C5/3/2 [G7] B4/2", tempo=120)
    found = arrange(tune)
    assert treatments(found) == "cscccsc"
    assert "0.25 s apart" in found.choices[1].why_single
    assert treatments(arrange(tune, density="every")) == "ccccccc"


def test_a_note_struck_again_rings_on():
    found = arrange(tune_of("[C6] G4/1/2 G4/1/2 G4/1/2 G4/1/2 G4/1/2 A4/1/2 G4/1", tempo=60))
    assert treatments(found) == "cssscc" + "c"
    assert found.choices[1].why_single == "it is struck again: the chord before it rings on"
    assert treatments(arrange(tune_of("[C6] G4/1/2 [F] G4/1/2 [C6] G4/1/2 G4/1/2 A4/2", tempo=60))) == "ccccc"


def test_repeated_bars_carry_their_chords_on_the_same_notes():
    bar = "[Cmaj7] E5/1/2 G5/1/2 B4/1/2 G4/1/2 E5/1 G5/1/2 A5/1/2"
    found = arrange(tune_of(bar, "[Dm7] F5/1/4 A5/1/4 F5/3/2 A5/2", bar, "[G7] B4/1/4 D5/15/4", bar, tempo=100))
    whole = treatments(found)
    assert whole[:7] == whole[11:18] == whole[20:27]


def test_fast_notes_say_why_they_stay_single():
    found = arrange(tune_of(*EIGHTHS, tempo=120))
    assert found.choices[1].why_single == "notes 0.25 s apart are too fast for a chord on each"
    assert "G stays single: notes 0.25 s apart" in found.choices[1].reason


def test_accents_are_strong_beats_long_notes_and_syncopations():
    found = arrange(tune_of("[Cmaj7] E5/1/2 G5/1 E5/1/2 G5/1/2 E5/1/2 G5/1", tempo=60), density="accents")
    assert treatments(found) == "ccscsc"
    assert "not an accent" in found.choices[2].reason
    waltz = arrange(
        tune_of("[Cmaj7] E5/1/2 G5/1/2 E5/1/2 G5/1/2 E5/1/2 G5/1/2", tempo=60, metre=(3, 4)), density="accents"
    )
    assert treatments(waltz) == "csssss"
    compound = arrange(tune_of("[Cmaj7] " + "E5/1/2 G5/1/2 E5/1/2 " * 2, tempo=60, metre=(6, 8)), density="accents")
    assert treatments(compound) == "csscss"


def test_changes_put_one_chord_on_each_change():
    found = arrange(tune, density="changes")
    assert treatments(found) == "csss" + "csss" + "csss" + "css"
    late = arrange(tune_of("[Cmaj7] r/1 E5/1 G5/2", "[F] A5/2 [G7] B5/2"), density="changes")
    assert treatments(late) == "cscc"


def test_every_means_every_note_that_can():
    found = arrange(tune, density="every")
    assert found.share == 1
    assert treatments(found) == "c" * len(tune.notes)


# --- octave and key -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("octaves", [-2, -1, 1, 2])
def test_the_octave_with_most_chords_is_chosen_wherever_the_tune_starts(octaves):
    there = arrange(tune, density="every")
    moved = arrange(tune.transposed(7 * octaves, 12 * octaves), density="every")
    assert moved.share == there.share == 1
    assert check(moved) == []
    assert moved.tune.key == tune.key
    way = moved.tune.notes[0].pitch.midi - tune.notes[0].pitch.midi - 12 * octaves
    assert way % 12 == 0
    word = f"moved {'up' if way > 0 else 'down'} {abs(way) // 12} octave"
    assert [remark.startswith(word) for remark in moved.remarks] == ([True] if way else [])


def test_a_tune_that_is_well_placed_stays_where_it_is():
    assert arrange(tune).tune == tune
    assert arrange(tune).remarks == ()


def test_notes_too_low_stay_single_and_notes_off_the_neck_are_kept():
    found = arrange(tune_of("[C] C0/2 C9/2"))
    assert check(found) == [
        f"{found.tune.where(Fraction(2))}: {found.choices[1].note.pitch} lies off this neck"
    ] or check(found) == [f"bar 1, beat 1: {found.choices[0].note.pitch} lies off this neck"]
    wide = arrange(tune_of("[Cmaj7] " + "E5/1 G5/1 B5/1 " * 5 + "E3/1"), density="every")
    assert wide.choices[-1].why_single == "it lies too low for three notes under it on this neck"
    assert wide.choices[-1].grip is not None
    assert check(wide) == []


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("F", "F major"),
        ("F major", "F major"),
        ("Gb", "G♭ major"),
        ("F#", "F♯ major"),
        ("B", "B major"),
        ("C", "C major"),
    ],
)
def test_a_key_is_chosen_by_name(key, name):
    found = arrange(tune_of("[C6] E5/2 G5/2", "[G7] F5/4"), key=key, density="every")
    assert found.tune.key == name
    assert check(found) == []
    moved = {b.pitch.midi - a.pitch.midi for a, b in zip(found.source.notes, found.tune.notes, strict=True)}
    assert len(moved) == 1
    asked = Name.parse(key.split()[0]).pitch_class
    assert (moved.pop() - asked) % 12 == 0
    assert any(f"moved from C major to {name}" in remark for remark in found.remarks) == (name != "C major")
    assert found.tune.changes[0].chord.root == Name.parse(key.split()[0])


@pytest.mark.parametrize("first", ["C5", "C4", "C3"])
@pytest.mark.parametrize("key", ["F#", "Gb", "F", "G", "B"])
def test_the_remark_on_octaves_tells_the_truth(first, key):
    """Half an octave of key is not an octave: a remark of n octaves means n octaves beyond the nearest way there."""
    found = arrange(tune_of(f"[C6] {first}/2 {first}/2"), key=key, density="every")
    way = found.tune.notes[0].pitch.midi - found.source.notes[0].pitch.midi
    near = (Name.parse(key).pitch_class + 5) % 12 - 5
    octaves = (way - near) // 12
    said = [remark for remark in found.remarks if "octave" in remark]
    assert bool(said) == (octaves != 0)
    assert all(f"{abs(octaves)} octave" in remark and ("up" in remark) == (octaves > 0) for remark in said)


def test_the_best_key_carries_at_least_as_much_as_any_other():
    narrow = Neck(frets=7)
    low = tune_of("[Gm7] Bb3/1 D4/1 F4/1 G4/1", "[C7] E4/1 G4/1 Bb4/1 C5/1", "[Fmaj7] A4/2 E5/2", fifths=-1)
    chosen = arrange(low, key="best", density="every", neck=narrow)
    for key in "C F Bb Eb Ab Db Gb B E A D G".split():
        other = arrange(low, key=key, density="every", neck=narrow)
        assert on_neck_and_share(chosen) >= on_neck_and_share(other)
    assert set(check(chosen)) == set()


def on_neck_and_share(arrangement: Arrangement) -> tuple[int, float]:
    return sum(choice.grip is not None for choice in arrangement.choices), arrangement.share


def test_minor_tunes_take_minor_keys():
    sad = tune_of("[Am7] C5/2 E5/2", "[E7] G#4/4", mode="minor")
    assert sad.key == "A minor"
    for key in ("Dm", "D minor", "D"):
        assert arrange(sad, key=key).tune.key == "D minor"
    assert arrange(sad, key="best", neck=Neck(frets=5)).tune.mode == "minor"
    with pytest.raises(HarmonyError, match="key 'D major': the tune is in A minor; name another minor key"):
        arrange(sad, key="D major")


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"density": "dense"}, "'dense' is not a density: choose every, comfortable, accents, changes"),
        ({"key": "Fm"}, "key 'Fm': the tune is in B♭ major; name another major key for it"),
        ({"key": "H"}, "'H' is not a note name"),
        ({"key": ""}, "'' is not a note name"),
        ({"tempo": 0}, "tempo 0"),
        ({"tempo": 5}, "tempo 5: choose 10 to 600"),
        ({"tempo": float("nan")}, "tempo nan"),
        ({"tempo": float("inf")}, "tempo inf"),
        ({"spreads": ("drop 5",)}, "drop 5.*close, drop 2, drop 3, drop 2 and 4"),
        ({"spreads": ()}, "spreads"),
        ({"bans": ((0, "x35"), (1, "?"))}, r"'\?' is not a grip"),
        ({"bans": ((15, "x3545x"),)}, "note 15 cannot be pinned or banned"),
    ],
)
def test_settings_that_cannot_be_are_refused(change, why):
    with pytest.raises(HarmonyError, match=why):
        arrange(tune, **change)


@pytest.mark.parametrize("count", [0, -1])
def test_no_arrangements_cannot_be_asked_for(count):
    with pytest.raises(HarmonyError, match=str(count)):
        best(tune, count=count)


def test_a_tune_of_rests_is_refused_and_one_note_is_arranged():
    with pytest.raises(HarmonyError, match="'Example' has no notes to harmonise"):
        arrange(tune_of("[C] r/4"))
    one = arrange(tune_of("[C] C5/4"))
    assert one.choices[0].reason.startswith("C is the root of C, filled up with its sixth: drop 3 on strings ")
    assert check(one) == []
    assert one.cost == pytest.approx(Lattice(one).by_trying_all()[0])


def test_no_chord_means_single_notes():
    found = arrange(tune_of("C5/2 [N.C.] E5/1 [C] E5/1"), density="every")
    assert treatments(found) == "ssc"
    assert [choice.why_single for choice in found.choices] == ["no chord sounds here"] * 2 + [""]
    assert check(found) == []


# --- reasons ------------------------------------------------------------------------------------------------------


def test_a_chord_tone_says_its_degree_and_where_it_lies():
    found = arrange(tune_of("[Bbmaj7] D4/4", fifths=-2), density="every")
    reason = found.choices[0].reason
    voicing, grip = found.choices[0].voicing, found.choices[0].grip
    expected = f"D is the third of B♭maj7: {voicing.spread} on strings {grip.string_set}, {voicing.inversion}"
    assert reason == expected


@pytest.mark.parametrize(
    ("bar", "words"),
    [
        ("[C] C5/4", "filled up with its sixth"),
        ("[C] B4/4", "B is the major seventh of C: "),
        ("[C9] D5/4", "D is the ninth of C9, in the place of the root: "),
        ("[C/Bb] E5/4", "the bass B♭ left to a bass player"),
        ("[Cm11] F5/4", "F is the eleventh of Cm11"),
        ("[C7alt] Db5/4", "D♭ is the flat ninth of C7"),
        ("[C13] A5/4", "A is the thirteenth of C13"),
        ("[G7sus4] C5/4", "C is the fourth of G7sus4"),
        ("[Cdim7] A5/4", "A is the diminished seventh of Cdim7"),
        ("[Caug] G#5/4", "G♯ is the sharp fifth of Caug"),
        ("[Cmaj7#11] F#5/4", "F♯ is the sharp eleventh of Cmaj7"),
        ("[Cm7♭5(♭13)] Ab5/4", "A♭ is the flat thirteenth of Cm7♭5"),
        (
            "[Cmaj7] D5/4",
            "D is foreign to Cmaj7 (free note): the leading-tone diminished seventh Bdim7, G7(♭9) without",
        ),
    ],
)
def test_reasons(bar, words):
    found = arrange(tune_of(bar), density="every")
    assert words in found.choices[0].reason
    assert found.choices[0].voicing is not None
    assert check(found) == []


def test_every_degree_of_every_chord_has_a_word():
    for suffix in [*FAMILIES, *(symbol[1:] for symbol in SYMBOLS if symbol[0] == "C" and "/" not in symbol)]:
        for degree in Chord.parse("C" + suffix).tones.values():
            assert degree in DEGREE_WORDS


# --- the test of the melody ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("role", "bars", "index"),
    [
        ("suspension", ("[G7] F5/4", "[C] F5/2 E5/2"), 1),
        ("approach from below", ("[G7] F5/4", "[C] F5/2 G5/2"), 1),  # a suspension falls
        ("anticipation", ("[C] E5/3 F5/1", "[F] F5/4"), 1),
        ("passing note", ("[C] E5/1 F5/1 G5/2",), 1),
        ("neighbour note", ("[C] E5/1 F5/1 E5/2",), 1),
        ("approach from below", ("[C] C5/1 F#5/1 G5/2",), 1),
        ("approach from above", ("[C] C5/1 F5/1 E5/2",), 1),
        ("escape note", ("[C] E5/1 F5/1 C5/2",), 1),
        ("free note", ("[C] C5/1 F5/1 C6/2",), 1),
        ("free note", ("[C] F5/4",), 0),
        ("approach from above", ("[C] F5/2 E5/2",), 0),
    ],
)
def test_roles_of_foreign_notes(role, bars, index):
    tested = examine(tune_of(*bars))
    assert tested[index].role == role
    assert role in ROLES
    assert tested[index].degree is None


def test_every_role_has_its_tune_above():
    marks = [mark for mark in test_roles_of_foreign_notes.pytestmark if mark.name == "parametrize"]
    assert {row[0] for row in marks[0].args[1]} == set(ROLES)


def test_a_note_held_into_the_next_chord_anticipates_it():
    held = Tune(
        "Held",
        (Note(Pitch.parse("E5"), Fraction(0), Fraction(3)), Note(Pitch.parse("F5"), Fraction(3), Fraction(3))),
        (Change(Fraction(0), Chord.parse("C")), Change(Fraction(4), Chord.parse("F"))),
        (Bar(1, Fraction(0), Fraction(4)), Bar(2, Fraction(4), Fraction(4))),
    )
    assert examine(held)[1].role == "anticipation"


def test_chord_tones_have_a_degree_and_no_role():
    tested = examine(tune)
    assert [item.degree for item in tested[:6]] == ["3", "5", "1", "7", "1", None]
    assert all((item.degree is None) == (item.role is not None) for item in tested)
    assert [item.chord.symbol for item in tested][:5] == ["B♭maj7"] * 4 + ["G7"]
    assert examine(tune_of("C5/2 [C] B4/2"))[0].degree is None
    assert examine(tune_of("C5/2 [C] B4/2"))[0].role is None


def test_enharmonic_spellings_are_the_same_degree():
    assert degree_of(Pitch.parse("A#4"), Chord.parse("C7")) == "♭7"
    assert degree_of(Pitch.parse("D#5"), Chord.parse("C7alt")) == "♯9"
    assert degree_of(Pitch.parse("C#5"), Chord.parse("C7")) is None


# --- the passing diminished chord ---------------------------------------------------------------------------------


def test_common_tone_and_secondary_say_where_they_lead():
    common = passing(Pitch.parse("Eb5"), Chord.parse("C"))
    assert common.sentence == "the common-tone diminished seventh Cdim7 keeps C and falls back into its chord"
    third = passing(Pitch.parse("Db5"), Chord.parse("C"))
    assert (str(third.chord), str(third.target)) == ("C♯dim7", "D")
    assert third.sentence == "the diminished seventh C♯dim7 leads to a chord on D, a tone above"


def test_chord_tones_keep_the_spelling_of_the_tune():
    found = arrange(tune_of("[C7] A#5/4"), density="every")
    assert str(found.choices[0].voicing.top.name) == "A♯"
    assert {str(pitch.name) for pitch in found.choices[0].voicing.pitches[:-1]} == {"C", "E", "G"}


# --- the checker --------------------------------------------------------------------------------------------------

SOUND = arrange(tune_of("[Cmaj7] E4/1 G4/1 F4/1 B4/1", "[Dm7] C5/2 [N.C.] A4/2"), density="every")


def with_choice(index: int, **changes: object) -> Arrangement:
    choices = list(SOUND.choices)
    choices[index] = replace(choices[index], **changes)
    return replace(SOUND, choices=tuple(choices))


def with_note(index: int, **changes: object) -> Arrangement:
    tested = SOUND.choices[index].tested
    return with_choice(index, tested=replace(tested, note=replace(tested.note, **changes)))


def held(text: str) -> Grip:
    return Neck(frets=22, reach_mm=250).fingered(Grip.parse(text).frets)


def test_the_arrangement_with_no_fault_has_none():
    assert check(SOUND) == []
    assert treatments(SOUND) == "cccccs"
    assert [choice.treatment for choice in SOUND.choices][2] == "diminished"


def top_grips(symbol: str, top: str) -> list[Grip]:
    return list(Neck().grips(voice(symbol, "drop 2", top)))


def test_planted_melody_not_on_top():
    wrong = check(with_choice(0, grip=top_grips("Cmaj7", "G4")[0]))
    assert any("bar 1, beat 1: E4 is not on top of" in fault for fault in wrong)


def test_planted_note_above_the_melody_on_a_lower_string():
    """The highest string sounds the melody, yet the string under it sounds higher."""
    wrong = check(with_choice(5, grip=held("x-x-x-x-11-5")))
    assert any("A4 is not on top of" in fault for fault in wrong)


def test_planted_unplayable_grips():
    grip = SOUND.choices[0].grip
    crossed = replace(grip, fingers=tuple(5 - finger if finger else 0 for finger in grip.fingers))
    assert any("crossed" in fault for fault in check(with_choice(0, grip=crossed)))
    assert any("has no finger" in fault for fault in check(with_choice(0, grip=replace(grip, fingers=()))))
    small = replace(SOUND, settings=replace(SOUND.settings, neck=Neck(reach_mm=20)))
    assert any("this hand reaches 20 mm" in fault for fault in check(small))


def test_planted_foreign_note():
    wrong = check(with_choice(0, grip=top_grips("A7", "E4")[0]))
    assert any("holds a note foreign to Cmaj7" in fault for fault in wrong)


def test_planted_wrong_diminished():
    assert SOUND.choices[2].diminished is not None
    wrong = check(with_choice(2, grip=top_grips("F", "F4")[0]))
    assert any("is not the diminished seventh of F4" in fault for fault in wrong)


def test_planted_chord_where_there_is_none():
    wrong = check(with_choice(5, grip=top_grips("Am7", "A4")[0]))
    assert any("bar 2, beat 3: a chord where the lead sheet has none" in fault for fault in wrong)


def test_planted_three_note_grip():
    grip = SOUND.choices[0].grip
    first = next(place for place, fret in enumerate(grip.frets) if fret is not None)
    frets = tuple(None if place == first else fret for place, fret in enumerate(grip.frets))
    fingers = tuple(0 if place == first else finger for place, finger in enumerate(grip.fingers))
    wrong = check(with_choice(0, grip=Grip(frets, fingers)))
    assert any("does not hold four different notes" in fault for fault in wrong)


def test_planted_overlap():
    wrong = check(with_note(0, duration=Fraction(3, 2)))
    assert "bar 1, beat 1: E4 sounds over the next note" in wrong


def test_planted_changes_of_the_melody():
    pitched = check(with_note(0, pitch=Pitch.parse("G4")))
    assert any("the melody has changed: its notes do not all move by one interval" in fault for fault in pitched)
    late = check(with_note(0, onset=Fraction(1, 2), duration=Fraction(1, 2)))
    assert "the melody has changed: a note starts or ends elsewhere" in late
    missing = check(replace(SOUND, choices=SOUND.choices[1:]))
    assert "the tune has 6 notes, the arrangement 5" in missing


def test_planted_jump():
    far = tune_of("[Cmaj7] E4/1/4 E5/1/4", tempo=30)
    slow = arrange(far, density="every")
    low, high = Neck().grips(voice("Cmaj7", "drop 2", "E4"))[0], Neck().grips(voice("Cmaj7", "drop 2", "E5"))[0]
    choices = tuple(replace(choice, grip=grip) for choice, grip in zip(slow.choices, (low, high), strict=True))
    way = abs(index_finger_mm(Neck(), low) - index_finger_mm(Neck(), high))
    assert way > SHIFT_MM
    assert not any("jump" in fault for fault in check(replace(slow, choices=choices)))
    fast = replace(slow, choices=choices, settings=replace(slow.settings, tempo=600))
    assert any(re.search(f"{way:.0f} mm in 0.0[23] s is too fast a jump to {high}$", fault) for fault in check(fast))


def test_planted_notes_off_the_neck():
    assert any("E4 lies off this neck" in fault for fault in check(with_choice(0, grip=None)))
    short = replace(SOUND, settings=replace(SOUND.settings, neck=Neck(frets=5)))
    assert any("is not on this neck (0 to 5)" in fault for fault in check(short))
    seven = replace(SOUND, settings=replace(SOUND.settings, neck=Neck("seven strings")))
    assert any("strings" in fault for fault in check(seven))


def test_planted_voicing_that_is_not_the_grip():
    """The page is written from the voicing, the neck from the grip: they must be the same notes."""
    assert check(with_choice(0, voicing=SOUND.choices[1].voicing)) != []


def test_planted_chord_that_is_not_the_one_of_the_lead_sheet():
    foreign = voice("A7", "drop 2", "E4")
    tested = replace(SOUND.choices[0].tested, chord=Chord.parse("A7"), degree="5")
    wrong = check(with_choice(0, tested=tested, grip=Neck().grips(foreign)[0], voicing=foreign))
    assert any("foreign to Cmaj7" in fault for fault in wrong)


# --- any tune at all ----------------------------------------------------------------------------------------------

lengths = st.sampled_from([Fraction(1, 4), Fraction(1, 3), Fraction(1, 2), Fraction(1), Fraction(3, 2), Fraction(2)])
chords = st.one_of(st.none(), st.sampled_from(SYMBOLS).map(Chord.parse))
pitches = st.builds(lambda midi, flats: spell(midi % 12, flats).at(midi), st.integers(38, 92), st.booleans())
events = st.tuples(pitches, lengths, st.sampled_from([Fraction(0), Fraction(0), Fraction(1, 2)]), st.booleans(), chords)
necks = st.builds(
    Neck,
    st.sampled_from(["standard", "all fourths", "seven strings", "open G", "C3 G3 D4 A4"]),
    frets=st.sampled_from([5, 12, 15, 22]),
    reach_mm=st.sampled_from([20, 60, 105, 250]),
    capo=st.sampled_from([0, 0, 3]),
)


@st.composite
def tunes(draw, most: int = 7) -> Tune:
    notes, changes, now = [], [], Fraction(0)
    for pitch, length, rest, change, chord in draw(st.lists(events, min_size=1, max_size=most)):
        if change:
            changes.append(Change(now, chord))
        notes.append(Note(pitch, now, length))
        now += length + rest
    fifths, mode = draw(st.integers(-7, 7)), draw(st.sampled_from(["major", "minor"]))
    return Tune("Any", tuple(notes), tuple(changes), (Bar(1, Fraction(0), now, (4, 4), fifths),), mode, 120)


@settings(max_examples=draws(150))
@given(
    tunes(),
    necks,
    st.sampled_from(list(DENSITIES)),
    st.sampled_from([10, 60, 133.7, 600]),
    st.sampled_from([None, None, None, "best", "E", "Db"]),
    st.sampled_from([("drop 2", "drop 3"), ("close",), ("drop 2 and 4", "drop 3")]),
)
def test_any_tune_is_arranged_soundly(given_tune, neck, density, tempo, key, spreads):
    found = arrange(given_tune, neck=neck, density=density, tempo=tempo, key=key, spreads=spreads)
    off_neck = [fault for fault in check(found) if fault.endswith("lies off this neck")]
    assert check(found) == off_neck
    assert len(off_neck) == sum(choice.grip is None for choice in found.choices)
    assert sum(sum(step.values()) for step in found.steps()) == pytest.approx(found.cost)
    assert isfinite(found.cost)
    for choice in found.choices:
        assert choice.reason
        assert (choice.voicing is None) == (choice.treatment == "single")
        if choice.voicing:
            assert choice.voicing.top == choice.note.pitch
            assert neck.midi(choice.grip.frets) == tuple(pitch.midi for pitch in choice.voicing.pitches)
            assert choice.voicing.spread in spreads
        if choice.grip:
            assert choice.grip in found.candidates(choice.index)


@settings(max_examples=draws(80))
@given(tunes(most=5), st.integers(1, 5))
def test_a_tune_moved_up_can_keep_its_grips_moved_up(given_tune, semitones):
    """Frets narrow up the neck: the same grips, shifted, are candidates of the moved tune, so it costs no more."""
    found = arrange(given_tune, density="every", tempo=60)
    steps = (0, 1, 1, 2, 2, 3)[semitones]
    moved = arrange(found.tune.transposed(steps, semitones), density="every", tempo=60)
    assume(moved.tune.notes[0].pitch.midi == found.tune.notes[0].pitch.midi + semitones)
    assume(all(choice.grip for choice in found.choices))
    shifted = [choice.grip.shifted(semitones) for choice in found.choices]
    assume(not any(0 in choice.grip.frets for choice in found.choices))
    assume(all(max(grip.fretted) <= Neck().last_fret for grip in shifted))
    chain = []
    for index, grip in enumerate(shifted):
        frets = [candidate.frets for candidate in moved.candidates(index)]
        assert grip.frets in frets
        chain.append(frets.index(grip.frets))
    assert moved.cost <= Lattice(moved).cost(tuple(chain)) + 1e-9


@settings(max_examples=draws(60))
@given(tunes(most=4), st.sampled_from(list(DENSITIES)))
def test_the_cost_is_that_of_networkx_whatever_the_tune(given_tune, density):
    found = arrange(given_tune, density=density, tempo=240)
    lattice = Lattice(found)
    if lattice.columns:
        assert found.cost == pytest.approx(lattice.by_networkx())
    else:
        assert found.cost == 0
