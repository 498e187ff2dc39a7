"""Grips beside each other: a row of close-ups, and the paths of the voices from one to the next.

Conventions
- A close-up shows the frets the hand lies on, drawn as `pictures.neck` draws them, lying or upright.
- Paths run upwards in pitch, one grip a column; moves are semitones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.look import label_of, upright_row
from harmonylib.pictures.neck import NeckFrame, degree_role, draw_board, draw_marks, grip_marks, turned
from harmonylib.pictures.picture import Pen, Picture, ems, folded, titled
from harmonylib.pictures.theme import Theme, named_theme
from harmonylib.theory.voicings import Voicing

Step = tuple[Voicing | None, Grip]

HIGHEST = 0.486
"""Height of the paths of voices on a wall, as a share of their width: they stand under a line of text."""


def grip_row(
    neck: Neck,
    steps: Sequence[Step],
    *,
    captions: Sequence[str] = (),
    label: str = "",
    title: str = "",
    across: int = 4,
    left_handed: bool | None = None,
    upright: bool | None = None,
    theme: str | None = None,
) -> Picture:
    """Small diagrams of grips in a row, for a cycle or a bar; each says its chord, its frets and why.

    Parameters
    ----------
    steps: (voicing, grip) pairs as `Neck.cycle` gives them; a single note has None for a voicing.
    captions: a short reason for each (default: spread and inversion).
    across: grips in a line.
    upright: the nut on top (default: as the class has it, else string 1 on top as on the whole neck).

    >>> from harmonylib.theory.voicings import voice
    >>> neck = Neck()
    >>> grip_row(neck, neck.cycle(voice("Cmaj7", "drop 2", "E4"), (5, 4, 3, 2))[:2])
    Cmaj7 x3545x, drop 2, root position | Cmaj7 x7958x, drop 2, first inversion
    """
    look, left_handed, label = named_theme(theme), turned(neck, left_handed), label_of(label)
    upright = upright_row(upright)
    if not steps:
        raise HarmonyError("a row of grips needs at least one grip; none was given")
    if captions and len(captions) != len(steps):
        raise HarmonyError(f"{len(captions)} captions for {len(steps)} grips: give one for each, or none")
    notes = captions or [f"{v.spread}, {v.inversion}" if v else "single note" for v, _ in steps]
    heads, grips = [str(voicing.chord) if voicing else "" for voicing, _ in steps], [grip for _, grip in steps]
    labels = [label if voicing or label != "degree" else "note" for voicing, _ in steps]
    all_marks = [grip_marks(neck, grip, v, name) for (v, grip), name in zip(steps, labels, strict=True)]
    cut_from = (look.width - 8) / (max(map(ems, map(str, grips))) * look.small + 14)
    across = max(1, min(across, len(steps), int(cut_from)))
    cell = (look.width - 8) / max(across, 1 if look.fills_width else 3)
    told = [folded(note, look.small, cell - 14) for note in notes]
    rows, row, room = max(map(len, told)), 1.35 * look.small, cell - 14
    frames = [_frame(neck, grip, look, room, left_handed, upright) for grip in grips]
    foot = (2.2 if neck.capo else 0.8) * look.small if upright else 2.8 * look.small + 0.45 * frames[0].gap
    tall = max(frame.width if upright else frame.y(1) for frame in frames)
    line = foot + tall + 0.9 * look.mark + rows * row + row + 1.9 * look.chord
    lines = -(-len(steps) // across)
    height = lines * line + (1.2 * look.chord if title else 0)

    def draw(pen: Pen) -> None:
        for index, grip in enumerate(grips):
            left, bottom = 6 + cell * (index % across), line * (lines - 1 - index // across) + foot
            drop = tall - frames[index].width if upright else 0  # boards hang from their nuts
            frame = replace(frames[index], left=left + frames[index].left, bottom=bottom + drop)
            draw_board(pen, frame)
            draw_marks(pen, frame, all_marks[index])
            floor = bottom + tall + 0.9 * look.mark + rows * row
            _write_over(pen, left, floor, [heads[index], str(grip), *told[index]], room)

    said = " | ".join(f"{head} {grip}, {note}".strip() for head, grip, note in zip(heads, grips, notes, strict=True))
    return Picture(title, titled(title, said), cell * across + 8, height, look, draw)


def _frame(neck: Neck, grip: Grip, look: Theme, room: float, left_handed: bool, upright: bool) -> NeckFrame:
    """The frame of a close-up, so many points wide, from 0; beside an upright one is room for fret numbers."""
    gap, frets, column = 1.2 * look.mark, _close_up(neck, grip), 1.35 * look.mark
    if not upright:
        return NeckFrame(neck, frets, 0, 0, room, gap, column, left_handed)
    side, strings = 3.0 * look.small, len(neck.open_strings) - 1
    gap = min(gap, (room - side - 0.5 * look.mark) / strings)
    tall = column + 1.3 * look.mark * (frets[1] - frets[0] + 1)
    return NeckFrame(neck, frets, 0.5 * look.mark if left_handed else side, 0, tall, gap, column, left_handed, True)


def _write_over(pen: Pen, x: float, y: float, words: Sequence[str], room: float) -> None:
    """Over a board, from the top: chord, grip (at `y`) and a few words on it."""
    (head, grip, *told), row = words, 1.35 * pen.theme.small
    for line, text in reversed([*enumerate(told, 1)]):
        pen.write(x, y - line * row, text, colour=pen.theme.soft)
    pen.write(x, y, grip, room=room)
    pen.write(x, y + 1.1 * row, head, "chord", bold=True, room=room + 4)


def _close_up(neck: Neck, grip: Grip) -> tuple[int, int]:
    """At least four frets round a grip, from the nut when it lies low."""
    low, high = min(grip.fretted, default=1), max(grip.fretted, default=1)
    low = 1 if high <= 4 else low
    high = max(high, low + 3)
    return max(low - max(high - neck.last_fret, 0), 1), min(high, neck.last_fret)


def voice_paths(steps: Sequence[Step], *, title: str = "", theme: str | None = None) -> Picture:
    """The path of each voice from grip to grip: pitch upwards, one grip a column, moves in semitones.

    A heavy line is a note that stays, a thin one a move with its size. `steps` are (voicing, grip) pairs, all with a
    voicing.

    >>> from harmonylib.theory.voicings import voice
    >>> neck = Neck()
    >>> voice_paths(neck.cycle(voice("Cmaj7", "drop 2", "E4"), (5, 4, 3, 2))[:2])
    Cmaj7 x3545x → Cmaj7 x7958x: C3→E3 (+4), G3→B3 (+4), B3→C4 (+1), E4→G4 (+3)
    """
    look = named_theme(theme)
    voicings = [voicing for voicing, _ in steps if voicing]
    if len(voicings) != len(steps) or len(steps) < 2:
        few = f"{len(steps)} grips, {len(voicings)} with a voicing"
        raise HarmonyError(f"{few}: a path needs two or more, all with one")
    grips = [grip for _, grip in steps]
    heard = [pitch.midi for voicing in voicings for pitch in voicing.pitches]
    span, bottom = max(heard) - min(heard), 2.4 * look.small + look.mark
    over = 1.3 * look.mark + 1.3 * look.chord + (1.7 * look.chord if title else 0)
    top = bottom + (unit := _semitone(look, span, bottom + over)) * span
    column = min((look.width - 20) / len(steps), 9 * look.mark) if not look.fills_width else look.width / len(steps)
    height = top + over

    def place(index: int, number: int) -> tuple[float, float]:
        """Where a voice's mark stands: moved aside when a neighbour sounds too near."""
        midi = [pitch.midi for pitch in voicings[index].pitches]
        near = [abs(midi[number] - other) * unit < 1.1 * look.mark for other in midi]
        aside = 0.55 * look.mark * (0 if sum(near) < 2 else 1 if sum(near[:number]) else -1)
        return column * (index + 0.5) + aside, bottom + unit * (midi[number] - min(heard))

    def draw(pen: Pen) -> None:
        for index, (voicing, grip) in enumerate(zip(voicings, grips, strict=True)):
            x = column * (index + 0.5)
            pen.lines([(x, bottom - 0.8 * look.mark, x, top + 0.8 * look.mark)], look.band, 0.25 * look.mark, zorder=1)
            head = top + 1.3 * look.mark
            pen.write(x, head, str(voicing.chord), "chord", align="center", bold=True, room=column)
            pen.write(x, 0.8 * look.small, str(grip), align="center", colour=look.soft, room=column)
            for number, pitch in enumerate(voicing.pitches):
                x, y = place(index, number)
                on_top = number == len(voicing.pitches) - 1
                pen.mark(x, y, degree_role(voicing.degrees[number]), voicing.degrees[number], on_top)
                if index + 1 == len(voicings):
                    continue
                x2, y2 = place(index + 1, number)
                move = voicings[index + 1].pitches[number].midi - pitch.midi
                pen.lines([(x, y, x2, y2)], look.ink if not move else look.line, 1.3 if move else 3.2)
                if move:
                    length = ((x2 - x) ** 2 + (y2 - y) ** 2) ** 0.5
                    aside = (0.65 + 0.6 * abs(y2 - y) / length) * look.small
                    spot_x = x + 0.36 * (x2 - x) - aside * (y2 - y) / length
                    spot_y = y + 0.36 * (y2 - y) + aside * (x2 - x) / length - 0.36 * look.small
                    pen.write(spot_x, spot_y, _signed(move), align="center", colour=look.soft)

    said = []
    for before, after in zip(voicings, voicings[1:], strict=False):
        pairs = zip(before.pitches, after.pitches, strict=True)
        said.append(", ".join(f"{a}→{b} ({_signed(b.midi - a.midi)})" for a, b in pairs))
    chain = " → ".join(f"{voicing.chord} {grip}" for voicing, grip in zip(voicings, grips, strict=True))
    return Picture(title, titled(title, f"{chain}: {' | '.join(said)}"), column * len(steps), height, look, draw)


def _semitone(look: Theme, span: int, rest: float) -> float:
    """How many points a semitone rises where so many are spanned, beside the rest of the height."""
    room = HIGHEST * look.width - rest if look.fills_width else math.inf
    return min(0.62 * look.mark, room / max(1, span))


def _signed(semitones: int) -> str:
    return f"{semitones:+d}".replace("-", "−") if semitones else "stays"
