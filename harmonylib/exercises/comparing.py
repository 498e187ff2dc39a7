"""Answers against a chord, in words: degrees, distances, spellings, and a voicing voice by voice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

from harmonylib.errors import HarmonyError
from harmonylib.exercises import reading_notes, written
from harmonylib.exercises.reading_notes import Given
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import interval
from harmonylib.theory.pitch import Name
from harmonylib.theory.tones import DEGREE_WORDS
from harmonylib.theory.voicings import SPREADS, Voicing, voice
from harmonylib.wording import counted, many

Verdict: TypeAlias = tuple[list[str], list[str]]
"""What is wrong, and remarks that do not count against an answer."""

VOICES = ("the top voice", "the second voice from the top", "the third voice from the top", "the lowest voice")


def text_of(value: object, what: str, example: str) -> str:
    """Material that must be text; raises `HarmonyError` with an example."""
    if not isinstance(value, str) or not value.strip():
        raise HarmonyError(f"{what} {written.quoted(value)}: write it as text, as in {example!r}")
    return value.strip()


def four_notes(symbol: str) -> Chord:
    """The chord of a symbol, if it has just four notes; raises `HarmonyError` otherwise."""
    chord = Chord.parse(text_of(symbol, "chord", "Cmaj7"))
    if chord.is_triad or chord.extensions or chord.bass:
        raise HarmonyError(
            f"{chord} is not a plain four-note chord: name one such as {chord.root}maj7 or {chord.root}m7"
        )
    return chord


def word(degree: str) -> str:
    """A degree in words and figures: “the minor third (♭3)”."""
    return f"the {DEGREE_WORDS.get(degree, 'degree')} ({degree})"


def above(degree: str, chord: Chord) -> str:
    """The rule for a degree: how far it lies above the root, and on which letter.

    >>> above("♭3", Chord.parse("Ebm7"))
    '3 semitones above E♭, on the letter G'
    """
    steps, semitones = interval(degree)
    if degree == "1":
        return f"{chord.root} itself"
    return (
        f"{many(semitones % 12, 'semitone')} above {chord.root}, on the letter {chord.root.up(steps, semitones).letter}"
    )


def far(name: Name, chord: Chord) -> str:
    """How far a note lies above the root of a chord."""
    return f"{name} lies {many((name.pitch_class - chord.root.pitch_class) % 12, 'semitone')} above {chord.root}"


def what_is(name: Name, chord: Chord) -> str:
    """What a note is to a chord: its degree, or how far above the root it lies.

    >>> what_is(Name.parse("G"), Chord.parse("Ebm7")), what_is(Name.parse("Db"), Chord.parse("Ebm7"))
    ('G lies 4 semitones above E♭', 'D♭ is the minor seventh (♭7)')
    """
    degree = chord.tones.get(name.pitch_class)
    if degree:
        return f"{name} is {word(degree)}"
    return far(name, chord)


def respelled(names: Sequence[Name], chord: Chord, degrees: Sequence[str]) -> list[str]:
    """A remark for every note that sounds right but is spelled otherwise."""
    wanted = {chord.pitch_class_of(d): (d, chord.name_of(d)) for d in degrees}
    found = []
    for name in names:
        degree, own = wanted.get(name.pitch_class, ("", name))
        if own != name:
            found.append(f"{name} sounds right, but {word(degree)} of {chord} is spelled {own}")
    return found


def compare_voices(given: Given, voicing: Voicing) -> Verdict:
    """Notes bottom to top against a voicing, voice by voice; in any octave, but spread as the voicing is."""
    wanted = [voicing.chord.name_of(d) for d in voicing.degrees]
    if len(given.names) != 4:
        return [f"{counted(len(given.names), 'note')} given; a four-note chord asks for 4, from the bottom up"], []
    faults = []
    for place, (name, own, degree) in enumerate(zip(given.names, wanted, voicing.degrees, strict=True)):
        if name.pitch_class != own.pitch_class:
            faults.append(f"{VOICES[3 - place]} is off: {what_is(name, voicing.chord)}, asked is {word(degree)}")
    if faults and [name.pitch_class for name in given.names[::-1]] == [own.pitch_class for own in wanted]:
        return ["these are the right notes from the top down: write them from the bottom up"], []
    if not faults and given.midi:
        under = [midi - given.midi[-1] for midi in given.midi]
        asked = [pitch.midi - voicing.top.midi for pitch in voicing.pitches]
        for place, (is_, ought) in enumerate(zip(under, asked, strict=True)):
            if is_ != ought:
                lies = f"{many(abs(is_), 'semitone')} {'under' if is_ < 0 else 'over'} the top note"
                faults.append(f"{VOICES[3 - place]} lies {lies}, asked is {-ought}: the right note in another octave")
    return faults, [*given.remarks, *respelled(given.names, voicing.chord, voicing.degrees)] if not faults else []


def voicing_of(grip: Grip, chord: Chord, neck: Neck) -> Voicing:
    """The voicing of `chord` that a grip sounds; raises `HarmonyError` when it is none."""
    sounding = neck.midi(neck.fingered(grip.frets).frets)
    if len(sounding) == 4 and {m % 12 for m in sounding} == {chord.pitch_class_of(d) for d in chord.degrees}:
        for spread in SPREADS:
            made = voice(chord, spread, reading_notes.named(sounding[-1], chord).at(sounding[-1]), chord.degrees)
            if tuple(pitch.midi for pitch in made.pitches) == sounding:
                return made
    held = " ".join(str(reading_notes.named(midi, chord)) for midi in sounding)
    raise HarmonyError(
        f"{grip} ({held}) is no voicing of {chord} ({' '.join(map(str, chord.names))}) in {', '.join(SPREADS)}"
    )
