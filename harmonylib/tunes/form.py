"""The form of a tune: in which order its written bars are played.

Repeats are played twice, or as often as their endings are numbered; D.C. and D.S. are taken once, after the repeats,
and what follows them is played without repeats and with the last endings, up to Fine or over To Coda to the Coda.

Conventions
- Segno and Coda stand at the start of their bar; Fine, To Coda, D.C. and D.S. at the end of theirs.
- Of several codas without a “To Coda” the first is where to leave, the last where to go.
- A pick-up is played again only where the bar before it leaves room for it.
- Signs that make no sense are passed over and said in `remarks`; the order is never longer than `MOST_TIMES` + 1 times
  the written bars.

Source: common practice of notation.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import Tune

MOST_TIMES = 8  # endings with higher numbers are left out

SIGNS_AT_THE_END = ("Fine", "To Coda", "D.C.", "D.S.")

_DA_CAPO = re.compile(r"\bD\.?\s?C\b|da\s?capo", re.IGNORECASE)
_DAL_SEGNO = re.compile(r"\bD\.?\s?S\b|dal\s?segno", re.IGNORECASE)
_AL = re.compile(r"\bal\s+(fine|coda)", re.IGNORECASE)
_TO_CODA = re.compile(r"\bto\s?coda", re.IGNORECASE)


class Form(NamedTuple):
    """The indices of the written bars in the order they are played, and what makes no sense in the signs."""

    order: tuple[int, ...]
    remarks: tuple[str, ...] = ()


class Run(NamedTuple):
    """Bars played one after another as they are written, so many quarter notes `later` than written."""

    bars: tuple[Bar, ...]
    later: Fraction

    @property
    def start(self) -> Fraction:
        """Where the run begins, in written time."""
        return self.bars[0].onset

    @property
    def stop(self) -> Fraction:
        """Where the run ends, in written time; what is held beyond it ends with it."""
        return self.bars[-1].end


def sign_of(mark: str) -> str:
    """What a word on a bar stands for: “D.C.”, “D.S.”, “Segno”, “Coda”, “To Coda”, “Fine”, or nothing known.

    >>> [sign_of(mark) for mark in ("D.C. al Fine", "dal segno", "To Coda", "Coda", "FINE", "slowly")]
    ['D.C.', 'D.S.', 'To Coda', 'Coda', 'Fine', '']
    """
    for pattern, sign in ((_DA_CAPO, "D.C."), (_DAL_SEGNO, "D.S."), (_TO_CODA, "To Coda")):
        if pattern.search(mark):
            return sign
    words = mark.lower()
    return next((sign for sign in ("Segno", "Coda", "Fine") if sign.lower() in words), "")


def form_signs(bars: Sequence[Bar]) -> tuple[tuple[tuple[str, str], ...], ...]:
    """For each bar, what its words stand for, with the words: of several codas the first is where to leave."""
    found = [tuple((sign_of(mark), mark) for mark in bar.marks) for bar in bars]
    codas = [index for index, here in enumerate(found) if any(sign == "Coda" for sign, _ in here)]
    if len(codas) > 1 and not any(sign == "To Coda" for here in found for sign, _ in here):
        found[codas[0]] = tuple(("To Coda" if sign == "Coda" else sign, mark) for sign, mark in found[codas[0]])
    return tuple(found)


def form(tune: Tune) -> Form:
    """The order in which the written bars of a tune are played.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('L:1/4\\nK:C\\n|:"C"C4|[1D4:|[2E4|"^D.C. al Fine"F4|')
    >>> form(tune)
    Form(order=(0, 1, 0, 2, 3, 0, 2, 3), remarks=('bar 4: D.C. al Fine, but there is no Fine',))
    """
    return _Reader(tune.bars).read()


def runs(tune: Tune, once: bool = False) -> tuple[Run, ...]:
    """The form as runs of bars that stand side by side; `once`: the whole tune as it is written."""
    order = tuple(range(len(tune.bars))) if once else form(tune).order
    groups: list[list[int]] = []
    for index in order:
        if groups and index == groups[-1][-1] + 1:
            groups[-1].append(index)
        else:
            groups.append([index])
    found, now = [], tune.bars[0].onset
    for group in groups:
        run = Run(tune.bars[group[0] : group[-1] + 1], now - tune.bars[group[0]].onset)
        found.append(run)
        now += run.stop - run.start
    return tuple(found)


def played_bars(played: Sequence[Run]) -> tuple[Bar, ...]:
    """The bars of some runs as they are played, one after another, each with the number it is written under."""
    return tuple(replace(bar, onset=bar.onset + run.later) for run in played for bar in run.bars)


class _Reader:
    """Goes through the bars as a player does."""

    def __init__(self, bars: Sequence[Bar]) -> None:
        self.bars = bars
        self.signs = form_signs(bars)
        self.endings = [_numbers(bar) for bar in bars]
        self.last_endings = [0] * len(bars)
        self._group_endings()
        self.remarks: list[str] = []

    def read(self) -> Form:
        order: list[int] = []
        at = start = 0
        turn, jump = 1, ""
        while at < len(self.bars):
            bar, after_ending = self.bars[at], at > 0 and self.endings[at - 1] and not self.endings[at]
            if at != start and (bar.repeat_start or after_ending):
                start, turn = at, 1
            if self.endings[at] and (self.last_endings[at] if jump else turn) not in self.endings[at]:
                at += 1
                continue
            order.append(at)
            if bar.repeat_end and not jump and turn < self._times(at):
                turn, at = turn + 1, self._back_to(start, at)
                continue
            if jump and self._has(at, "Fine"):
                break
            coda = self._coda(at) if jump and self._has(at, "To Coda") and "fine" not in jump.lower() else None
            target = self._jump(at) if not jump else None
            if target is not None:
                jump, at = target
                start, turn = at, 1
            elif coda is not None:
                at = start = coda
                turn = 1
            else:
                if bar.repeat_end:
                    start, turn = at + 1, 1
                at += 1
        if not order:
            order = list(range(len(self.bars)))
            self.remarks.append("the endings leave no bar to play: the tune is played as written")
        return Form(tuple(order), tuple(dict.fromkeys(self.remarks)))

    def _has(self, index: int, sign: str) -> bool:
        return any(found == sign for found, _ in self.signs[index])

    def _all(self, sign: str) -> list[int]:
        return [index for index in range(len(self.bars)) if self._has(index, sign)]

    def _times(self, index: int) -> int:
        """How often the part before a repeat sign is played."""
        own = self.endings[index]
        if not own:
            return 2
        last = self.last_endings[index]
        return last if last > max(own) or min(own) > 1 else max(own) + 1

    def _group_endings(self) -> None:
        """Tell each bar in an ending the highest number of those beside it; without a way back there are no endings."""
        group: list[int] = []
        for index, numbers in enumerate([*self.endings, ()]):
            if not numbers or self.bars[index].repeat_start:
                back = any(self.bars[i].repeat_end or self._has(i, "D.C.") or self._has(i, "D.S.") for i in group)
                highest = max((max(self.endings[i]) for i in group), default=0)
                for i in group:
                    self.endings[i], self.last_endings[i] = (self.endings[i], highest) if back else ((), 0)
                group = []
            if numbers:
                group.append(index)

    def _back_to(self, start: int, end: int) -> int:
        """Where a way back to `start` from the end of a bar leads: past a pick-up the bar leaves no room for."""
        first, bar = self.bars[start], self.bars[end]
        if first.number != 0 or len(self.bars) == 1:
            return start
        return start if bar.length + first.length == Fraction(4 * bar.metre[0], bar.metre[1]) else start + 1

    def _jump(self, index: int) -> tuple[str, int] | None:
        """The words and the target of the D.C. or D.S. at the end of a bar; None if there is none to follow."""
        for sign, mark in self.signs[index]:
            if sign not in ("D.C.", "D.S."):
                continue
            if sign == "D.S." and not self._all("Segno"):
                self._remark(index, f"{mark}, but there is no Segno: it is passed over")
                continue
            asked = _AL.search(mark)
            if asked and asked[1].lower() == "fine" and not self._all("Fine"):
                self._remark(index, f"{mark}, but there is no Fine")
            if asked and asked[1].lower() == "coda" and not self._all("To Coda"):
                self._remark(index, f"{mark}, but nothing says where to leave for the Coda")
            return mark, self._all("Segno")[0] if sign == "D.S." else self._back_to(0, index)
        return None

    def _coda(self, index: int) -> int | None:
        coda = next((at for at in reversed(self._all("Coda")) if at > index), None)
        if coda is None:
            self._remark(index, "To Coda, but there is no Coda after it: it is passed over")
        return coda

    def _remark(self, index: int, what: str) -> None:
        self.remarks.append(f"bar {self.bars[index].number}: {what}")


def _numbers(bar: Bar) -> tuple[int, ...]:
    """The numbers of the ending a bar belongs to, those that can be played."""
    return tuple(n for n in map(int, re.findall(r"\d{1,4}", bar.ending)) if 1 <= n <= MOST_TIMES)
