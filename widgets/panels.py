"""The panels of the chapters on chords: one grip, the inversion cycle, a melody note, a foreign note.

Each takes one line, `SpreadPanel()` or `SpreadPanel("Dm7", neck=neck)`, and shows what `harmonylib` answers.

Conventions: as in `widgets.neck`. Where a panel has few states, all of them are in the browser and a slider moves
between them without the kernel.
"""

from __future__ import annotations

from collections.abc import MutableMapping
from typing import Any

import ipywidgets

from harmonylib.arranging import single_options
from harmonylib.chords import Chord
from harmonylib.chordtones import DEGREE_WORDS, degree_of
from harmonylib.diagrams import LABELS, Mark, grip_marks
from harmonylib.diminished import passing
from harmonylib.neck import Grip, Neck
from harmonylib.pitch import HarmonyError, Pitch, spell
from harmonylib.voicings import SPREADS, Voicing, inversions, known, voice
from widgets.neck import NeckView
from widgets.panel import Panel, asked, chord_menus, chord_of, menu, set_options, spread_menus

State = MutableMapping[str, Any]


class SpreadPanel(Panel):
    """One chord in one spread on one string set: menus for root, family, spread, strings, and what the marks say.

    >>> panel = SpreadPanel("Cmaj7")
    >>> panel
    Cmaj7 x3545x: drop 2 on strings 5432, root position, C3 G3 B3 E4; string 5 fret 3 = 1, ...
    >>> panel.close()
    """

    def __init__(
        self,
        chord: str = "Cmaj7",
        spread: str = "drop 2",
        strings: tuple[int, ...] | None = None,
        *,
        neck: Neck | None = None,
        label: str = "degree",
        frets: tuple[int, int] | None = None,
        left_handed: bool = False,
        theme: str = "paper",
        state: State | None = None,
    ) -> None:
        self._neck = neck or Neck()
        meant, trouble = asked(chord, "Cmaj7")
        controls = chord_menus(meant) | spread_menus(self._neck, known(spread), strings)
        controls["label"] = menu("marks", list(LABELS), label)
        given = (chord, spread, strings, self._neck, label, frets, left_handed, theme)
        view = NeckView(self._neck, frets=frets, left_handed=left_handed, theme=theme)
        super().__init__(controls, [view], given=given, state=state, theme=theme, trouble=trouble)

    def _adapt(self, name: str) -> None:
        if name == "spread":
            adapt_sets(self._controls["strings"], self._neck, self._controls["spread"].value)

    def _steps(self) -> list[tuple[Voicing, Grip]]:
        """Every inversion that a hand can hold here, root position first."""
        root, family, spread, strings = (self._controls[n].value for n in ("root", "family", "spread", "strings"))
        chord = chord_of(root, family)
        steps = self._neck.cycle(inversions(chord, spread)[0], strings) if strings else ()
        if not steps:
            on = "".join(map(str, strings)) if strings else "this neck"
            raise HarmonyError(f"no hand holds {chord} as {spread} on {on}: choose other strings, or a longer reach")
        return list(steps)

    def _show(self, name: str) -> None:
        self._views[0].show(*self._told(self._steps()[:1]))

    def _told(self, steps: list[tuple[Voicing, Grip]]) -> tuple[list[Any], list[str], list[str]]:
        """Marks, titles and words for `NeckView.show`."""
        label = self._controls["label"].value
        return (
            [grip_marks(self._neck, grip, voicing, label) for voicing, grip in steps],
            [f"{voicing.chord} {grip}" for voicing, grip in steps],
            [placed_words(voicing, grip) for voicing, grip in steps],
        )


class InversionPanel(SpreadPanel):
    """The inversion cycle: a slider goes up the neck through the inversions that lie on one string set.

    >>> panel = InversionPanel("G7", "drop 3")
    >>> panel
    G7 3x343x: drop 3 on strings 6432, root position, G2 F3 B3 D4; string 6 fret 3 = 1, ...
    >>> panel.close()
    """

    def __init__(self, chord: str = "Cmaj7", spread: str = "drop 2", strings: Any = None, **how: Any) -> None:
        self._slider = ipywidgets.IntSlider(description="step", min=0, max=3, readout=False)
        super().__init__(chord, spread, strings, **how)

    def _extra(self) -> dict[str, ipywidgets.Widget]:
        return {}
