"""Spread voicings: four notes of a chord in close position, drop 2, drop 3, drop 2 and 4, and their inversions.

Conventions
- Voices are listed bottom to top. Voice numbers in a spread's name count from the top: drop 2 lowers the second voice
  from the top by an octave.
- An inversion is named by its lowest note: root position, then first, second and third inversion.

Sources: the definition of close position and of the drops stands in any jazz arranging textbook.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from harmonylib.errors import HarmonyError, expect, whole
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import FAMILIES, degrees_of, interval
from harmonylib.theory.pitch import Pitch

SPREADS = {
    # spread        voices lowered by an octave, counted from the top
    "close": (),
    "drop 2": (2,),
    "drop 3": (3,),
    "drop 2 and 4": (2, 4),
}

INVERSIONS = ("root position", "first inversion", "second inversion", "third inversion")


def known(spread: str) -> str:
    """The spread itself, if there is such a one; raises `HarmonyError` otherwise."""
    if expect(str, spread, f"a spread: choose {', '.join(SPREADS)}") not in SPREADS:
        raise HarmonyError(f"{spread!r} is not a spread: choose {', '.join(SPREADS)}")
    return spread


@lru_cache(maxsize=4096)
def layout(semitones: tuple[int, ...], spread: str, top: int) -> tuple[tuple[int, int], ...]:
    """Which note each voice takes and how far it lies under the top voice, bottom to top.

    `semitones` are the four notes above the root, `top` the index of the one on top; each voice is (index, semitones
    at or below the top note).

    >>> layout((0, 4, 7, 11), "drop 2", 1)  # C major seventh with its third on top: C G B E
    ((0, -16), (2, -9), (3, -5), (1, 0))
    """
    depths = sorted(((semitones[top] - s) % 12, index) for index, s in enumerate(semitones))
    voices = [(index, -depth - 12 * (place in SPREADS[spread])) for place, (depth, index) in enumerate(depths, start=1)]
    return tuple(sorted(voices, key=lambda voice: voice[1]))


@dataclass(frozen=True)
class Voicing:
    """Four spelled notes of a chord, bottom to top.

    >>> v = voice("Cmaj7", "drop 2", "E4")
    >>> v.pitches, v.degrees, v.inversion
    ((C3, G3, B3, E4), ('1', '5', '7', '3'), 'root position')
    """

    chord: Chord
    stack: tuple[str, ...]
    spread: str
    degrees: tuple[str, ...]
    pitches: tuple[Pitch, ...]

    @property
    def inversion(self) -> str:
        """Root position to third inversion, by the lowest voice; a form without its root says what lies lowest."""
        place = self.stack.index(self.degrees[0])
        return INVERSIONS[place] if place or self.stack[0] == "1" else f"{self.stack[0]} in the bass"

    @property
    def plain(self) -> Chord | None:
        """The four-note chord these notes make: a filled-up triad by its family, None where an extension stands in.

        >>> voice("F", "drop 2", "A4").plain, voice("C9", "drop 2", "D4").plain
        (F6, None)
        """
        kind = next((kind for kind in FAMILIES if degrees_of(kind) == self.stack), None)
        return Chord(self.chord.root, kind) if kind else None

    @property
    def top(self) -> Pitch:
        return self.pitches[-1]

    def step(self, steps: int = 1) -> Voicing:
        """Every voice moves up to the next note of the chord (down when `steps` is negative).

        >>> v = voice("Cmaj7", "drop 2", "E4")
        >>> [v.step(n).degrees for n in (1, 2, 3)]
        [('3', '7', '1', '5'), ('5', '1', '3', '7'), ('7', '3', '5', '1')]
        >>> v.step(4).pitches
        (C4, G4, B4, E5)
        """
        steps = whole(steps, "a number of steps")
        ring = sorted(self.stack, key=self.chord.pitch_class_of)
        octaves, place = divmod(ring.index(self.degrees[-1]) + steps, len(ring))
        degree = ring[place]
        low = self.chord.pitch_class_of(self.degrees[-1])
        rise = self.chord.pitch_class_of(degree) - low + 12 * octaves
        return voice(self.chord, self.spread, self.chord.name_of(degree).at(self.top.midi + rise), self.stack)


def voice(chord: Chord | str, spread: str, top: Pitch | str, stack: Sequence[str] | None = None) -> Voicing:
    """The voicing of `chord` in `spread` that has the pitch `top` on top.

    Chord and pitch may be text. `stack` names the four degrees to use (default: the plainest form of the chord that
    holds the note). Raises `HarmonyError` for an unknown spread and for a top note that is not in the chord.

    >>> voice("G7", "drop 3", "D4").pitches
    (G2, F3, B3, D4)
    >>> voice("C9", "drop 2", "D4").degrees
    ('♭7', '3', '5', '9')
    >>> voice("G7", "drop 3", "C4")
    Traceback (most recent call last):
    harmonylib.errors.HarmonyError: C4 is not in G7 (G B D F), so no voicing of it has that note on top
    """
    chord = chord if isinstance(chord, Chord) else Chord.parse(chord)
    top = top if isinstance(top, Pitch) else Pitch.parse(top)
    four = tuple(stack) if stack else _holding(chord, top)
    semitones = tuple(interval(degree)[1] % 12 for degree in four)
    wanted = (top.midi - chord.root.pitch_class) % 12
    if len(four) != 4 or wanted not in semitones:
        notes = " ".join(str(chord.name_of(degree)) for degree in four)
        raise HarmonyError(f"{top} is not in {chord} ({notes}), so no voicing of it has that note on top")
    voices = layout(semitones, known(spread), semitones.index(wanted))
    names = [chord.name_of(four[index]) for index, _ in voices]
    pitches = [name.at(top.midi + below) for name, (_, below) in zip(names, voices, strict=True)]
    return Voicing(chord, four, spread, tuple(four[index] for index, _ in voices), tuple(pitches))


def inversions(chord: Chord | str, spread: str, lowest: Pitch | None = None) -> tuple[Voicing, ...]:
    """The four inversions of a chord in one spread, root position first, each the step from the one before.

    `lowest` is the bass note of the root position (default: the root in octave 3).

    >>> [" ".join(map(str, v.pitches)) for v in inversions("C7", "drop 3")]
    ['C3 B♭3 E4 G4', 'E3 C4 G4 B♭4', 'G3 E4 B♭4 C5', 'B♭3 G4 C5 E5']
    """
    chord = chord if isinstance(chord, Chord) else Chord.parse(chord)
    stack = chord.stacks[0]
    bass = Pitch(chord.root.letter, chord.root.alter, 3) if lowest is None else expect(Pitch, lowest, "a pitch")
    semitones = tuple(interval(degree)[1] % 12 for degree in stack)
    top = next(i for i in range(4) if layout(semitones, known(spread), i)[0][0] == 0)
    rise = -layout(semitones, spread, top)[0][1]
    start = voice(chord, spread, chord.name_of(stack[top]).at(bass.midi + rise), stack)
    return tuple(start.step(n) for n in range(4))


def _holding(chord: Chord, top: Pitch) -> tuple[str, ...]:
    degree = chord.tones.get(top.midi % 12)
    holding = [stack for stack in chord.stacks if degree in stack]
    return holding[0] if holding else chord.stacks[0]
