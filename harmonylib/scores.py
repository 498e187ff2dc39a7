"""Scores: the ways an arrangement leaves the house: MusicXML, SVG, PDF, MIDI, a table, plain text, and files.

`harmonylib.notation` writes the MusicXML, `harmonylib.printing` engraves and prints it; both are named here too.

Conventions
- MIDI and table follow the bars in written order; repeats are not played out.
- Bars and beats count from 1, a pick-up is bar 0.

Sources: Standard MIDI File 1.0 and General MIDI 1 (MIDI Association); RFC 4180 for CSV.
"""

from __future__ import annotations

import csv
import io
import os
import re
import tempfile
import unicodedata
from collections.abc import Mapping
from contextlib import suppress
from itertools import groupby
from math import lcm
from pathlib import Path

from harmonylib.arranging import Arrangement, Choice
from harmonylib.notation import Event as Event
from harmonylib.notation import events as events
from harmonylib.notation import facts, plain, within
from harmonylib.notation import musicxml as musicxml
from harmonylib.pitch import HarmonyError
from harmonylib.printing import PAPERS as PAPERS
from harmonylib.printing import engrave as engrave
from harmonylib.printing import page as page
from harmonylib.printing import pdf as pdf
from harmonylib.printing import systems as systems
from harmonylib.tunes import beat_text

JAZZ_GUITAR = 26  # General MIDI 1 counts “Electric Guitar (jazz)” as 27 from 1
TICKS = 960
"""MIDI ticks a quarter note, at least: halves, triplets and quintuplets are whole numbers of them."""

COLUMNS = "bar beat melody_note chord degree treatment voicing inversion string_set frets fingers reason".split()
"""The columns of the table, one row a melody note."""


# --- MIDI -------------------------------------------------------------------------------------------------------


def midi(arrangement: Arrangement) -> bytes:
    """The arrangement as a Standard MIDI File of type 1: tempo, metres and keys, and one jazz guitar, unstrummed.

    Onsets are exact: the ticks of a quarter note are a multiple of 960 that every onset and end divides.
    """
    import mido

    tune = arrangement.tune
    sounding = events(arrangement)
    moments = [moment for event in sounding for moment in (event.onset, event.onset + event.duration)]
    exact = lcm(TICKS, *(moment.denominator for moment in moments))
    ticks = exact if exact < 2**15 else TICKS
    conductor = [(0, mido.MetaMessage("track_name", name=plain(tune.title)))]
    conductor.append((0, mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(arrangement.tempo))))
    metre = fifths = None
    for bar in tune.bars:
        at = round(bar.onset * ticks)
        if bar.metre != metre:
            metre = bar.metre
            signature = mido.MetaMessage("time_signature", numerator=metre[0], denominator=metre[1])
            conductor.append((at, signature))
        if bar.fifths != fifths:
            fifths = bar.fifths
            conductor.append((at, mido.MetaMessage("key_signature", key=_midi_key(fifths, tune.mode))))
    guitar = [(0, mido.MetaMessage("track_name", name="Guitar"))]
    guitar.append((0, mido.Message("program_change", program=JAZZ_GUITAR)))
    for event in sounding:
        start, end = round(event.onset * ticks), round((event.onset + event.duration) * ticks)
        for pitch in event.pitches:
            guitar.append((start, mido.Message("note_on", note=pitch.midi, velocity=80)))
            guitar.append((end, mido.Message("note_off", note=pitch.midi, velocity=0)))
    file = mido.MidiFile(type=1, ticks_per_beat=ticks, charset="utf-8")
    for messages in (conductor, guitar):
        track = mido.MidiTrack()
        before = 0
        for at, message in sorted(
            messages, key=lambda pair: (pair[0], pair[1].type != "note_off", pair[1].type == "note_on")
        ):
            track.append(message.copy(time=at - before))
            before = at
        file.tracks.append(track)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def _midi_key(fifths: int, mode: str) -> str:
    from harmonylib.tunes import tonic

    mode = mode if mode in ("major", "minor") else "major"  # MIDI knows no others
    name = tonic(fifths, mode)
    return name.letter + {-1: "b", 0: "", 1: "#"}[name.alter] + ("m" if mode == "minor" else "")


# --- tables -----------------------------------------------------------------------------------------------------


def csv_text(arrangement: Arrangement) -> str:
    """One row a melody note, as RFC 4180 has it: `COLUMNS`, commas, lines that end in CR LF.

    A cell that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(name.replace("_", " ") for name in COLUMNS)
    for choice in arrangement.choices:
        writer.writerow(_cell(value) for value in _row(arrangement, choice).values())
    return buffer.getvalue()


def _row(arrangement: Arrangement, choice: Choice) -> dict[str, str]:
    """What the table says of one note, by column."""
    tune, note, grip, voicing = arrangement.tune, choice.note, choice.grip, choice.voicing
    fingers = zip(grip.frets, grip.fingers, strict=True) if grip and grip.fingers else ()
    values = (
        str(tune.bar_at(note.onset).number),
        beat_text(tune.beat_at(note.onset)),
        str(note.pitch),
        str(choice.chord or "N.C."),
        choice.tested.degree or "",
        choice.treatment,
        voicing.spread if voicing else "",
        voicing.inversion if voicing else "",
        grip.string_set if grip else "",
        str(grip or ""),
        "".join("x" if fret is None else str(finger) for fret, finger in fingers),
        choice.reason,
    )
    return dict(zip(COLUMNS, values, strict=True))


def _cell(value: str) -> str:
    """The value, made harmless for spreadsheets, which run cells that start like a formula.

    >>> _cell("=1+1"), _cell("♭7")
    ("'=1+1", '♭7')
    """
    return f"'{value}" if value.startswith(("=", "+", "-", "@", "\t", "\r")) else value


def text(arrangement: Arrangement, first: int | None = None, last: int | None = None) -> str:
    """The tune in lines, one a note: bar and beat, chord, melody note, frets, reason.

    Bars `first` to `last` alone when they are given; the whole tune has a heading.
    """
    tune = arrangement.tune
    rows = [_row(arrangement, choice) for choice in within(arrangement, first, last)]
    lines = [(f"{r['bar']}.{r['beat']}", r["chord"], r["melody_note"], r["frets"] or "–", r["reason"]) for r in rows]
    widths = [max((len(line[column]) for line in lines), default=0) for column in range(4)]
    bars = []
    for _, group in groupby(zip(rows, lines, strict=True), key=lambda pair: pair[0]["bar"]):
        bars.append("\n".join("  ".join((*map(str.ljust, line[:4], widths), line[4])) for _, line in group))
    if first is not None or last is not None:
        return "\n".join(bars)
    title = plain(tune.title) + (f" ({plain(tune.composer)})" if tune.composer else "")
    return "\n\n".join([f"{title}\n{', '.join(facts(arrangement))}", *bars]) + "\n"


# --- files ------------------------------------------------------------------------------------------------------


def safe_stem(name: str) -> str:
    """A file name, without its suffix, that every file system takes, from any title.

    >>> safe_stem("../Été: a “song”?"), safe_stem("con"), safe_stem("…")
    ('Été_a_song', 'con_', 'tune')
    """
    kept = "".join(c if c.isalnum() or c in "-_ " else " " for c in unicodedata.normalize("NFC", plain(name)))
    stem = "_".join(kept.split()).strip("-_")
    while len(stem.encode()) > 80:
        stem = stem[:-1]
    reserved = re.fullmatch(r"con|prn|aux|nul|com\d|lpt\d", stem, re.IGNORECASE)
    return f"{stem}_" if reserved else stem or "tune"


def write_files(arrangement: Arrangement, folder: str | Path, stem: str, paper: str = "a4") -> tuple[Path, ...]:
    """Write stem.musicxml, .mid, .pdf and .csv into a folder (made if missing), all of them or none; returns the paths.

    Raises `HarmonyError` that names the folder and the cause; files that were there before are then as they were.
    """
    content = {
        ".musicxml": musicxml(arrangement).encode(),
        ".mid": midi(arrangement),
        ".pdf": pdf(arrangement, paper),
        ".csv": csv_text(arrangement).encode("utf-8-sig"),  # without the mark spreadsheets read ♭ as three letters
    }
    target = Path(folder)
    try:
        target.mkdir(parents=True, exist_ok=True)
        return _write_all({target / f"{safe_stem(stem)}{suffix}": data for suffix, data in content.items()}, target)
    except OSError as error:
        raise HarmonyError(
            f"nothing was written to the folder {str(folder)!r}: {error.strerror or error}; name a folder that can be "
            "written to and has room"
        ) from error


def _write_all(content: Mapping[Path, bytes], folder: Path) -> tuple[Path, ...]:
    """Every file under a passing name first, then all renamed; an `OSError` on the way takes back what was done."""
    blocked = next((path for path in content if path.is_dir()), None)
    if blocked:
        raise IsADirectoryError(0, f"{blocked.name} is a folder")
    with tempfile.TemporaryDirectory(prefix=".writing-", dir=folder) as passing:
        fresh, old = Path(passing, "new"), Path(passing, "old")
        fresh.mkdir()
        old.mkdir()
        for path, data in content.items():
            (fresh / path.name).write_bytes(data)
        moved: list[Path] = []
        try:
            for path in content:
                if path.exists():
                    os.replace(path, old / path.name)
                moved.append(path)
                os.replace(fresh / path.name, path)
        except OSError:
            for path in moved:
                path.unlink(missing_ok=True)
            for kept in old.iterdir():
                with suppress(OSError):
                    os.replace(kept, folder / kept.name)
            raise
    return tuple(content)
