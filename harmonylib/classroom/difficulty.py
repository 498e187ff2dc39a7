"""How difficult a tune is: its figures, measured on an arrangement, and a number from 0 to 10 made of them.

The tune is arranged with a chord on every note that can carry one; a literal table of weights turns its figures into
the difficulty. A teacher sees from the printed parts why a tune stands where it does.

Conventions
- Bars and travel are of the written tune: repeats are not played out. Lengths are millimetres, times seconds.
- A task carries the tune's own bytes, so the machine that does it needs no access to the folder.

The figures are facts of the arrangement; weights and ramps are common practice, settings of taste.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

from harmonylib.answering.gaps import gaps
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.checking import check
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.table import Table, table
from harmonylib.tunes.chordtones import ROLES
from harmonylib.tunes.reading import format_of, read_bytes


class Weight(NamedTuple):
    """One entry of the difficulty: `points` at most, none when a column of the row is at `easy`, all at `hard`."""

    points: float
    column: str
    easy: float
    hard: float
    why: str


WEIGHTS = {
    # what           points  column of the row       easy   hard   why (common practice)
    "pace": Weight(2.5, "chords_per_second", 0.5, 4.0, "the more chords a second, the less time to form each"),
    "travel": Weight(
        2.0, "travel_mm_per_minute", 500, 6000, "the more way the hand makes in a minute, the more it misses"
    ),
    "changes": Weight(1.5, "fastest_change_s", 2.0, 0.4, "a harmony that soon gives way must be thought ahead"),
    "reach": Weight(1.5, "widest_reach_mm", 60, 105, "a wide grip takes a trained hand"),
    "foreign": Weight(
        1.5, "chord_tones", 1.0, 0.5, "each note foreign to its chord asks for a passing diminished chord"
    ),
    "length": Weight(1.0, "bars", 8, 64, "a long tune is more to remember"),
}
"""Each entry is a straight ramp between two values of one column; the points add up to 10."""


@dataclass(frozen=True, slots=True)
class Row:
    """What there is to say of one tune; `foreign` counts foreign notes by the names of `ROLES`.

    `chord_tones` is the share of notes under a chord that belong to it, `harmonisable` the share of all notes that
    carry a chord at density “every” (both 0 to 1); `fastest_change_s` is None for a tune of a single chord.
    """

    file: str
    number: int
    title: str
    key: str
    metre: str
    tempo: float
    bars: int
    notes: int
    lowest: str
    highest: str
    chord_tones: float
    foreign: dict[str, int]
    harmonisable: float
    chords_per_second: float
    fastest_change_s: float | None
    travel_mm_per_minute: float
    widest_reach_mm: float
    gaps: int
    remarks: tuple[str, ...] = ()

    @property
    def parts(self) -> dict[str, float]:
        """What each entry of `WEIGHTS` adds to the difficulty."""
        return {name: _ramp(weight, getattr(self, weight.column)) for name, weight in WEIGHTS.items()}

    @property
    def difficulty(self) -> float:
        """From 0 to 10, to a hundredth."""
        return round(sum(self.parts.values()), 2)


class Task(NamedTuple):
    """One tune to be measured, whole: it can be sent anywhere."""

    file: str
    number: int
    data: bytes
    neck: Neck
    tempo: float | None


class Outcome(NamedTuple):
    """A row, or why there is none; one that is not `sure` hung on the machine and is not stored."""

    row: Row | None
    why: str = ""
    sure: bool = True


def measure(task: Task) -> Outcome:
    """The row of a tune, or why there is none; raises nothing."""
    try:
        tune = read_bytes(task.data, format_of(task.file), 1, Path(task.file).stem, task.file)
        return Outcome(_row(task, arrange(tune, neck=task.neck, density="every", tempo=task.tempo)))
    except HarmonyError as error:
        return Outcome(None, str(error).removeprefix(f"{task.file}: "))
    except Exception as error:  # one tune must not end the run, whatever is wrong with it
        return Outcome(None, f"it cannot be arranged ({type(error).__name__}: {str(error)[:120]})")


def _row(task: Task, arrangement: Arrangement) -> Row:
    source, tune, neck = arrangement.source, arrangement.tune, arrangement.settings.neck
    quarter = 60 / arrangement.tempo
    minutes = float(tune.end) * quarter / 60
    tested = [choice.tested for choice in arrangement.choices if choice.chord]
    grips = [choice.grip for choice in arrangement.choices if choice.grip]
    hand = [neck.position_mm(grip) for grip in grips]
    travel = sum(abs(b - a) for a, b in zip(hand, hand[1:], strict=False))
    new = [next(group).onset for _, group in groupby(tune.changes, key=lambda change: change.chord)]
    between = [float(b - a) * quarter for a, b in zip(new, new[1:], strict=False)]
    by_height = sorted((note.pitch for note in source.notes), key=lambda pitch: pitch.midi)
    roles = Counter(verdict.role for verdict in tested if verdict.role)
    return Row(
        task.file,
        task.number,
        title=source.title,
        key=source.key,
        metre=" ".join(dict.fromkeys(f"{bar.metre[0]}/{bar.metre[1]}" for bar in source.bars)),
        tempo=round(float(arrangement.tempo), 2),
        bars=len(source.bars),
        notes=len(source.notes),
        lowest=str(by_height[0]),
        highest=str(by_height[-1]),
        chord_tones=round(sum(verdict.degree is not None for verdict in tested) / max(len(tested), 1), 4),
        foreign={role: roles[role] for role in ROLES if roles[role]},
        harmonisable=round(arrangement.share, 4),
        chords_per_second=round(sum(c.voicing is not None for c in arrangement.choices) / (60 * minutes), 3),
        fastest_change_s=round(min(between), 3) if between else None,
        travel_mm_per_minute=round(travel / minutes, 1),
        widest_reach_mm=round(max((neck.stretch_mm(grip.frets) for grip in grips), default=0.0), 1),
        gaps=sum(not gap.why_silent for gap in gaps(arrangement)),
        remarks=(*source.remarks, *arrangement.remarks, *check(arrangement)),
    )


def _ramp(weight: Weight, value: float | None) -> float:
    """The points of one entry: none up to `easy`, all from `hard` on, in proportion between."""
    share = 0.0 if value is None else (value - weight.easy) / (weight.hard - weight.easy)
    return weight.points * min(max(share, 0.0), 1.0)


def difficulty_parts() -> Table:
    """The parts a difficulty is the sum of: a chapter shows them, and a survey prints them under its table.

    >>> print(difficulty_parts().head)
    ('part', 'nothing at', 'all at', 'points', 'why')
    """
    rows = (
        (w.column.replace("_", " "), f"{w.easy:g}", f"{w.hard:g}", f"{w.points:g}", w.why) for w in WEIGHTS.values()
    )
    remark = "between the two in proportion; the sum is the difficulty, 0 to 10; the weights are common practice"
    return table("part | nothing at | all at | points | why", rows, ["why"], [remark])
