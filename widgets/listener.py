"""`Listener`: the page listens to the guitar and says whether the asked grip was heard; the tuner too.

By exception this widget computes: `ear.js` judges the take in the browser, without a kernel, by the table of weights
that `harmonylib.hearing` uses. The microphone is asked for on the first click, and nothing is kept or sent. While it is
open the page is silent, and one box listens at a time.

Conventions: `verdicts` holds what was said of each take, in order, as kind, text, how sure, and the grip asked for.

Sources: Web Audio API and Media Capture and Streams (W3C).
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from harmonylib.errors import HarmonyError, within
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.hearing.ear import weights
from harmonylib.hearing.questions import question
from harmonylib.hearing.verdicts import MISSED, allowed
from harmonylib.lessons.lesson import Lesson
from harmonylib.lessons.music import carried
from harmonylib.lessons.row import Row
from harmonylib.lessons.said import Said, section
from widgets.look import script

HERE = Path(__file__).parent
MODES = ("chord", "cycle", "phrase", "tuner")
SCRIPTS = ("ear.js", "tuner.js", "microphone.js", "listener.js")
"""The parts of the script, one module when put together."""
SLOW = (10, 40)
"""Beats a minute that a phrase may have: the ear needs most of a second, and a chord its time before the next."""
MOST_CHORDS = 16
CAUTION = "Keep the volume low, rest when the hand tires, stop at pain; ask a teacher or a physician if it stays."
OFF = "Listening is switched off for this class."
Expected = Grip | str | Sequence[int | str]


class Listener(anywidget.AnyWidget):
    """A button that listens for grips, one after another in a cycle, in time in a phrase, or for open strings.

    >>> Listener(["x3545x"])
    Listener: x3545x
    """

    # as text: a path would be watched, and not be freed
    _esm = traitlets.Unicode(script(*SCRIPTS)).tag(sync=True)
    _css = traitlets.Unicode((HERE / "listener.css").read_text(encoding="utf-8")).tag(sync=True)

    off = traitlets.Unicode().tag(sync=True)
    title = traitlets.Unicode().tag(sync=True)
    mode = traitlets.Enum(MODES, "chord").tag(sync=True)
    questions: Any = traitlets.List().tag(sync=True)
    weights = traitlets.Dict().tag(sync=True)
    about: Any = traitlets.List().tag(sync=True)
    tuning: Any = traitlets.List().tag(sync=True)
    strings: Any = traitlets.List().tag(sync=True)
    tempo = traitlets.Float(SLOW[1], min=SLOW[0], max=SLOW[1]).tag(sync=True)
    now = traitlets.Int(0).tag(sync=True)
    verdicts: Any = traitlets.List().tag(sync=True)
    tuned = traitlets.List([0, 0]).tag(sync=True)

    def __init__(
        self,
        expected: Sequence[Expected] = (),
        mode: str = "chord",
        neck: Neck = Neck(),  # noqa: B008  a neck never changes
        **settings: Any,
    ) -> None:
        asked = [question(one, neck) for one in expected]
        if not asked and mode in ("cycle", "phrase"):
            raise HarmonyError("nothing to listen for: give at least one grip, as in listener('x3545x')")
        self._neck, count = neck, len(neck.open_midi)
        super().__init__(
            mode=mode,
            questions=[one.as_data() for one in asked],
            title=", ".join(one.label for one in asked) or ("tuner" if mode == "tuner" else "a grip"),
            off="" if allowed() else OFF,
            weights=weights(),
            about=[*MISSED, CAUTION],
            tuning=list(neck.open_midi),
            strings=[f"string {count - n}, {pitch}" for n, pitch in enumerate(neck.open_strings)],
            **settings,
        )

    def ask(self, expected: Expected | None) -> None:
        """Listen for another grip from now on, or for none."""
        self.questions = [question(expected, self._neck).as_data()] if expected is not None else []

    def close(self) -> None:
        """Free the listener, its layout and the microphone."""
        if self.comm is None:
            return
        self.layout.close()
        super().close()

    def __repr__(self) -> str:
        return f"Listener: {self.title}"

    def _repr_mimebundle_(self, **how: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        shown = super()._repr_mimebundle_(**how)
        what = "A tuner for the open strings" if self.mode == "tuner" else f"A listener for {self.title}"
        still = f"<p>{escape(what)}: open the course to play to it.</p>"
        return (dict(shown[0]) if shown else {}) | {"text/html": still, "text/plain": repr(self)}, {}


def listener(expected: Expected, neck: Neck = Neck()) -> Listener:  # noqa: B008
    """A box that listens for one grip, strummed once.

    >>> listener("x3545x")
    Listener: x3545x
    """
    return Listener([expected], neck=neck)


def tuner(neck: Neck = Neck()) -> Listener:  # noqa: B008
    """A tuner for the open strings of this neck."""
    return Listener(mode="tuner", neck=neck)


@section
def listen_to_cycle(turns: Row | Said | Sequence[Grip], neck: Neck = Neck()) -> Listener | Said:  # noqa: B008
    """A box that listens for the grips of a cycle, on with the next one when a grip sounds right.

    A row of a lesson brings its own neck; `neck` is that of plain grips.

    >>> from harmonylib.lessons.cycles import cycle
    >>> listen_to_cycle(cycle("Cmaj7"))
    Listener: xx2413, xx5557, xx9988, x-x-10-12-12-12
    """
    if isinstance(turns, Said):
        return turns
    if isinstance(turns, Row):
        if not turns:
            return Said(turns.empty, turns.remarks)
        return Listener(turns.grips, "cycle", turns.neck)
    return Listener(turns, "cycle", neck)


@section
def listen_to_phrase(
    phrase: Lesson | Sequence[Grip],
    tempo: float = SLOW[1],
    neck: Neck = Neck(),  # noqa: B008
) -> Listener | Said:
    """A box that listens to a phrase, a grip a beat (beats a minute), and marks each right, not sure, or off.

    Of a lesson it takes the first chords of its bars, sixteen at most. Beats are seen and not heard; one lasts at
    least a second and a half.

    >>> listen_to_phrase([Grip.parse("x3545x"), Grip.parse("x7958x")])
    Listener: x3545x, x7958x
    """
    within(tempo, *SLOW, f"a tempo of {{}}: a phrase is listened to at {SLOW[0]} to {SLOW[1]} beats a minute")
    if isinstance(phrase, Lesson):
        chords = [choice.grip for choice in carried(phrase) if choice.grip][:MOST_CHORDS]
        return Listener(chords, "phrase", phrase.music.settings.neck, tempo=tempo)
    return Listener(phrase, "phrase", neck, tempo=tempo)
