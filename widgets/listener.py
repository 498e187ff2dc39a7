"""`Listener`: the page listens to the guitar and says whether the asked grip was heard; the tuner too.

By exception this widget computes: `ear.js` judges the take in the browser, without a kernel, by the table of weights
that `harmonylib.hearing` uses. The microphone is asked for on the first click, and nothing is kept or sent.

Conventions: `verdicts` holds what was said of each take, in order, as kind, text, how sure, and the grip asked for.

Sources: Web Audio API and Media Capture and Streams (W3C).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.hearing.ear import weights
from harmonylib.hearing.questions import question
from harmonylib.hearing.verdicts import MISSED, allowed
from harmonylib.theory.voicings import Voicing

HERE = Path(__file__).parent
MODES = ("chord", "cycle", "phrase", "tuner")
CAUTION = "Keep the volume low, rest when the hand tires, stop at pain; ask a teacher or a physician if it stays."
OFF = "Listening is switched off for this class."
Expected = Grip | str | Sequence[int | str]


class Listener(anywidget.AnyWidget):
    """A button that listens for grips, one after another in a cycle, in time in a phrase, or for open strings.

    >>> Listener(["x3545x"])
    Listener: x3545x
    """

    # as text: a path would be watched, and not be freed
    _esm = traitlets.Unicode(
        "\n".join((HERE / name).read_text(encoding="utf-8") for name in ("ear.js", "tuner.js", "listener.js"))
    ).tag(sync=True)
    _css = traitlets.Unicode((HERE / "listener.css").read_text(encoding="utf-8")).tag(sync=True)

    off = traitlets.Unicode().tag(sync=True)
    title = traitlets.Unicode().tag(sync=True)
    mode = traitlets.Enum(MODES, "chord").tag(sync=True)
    questions: Any = traitlets.List().tag(sync=True)
    weights = traitlets.Dict().tag(sync=True)
    about: Any = traitlets.List().tag(sync=True)
    tuning: Any = traitlets.List().tag(sync=True)
    strings: Any = traitlets.List().tag(sync=True)
    tempo = traitlets.Float(40).tag(sync=True)
    beats = traitlets.Int(1).tag(sync=True)
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
        return (dict(shown[0]) if shown else {}) | {"text/plain": repr(self)}, {}


def listener(expected: Expected, neck: Neck = Neck()) -> Listener:  # noqa: B008
    """A box that listens for one grip, strummed once.

    >>> listener("x3545x")
    Listener: x3545x
    """
    return Listener([expected], neck=neck)


def tuner(neck: Neck = Neck()) -> Listener:  # noqa: B008
    """A tuner for the open strings of this neck."""
    return Listener(mode="tuner", neck=neck)


def listen_to_cycle(cycle: Sequence[tuple[Voicing, Grip]] | Sequence[Grip], neck: Neck = Neck()) -> Listener:  # noqa: B008
    """A box that listens for the grips of a cycle, on with the next one when a grip sounds right.

    >>> from harmonylib.theory.voicings import voice
    >>> listen_to_cycle(Neck().cycle(voice("Cmaj7", "drop 2", "E4"), (5, 4, 3, 2)))
    Listener: x3545x, x7958x, x-10-10-9-12-x, x-14-14-12-13-x
    """
    return Listener([one if isinstance(one, Grip) else one[1] for one in cycle], "cycle", neck)


def listen_to_phrase(
    phrase: Arrangement | Sequence[Grip],
    tempo: float = 40,
    neck: Neck = Neck(),  # noqa: B008
) -> Listener:
    """A box that listens to the grips of a phrase, one a beat at a slow tempo (beats a minute), and marks each one.

    Beats are seen and not heard; a beat lasts at least a second and a half.
    """
    chosen = [choice.grip for choice in phrase.choices if choice.grip] if isinstance(phrase, Arrangement) else phrase
    return Listener([grip for grip in chosen if len(grip.strings) > 1], "phrase", neck, tempo=tempo)
