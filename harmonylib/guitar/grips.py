"""A grip: which fret on which string, and how it is written.

Conventions
- String 1 is the highest; tuples about strings run from the lowest string to the highest, as a chord reads bottom to
  top. A grip is written fret by fret in that order: ``x3545x``, with ``x`` for a string not played and 0 for an open
  one; frets above 9 are set apart by hyphens, ``x-10-12-11-12-x``.
- Fingers are 1 (index) to 4 (little finger); 0 stands for no finger.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from harmonylib.errors import HarmonyError, shown

Frets = tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class Grip:
    """Frets and fingers, one entry a string from the lowest to the highest; None is a string not played.

    >>> g = Grip.parse("x3545x")
    >>> g.strings, g.frets
    ((5, 4, 3, 2), (None, 3, 5, 4, 5, None))
    """

    frets: Frets
    fingers: tuple[int, ...] = ()

    @classmethod
    def parse(cls, text: str) -> Grip:
        """Read ``"x3545x"`` or ``"x-10-12-11-12-x"`` (spaces and commas serve too)."""
        written = str(text).strip()
        parts = re.split(r"[-\s,]+", written) if re.search(r"[-\s,]", written) else list(written)
        if not parts or not all(re.fullmatch(r"[xX]|\d{1,2}", part) for part in parts):
            raise HarmonyError(
                f"{text!r} is not a grip: write one fret a string from the lowest string up, x for a string not "
                "played, as in x3545x or x-10-12-11-12-x"
            )
        return cls(tuple(None if part in "xX" else int(part) for part in parts))

    @property
    def strings(self) -> tuple[int, ...]:
        """Numbers of the strings played, from the lowest-sounding."""
        count = len(self.frets)
        return tuple(count - place for place, fret in enumerate(self.frets) if fret is not None)

    @property
    def fretted(self) -> tuple[int, ...]:
        """The frets pressed, open strings left out."""
        return tuple(fret for fret in self.frets if fret)

    @property
    def string_set(self) -> str:
        """The string numbers run together, as in “5432”."""
        return "".join(map(str, self.strings))

    @property
    def fingers_text(self) -> str:
        """The fingers as text, x for a string not played; empty when none are noted.

        >>> from harmonylib.guitar.neck import Neck
        >>> Neck().fingered(Grip.parse("x3545x").frets).fingers_text
        'x1324x'
        """
        fingers = zip(self.frets, self.fingers, strict=True) if self.fingers else ()
        return "".join("x" if fret is None else str(finger) for fret, finger in fingers)

    def shifted(self, frets: int) -> Grip:
        """The same grip `frets` higher (lower when negative); open strings move too."""
        return replace(self, frets=tuple(None if fret is None else fret + frets for fret in self.frets))

    def __str__(self) -> str:
        marks = ["x" if fret is None else str(fret) for fret in self.frets]
        return ("-" if any(len(mark) > 1 for mark in marks) else "").join(marks)


def row_of_frets(frets: Sequence[int | None]) -> Sequence[int | None]:
    if not isinstance(frets, Sequence) or not all(fret is None or isinstance(fret, int) for fret in frets):
        raise HarmonyError(f"{shown(frets)} is no row of frets: give one such as Grip.parse('x3545x').frets")
    return frets
