"""Something to listen to in a notebook: an arrangement or an inversion cycle, rendered, with a line under it.

Conventions
- Tempo is quarter notes a minute. The volume starts low: keep playback at a safe level, on headphones above all.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from typing import Any, ClassVar

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError, shown
from harmonylib.sound.events import Event, click_events, played_events, runs_between
from harmonylib.sound.rendering import VOLUME, mp3, render
from harmonylib.sound.strings import RATE, Samples
from harmonylib.tunes.bars import WhichBars
from harmonylib.tunes.form import played_bars
from harmonylib.tunes.tune import DEFAULT_TEMPO

CAUTION = "Keep playback at a safe level, on headphones above all."


@dataclass(frozen=True)
class Heard:
    """What a sound is made of: bars `first` to `last` of an arrangement, or events with a title and a line on each.

    `settings` are those it was rendered with, by their names in `listen`.
    """

    music: Arrangement | tuple[Event, ...]
    first: int | None
    last: int | None
    title: str
    texts: tuple[str, ...]
    settings: Mapping[str, Any]


@dataclass(frozen=True)
class Sound:
    """Something to listen to: shows itself as a player in a notebook; never starts by itself.

    `of` is what is heard, where it can be played otherwise. `shown_by` may show it in another way: it gives a bundle by
    MIME type, or an empty one.
    """

    shown_by: ClassVar[Callable[..., Mapping[str, Any]]] = staticmethod(lambda sound, **how: {})

    caption: str
    samples: Samples = field(repr=False, compare=False)
    of: Heard | None = field(default=None, repr=False, compare=False)

    @cached_property
    def mp3(self) -> bytes:
        return mp3(self.samples)

    def __repr__(self) -> str:
        return self.caption

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, Any]:
        return dict(self.shown_by(self)) or self.still

    @property
    def still(self) -> dict[str, str]:
        """What shows it where no kernel runs: the browser's own control, with the sound in it."""
        source = b64encode(self.mp3).decode("ascii")
        label = escape(self.caption, quote=True)
        player = f'<audio controls preload="metadata" aria-label="{label}" title="{CAUTION}" '
        return {"text/plain": self.caption, "text/html": f'{player}src="data:audio/mpeg;base64,{source}"></audio>'}


def sampled(arrangement: Arrangement, once: bool = False) -> Samples:
    """A whole arrangement as samples, its form played out, straight, at its sounding tempo and the usual volume."""
    metre = arrangement.tune.bars[0].metre
    return render(played_events(arrangement, once=once), arrangement.sounding_tempo, metre=metre)


def listen(
    music: Arrangement | Sequence[Event],
    first: WhichBars = None,
    last: int | None = None,
    tempo: float | None = None,
    swing: float = 0.5,
    volume: float = VOLUME,
    count_in: int = 0,
    click: bool = False,
    metre: tuple[int, int] = (4, 4),
    *,
    bars: WhichBars = None,
    title: str = "",
    texts: Sequence[str] = (),
    once: bool = False,
) -> Sound:
    """Bars `first` to `last` of an arrangement, or `bars` as in ``bars="B"``, or a row of events, to be heard.

    A whole arrangement is played as its form says: repeats, endings, D.C., D.S., Fine and Coda; with `once` every bar
    sounds once, as written, and so do bars asked for by number.

    The tempo is the arrangement's `sounding_tempo` unless given; an arrangement brings its own metre, `metre` is that
    of events. `title` names what is heard, `texts` say what each event is, for a player that shows what sounds.

    >>> from harmonylib.guitar.grips import Grip
    >>> from harmonylib.sound.events import cycle_events
    >>> listen(cycle_events([Grip.parse("x3545x"), Grip.parse("x7958x")]), tempo=60, count_in=1)
    0:08, 2 chords at 60
    """
    settings = {"swing": swing, "volume": volume, "count_in": count_in, "click": click}
    if isinstance(music, Arrangement):
        played, tempo = played_events(music, first, last, bars, once), music.sounding_tempo if tempo is None else tempo
        heard = played_bars(runs_between(music, first, last, bars, once))
        metre = heard[0].metre
        if not played:
            low, high = heard[0].number, heard[-1].number
            raise HarmonyError(f"nothing sounds in bars {low} to {high}: choose bars with notes")
        samples = render((*click_events(heard, count_in, click), *played), tempo, swing, volume, metre=metre)
        of = Heard(music, heard[0].number, heard[-1].number, title, (), settings | {"tempo": tempo})
    else:
        if (first, last, bars) != (None, None, None):
            raise HarmonyError("bars can be chosen of an arrangement only; of events, give those you want to hear")
        if not isinstance(music, tuple | list) or not all(isinstance(event, Event) for event in music):
            raise HarmonyError(f"{shown(music)} is nothing to listen to: give an arrangement, or a list of events")
        played, tempo = tuple(music), DEFAULT_TEMPO if tempo is None else tempo
        samples = render(played, tempo, swing, volume, count_in, click, metre)
        of = Heard(played, None, None, title, tuple(texts), settings | {"tempo": tempo, "metre": metre})
    return Sound(_caption(played, len(samples) / RATE, tempo), samples, of)


def _caption(played: Sequence[Event], seconds: float, tempo: float) -> str:
    chords = sum(len(event.midi) > 1 for event in played)
    single = sum(len(event.midi) == 1 and event.part != "click" for event in played)
    counts = [(chords, "chord"), (single, "single note")]
    what = ", ".join(f"{count} {name}{'s' * (count != 1)}" for count, name in counts if count)
    return f"{int(seconds) // 60}:{int(seconds) % 60:02}, {what} at {float(tempo):g}"
