"""Reading a tune file: the door behind `harmonylib.tunes.read`.

Conventions
- A file becomes a `Sheet` (`reading_musicxml`, `reading_abc`), a sheet becomes a tune here.
- music21 reads notes; what a chord symbol says is read by `harmonylib.chords` alone, so music21 never sees one.
- The melody is the top line of the first part or voice that has notes; what is left out is said in the remarks.
- Nothing but a `HarmonyError` leaves this module.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import threading
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from harmonylib.chords import Chord
from harmonylib.pitch import HarmonyError
from harmonylib.tunes import DEFAULT_TEMPO, MODES, Bar, Change, Note, Tune, tonic

LIMIT = 20_000_000
"""Bytes a file may hold, unpacked: a long book of tunes has about a tenth of that."""

MOST_NOTES = 20_000
"""Notes and rests a part or tune may hold: a long symphony has about as many in its first part."""
MOST_QUARTERS = 50_000
"""Quarter notes a tune may last: more than 12,000 bars."""

LONGEST = 1000
"""Quarter notes a single note or rest may last; more is a damaged file."""

SUFFIXES = (".musicxml", ".xml", ".mxl", ".abc")
MODE_NAMES = {**{mode: mode for mode in MODES}, "ionian": "major", "aeolian": "minor"}
NO_CHORD = re.compile(r"n\.?\s*c\.?|no\s*chord|none|tacet", re.IGNORECASE)
STEERING = re.compile(
    r"\b(?:D\.?\s?[CS]\.?(?=\s|$)|da\s?capo|dal\s?segno|(?:to\s?)?coda|fine|segno)", re.IGNORECASE
)  # words that send the player elsewhere

_READING = threading.Lock()


def read_file(path: str | Path, number: int = 1) -> Tune:
    """What `harmonylib.tunes.read` says."""
    file = Path(path)
    return read_bytes(_load(file), format_of(file), number, file.stem, str(path))


def tunes_in(path: str | Path) -> tuple[bytes, ...]:
    """The tunes of a file, each as the bytes of a file of its own: an ABC book is taken apart, nothing is read.

    Raises `HarmonyError` for a file that cannot be opened or is of another kind.
    """
    data = _load(Path(path))
    if format_of(path) != "abc" or len(data) > LIMIT:
        return (data,)
    from harmonylib.reading_abc import split_book

    return split_book(data)


def count_tunes(path: str | Path) -> int:
    """How many tunes a file holds: those of an ABC book, else one; the last is ``read(path, count_tunes(path))``."""
    return len(tunes_in(path))


def format_of(path: str | Path) -> str:
    """What the name of a file says it is: "abc" or "musicxml"."""
    return "abc" if Path(path).suffix.lower() == ".abc" else "musicxml"


def _load(file: Path) -> bytes:
    """The bytes of a file, one more than `LIMIT` at most."""
    if os.path.isdir(file):  # unlike that of a Path it takes any name
        raise HarmonyError(f"{str(file)!r} is a folder: name one file in it that ends in {', '.join(SUFFIXES)}")
    if file.suffix.lower() not in SUFFIXES:
        raise HarmonyError(
            f"{str(file)!r} is not a kind of file this course reads: give MusicXML (.musicxml, .xml), compressed "
            f"MusicXML (.mxl) or ABC (.abc)"
        )
    try:
        with file.open("rb") as stream:
            return stream.read(LIMIT + 1)
    except FileNotFoundError:
        raise HarmonyError(f"{str(file)!r} was not found: check the name and the folder") from None
    except (OSError, ValueError) as error:
        raise HarmonyError(f"{str(file)!r} cannot be opened: {getattr(error, 'strerror', '') or error}") from None


def read_bytes(data: bytes, format: str, number: int, stem: str = "Untitled", where: str = "the text") -> Tune:
    """A tune from the bytes of a file; `where` names it in errors, `stem` is its title if it has none."""
    if not data.strip():
        raise HarmonyError(f"{where!r} is empty: it should hold a tune in MusicXML or ABC")
    if len(data) > LIMIT:
        raise HarmonyError(f"{where!r} is larger than {LIMIT // 1_000_000} MB: give the file of a single tune")
    if isinstance(number, bool) or not isinstance(number, int) or number < 1:
        raise HarmonyError(f"{number!r} is not the number of a tune: count the tunes of a book from 1")
    from harmonylib.reading_abc import read_abc
    from harmonylib.reading_musicxml import read_musicxml

    try:
        with _quiet():
            sheet = read_abc(data, number) if format == "abc" else read_musicxml(data, number)
            return _tune(sheet, stem)
    except HarmonyError as error:
        raise HarmonyError(f"{where}: {error}") from error
    except Exception as error:  # music21 raises what it likes on a damaged file; the reader of a message wants one kind
        raise HarmonyError(
            f"{where}: the notes cannot be read ({type(error).__name__}: {str(error)[:120]}); open the file in a "
            f"notation program, repair it and save it again"
        ) from error


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Nothing on standard error; it is swapped for the whole process, so one file at a time."""
    with _READING, contextlib.redirect_stderr(io.StringIO()), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


@dataclass
class Sheet:
    """What a file says, before the melody is one line."""

    title: str = ""
    composer: str = ""
    tempo: float | None = None
    mode: str | None = None
    notes: list[tuple[Note, bool]] = field(default_factory=list)
    """Every note, and whether a tie leads into it."""
    chords: list[tuple[Fraction, Chord | None | HarmonyError]] = field(default_factory=list)
    """In written order; an error is a symbol that cannot be read."""
    bars: list[Bar] = field(default_factory=list)
    numbers: list[str] = field(default_factory=list)
    pick_up: bool | None = None
    """Whether the file calls its first bar one; None: see by its length."""
    remarks: list[str] = field(default_factory=list)
    note_move: tuple[int, int] = (0, 0)
    """Letters and semitones from the written to the sounding notes."""
    chord_move: tuple[int, int] = (0, 0)


# --- from a sheet to a tune -------------------------------------------------------------------------------------


def _tune(sheet: Sheet, stem: str) -> Tune:
    if not sheet.notes:
        raise HarmonyError("it has no melody notes: write the melody in the first part or voice")
    remarks = list(sheet.remarks)
    if sheet.tempo is None:
        remarks.append(f"the file gives no tempo: {DEFAULT_TEMPO:g} quarter notes a minute unless you set another")
    notes, left_out = _top_line(_joined(sheet.notes))
    if left_out:
        remarks.append(f"several notes sound together: the highest is the melody, left out or cut short: {left_out}")
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
    changes, unread = _changes(sheet, tune)
    if not any(change.chord for change in changes):
        why = f" ({unread[0].partition(';')[0]})" if unread else ""
        raise HarmonyError(
            f"it has no chord symbols that can be read{why}: write chord symbols over the melody, in MusicXML as "
            f'harmony and in ABC in quotes, as in "Am7"'
        )
    remarks += unread[:8] + ([f"{len(unread) - 8} more chord symbols cannot be read"] if len(unread) > 8 else [])
    tune = replace(tune, changes=tuple(changes), mode=sheet.mode or _guess_mode(bars[-1].fifths, changes, notes))
    tune = replace(tune, remarks=tuple(dict.fromkeys(remarks)))
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
    if pick_up is None:
        pick_up = len(bars) > 1 and bars[0].length < Fraction(4 * bars[0].metre[0], bars[0].metre[1])
    written = [int(n) if n.isdecimal() and len(n) < 7 else -1 for n in sheet.numbers] or [-1]
    counts_up = written[0] >= 0 and all(a < b for a, b in zip(written, written[1:], strict=False))
    if not counts_up or pick_up != (written[0] == 0):
        written = list(range(0 if pick_up else 1, len(bars) + 1))
    return [replace(bar, number=number) for bar, number in zip(bars, written, strict=False)]


def _changes(sheet: Sheet, tune: Tune) -> tuple[list[Change], list[str]]:
    """The changes in time, the last one written at a moment, and a remark on each symbol that cannot be read."""
    found: dict[Fraction, Chord | None] = {}
    remarks = []
    for onset, chord in sorted(sheet.chords, key=lambda pair: pair[0]):
        bar = tune.bar_at(onset).number
        if isinstance(chord, HarmonyError):
            remarks.append(f"bar {bar}: {chord}; the chord before it goes on")
        elif onset >= tune.end:
            remarks.append(f"{chord or 'N.C.'} after the last bar is left out")
        else:
            found[max(onset, Fraction(0))] = chord
            remarks += [f"bar {bar}, {chord}: {remark}" for remark in (chord.remarks if chord else ())]
    return [Change(onset, chord) for onset, chord in found.items()], remarks


def _guess_mode(fifths: int, changes: list[Change], notes: list[Note]) -> str:
    """Minor if the last chord is minor and stands on the tonic of the relative minor, or the melody ends on it."""
    chords = [change.chord for change in changes if change.chord]
    relative = tonic(fifths, "minor").pitch_class
    last = chords[-1]
    if last.root.pitch_class == relative:
        return "minor" if "♭3" in last.degrees else "major"
    ends = notes[-1].pitch.midi % 12 == relative == chords[0].root.pitch_class
    return "minor" if ends and "♭3" in chords[0].degrees else "major"


def clean(text: str | None) -> str:
    """One line without control characters, of at most 200 characters."""
    return " ".join("".join(c if c.isprintable() else " " for c in text or "").split())[:200].strip()


def countable(notes: int = 0, quarters: Fraction = Fraction(0)) -> None:
    """Raises `HarmonyError` when there is more than `MOST_NOTES` or `MOST_QUARTERS`, before it is laid out."""
    if notes > MOST_NOTES:
        raise HarmonyError(f"it has more than {MOST_NOTES} notes and rests: give the file of a single tune")
    if quarters > MOST_QUARTERS:
        raise HarmonyError(f"it lasts longer than {MOST_QUARTERS} quarter notes: give the file of a single tune")


def fraction(value: Any) -> Fraction:
    return Fraction(value).limit_denominator(65_535)  # music21's own limit for lengths that are no binary fractions


def likely_tempo(value: float) -> float | None:
    return value if 10 <= value <= 1000 else None


def steer(text: str) -> str:
    return (text.capitalize() if text.islower() else text)[:60]


def read_chord(symbol: str) -> Chord:
    """`Chord.parse` with roots and basses of at most one accidental; raises `HarmonyError`."""
    chord = Chord.parse(symbol)
    return replace(chord, root=chord.root.simplest(), bass=chord.bass and chord.bass.simplest())
