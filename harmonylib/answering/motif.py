"""What a seed draws: the rhythms of a chorus, and for each gap a rhythm with its place, a contour and an approach.

Like phrases get like answers: what is drawn for a gap hangs on what the gap is like and not on where it stands. Its
rhythm hangs on the gap's length and beat; contour, approach and whether it is answered also on what the call says, told
in degrees and steps, so that a tune moved to another key is answered as before.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from harmonylib.answering.gaps import Gap
from harmonylib.answering.manner import CONTOURS, Manner
from harmonylib.answering.rhythms import RHYTHMS, Place
from harmonylib.arranging.arrangement import Arrangement


class Drawn(NamedTuple):
    """What the seed asks of one gap: the number of its place, how the tops go on, and the side of an approach or ""."""

    place: int
    contour: str
    approach: str


def motif(places: Mapping[int, Sequence[Place]], manner: Manner) -> tuple[str, ...]:
    """The rhythms a chorus lives on, from the places in each of its gaps; fewer than asked when no more fit.

    One after another they are drawn among the rhythms that fit at least half as many of the gaps still without one as
    the rhythm that fits most of them.
    """
    draws = random.Random(f"{manner.seed} motif")
    chosen: list[str] = []
    fits = {name: {call for call, there in places.items() if any(p.rhythm == name for p in there)} for name in RHYTHMS}
    without = every = frozenset(places)
    while len(chosen) < manner.rhythms:
        counts = {name: len(fits[name] & (without or every)) for name in RHYTHMS if name not in chosen}
        most = max(counts.values(), default=0)
        if not most:
            break
        chosen.append(draws.choice([name for name, count in counts.items() if 2 * count >= most]))
        without -= fits[chosen[-1]]
    return tuple(chosen)


def chosen_gaps(arrangement: Arrangement, open_gaps: Sequence[Gap], manner: Manner) -> set[int]:
    """The calls whose gaps are to be answered: the share asked for, like calls together."""
    order = sorted(open_gaps, key=lambda gap: _draws(manner, gap, "share", _saying(arrangement, gap)).random())
    return {gap.call for gap in order[: round(manner.share * len(open_gaps))]}


def drawn(arrangement: Arrangement, gap: Gap, places: Sequence[Place], rhythms: Sequence[str], manner: Manner) -> Drawn:
    """What the seed asks of one gap that has places, `rhythms` being those the chorus lives on."""
    draws = _draws(manner, gap, "rhythm", str(arrangement.tune.beat_at(gap.start)))
    fitting = [name for name in rhythms if any(place.rhythm == name for place in places)]
    wanted = draws.choice(fitting or list(dict.fromkeys(place.rhythm for place in places)))
    place = draws.choice([index for index, there in enumerate(places) if there.rhythm == wanted])
    draws = _draws(manner, gap, "line", _saying(arrangement, gap))
    contour = manner.contour if manner.contour in CONTOURS else draws.choice(list(CONTOURS))
    led, side = draws.random() < manner.approached, draws.choice(("below", "above"))
    return Drawn(place, contour, "" if not led else side if manner.approach_from == "both" else manner.approach_from)


def _draws(manner: Manner, gap: Gap, what: str, like: str) -> random.Random:
    """A source of draws that is the same for like gaps, or one for this gap alone if that is asked for."""
    kind = f"{gap.end - gap.start} {like}" if manner.alike else gap.call
    return random.Random(f"{manner.seed} {what} {kind}")


def _saying(arrangement: Arrangement, gap: Gap) -> str:
    """What a call says, in any key: its beat, its degree and kind of chord, and the step to the next note."""
    call, tune = arrangement.choices[gap.call], arrangement.tune
    after = tune.notes[gap.call + 1 : gap.call + 2]
    step = after[0].pitch.midi - call.note.pitch.midi if after else None
    kind = call.chord.kind if call.chord else None
    return f"{tune.beat_at(call.note.onset)} {call.note.duration} {call.tested.degree} {kind} {step}"
