"""What each melody note is harmonised with: its chord, the diminished seventh that holds it, or the chord enriched.

Conventions
- The method of the trade, and the default: a note in the chord gets the chord, a foreign note the diminished seventh
  that holds it.
- The seasoned way, ``foreign="enriched"``: a foreign note that lasts a beat, and any over a dominant, is taken into its
  chord where the trade knows how (`harmonylib.theory.enrichment`), and a push takes the coming chord.

Source: common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from harmonylib.arranging.fills import fills, forms, is_dominant
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import Passing, passing
from harmonylib.theory.enrichment import DOMINANTS, Enrichment, enrichment
from harmonylib.theory.tones import degree_of
from harmonylib.tunes.chordtones import Tested
from harmonylib.tunes.tune import Change, Tune

FOREIGN = {
    # how a foreign note is harmonised
    "diminished": "by the diminished seventh that holds it, over the sounding chord, always",
    "enriched": "long notes and notes over dominants enrich their chord, a push takes the coming one; else diminished",
}


class Harmony(NamedTuple):
    """What a note is harmonised with: a chord, the four-note forms of it to choose from, and how it came to that.

    `degree` is what the note is of that chord, `treatment` one of "chord tone", "diminished", "enriched" and "push".
    """

    chord: Chord
    stacks: tuple[tuple[str, ...], ...]
    degree: str
    treatment: str = "chord tone"
    diminished: Passing | None = None


def harmonies(tune: Tune, verdicts: Sequence[Tested], foreign: str = "diminished") -> tuple[Harmony | None, ...]:
    """The harmony of every melody note; None where no chord sounds.

    >>> from harmonylib.tunes.chordtones import examine
    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('M:4/4\\nL:1/4\\nK:C\\n"G7"c2 B2|"C"G4|')
    >>> for way in FOREIGN:
    ...     print([f"{made.chord} {made.treatment}" for made in harmonies(tune, examine(tune), way)])
    ['F♯dim7 diminished', 'G7 chord tone', 'C chord tone']
    ['G7sus4 enriched', 'G7 chord tone', 'C chord tone']
    """
    found: list[Harmony | None] = []
    for index, (verdict, fill) in enumerate(zip(verdicts, fills(tune, verdicts), strict=True)):
        chord = verdict.chord
        if chord is None:
            found.append(None)
            continue
        seasoned = _seasoned(tune, verdicts, index) if foreign == "enriched" else None
        if seasoned:
            found.append(seasoned)
        elif verdict.degree:
            found.append(Harmony(chord, forms(chord, verdict.degree, fill), verdict.degree))
        else:
            found.append(_diminished(verdict, chord))
    return tuple(found)


def _diminished(verdict: Tested, chord: Chord) -> Harmony:
    made = passing(verdict.note.pitch, chord)
    degree = degree_of(verdict.note.pitch, made.chord)
    assert degree is not None
    return Harmony(made.chord, (made.chord.degrees,), degree, "diminished", made)


def _seasoned(tune: Tune, verdicts: Sequence[Tested], index: int) -> Harmony | None:
    """A push, or a foreign note that enriches its chord; None when the method of the trade has its way."""
    verdict = verdicts[index]
    pushed = pushes_into(tune, verdicts, index)
    if pushed and pushed.chord:
        degree = degree_of(verdict.note.pitch, pushed.chord)
        if degree:
            fill = "♭7" if is_dominant(tune, pushed) else ""
            return Harmony(pushed.chord, forms(pushed.chord, degree, fill), degree, "push")
    made = enriched(tune, verdict, tune.note_changes[index])
    return Harmony(made.chord, made.stacks, made.degree, "enriched") if made else None


def enriched(tune: Tune, verdict: Tested, change: Change | None) -> Enrichment | None:
    """How a foreign note enriches its chord: one that lasts a beat, or any over a dominant; None for the others."""
    if verdict.degree or verdict.chord is None or change is None:
        return None
    drives = is_dominant(tune, change)
    if not (drives or verdict.chord.kind in DOMINANTS or is_long(tune, verdict)):
        return None
    return enrichment(verdict.note.pitch, verdict.chord, drives)


def is_long(tune: Tune, verdict: Tested) -> bool:
    """Whether a note lasts a felt beat or more."""
    return verdict.note.duration >= tune.beat_length(verdict.note.onset)


def pushes_into(tune: Tune, verdicts: Sequence[Tested], index: int) -> Change | None:
    """The change that a note belongs to because it is struck just ahead of it: off the beat, less than a beat before,
    and held over it, or foreign to its own chord with nothing struck on the change.
    """
    note = verdicts[index].note
    bar = tune.note_bars[index]
    if bar.on_beat(note.onset):
        return None
    change = tune.change_after(note.onset)
    if change is None or change.chord is None:
        return None
    if change.onset - note.onset >= bar.beat_length(note.onset) or note.pitch.midi % 12 not in change.chord.tones:
        return None
    held = note.end > change.onset
    following = verdicts[index + 1].note.onset if index + 1 < len(verdicts) else tune.end
    alone = verdicts[index].degree is None and note.end == change.onset and following > change.onset
    return change if held or alone else None
