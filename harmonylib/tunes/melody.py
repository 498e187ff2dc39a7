"""A tune made of a sheet: its melody one line, its bars numbered, its mode guessed where the file is silent.

Conventions
- The melody is the top line of the first part or voice that has notes; what is left out is said in the remarks.
- The beats of a bar are the tune's own word: a bar is as long as what is written in it, and one that is longer or
  shorter than its metre is kept and remarked, unless it is a pick-up or one part of a divided bar.
- Where a file does not tell the mode, it is guessed from how the tune ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from harmonylib.errors import HarmonyError
from harmonylib.tunes.form import form
from harmonylib.tunes.harmony import changes_in
from harmonylib.tunes.metre import Bar, beat_text
from harmonylib.tunes.sheet import Sheet, clean, countable
from harmonylib.tunes.tune import DEFAULT_TEMPO, Change, Note, Tune, tonic


def tune_of(sheet: Sheet, stem: str) -> Tune:
    if not sheet.notes:
        raise HarmonyError("it has no melody notes: write the melody in the first part or voice")
    remarks = list(sheet.remarks)
    if sheet.tempo is None:
        remarks.append(f"the file gives no tempo: {DEFAULT_TEMPO:g} quarter notes a minute unless you set another")
    notes, left_out = _top_line(_joined(sheet.notes))
    if left_out:
        others = "1 other is" if left_out == 1 else f"{left_out} others are"
        remarks.append(f"several notes sound together: the highest is the melody, {others} left out or cut short")
    countable(quarters=sheet.bars[-1].end if sheet.bars else Fraction(0))
    bars = _numbered(sheet)
    tune = Tune(
        title=clean(sheet.title) or clean(stem) or "Untitled",
        notes=tuple(notes),
        changes=(),
        bars=tuple(bars),
        tempo=sheet.tempo or DEFAULT_TEMPO,
        composer=clean(sheet.composer),
    )
    changes, unread = changes_in(sheet, tune)
    if not any(change.chord for change in changes):
        why = f" ({unread[0].partition(';')[0]})" if unread else ""
        raise HarmonyError(
            f"it has no chord symbols that can be read{why}: write chord symbols over the melody, in MusicXML as "
            f'harmony and in ABC in quotes, as in "Am7", the root a capital'
        )
    odd = [] if sheet.free else _odd_bars(bars)
    remarks += odd[:8] + ([f"{len(odd) - 8} more runs of bars do not fill their metre"] if len(odd) > 8 else [])
    remarks += unread[:8] + ([f"{len(unread) - 8} more chord symbols cannot be read"] if len(unread) > 8 else [])
    tune = replace(tune, changes=tuple(changes), mode=sheet.mode or _guess_mode(bars[-1].fifths, changes, notes))
    tune = replace(tune, remarks=tuple(dict.fromkeys([*remarks, *form(tune).remarks])))
    if sheet.chord_move != (0, 0) or sheet.note_move != (0, 0):
        changes = list(tune.transposed(*sheet.chord_move).changes)
        tune = replace(tune.transposed(*sheet.note_move), changes=tuple(changes))
    return tune


def _joined(notes: list[tuple[Note, bool]]) -> list[Note]:
    """Notes with their ties joined, by onset and from the top."""
    joined: list[Note] = []
    ending: dict[tuple[int, Fraction], int] = {}
    for note, tied in sorted(notes, key=lambda pair: (pair[0].onset, -pair[0].pitch.midi)):
        before = ending.pop((note.pitch.midi, note.onset), None) if tied else None
        if before is None:
            before = len(joined)
            joined.append(note)
        else:
            joined[before] = replace(joined[before], duration=note.end - joined[before].onset)
        ending[note.pitch.midi, note.end] = before
    return joined


def _top_line(notes: list[Note]) -> tuple[list[Note], int]:
    """The highest sounding line, and how many notes it leaves out or cuts short."""
    line: list[Note] = []
    lost = 0
    for note in notes:
        last = line[-1] if line else None
        if last and note.onset < last.end:
            lost += note.pitch.midi != last.pitch.midi
            if note.pitch.midi <= last.pitch.midi:
                continue
            line[-1] = replace(last, duration=note.onset - last.onset)
        line.append(note)
    return line, lost


def _numbered(sheet: Sheet) -> list[Bar]:
    """The bars with the numbers of the file if they count up, else counted here; a pick-up is bar 0."""
    bars = sheet.bars
    pick_up = sheet.pick_up
    written = [int(n) if n.isdecimal() and len(n) < 7 else -1 for n in sheet.numbers] or [-1]
    if pick_up is None:
        pick_up = _opens_short(bars, written[0] == 0)
    counts_up = written[0] >= 0 and all(a < b for a, b in zip(written, written[1:], strict=False))
    if not counts_up or pick_up != (written[0] == 0):
        written = list(range(0 if pick_up else 1, len(bars) + 1))
    return [replace(bar, number=number) for bar, number in zip(bars, written, strict=False)]


def _opens_short(bars: list[Bar], called_0: bool) -> bool:
    """Whether the first bar is a pick-up: short, and not as short as the body of the tune unless the file says so."""
    if len(bars) < 2 or bars[0].length >= bars[0].full:
        return False
    body = bars[1:-1] or bars[1:]
    alike = sum((bar.length, bar.metre) == (bars[0].length, bars[0].metre) for bar in body)
    return called_0 or 2 * alike <= len(body)


def _odd_bars(bars: Sequence[Bar]) -> list[str]:
    """A remark on each run of bars that are longer or shorter than their metre without a reason."""
    odd = [bar for index, bar in enumerate(bars) if bar.length != bar.full and not _completed(bars, index)]
    runs: list[list[Bar]] = []
    for bar in odd:
        last = runs[-1][-1] if runs else None
        if last and (last.end, last.length, last.metre) == (bar.onset, bar.length, bar.metre):
            runs[-1].append(bar)
        else:
            runs.append([bar])
    return [_odd(run[0], run[-1]) for run in runs]


def _odd(first: Bar, last: Bar) -> str:
    unit = Fraction(4, first.metre[1])
    holds = f"{beat_text(first.length / unit)} beat{'s' * (first.length != unit)}"
    metre = f"its metre {first.metre[0]}/{first.metre[1]} has {first.metre[0]}"
    if first is last:
        return f"bar {first.number} holds {holds}, {metre}: it is kept as written"
    return f"bars {first.number} to {last.number} hold {holds} each, {metre.replace('its', 'their')}: kept as written"


def _completed(bars: Sequence[Bar], index: int) -> bool:
    """Whether a short bar is a pick-up or a piece of a divided bar: with a short neighbour, or with the pick-up to
    which a repeat or the end of the tune leads back, it makes a full bar."""
    bar = bars[index]
    if index == 0 and bar.number == 0:
        return True
    partners = [bars[near] for near in (index - 1, index + 1) if 0 <= near < len(bars)]
    if bar.repeat_end or index == len(bars) - 1 or bars[index + 1].repeat_start or bar.ending:
        partners += [other for place, other in enumerate(bars) if place < index and _opens(bars, place)]
    return any(partner.length < partner.full and partner.length + bar.length == bar.full for partner in partners)


def _opens(bars: Sequence[Bar], index: int) -> bool:
    """Whether a bar opens the tune or a repeat."""
    return index == 0 or bars[index].repeat_start or bars[index - 1].repeat_end


def _guess_mode(fifths: int, changes: list[Change], notes: list[Note]) -> str:
    """Minor if the last chord is minor and stands on the tonic of the relative minor, or the melody ends on it."""
    chords = [change.chord for change in changes if change.chord]
    relative = tonic(fifths, "minor").pitch_class
    last = chords[-1]
    if last.root.pitch_class == relative:
        return "minor" if "♭3" in last.degrees else "major"
    ends = notes[-1].pitch.midi % 12 == relative == chords[0].root.pitch_class
    return "minor" if ends and "♭3" in chords[0].degrees else "major"
