"""The panels of the chapters on chords: one grip, the inversion cycle, a melody note, a foreign note.

Each takes one line, `SpreadPanel()` or `SpreadPanel("Dm7", neck=neck)`, and shows what `harmonylib` answers.

Conventions: as in `widgets.neck`. Where a panel has few states, all of them are in the browser and a slider moves
between them without the kernel.
"""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping
from dataclasses import replace
from typing import Any

import ipywidgets

from harmonylib.arranging.candidates import single_options
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.look import LABELS, label_of
from harmonylib.pictures.neck import Mark, grip_marks
from harmonylib.pictures.theme import default_theme
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import passing
from harmonylib.theory.pitch import Pitch, spell
from harmonylib.theory.tones import DEGREE_WORDS, degree_of
from harmonylib.theory.voicings import SPREADS, Voicing, inversions, known, voice
from widgets.neck import NeckView
from widgets.panel import Panel, asked_set, chord_menus, entry, menu, middle, spread_menus, steps, string_sets

State = MutableMapping[str, Any]
Frame = tuple[tuple[Mark, ...], str, str]
"""Marks, title and words."""


class SpreadPanel(Panel):
    """One chord in one spread on one string set: menus for root, family, spread and strings, and what a mark says.

    >>> panel = SpreadPanel("Cmaj7")
    >>> panel
    Cmaj7 x3545x: drop 2 on strings 5432, root position: C3 G3 B3 E4; string 5 fret 3 = 1, ...
    >>> panel.close()
    """

    def __init__(
        self,
        chord: str = "Cmaj7",
        spread: str = "drop 2",
        strings: str = "",
        *,
        neck: Neck | None = None,
        label: str = "",
        frets: tuple[int, int] | None = None,
        left_handed: bool | None = None,
        theme: str | None = None,
        state: State | None = None,
    ) -> None:
        self._neck = neck or Neck()
        meant, trouble = _asked(chord)
        on = asked_set(self._neck, known(spread), strings)
        label = label_of(label)
        theme = theme or default_theme()
        view = NeckView(self._neck, frets=frets, left_handed=left_handed, theme=theme)
        controls = chord_menus(meant) | spread_menus(self._neck, spread, on)
        slider = self._slider()
        controls |= {"label": menu("marks", list(LABELS), label)} | slider
        given = (chord, spread, strings, self._neck, label, frets, left_handed, theme)
        links = [ipywidgets.jslink((one, "value"), (view, "frame")) for one in slider.values()]
        super().__init__(controls, [view], given=given, state=state, theme=theme, links=links, trouble=trouble)

    def _slider(self) -> dict[str, ipywidgets.Widget]:
        return {}

    def _adapt(self, name: str) -> None:
        if name == "spread":
            strings, sets = self._controls["strings"], string_sets(self._neck, self._controls["spread"].value)
            if tuple(strings.options) != tuple(sets):
                strings.options, strings.value = sets, middle(sets)

    def _show(self, name: str) -> None:
        self._views[0].show(*_columns(self._frames()[:1]))

    def _frames(self) -> list[Frame]:
        """Every inversion that a hand can hold here, root position first."""
        root, family, spread, strings, label = (control.value for control in list(self._controls.values())[:5])
        chord = Chord.parse(root + family)
        steps = self._neck.cycle(inversions(chord, spread)[0], strings) if strings else ()
        if not steps:
            on = "strings " + "".join(map(str, strings)) if strings else "this neck"
            raise HarmonyError(f"no hand holds {chord} as {spread} on {on}: choose other strings or a longer reach")
        return [_frame(self._neck, voicing, grip, label) for voicing, grip in steps]


class InversionPanel(SpreadPanel):
    """The inversion cycle: a slider goes up the neck through the inversions that lie on one string set.

    >>> panel = InversionPanel("G7", "drop 3")
    >>> panel
    G7 3x343x: drop 3 on strings 6432, root position: G2 F3 B3 D4; string 6 fret 3 = 1, ...
    >>> panel.close()
    """

    def _slider(self) -> dict[str, ipywidgets.Widget]:
        return {"step": steps("step", 3)}

    def _show(self, name: str) -> None:
        if name != "step":
            _slide(self._views[0], self._controls["step"], sorted(self._frames(), key=_lowest_fret))


class MelodyPanel(Panel):
    """A melody note against a chord: its degree, or that it is foreign, and a grip with it on top.

    The slider, or a click on the neck, chooses the note; the chord is any symbol.

    >>> panel = MelodyPanel("Cmaj7", note="E4")
    >>> panel
    E4 over Cmaj7, x3545x: E is the third of Cmaj7: drop 2 on strings 5432, root position: ...
    >>> panel.close()
    """

    def __init__(
        self,
        chord: str = "Cmaj7",
        spread: str = "drop 2",
        note: str = "E4",
        *,
        neck: Neck | None = None,
        frets: tuple[int, int] | None = None,
        left_handed: bool | None = None,
        theme: str | None = None,
        state: State | None = None,
    ) -> None:
        self._neck = neck or Neck()
        self._lowest = self._neck.open_midi[-4]
        highest = self._neck.open_midi[-1] + (frets[1] if frets else self._neck.last_fret)
        start = Pitch.parse(note).midi - self._lowest
        known(spread)
        theme = theme or default_theme()
        view = NeckView(self._neck, frets=frets, left_handed=left_handed, theme=theme)
        slider = steps("note", highest - self._lowest)
        slider.value = start
        controls = {"chord": entry("chord", chord), "spread": menu("spread", list(SPREADS), spread)}
        view.observe(self._clicked, "clicks")
        given = (chord, spread, note, self._neck, frets, left_handed, theme)
        links = [ipywidgets.jslink((slider, "value"), (view, "frame"))]
        super().__init__(controls | {"note": slider}, [view], given=given, state=state, theme=theme, links=links)

    def _clicked(self, _: Mapping[str, Any]) -> None:
        string, fret = self._views[0].cursor
        self._controls["note"].value = self._neck.open_midi[-string] + fret - self._lowest

    def _show(self, name: str) -> None:
        if name != "note":
            slider = self._controls["note"]
            chord, spread = Chord.parse(self._controls["chord"].value), self._controls["spread"].value
            notes = range(self._lowest, self._lowest + slider.max + 1)
            _slide(self._views[0], slider, [self._frame(chord, spread, midi) for midi in notes])

    def _frame(self, chord: Chord, spread: str, midi: int) -> Frame:
        pitch = spell(midi).at(midi)
        degree = degree_of(pitch, chord)
        dim = passing(pitch, chord) if degree is None else None
        voicing = voice(dim.chord if dim else chord, spread, pitch)
        if dim:
            voicing = _kept(voicing, pitch)
        top, grips = voicing.top, self._neck.grips(voicing)
        verdict = (
            f"{top.name} is foreign to {chord}: {dim.sentence}"
            if dim
            else f"{top.name} is the {DEGREE_WORDS[degree or '1']} of {chord}"
        )
        if not grips:
            places = single_options(self._neck, midi)
            marks = grip_marks(self._neck, places[0].grip, label="note") if places else ()
            lacking = f"no hand holds it as {spread}" if places else "this neck does not have it"
            return marks, f"{top} over {chord}", f"{verdict}; {lacking}"
        marks = grip_marks(self._neck, grips[0], voicing)
        if dim:
            marks = _foreign_top(marks)
        name = f" {dim.chord}" if dim else ""
        return marks, f"{top} over {chord},{name} {grips[0]}", f"{verdict}: {_words(voicing, grips[0])}"


class DiminishedPanel(Panel):
    """The foreign notes of a chord, each with its diminished seventh; the step after it shows where that resolves.

    >>> panel = DiminishedPanel("C6")
    >>> panel
    F4 over C6, Bdim7 xx0101: the leading-tone diminished seventh Bdim7, G7(♭9) without its root, resolves into C: ...
    >>> panel.close()
    """

    def __init__(
        self,
        chord: str = "C6",
        spread: str = "drop 2",
        *,
        neck: Neck | None = None,
        frets: tuple[int, int] | None = None,
        left_handed: bool | None = None,
        theme: str | None = None,
        state: State | None = None,
    ) -> None:
        self._neck = neck or Neck()
        known(spread)
        theme = theme or default_theme()
        view = NeckView(self._neck, frets=frets, left_handed=left_handed, theme=theme)
        controls = {"chord": entry("chord", chord), "spread": menu("spread", list(SPREADS), spread)}
        controls["step"] = steps("step", 30)
        given = (chord, spread, self._neck, frets, left_handed, theme)
        links = [ipywidgets.jslink((controls["step"], "value"), (view, "frame"))]
        super().__init__(controls, [view], given=given, state=state, theme=theme, links=links)

    def _show(self, name: str) -> None:
        if name != "step":
            chord, spread = Chord.parse(self._controls["chord"].value), self._controls["spread"].value
            first = self._neck.open_midi[-1] + 1
            foreign = [midi for midi in range(first, first + 12) if midi % 12 not in chord.tones]
            frames = [frame for midi in foreign for frame in self._pair(chord, spread, midi)]
            if not frames:
                raise HarmonyError(f"no hand holds a diminished seventh over {chord} as {spread} on this neck")
            _slide(self._views[0], self._controls["step"], frames)

    def _pair(self, chord: Chord, spread: str, midi: int) -> list[Frame]:
        """The diminished seventh under a foreign note and, where the chord itself follows, the chord it falls into."""
        dim = passing(spell(midi).at(midi), chord)
        before = _kept(voice(dim.chord, spread, spell(midi).at(midi)), spell(midi).at(midi))
        if not (grips := self._neck.grips(before)):
            return []
        title = f"{before.top} over {chord}, {dim.chord} {grips[0]}"
        frames: list[Frame] = [
            (
                _foreign_top(grip_marks(self._neck, grips[0], before)),
                title,
                f"{dim.sentence}: {_words(before, grips[0])}",
            )
        ]
        near = [midi + by for by in (1, -1, 2, -2) if (midi + by) % 12 in chord.tones]
        if dim.target == chord.root and near:
            after = voice(chord, spread, spell(near[0]).at(near[0]))
            here = self._neck.position_mm(grips[0])
            there = sorted(self._neck.grips(after), key=lambda g: abs(self._neck.position_mm(g) - here))
            if there:
                words = f"{dim.chord} resolves, {before.top.name} to {after.top.name}: {_words(after, there[0])}"
                frames.append((grip_marks(self._neck, there[0], after), f"{chord} {there[0]}", words))
        return frames


def _asked(chord: str) -> tuple[Chord, str]:
    """The chord asked for; or the plainest one, and what was wrong with the symbol."""
    try:
        return Chord.parse(chord), ""
    except HarmonyError as error:
        return Chord.parse("Cmaj7"), str(error)


def _frame(neck: Neck, voicing: Voicing, grip: Grip, label: str) -> Frame:
    return grip_marks(neck, grip, voicing, label), f"{voicing.chord} {grip}", _words(voicing, grip)


def _words(voicing: Voicing, grip: Grip) -> str:
    notes = " ".join(map(str, voicing.pitches))
    return f"{voicing.spread} on strings {grip.string_set}, {voicing.inversion}: {notes}"


def _kept(voicing: Voicing, melody: Pitch) -> Voicing:
    """The voicing with the spelling the melody note has, whatever the diminished chord calls it."""
    return replace(voicing, pitches=(*voicing.pitches[:-1], melody))


def _foreign_top(marks: tuple[Mark, ...]) -> tuple[Mark, ...]:
    """The top mark as that of a note foreign to the chord of the lead sheet."""
    return tuple(mark._replace(role="foreign") if mark.top else mark for mark in marks)


def _lowest_fret(frame: Frame) -> int:
    return min(mark.fret for mark in frame[0] if mark.fret is not None)


def _columns(frames: list[Frame]) -> tuple[list[Any], list[str], list[str]]:
    """Frames as `NeckView.show` takes them: marks, titles, words."""
    marks, titles, words = zip(*frames, strict=True)
    return list(marks), list(titles), list(words)


def _slide(view: Any, slider: ipywidgets.IntSlider, frames: list[Frame]) -> None:
    """Give a view its frames and the slider as many steps; it stays where it is, or as near as it can."""
    view.show(*_columns(frames), frame=slider.value)
    slider.max = len(frames) - 1
