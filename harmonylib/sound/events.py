"""What sounds when: an arrangement, an inversion cycle and the click as a row of events.

Conventions
- Musical time is quarter notes; 0 is the quarter-note beat in which the first bar starts, a count-in lies before it.
  Tempo is quarter notes a minute.
- A whole tune is played as its form says; bars asked for by number are played once, as written.
- A note that lies off the neck is silent.
- Swing is the share of the beat the first of two eighths takes: 0.5 straight, 2/3 triplet swing. A beat that is divided
  otherwise (a triplet) stays as written, and so does every metre counted in eighths.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from harmonylib.arranging.arrangement import ARRANGEMENT, Arrangement
from harmonylib.errors import HarmonyError, expect, shown, whole, within
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.tunes.bars import WhichBars, bars_meant
from harmonylib.tunes.form import Run, runs
from harmonylib.tunes.metre import Bar, grid

PARTS = {
    # part     velocity  pan: −1 left, 1 right
    "call": (0.8, -0.35),
    "answer": (0.7, 0.35),
    "bass": (0.7, 0.0),
    "click": (0.5, 0.0),
}

ACCENT, BEAT = 76, 77

Time = Fraction | float


@dataclass(frozen=True, slots=True)
class Event:
    """Notes that start together: onset and duration in quarter notes, MIDI numbers from low to high.

    `part` is one of `PARTS`, `index` the melody note it plays or answers, `velocity` 0 to 1. Raises
    `HarmonyError` for a part, duration or velocity that cannot be, and for an event without notes.
    """

    onset: Time
    duration: Time
    midi: tuple[int, ...]
    part: str = "call"
    index: int | None = None
    velocity: float = PARTS["call"][0]

    def __post_init__(self) -> None:
        if self.part not in PARTS:
            raise HarmonyError(f"{self.part!r} is not a part: choose {', '.join(PARTS)}")
        if not self.midi or not self.duration > 0 or not 0 <= self.velocity <= 1:
            raise HarmonyError(f"{self}: an event needs a note, a duration above 0 and a velocity of 0 to 1")

    @property
    def end(self) -> Time:
        return self.onset + self.duration


def played_events(
    arrangement: Arrangement,
    first: WhichBars = None,
    last: int | None = None,
    bars: WhichBars = None,
    once: bool = False,
) -> tuple[Event, ...]:
    """What sounds in some bars (said as in `bar_range`), or in all as the form is played: calls and answers in time.

    With `once` the whole tune is played as written too. A note that starts before the first bar is left out, one that
    lasts beyond the last bar, or beyond one where the form leaves the written order, ends with it. Raises
    `HarmonyError` for bars the tune does not have.

    >>> from harmonylib.arranging.arrange import arrange
    >>> from harmonylib.tunes.reading import read_text
    >>> made = arrange(read_text('M:2/4\\nL:1/4\\nK:C\\n"Cmaj7"E G|"Dm7"F2|'), density="every")
    >>> [(str(event.onset), str(event.duration), event.midi) for event in played_events(made, 2, 2)]
    [('0', '2', (50, 57, 60, 65))]
    """
    played_runs = runs_between(expect(Arrangement, arrangement, ARRANGEMENT), first, last, bars, once)
    neck, zero = arrangement.settings.neck, zero_of(played_runs[0].bars[0])
    played = [(c.note.onset, arrangement.held(c.index), c.grip, "call", c.index) for c in arrangement.choices]
    played += [(a.onset, a.duration, a.grip, "answer", a.call) for a in arrangement.answers]
    found = [
        Event(onset + run.later - zero, min(length, run.stop - onset), _sounding(grip, neck), part, n, PARTS[part][0])
        for run in played_runs
        for onset, length, grip, part, n in played
        if grip and length > 0 and run.start <= onset < run.stop
    ]
    return tuple(sorted(found, key=lambda event: event.onset))


def cycle_events(grips: Iterable[Grip], neck: Neck | None = None, beats: Time = 2) -> tuple[Event, ...]:
    """Grips one after another, each `beats` quarter notes long.

    >>> [event.midi for event in cycle_events([Grip.parse("x3545x"), Grip.parse("x5756x")])]
    [(48, 55, 59, 64), (50, 57, 60, 65)]
    """
    if not isinstance(grips, Iterable) or isinstance(grips, str | bytes):
        raise HarmonyError(f"{shown(grips)} are no grips: give a list of them")
    grips = [expect(Grip, grip, "a grip: read it first, as in Grip.parse('x3545x')") for grip in grips]
    within(beats, 1 / 64, 64, "{} beats for a grip: give it 1/64 to 64")
    neck = expect(Neck, Neck() if neck is None else neck, "a neck: make one, as in Neck(frets=12)")
    return tuple(Event(n * beats, beats, _sounding(grip, neck), "call", n) for n, grip in enumerate(grips))


def click_events(
    bars: Sequence[Bar], count_in: int = 0, click: bool = True, backbeat: bool = False
) -> tuple[Event, ...]:
    """A click on every felt beat of some bars, high on beat 1, after `count_in` whole bars that lie before 0.

    A pick-up is counted in too. `click` False leaves only the count-in; with `backbeat` only every second beat of a
    bar is clicked after it: 2 and 4 of four, 2 of three.

    >>> beats = click_events(even_bars((3, 4), 3), count_in=1)
    >>> [(int(event.onset), event.midi == (ACCENT,)) for event in beats]
    [(-3, True), (-2, False), (-1, False), (0, True), (1, False), (2, False)]
    """
    within(whole(count_in, "a number of bars to count in"), 0, 8, "count-in {}: choose 0 to 8 bars")
    zero, first = zero_of(bars[0]), bars[0]
    beats = []
    for bar in bars if click else ():
        within_bar = _beats(bar, bar.lead + bar.length)
        beats += [(bar.start - zero, a, b) for a, b in within_bar[backbeat :: 1 + backbeat] if bar.lead <= a]
    start = first.start - zero
    for bar_start in [start - first.full * n for n in range(count_in, 0, -1)]:
        beats += [(bar_start, a, b) for a, b in _beats(first, first.full)]
    if count_in:
        beats += [(start, a, b) for a, b in _beats(first, first.full) if a < first.lead]
    marks = [(bar_line + a, b - a, ACCENT if a == 0 else BEAT) for bar_line, a, b in sorted(beats)]
    soft, loud = PARTS["click"][0], 1.6 * PARTS["click"][0]
    return tuple(Event(on, long, (m,), "click", None, loud if m == ACCENT else soft) for on, long, m in marks)


def even_bars(metre: tuple[int, int], quarters: Time) -> tuple[Bar, ...]:
    """Bars of one metre that hold so many quarter notes.

    >>> [str(bar.onset) for bar in even_bars((6, 8), 7)]
    ['0', '3', '6']
    """
    beats, unit = a_metre(metre)
    full = Fraction(4 * beats, unit)
    return tuple(Bar(n + 1, full * n, full, (beats, unit)) for n in range(max(ceil(quarters / full), 1)))


def a_metre(metre: Sequence[int]) -> tuple[int, int]:
    if not isinstance(metre, tuple | list) or len(metre) != 2:
        raise HarmonyError(f"{shown(metre)} is not a metre: write beats and unit, as in (3, 4)")
    beats, unit = (whole(number, "a metre's number") for number in metre)
    for number in (beats, unit):
        within(number, 1, 64, "a metre of {}: choose 1 to 64")
    return beats, unit


def runs_between(
    arrangement: Arrangement,
    first: WhichBars = None,
    last: int | None = None,
    bars: WhichBars = None,
    once: bool = False,
) -> tuple[Run, ...]:
    """The runs of bars that are played: the form of a whole tune, or the bars asked for as written."""
    if (first, last, bars) == (None, None, None):
        return runs(arrangement.tune, once)
    return (Run(bars_meant(arrangement.tune, bars, first, last), Fraction(0)),)


def as_data(
    events: Sequence[Event], tempo: float, swing: float = 0.5, metre: tuple[int, int] = (4, 4)
) -> dict[str, object]:
    """The events as plain data for a player in the browser; times in quarter notes, swing put in.

    >>> as_data([Event(Fraction(1, 2), Fraction(1, 2), (52, 64), "call", 3)], 90, swing=0.6)["events"]
    [{'onset': 0.6, 'duration': 0.4, 'midi': [52, 64], 'part': 'call', 'index': 3, 'velocity': 0.8, 'pan': -0.35}]
    """
    times = swung(events, swing, metre)
    rows = [
        {"onset": round(start, 6), "duration": round(end - start, 6), "midi": list(event.midi), "part": event.part}
        | {"index": event.index, "velocity": event.velocity, "pan": PARTS[event.part][1]}
        for event, (start, end) in zip(events, times, strict=True)
    ]
    return {"tempo": tempo, "length": max((round(end, 6) for _, end in times), default=0.0), "events": rows}


def _sounding(grip: Grip, neck: Neck) -> tuple[int, ...]:
    return tuple(sorted(neck.midi(grip.frets)))


def zero_of(first: Bar) -> Fraction:
    """The moment of the tune that counts as 0, on a beat, so that a pick-up of one eighth is off the beat."""
    return first.onset - first.lead % 1


def _beats(bar: Bar, length: Fraction) -> list[tuple[Fraction, Fraction]]:
    """Start and end of each felt beat of a bar's metre that starts within a length."""
    beats = grid(bar.metre, length, bar.groups).beats
    return [(a, b) for a, b in zip(beats, beats[1:], strict=False) if a < length]


def swung(events: Sequence[Event], swing: float, metre: tuple[int, int]) -> list[tuple[float, float]]:
    """Onset and end of each event once the off-beat eighths have moved."""
    within(swing, 0.5, 0.75, "swing {}: choose 0.5 (straight) to 0.75; triplet swing is 0.667")
    spans = [(_exact(event.onset), _exact(event.end)) for event in events]
    if metre[1] > 4:
        return [(float(start), float(end)) for start, end in spans]
    straight = {floor(t) for span in spans for t in span if t.denominator & (t.denominator - 1)}

    def moved(t: Fraction) -> float:
        beat, part = divmod(t, 1)
        if beat in straight:
            return float(t)
        late = 2 * part * swing if part <= Fraction(1, 2) else swing + (2 * part - 1) * (1 - swing)
        return beat + float(late)

    return [(moved(start), moved(end)) for start, end in spans]


def _exact(time: Time) -> Fraction:
    return time if isinstance(time, Fraction) else Fraction(time).limit_denominator(960)
