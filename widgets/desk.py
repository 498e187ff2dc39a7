"""The panels of the chapters on whole tunes: the arrangement desk, and answers to its calls.

Conventions: notes count from 0 in the order of the tune, bars by their number on the sheet. The desk keeps its pins
and bans as `harmonylib.arranging` takes them; undo goes back one pin or ban.
"""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping
from dataclasses import replace
from html import escape
from typing import Any

import ipywidgets

from harmonylib.answering.manner import CONTOURS, Manner
from harmonylib.answering.stages import STAGES, arrange, respond
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.costs import HANDS
from harmonylib.arranging.harmony import FOREIGN
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.pictures.neck import grip_marks
from harmonylib.pictures.theme import THEMES, default_theme
from harmonylib.score.engraving import engrave
from harmonylib.theory.voicings import SPREADS, Voicing, voice
from harmonylib.tunes.bars import WhichBars, bars_meant
from harmonylib.tunes.tune import Tune
from widgets.beside import MUSIC_MM, NECK_POINTS, beside, briefly
from widgets.look import theme_class
from widgets.neck import NeckView
from widgets.panel import BESIDE, Panel, menu
from widgets.score import ScoreView

State = MutableMapping[str, Any]
BARS_SHOWN = 4


class ArrangementPanel(Panel):
    """The arrangement desk: choose bars and a note, look at its other grips, pin or ban one; the chain re-forms.

    A click on a melody note takes it in hand; menus choose the stage, what foreign notes get, and the hand. `settings`
    are those of `arrange`.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E2 G2 | "Dm7"F2 A2 |]')
    >>> panel = ArrangementPanel(tune)
    >>> panel
    bars 1 to 2 of Example: no pins, no bans, cost 9.9 | bar 1, beat 1: E over Cmaj7, x3545x: E is the third of ...
    >>> panel.close()
    """

    def __init__(
        self,
        tune: Tune | Arrangement,
        *,
        bars: WhichBars = None,
        theme: str | None = None,
        left_handed: bool | None = None,
        state: State | None = None,
        **settings: Any,
    ) -> None:
        theme = theme or default_theme()
        self._first = tune if isinstance(tune, Arrangement) else arrange(tune, **settings)
        self._now, self._drawn = self._first, ""
        given = (self._first.source, self._first.settings, bars, theme, left_handed)
        kept = state if state is not None and state.get("given") == str(given) else {}
        self._taste: tuple[str, str, str] = ("", "", "")
        self._past: list[tuple[dict[int, str], tuple[tuple[int, str], ...]]] = kept.get(
            "past", [(dict(self._first.settings.pins), tuple(self._first.settings.bans))]
        )
        theme_class(theme)
        self._projector = THEMES[theme].fills_width
        part = NECK_POINTS if self._projector else 0
        self._neck_view = neck = NeckView(self._first.settings.neck, left_handed=left_handed, theme=theme, beside=part)
        last = len(self._first.choices) - 1
        taste = self._first.settings
        controls = {
            "stage": menu("stage", list(STAGES), taste.stage),
            "foreign": menu("foreign notes", list(FOREIGN), taste.foreign),
            "hand": menu("hand", list(HANDS), taste.hand),
            "bars": bar_slider(self._first, bars),
            "note": ipywidgets.IntSlider(
                description="note", min=0, max=last, value=self._first_in(bars), style=BESIDE, readout=False
            ),
            "grip": ipywidgets.Select(
                description="grips", rows=5, style=BESIDE, layout={"width": "max-content", "min_width": "26em"}
            ),
        }
        self._buttons = [
            ipywidgets.Button(description=word, layout={"width": "6em"}) for word in ("pin", "ban", "undo")
        ]
        for button, act in zip(self._buttons, (self._pin, self._ban, self._undo), strict=True):
            button.on_click(lambda _, act=act: self._press(act))
        self._score = score = ScoreView(line_by_line=self._projector)
        links = [
            ipywidgets.jslink((controls["note"], "value"), (score, "note")),
            ipywidgets.jslink((controls["grip"], "index"), (neck, "frame")),
        ]
        super().__init__(
            controls, [score, neck], given=given, state=state, theme=theme, buttons=self._buttons, links=links
        )

    def _laid(self, rows: list[ipywidgets.Box]) -> list[ipywidgets.Widget]:
        """On the wall the neck stands beside the music."""
        if not self._projector:
            return super()._laid(rows)
        menus, grips = rows
        self._controls["bars"].layout.display = "none"  # they follow the note in hand
        return [beside([menus, self._help, self._score], [grips, self._neck_view])]

    @property
    def arrangement(self) -> Arrangement:
        """The arrangement as it stands, with its pins and bans."""
        return self._now

    def _first_in(self, bars: WhichBars) -> int:
        """The first note of some bars; the first of all where they hold none."""
        shown = bars_meant(self._first.tune, bars)
        onsets = [choice.note.onset for choice in self._first.choices]
        return next((index for index, onset in enumerate(onsets) if shown[0].onset <= onset < shown[-1].end), 0)

    def _adapt(self, name: str) -> None:
        if name == "note":
            bars, tune = self._controls["bars"], self._now.tune
            here = tune.bar_at(self._now.choices[self._controls["note"].value].note.onset).number
            low, high = bars.value
            if not low <= here <= high:
                bars.value = (here, min(here + high - low, bars.max))

    def _show(self, name: str) -> None:
        if name == "grip":
            return
        taste = tuple(self._controls[part].value for part in ("stage", "foreign", "hand"))
        held = (self._now.settings.pins, self._now.settings.bans)
        if taste != self._taste or (not name and self._past[-1] != held):
            self._taste = taste
            self._first = self._arranged({}, ())
            self._now = self._arranged(*self._past[-1])
        if not name:  # later on the browser keeps both at the same note, and may be ahead of what is heard here
            self._score.note = self._controls["note"].value
        if name != "bars":
            self._show_note()
        self._show_bars()

    def _show_bars(self) -> None:
        score, (low, high) = self._score, self._controls["bars"].value
        pins, bans = self._past[-1]
        shown = "" if self._projector else f"bars {low} to {high} of {self._now.tune.title}: "
        text = f"{shown}{_count(pins, 'pin')}, {_count(bans, 'ban')}, cost {self._now.cost:.1f}"
        with score.hold_sync():
            score.svg = engrave(self._now, low, high, MUSIC_MM if self._projector else None, self._projector)
            score.text = text

    def _show_note(self) -> None:
        """The grips of the note in hand: the one it has first, then the others."""
        index = self._controls["note"].value
        choice, neck = self._now.choices[index], self._now.settings.neck
        where = f"{self._now.tune.where(choice.note.onset)}: {choice.note.pitch.name} over {choice.chord or 'no chord'}"
        if choice.grip is None:
            raise HarmonyError(f"{choice.reason} ({where})")
        others = [grip for grip in self._first.candidates(index) if grip.frets != choice.grip.frets]
        self._grips = [choice.grip, *others]
        held = [choice.voicing, *(self._held(index, grip) for grip in others)]
        marks = [
            grip_marks(neck, grip, voicing, "degree" if voicing else "note")
            for grip, voicing in zip(self._grips, held, strict=True)
        ]
        shapes = [f"{v.spread}, {v.inversion}" if v else "single" for v in held]
        if self._projector:
            words = [briefly(choice.reason), *(f"instead of {choice.grip}: {shape}" for shape in shapes[1:])]
            names = [f"{grip} · {v.spread if v else 'single'}" for grip, v in zip(self._grips, held, strict=True)]
        else:
            names = [f"{grip} · {shape}" for grip, shape in zip(self._grips, shapes, strict=True)]
            words = [choice.reason, *(f"instead of {choice.grip}: {name}" for name in names[1:])]
        self._neck_view.show(marks, [f"{where}, {grip}" for grip in self._grips], words)
        select, pinned = self._controls["grip"], index in self._now.settings.pins
        first = f"{'pinned' if pinned else '✓' if self._projector else 'chosen'} {names[0]}"
        select.options = [(first, 0), *((name, n) for n, name in enumerate(names[1:], start=1))]
        select.value = 0

    def _held(self, index: int, grip: Grip) -> Voicing | None:
        """The voicing a grip holds; None for a single note."""
        choice, sounding = self._first.choices[index], self._first.settings.neck.midi(grip.frets)
        chord = choice.voicing.chord if choice.voicing else choice.chord
        if len(sounding) == 1 or chord is None:
            return None
        degree = chord.tones[choice.note.pitch.midi % 12]
        forms = (
            voice(chord, spread, choice.note.pitch, stack)
            for stack in chord.stacks
            if degree in stack
            for spread in SPREADS
        )
        return next((form for form in forms if tuple(p.midi for p in form.pitches) == sounding), None)

    def _arranged(self, pins: Mapping[int, str], bans: tuple[tuple[int, str], ...]) -> Arrangement:
        stage, foreign, hand = (self._controls[part].value for part in ("stage", "foreign", "hand"))
        settings = replace(self._first.settings, pins=pins, bans=bans, foreign=foreign, hand=hand)
        return arrange(self._first.source, settings, stage=stage)

    def _press(self, act: Any) -> None:
        self._acting = True
        try:
            self._attempt(act)
        finally:
            self._acting = False

    def _re_form(self, pins: Mapping[int, str], bans: tuple[tuple[int, str], ...]) -> None:
        """Arrange anew; only when that worked are pins and bans kept."""
        self._now = self._arranged(pins, bans)
        self._past = [*self._past, (dict(pins), bans)]
        self._settle()

    def _settle(self) -> None:
        self._state["past"] = self._past
        self._show_note()
        self._show_bars()

    def _chosen(self) -> tuple[int, str]:
        """The note in hand and the grip chosen for it; raises `HarmonyError` in a stage that has no grips to choose."""
        stage = self._controls["stage"].value
        if stage in ("melody", "roots"):
            raise HarmonyError(f"at the stage “{stage}” no grip is pinned or banned: choose the stage “chords”")
        return self._controls["note"].value, str(self._grips[self._controls["grip"].value])

    def _pin(self) -> None:
        (index, grip), (pins, bans) = self._chosen(), self._past[-1]
        self._re_form({**pins, index: grip}, tuple(ban for ban in bans if ban != (index, grip)))

    def _ban(self) -> None:
        (index, grip), (pins, bans) = self._chosen(), self._past[-1]
        kept = {i: pinned for i, pinned in pins.items() if (i, pinned) != (index, grip)}
        self._re_form(kept, (*bans, (index, grip)))

    def _undo(self) -> None:
        if len(self._past) == 1:
            raise HarmonyError("nothing to take back: no grip has been pinned or banned here")
        self._past = self._past[:-1]
        self._now = self._arranged(*self._past[-1])
        self._settle()


class AnswerPanel(Panel):
    """Answers to the calls of an arrangement: seed, share of the gaps, share of approaches, contour.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E4 | "Dm7"F2 z2 |]')
    >>> panel = AnswerPanel(arrange(tune), share=1.0)
    >>> panel
    bars 1 to 2 of Example: 2 of 2 gaps are answered ...
    >>> panel.close()
    """

    def __init__(
        self,
        tune: Tune | Arrangement,
        *,
        bars: WhichBars = None,
        seed: int = 0,
        share: float = 0.75,
        approached: float = 0.3,
        contour: str = "any",
        manner: Manner | None = None,
        theme: str | None = None,
        state: State | None = None,
    ) -> None:
        theme = theme or default_theme()
        self._calls = tune if isinstance(tune, Arrangement) else arrange(tune)
        self._manner, self._now = manner or Manner(), self._calls
        theme_class(theme)
        if contour not in ("any", *CONTOURS):
            raise HarmonyError(f"{contour!r} is not a contour: choose any, {', '.join(CONTOURS)}")
        controls = {
            "bars": bar_slider(self._calls, bars),
            "seed": ipywidgets.BoundedIntText(
                description="seed", value=seed, min=0, max=9999, style=BESIDE, layout={"width": "9em"}
            ),
            "share": share_slider("share", share),
            "approached": share_slider("approached", approached),
            "contour": menu("contour", ["any", *CONTOURS], contour),
        }
        given = (self._calls.source, self._calls.settings, bars, seed, share, approached, contour, self._manner, theme)
        self._projector = THEMES[theme].fills_width
        self._score = ScoreView(line_by_line=self._projector)
        super().__init__(controls, [self._score], given=given, state=state, theme=theme)

    def _laid(self, rows: list[ipywidgets.Box]) -> list[ipywidgets.Widget]:
        """On the wall the controls, and the reasons for the answers, stand beside the music."""
        if not self._projector:
            return super()._laid(rows)
        self._reasons = ipywidgets.HTML()
        self._controls["bars"].layout.width = "100%"  # its two handles would stand too near each other
        return [beside([self._score], [*rows, self._help, self._reasons])]

    @property
    def arrangement(self) -> Arrangement:
        """The arrangement with the answers now shown."""
        return self._now

    def _show(self, name: str) -> None:
        values = {key: control.value for key, control in self._controls.items()}
        low, high = values.pop("bars")
        if name != "bars":
            self._now = respond(self._calls, replace(self._manner, **values))
        tune, score = self._now.tune, self._score
        shown = [a for a in self._now.answers if low <= tune.bar_at(a.onset).number <= high]
        lines = [f"bars {low} to {high} of {tune.title}: {self._now.remarks[-1]}"]
        lines += [f"{tune.where(a.onset)}: {a.reason}" for a in shown]
        if self._projector:
            self._reasons.value = "".join(f"<p>{escape(briefly(line))}</p>" for line in lines[1:])
            lines = self._now.remarks[-1].split(";")[:1]
        with score.hold_sync():
            score.svg = engrave(self._now, low, high, MUSIC_MM if self._projector else None, self._projector)
            score.text = "\n".join(lines)


def bar_slider(arrangement: Arrangement, bars: WhichBars) -> ipywidgets.IntRangeSlider:
    """First and last bar shown, at first those asked for or the first four."""
    first, last = arrangement.tune.bars[0].number, arrangement.tune.bars[-1].number
    shown = bars_meant(arrangement.tune, bars)
    value = shown[0].number, min(first + BARS_SHOWN - 1, last) if bars is None else shown[-1].number
    return ipywidgets.IntRangeSlider(
        description="bars", min=first, max=last, value=value, continuous_update=False, style=BESIDE
    )


def share_slider(label: str, value: float) -> ipywidgets.FloatSlider:
    return ipywidgets.FloatSlider(
        description=label, min=0, max=1, step=0.05, value=value, continuous_update=False, style=BESIDE,
        readout_format=".2f",
    )  # fmt: skip


def _count(things: Any, name: str) -> str:
    return f"{len(things) or 'no'} {name}{'s' * (len(things) != 1)}"
