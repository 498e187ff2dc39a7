"""Block chords for guitar: from a lead sheet to an arrangement a hand can play, with a reason under every grip.

>>> import harmonylib as h
>>> h.Chord.parse("Ebm7").names
(E♭, G♭, B♭, D♭)
"""

from harmonylib.arranging import Arrangement, Settings, arrange, best, check
from harmonylib.chords import Chord
from harmonylib.neck import Grip, Neck
from harmonylib.pitch import HarmonyError, Pitch
from harmonylib.tunes import Tune
from harmonylib.voicings import Voicing, inversions, voice

__all__ = [
    "Arrangement",
    "Chord",
    "Grip",
    "HarmonyError",
    "Neck",
    "Pitch",
    "Settings",
    "Tune",
    "Voicing",
    "arrange",
    "best",
    "check",
    "inversions",
    "voice",
]
