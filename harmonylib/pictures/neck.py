"""The neck with marks on it: one picture of the neck, drawn in one place, for notebook, print, slide and widget.

Conventions
- String 1 lies on top, as a player looks at tablature; the nut is on the left (on the right for a left-handed player).
- A fret's place is the middle of the space in which it is pressed. Drawn frets narrow half as fast as real ones, so
  that labels fit high on the neck.
- A ring marks the top note, the melody.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.look import label_of
from harmonylib.pictures.look import left_handed as of_left_handed_class
from harmonylib.pictures.picture import Pen, Picture, ems, look_of, titled
from harmonylib.pictures.theme import named_theme
from harmonylib.theory.pitch import spell
from harmonylib.theory.voicings import Voicing

_INLAYS = {3: 1, 5: 1, 7: 1, 9: 1, 12: 2, 15: 1, 17: 1, 19: 1, 21: 1, 24: 2}
"""Frets with position dots and how many (common practice)."""


class Mark(NamedTuple):
    """A mark on the neck: string, fret (0 open, None not played), label, role of `MARKS`, and whether it is on top."""

    string: int
    fret: int | None
    label: str = ""
    role: str = "plain"
    top: bool = False


@dataclass(frozen=True)
class NeckFrame:
    """Where strings and frets lie on a page: points from the lower left corner; `y(1)` is the highest string.

    `frets` is the window (first, last), `left` and `bottom` the corner of the board, `width` its length with the
    column for open strings, `gap` the distance between strings. An `upright` board has the nut on top and its lowest
    string on the left, on the right for a left-handed player.

    >>> frame = NeckFrame(Neck(), (1, 12), left=0, bottom=0, width=200, gap=10, column=20)
    >>> frame.x(0), frame.y(6), frame.y(1)
    (10.0, 0, 50)
    >>> NeckFrame(Neck(), (1, 4), left=0, bottom=0, width=200, gap=10, column=20, upright=True).spot(6, 0)
    (0, 190.0)
    """

    neck: Neck
    frets: tuple[int, int]
    left: float
    bottom: float
    width: float
    gap: float
    column: float
    left_handed: bool = False
    upright: bool = False

    def along(self, fret: float) -> float:
        """How far a fret wire lies from the end of the board; 0 is the nut."""
        low, high = (1 - 2 ** (-f / 24) for f in (self.frets[0] - 1, self.frets[1]))
        share = (1 - 2 ** (-fret / 24) - low) / (high - low)
        return self.column + share * (self.width - self.column)

    def middle(self, fret: int) -> float:
        """How far a mark at a fret lies from the end; open strings (0) have a column of their own before the board."""
        return (self.along(fret - 1) + self.along(fret)) / 2 if fret else self.column / 2

    def at(self, string: float, away: float) -> tuple[float, float]:
        """x and y of a string, so far from the end; a string may lie between two or beside them all."""
        low = len(self.neck.open_strings) - string
        if self.upright:
            return self.left + (string - 1 if self.left_handed else low) * self.gap, self.bottom + self.width - away
        return self.left + (self.width - away if self.left_handed else away), self.bottom + low * self.gap

    def spot(self, string: int, fret: int) -> tuple[float, float]:
        """x and y of a mark."""
        return self.at(string, self.middle(fret))

    def wire(self, fret: float) -> float:
        """x of a fret wire; 0 is the nut."""
        return self.at(1, self.along(fret))[0]

    def x(self, fret: int) -> float:
        """x of a mark at a fret."""
        return self.spot(1, fret)[0]

    def y(self, string: int) -> float:
        return self.at(string, 0)[1]


def grip_marks(neck: Neck, grip: Grip | str, voicing: Voicing | None = None, label: str = "") -> tuple[Mark, ...]:
    """The marks of a grip, one a string from the lowest, labelled by “degree”, “note” or “finger”.

    The label is the class's where none is given, and else the degree. Colour and shape follow the degree; without a
    voicing the marks are plain and a degree cannot be asked for. Raises `HarmonyError` when the grip does not hold the
    voicing.

    >>> from harmonylib.theory.voicings import voice
    >>> grip_marks(Neck(), "x3545x", voice("Cmaj7", "drop 2", "E4"))[1]
    Mark(string=5, fret=3, label='1', role='root', top=False)
    """
    label = label_of(label)
    grip = Grip.parse(grip) if isinstance(grip, str) else grip
    if len(grip.frets) != len(neck.open_strings):
        raise HarmonyError(f"{grip} names {len(grip.frets)} strings; this neck has {len(neck.open_strings)}")
    sounding = neck.midi(grip.frets)
    voices: dict[int, tuple[str, str]] = {midi: ("", str(spell(midi))) for midi in sounding}
    if voicing:
        pairs = zip(voicing.pitches, voicing.degrees, strict=True)
        voices = {pitch.midi: (degree, str(pitch.name)) for pitch, degree in pairs}
        if sorted(voices) != sorted(sounding):
            held = " ".join(map(str, voicing.pitches))
            raise HarmonyError(f"{grip} does not hold {voicing.chord} as {held} on this neck")
    elif label == "degree":
        raise HarmonyError(f"{grip} has no degrees without its voicing: give one, or label by note or finger")
    fingers = grip.fingers or (neck.fingered(grip.frets).fingers if label == "finger" else ())
    marks = []
    for place, fret in enumerate(grip.frets):
        string = len(grip.frets) - place
        if fret is None:
            marks.append(Mark(string, None))
            continue
        midi = neck.open_midi[place] + fret
        degree, name = voices[midi]
        text = {"degree": degree, "note": name, "finger": str(fingers[place]) if fingers else ""}[label]
        marks.append(Mark(string, fret, text, degree_role(degree), len(sounding) > 1 and midi == max(sounding)))
    return tuple(marks)


def turned(neck: Neck, left_handed: bool | None) -> bool:
    """Whether a neck is drawn for a left-handed player: as it is asked, else as the neck or the class has it."""
    return neck.left_handed or of_left_handed_class() if left_handed is None else left_handed


def degree_role(degree: str) -> str:
    """The role of `MARKS` that a degree plays; a suspended fourth stands in for the third, a sixth for the seventh.

    >>> [degree_role(d) for d in ("1", "♭3", "♯5", "6", "♭9", "")]
    ['root', 'third', 'fifth', 'seventh', 'extension', 'plain']
    """
    roles = {"1": "root", "3": "third", "4": "third", "5": "fifth", "6": "seventh", "7": "seventh", "": "plain"}
    return roles.get(degree.lstrip("♭♯"), "extension")


def neck_picture(
    neck: Neck,
    marks: Iterable[Mark | tuple[Any, ...]],
    *,
    title: str = "",
    frets: tuple[int, int] | None = None,
    left_handed: bool | None = None,
    theme: str | None = None,
    board: bool = True,
) -> Picture:
    """The neck with marks on it, string 1 on top.

    Parameters
    ----------
    marks: from `grip_marks`, or (string, fret, label, role) with a role of `MARKS`; fret 0 is open, None not played.
    frets: first and last fret shown (default: the whole neck), counted from the capo.
    left_handed: default: as the neck or the class has it.
    theme: a name of `THEMES` (default: `default_theme`).
    board: False leaves out all but the marks, each in the same place.

    Raises `HarmonyError` for a mark that does not lie on the part shown.

    >>> from harmonylib.theory.voicings import voice
    >>> neck = Neck()
    >>> neck_picture(neck, grip_marks(neck, "x3545x", voice("Cmaj7", "drop 2", "E4")), title="Cmaj7")
    Cmaj7: string 5 fret 3 = 1, string 4 fret 5 = 5, string 3 fret 4 = 7, string 2 fret 5 = 3 (top); not played: 6, 1
    """
    look, placed, left_handed = named_theme(theme), _checked(neck, marks, frets), turned(neck, left_handed)
    frame = neck_frame(neck, frets=frets, left_handed=left_handed, theme=theme)
    height = frame.y(1) + 0.75 * look.mark + (1.6 * look.chord if title else 0.35 * look.mark)

    def draw(pen: Pen) -> None:
        if board:
            for place, pitch in enumerate(neck.open_strings):
                string = len(neck.open_strings) - place
                x = frame.left + frame.width + 5 if left_handed else frame.left - 5
                align, name = ("left" if left_handed else "right"), f"{string} {pitch.name}"
                pen.write(x, frame.y(string) - 0.36 * look.small, name, align=align, colour=look.soft)
            draw_board(pen, frame)
        draw_marks(pen, frame, placed)

    width = frame.width + frame.left + (3 * look.small + 8 if left_handed else 10)
    said = _read_marks(placed) + (f"; capo at fret {neck.capo}" if neck.capo else "")
    return Picture(title, titled(title, said), width, height, look, draw)


def neck_frame(
    neck: Neck, *, frets: tuple[int, int] | None = None, left_handed: bool | None = None, theme: str | None = None
) -> NeckFrame:
    """The frame of `neck_picture` for the same arguments: where a string and fret lie on its page.

    >>> frame = neck_frame(Neck(), frets=(1, 5))
    >>> frame.y(1) > frame.y(6), frame.x(1) < frame.x(5)
    (True, True)
    """
    look, (low, high), left_handed = named_theme(theme), _window(neck, frets), turned(neck, left_handed)
    names = 3 * look.small + 8
    column = 1.5 * look.mark
    full = look.width - names - 10
    width = full if look.fills_width else min(full, column + 4 * look.mark * (high - low + 1))
    bottom = 2.6 * look.small + 0.75 * look.mark
    return NeckFrame(
        neck, (low, high), 10 if left_handed else names, bottom, width, 1.2 * look.mark, column, left_handed
    )


def _read_marks(marks: Iterable[Mark | tuple[Any, ...]]) -> str:
    """Marks in one line of words.

    >>> _read_marks([Mark(2, 0, "B"), Mark(1, None)])
    'string 2 open = B; not played: 1'
    """
    placed = [Mark(*mark) for mark in marks]
    said = []
    for mark in placed:
        if mark.fret is not None:
            where = f"fret {mark.fret}" if mark.fret else "open"
            label = f" = {mark.label}" if mark.label else ""
            said.append(f"string {mark.string} {where}{label}{' (top)' if mark.top else ''}")
    idle = ", ".join(str(mark.string) for mark in placed if mark.fret is None)
    return "; ".join(filter(None, (", ".join(said), f"not played: {idle}" if idle else ""))) or "no marks"


def draw_board(pen: Pen, frame: NeckFrame) -> None:
    """Board, strings, frets and numbers inside a frame."""
    look, neck, (low, high) = pen.theme, frame.neck, frame.frets
    count = len(neck.open_strings)
    above, below = 0.55, count + 0.45
    inlaid = [fret for fret in range(low, high + 1) if fret + neck.capo in _INLAYS]
    corners = [(frame.at(above, frame.along(f - 1)), frame.at(below, frame.along(f))) for f in inlaid]
    bands = [(x, x2, y2, y) for (x, y), (x2, y2) in corners]
    for floor in [[band] for band in bands] if frame.upright else [bands]:
        pen.area(floor, look.band)
    wires = {
        fret: (*frame.at(below, frame.along(fret)), *frame.at(above, frame.along(fret)))
        for fret in range(low - 1, high + 1)
    }
    pen.lines((wires[fret] for fret in range(low, high + 1)), look.line, 1.1)
    pen.lines([wires[low - 1]], look.ink if low == 1 else look.line, 4.5 if low == 1 else 1.1)
    for string in range(1, count + 1):
        ends = (*frame.at(string, frame.along(low - 1)), *frame.at(string, frame.along(high)))
        pen.lines([ends], look.soft, 0.6 + 0.22 * (string - 1))
    dots = [
        frame.at(below + 0.4 * look.small / frame.gap, frame.middle(fret) + aside * 0.6 * look.small)
        for fret in inlaid
        for aside in ((0,) if _INLAYS[fret + neck.capo] == 1 else (-0.5, 0.5))
    ]
    pen.dots(dots, 0.32 * look.small)
    for fret in range(low, high + 1):
        room = ems(f"{fret}") * look.small
        if fret not in inlaid and not frame.upright and abs(frame.along(fret) - frame.along(fret - 1)) < room:
            continue  # large print leaves room for the numbers with a dot alone
        _number(pen, frame, fret, look.ink if fret in inlaid else look.soft)
    if neck.capo:
        x, y = frame.at((count + 1) / 2, frame.width) if frame.upright else frame.at(below, frame.middle(0))
        pen.write(x, y - 1.55 * look.small, f"capo {neck.capo}", align="center", colour=look.soft)


def _number(pen: Pen, frame: NeckFrame, fret: int, colour: str) -> None:
    """The number of a fret beside the lowest string: under the board, or left of an upright one."""
    small, below = pen.theme.small, len(frame.neck.open_strings) + 0.45
    if not frame.upright:
        x, y = frame.at(below, frame.middle(fret))
        pen.write(x, y - 1.55 * small, str(fret), align="center", colour=colour)
        return
    x, y = frame.at(below + 0.9 * small / frame.gap, frame.middle(fret))
    pen.write(x, y - 0.36 * small, str(fret), align="left" if frame.left_handed else "right", colour=colour)


def draw_marks(pen: Pen, frame: NeckFrame, marks: Sequence[Mark]) -> None:
    """Marks inside a frame, none wider than its narrowest fret, nor than an upright board's strings are apart."""
    look, (_, high) = pen.theme, frame.frets
    narrowest = 0.98 * min(frame.along(high) - frame.along(high - 1), frame.gap if frame.upright else frame.width)
    for mark in marks:
        x, y = frame.spot(mark.string, mark.fret or 0)
        if mark.fret is None:
            pen.write(x, y - 0.36 * look.label, "×", "label", align="center", colour=look.soft)
        else:
            pen.mark(x, y, mark.role, mark.label, mark.top, most=narrowest)


def _window(neck: Neck, frets: tuple[int, int] | None) -> tuple[int, int]:
    low, high = frets or (1, neck.last_fret)
    if not 1 <= low <= high <= neck.last_fret:
        raise HarmonyError(f"frets {low} to {high} cannot be shown: this neck has 1 to {neck.last_fret}, low to high")
    return low, high


def _checked(neck: Neck, marks: Iterable[Mark | tuple[Any, ...]], frets: tuple[int, int] | None) -> tuple[Mark, ...]:
    """The marks as `Mark`s, each on the part of the neck that is shown."""
    (low, high), strings = _window(neck, frets), len(neck.open_strings)
    placed = tuple(Mark(*mark) for mark in marks)
    for mark in placed:
        if not 1 <= mark.string <= strings:
            raise HarmonyError(f"{tuple(mark)}: there is no string {mark.string}; this neck has 1 to {strings}")
        if mark.fret and not low <= mark.fret <= high:
            raise HarmonyError(f"{tuple(mark)}: fret {mark.fret} lies outside the frets shown, {low} to {high}")
        look_of(mark.role)
    return placed
