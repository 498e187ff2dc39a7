"""Call and response: while a melody chord is held, or a rest follows, other voicings of the harmony answer it.

The melody chord is the *call*. Its *gap* is the time from when the call has rung for a beat (or has ended) to the next
call. A gap is answered by one to three chords in a rhythm from a written table; any of them may be *approached* by the
same grip one fret lower or higher. For every gap the cheapest answer over all rhythms, voicings and approaches is found
exactly, with the costs below.

Conventions
- Time is in quarter notes as in `harmonylib.tunes`; rhythms are written in beats (a dotted quarter in compound metres).
- An answer shortens its call, it never moves it; the melody stays as it is.
- A seed draws, gap by gap, a rhythm with its place, a contour and an approach; the search may depart from what was
  drawn, and pays for it.

Rhythms, weights and times are common practice. `check_answers` tells what is wrong and shares no code with the search.
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
    kept = pairs_of(manner.keep, Mapping, "keep maps calls to answers; keeping() writes it")
    if not all(isinstance(own, tuple | list) and all(isinstance(a, Answer) for a in own) for _, own in kept):
        raise HarmonyError(f"{shown(manner.keep)} cannot be kept: keep maps calls to answers; keeping() writes it")
    bans = pairs_of(manner.bans, Sequence, "bans are pairs of a call and an answer; without() writes them")
    named = [whole(call, "the number of a call") for call, _ in [*kept, *bans]]
    there = {gap.call for gap in gaps(arrangement)} if named else set()
    for call in named:
        if call not in there:
            raise HarmonyError(f"note {call} has no gap after it: gaps follow notes {sorted(there)}")
