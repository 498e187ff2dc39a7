"""The player: an arrangement, an inversion cycle or any events of `harmonylib.sound`, played in the browser.

`Player` sends events as plain data, once; the script plucks the strings on the Web Audio API, so that tempo, loop,
swing, click and balance change while it plays and nothing is downloaded or stored. It computes no music.

Conventions
- Times are quarter notes from the beat in which the first bar starts, as in `harmonylib.sound`. Swing moves a time in
  proportion, so each row carries its straight time and how far it moves a unit of swing.
- `now` is the index of the event that sounds, in the order of `harmonylib.sound.events`; link it to the pictures of a
  neck with ``ipywidgets.jslink``. It stays at the last event when the player stops.
- The engraving is `score.engraving.engrave`'s, in which melody note 12 has the id ``n12`` and answer 3 ``a3``. It
  is also the still picture that a page without a kernel shows.

Sources: Web Audio API (W3C).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

import anywidget
import traitlets

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.pictures.theme import THEMES, default_theme
from harmonylib.sound import rendering, strings
from harmonylib.sound.events import ACCENT, BEAT, PARTS, Event, as_data, click_events, even_bars, played_events
from harmonylib.sound.listening import CAUTION
from harmonylib.sound.rendering import VOLUME
from harmonylib.sound.strings import HIGHEST, LOWEST
from harmonylib.tunes.bars import WhichBars, bars_meant
from harmonylib.tunes.form import runs
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import DEFAULT_TEMPO, Tune
from harmonylib.wording import plain
from widgets.look import script

HERE = Path(__file__).parent
SCRIPTS = ("lines.js", "player_engine.js", "player_strings.js", "player_instrument.js", "player_view.js")
"""The parts of the script, one module when put together: the browser gets one text."""

RANGES: dict[str, tuple[float, float]] = {
    **{"tempo": (10, 600), "swing": (0.5, 0.75), "volume": (0, 1), "balance": (-1, 1), "count_in": (0, 2)},
    **{"rest": (0, 2), "step": (0, 300), "fastest": (10, 600), "times": (1, 64)},
}
"""What may be set, lowest and highest: quarter notes a minute, share of the beat, 0 to 1, call to answer, bars."""

SOUND = {
    strings: "RATE ATTACK_S CLICK_S LONGEST_S DAMPED_S STAGES BODY STEADY SOFT_HZ PLUCKED_AT",
    rendering: "LEVEL TOP_WEIGHT KNEE LOUDEST STRUM_S RELEASE_S",
}
"""The settings of `harmonylib.sound` that the browser plays by."""


class Player(anywidget.AnyWidget):
    """Plays music in the page, with a cursor over the engraving `svg`; starts only when asked to.

    `music` is an arrangement or a row of events; `texts` says what each event is, one line each (an arrangement knows
    its own: bar, chord, grip). Bars `first` to `last` are played, or `bars` as in ``bars="B"``; `metre` is that of
    events. Other settings by name: `tempo`, `swing`, `volume`, `balance` (−1 only the call, 1 only the answer),
    `click`, `backbeat` (the click on 2 and 4 alone), `count_in` (bars), `loop`, `rest` (bars before each loop), `once`
    (a whole tune as written, its form not played out), `theme` (one of `harmonylib.pictures.theme.THEMES`),
    `line_by_line` (one line of the engraving at a time), `brief` (no more controls than tempo, volume and loop),
    `within` (first and last bar there is to choose). With a `step` above 0 the bars are played `times` times at each
    tempo of a ladder, from `tempo` up to `fastest`, each counted in: a practice track, live. Raises `HarmonyError` for
    a setting out of range, bars that are not there, and music without events.

    >>> from harmonylib.guitar.grips import Grip
    >>> from harmonylib.sound.events import cycle_events
    >>> Player(cycle_events([Grip.parse("x3545x"), Grip.parse("x7958x")]), title="Cmaj7", tempo=80)
    Player: Cmaj7, 1 bar at 80
    """

    # as text: a path would be watched, and not be freed
    _esm = traitlets.Unicode(script(*SCRIPTS)).tag(sync=True)
    _css = traitlets.Unicode(script("player.css", "lines.css", "panel.css")).tag(sync=True)

    score = traitlets.Dict().tag(sync=True)
    svg = traitlets.Unicode().tag(sync=True)
    theme = traitlets.Unicode().tag(sync=True)
    tempo = traitlets.Float(DEFAULT_TEMPO).tag(sync=True)
    swing = traitlets.Float(0.5).tag(sync=True)
    volume = traitlets.Float(VOLUME).tag(sync=True)
    balance = traitlets.Float(0).tag(sync=True)
    click = traitlets.Bool(False).tag(sync=True)
    count_in = traitlets.Int(0).tag(sync=True)
    loop = traitlets.Bool(False).tag(sync=True)
    backbeat = traitlets.Bool(False).tag(sync=True)
    rest = traitlets.Int(0).tag(sync=True)
    step = traitlets.Float(0).tag(sync=True)
    fastest = traitlets.Float(DEFAULT_TEMPO).tag(sync=True)
    times = traitlets.Int(1).tag(sync=True)
    once = traitlets.Bool(False).tag(sync=True)
    first = traitlets.Int(1).tag(sync=True)
    last = traitlets.Int(1).tag(sync=True)
    now = traitlets.Int(0).tag(sync=True)
    line_by_line = traitlets.Bool(False).tag(sync=True)
    brief = traitlets.Bool(False).tag(sync=True)
    within = traitlets.List(traitlets.Int()).tag(sync=True)
    playing = traitlets.Bool(False).tag(sync=True)

    def __init__(
        self,
        music: Arrangement | Sequence[Event],
        texts: Sequence[str] = (),
        svg: str = "",
        title: str = "",
        first: WhichBars = None,
        last: int | None = None,
        metre: tuple[int, int] = (4, 4),
        *,
        bars: WhichBars = None,
        **settings: Any,
    ) -> None:
        if isinstance(music, Arrangement):
            settings.setdefault("tempo", music.sounding_tempo)
            settings.setdefault("fastest", music.tempo)
        super().__init__(svg=svg, **_placed(music, texts, title, (bars, first, last), metre), **settings)

    def load(
        self,
        music: Arrangement | Sequence[Event],
        texts: Sequence[str] = (),
        svg: str = "",
        title: str = "",
        first: WhichBars = None,
        last: int | None = None,
        metre: tuple[int, int] = (4, 4),
        *,
        bars: WhichBars = None,
    ) -> None:
        """Put other music in, parameters as for the player itself; tempo and the other settings stay as they are."""
        fresh = _placed(music, texts, title, (bars, first, last), metre)
        with self.hold_trait_notifications(), self.hold_sync():
            self.now, self.svg = 0, svg
            for name, value in fresh.items():
                setattr(self, name, value)

    def close(self) -> None:
        """Free the player, its layout and everything in the browser; the sound stops."""
        self.layout.close()
        super().close()

    def __repr__(self) -> str:
        bars = len(self.score["bars"])
        return f"Player: {self.score['title']}, {bars} {'bar' if bars == 1 else 'bars'} at {self.tempo:g}"

    def _repr_mimebundle_(self, **kwargs: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        live, about = super()._repr_mimebundle_(**kwargs) or ({}, {})
        still = {"image/svg+xml": self.svg} if self.svg else {}
        return {**live, **still, "text/plain": repr(self)}, about

    @traitlets.validate(*RANGES)
    def _within(self, proposal: Any) -> Any:
        name, value = proposal["trait"].name, proposal["value"]
        low, high = RANGES[name]
        if not low <= value <= high:
            raise HarmonyError(f"{name.replace('_', '-')} {value:g}: choose {low:g} to {high:g}")
        return value

    @traitlets.default("theme")
    def _theme_of_the_pictures(self) -> str:
        return default_theme()

    @traitlets.validate("theme")
    def _known_theme(self, proposal: Any) -> Any:
        if proposal["value"] not in THEMES:
            raise HarmonyError(f"{proposal['value']!r} is not a theme: choose {', '.join(THEMES)}")
        return proposal["value"]

    @traitlets.validate("first", "last")
    def _a_bar(self, proposal: Any) -> Any:
        numbers = [bar["number"] for bar in self.score.get("bars", ())]
        if numbers and proposal["value"] not in numbers:
            raise HarmonyError(f"bar {proposal['value']}: choose {numbers[0]} to {numbers[-1]}")
        return proposal["value"]


# --- plain data ---------------------------------------------------------------------------------------------------


def _placed(
    music: Arrangement | Sequence[Event],
    texts: Sequence[str],
    title: str,
    which: tuple[WhichBars, WhichBars, int | None],
    metre: tuple[int, int],
) -> dict[str, Any]:
    """The traits that hold the music: the score as plain data, and the first and last bar to play."""
    if isinstance(music, Arrangement):
        played, tune = played_events(music, once=True), music.tune
        zero = _zero(music, played)
        known, ids = _lines(music, played, zero)
        texts, title = texts or known, title or plain(music.tune.title)
    else:
        played, zero = tuple(music), Fraction(0)
        tune = Tune(title, (), (), tuple(even_bars(metre, max((event.end for event in played), default=0))))
        texts = texts or [f"{number} of {len(played)}" for number in range(1, len(played) + 1)]
        ids = [f"n{event.index}" if event.part == "call" else "" for event in played]
    if not played:
        raise HarmonyError("nothing sounds here: give the player an arrangement or events that hold notes")
    for midi in {midi for event in played for midi in event.midi}:
        if not LOWEST <= midi <= HIGHEST:
            raise HarmonyError(f"MIDI note {midi}: a string here sounds {LOWEST} to {HIGHEST}")
    if len(texts) != len(played):
        raise HarmonyError(f"{len(texts)} texts for {len(played)} events: give each event one")
    chosen = bars_meant(tune, *which)
    score = _score(played, tune.bars, zero) | {"title": title or "chords"}
    places = {bar: index for index, bar in enumerate(tune.bars)}
    score["runs"] = [[places[run.bars[0]], places[run.bars[-1]]] for run in runs(tune)]
    for row, text, note in zip(score["events"], texts, ids, strict=True):
        row |= {"text": text, "id": note}
    return {"score": score, "first": chosen[0].number, "last": chosen[-1].number}


def _score(played: Sequence[Event], bars: Sequence[Bar], zero: Fraction) -> dict[str, Any]:
    """Events, clicks and bars as rows, with what the browser needs to sound like `harmonylib.sound`."""
    clicks = click_events(bars)
    frames = [Event(bar.onset - zero, bar.length, (BEAT,), "click") for bar in bars]
    rows = _rows([*played, *clicks, *frames], bars[0].metre)
    events, ticks, spans = rows[: len(played)], rows[len(played) : -len(bars)], rows[-len(bars) :]
    back = {click.onset for click in click_events(bars, backbeat=True)}
    ticks = [row | {"back": click.onset in back} for row, click in zip(ticks, clicks, strict=True)]
    return {
        "events": events,
        "clicks": ticks,
        "bars": [
            {"number": bar.number, "onset": span["onset"], "end": span["end"], "swing": span["swing"]}
            | {"countIn": [_lead_in(bar, count, zero) for count in (1, 2)]}
            for bar, span in zip(bars, spans, strict=True)
        ],
        "pan": {part: pan for part, (_, pan) in PARTS.items()},
        "sound": {name: getattr(room, name) for room, names in SOUND.items() for name in names.split()}
        | {"ACCENT": ACCENT},
        "caution": CAUTION,
    }


def _rows(events: Sequence[Event], metre: tuple[int, int]) -> list[dict[str, Any]]:
    """Events as plain rows: straight onset and end, and how far each moves for a unit of swing."""
    low, high = RANGES["swing"]
    straight, swung = (_event_rows(events, swing, metre) for swing in (low, high))
    made = []
    for row, late in zip(straight, swung, strict=True):
        times, later = ((r["onset"], r["onset"] + r["duration"]) for r in (row, late))
        shifts = [round((b - a) / (high - low), 5) for a, b in zip(times, later, strict=True)]
        kept = {name: row[name] for name in ("midi", "part", "index", "velocity")}
        made.append({"onset": times[0], "end": round(times[1], 6), "swing": shifts} | kept)
    return made


def _event_rows(events: Sequence[Event], swing: float, metre: tuple[int, int]) -> list[dict[str, Any]]:
    return cast("list[dict[str, Any]]", as_data(events, DEFAULT_TEMPO, swing, metre)["events"])


def _lead_in(bar: Bar, count: int, zero: Fraction) -> list[dict[str, Any]]:
    """The clicks of so many bars before a bar as rows, every second of each bar one of 2 and 4."""
    events, place, made = _count_in(bar, count, zero), 0, []
    for row in _rows(events, bar.metre):
        place = 0 if row["midi"] == [ACCENT] else place + 1
        made.append(row | {"back": place % 2 == 1})
    return made


def _count_in(bar: Bar, count: int, zero: Fraction) -> list[Event]:
    """Clicks of `count` bars that lead into a bar, on the time line of the whole."""
    clicks = click_events([bar], count, click=False)
    shift = Fraction(0) if bar.number == 0 else bar.onset - zero  # a pick-up opens the tune: its zero is the tune's
    return [Event(click.onset + shift, click.duration, click.midi, "click", None, click.velocity) for click in clicks]


def _zero(arrangement: Arrangement, played: Sequence[Event]) -> Fraction:
    """The moment of the tune that the events count as 0."""
    for event in played:
        if event.part == "call" and event.index is not None:
            return arrangement.choices[event.index].note.onset - Fraction(event.onset)
    return Fraction(0)


def _lines(arrangement: Arrangement, played: Sequence[Event], zero: Fraction) -> tuple[list[str], list[str]]:
    """A line of text for each event, as in “bar 3, B♭maj7, x-8-10-8-9-x”, and its id in the engraving."""
    tune, answers = arrangement.tune, {answer.onset: n for n, answer in enumerate(arrangement.answers)}
    lines, ids = [], []
    for event in played:
        moment = Fraction(event.onset) + zero
        place = f"bar {tune.bar_at(moment).number}, {tune.chord_at(moment) or 'N.C.'}"
        if event.part == "answer":
            number = answers[moment]
            lines.append(f"{place}, answer {arrangement.answers[number].grip}")
            ids.append(f"a{number}")
        else:
            lines.append(f"{place}, {arrangement.choices[event.index or 0].grip}")
            ids.append(f"n{event.index}")
    return lines, ids
