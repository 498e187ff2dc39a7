"""Rhythm as it is written: which note values, ties, dots, tuplets, rests and beams show what sounds in a bar.

Conventions
- Lengths are quarter notes (`Fraction`). A *sign* is one written note, chord or rest.
- Beats are those felt: quarters in simple metres, dotted quarters in compound ones; 5/8 and 7/8 run 2+3 and 2+2+3.
- A note may cross a beat, but no off-beat note hides the middle of the bar; rests never do.

Sources: the note values are those of MusicXML 4.0; how a bar is divided, beamed and tied is common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Generic, Protocol, TypeVar

from harmonylib.errors import HarmonyError
from harmonylib.score.tuplets import Group, tuplet_groups
from harmonylib.tunes.metre import Bar, Grid

VALUES = {Fraction(8): "breve", Fraction(4): "whole", Fraction(2): "half", Fraction(1): "quarter"}

VALUES |= {Fraction(1, 2): "eighth", Fraction(1, 4): "16th", Fraction(1, 8): "32nd", Fraction(1, 16): "64th"}

VALUES |= {Fraction(1, 32): "128th", Fraction(1, 64): "256th", Fraction(1, 128): "512th", Fraction(1, 256): "1024th"}

FLAGS = {name: flags for flags, name in enumerate("eighth 16th 32nd 64th 128th 256th 512th 1024th".split(), start=1)}

TOO_FINE = "a note starts or ends between the finest note values that can be written, 1024ths"


class Timed(Protocol):
    """What can stand in a bar: anything with an onset and a duration."""

    @property
    def onset(self) -> Fraction: ...
    @property
    def duration(self) -> Fraction: ...


T = TypeVar("T", bound=Timed)


@dataclass(frozen=True, slots=True)
class Sign(Generic[T]):
    """One written note or rest (`event` is None): where, how long it sounds, and how it looks.

    `ratio` is (notes written, notes they take the time of); `opens` and `closes` tell whether the event begins and ends
    here, or is tied; `tuplet` and `beams` hold MusicXML's words for what starts, goes on and stops.
    """

    onset: Fraction
    length: Fraction
    event: T | None
    type: str
    dots: int = 0
    ratio: tuple[int, int] = (1, 1)
    opens: bool = True
    closes: bool = True
    tuplet: tuple[str, ...] = ()
    beams: tuple[str, ...] = ()


def bar_signs(events: Sequence[T], bar: Bar) -> tuple[Sign[T], ...]:
    """The signs that fill a bar: the events that sound in it, one after the other, and rests between them.

    A pick-up counts towards the next bar line. Raises `HarmonyError` for a moment no note value of MusicXML reaches.

    >>> from harmonylib.tunes.tune import Note
    >>> from harmonylib.theory.pitch import Pitch
    >>> notes = [Note(Pitch.parse("C4"), Fraction(3, 2), Fraction(1))]
    >>> [(s.type, s.event is not None, s.closes) for s in bar_signs(notes, Bar(1, Fraction(0), Fraction(3), (3, 4)))]
    [('quarter', False, True), ('eighth', False, True), ('quarter', True, True), ('eighth', False, True)]
    """
    if not events and bar.length >= bar.full:  # a shorter bar has rests of its own length
        return (Sign(bar.onset, bar.length, None, "whole"),)
    shift = -bar.start
    spans = _spans(events, bar, shift)
    bars = bar.grid
    groups = tuplet_groups(sorted({point for start, end, _ in spans for point in (start, end)}), bars)
    signs: list[Sign[T]] = []
    try:
        for start, end, event in spans:
            cuts = {edge for group in groups for edge in (group.start, group.end) if start < edge < end}
            points = [start, *sorted(cuts), end]
            for a, b in zip(points, points[1:], strict=False):
                group = next((g for g in groups if g.start <= a < g.end), None)
                signs += _in_group(a, b, event, group) if group else _in_beats(a, b, event, bars)
    except HarmonyError as error:
        raise HarmonyError(f"bar {bar.number}: {error}") from None
    signs = [_tied(sign, shift) for sign in signs]
    return _beamed(_bracketed(signs, groups, shift), bars, shift)


def _spans(events: Sequence[T], bar: Bar, shift: Fraction) -> list[tuple[Fraction, Fraction, T | None]]:
    """(start, end, event or rest) that fill the bar, counted from where its metre starts."""
    spans: list[tuple[Fraction, Fraction, T | None]] = []
    at = bar.onset
    for event in events:
        start, end = max(event.onset, bar.onset), min(event.onset + event.duration, bar.end)
        if start > at:
            spans.append((at + shift, start + shift, None))
        if end > start:
            spans.append((start + shift, end + shift, event))
            at = end
    if at < bar.end:
        spans.append((at + shift, bar.end + shift, None))
    return spans


def _in_group(start: Fraction, end: Fraction, event: T | None, group: Group) -> list[Sign[T]]:
    """The signs of a span inside a tuplet: the longest values first."""
    actual, normal = group.ratio
    signs: list[Sign[T]] = []
    while start < end:
        written = (end - start) * actual / normal
        longest = max((v for value in VALUES for v in (value, value * 3 / 2) if v <= written), default=None)
        if longest is None:
            raise HarmonyError(TOO_FINE)
        length = longest * normal / actual
        signs.append(_sign(start, length, longest, event, group.ratio))
        start += length
    return signs


@lru_cache(maxsize=1024)
def value_of(length: Fraction) -> tuple[str, int] | None:
    """Note value and dots of a length, None if it takes several notes.

    >>> value_of(Fraction(3, 2)), value_of(Fraction(5, 2))
    (('quarter', 1), None)
    """
    if length in VALUES:
        return VALUES[length], 0
    undotted = length * 2 / 3
    return (VALUES[undotted], 1) if undotted in VALUES else None


def _sign(start: Fraction, length: Fraction, written: Fraction, event: T | None, ratio: tuple[int, int]) -> Sign[T]:
    kind, dots = value_of(written) or ("", 0)
    return Sign(start, length, event, kind, dots, ratio)


def _in_beats(start: Fraction, end: Fraction, event: T | None, bars: Grid) -> list[Sign[T]]:
    """The signs of a span outside tuplets: one if it shows the beats, else cut at the strongest moment inside."""
    if value_of(end - start) and (_rest_shows if event is None else _note_shows)(start, end, bars):
        return [_sign(start, end - start, end - start, event, (1, 1))]
    cut = _strongest(start, end, bars)
    return _in_beats(start, cut, event, bars) + _in_beats(cut, end, event, bars)


def _note_shows(start: Fraction, end: Fraction, bars: Grid) -> bool:
    """Whether one note from `start` to `end` leaves the beats clear."""
    if start in bars.beats and end in bars.beats:
        return True
    low, high = bars.beat(start)
    quarter = low + (start - low) // 1 if high - low == 2 else low  # a half note's beat shows its quarters
    if end <= (quarter + 1 if high - low == 2 else high):
        return True
    over_middle = bars.middle is not None and start < bars.middle < end
    return not bars.compound and not over_middle and start * 2 % 1 == 0 and end * 2 % 1 == 0


def _rest_shows(start: Fraction, end: Fraction, bars: Grid) -> bool:
    """Whether one rest does: it keeps to a beat or fills whole ones, and stays on its side of the middle."""
    length = end - start
    low, high = bars.beat(start)
    if end <= high:
        return length == high - low or (length in VALUES and (start - low) % length == 0)
    over_middle = bars.middle is not None and start < bars.middle < end
    return start in bars.beats and end in bars.beats and not over_middle and (start / length).denominator == 1


def _strongest(start: Fraction, end: Fraction, bars: Grid) -> Fraction:
    """The strongest moment strictly inside a span: the middle, a beat, then halves of a beat."""
    if bars.middle is not None and start < bars.middle < end:
        return bars.middle
    from_beat = start in bars.beats
    inside = [beat for beat in bars.beats if start < beat < end]
    low = bars.beat(start)[0]
    step = Fraction(1) if bars.beat(start)[1] - low == 2 else Fraction(1, 2)
    while not inside:
        first = low + ((start - low) // step + 1) * step
        inside = [first + step * n for n in range(int((end - first) / step) + 1) if first + step * n < end]
        step /= 2
        if step < Fraction(1, 1024):
            raise HarmonyError(TOO_FINE)
    return inside[-1] if from_beat else inside[0]


def _tied(sign: Sign[T], shift: Fraction) -> Sign[T]:
    """The sign in the time of the tune, told whether its event begins and ends with it."""
    onset, event = sign.onset - shift, sign.event
    if event is None:
        return replace(sign, onset=onset)
    closes = event.onset + event.duration <= onset + sign.length
    return replace(sign, onset=onset, opens=event.onset == onset, closes=closes)


def _bracketed(signs: list[Sign[T]], groups: Sequence[Group], shift: Fraction) -> list[Sign[T]]:
    for group in groups:
        members = [i for i, sign in enumerate(signs) if group.start <= sign.onset + shift < group.end]
        signs[members[0]] = replace(signs[members[0]], tuplet=("start",))
        signs[members[-1]] = replace(signs[members[-1]], tuplet=(*signs[members[-1]].tuplet, "stop"))
    return signs


def _beamed(signs: list[Sign[T]], bars: Grid, shift: Fraction) -> tuple[Sign[T], ...]:
    """Beams join the short notes of one beat, broken by rests and longer notes."""
    runs: list[list[int]] = []
    last: object = None
    for index, sign in enumerate(signs):
        short = sign.event is not None and sign.type in FLAGS
        key = (bars.beat(sign.onset + shift)[0], sign.ratio) if short else None
        if key and key == last and "start" not in sign.tuplet:
            runs[-1].append(index)
        elif key:
            runs.append([index])
        last = key
    for run in runs:
        flags = [FLAGS[signs[index].type] for index in run]
        for place, index in enumerate(run if len(run) > 1 else ()):
            before = flags[place - 1] if place else 0
            after = flags[place + 1] if place + 1 < len(flags) else 0
            beams = tuple(_beam(level <= before, level <= after, place == 0) for level in range(1, flags[place] + 1))
            signs[index] = replace(signs[index], beams=beams)
    return tuple(signs)


def _beam(before: bool, after: bool, first: bool) -> str:
    if before and after:
        return "continue"
    if before or after:
        return "end" if before else "begin"
    return "forward hook" if first else "backward hook"
