"""How idiomatic arrangements are, in figures; ``python -m tests.witnesses.practice [TUNES]`` prints them.

The tunes: those of the course, the lead sheets and reels with chord symbols of music21's corpus, and folk tunes of its
Irish collection (published in 1850, in the public domain), to which chords are put here, a bar each, by a plain rule.
"""

from __future__ import annotations

import random
import re
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from music21 import common

from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.choice import Choice
from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.reading import read, read_bytes, tunes_in
from harmonylib.tunes.tune import Change, Tune, tonic

CORPUS = Path(common.getCorpusFilePath())
OWN = Path(__file__).resolve().parents[2] / "chapters" / "tunes"
LOWEST = {1: 52, 2: 51, 3: 48, 4: 46, 5: 46, 6: 47, 8: 43, 9: 41}
"""Semitones between the two lowest notes, and the lowest note such an interval is clear on (arranging handbooks)."""
PALETTES = {
    # degree of the key in semitones, and the chord on it: triads, and the sevenths of the same functions
    "major": ("0 2m 5 7 9m", "0maj7 2m7 5maj7 7 9m7"),
    "minor": ("0m 5m 7 8 10", "0m6 5m7 7 8maj7 10"),
}


def folk_tunes(count: int) -> Iterator[Tune]:
    """Tunes of the Irish collection with a chord put to every bar, triads and sevenths in turn."""
    books = sorted((CORPUS / "oneills1850").glob("*.abc"))
    found = 0
    for number in range(200):
        for book in books[:: 1 + number % 2]:
            tunes = tunes_in(book)
            if number >= len(tunes):
                continue
            marked = re.sub(rb"(?m)^(K:.*\n)", rb'\1"C"', tunes[number], count=1)
            try:
                tune = read_bytes(marked, "abc", 1)
            except HarmonyError:
                continue
            if len(tune.notes) < 16:
                continue
            yield harmonised(replace(tune, tempo=(100, 132, 168)[found % 3]), found)
            found += 1
            if found == count:
                return


def harmonised(tune: Tune, seed: int) -> Tune:
    """The tune with the chord in every bar that holds most of its melody; V before I at the end."""
    mode = "minor" if tune.mode in ("minor", "dorian") else "major"
    home = tonic(tune.bars[0].fifths, "minor" if mode == "minor" else "major")
    palette = [_chord(home.pitch_class, text, tune) for text in PALETTES[mode][seed % 2].split()]
    draws, changes = random.Random(seed), []
    for bar in tune.bars:
        inside = [note for note in tune.notes if bar.onset <= note.onset < bar.end]
        weigh = {chord: sum(n.duration for n in inside if n.pitch.midi % 12 in chord.tones) for chord in palette}
        best = max(weigh.values())
        chord = draws.choice([chord for chord in palette if weigh[chord] >= best])
        if chord.kind == "maj7" and any(n.pitch.midi % 12 == chord.root.pitch_class for n in inside):
            chord = replace(chord, kind="6")  # lead sheets write a sixth under a root
        changes.append(Change(bar.onset, chord))
    changes[-1] = Change(tune.bars[-1].onset, palette[0])
    return replace(tune, changes=tuple(changes), mode=mode if mode == "minor" else tune.mode)


def _chord(home: int, text: str, tune: Tune) -> Chord:
    found = re.fullmatch(r"(\d+)(.*)", text)
    assert found
    flats = tune.bars[0].fifths < 0
    names = "C Db D Eb E F Gb G Ab A Bb B" if flats else "C C# D D# E F F# G G# A A# B"
    kind = found[2] or ("7" if found[1] == "7" and "7" in text[1:] else "")
    return Chord.parse(names.split()[(home + int(found[1])) % 12] + kind)


def corpus(count: int = 60) -> list[Tune]:
    """The tunes of the course, those with chord symbols in music21's corpus, and so many folk tunes."""
    found = [read(path) for path in sorted(OWN.glob("*.abc"))]
    found += [read(path) for path in sorted((CORPUS / "leadSheet").glob("*.mxl"))]
    reels = CORPUS / "nottingham-dataset" / "reelsa-c.abc"
    found += [read(reels, number + 1) for number in range(len(tunes_in(reels)))]
    return [*found, *folk_tunes(count)]


# --- figures ------------------------------------------------------------------------------------------------------


def muddy(notes: Sequence[int]) -> bool:
    return notes[0] < LOWEST.get(notes[1] - notes[0], 0)


def rough(notes: Sequence[int]) -> bool:
    """A minor ninth between any two voices."""
    return any(b - a == 13 for n, a in enumerate(notes) for b in notes[n + 1 :])


def figures(made: Sequence[Arrangement]) -> dict[str, float]:
    """Shares, 0 to 1, over all chords of some arrangements."""
    count: Counter[str] = Counter()
    for arrangement in made:
        _count_chords(arrangement, count)
        _count_repeats(arrangement, count)
        _count_singles(arrangement, count)
        _count_closing(arrangement, count)
    parts = {
        "melody on strings 1 and 2": ("upper", "chords"),
        "muddy": ("muddy", "chords"),
        "rough": ("rough", "chords"),
        "same string set": ("same set", "steps"),
        "repeated bars alike": ("alike", "repeats"),
        "diminished on long notes": ("long diminished", "chords"),
        "drop 3": ("drop 3", "chords"),
        "closing on root or fifth": ("closes well", "could close well"),
        "long notes single for a shorter one": ("pushed aside", "notes"),
        "triads on V with the minor seventh": ("V with 7", "V"),
    }
    return {name: count[a] / count[b] if count[b] else float(b != "chords") for name, (a, b) in parts.items()}


def _count_chords(arrangement: Arrangement, count: Counter[str]) -> None:
    before: Choice | None = None
    for choice in arrangement.choices:
        count["notes"] += 1
        if choice.voicing is None or choice.grip is None:
            before = None
            continue
        notes = arrangement.settings.neck.midi(choice.grip.frets)
        count["chords"] += 1
        count["upper"] += min(choice.grip.strings) <= 2
        count["muddy"] += muddy(notes)
        count["rough"] += rough(notes)
        count["drop 3"] += choice.voicing.spread == "drop 3"
        long = choice.note.duration >= arrangement.tune.beat_length(choice.note.onset)
        count["long diminished"] += choice.treatment == "diminished" and long
        if choice.chord and choice.chord.kind == "" and choice.treatment == "chord tone":
            key = tonic(arrangement.tune.bar_at(choice.note.onset).fifths, arrangement.tune.mode)
            if (choice.chord.root.pitch_class - key.pitch_class) % 12 == 7 and choice.tested.degree in ("1", "3", "5"):
                count["V"] += 1
                count["V with 7"] += "♭7" in choice.voicing.stack
        if before and before.grip:
            count["steps"] += 1
            count["same set"] += before.grip.strings == choice.grip.strings
        before = choice


def _count_repeats(arrangement: Arrangement, count: Counter[str]) -> None:
    bars: dict[Bar, list[Choice]] = defaultdict(list)
    for choice in arrangement.choices:
        bars[arrangement.tune.bar_at(choice.note.onset)].append(choice)
    seen: dict[object, list[list[str]]] = defaultdict(list)
    for bar, choices in bars.items():
        content = tuple((c.note.onset - bar.onset, c.note.duration, c.note.pitch.midi, c.chord) for c in choices)
        seen[bar.metre, content].append([str(c.grip) for c in choices])
    for ways in seen.values():
        count["repeats"] += len(ways) - 1
        count["alike"] += sum(way == ways[0] for way in ways[1:])


def _count_singles(arrangement: Arrangement, count: Counter[str]) -> None:
    """Long notes that are single because a shorter one within the fastest time has a chord and opens no change."""
    tune, quarter = arrangement.tune, 60 / arrangement.tempo
    opened: set[Fraction] = set()
    for choice in arrangement.choices:
        change = tune.change_at(choice.note.onset)
        opens = change is not None and change.onset not in opened
        if change and opens:
            opened.add(change.onset)
        if choice.voicing is not None or "too fast" not in choice.why_single:
            continue
        if choice.note.duration < tune.beat_length(choice.note.onset):
            continue
        near = [
            other
            for other in arrangement.choices[max(choice.index - 8, 0) : choice.index + 9]
            if other.voicing and abs(float(other.note.onset - choice.note.onset)) * quarter < 0.4 - 1e-9
        ]
        blamed = [o for o in near if o.note.duration < choice.note.duration and not _opens(arrangement, o)]
        count["pushed aside"] += bool(blamed) and len(blamed) == len(near)


def _opens(arrangement: Arrangement, choice: Choice) -> bool:
    change = arrangement.tune.change_at(choice.note.onset)
    first = next(c for c in arrangement.choices if arrangement.tune.change_at(c.note.onset) == change)
    return first.index == choice.index


def _count_closing(arrangement: Arrangement, count: Counter[str]) -> None:
    last = next((c for c in reversed(arrangement.choices) if c.voicing), None)
    if last is None or last.chord is None:
        return
    chord, neck = last.chord, arrangement.settings.neck
    ends = {chord.root.pitch_class, *(chord.pitch_class_of(d) for d in chord.degrees if d[-1] == "5")}
    could = [
        g for g in arrangement.candidates(last.index) if len(g.strings) == 4 and neck.midi(g.frets)[0] % 12 in ends
    ]
    count["could close well"] += bool(could)
    assert last.grip is not None
    count["closes well"] += bool(could) and neck.midi(last.grip.frets)[0] % 12 in ends


def main() -> None:
    tunes = corpus(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
    columns = {}
    for foreign in ("diminished", "enriched"):
        for density in ("comfortable", "every"):
            made = [arrange(tune, foreign=foreign, density=density) for tune in tunes]
            columns[f"{foreign}, {density}"] = figures(made)
    print(f"{len(tunes)} tunes, {sum(len(tune.notes) for tune in tunes)} notes")
    print(" " * 36 + "  ".join(columns))
    for name in next(iter(columns.values())):
        print(f"{name:36}" + "  ".join(f"{column[name]:{len(head)}.1%}" for head, column in columns.items()))


if __name__ == "__main__":
    main()
