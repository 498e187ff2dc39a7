"""The neck: where a voicing lies on the strings, how far the hand must reach, and what is wrong with a grip.

Conventions
- String 1 is the highest; tuples about strings run from the lowest string to the highest, as a chord reads bottom to
  top.
- Reach is a length in millimetres from the lowest to the highest fretted note, not a count of frets.

Sources: nut to fret n is L · (1 − 2^(−n/12)) (equal temperament). String sets, scale lengths and the default reach are
common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property, lru_cache
from itertools import combinations
from numbers import Integral

from harmonylib.errors import HarmonyError, expect, shown, whole, within
from harmonylib.guitar.fingering import fingering
from harmonylib.guitar.grips import Frets, Grip, row_of_frets
from harmonylib.settings import takes
from harmonylib.theory.pitch import Pitch
from harmonylib.theory.voicings import Voicing, known

TUNINGS = {
    # name             open strings, lowest to highest, sounding
    "standard": "E2 A2 D3 G3 B3 E4",
    "dropped D": "D2 A2 D3 G3 B3 E4",
    "all fourths": "E2 A2 D3 G3 C4 F4",
    "open G": "D2 G2 D3 G3 B3 D4",
    "seven strings": "B1 E2 A2 D3 G3 B3 E4",
}

LAYOUTS = {
    # spread         strings used, counted up from the lowest one used
    "close": (0, 1, 2, 3),
    "drop 2": (0, 1, 2, 3),
    "drop 3": (0, 2, 3, 4),
    "drop 2 and 4": (0, 1, 3, 4),
}

LONG_SCALE, SHORT_SCALE = 648.0, 628.0

REACH_MM, LAST_FRET, MOST_FRETS = 105.0, 15, 22


@dataclass(frozen=True)
class Neck:
    """A guitar neck and the hand that plays it.

    `tuning` lists open strings from the lowest (a name of `TUNINGS` or pitches as text), `frets` is the highest fret
    used, `scale_mm` the string length, `reach_mm` how far the hand stretches, `capo` the fret a capo stands at (frets
    are then counted from it), `left_handed` turns its pictures round.

    >>> from harmonylib.theory.voicings import voice
    >>> neck = Neck()
    >>> [str(g) for g in neck.grips(voice("Cmaj7", "drop 2", "E4"))]
    ['x3545x', '8-10-9-9-x-x']
    >>> round(neck.stretch_mm((1, 5))), round(neck.stretch_mm((12, 16)))
    (126, 67)
    """

    tuning: str = "standard"
    frets: int = LAST_FRET
    scale_mm: float = LONG_SCALE
    reach_mm: float = REACH_MM
    capo: int = 0
    left_handed: bool = False

    def __post_init__(self) -> None:
        within(self.frets, 1, MOST_FRETS, f"{{}} frets: a neck here has 1 to {MOST_FRETS}")
        within(self.capo, 0, self.frets - 1, f"capo {{}}: it stands at a fret below the last one used, {self.frets}")
        within(self.scale_mm, 300, 1000, "scale {} mm: a guitar's string length lies between 300 and 1000 mm")
        within(self.reach_mm, 20, 250, "reach {} mm: a hand reaches between 20 and 250 mm")
        whole(self.frets, "a number of frets")
        whole(self.capo, "a fret for a capo")
        expect(bool, self.left_handed, "a yes or no: left_handed is True or False")
        _check_tuning(self.tuning)

    @cached_property
    def open_strings(self) -> tuple[Pitch, ...]:
        """Sounding pitches of the open strings (behind the capo's fret), lowest string first."""
        return tuple(map(Pitch.parse, TUNINGS.get(self.tuning, self.tuning).split()))

    @cached_property
    def open_midi(self) -> tuple[int, ...]:
        """MIDI numbers of the open strings with the capo on."""
        return tuple(pitch.midi + self.capo for pitch in self.open_strings)

    @property
    def last_fret(self) -> int:
        """The highest fret, counted from the capo."""
        return self.frets - self.capo

    def nut_to(self, fret: float) -> float:
        """Millimetres from the nut (or capo) to a fret.

        >>> round(Neck().nut_to(12), 1)
        324.0
        """
        return self.scale_mm * (2 ** (-self.capo / 12) - 2 ** (-(fret + self.capo) / 12))

    def position_mm(self, grip: Grip) -> float:
        """Millimetres from the nut to the lowest fret pressed, where the index finger is; 0 for open strings alone.

        >>> round(Neck().position_mm(Grip.parse("x3545x")))
        103
        """
        return self.nut_to(min(grip.fretted, default=0))

    def stretch_mm(self, frets: Sequence[int | None]) -> float:
        """Millimetres between the lowest and the highest fretted note; 0 with fewer than two."""
        pressed = [fret for fret in frets if fret]
        return self.nut_to(max(pressed)) - self.nut_to(min(pressed)) if pressed else 0.0

    def midi(self, frets: Sequence[int | None]) -> tuple[int, ...]:
        """MIDI numbers that sound, from the lowest string up.

        >>> Neck().midi(Grip.parse("x3545x").frets)
        (48, 55, 59, 64)
        """
        if len(row_of_frets(frets)) != len(self.open_midi):
            raise HarmonyError(f"{shown(frets)} does not name one fret a string: this neck has {len(self.open_midi)}")
        sounding = zip(self.open_midi, frets, strict=True)
        return tuple(open_ + fret for open_, fret in sounding if fret is not None)

    def string_sets(self, spread: str) -> tuple[tuple[int, ...], ...]:
        """The string sets a spread is played on, highest set first.

        >>> Neck().string_sets("drop 3")
        ((5, 3, 2, 1), (6, 4, 3, 2))
        """
        count, pattern = len(self.open_strings), LAYOUTS[known(spread)]
        return tuple(tuple(count - low - up for up in pattern) for low in range(count - pattern[-1] - 1, -1, -1))

    def place(self, voicing: Voicing, strings: Sequence[int]) -> Grip | None:
        """The grip of a voicing on given strings; None when a note lies off the neck or no hand holds it."""
        return self.grip_for([pitch.midi for pitch in _voicing(voicing).pitches], strings)

    def grip_for(self, midi: Sequence[int], strings: Sequence[int]) -> Grip | None:
        """The fingered grip of MIDI notes on given strings, both from the lowest; None when no hand holds it."""
        if not isinstance(strings, Sequence):
            raise HarmonyError(f"{shown(strings)} is not a string set: write one such as (5, 4, 3, 2)")
        count = len(self.open_strings)
        usable = {string for string in strings if isinstance(string, Integral) and 1 <= int(string) <= count}
        if not len(midi) == len(strings) == len(usable):
            raise HarmonyError(f"strings {shown(tuple(strings))}: name {len(midi)} of this neck's {count}")
        return _grip_for(self, tuple(midi), tuple(strings))

    def grips(self, voicing: Voicing) -> tuple[Grip, ...]:
        """Every playable grip of a voicing on the string sets of its spread, highest strings first."""
        placed = (self.place(voicing, strings) for strings in self.string_sets(_voicing(voicing).spread))
        return tuple(grip for grip in placed if grip)

    def cycle(self, voicing: Voicing, strings: Sequence[int]) -> tuple[tuple[Voicing, Grip], ...]:
        """The four inversions on one string set: each voice moves to the next chord tone on its own string.

        Starts with `voicing`; folds down an octave where the neck ends. An inversion that no hand can hold on these
        strings is left out.

        >>> from harmonylib.theory.voicings import voice
        >>> [str(grip) for _, grip in Neck().cycle(voice("Cmaj7", "drop 2", "E4"), (5, 4, 3, 2))]
        ['x3545x', 'x7958x', 'x-10-10-9-12-x', 'x-14-14-12-13-x']
        """
        found = []
        for steps in range(4):
            for octave in (0, -4, 4, -8, 8):
                turned = _voicing(voicing).step(steps + octave)
                grip = self.place(turned, strings)
                if grip:
                    found.append((turned, grip))
                    break
        return tuple(found)

    def fingered(self, frets: Frets) -> Grip:
        """The grip with fingers; raises `HarmonyError` that says why no hand can hold these frets."""
        row_of_frets(frets)
        if len(frets) != len(self.open_strings):
            raise HarmonyError(f"{Grip(frets)} names {len(frets)} strings; this neck has {len(self.open_strings)}")
        beyond = [fret for fret in frets if fret is not None and fret > self.last_fret]
        if beyond:
            raise HarmonyError(f"{Grip(frets)}: fret {max(beyond)} lies beyond the last one in use, {self.last_fret}")
        stretch = self.stretch_mm(frets)
        if stretch > self.reach_mm:
            raise HarmonyError(f"{Grip(frets)} stretches {stretch:.0f} mm; this hand reaches {self.reach_mm:.0f} mm")
        fingers = fingering(frets)
        if fingers is None:
            raise HarmonyError(f"{Grip(frets)} needs more than four fingers, and no bar can save one")
        return Grip(frets, fingers)

    def fault(self, grip: Grip) -> str | None:
        """Why a fingered grip cannot be played, or None: the rules of the hand, checked one by one.

        >>> Neck().fault(Grip.parse("x3545x")), Neck().fault(Neck().fingered(Grip.parse("x3545x").frets))
        ('x3545x: fret 3 on string 5 has no finger', None)
        """
        expect(Grip, grip, "a grip: read it first, as in Grip.parse('x3545x')")
        if len(grip.frets) != len(self.open_strings):
            return f"{grip} names {len(grip.frets)} strings; this neck has {len(self.open_strings)}"
        fingers = grip.fingers or (0,) * len(grip.frets)
        if len(fingers) != len(grip.frets):
            return f"{grip} has {len(fingers)} fingers noted for {len(grip.frets)} strings"
        held = []
        for place, (fret, finger) in enumerate(zip(grip.frets, fingers, strict=True)):
            string = len(grip.frets) - place
            if fret is None:
                continue
            if not 0 <= fret <= self.last_fret:
                return f"{grip}: fret {fret} on string {string} is not on this neck (0 to {self.last_fret})"
            if fret and not 1 <= finger <= 4:
                return f"{grip}: fret {fret} on string {string} has no finger"
            if fret:
                held.append((fret, place, finger))
        for (fret, place, finger), (fret2, place2, finger2) in combinations(sorted(held), 2):
            if fret < fret2 and finger >= finger2:
                return f"{grip}: finger {finger} at fret {fret} and finger {finger2} at fret {fret2} are crossed"
            if fret == fret2 and finger > finger2:
                return f"{grip}: fingers {finger} and {finger2} at fret {fret} are crossed"
            under = [f for f in grip.frets[place:place2] if f is not None and f < fret]
            if fret == fret2 and finger == finger2 and under:
                return f"{grip}: finger {finger} bars fret {fret} over a lower note"
        if held:
            stretch = self.nut_to(max(held)[0]) - self.nut_to(min(held)[0])
            if stretch > self.reach_mm + 1e-9:
                return f"{grip} stretches {stretch:.0f} mm; this hand reaches {self.reach_mm:.0f} mm"
        return None


takes("neck", {part.name: part.default for part in fields(Neck)}, lambda held: Neck(**held))


def _check_tuning(tuning: str) -> None:
    """Raises `HarmonyError` unless the tuning is a name of `TUNINGS` or a row of pitches."""
    expect(str, tuning, "a tuning: write its open strings, as in 'D2 A2 D3 G3 B3 E4'")
    names = TUNINGS.get(tuning, tuning).split()
    if not 4 <= len(names) <= 10:
        raise HarmonyError(
            f"tuning {tuning!r}: name one of {', '.join(TUNINGS)} or write 4 to 10 pitches from the lowest string up, "
            "as in 'D2 A2 D3 G3 B3 E4'"
        )
    for name in names:
        Pitch.parse(name)


def _voicing(voicing: object) -> Voicing:
    return expect(Voicing, voicing, "a voicing: make one, as in voice('Cmaj7', 'drop 2', 'E4')")


@lru_cache(maxsize=65536)
def _grip_for(neck: Neck, midi: tuple[int, ...], strings: tuple[int, ...]) -> Grip | None:
    frets: list[int | None] = [None] * len(neck.open_midi)
    for note, string in zip(midi, strings, strict=True):
        fret = note - neck.open_midi[-string]
        if not 0 <= fret <= neck.last_fret:
            return None
        frets[-string] = fret
    if neck.stretch_mm(frets) > neck.reach_mm:
        return None
    fingers = fingering(tuple(frets))
    return Grip(tuple(frets), fingers) if fingers else None
