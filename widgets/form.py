"""A form to write a tune down: click the neck or type a letter for each note, hear it, take it back, save it as ABC.

The form computes nothing: what was written is a `harmonylib.tunes.sketch.Sketch`, which says what does not fit.

Conventions
- A note goes in when the neck is clicked, when Enter is pressed on it, or when a letter is typed and Enter pressed.
- The button “tie”, or a hyphen typed for a note, holds the last note on for the length that is chosen.
- A chord symbol stands with the next note or rest; the field is empty again after it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, MutableMapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import ipywidgets

from harmonylib.answering.stages import arrange
from harmonylib.arranging.candidates import single_options
from harmonylib.errors import HarmonyError
from harmonylib.files import safe_stem, write_together
from harmonylib.guitar.neck import MOST_FRETS, Neck
from harmonylib.pictures.neck import Mark
from harmonylib.pictures.theme import THEMES, default_theme
from harmonylib.score.engraving import engrave
from harmonylib.theory.pitch import Pitch
from harmonylib.tunes.reading import read_text
from harmonylib.tunes.sketch import KEYS, LENGTHS, METRES, Part, Sketch, named
from widgets.neck import NeckView
from widgets.panel import Panel, entry, menu
from widgets.player import Player

REST, TIE = ("r", "z", "rest"), "-"
WORDS = "click a place on the neck, or type its letter"


KEPT: dict[str, dict[str, Any]] = {}
"""What was written in this kernel, by title."""


class TuneForm(Panel):
    """A form to write a tune down bar by bar; `sketch` is what has been written, `tune` the tune it makes.

    `folder` takes the file (default: the folder tunes, where there is one). What was written under a title is there
    again when the cell runs again, in this kernel; `state` is a dict of yours that keeps it instead.

    >>> form = TuneForm("Two bars", state={})
    >>> form.write("E5", "half", "Cmaj7")
    >>> form
    Two bars: bar 1 is not full: 2 quarters left
    >>> form.close()
    """

    def __init__(
        self,
        title: str = "My tune",
        *,
        key: str = "C",
        metre: str = "4/4",
        neck: Neck | None = None,
        folder: str = "",
        theme: str | None = None,
        state: MutableMapping[str, Any] | None = None,
    ) -> None:
        theme = theme or default_theme()
        for value, known, what in ((key, KEYS, "key"), (metre, METRES, "metre")):
            if value not in known:
                raise HarmonyError(f"{what} {value!r} is not in the form: choose {', '.join(known)}")
        state = KEPT.setdefault(title, {}) if state is None else state
        self.sketch, self._folder, self._saved = Sketch(title, key, metre), folder, ""
        self.player: Player | None = None
        self._theme = theme
        self._neck_view = NeckView(neck, theme=theme, picking=True)
        controls = {
            "title": entry("title", title, "10em"),
            "key": menu("key", list(KEYS), key),
            "metre": menu("metre", list(METRES), metre),
            "length": menu("length", list(LENGTHS), "quarter"),
            "chord": entry("chord", "", "8em"),
            "note": entry("note, and Enter", "", "12em"),
        }
        self._buttons = [
            ipywidgets.Button(description=word, layout={"width": "auto"})
            for word in ("rest", "tie", "take back", "save")
        ]
        for button, act in zip(self._buttons, (self._rest, self._tie, self._take_back, self._save), strict=True):
            button.on_click(lambda _, act=act: self._press(act))
        self._told = ipywidgets.HTML()
        given = (title, key, metre, neck, folder, theme)
        written = list(state.get("written", ())) if state.get("given") == str(given) else []
        super().__init__(controls, [self._neck_view], given=given, state=state, theme=theme, buttons=self._buttons)
        self.add_class("tune-form")
        self._lay_out()
        named = {name: self._controls[name].value for name in ("title", "key", "metre")}
        parts = tuple(Part(Pitch.parse(p) if p else None, Fraction(length), *more) for p, length, *more in written)
        self._take(Sketch(**named, parts=parts))
        self._neck_view.observe(self._clicked, "selected")

    def _laid(self, rows: list[ipywidgets.Box]) -> list[ipywidgets.Widget]:
        """The buttons stand beside the field for a note: one over the other they would take the room of the neck."""
        rows[-1].children[-1].layout.flex_flow = "row wrap"
        return super()._laid(rows)

    # --- what is written -----------------------------------------------------------------------------------------

    def write(self, note: str, length: str = "", chord: str = "") -> None:
        """Write a note as the form does, “r” for a rest, “-” to hold the last note on.

        Raises `HarmonyError` for what does not fit.
        """
        length, chord = length or self._chosen[0], chord or self._chosen[1]
        if note.strip() == TIE:
            self._put(self.sketch.tie(length, chord))
        else:
            last = next((part.pitch for part in reversed(self.sketch.parts) if part.pitch), None)
            pitch = None if note.strip().lower() in REST else named(note, last)
            strings = self._neck_view.neck.open_midi
            if pitch and not strings[0] <= pitch.midi <= strings[-1] + MOST_FRETS:
                raise HarmonyError(f"{pitch} lies off any neck; a chord symbol goes into the field “chord”")
            self._put(self.sketch.add(pitch, length, chord))

    @property
    def tune(self) -> Any:
        """The tune as it stands, read from its own ABC; until a chord is written it is a melody alone."""
        if self.sketch.chord:
            return read_text(self.sketch.abc)
        first, *others = self.sketch.parts
        lent = replace(self.sketch, parts=(first._replace(chord="C"), *others))  # what is read must hold a chord
        return replace(read_text(lent.abc), changes=())

    @property
    def text(self) -> str:
        return f"{self.sketch.title}: {self.sketch.told}"

    def _put(self, sketch: Sketch) -> None:
        """Take what has one part more; the chord stands with it."""
        self._take(sketch)
        self._controls["chord"].value = ""

    @property
    def _chosen(self) -> tuple[str, str]:
        """The length and the chord of the next part."""
        return self._controls["length"].value, self._controls["chord"].value

    def _take(self, sketch: Sketch) -> None:
        """Show another state of what is written: the words, the neck, the music."""
        self.sketch = sketch
        self._state["written"] = [(str(p.pitch or ""), str(p.length), p.chord, p.tied) for p in sketch.parts]
        saved = f' Saved as {self._saved}.abc: write <code>tune="{self._saved}"</code> in the second cell.'
        if not sketch.chord:
            saved = (
                f" Saved as {self._saved}.abc; it has no chords yet: write them into the file, as in &quot;Gm7&quot;."
            )
        self._told.value = f'<p role="status" style="margin:0">{sketch.told}.{saved if self._saved else ""}</p>'
        pitches = [part.pitch for part in sketch.parts if part.pitch]
        self._neck_view.show([self._marks(pitches[-1:])], [f"{pitches[-1]} was the last note" if pitches else WORDS])
        if pitches:
            self._engrave()
        elif self.player:
            gone, self.player = self.player, None
            self._lay_out()
            gone.close()

    def _engrave(self) -> None:
        made = arrange(self.tune, neck=self._neck_view.neck, stage="melody")
        if self.player is None:
            on_wall = THEMES[self._theme].fills_width
            self.player = Player(made, svg=engrave(made), theme=self._theme, line_by_line=on_wall)
            self._lay_out()
        else:
            self.player.load(made, svg=engrave(made))

    def _marks(self, pitches: list[Pitch]) -> list[Mark]:
        """Where the last note lies, as high on the strings as it does."""
        neck, marks = self._neck_view.neck, []
        for pitch in pitches:
            for option in single_options(neck, pitch.midi)[:1]:
                string = option.grip.strings[0]
                marks.append(Mark(string, pitch.midi - neck.open_midi[-string], str(pitch.name)))
        return marks

    def _lay_out(self) -> None:
        """The words between controls and neck, the player under them once there is a note."""
        box: Any = self
        mine = (self._told, self._neck_view, self.player)
        controls = [child for child in box.children if child not in mine and not isinstance(child, Player)]
        box.children = (*controls, *(part for part in mine if part))

    # --- what the controls do ------------------------------------------------------------------------------------

    def _show(self, name: str) -> None:
        control = self._controls
        if name == "note" and control["note"].value.strip():
            typed, control["note"].value = control["note"].value, ""
            self.write(typed)
        elif name == "metre" and self.sketch.parts and control["metre"].value != self.sketch.metre:
            control["metre"].value = self.sketch.metre
            raise HarmonyError("the metre stands once notes are written: take them back first")
        elif name in ("title", "key", "metre"):
            title, key = control["title"].value.strip() or self.sketch.title, control["key"].value
            self._take(replace(self.sketch, title=title, key=key, metre=control["metre"].value))
        elif name == "chord" and control["chord"].value.strip():
            replace(self.sketch, parts=()).add(None, "sixteenth", control["chord"].value)  # says what cannot be read

    def _clicked(self, change: Mapping[str, Any]) -> None:
        places = list(change["new"])
        if not places or self._acting:
            return
        string, fret = places[-1]
        midi = self._neck_view.neck.open_midi[-string] + fret
        self._press(lambda: self._put(self.sketch.add(midi, *self._chosen)))
        self._neck_view.selected = []

    def _rest(self) -> None:
        self._put(self.sketch.add(None, *self._chosen))

    def _tie(self) -> None:
        self._put(self.sketch.tie(*self._chosen))

    def _take_back(self) -> None:
        self._take(self.sketch.take_back())

    def _save(self) -> None:
        if not self.sketch.parts or self.sketch.left != self.sketch.bar:
            raise HarmonyError(f"{self.sketch.told}: fill it, with a rest if need be, then save")
        folder = Path(self._folder or ("tunes" if Path("tunes").is_dir() else "."))
        name = safe_stem(self.sketch.title).lower().replace(" ", "_")
        if (folder / f"{name}.abc").exists() and name != self._saved:
            raise HarmonyError(f"a tune called {name!r} is there already: give this one another title")
        write_together({f"{name}.abc": f"{self.sketch.abc}\n".encode()}, folder)
        self._saved = name
        self._take(self.sketch)

    def _press(self, act: Callable[[], None]) -> None:
        self._acting = True
        try:
            self._attempt(act)
        finally:
            self._acting = False
