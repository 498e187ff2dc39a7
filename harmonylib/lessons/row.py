"""A row of shapes that shows itself: drawn, heard, followed voice by voice, printed.

Conventions
- A step is a voicing and its grip; a two-note shell or a single note has no voicing.
- A row without shapes says why it has none, and is silent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import cast

from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.said import Said, sentence, told
from harmonylib.pictures.grips import Step, grip_row, voice_paths
from harmonylib.pictures.neck import grip_marks, neck_picture
from harmonylib.pictures.picture import Picture
from harmonylib.sound.events import cycle_events
from harmonylib.sound.listening import Sound, listen
from harmonylib.theory.voicings import Voicing
from harmonylib.wording import many

OUT_OF_REACH = "out of reach: no hand of this reach holds a shape here; set a longer reach, or other strings"


@dataclass(frozen=True, repr=False)
class Row:
    """Shapes side by side on one neck; `captions` says a word on each, `empty` why there may be none.

    >>> from harmonylib.lessons.shapes import shapes
    >>> row = shapes("Cmaj7", Neck(), "root position")
    >>> row[1]
    Cmaj7, a major seventh, root position
    Cmaj7 x3545x, drop 2, strings 5432
    >>> row[1].listen()
    0:01, 1 chord at 72
    >>> shapes("Cmaj7", Neck(reach_mm=20), "root position")
    Out of reach: no hand of this reach holds a shape here; set a longer reach, or other strings.
    """

    neck: Neck
    steps: tuple[Step, ...]
    captions: tuple[str, ...] = ()
    title: str = ""
    empty: str = OUT_OF_REACH
    remarks: tuple[str, ...] = ()
    across: int = 4

    @property
    def grips(self) -> tuple[Grip, ...]:
        return tuple(grip for _, grip in self.steps)

    @property
    def picture(self) -> Picture:
        """The drawing; raises `HarmonyError` for an empty row."""
        return grip_row(self.neck, self.steps, captions=self.captions, title=self.title, across=self.across)

    def listen(
        self, tempo: float = 72, beats: int = 2, click: bool = False, count_in: int = 0, most: int = 16
    ) -> Sound | Said:
        """The shapes one after another, `beats` quarter notes each, at most so many of them."""
        if not self.steps:
            return self._said()
        events = cycle_events(self.grips[:most], self.neck, beats)
        lines = [_line(*step) for step in self.steps[:most]]
        return listen(events, tempo=tempo, click=click, count_in=count_in, title=self.title, texts=lines)

    def paths(self) -> Picture | Said:
        """The voices as lines from shape to shape."""
        voiced = [step for step in self.steps if step[0]]
        if len(voiced) < 2:
            return replace(
                self._said(), text="a path of voices needs two shapes in reach" if self.steps else self.empty
            )
        return voice_paths(voiced, title=self.title)

    def on_neck(self, only: str = "", label: str = "") -> Picture | Said:
        """All shapes of the row as marks on the whole neck; `only` keeps the degrees named, as in "3 7"."""
        if not self.steps:
            return self._said()
        marks = [mark for voicing, grip in self.steps for mark in grip_marks(self.neck, grip, voicing, label)]
        kept = [mark for mark in marks if mark.label and (not only or mark.label in only.split())]
        return neck_picture(self.neck, kept, title=self.title or ", ".join(map(str, self.grips[:4])))

    @property
    def shown_first(self) -> Row:
        """The first shape alone; its chord is the heading."""
        return replace(self[:1], title="")

    def __getitem__(self, place: int | slice) -> Row:
        """One shape, or some, as a row."""
        some = place if isinstance(place, slice) else slice(place, place + 1 or None)
        return replace(self, steps=self.steps[some], captions=self.captions[some])

    def __len__(self) -> int:
        return len(self.steps)

    def __bool__(self) -> bool:
        return bool(self.steps)

    def _said(self) -> Said:
        return Said(self.empty, self.remarks)

    def __repr__(self) -> str:
        if not self.steps:
            return repr(self._said())
        told_ = self.captions or [_where(voicing, grip) for voicing, grip in self.steps]
        lines = [f"{_line(*step)}, {word}" for step, word in zip(self.steps, told_, strict=True)]
        return "\n".join([*([self.title] if self.title else []), *lines, *map(sentence, self.remarks)])

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        if not self.steps:
            return self._said()._repr_mimebundle_()
        svg = self.picture.svg
        return {"image/svg+xml": svg, "text/html": svg + told(self.remarks), "text/plain": repr(self)}


def _line(voicing: Voicing | None, grip: Grip) -> str:
    return f"{voicing.chord} {grip}" if voicing else str(grip)


def _where(voicing: Voicing | None, grip: Grip) -> str:
    if voicing is None:
        return many(len(grip.strings), "note")
    return f"{voicing.spread} on strings {grip.string_set}, {voicing.inversion}"


def row(neck: Neck, steps: Sequence[tuple[Voicing | None, Grip | None]], **how: object) -> Row:
    """A row of the steps that have a grip; captions of the others are left out with them."""
    captions = cast(Sequence[str], how.pop("captions", ()))
    there = [place for place, (_, grip) in enumerate(steps) if grip]
    kept = tuple((voicing, grip) for voicing, grip in steps if grip)
    return Row(neck, kept, tuple(captions[place] for place in there) if captions else (), **how)  # type: ignore[arg-type]
