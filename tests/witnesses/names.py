"""Spellings in and out of music21, which writes a flat as “-”."""

from music21 import pitch as m21

from harmonylib.theory.pitch import Name, Pitch


def to_music21(spelled: Name | Pitch) -> str:
    return str(spelled).replace("♭", "-").replace("♯", "#")


def name_from(theirs: m21.Pitch) -> Name:
    return Name.parse(theirs.name.replace("-", "b"))


def pitch_from(theirs: m21.Pitch) -> Pitch:
    return Pitch.parse(f"{name_from(theirs)}{theirs.octave}")
