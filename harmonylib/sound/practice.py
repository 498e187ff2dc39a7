"""Practice tracks: the same bars with the same grips, a little faster each time, counted in and clicked.

Conventions
- Tempo is quarter notes a minute. A ladder of tempos goes up by even steps and ends with its highest tempo.
- Each tempo starts with its own count-in. Times through at one tempo follow each other in metre: a bar that is short at
  the end is rested out, unless the pick-up fills it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

import numpy as np

from harmonylib.arranging.arrangement import ARRANGEMENT, Arrangement
from harmonylib.errors import HarmonyError, expect, shown, whole, within
from harmonylib.sound.bass import bass_events
from harmonylib.sound.events import Event, click_events, played_events, runs_between, zero_of
from harmonylib.sound.listening import Sound
from harmonylib.sound.rendering import MOST_MINUTES, REST_S, VOLUME, render
from harmonylib.sound.strings import RATE, Samples
from harmonylib.tunes.bars import WhichBars
from harmonylib.tunes.form import played_bars
from harmonylib.tunes.metre import Bar

CLICKS = {
    "beats": "a click on every beat",
    "backbeat": "a click on every second beat: 2 and 4 of four",
    "none": "no click once it is counted in",
}

STEP = 6.0  # quarter notes a minute from one tempo to the next


@dataclass(frozen=True)
class Rung:
    """What sounds at one tempo: events in quarter notes, from `start` to `end`."""

    events: tuple[Event, ...]
    start: float
    end: float
    metre: tuple[int, int]

    def seconds(self, tempo: float) -> float:
        return (self.end - self.start) * 60 / tempo


def practice_track(
    arrangement: Arrangement,
    slowest: float | None = None,
    fastest: float | None = None,
    step: float = STEP,
    times: int = 1,
    bars: WhichBars = None,
    *,
    count_in: int = 1,
    rest: int = 0,
    click: str = "beats",
    bass: bool = False,
    swing: float = 0.5,
    volume: float = VOLUME,
) -> Sound:
    """Some bars of an arrangement (default: all, as the form is played) `times` times at each tempo of a ladder.

    `fastest` is the arrangement's tempo unless given, `slowest` its practice tempo or else half of `fastest`. Each
    tempo is counted in by `count_in` bars; `rest` bars lie between the times at one tempo; `click` is one of `CLICKS`,
    `bass` adds the roots. Every tempo has the same grips. Raises `HarmonyError` for a setting out of range, for bars
    that are not there or hold no notes, and for a track of more than 15 minutes.

    >>> from harmonylib.arranging.arrange import arrange
    >>> from harmonylib.tunes.reading import read_text
    >>> made = arrange(read_text('M:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E4|"Dm7"F4|'))
    >>> practice_track(made, 60, 120, 30, times=2)
    0:43, bars 1 to 2, twice at each of 3 tempos: 60, 90, 120
    """
    fastest = expect(Arrangement, arrangement, ARRANGEMENT).tempo if fastest is None else fastest
    slow = arrangement.settings.practice_tempo
    if slowest is None:
        slowest = slow if slow and slow <= fastest else fastest / 2
    tempos = tempo_ladder(slowest, fastest, step)
    rung = _rung(arrangement, bars, times, count_in, rest, click, bass)
    samples = _climbed(rung, tempos, swing, volume)
    heard = [bar.number for run in runs_between(arrangement, bars=bars) for bar in run.bars]
    return Sound(_caption(len(samples) / RATE, min(heard), max(heard), times, tempos), samples)


def tempo_ladder(slowest: float, fastest: float, step: float = STEP) -> tuple[float, ...]:
    """Tempos from the slowest up by even steps; the last is the fastest, whatever step leads to it.

    >>> tempo_ladder(60, 80, 8)
    (60.0, 68.0, 76.0, 80.0)
    """
    for tempo in (slowest, fastest):
        within(tempo, 10, 600, "tempo {}: choose 10 to 600 quarter notes a minute")
    within(step, 1, 300, "step {}: choose 1 to 300 quarter notes a minute from one tempo to the next")
    if slowest > fastest:
        raise HarmonyError(f"from {slowest:g} to {fastest:g}: a ladder of tempos goes up, give the slower one first")
    rungs = ceil((fastest - slowest) / step)
    return (*(float(slowest + n * step) for n in range(rungs)), float(fastest))


def _rung(
    arrangement: Arrangement, bars: WhichBars, times: int, count_in: int, rest: int, click: str, bass: bool
) -> Rung:
    """What is heard at every tempo."""
    within(whole(times, "a number of times"), 1, 64, "{} times: choose 1 to 64")
    within(whole(rest, "a number of bars to rest"), 0, 8, "{} bars of rest: choose 0 to 8")
    if click not in CLICKS:
        raise HarmonyError(f"{shown(click)} is no way to click: choose {', '.join(CLICKS)}")
    runs, played = runs_between(arrangement, bars=bars), played_events(arrangement, bars=bars)
    written = played_bars(runs)
    if not played:
        low, high = written[0].number, written[-1].number
        raise HarmonyError(f"nothing sounds in bars {low} to {high}: choose bars with notes")
    if bass:
        played += bass_events(arrangement.tune, runs)
    counted, delays = _counted(written, times, rest)
    clicks = click_events(counted, count_in, click != "none", click == "backbeat")
    music = tuple(replace(event, onset=event.onset + later) for later in delays for event in played)
    events = (*clicks, *music)
    start = min(0.0, *(float(event.onset) for event in events))
    return Rung(events, start, float(counted[-1].end - zero_of(written[0])), written[0].metre)


def _counted(bars: Sequence[Bar], times: int, rest: int) -> tuple[list[Bar], list[Fraction]]:
    """The bars to click through, rests among them, and how much later than the first each time begins."""
    first, last = bars[0], bars[-1]
    upbeat_fits = bool(first.lead) and not rest and len(bars) > 1 and last.length + first.length == first.full
    counted, delays = list(bars), [Fraction(0)]
    for _ in range(times - 1):
        if not upbeat_fits:
            counted[-1] = _rested_out(counted[-1])
        at, again = counted[-1].end, first
        if not upbeat_fits:
            silent = Bar(first.number or 1, at, first.full, first.metre, groups=first.groups)
            counted += [replace(silent, onset=at + n * first.full) for n in range(rest)]
            at += rest * first.full + first.lead
            again = replace(silent, onset=first.start) if first.lead else first
        delays.append(at - first.onset)
        counted += [replace(bar, onset=bar.onset + delays[-1]) for bar in (again, *bars[1:])]
    counted[-1] = _rested_out(counted[-1])
    return counted, delays


def _rested_out(bar: Bar) -> Bar:
    return replace(bar, length=max(bar.length, bar.full)) if bar.number else bar


def _climbed(rung: Rung, tempos: Sequence[float], swing: float, volume: float) -> Samples:
    """The rung at each tempo, one after another without a gap."""
    ends = np.cumsum([rung.seconds(tempo) for tempo in tempos])
    if ends[-1] > 60 * MOST_MINUTES:
        long = f"{ends[-1] / 60:.0f} minutes of practice"
        raise HarmonyError(f"{long}: choose fewer bars, times or tempos, {MOST_MINUTES} minutes at most")
    samples = np.zeros((ceil((ends[-1] + REST_S) * RATE) + 1, 2), np.float32)
    for tempo, start in zip(tempos, [0.0, *ends[:-1]], strict=True):
        made, place = render(rung.events, tempo, swing, volume, metre=rung.metre), round(start * RATE)
        samples[place : place + len(made)] += made
    return samples


def _caption(seconds: float, low: int, high: int, times: int, tempos: Sequence[float]) -> str:
    which = f"bars {low} to {high}" if low < high else f"bar {low}"
    often = {1: "once", 2: "twice"}.get(times, f"{times} times")
    listed = [f"{tempo:g}" for tempo in tempos]
    if len(listed) > 4:
        listed = [*listed[:2], "…", listed[-1]]
    at = f"at each of {len(tempos)} tempos: " if len(tempos) > 1 else "at "
    return f"{int(seconds) // 60}:{int(seconds) % 60:02}, {which}, {often} {at}{', '.join(listed)}"
