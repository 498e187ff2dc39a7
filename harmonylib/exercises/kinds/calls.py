"""Exercises on call and response: find the gaps of an arrangement, answer a call.

Conventions: those of `harmonylib.exercises.tunes`. `answering.checking` says what fits.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import Any

from harmonylib.answering.checking import check_answers
from harmonylib.answering.gaps import Gap, gaps
from harmonylib.answering.manner import Manner
from harmonylib.answering.own import with_own
from harmonylib.answering.respond import answers_for
from harmonylib.answering.taste import remarks_on_answers
from harmonylib.arranging.choice import Choice
from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_grips, reading_words, written
from harmonylib.exercises.comparing import Verdict
from harmonylib.exercises.tunes import BARS, TuneExercise, bar_beat, material, place
from harmonylib.exercises.written import Unread, Written
from harmonylib.guitar.grips import Grip
from harmonylib.pictures.calls import calls_picture
from harmonylib.pictures.grips import grip_row
from harmonylib.pictures.picture import Picture
from harmonylib.tunes.metre import beat_text, quarters
from harmonylib.wording import counted, many


@dataclass(frozen=True, repr=False)
class FindGaps(TuneExercise):
    """Find where an arrangement leaves time for an answer.

    >>> task = FindGaps('X:1\\nT:Two bars\\nM:4/4\\nL:1/4\\nQ:1/4=90\\nK:C\\n"Cmaj7"E4|"Dm7"F2 A2|', first=1, last=2)
    >>> task.check("1.2, 2.2, 2.4")
    Right: the gaps open at 1.2, 2.2, 2.4.
    >>> task.check("1.2, 2.1")
    Not yet: 2.1: the call at 2.1 has to ring for a beat first; 2 of 3 are missing.
    """

    kind = "find_gaps"
    chapter = 6
    about = "find the gaps of an arrangement"
    writing = "write bar and beat of each gap"
    examples = ("2.2, 4.3", "1.3, 3.4", "2.4½, 4.1")
    first: int = 1
    last: int = BARS

    @property
    def span(self) -> tuple[int, int]:
        return self.first, self.last

    def _check_material(self) -> None:
        if not self._open:
            raise HarmonyError(
                f"there is no gap long enough for an answer in {self._where}: choose other bars or a slower tempo"
            )

    @cached_property
    def _gaps(self) -> tuple[Gap, ...]:
        return tuple(gap for gap in gaps(self.arrangement) if self._inside(gap.start))

    @cached_property
    def _open(self) -> dict[tuple[int, Fraction], Gap]:
        return {bar_beat(self.arrangement.tune, gap.start): gap for gap in self._gaps if not gap.why_silent}

    @property
    def question(self) -> str:
        calls = [c for c in self.arrangement.choices if self._inside(c.note.onset)]
        lengths = ", ".join(
            f"{place(self.arrangement.tune, c.note.onset)} {c.note.pitch} for {quarters(c.note.duration)}"
            for c in calls
        )
        return f"At which bar and beat do the gaps open in {self._where}? The calls: {lengths}."

    @property
    def picture(self) -> Picture:
        return calls_picture(replace(self.arrangement, answers=()), bars=self.span)

    @property
    def hints(self) -> tuple[str, ...]:
        held = ", ".join(
            place(self.arrangement.tune, self.arrangement.choices[g.call].note.onset) for g in self._open.values()
        )
        return (
            "a gap opens when a call has rung for a beat, or has ended, and closes with the next call",
            f"{counted(len(self._open), 'gap')} to be found",
            f"they follow the calls at {held}",
        )

    @property
    def truth(self) -> str:
        return f"the gaps open at {', '.join(self.solution())}"

    def solution(self) -> list[str]:
        return [place(self.arrangement.tune, gap.start) for gap in self._open.values()]

    def judge(self, answer: Written) -> Verdict:
        tune, given = self.arrangement.tune, dict.fromkeys(reading_words.places(answer))
        short = {bar_beat(tune, gap.start): gap.why_silent for gap in self._gaps if gap.why_silent}
        faults, remarks = [], []
        for bar, beat in given:
            where = f"{bar}.{beat_text(beat)}"
            if (bar, beat) in short:
                remarks.append(f"{where}: {short[bar, beat]}, so it stays silent")
            elif (bar, beat) not in self._open:
                faults.append(f"{where}: {self._why_not(bar, beat)}")
        missing = [spot for spot in self._open if spot not in given]
        if missing:
            faults.append(f"{len(missing)} of {len(self._open)} {'is' if len(missing) == 1 else 'are'} missing")
        return faults, remarks

    def _why_not(self, number: int, beat: Fraction) -> str:
        """Why no gap opens at a place."""
        tune = self.arrangement.tune
        bar = next((bar for bar in self._bars(tune) if bar.number == number), None)
        if bar is None:
            return f"it does not lie in {'–'.join(map(str, self.span))}, the bars asked about"
        if beat >= bar.metre[0] + 1:
            return f"bar {number} has {many(bar.metre[0], 'beat')}"
        onset = bar.onset + (beat - tune.beat_at(bar.onset)) * Fraction(4, bar.metre[1])
        before = [c for c in self.arrangement.choices if c.note.onset <= onset]
        if not before:
            return "no call has sounded yet"
        call = before[-1]
        where = place(tune, call.note.onset)
        own = next((gap for gap in self._gaps if gap.call == call.index), None)
        if call.voicing is None:
            return f"the note at {where} is single, not a chord that calls"
        if own is None:
            return f"when the call at {where} has rung for a beat, the next one is already there"
        if onset < own.start:
            return f"the call at {where} has to ring for a beat first"
        return f"the gap after the call at {where} is open already"

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        return material(draws, level)


MODEL = {"cover": 100.0, "pre-empt": 100.0}
"""Costs of a model answer: it leaves nothing to remark on where another one is free."""


@dataclass(frozen=True, repr=False)
class AnswerCall(TuneExercise):
    """Answer a call: chords in its gap, each as (beats after the call, length in quarters, grip).

    `call` counts the gaps that are long enough, from 1.

    >>> task = AnswerCall('X:1\\nT:Two bars\\nM:4/4\\nL:1/4\\nQ:1/4=90\\nK:C\\n"Cmaj7"E4|"Dm7"F2 A2|', call=1)
    >>> task.check((1, 1, "7x555x")).right, task.check((1, 1, "x3545x"))
    (True, Not yet: bar 1, beat 2, answer x3545x: it repeats its call.)
    """

    kind = "answer_call"
    chapter = 6
    about = "answer a call in its gap"
    writing = "write for each chord the beats after the call, its length in quarters and a grip"
    examples = ("1, ½, x7958x", "3, ¼, xx2323", "2, ⅓, 3x443x")
    grips = "last"
    blank_necks = 1
    material = ("_gap",)
    call: int = 1

    @property
    def span(self) -> tuple[int, int]:
        tune = self.arrangement.tune
        return tune.bar_at(self._call.note.onset).number, tune.bar_at(self._gap.start).number

    @cached_property
    def _gap(self) -> Gap:
        answered = (gap for gap in gaps(self.arrangement) if not gap.why_silent)
        for number, gap in enumerate(answered, start=1):
            if number == self.call:
                if not self._answers(gap):
                    raise HarmonyError(
                        f"no hand has time to answer call {self.call}: choose another, or a slower tempo"
                    )
                return gap
        raise HarmonyError(f"call {self.call}: {self.arrangement.tune.title} has fewer gaps long enough for an answer")

    def _answers(self, gap: Gap) -> tuple[Any, ...]:
        found = answers_for(self.arrangement, gap, Manner(approached=0, seed=self.seed, costs=MODEL))
        return found[0][1] if found else ()

    @property
    def _call(self) -> Choice:
        return self.arrangement.choices[self._gap.call]

    @property
    def _following(self) -> Choice | None:
        return next(iter(self.arrangement.choices[self._gap.call + 1 : self._gap.call + 2]), None)

    @property
    def question(self) -> str:
        call, tune, gap = self._call, self.arrangement.tune, self._gap
        after = self._following
        ends = f"the next call, {after.note.pitch} as {after.grip}, comes" if after else "the tune ends"
        return (
            f"In {self._where} the call {call.note.pitch} over {call.chord} is held as {call.grip} at "
            f"{tune.where(call.note.onset)}; {ends} {quarters(gap.end - call.note.onset)} after it. Answer it "
            "with chords of the harmony: beats after the call, length in quarters, grip."
        )

    @property
    def picture(self) -> Picture:
        shown = [c for c in (self._call, self._following) if c and c.grip]
        names = ["call", "next call"]
        return grip_row(self.neck, [(c.voicing, c.grip) for c in shown if c.grip], captions=names[: len(shown)])

    @property
    def lines(self) -> tuple[str, ...]:
        return ("beats after, length, grip",) * 3

    @property
    def hints(self) -> tuple[str, ...]:
        first = self._answers(self._gap)[0]
        opens = quarters(self._gap.start - self._call.note.onset)
        return (
            f"the gap opens {opens} after the call; all answers must end before the next one",
            f"another inversion of {first.voicing.chord} near the hand will do",
            f"{quarters(first.onset - self._call.note.onset)} after the call: {first.grip}",
        )

    @property
    def truth(self) -> str:
        return "the answer lies in its gap, sounds the harmony and differs from its call, and the hand has time for it"

    def solution(self) -> list[tuple[str, str, str]]:
        call = self._call.note.onset
        return [(str(a.onset - call), str(a.duration), str(a.grip)) for a in self._answers(self._gap)]

    def judge(self, answer: Written) -> Verdict:
        hits = [_hit(item, self) for item in _hits(answer)]
        if not hits:
            raise Unread(f"no chord is written; {self.form}")
        made = with_own(self.arrangement, self._gap.call, [(at, float(length), str(grip)) for at, length, grip in hits])
        faults = check_answers(made)
        return faults, [] if faults else remarks_on_answers(made)

    @classmethod
    def drawn(cls, draws: random.Random, level: int) -> dict[str, Any]:
        return {**material(draws, level), "call": draws.randrange(1, 4)}


def _hits(answer: Written) -> list[Written]:
    """The chords of an answer, one item each."""
    if isinstance(answer, str):
        return [part for part in answer.replace("\n", ";").split(";") if part.strip()]
    if isinstance(answer, tuple) and not (len(answer) == 3 and not isinstance(answer[0], (tuple, dict))):
        return [item for item in answer if not written.blank(item)]
    if isinstance(answer, tuple) and isinstance(answer[0], str) and " " in answer[0]:
        return list(answer)
    return [answer]


def _hit(item: Written, task: AnswerCall) -> tuple[Fraction, Fraction, Grip]:
    said = written.quoted(item)
    if isinstance(item, str):
        parted = tuple(part.strip() for part in item.split(",", 2))
        item = parted if len(parted) == 3 else tuple(item.replace(",", " ").split(None, 2))
    names = {"after": ("beat", "beats", "onset", "at"), "length": ("duration", "quarters"), "grip": ("frets",)}
    parts = written.keyed(item, names)
    if len(parts) != 3 or any(written.blank(part) for part in parts.values()):
        raise Unread(f"{said} is not a chord with its time: {task.form}")
    after, length = reading_words.number(parts["after"], "a time"), reading_words.number(parts["length"], "a length")
    if not (0 <= after <= 64 and 0 < length <= 64):
        raise Unread("write times from 0 and lengths above 0, at most 64 quarters")
    grip = reading_grips.grip(parts["grip"], task.neck)
    return after, length, task.neck.fingered(grip.frets)
