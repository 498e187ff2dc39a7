"""How to answer: the weights of the search in one table, and what a teacher may ask for.

Weights are common practice: at or under the call, in one hand position, the next melody note left to the melody.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from harmonylib.answering.gaps import gaps
from harmonylib.answering.rhythms import RHYTHMS
from harmonylib.arranging.arrangement import Answer, Arrangement, pairs_of
from harmonylib.errors import HarmonyError, shown, whole, within

CONTOURS = {
    # how the tops of an answer go on from its first chord, which is free of it
    "rising": "each top note lies over the one before",
    "falling": "each top note lies under the one before",
    "turning": "the line goes up first and turns back down",
}


COSTS = {
    # what            weight  an answer pays it for …
    "travel": 0.06,  # ...... each millimetre the hand moves, into the next call too
    "voices": 0.2,  # ....... each semitone each lower voice moves, into the next call too
    "string set": 1.0,  # ... a change of strings
    "cover": 9.0,  # ........ a top note over its call: it draws the ear from the melody
    "pre-empt": 6.0,  # ..... the next melody note on top: it takes away what the melody is about to say
    "contour": 3.0,  # ...... each step against the contour drawn
    "approach": 3.0,  # ..... leaving out an approach that was drawn
    "rhythm": 20.0,  # ...... another rhythm, or another place for it, than the one drawn
}


LARGEST_WEIGHT = 1000.0


@dataclass(frozen=True)
class Manner:
    """How to answer: how often, how approached, in which line and rhythm, with what breath, and what to keep or ban.

    `share` (0 to 1) of the gaps are answered, `approached` (0 to 1) of these answers are led into by an approach;
    `approach_from` is "below", "above" or "both"; `contour` is one of `CONTOURS` or "any"; with `swing`, off-beat
    chords lie on the last third of the beat.
    `breath` beats stay free before the next call; the chorus lives on `rhythms` different rhythms where they fit; with
    `alike`, like calls are answered alike, without it each is drawn for itself.
    `costs` changes weights of `COSTS` by name: ``{"cover": 3}`` minds a top note over its call a third as much.
    `keep` maps a call's index to answers it must have; `bans` lists (call's index, `signature`) pairs not wanted.
    """

    share: float = 0.75
    approached: float = 0.3
    approach_from: str = "both"
    contour: str = "any"
    swing: bool = False
    seed: int = 0
    keep: Mapping[int, tuple[Answer, ...]] = field(default_factory=dict)
    bans: Sequence[tuple[int, str]] = ()
    breath: float = 0.5
    rhythms: int = 2
    alike: bool = True
    costs: Mapping[str, float] = field(default_factory=dict)

    @property
    def weights(self) -> dict[str, float]:
        """All weights: those of the table, and the changed ones in their place."""
        return COSTS | dict(self.costs)


def check_manner(manner: Manner) -> None:
    """Raises `HarmonyError` for what no arrangement can be answered by."""
    for name in ("share", "approached"):
        within(getattr(manner, name), 0, 1, f"{name} {{}}: give a share between 0 and 1")
    within(manner.breath, 0, 4, "breath {}: give beats that stay free before the next call, 0 to 4")
    if not 1 <= whole(manner.rhythms, "a number of rhythms") <= len(RHYTHMS):
        raise HarmonyError(f"{shown(manner.rhythms)} rhythms: a chorus lives on 1 to {len(RHYTHMS)}")
    whole(manner.seed, "a seed")
    if manner.approach_from not in ("below", "above", "both"):
        raise HarmonyError(f"approach from {shown(manner.approach_from)}: choose below, above or both")
    if manner.contour not in (*CONTOURS, "any"):
        raise HarmonyError(f"{shown(manner.contour)} is not a contour: choose {', '.join(CONTOURS)} or any")
    for name, weight in pairs_of(manner.costs, Mapping, "costs map names to weights, as in {'cover': 3}"):
        if name not in COSTS:
            raise HarmonyError(f"{shown(name)} is not a cost of an answer: there are {', '.join(COSTS)}")
        within(weight, 0, LARGEST_WEIGHT, f"{name} {{}}: give a weight between 0 and {LARGEST_WEIGHT:g}")


def check_kept(arrangement: Arrangement, manner: Manner) -> None:
    """Raises `HarmonyError` for answers kept or banned that this arrangement has no place for."""
    kept = pairs_of(manner.keep, Mapping, "keep maps calls to answers; keep_answer() writes it")
    if not all(isinstance(own, tuple | list) and all(isinstance(a, Answer) for a in own) for _, own in kept):
        raise HarmonyError(f"{shown(manner.keep)} cannot be kept: keep maps calls to answers; keep_answer() writes it")
    bans = pairs_of(manner.bans, Sequence, "bans are pairs of a call and an answer; ban_answer() writes them")
    named = [whole(call, "the number of a call") for call, _ in [*kept, *bans]]
    there = {gap.call for gap in gaps(arrangement)} if named else set()
    for call in named:
        if call not in there:
            raise HarmonyError(f"note {call} has no gap after it: gaps follow notes {sorted(there)}")
