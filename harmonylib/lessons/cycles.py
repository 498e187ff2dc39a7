"""Inversion cycles: the four inversions of a chord on one string set, what each voice does, and where the neck ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from harmonylib.guitar.neck import Neck
from harmonylib.lessons.row import Row
from harmonylib.lessons.said import Said, section
from harmonylib.lessons.symbols import chord_of
from harmonylib.lessons.table import Table, table
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import PRACTICE_ORDER
from harmonylib.theory.voicings import Voicing, inversions


@section
def cycle(chord: Chord | str, neck: Neck | None = None, spread: str = "drop 2", strings: Sequence[int] = ()) -> Row:
    """The inversions of a chord on one string set, in the order in which they go up the neck.

    >>> cycle("Cmaj7", Neck(), "drop 2", (5, 4, 3, 2))
    Cmaj7, drop 2 on strings 5432
    Cmaj7 x3545x, root position, stretch 59 mm
    Cmaj7 x7958x, first inversion, stretch 100 mm
    Cmaj7 x-10-10-9-12-x, second inversion, stretch 61 mm
    Cmaj7 x-14-14-12-13-x, third inversion, stretch 35 mm
    """
    chord, neck = chord_of(chord), neck or Neck()
    sets = neck.string_sets(spread)
    strings = tuple(strings) or (sets[0] if sets else ())
    turns = neck.cycle(inversions(chord, spread)[0], strings) if strings else ()
    upward = sorted(turns, key=lambda step: min(step[1].fretted, default=0))
    captions = tuple(f"{v.inversion}, stretch {neck.stretch_mm(grip.frets):.0f} mm" for v, grip in upward)
    title = f"{chord}, {spread} on strings {''.join(map(str, strings))}"
    return Row(neck, tuple(upward), captions, title, remarks=chord.remarks)


@section
def ring(turns: Row | Said) -> Table | Said:
    """What each string plays in four steps of a cycle, from where it starts; the highest string stands on top.

    >>> ring(cycle("Cmaj7", Neck(), "drop 2", (5, 4, 3, 2))).rows[-1]
    ('5', '1 → 3 → 5 → 7 → 1', '4 + 3 + 4 + 1 = 12 frets')
    """
    start = _start(turns)
    if start is None or isinstance(turns, Said):
        return _nothing(turns)
    steps = [start.step(n) for n in range(5)]
    rows = []
    for place, string in enumerate(turns.steps[0][1].strings):
        heights = [step.pitches[place].midi for step in steps]
        moves = [after - before for before, after in zip(heights, heights[1:], strict=False)]
        degrees = " → ".join(step.degrees[place] for step in steps)
        rows.append((string, degrees, f"{' + '.join(map(str, moves))} = {sum(moves)} frets"))
    return table("string | degrees | frets from step to step", rows[::-1], remarks=turns.remarks)


@section
def fold_down(turns: Row | Said) -> Table | Said:
    """The cycle begun with each of its grips in turn; where frets fall, it has folded down an octave."""
    start = _start(turns)
    if start is None or isinstance(turns, Said):
        return _nothing(turns)
    strings = turns.steps[0][1].strings
    lines = [turns.neck.cycle(voicing, strings) for voicing, _ in turns.steps if voicing]
    rows = ((line[0][0].inversion, " → ".join(str(grip) for _, grip in line)) for line in lines)
    return table("begun with | grips", rows, remarks=turns.remarks)


@section
def octave_row(turns: Row | Said) -> Row | Said:
    """One step after another from the lowest grip of a cycle, four of them: the last is the first, an octave up."""
    start = _start(turns)
    if start is None or isinstance(turns, Said):
        return _nothing(turns)
    strings = turns.steps[0][1].strings
    placed = [(step, turns.neck.place(step, strings)) for step in (start.step(n) for n in range(5))]
    kept = tuple((step, grip) for step, grip in placed if grip)
    return replace(turns, steps=kept, captions=())


@section
def guide_places(turns: Row | Said) -> Table | Said:
    """Where the guide tones lie in each grip of a cycle."""
    start = _start(turns)
    if start is None or isinstance(turns, Said):
        return _nothing(turns)
    third, seventh = start.stack[1], start.stack[3]
    chord = start.chord
    rows = []
    for voicing, grip in turns.steps:
        places = dict(zip(voicing.degrees, grip.strings, strict=True)) if voicing else {}
        rows.append((grip, *(f"string {places[degree]}" for degree in (third, seventh))))
    head = f"grip | {chord.name_of(third)}, the {third} | {chord.name_of(seventh)}, the {seventh}"
    return table(head, rows, remarks=turns.remarks)


@section
def twelve_cycles(
    chord: Chord | str, neck: Neck | None = None, spread: str = "drop 2", strings: Sequence[int] = ()
) -> Table:
    """The cycle of the chord's family on all twelve roots in the order of fourths, each line from low to high."""
    chord, neck = chord_of(chord), neck or Neck()
    strings = tuple(strings) or next(iter(neck.string_sets(spread)), ())
    rows = []
    for root in PRACTICE_ORDER:
        start = inversions(f"{root}{chord.suffix}", spread)[0].step(-4)
        turns = neck.cycle(start, strings) if strings else ()
        upward = sorted((min(grip.fretted, default=0), str(grip)) for _, grip in turns)
        rows.append((root, *[grip for _, grip in upward], *["–"] * (4 - len(upward))))
    return table("root | lowest | next | next | highest", rows, remarks=chord.remarks)


def _start(turns: Row | Said) -> Voicing | None:
    return turns.steps[0][0] if isinstance(turns, Row) and turns.steps else None


def _nothing(turns: Row | Said) -> Said:
    return turns if isinstance(turns, Said) else Said(turns.empty, turns.remarks)
