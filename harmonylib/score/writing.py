"""Files: an arrangement written out as MusicXML, MIDI, PDF, a table and, if asked for, sound, all of them or none.

Score and table follow the bars in written order; MIDI and sound play the form.
"""

from __future__ import annotations

from pathlib import Path

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.files import safe_stem, write_together
from harmonylib.score.midi import midi
from harmonylib.score.musicxml import musicxml
from harmonylib.score.pdf import pdf
from harmonylib.score.tables import csv_text

SOUNDS = ("wav", "mp3")


def write_files(
    arrangement: Arrangement,
    folder: str | Path,
    stem: str,
    paper: str = "",
    sound: str = "",
    once: bool = False,
    reasons: bool = False,
) -> tuple[Path, ...]:
    """Write stem.musicxml, .mid, .pdf and .csv into a folder (made if missing), all of them or none; returns the paths.

    `sound` adds what it sounds like as "wav" or "mp3". MIDI and sound play the form out, with `once` every bar once;
    `reasons` prints why each grip was taken.

    Raises `HarmonyError` that names the folder and the cause; files that were there before are then as they were.
    """
    content = {
        ".musicxml": musicxml(arrangement).encode(),
        ".mid": midi(arrangement, once),
        ".pdf": pdf(arrangement, paper, reasons),
        ".csv": csv_text(arrangement).encode("utf-8-sig"),  # without the mark spreadsheets read ♭ as three letters
    }
    if sound:
        from harmonylib.sound.listening import sampled
        from harmonylib.sound.rendering import mp3, wav

        if sound not in SOUNDS:
            raise HarmonyError(f"{sound!r} is not a kind of sound file written here: choose {' or '.join(SOUNDS)}")
        content[f".{sound}"] = {"wav": wav, "mp3": mp3}[sound](sampled(arrangement, once))
    name = safe_stem(stem)
    return write_together({f"{name}{suffix}": data for suffix, data in content.items()}, folder)
