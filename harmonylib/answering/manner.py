"""The manner of answering: how many gaps, which contour, what is kept or banned, and what an answer costs.

Source: contours and weights are common practice, settings of taste.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from harmonylib.answering.gaps import gaps
from harmonylib.arranging.arrangement import Answer, Arrangement, pairs_of
from harmonylib.errors import HarmonyError, shown, whole, within

CONTOURS = {
    "rising": "each top note lies over the one before",
    "falling": "each top note lies under the one before",
    "turning": "the line leaves the call upwards and turns back down to it",
}


COSTS = {
    # what            weight  an answer pays it for …
    "travel": 0.06,  # ...... each millimetre the hand moves, into the next call too
    "voices": 0.2,  # ....... each semitone each lower voice moves, into the next call too
    "string set": 1.0,  # ... a change of strings
    "cover": 1.5,  # ........ a top note over both calls beside it: it draws the ear from the melody
    "contour": 3.0,  # ...... each step against the contour drawn
    "approach": 3.0,  # ..... leaving out an approach that was drawn
    "rhythm": 12.0,  # ...... another rhythm, or another place for it, than the one drawn
}


@dataclass(frozen=True)
class Manner:
    """How to answer: shares from 0 to 1, where approaches come from, contour, swing, seed, and what to keep or ban.

    `share` of the gaps are answered, `approached` of these answers are led into by an approach; `approach_from` is
    "below", "above" or "both"; `contour` is one of `CONTOURS` or "any"; with `swing`, off-beat chords lie on the last
    third of the beat.
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


def check_manner(arrangement: Arrangement, manner: Manner) -> None:
    for name in ("share", "approached"):
        within(getattr(manner, name), 0, 1, f"{name} {{}}: give a share between 0 and 1")
    if manner.approach_from not in ("below", "above", "both"):
        raise HarmonyError(f"approach from {manner.approach_from!r}: choose below, above or both")
    if manner.contour not in (*CONTOURS, "any"):
        raise HarmonyError(f"{manner.contour!r} is not a contour: choose {', '.join(CONTOURS)} or any")
    kept = pairs_of(manner.keep, Mapping, "keep maps calls to answers; keep_answer() writes it")
    if not all(isinstance(own, tuple | list) and all(isinstance(a, Answer) for a in own) for _, own in kept):
        raise HarmonyError(f"{shown(manner.keep)} cannot be kept: keep maps calls to answers; keep_answer() writes it")
    bans = pairs_of(manner.bans, Sequence, "bans are pairs of a call and an answer; ban_answer() writes them")
    named = [whole(call, "the number of a call") for call, _ in [*kept, *bans]]
    there = {gap.call for gap in gaps(arrangement)} if named else set()
    for call in named:
        if call not in there:
            raise HarmonyError(f"note {call} has no gap after it: gaps follow notes {sorted(there)}")
