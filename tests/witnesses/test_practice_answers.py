"""What answers are like over many tunes, measured from the notes alone: in breath, rhythm and line as players answer.

The tunes: the course's own, the lead sheets of music21's corpus, and folk tunes of the corpus with chord symbols put in
(`tests.witnesses.folk`). The bounds are common practice as experienced ears read it; no player has judged the answers.
An approach belongs to the chord it leads into and is not counted by itself.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from harmonylib.answering.gaps import gaps
from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Answer, Arrangement
from harmonylib.tunes.reading import read
from harmonylib.tunes.tune import Tune
from tests.witnesses.folk import CORPUS, folk_tunes

OWN = Path(__file__).resolve().parents[2] / "chapters" / "tunes"
SEEDS = range(3)
FOLK_A_BOOK = 3


@cache
def tunes(kind: str) -> tuple[Tune, ...]:
    if kind == "folk":
        return folk_tunes(FOLK_A_BOOK)
    return tuple(map(read, [*sorted(OWN.glob("*.abc")), *sorted((CORPUS / "leadSheet").glob("*.mxl"))]))


def felt_beat(metre: tuple[int, int]) -> Fraction:
    """The felt beat in quarter notes: three units where eighths come in threes, a half in 2/2, else a quarter."""
    count, unit = metre
    if unit >= 8:
        return Fraction(12, unit) if count % 3 == 0 else Fraction(4, unit)
    return Fraction(2) if unit == 2 else Fraction(1)


def grouped(answered: Arrangement) -> dict[int, list[Answer]]:
    groups = defaultdict(list)
    for item in answered.answers:
        groups[item.call].append(item)
    return groups


def counted(answered: Arrangement) -> Counter[str]:
    """How many answers there are, and in how many a thing happens."""
    count, tune = Counter(), answered.tune
    for call, items in grouped(answered).items():
        note = tune.notes[call].pitch.midi
        tops = [item.voicing.pitches[-1].midi for item in items if not item.approach]
        count["answers"] += 1
        count["tops"] += len(tops)
        count["over the call"] += sum(top > note for top in tops)
        if call + 1 < len(tune.notes):
            after = tune.notes[call + 1]
            breath = felt_beat(tune.bar_at(items[-1].onset).metre) / 2
            count["before a note"] += 1
            count["over both neighbours"] += sum(top > max(note, after.pitch.midi) for top in tops)
            count["pre-empting"] += after.pitch.midi in tops
            count["no breath"] += after.onset - items[-1].end < breath
        else:
            count["over both neighbours"] += sum(top > note for top in tops)
    return count + pairs(answered)


def pairs(answered: Arrangement) -> Counter[str]:
    """Pairs of like gaps, as long and on the same beat; and pairs whose calls and next calls are alike too."""
    count: Counter[str] = Counter()
    for (_, one), (_, other) in combinations(described(answered), 2):
        if one["gap"] == other["gap"]:
            count["like gaps"] += 1
            count["in like rhythm"] += one["onsets"] == other["onsets"]
            if one["calls"] == other["calls"]:
                count["like calls"] += 1
                count["answered the same"] += one["answer"] == other["answer"]
    return count


def described(answered: Arrangement) -> Iterator[tuple[int, dict[str, object]]]:
    """For each answered call, what its gap and calls are like, and what answers, counted from where the gap opens."""
    room = {gap.call: gap for gap in gaps(answered)}
    for call, items in grouped(answered).items():
        gap, choices = room[call], answered.choices[call : call + 2]
        yield (
            call,
            {
                "gap": (gap.end - gap.start, answered.tune.beat_at(gap.start)),
                "calls": [(choice.note.pitch, choice.chord, choice.grip) for choice in choices],
                "onsets": [item.onset - gap.start for item in items if not item.approach],
                "answer": [(item.onset - gap.start, item.grip) for item in items],
            },
        )


@cache
def total(kind: str) -> Counter[str]:
    plain = [arrange(tune) for tune in tunes(kind)]
    return sum((counted(respond(one, seed=seed)) for one in plain for seed in SEEDS), Counter())


@pytest.mark.parametrize("kind", ["sheets", "folk"])
def test_there_are_enough_answers_to_measure(kind):
    assert total(kind)["answers"] > 80
    assert total(kind)["like gaps"] > 100
    assert total(kind)["like calls"] > 10


@pytest.mark.parametrize("kind", ["sheets", "folk"])
@pytest.mark.parametrize(
    ("what", "of", "bound"),
    [
        ("over the call", "tops", 0.12),
        ("over both neighbours", "tops", 0.05),
        ("pre-empting", "before a note", 0.07),
        ("no breath", "before a note", 0.0),
    ],
)
def test_at_most(kind, what, of, bound):
    share = total(kind)[what] / total(kind)[of]
    assert share <= bound, f"{what}: {share:.1%} of {total(kind)[of]}"


@pytest.mark.parametrize("kind", ["sheets", "folk"])
@pytest.mark.parametrize(
    ("what", "of", "bound"), [("in like rhythm", "like gaps", 0.9), ("answered the same", "like calls", 0.95)]
)
def test_at_least(kind, what, of, bound):
    share = total(kind)[what] / total(kind)[of]
    assert share >= bound, f"{what}: {share:.1%} of {total(kind)[of]}"


def test_a_chorus_lives_on_one_or_two_rhythms():
    """On the longer sheets; a third only where neither of the two fits a gap."""
    heard = [
        len({item.rhythm for item in respond(arrange(tune), seed=seed).answers})
        for tune in tunes("sheets")
        for seed in SEEDS
    ]
    assert sum(heard) / len(heard) <= 2
    assert max(heard) <= 3


def test_the_measure_sees_what_it_measures():
    """Answers made without taste or breath, each drawn for itself, break every bound."""
    flat = {"cover": 0, "pre-empt": 0}
    count: Counter[str] = Counter()
    for tune in tunes("sheets"):
        plain = arrange(tune)
        for seed in SEEDS:
            count += counted(respond(plain, seed=seed, costs=flat, breath=0, alike=False, rhythms=8))
    assert count["over both neighbours"] / count["tops"] > 0.05
    assert count["pre-empting"] / count["before a note"] > 0.07
    assert count["no breath"] / count["before a note"] > 0.2
    assert count["in like rhythm"] / count["like gaps"] < 0.5


def report() -> None:
    for kind in ("sheets", "folk"):
        count = total(kind)
        print(f"{kind}: {count['answers']} answers over {len(tunes(kind))} tunes, seeds {list(SEEDS)}")
        for what, of in (
            ("over the call", "tops"),
            ("over both neighbours", "tops"),
            ("pre-empting", "before a note"),
            ("no breath", "before a note"),
            ("in like rhythm", "like gaps"),
            ("answered the same", "like calls"),
        ):
            print(f"  {what:22} {count[what] / count[of]:6.1%} of {count[of]} {of}")


if __name__ == "__main__":
    report()
