"""Two lead sheets nobody here wrote, from the corpus file to our MusicXML; music21 is the witness at both ends.

Source: music21's corpus, `leadSheet`. By its notes inside, the song of 1854 is “Public Domain”: what we make of it is
frozen whole in `lead_sheet_of_1854.csv`. The other file says “All Rights Reserved”; its song of 1911 is in the public
domain where the corpus is published, and not yet everywhere (from memory): it is read, and only a digest is kept here.

Both were frozen after the engraved pages and the list of grips had been looked at: the melody on top of drop 2 and drop
3 grips in common use, four fingers, no grip wider than 84 mm. That is a judgement, not a source. When the search is
changed on purpose, look again (``python -m harmonylib arrange`` on both files), then store the new grips with
``python -m tests.witnesses.test_lead_sheets``.
"""

import csv
import hashlib
import io
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from music21 import common, converter, harmony, stream

from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.checking import check
from harmonylib.score.musicxml import musicxml
from harmonylib.score.tables import csv_text
from harmonylib.tunes.reading import read
from tests.witnesses.tuning import OPEN_MIDI

READ_ONLY, WHOLE = "1911", "1854"
FILES = sorted((Path(common.getCorpusFilePath()) / "leadSheet").glob("*.mxl"))
SHEETS = dict(zip((READ_ONLY, WHOLE), FILES, strict=True))
FROZEN = Path(__file__).parent / "lead_sheet_of_1854.csv"
DIGEST = "4daa4bb9d2c7e54218f09bdedc1e03868f23fa88ed3eabdb6c4280799bafe26c"
NOTES = {WHOLE: 95, READ_ONLY: 131}
DENSITIES = ("comfortable", "every")
"""The default first."""
SHARED = ("bar", "beat", "melody note", "chord")


@cache
def arranged(sheet: str, density: str) -> Arrangement:
    return arrange(read(SHEETS[sheet]), density=density)


def table(sheet: str) -> str:
    """Bar, beat, melody note, chord, and the grip at either density: a note has one row."""
    made = [list(csv.DictReader(io.StringIO(csv_text(arranged(sheet, density))))) for density in DENSITIES]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow((*SHARED, *DENSITIES))
    for default, every in zip(*made, strict=True):
        assert [default[name] for name in SHARED] == [every[name] for name in SHARED]
        writer.writerow([*(default[name] for name in SHARED), default["frets"], every["frets"]])
    return text.getvalue()


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def melody(part: stream.Part) -> list[tuple[Fraction, Fraction, str, int]]:
    """Onset, duration, spelling and octave of every top note, as music21 has them."""
    notes = [sounding for sounding in part.stripTies().flatten().notes if not isinstance(sounding, harmony.Harmony)]
    tops = [(sounding, sounding.pitches[-1]) for sounding in notes]
    return [(Fraction(s.offset), Fraction(s.quarterLength), top.name, top.octave) for s, top in tops]


def changes(part: stream.Part) -> list[tuple[Fraction, str, frozenset[int]]]:
    """Onset, root and notes of every chord symbol, as music21 has them."""
    symbols = part.recurse().getElementsByClass(harmony.ChordSymbol)
    return [(Fraction(s.getOffsetInHierarchy(part)), s.root().name, frozenset(s.pitchClasses)) for s in symbols]


@pytest.mark.few(1)
@pytest.mark.parametrize("density", DENSITIES)
@pytest.mark.parametrize("sheet", NOTES)
def test_music21_reads_the_corpus_s_melody_and_chords_in_what_we_write(sheet, density):
    """Every onset, duration and spelling, whole octaves apart as one; the melody is the top note of every chord."""
    arrangement = arranged(sheet, density)
    assert check(arrangement) == []
    (theirs,) = converter.parse(SHEETS[sheet], forceSource=True, storePickle=False).parts
    ours = converter.parseData(musicxml(arrangement), format="musicxml").parts[0]
    wanted, found = melody(theirs), melody(ours)
    assert len(wanted) == NOTES[sheet]
    assert [note[:3] for note in found] == [note[:3] for note in wanted]
    assert len({ours[3] - theirs[3] for ours, theirs in zip(found, wanted, strict=True)}) == 1
    assert changes(ours) == changes(theirs)
    assert len(changes(theirs)) > 15


@pytest.mark.parametrize("sheet", NOTES)
def test_the_highest_fret_of_every_grip_sounds_the_melody(sheet):
    """By arithmetic on the table alone: standard tuning (MIDI 1.0 numbers), a fret is a semitone."""
    steps = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
    for row in csv.DictReader(io.StringIO(table(sheet))):
        letter, *sign, octave = row["melody note"]
        midi = 12 * (int(octave) + 1) + steps[letter] + sign.count("♯") - sign.count("♭")
        for density in DENSITIES:
            frets = row[density].split("-") if "-" in row[density] else row[density]
            sounding = [low + int(fret) for low, fret in zip(OPEN_MIDI, frets, strict=True) if fret != "x"]
            assert sounding[-1] == max(sounding) == midi
            assert len(sounding) in (1, 4)


def test_the_grips_of_the_public_domain_sheet_are_those_that_were_looked_at():
    assert table(WHOLE).splitlines() == FROZEN.read_text(encoding="utf-8").splitlines()


def test_the_grips_of_the_other_sheet_are_those_that_were_looked_at():
    assert digest(table(READ_ONLY)) == DIGEST


if __name__ == "__main__":
    FROZEN.write_text(table(WHOLE), encoding="utf-8")
    print(f'{FROZEN.name} written; now set DIGEST = "{digest(table(READ_ONLY))}"')
