"""How triads are filled up to four notes: by what they do in the key, one fill for as long as the chord lasts.

Conventions
- A fill is the degree that is added: "6", "7" or "♭7". A melody note that needs another takes it for that note.
- The key is that of the signature at the bar, the mode that of the tune.

Source: common practice. The fifth degree of a key, and a major triad that falls a fifth and does not belong to the
key, are dominants and take the minor seventh; the tonic of a minor key takes the sixth, other minor chords the seventh.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from harmonylib.theory.chords import Chord
from harmonylib.tunes.chordtones import Tested
from harmonylib.tunes.tune import Change, Tune, tonic

MINOR_MODES = ("minor", "dorian", "phrygian", "locrian")


def is_dominant(tune: Tune, change: Change) -> bool:
    """Whether a major triad drives onward where it stands: the fifth of the key, or on its way a fifth down.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('M:4/4\\nL:1/1\\nK:C\\n"C"E|"D"A|"G"B|"C"c|')
    >>> [is_dominant(tune, change) for change in tune.changes]
    [False, True, True, False]
    """
    chord = change.chord
    if chord is None or chord.kind:
        return False
    bar = tune.bar_at(change.onset)
    if (chord.root.pitch_class - tonic(bar.fifths, tune.mode).pitch_class) % 12 == 7:
        return True
    following = tune.change_after(change.onset)
    goal = following.chord if following else None
    falls = goal is not None and (goal.root.pitch_class - chord.root.pitch_class) % 12 == 5
    return falls and chord.pitch_class_of("3") not in tune.key_at(change.onset)


def fill_at(tune: Tune, change: Change, degrees: Sequence[str] = ()) -> str:
    """The degree that a triad is filled up with while it lasts; "" for chords that need none.

    `degrees` are those the melody has over it: where the key leaves a choice, a root in the melody asks for the sixth.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('M:4/4\\nL:1/1\\nK:Am\\n"Am"e|"Dm"A|"E"B|"Am"A|')
    >>> [fill_at(tune, change) for change in tune.changes]
    ['6', '♭7', '♭7', '6']
    """
    chord = change.chord
    if chord is None or not chord.is_triad:
        return ""
    fills = list(dict.fromkeys(stack[3] for stack in chord.stacks if stack[:3] == chord.degrees))
    key = tune.key_at(change.onset)
    if chord.kind == "m" and tune.mode in MINOR_MODES:
        home = chord.root == tonic(tune.bar_at(change.onset).fifths, tune.mode)
        return "6" if home else "♭7"
    if is_dominant(tune, change):
        return "♭7"
    if chord.kind == "":
        fills.remove("♭7")
    if chord.kind == "m":
        fills.sort(key=lambda fill: fill != "♭7")
    fitting = [fill for fill in fills if chord.pitch_class_of(fill) in key] or fills
    if "1" in degrees and "6" in fitting:
        return "6"
    return next((fill for fill in fitting if fill in degrees), fitting[0])


def fills(tune: Tune, verdicts: Sequence[Tested]) -> tuple[str, ...]:
    """The fill of the chord under every melody note."""
    found: list[str] = []
    for _, group in groupby(zip(tune.note_changes, verdicts, strict=True), key=lambda pair: id(pair[0])):
        notes = list(group)
        change = notes[0][0]
        degrees = [verdict.degree for _, verdict in notes if verdict.degree]
        found += [fill_at(tune, change, degrees) if change else ""] * len(notes)
    return tuple(found)


def forms(chord: Chord, degree: str, fill: str) -> tuple[tuple[str, ...], ...]:
    """The four-note forms of a chord that hold a degree: of a triad, with this fill if the degree allows it.

    >>> forms(Chord.parse("G"), "3", "♭7"), forms(Chord.parse("G"), "6", "♭7")
    ((('1', '3', '5', '♭7'),), (('1', '3', '5', '6'),))
    """
    filled = tuple(stack for stack in chord.stacks if degree in stack and stack[3] == fill)
    grinds = degree == "1" and fill == "7"  # a major seventh a semitone under the melody
    return (filled if chord.is_triad and not grinds else ()) or chord.stacks_for(degree)
