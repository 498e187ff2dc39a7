"""A tune of one's own: a lead sheet as text, what its reader says, octave, key, singers and horns, capo and tunings."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from harmonylib.arranging.arrange import arrange
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import TUNINGS, Neck
from harmonylib.lessons.harmonising import neck_again
from harmonylib.lessons.lesson import ON_A_TUNE, Lesson
from harmonylib.lessons.music import counted
from harmonylib.lessons.row import Row, row
from harmonylib.lessons.said import Said, section
from harmonylib.lessons.symbols import chord_of, key_of
from harmonylib.lessons.table import Table, table
from harmonylib.score.writing import write_files
from harmonylib.tunes.reading import read, read_text
from harmonylib.tunes.tune import Tune
from harmonylib.wording import joined, many

HORNS = {
    # instrument            how far its part is written above what sounds: letters, semitones (common practice)
    "B♭ trumpet": (1, 2),
    "B♭ tenor saxophone": (8, 14),
    "E♭ alto saxophone": (5, 9),
    "E♭ baritone saxophone": (12, 21),
}

ROUGH_COPY = 'T:Rough copy\nL:1/4\n"F6" {c}A2 [Fc] c | "Gmn7" B4 | "C7" c4 |'


def lead_sheet(music: str, title: str = "My tune", metre: str = "4/4", key: str = "C", unit: str = "1/4") -> str:
    """A lead sheet as ABC text: the music with its title, metre and key above it; a letter alone lasts `unit`.

    >>> print(lead_sheet('"C6" c4 |]', title="One bar"))
    T:One bar
    M:4/4
    L:1/4
    K:C
    "C6" c4 |]
    """
    with suppress(HarmonyError):  # the reader of the text says what is wrong with its key
        key = key_of(str(key))
    return f"T:{title}\nM:{metre}\nL:{unit}\nK:{key}\n{music}"


@section
def what_was_read(today: Lesson) -> Said:
    """What the reader found in the lesson's tune, and what it remarks."""
    tune = today.tune
    found = f"{counted(tune)}, {many(len(tune.changes), 'chord change')}"
    return Said(found, tune.remarks or ("the reader has no remarks",))


@section
def from_file(name: str) -> Said:
    """What is in a tune file of the folder tunes.

    >>> from_file("no such tune.abc")
    'no such tune.abc' was not found: check the name and the folder.
    """
    tune = read(Path(name))
    return Said(counted(tune), tune.remarks)


@section
def rough_copy(symbol: str = "Gmn7") -> Table:
    """What the reader remarks on a tune written in a hurry, with this for its second chord symbol.

    >>> len(rough_copy().rows) > len(rough_copy("Gm7").rows)
    True
    """
    tune = read_text(ROUGH_COPY.replace("Gmn7", symbol))
    return table("the reader remarks", ((remark,) for remark in tune.remarks), ["the reader remarks"])


@section
def read_as(*symbols: str) -> Table:
    """What chord symbols are read as.

    >>> read_as("Gø").rows
    (('Gø', 'Gm7♭5', 'G B♭ D♭ F'),)
    """
    rows = ((symbol, chord_of(symbol), joined(chord_of(symbol).names)) for symbol in symbols)
    return table("written | read as | notes", rows)


@section
def tune_range(today: Lesson) -> Said:
    """The lowest and the highest note of the tune, as written."""
    notes = sorted((note.pitch for note in today.tune.notes), key=lambda pitch: pitch.midi)
    if not notes:
        raise HarmonyError(f"{today.tune.title} has no notes")
    low, high = notes[0], notes[-1]
    span = many(high.midi - low.midi, "semitone")
    return Said(f"{today.tune.title} lies between {low} and {high}, {span}", today.remarks(*ON_A_TUNE))


@section
def octaves(today: Lesson) -> Table:
    """The tune written an octave lower, as it is and an octave higher: what is done, and what carries a chord."""
    rows = []
    for octave in (-1, 0, 1):
        written = today.tune.transposed(7 * octave, 12 * octave)
        played = arrange(written, today.music.settings)
        moved = "; ".join(played.remarks) or "left where it is"
        rows.append((written.notes[0].pitch, f"{played.share:.0%}", moved))
    return table("first note | carry a chord | what is done", rows, ["what is done"], today.remarks(*ON_A_TUNE))


@section
def for_singer(today: Lesson, letters: int = -2, semitones: int = -3) -> Said:
    """The tune moved for a singer, by letters and semitones, both up; as it ships, a minor third down."""
    sung = today.tune.transposed(letters, semitones)
    lower = arrange(sung, today.music.settings, key=None)
    first = f"{today.tune.key} becomes {sung.key}; the first note {today.tune.notes[0].pitch} becomes"
    return Said(f"{first} {sung.notes[0].pitch}; {lower.share:.0%} of the notes carry a chord")


@section
def for_horns(today: Lesson, horns: Mapping[str, tuple[int, int]] = HORNS) -> Table:
    """What each horn reads when the tune sounds as it is: its key, first note and first chord."""
    rows = []
    for horn, way in horns.items():
        part = today.tune.transposed(*way)
        chords = [change.chord for change in part.changes if change.chord]
        rows.append((horn, part.key, part.notes[0].pitch, chords[0] if chords else "–"))
    return table("horn | reads in | first note | first chord", rows, remarks=today.remarks(*ON_A_TUNE))


@section
def capos(today: Lesson) -> Table:
    """What a capo changes: the stretch of four frets, how many notes carry a chord, and the first grip."""
    made = [(fret, neck_again(today, capo=fret)) for fret in (0, 2, 4) if fret < today.neck.frets - 4]
    return _on_necks(today, "capo", [(str(fret), neck) for fret, neck in made])


@section
def tunings(today: Lesson) -> Table:
    """The tune in the tunings that have a name."""
    return _on_necks(today, "tuning", [(name, neck_again(today, tuning=name)) for name in TUNINGS])


def _on_necks(today: Lesson, head: str, necks: list[tuple[str, Neck]]) -> Table:
    rows = []
    for name, neck in necks:
        music = arrange(today.tune, today.music.settings, neck=neck)
        first = next((str(choice.grip) for choice in music.choices if choice.voicing), "–")
        rows.append((name, f"{neck.stretch_mm((1, 4)):.0f} mm", f"{music.share:.0%}", first))
    return table(f"{head} | frets 1 to 4 | carry a chord | first grip", rows, remarks=today.remarks(*ON_A_TUNE))


@section
def in_tuning(today: Lesson, tuning: str, most: int = 4) -> Row:
    """The first chords of the tune in another tuning.

    >>> from harmonylib.lessons.lesson import lesson
    >>> in_tuning(lesson(7), "no tuning")
    Tuning 'no tuning': name one of standard, dropped D, all fourths, open G, seven strings or write 4 to 10 ...
    """
    neck = neck_again(today, tuning=tuning, capo=0)
    music = arrange(today.tune, today.music.settings, neck=neck)
    shown = [choice for choice in music.choices if choice.voicing][:most]
    return row(neck, [(c.voicing, c.grip) for c in shown], title=tuning, remarks=today.remarks("tune", "key"))


@section
def take_home(today: Lesson, folder: str = "out", paper: str = "a4") -> Table:
    """The music written into a folder: MusicXML, MIDI, PDF and a table; the names of the files."""
    files = write_files(today.music, folder, today.tune.title, paper=paper)
    what = {".musicxml": "notation", ".mid": "anything that plays", ".pdf": "paper", ".csv": "a spreadsheet"}
    return table("file | for", ((file.name, what.get(file.suffix, "")) for file in files))


@section
def read_again(today: Lesson, folder: str = "out") -> Said:
    """What is found when the notation that was taken home is read again."""
    written = sorted(Path(folder).glob("*.musicxml"), key=lambda file: file.stat().st_mtime)
    if not written:
        raise HarmonyError(f"nothing has been written into {folder} yet")
    again: Tune = read(written[-1])
    count = f"{many(len(again.notes), 'melody note')} of {len(today.music.choices)}, in {again.key}"
    return Said(count, again.remarks)
