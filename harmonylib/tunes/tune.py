"""A tune: a melody and its chord changes in exact beats.

Conventions
- Time is counted in quarter notes from the first written note or rest, as `Fraction`; tempo is quarter notes a minute.
- Bars stand in written order; repeats and endings are marks on the bars, nothing is played out.
- A bar and beat shown to a person count from 1, a pick-up bar is 0, and beats are those of the metre's lower number.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from math import isfinite
from numbers import Rational, Real

from harmonylib.errors import HarmonyError, shown, whole
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import MAJOR_SCALE
from harmonylib.theory.pitch import Name, Pitch
from harmonylib.tunes.metre import Bar, beat_text

DEFAULT_TEMPO = 120


MODES = {
    # mode          its tonic above that of the major key with the same signature: letters, semitones
    "major": (0, 0),
    "dorian": (1, 2),
    "phrygian": (2, 4),
    "lydian": (3, 5),
    "mixolydian": (4, 7),
    "minor": (5, 9),
    "locrian": (6, 11),
}


@dataclass(frozen=True, slots=True)
class Note:
    """A melody note: sounding pitch, onset and duration in quarter notes; ties are joined."""

    pitch: Pitch
    onset: Fraction
    duration: Fraction

    @property
    def end(self) -> Fraction:
        return self.onset + self.duration


@dataclass(frozen=True, slots=True)
class Change:
    """A chord change; `chord` is None for “N.C.”."""

    onset: Fraction
    chord: Chord | None


@dataclass(frozen=True)
class Tune:
    """A lead sheet: one melodic line, chord changes and the bars they stand in.

    `mode` is one of `MODES`; `remarks` says what the reader did that a teacher should know.
    """

    title: str
    notes: tuple[Note, ...]
    changes: tuple[Change, ...]
    bars: tuple[Bar, ...]
    mode: str = "major"
    tempo: float = DEFAULT_TEMPO
    composer: str = ""
    remarks: tuple[str, ...] = ()

    @property
    def end(self) -> Fraction:
        """Where the last bar ends."""
        return self.bars[-1].end

    @property
    def tonic(self) -> Name:
        """The tonic of the first key signature."""
        return tonic(self.bars[0].fifths, self.mode)

    @property
    def key(self) -> str:
        """The first key in words, as in “B♭ major”."""
        return f"{self.tonic} {self.mode}"

    def bar_at(self, onset: Fraction) -> Bar:
        """The bar that holds the moment `onset`."""
        return self.bars[max(bisect_right(self._bar_onsets, onset) - 1, 0)]

    def bars_between(self, start: Fraction, end: Fraction) -> tuple[Bar, ...]:
        """The bars that sound between two moments."""
        first = max(bisect_right(self._bar_onsets, start) - 1, 0)
        return tuple(bar for bar in self.bars[first : bisect_left(self._bar_onsets, end)] if bar.end > start)

    def chord_at(self, onset: Fraction) -> Chord | None:
        """The chord that sounds at `onset`; None before the first change and where the sheet says N.C."""
        change = self.change_at(onset)
        return change.chord if change else None

    def change_at(self, onset: Fraction) -> Change | None:
        """The change whose chord sounds at `onset`; None before the first."""
        index = bisect_right(self._change_onsets, moment(onset)) - 1
        return self.changes[index] if index >= 0 else None

    def change_after(self, onset: Fraction) -> Change | None:
        """The next chord change after the moment `onset`."""
        index = bisect_right(self._change_onsets, onset)
        return self.changes[index] if index < len(self.changes) else None

    def key_at(self, onset: Fraction) -> frozenset[int]:
        """Pitch classes of the key signature in force."""
        return key_notes(self.bar_at(onset).fifths)

    def beat_at(self, onset: Fraction) -> Fraction:
        """The beat inside its bar, from 1, in the metre's own unit; a pick-up counts towards the next bar line."""
        bar = self.bar_at(onset)
        unit = Fraction(4, bar.metre[1])
        return 1 + (onset - bar.start) / unit

    def beat_length(self, onset: Fraction) -> Fraction:
        """Length of the felt beat that holds a moment, in quarter notes; see `harmonylib.tunes.metre`."""
        return self.bar_at(onset).beat_length(onset)

    def where(self, onset: Fraction) -> str:
        """The moment in words, as in “bar 3, beat 2½”.

        >>> from harmonylib.tunes.metre import Bar
        >>> from harmonylib.tunes.tune import Tune
        >>> Tune("", (), (), (Bar(1, Fraction(0), Fraction(4)),)).where(Fraction(3, 2))
        'bar 1, beat 2½'
        """
        onset = moment(onset)
        return f"bar {self.bar_at(onset).number}, beat {beat_text(self.beat_at(onset))}"

    def transposed(self, steps: int, semitones: int) -> Tune:
        """The tune moved by an interval, spelled: notes, changes and key signatures.

        Parameters are letters and semitones, both up: (2, 3) is a minor third up, (-7, -12) an octave down.
        """
        steps, semitones = whole(steps, "an interval in letters"), whole(semitones, "an interval in semitones")
        moved_key = self.bars[0].fifths + _fifths_of(steps, semitones)
        if abs(moved_key) > 7:  # no such signature: use the enharmonic key
            steps += 1 if moved_key > 0 else -1
        return self._moved(steps, semitones)

    def _moved(self, steps: int, semitones: int) -> Tune:
        fifths = _fifths_of(steps, semitones)
        notes = tuple(replace(n, pitch=n.pitch.up(steps, semitones)) for n in self.notes)
        changes = tuple(replace(c, chord=_move_chord(c.chord, steps, semitones)) for c in self.changes)
        bars = tuple(replace(b, fifths=_usable_key(b.fifths + fifths)) for b in self.bars)
        return replace(self, notes=notes, changes=changes, bars=bars)

    @cached_property
    def note_bars(self) -> tuple[Bar, ...]:
        """The bar of every note, in the order of the notes."""
        return tuple(self.bar_at(note.onset) for note in self.notes)

    @cached_property
    def note_changes(self) -> tuple[Change | None, ...]:
        """The change whose chord sounds under every note, in the order of the notes; None before the first."""
        found: list[Change | None] = []
        place, onsets = -1, self._change_onsets
        before = None
        for note in self.notes:
            if before is not None and note.onset < before:
                place = -1
            while place + 1 < len(onsets) and onsets[place + 1] <= note.onset:
                place += 1
            found.append(self.changes[place] if place >= 0 else None)
            before = note.onset
        return tuple(found)

    @cached_property
    def _bar_onsets(self) -> list[Fraction]:
        return [bar.onset for bar in self.bars]

    @cached_property
    def _change_onsets(self) -> list[Fraction]:
        return [change.onset for change in self.changes]


def moment(time: object) -> Fraction:
    """A time in quarter notes as a `Fraction`; raises `HarmonyError` for anything but a finite number.

    >>> moment(1.5)
    Fraction(3, 2)
    """
    if isinstance(time, Rational):
        return time if isinstance(time, Fraction) else Fraction(time)
    if not isinstance(time, Real) or not isfinite(time):
        raise HarmonyError(f"{shown(time)} is not a moment: count quarter notes from the start, as in Fraction(3, 2)")
    return Fraction(float(time))


def key_notes(fifths: int) -> frozenset[int]:
    """Pitch classes of a key signature: sharps counted up, flats down.

    >>> sorted(key_notes(-1))
    [0, 2, 4, 5, 7, 9, 10]
    """
    return frozenset((7 * fifths + step) % 12 for step in MAJOR_SCALE)


@lru_cache(maxsize=16)
def signature(fifths: int) -> dict[str, int]:
    """What a key signature does to each letter: sharps from F, flats from B, fifth by fifth.

    >>> {letter: alter for letter, alter in signature(-2).items() if alter}
    {'E': -1, 'B': -1}
    """
    return {letter: (fifths - place + 6) // 7 for place, letter in enumerate("FCGDAEB")}


def tonic(fifths: int, mode: str) -> Name:
    """The tonic of a key signature.

    >>> tonic(-2, "major"), tonic(-2, "minor"), tonic(0, "dorian")
    (B♭, G, D)
    """
    return Name("C").up(4 * fifths, 7 * fifths).up(*MODES[mode])


def _fifths_of(steps: int, semitones: int) -> int:
    """How many fifths an interval moves a key signature: the alteration it adds to the letters' own distance."""
    return 7 * semitones - 12 * steps


def _usable_key(fifths: int) -> int:
    return (fifths + 7) % 12 - 7 if abs(fifths) > 7 else fifths


def _move_chord(chord: Chord | None, steps: int, semitones: int) -> Chord | None:
    if chord is None:
        return None
    root = chord.root.up(steps, semitones).simplest()
    return replace(chord, root=root, bass=chord.bass and chord.bass.up(steps, semitones).simplest())
