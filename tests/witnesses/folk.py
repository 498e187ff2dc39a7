"""Folk tunes of music21's corpus as lead sheets: the melody is the collection's, the chord symbols are put in here.

Source: music21's corpus, `essenFolksong`: melodies of the nineteenth century and older. A bar gets the chord of its
key that holds most of it (`CHORDS`, common practice), the last bar the tonic; no ear has gone over them, so they show
what happens over many tunes and nothing about one.
"""

from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path

from music21 import common

from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.reading import read_text, tunes_in
from harmonylib.tunes.tune import Change, Tune

CORPUS = Path(common.getCorpusFilePath())
BOOKS = sorted((CORPUS / "essenFolksong").glob("*.abc"))
CHORDS = {
    # mode     degrees of the scale the chord stands on (letters and semitones up), its kind; the tonic first
    "major": ((0, 0, "maj7"), (4, 7, "7"), (3, 5, "maj7"), (1, 2, "m7"), (5, 9, "m7")),
    "minor": ((0, 0, "m7"), (4, 7, "7"), (3, 5, "m7"), (5, 8, "maj7"), (6, 10, "7")),
}
FEWEST_BARS = 8


@cache
def folk_tunes(each: int) -> tuple[Tune, ...]:
    """The first tunes of every book that are long enough, as lead sheets; `each` are looked at a book."""
    found = []
    for book in BOOKS:
        for text in tunes_in(book)[:each]:
            head, key, body = text.decode("latin-1").partition("\nK:")
            name, _, notes = body.partition("\n")
            try:
                tune = read_text(f'{head}{key}{name}\n"C"{notes}')
            except HarmonyError:
                continue  # not every entry of the collection is a tune in bars
            if len(tune.bars) >= FEWEST_BARS and tune.mode in CHORDS:
                found.append(with_chords(tune))
    return tuple(found)


def with_chords(tune: Tune) -> Tune:
    """The tune with a chord a bar, the tonic last."""
    there = [bar for bar in tune.bars if bar.number] or list(tune.bars)
    chords = [best_chord(tune, bar) for bar in there[:-1]] + [chords_of(tune)[0]]
    changes: list[Change] = []
    for bar, chord in zip(there, chords, strict=True):
        if not changes or changes[-1].chord != chord:
            changes.append(Change(bar.onset, chord))
    return replace(tune, changes=tuple(changes))


def chords_of(tune: Tune) -> list[Chord]:
    return [Chord.parse(f"{tune.tonic.up(letters, semitones)}{kind}") for letters, semitones, kind in CHORDS[tune.mode]]


def best_chord(tune: Tune, bar: Bar) -> Chord:
    """The chord that holds most of a bar's notes, the note on the bar line counted twice; the first in the table."""

    def held(chord: Chord) -> Fraction:
        inside = [note for note in tune.notes if bar.onset <= note.onset < bar.end]
        tones = {chord.pitch_class_of(degree) for degree in chord.degrees}
        weights = [note.duration * (2 if note.onset == bar.onset else 1) for note in inside]
        return sum((w for w, n in zip(weights, inside, strict=True) if n.pitch.midi % 12 in tones), Fraction(0))

    return max(chords_of(tune), key=held)
