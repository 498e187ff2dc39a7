"""Sound: plucked strings from an arrangement, with a click and a count-in.

A string is a loop one period long with a three-tap filter in it (Karplus–Strong): the taps set the pitch exactly, how
long the note rings and how fast its upper partials fade. `events` says what sounds when, `render` makes it heard.

Conventions
- Musical time is quarter notes; 0 is the quarter-note beat in which the first bar starts, a count-in lies before it.
  Tempo is quarter notes a minute. Samples are float32, shape (samples, 2): left and right, 22,050 a second, −1 to 1.
- Repeats are not played out; a note that lies off the neck is silent.
- Swing is the share of the beat the first of two eighths takes: 0.5 straight, 2/3 triplet swing. A beat that is divided
  otherwise (a triplet) stays as written, and so does every metre counted in eighths.
- Loudness depends on volume and velocity, not on the number of notes. The volume starts low: keep playback at a safe
  level, on headphones above all.

Sources (from memory): K. Karplus and A. Strong, Computer Music Journal 7 (2), 1983, for the loop; the percussion map of
General MIDI 1, in which 76 and 77 are wood blocks. How long strings ring and how bright they are is a setting of taste.
"""

from __future__ import annotations

import io
import wave
from base64 import b64encode
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property, lru_cache
from html import escape
from math import ceil, cos, floor, hypot, pi, sin, tan

import numpy as np
from numpy.typing import NDArray

from harmonylib.arranging import ARRANGEMENT, Arrangement
from harmonylib.neck import Grip, Neck
from harmonylib.pitch import HarmonyError, expect, shown, whole, within
from harmonylib.rhythm import grid
from harmonylib.tunes import DEFAULT_TEMPO, Bar

RATE = 22_050
LOWEST, HIGHEST = 24, 96
"""MIDI numbers a string here may sound: wider than any neck; tuned within 1 cent."""

VOLUME = 0.4
PARTS = {
    # part     velocity  pan: −1 left, 1 right
    "call": (0.8, -0.35),
    "answer": (0.7, 0.35),
    "click": (0.5, 0.0),
}
ACCENT, BEAT = 76, 77
TOP_WEIGHT = 1.4  # the melody, on top, sounds a little above the notes under it
LEVEL = 0.2  # loudness (root mean square) at volume 1 and velocity 1
KNEE, LOUDEST = 0.7, 0.9  # peaks above the knee are bent towards the loudest sample there is
STRUM_S, ATTACK_S, RELEASE_S, CLICK_S, REST_S = 0.004, 0.0015, 0.03, 0.03, 0.05
RING_S = 4.0  # seconds until low E has faded by 60 dB; a string two octaves higher rings half as long
DULLNESS = 16.0  # loss of upper partials while it rings: more is darker
SOFT_HZ = 2500.0  # partials above this are weak from the start
PLUCKED_AT = 0.21  # share of the string between bridge and pick
MOST_MINUTES = 15
MP3_QUALITY = {"bitrate_mode": "VARIABLE", "compression_level": 0.9}  # about 6 kB a second
CAUTION = "Keep playback at a safe level, on headphones above all."

Time = Fraction | float
Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Event:
    """Notes that start together: onset and duration in quarter notes, MIDI numbers from low to high.

    `part` is "call", "answer" or "click", `index` the melody note it plays or answers, `velocity` 0 to 1. Raises
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


@dataclass(frozen=True)
class Sound:
    """Something to listen to: shows itself as a player in a notebook; never starts by itself."""

    caption: str
    samples: Samples = field(repr=False, compare=False)

    @cached_property
    def mp3(self) -> bytes:
        return mp3(self.samples)

    def __repr__(self) -> str:
        return self.caption

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        source = b64encode(self.mp3).decode("ascii")
        label = escape(self.caption, quote=True)
        player = f'<audio controls preload="metadata" aria-label="{label}" title="{CAUTION}" '
        return {"text/plain": self.caption, "text/html": f'{player}src="data:audio/mpeg;base64,{source}"></audio>'}


# --- what sounds when ---------------------------------------------------------------------------------------------


def events(arrangement: Arrangement, first: int | None = None, last: int | None = None) -> tuple[Event, ...]:
    """What sounds in bars `first` to `last` (default: all), calls and answers in the order of time.

    A note that starts before the first bar is left out, one that lasts beyond the last bar ends with it. Raises
    `HarmonyError` for bars the tune does not have.

    >>> from harmonylib.arranging import arrange
    >>> from harmonylib.tunes import read_text
    >>> made = arrange(read_text('M:2/4\\nL:1/4\\nK:C\\n"Cmaj7"E G|"Dm7"F2|'), density="every")
    >>> [(str(event.onset), str(event.duration), event.midi) for event in events(made, 2, 2)]
    [('0', '2', (50, 57, 60, 65))]
    """
    bars = bars_between(expect(Arrangement, arrangement, ARRANGEMENT), first, last)
    neck, start, stop = arrangement.settings.neck, bars[0].onset, bars[-1].end
    played = [(c.note.onset, arrangement.held(c.index), c.grip, "call", c.index) for c in arrangement.choices]
    played += [(a.onset, a.duration, a.grip, "answer", a.call) for a in arrangement.answers]
    zero = _zero(bars[0])
    found = [
        Event(onset - zero, min(length, stop - onset), _sounding(grip, neck), part, index, PARTS[part][0])
        for onset, length, grip, part, index in played
        if grip and length > 0 and start <= onset < stop
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


def click_events(bars: Sequence[Bar], count_in: int = 0, click: bool = True) -> tuple[Event, ...]:
    """A click on every felt beat of some bars, high on beat 1, after `count_in` whole bars that lie before 0.

    A pick-up is counted in too. `click` False leaves only the count-in.

    >>> beats = click_events(even_bars((3, 4), 3), count_in=1)
    >>> [(int(event.onset), event.midi == (ACCENT,)) for event in beats]
    [(-3, True), (-2, False), (-1, False), (0, True), (1, False), (2, False)]
    """
    within(whole(count_in, "a number of bars to count in"), 0, 8, "count-in {}: choose 0 to 8 bars")
    zero, first = _zero(bars[0]), bars[0]
    full = Fraction(4 * first.metre[0], first.metre[1])
    beats = []
    for bar in bars if click else ():
        lead = _lead(bar)
        beats += [(bar.onset - lead - zero, a, b) for a, b in _beats(bar.metre, lead + bar.length) if lead <= a]
    start = first.onset - _lead(first) - zero
    for bar_start in [start - full * n for n in range(count_in, 0, -1)]:
        beats += [(bar_start, a, b) for a, b in _beats(first.metre, full)]
    if count_in:
        beats += [(start, a, b) for a, b in _beats(first.metre, full) if a < _lead(first)]
    marks = [(bar_line + a, b - a, ACCENT if a == 0 else BEAT) for bar_line, a, b in sorted(beats)]
    soft, loud = PARTS["click"][0], 1.6 * PARTS["click"][0]
    return tuple(Event(on, long, (m,), "click", None, loud if m == ACCENT else soft) for on, long, m in marks)


def even_bars(metre: tuple[int, int], quarters: Time) -> tuple[Bar, ...]:
    """Bars of one metre that hold so many quarter notes.

    >>> [str(bar.onset) for bar in even_bars((6, 8), 7)]
    ['0', '3', '6']
    """
    beats, unit = _a_metre(metre)
    full = Fraction(4 * beats, unit)
    return tuple(Bar(n + 1, full * n, full, (beats, unit)) for n in range(max(ceil(quarters / full), 1)))


def _a_metre(metre: Sequence[int]) -> tuple[int, int]:
    if not isinstance(metre, tuple | list) or len(metre) != 2:
        raise HarmonyError(f"{shown(metre)} is not a metre: write beats and unit, as in (3, 4)")
    beats, unit = (whole(number, "a metre's number") for number in metre)
    for number in (beats, unit):
        within(number, 1, 64, "a metre of {}: choose 1 to 64")
    return beats, unit


def bars_between(arrangement: Arrangement, first: int | None = None, last: int | None = None) -> tuple[Bar, ...]:
    """The bars with numbers `first` to `last`; raises `HarmonyError` when the tune has none of them."""
    bars = arrangement.tune.bars
    low, high = (
        end.number if asked is None else whole(asked, "the number of a bar")
        for end, asked in ((bars[0], first), (bars[-1], last))
    )
    found = tuple(bar for bar in bars if low <= bar.number <= high)
    if not found or low < bars[0].number or high > bars[-1].number:
        raise HarmonyError(f"bars {low} to {high}: the tune has bars {bars[0].number} to {bars[-1].number}")
    return found


def as_data(
    events: Sequence[Event], tempo: float, swing: float = 0.5, metre: tuple[int, int] = (4, 4)
) -> dict[str, object]:
    """The events as plain data for a player in the browser; times in quarter notes, swing put in.

    >>> as_data([Event(Fraction(1, 2), Fraction(1, 2), (52, 64), "call", 3)], 90, swing=0.6)["events"]
    [{'onset': 0.6, 'duration': 0.4, 'midi': [52, 64], 'part': 'call', 'index': 3, 'velocity': 0.8, 'pan': -0.35}]
    """
    times = _swung(events, swing, metre)
    rows = [
        {"onset": round(start, 6), "duration": round(end - start, 6), "midi": list(event.midi), "part": event.part}
        | {"index": event.index, "velocity": event.velocity, "pan": PARTS[event.part][1]}
        for event, (start, end) in zip(events, times, strict=True)
    ]
    return {"tempo": tempo, "length": max((round(end, 6) for _, end in times), default=0.0), "events": rows}


def _sounding(grip: Grip, neck: Neck) -> tuple[int, ...]:
    return tuple(sorted(neck.midi(grip.frets)))


def _lead(bar: Bar) -> Fraction:
    """What a pick-up leaves out of its metre, in quarter notes."""
    return Fraction(4 * bar.metre[0], bar.metre[1]) - bar.length if bar.number == 0 else Fraction(0)


def _zero(first: Bar) -> Fraction:
    """The moment of the tune that counts as 0, on a beat, so that a pick-up of one eighth is off the beat."""
    return first.onset - _lead(first) % 1


def _beats(metre: tuple[int, int], length: Fraction) -> list[tuple[Fraction, Fraction]]:
    """Start and end of each felt beat that starts within a bar's length."""
    beats = grid(metre, length).beats
    return [(a, b) for a, b in zip(beats, beats[1:], strict=False) if a < length]


def _swung(events: Sequence[Event], swing: float, metre: tuple[int, int]) -> list[tuple[float, float]]:
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


# --- strings ------------------------------------------------------------------------------------------------------


def taps(frequency: float, ring_s: float) -> tuple[int, tuple[float, float, float]]:
    """The loop of a string: its length N in samples and what it feeds back from N − 1, N and N + 1 samples ago.

    The delay at `frequency` (Hz) is exactly one period, and the note fades by 60 dB in `ring_s` seconds. How fast upper
    partials fade hangs on their own frequency, hardly on the fraction of a sample the period ends with.

    >>> taps(441.0, 2.0)[0], [round(tap, 3) for tap in taps(441.0, 2.0)[1]]
    (50, [0.018, 0.956, 0.018])
    """
    period = RATE / frequency
    length, omega = round(period), 2 * pi / period
    turn, loss, tilt = tan(omega * (period - length)), DULLNESS / frequency, 0.0
    for _ in range(20):  # tilt and the share of the outer taps depend on each other; this settles in a few rounds
        outer = loss + tilt * tilt
        middle = 1 - outer + outer * cos(omega)
        tilt = -turn * middle / sin(omega)
    gain = 10 ** (-3 / (frequency * ring_s)) / hypot(middle, tilt * sin(omega))
    return length, (gain * (outer + tilt) / 2, gain * (1 - outer), gain * (outer - tilt) / 2)


def string(midi: int, seconds: float) -> Samples:
    """A string plucked once and left to ring, root mean square 1 over its first quarter second; mono.

    Raises `HarmonyError` for a note outside MIDI numbers 24 to 96.
    """
    if not LOWEST <= midi <= HIGHEST:
        raise HarmonyError(f"MIDI note {midi}: a string here sounds {LOWEST} to {HIGHEST}")
    lasting = 0.5
    while lasting < seconds:
        lasting *= 2
    return _string(midi, min(lasting, 2 * RING_S))[: round(seconds * RATE)]


@lru_cache(maxsize=512)
def _string(midi: int, seconds: float) -> Samples:
    frequency = 440.0 * 2 ** ((midi - 69) / 12)
    length, (near, here, far) = taps(frequency, RING_S * 2 ** ((40 - midi) / 24))
    ringing = np.empty(ceil(seconds * RATE))
    ringing[: length + 1] = _pluck(midi, frequency, length + 1)
    for start in range(length + 1, len(ringing), length - 1):
        past = ringing[start - length - 1 : min(start, len(ringing) - length + 1)]
        now = near * past[2:] + here * past[1:-1] + far * past[:-2]
        ringing[start : start + len(now)] = now
    ringing /= np.sqrt(np.mean(ringing[: RATE // 4] ** 2))
    return _kept(ringing)


def _pluck(midi: int, frequency: float, size: int) -> NDArray[np.float64]:
    """One period of noise, shaped so that every string has the partials of a soft pluck at the same place."""
    partial = np.arange(1, int(0.45 * RATE / frequency) + 1)
    strength = np.sin(pi * PLUCKED_AT * partial) / partial / (1 + (partial * frequency / SOFT_HZ) ** 2)
    phase = np.random.default_rng(midi).uniform(0, 2 * pi, len(partial))
    angle = np.outer(np.arange(size), partial) * (2 * pi * frequency / RATE) + phase
    period: NDArray[np.float64] = (np.cos(angle) * strength).sum(axis=1)
    return period


def _kept(sound: NDArray[np.float64]) -> Samples:
    """A sound for the cache: it starts softly, and nobody may change it."""
    attack = ceil(ATTACK_S * RATE)
    sound[:attack] *= 0.5 - 0.5 * np.cos(np.linspace(0, pi, attack))
    kept = sound.astype(np.float32)
    kept.setflags(write=False)
    return kept


@lru_cache(maxsize=2)
def _click(accent: bool) -> Samples:
    time = np.arange(ceil(CLICK_S * RATE)) / RATE
    fading = np.exp(-time / 0.005) * (1 - time / CLICK_S)
    return _kept(5 * np.sin(2 * pi * (1800 if accent else 1200) * time) * fading)


# --- samples ------------------------------------------------------------------------------------------------------


def render(
    events: Sequence[Event],
    tempo: float,
    swing: float = 0.5,
    volume: float = VOLUME,
    count_in: int = 0,
    click: bool = False,
    metre: tuple[int, int] = (4, 4),
) -> Samples:
    """The events as sound: float32, shape (samples, 2), 22,050 a second; starts and ends with silence.

    `tempo` is quarter notes a minute, `volume` 0 to 1; `count_in` bars and a `click` follow `metre`, from 0 on. Chords
    are strummed from the low string; calls come from the left, answers from the right. No sample exceeds 0.9. The same
    events give the same bytes. Raises `HarmonyError` for a setting out of range and when nothing sounds.

    >>> made = render([Event(0, 1, (48, 55, 59, 64))], tempo=60)
    >>> made.shape, made.dtype, float(made[0, 0]), float(made[-1, 0])
    ((23153, 2), dtype('float32'), 0.0, 0.0)
    """
    if not events:
        raise HarmonyError("nothing sounds here: choose bars that hold notes")
    within(tempo, 10, 600, "tempo {}: choose 10 to 600 quarter notes a minute")
    within(volume, 0, 1, "volume {}: choose 0 to 1")
    metre = _a_metre(metre)
    if count_in or click:
        bars = even_bars(metre, max(event.end for event in events))
        events = (*click_events(bars, count_in, click), *events)
    times = [(start * 60 / tempo, end * 60 / tempo) for start, end in _swung(events, swing, metre)]
    zero, end = min(0.0, *(start for start, _ in times)), max(end for _, end in times)
    if end - zero > 60 * MOST_MINUTES:
        raise HarmonyError(f"{(end - zero) / 60:.0f} minutes of sound: choose fewer bars, {MOST_MINUTES} at most")
    tracks = {part: np.zeros(ceil((end - zero + REST_S) * RATE), np.float32) for part in PARTS}
    for event, (start, stop) in zip(events, times, strict=True):
        _add(tracks[event.part], event, start - zero, stop - zero)
    sides = [
        sum(track * np.float32(side((1 + PARTS[part][1]) * pi / 4)) for part, track in tracks.items())
        for side in (cos, sin)
    ]
    return _bent(np.stack(sides, axis=1) * np.float32(LEVEL * volume))


def _add(track: Samples, event: Event, start: float, end: float) -> None:
    """Put one event on its track: each string a little after the one below, all damped at the end."""
    if event.part == "click":
        beat, place = _click(event.midi[0] == ACCENT), round(start * RATE)
        track[place : place + len(beat)] += np.float32(event.velocity) * beat
        return
    weights = [1.0] * (len(event.midi) - 1) + [TOP_WEIGHT]
    strum, last = min(STRUM_S, (end - start) / (2 * len(weights))), round(end * RATE)
    for order, (midi, weight) in enumerate(zip(event.midi, weights, strict=True)):
        place = round((start + order * strum) * RATE)
        sound = string(midi, (last - place) / RATE) * np.float32(event.velocity * weight / hypot(*weights))
        release = min(ceil(RELEASE_S * RATE), len(sound))
        sound[len(sound) - release :] *= 0.5 + 0.5 * np.cos(np.linspace(0, pi, release))
        track[place : place + len(sound)] += sound


def _bent(samples: Samples) -> Samples:
    """Peaks above the knee bent so that none passes `LOUDEST`; all below stays as it is."""
    size, room = np.abs(samples), LOUDEST - KNEE
    over = np.maximum(size - KNEE, 0) / room
    bent = np.sign(samples) * (KNEE + room * np.tanh(over))
    return np.where(size > KNEE, bent, samples).astype(np.float32)


def wav(samples: Samples) -> bytes:
    """The samples as a WAV file of 16 bits.

    >>> wav(np.zeros((100, 2), np.float32))[:4]
    b'RIFF'
    """
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(np.round(samples * 32767).astype("<i2").tobytes())
    return buffer.getvalue()


def mp3(samples: Samples) -> bytes:
    """The samples as an MP3 file; raises `HarmonyError` when the package soundfile is not there."""
    try:
        import soundfile
    except ImportError as error:
        raise HarmonyError("sound needs the package soundfile: install it with pip install soundfile") from error
    buffer = io.BytesIO()
    with soundfile.SoundFile(buffer, "w", RATE, 2, format="MP3", **MP3_QUALITY) as file:
        for start in range(0, len(samples), 65_536):  # one large write can crash the library
            file.write(samples[start : start + 65_536])
    return buffer.getvalue()


def sampled(arrangement: Arrangement) -> Samples:
    """A whole arrangement as samples, straight, at its own tempo and the usual volume."""
    bars = bars_between(arrangement, None, None)
    return render(events(arrangement), arrangement.tempo, metre=bars[0].metre)


def listen(
    music: Arrangement | Sequence[Event],
    first: int | None = None,
    last: int | None = None,
    tempo: float | None = None,
    swing: float = 0.5,
    volume: float = VOLUME,
    count_in: int = 0,
    click: bool = False,
    metre: tuple[int, int] = (4, 4),
) -> Sound:
    """Bars `first` to `last` of an arrangement, or a row of events, as a player for the notebook.

    The tempo is the arrangement's own unless given; an arrangement brings its own metre, `metre` is that of events.

    >>> listen(cycle_events([Grip.parse("x3545x"), Grip.parse("x7958x")]), tempo=60, count_in=1)
    0:08, 2 chords at 60
    """
    if isinstance(music, Arrangement):
        bars, tempo = bars_between(music, first, last), music.tempo if tempo is None else tempo
        played, metre = events(music, first, last), bars[0].metre
        if not played:
            raise HarmonyError(f"nothing sounds in bars {bars[0].number} to {bars[-1].number}: choose bars with notes")
        samples = render((*click_events(bars, count_in, click), *played), tempo, swing, volume, metre=metre)
    else:
        if first is not None or last is not None:
            raise HarmonyError("bars can be chosen of an arrangement only; of events, give those you want to hear")
        if not isinstance(music, tuple | list) or not all(isinstance(event, Event) for event in music):
            raise HarmonyError(f"{shown(music)} is nothing to listen to: give an arrangement, or a list of events")
        played, tempo = tuple(music), DEFAULT_TEMPO if tempo is None else tempo
        samples = render(played, tempo, swing, volume, count_in, click, metre)
    return Sound(_caption(played, len(samples) / RATE, tempo), samples)


def _caption(played: Sequence[Event], seconds: float, tempo: float) -> str:
    chords = sum(len(event.midi) > 1 for event in played)
    single = sum(len(event.midi) == 1 and event.part != "click" for event in played)
    counts = [(chords, "chord"), (single, "single note")]
    what = ", ".join(f"{count} {name}{'s' * (count != 1)}" for count, name in counts if count)
    return f"{int(seconds) // 60}:{int(seconds) % 60:02}, {what} at {float(tempo):g}"
