"""An arrangement as a table: one row a note or answer, as CSV for a spreadsheet and as lines for a terminal.

Conventions
- The table follows the bars in written order. Bars and beats count from 1, a pick-up is bar 0.

Source: CSV as RFC 4180 has it.
"""

from __future__ import annotations

import csv
import io
from itertools import groupby

from harmonylib.arranging.arrangement import ARRANGEMENT, Answer, Arrangement
from harmonylib.arranging.choice import Choice
from harmonylib.errors import expect
from harmonylib.files import safe_cell
from harmonylib.tunes.bars import WhichBars, bars_meant
from harmonylib.tunes.metre import beat_text
from harmonylib.wording import plain


def facts(arrangement: Arrangement) -> tuple[str, ...]:
    """Key, tempo and settings in words, for a heading.

    >>> from harmonylib.arranging.arrange import arrange
    >>> from harmonylib.tunes.reading import read_text
    >>> facts(arrange(read_text('T:One\\nM:2/4\\nL:1/4\\nK:C\\n"Cmaj7"E F|')))[:3]
    ('C major', '120 quarter notes a minute', 'density comfortable')
    """
    settings, neck = arrangement.settings, arrangement.settings.neck
    return (
        arrangement.tune.key,
        f"{arrangement.tempo:g} quarter notes a minute",
        f"density {settings.density}",
        f"tuning {plain(neck.tuning)}" + (f", capo at fret {neck.capo}" if neck.capo else ""),
        f"frets to {neck.frets}",
        f"reach {neck.reach_mm:g} mm",
    )


COLUMNS = "bar beat melody_note chord degree treatment voicing inversion string_set frets fingers reason".split()


def rows(
    arrangement: Arrangement, first: WhichBars = None, last: int | None = None, bars: WhichBars = None
) -> list[dict[str, str]]:
    """What there is to say of every note and answer in some bars (default: all), in the order of time.

    Which bars is said as in `bar_range`.

    An answer has its own top note where a melody note has the melody, and “answer” or “approach” for a treatment.
    """
    tune = expect(Arrangement, arrangement, ARRANGEMENT).tune
    chosen = bars_meant(tune, bars, first, last)
    start, end = chosen[0].onset, chosen[-1].end
    found = [(choice.note.onset, _note_row(arrangement, choice)) for choice in arrangement.choices]
    found += [(answer.onset, _answer_row(arrangement, answer)) for answer in arrangement.answers]
    inside = [(onset, row) for onset, row in found if start <= onset < end]
    made = []
    for onset, row in sorted(inside, key=lambda pair: pair[0]):
        bar, beat = str(tune.bar_at(onset).number), beat_text(tune.beat_at(onset))
        made.append(dict(zip(COLUMNS, (bar, beat, *row), strict=True)))
    return made


def _note_row(arrangement: Arrangement, choice: Choice) -> tuple[str, ...]:
    grip, voicing = choice.grip, choice.voicing
    return (
        str(choice.note.pitch),
        str(choice.chord or "N.C."),
        choice.tested.degree or "",
        choice.treatment,
        voicing.spread if voicing else "",
        voicing.inversion if voicing else "",
        grip.string_set if grip else "",
        str(grip or ""),
        grip.fingers_text if grip else "",
        choice.reason,
    )


def _answer_row(arrangement: Arrangement, answer: Answer) -> tuple[str, ...]:
    grip, voicing = answer.grip, answer.voicing
    return (
        str(voicing.top),
        str(voicing.chord),
        "" if answer.approach else voicing.degrees[-1],
        "approach" if answer.approach else "answer",
        voicing.spread,
        "" if answer.approach or not all(voicing.degrees) else voicing.inversion,
        grip.string_set,
        str(grip),
        grip.fingers_text,
        answer.reason,
    )


def csv_text(arrangement: Arrangement) -> str:
    """One row a melody note or answer, as RFC 4180 has it: `COLUMNS`, commas, lines that end in CR LF.

    A cell that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(name.replace("_", " ") for name in COLUMNS)
    for row in rows(arrangement):
        writer.writerow(safe_cell(value) for value in row.values())
    return buffer.getvalue()


def text(arrangement: Arrangement, first: WhichBars = None, last: int | None = None, *, bars: WhichBars = None) -> str:
    """The tune in lines, one a note or answer: bar and beat, chord, top note, frets, reason.

    Bars `first` to `last`, or `bars` as in ``bars="B"``, alone when they are given; the whole tune has a heading. An
    answer is set off by an arrow.
    """
    lines = []
    for row in rows(arrangement, first, last, bars):
        place = f"{row['bar']}.{row['beat']}" + (" →" if row["treatment"] in ("answer", "approach") else "")
        lines.append((row["bar"], (place, row["chord"], row["melody_note"], row["frets"] or "–", row["reason"])))
    widths = [max((len(line[column]) for _, line in lines), default=0) for column in range(4)]
    told = []
    for _, group in groupby(lines, key=lambda pair: pair[0]):
        told.append("\n".join("  ".join((*map(str.ljust, line[:4], widths), line[4])) for _, line in group))
    if (first, last, bars) != (None, None, None):
        return "\n".join(told)
    tune = arrangement.tune
    title = plain(tune.title) + (f" ({plain(tune.composer)})" if tune.composer else "")
    return "\n\n".join([f"{title}\n{', '.join(facts(arrangement))}", *told]) + "\n"
