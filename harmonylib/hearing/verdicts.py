"""Verdicts: what a take says about the asked grip, in the words a learner reads.

Conventions
- A verdict never is a mark. “Sounds right” means: every asked note that can be heard sounds, and nothing else does.
- A fault is named only where naming was right at least nine times in ten on guitars that chose no weight; else the
  learner is asked to listen again. The margins for that stand in the table of weights.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, log2
from typing import Any

import numpy as np

from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.hearing.ear import Heard, listened, weights
from harmonylib.hearing.partials import FIRST, PLACES, own
from harmonylib.hearing.questions import Alternative, Question, question
from harmonylib.hearing.spectra import LONG, Row, take
from harmonylib.settings import in_doubt, section
from harmonylib.sound.strings import RATE

OFF_TUNE_CENTS, AGREE_CENTS = 15, 15
WIDE = 0.027
"""How far to each side of its place a partial of a string off tune is looked for: 46 cents."""
HIDDEN = -1.0
"""Log odds of a note that cannot be heard for this grip."""

OCTAVES_MISSED, EXTRAS_MISSED = 0.10, 0.35
"""The largest shares of such takes that were taken for right on any guitar tried, with a margin; a test holds them."""

MISSED = (
    "Heard well: nothing, a wrong note, another chord or inversion, a string that is missing or off tune.",
    f"Missed at times: a note an octave off (in up to {OCTAVES_MISSED:.0%} of takes), one open string too many "
    f"(up to {EXTRAS_MISSED:.0%}), a muffled string.",
    "Never heard: the upper of two notes a twelfth apart when it is missing (in some drop 3 grips).",
    "Tune first: a guitar half a semitone off is not understood; a string up to 15 cents off counts as right, at times "
    "one further off.",
    "Experimental: tried on rendered and recorded guitars only. Your ear and your teacher come first.",
)
"""What the learner is told about the ear, in five lines."""


def allowed() -> bool:
    """Whether the class lets pages listen: ``microphone = false`` under ``[listening]`` in the class's file forbids it.

    Where that cannot be read it may say so, and nobody listens until it can.

    >>> allowed()
    True
    """
    return not in_doubt("listening") and bool(section("listening").get("microphone", True))


@dataclass(frozen=True)
class Verdict:
    """What was heard: `kind` is right, nothing, unsure or the named fault; `sure` runs from 0.5 to 1."""

    kind: str
    text: str
    sure: float
    cents: float
    """How far the whole guitar lies above concert pitch."""
    deaf: tuple[str, ...] = ()

    @property
    def right(self) -> bool:
        return self.kind in ("right", "tune")

    def __repr__(self) -> str:
        cannot = f"; cannot be heard in this grip: {', '.join(self.deaf)}" if self.deaf else ""
        return f"{self.text} ({self.sure:.0%} sure{cannot})"


def hear(
    audio: Any,
    rate: float,
    expected: Grip | str | Sequence[int | str] | Question,
    neck: Neck = Neck(),  # noqa: B008
) -> Verdict:
    """Whether a take holds the asked grip or notes, strummed once, and what is off.

    `audio` are samples from −1 to 1 at `rate` a second: about half a second before the strum and 0.9 s after it.

    >>> import numpy as np
    >>> hear(np.zeros(44_100), 44_100, "x3545x")
    nothing heard (99% sure)
    """
    asked = expected if isinstance(expected, Question) else question(expected, neck)
    return decided(listened(take(audio, rate), asked.midi), asked)


def decided(heard: Heard, asked: Question) -> Verdict:
    """The verdict that follows from what the ear makes of a take."""
    if not heard.sounded:
        return Verdict("nothing", "nothing heard", _odds(4 * (1 - heard.strength) + 1), heard.cents)
    limits = weights()["accept"]
    margin = _margin(heard, limits)
    if margin > 0:
        _, off = _off_tune(heard, asked)
        if off:
            return Verdict("tune", f"sounds right; {off}", _odds(margin), heard.cents, asked.deaf)
        return Verdict("right", "sounds right", _odds(margin), heard.cents, asked.deaf)
    kind, text, lead = fault(heard, asked, limits)
    if lead >= weights()["named"].get(kind, float("inf")):
        return Verdict(kind, text, _odds(lead), heard.cents, asked.deaf)
    return Verdict("unsure", _again(heard, asked, limits["asked"]), _odds(-margin), heard.cents, asked.deaf)


def fault(heard: Heard, asked: Question, limits: Mapping[str, float]) -> tuple[str, str, float]:
    """The likeliest fault by its kind and in words, and by how many log odds it leads; no words when none fits.

    A string that is missing where it should be, and heard beside it, is off tune.
    """
    best, lead = named(heard, asked, limits)
    if best is None:
        return "", "", 0.0
    if best.kind == "missing":
        note, off = _off_tune(heard, asked)
        if best.gone == (note,):
            return "off tune", off, lead
    return best.kind, best.text, lead


def named(heard: Heard, asked: Question, limits: Mapping[str, float]) -> tuple[Alternative | None, float]:
    """The likeliest of what may have been played instead, and by how many log odds it leads what comes next.

    It is none when more than that is off: the take must sound right as what it is named.
    """
    if not asked.alternatives:
        return None, 0.0
    scores = [_score(heard, other) for other in asked.alternatives]
    best = max(range(len(scores)), key=scores.__getitem__)
    rest = [score for n, score in enumerate(scores) if n != best]
    other = asked.alternatives[best]
    return other if _margin(heard, limits, other.gone, other.new) > 0 else None, scores[best] - max([0.0, *rest])


def _margin(heard: Heard, limits: Mapping[str, float], gone: Sequence[int] = (), new: Sequence[int] = ()) -> float:
    """By how many log odds what should sound does, and nothing else; `gone` and `new` are left out of the count."""
    weakest = min((score for note, score in heard.asked.items() if note not in gone), default=0.0)
    strongest = max((score for note, score in heard.foreign.items() if note not in new), default=-9.0)
    return min(weakest - limits["asked"], limits["foreign"] - strongest)


def _score(heard: Heard, other: Alternative) -> float:
    gone = sum(heard.asked.get(note, -HIDDEN) for note in other.gone)
    return sum(heard.foreign.get(note, HIDDEN) for note in other.new) - gone


def _again(heard: Heard, asked: Question, limit: float) -> str:
    weakest = min(heard.asked, key=heard.asked.__getitem__, default=0)
    if heard.asked.get(weakest, 0.0) > limit:
        return "listen again: is a string sounding that should not?"
    return f"listen again: {asked.names[asked.midi.index(weakest)]}?"


def _odds(margin: float) -> float:
    return 1 / (1 + exp(-min(abs(margin), 30)))


def _off_tune(heard: Heard, asked: Question) -> tuple[int, str]:
    """The note that lies furthest from the others, and that in words; empty when all are within 15 cents."""
    away = deviations(heard.long, asked.midi, heard.cents)
    if len(away) < 2:
        return 0, ""
    middle = float(np.median(list(away.values())))
    note = max(away, key=lambda n: abs(away[n] - middle))
    cents = away[note] - middle
    if abs(cents) < OFF_TUNE_CENTS:
        return 0, ""
    return (
        note,
        f"{asked.names[asked.midi.index(note)]} is about {abs(cents):.0f} cents {'high' if cents > 0 else 'low'}",
    )


def deviations(long_: Row, asked: Sequence[int], cents: float) -> Mapping[int, float]:
    """Cents by which the own partials of each asked note lie above where they should."""
    mine, found = own(asked), {}
    for note in asked:
        offs = []
        for h in range(4):
            place = PLACES[note - FIRST, h] * 2 ** (cents / 1200)
            centre, half = place * LONG / RATE, max(2.0, WIDE * place * LONG / RATE)
            low, high = int(np.ceil(centre - half)), int(np.floor(centre + half)) + 1
            if not mine[note - FIRST, h] or place < 140 or high > len(long_) - 1:
                continue
            top = low + int(np.argmax(long_[low:high]))
            before, peak, after = long_[top - 1 : top + 2]
            if peak < 0.4 or not before <= peak >= after:
                continue
            bend = before - 2 * peak + after
            at = top + (0.5 * (before - after) / bend if bend else 0.0)
            offs.append(1200 * log2(at / centre))
        if len(offs) >= 2 and max(offs) - min(offs) <= AGREE_CENTS:
            found[note] = float(np.median(offs))
    return found
