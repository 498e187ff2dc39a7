"""Whether an arrangement is sound: what a hand cannot do and what an ear would not take, said note by note.

It shares no code with the search, so that it can tell when the search is wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from harmonylib.arranging.arrangement import ARRANGEMENT, Arrangement
from harmonylib.arranging.choice import Choice
from harmonylib.arranging.costs import SHIFT_MM, TRAVEL_MM_S
from harmonylib.errors import expect
from harmonylib.theory.chords import Chord
from harmonylib.theory.enrichment import enrichment
from harmonylib.theory.tones import degree_of
from harmonylib.tunes.tune import Tune


def check(arrangement: Arrangement) -> list[str]:
    """All that is wrong with an arrangement, one sentence each; an empty list when it is sound.

    Looks at what would be heard and held: the melody kept and on top, every note in the chord (or in the diminished
    seventh of a foreign note), grips a hand can play, no note over the next one, time enough for every jump.
    """
    expect(Arrangement, arrangement, ARRANGEMENT)
    tune, neck = arrangement.tune, arrangement.settings.neck
    wrong = _check_melody(arrangement)
    previous: tuple[Fraction, float] | None = None
    for choice in arrangement.choices:
        where, grip = tune.where(choice.note.onset), choice.grip
        if grip is None:
            wrong.append(f"{where}: {choice.note.pitch} lies off this neck")
            continue
        fault = neck.fault(grip)
        if fault:
            wrong.append(f"{where}: {fault}")
        if len(grip.frets) != len(neck.open_midi):
            continue
        sounding = neck.midi(grip.frets)
        if not sounding or max(sounding) != sounding[-1] or sounding[-1] != choice.note.pitch.midi:
            wrong.append(f"{where}: {choice.note.pitch} is not on top of {grip}")
        if choice.voicing and tuple(pitch.midi for pitch in choice.voicing.pitches) != sounding:
            wrong.append(f"{where}: {grip} does not sound the voicing written for it")
        position = neck.position_mm(grip)
        if len(sounding) > 1:
            wrong += _check_chord(arrangement, choice, sounding, where)
            if previous:
                seconds = float(choice.note.onset - previous[0]) * 60 / arrangement.tempo
                way = abs(position - previous[1])
                if way > SHIFT_MM and way > TRAVEL_MM_S * seconds + 1e-6:
                    wrong.append(f"{where}: {way:.0f} mm in {seconds:.2f} s is too fast a jump to {grip}")
        previous = (choice.note.onset, position)
    return wrong


def _check_melody(arrangement: Arrangement) -> list[str]:
    given, played = arrangement.source.notes, [choice.note for choice in arrangement.choices]
    if len(given) != len(played):
        return [f"the tune has {len(given)} notes, the arrangement {len(played)}"]
    moves = {b.pitch.midi - a.pitch.midi for a, b in zip(given, played, strict=True)}
    wrong = [] if len(moves) <= 1 else ["the melody has changed: its notes do not all move by one interval"]
    for before, after in zip(played, played[1:], strict=False):
        if before.end > after.onset:
            wrong.append(f"{arrangement.tune.where(before.onset)}: {before.pitch} sounds over the next note")
    if any((a.onset, a.duration) != (b.onset, b.duration) for a, b in zip(given, played, strict=True)):
        wrong.append("the melody has changed: a note starts or ends elsewhere")
    return wrong


def _check_chord(arrangement: Arrangement, choice: Choice, sounding: Sequence[int], where: str) -> list[str]:
    """Each sounding note belongs to what the melody note may have here; see the tables of `harmonylib.theory`."""
    melody, chord = choice.note.pitch, arrangement.tune.chord_at(choice.note.onset)
    if chord is None:
        return [f"{where}: a chord where the lead sheet has none"]
    if arrangement.settings.stage == "roots":
        root = len(sounding) == 2 and sounding[0] % 12 == chord.root.pitch_class
        return [] if root else [f"{where}: {choice.grip} is not the melody over the root of {chord}"]
    if len(sounding) != 4 or len({midi % 12 for midi in sounding}) != 4:
        return [f"{where}: {choice.grip} does not hold four different notes"]
    if choice.treatment == "push":
        return _check_push(arrangement.tune, choice, sounding, where)
    if choice.treatment == "enriched":
        return _check_enriched(choice, chord, sounding, where)
    if degree_of(melody, chord) is None:
        foreign = [midi for midi in sounding if (midi - melody.midi) % 3]
        return [f"{where}: {choice.grip} is not the diminished seventh of {melody}"] if foreign else []
    foreign = [midi for midi in sounding if midi % 12 not in chord.allowed]
    return [f"{where}: {choice.grip} holds a note foreign to {chord}"] if foreign else []


def _check_push(tune: Tune, choice: Choice, sounding: Sequence[int], where: str) -> list[str]:
    """A push lies less than a beat before the change it takes, and holds nothing but the coming chord."""
    change, note = tune.change_after(choice.note.onset), choice.note
    if change is None or change.chord is None or change.onset - note.onset >= tune.beat_length(note.onset):
        return [f"{where}: {choice.grip} takes the coming chord, but no change follows within a beat"]
    if note.end < change.onset:
        return [f"{where}: {choice.grip} takes the coming chord, but ends before it"]
    foreign = [midi for midi in sounding if midi % 12 not in change.chord.allowed]
    return [f"{where}: {choice.grip} holds a note foreign to {change.chord}, which it takes early"] if foreign else []


def _check_enriched(choice: Choice, chord: Chord, sounding: Sequence[int], where: str) -> list[str]:
    """A foreign note makes its chord one that the table of enrichments has for it, with the notes listed there."""
    heard = {midi % 12 for midi in sounding}
    for dominant in (False, True):
        made = enrichment(choice.note.pitch, chord, dominant)
        if made and any(heard == {chord.pitch_class_of(degree) for degree in stack} for stack in made.stacks):
            return []
    return [f"{where}: {choice.grip} is not {chord} enriched by {choice.note.pitch.name}"]
