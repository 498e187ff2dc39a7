"""How well the ear hears, on guitars that trained nothing: ``python -m tests.hearing.measure [--recordings FOLDER …]``.

Needs fluidsynth and the Debian package timgm6mb-soundfont; a folder holds recordings of single notes, a file a note.
Takes are rendered anew from their seed: the share of each kind that was accepted, and how many faults were named
rightly.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from harmonylib.hearing.questions import question
from harmonylib.hearing.spectra import RATE
from harmonylib.hearing.verdicts import hear
from tests.hearing import material
from tests.hearing.material import GUITARS, KINDS, Note

SEED = 977
TWELFTH = 19


@dataclass
class Figures:
    """Counts over takes: how many of a kind, how many accepted, and how naming went."""

    takes: Counter[str] = field(default_factory=Counter)
    accepted: Counter[str] = field(default_factory=Counter)
    named: Counter[str] = field(default_factory=Counter)
    named_rightly: Counter[str] = field(default_factory=Counter)
    seconds: list[float] = field(default_factory=list)

    def share(self, kind: str) -> float:
        return self.accepted[kind] / max(self.takes[kind], 1)

    def __str__(self) -> str:
        rows = [f"{kind} {100 * self.share(kind):.1f} ({self.takes[kind]})" for kind in self.takes]
        names = [f"{kind} {self.named_rightly[kind]}/{count}" for kind, count in self.named.items()]
        said = f"accepted %: {', '.join(rows)}\nnamed rightly: {', '.join(names)}"
        return f"{said}\nms: {1000 * np.median(self.seconds):.1f}"


def guitars(recordings: list[Path]) -> list[Note]:
    fonts = [material.of_font("TimGM6mb", guitar) for guitar in GUITARS]
    return fonts + [material.of_recordings(folder) for folder in recordings]


def measured(per_kind: int, level: float, notes: list[Note], seed: int = SEED) -> Figures:
    """The figures of `per_kind` takes of each kind at a level of noise (dB under the chord)."""
    figures, chance = Figures(), np.random.default_rng([seed, round(level)])
    grips = [one for one in material.asked_grips() if one.root % 2]
    for kind in KINDS:
        for number in range(per_kind):
            one = grips[int(chance.integers(len(grips)))]
            played = material.performed(one, kind, chance)
            before = grips[int(chance.integers(len(grips)))].midi if chance.random() < 0.5 else ()
            samples = material.recorded_take(played, notes[number % len(notes)], level, chance, before)
            asked = question(one.midi)
            start = time.perf_counter()
            verdict = hear(samples, RATE, asked)
            figures.seconds.append(time.perf_counter() - start)
            gone = set(one.midi) - set(played)
            twelfth = kind == "missing" and gone and min(gone) - TWELFTH in one.midi
            label = "missing twelfth" if twelfth else kind
            figures.takes[label] += 1
            figures.accepted[label] += verdict.right
            if verdict.kind not in ("right", "tune", "off tune", "unsure"):
                texts = {a.text for a in asked.alternatives if set(one.midi) - set(a.gone) | set(a.new) == set(played)}
                figures.named[verdict.kind] += 1
                figures.named_rightly[verdict.kind] += verdict.text in texts or (verdict.kind == kind == "nothing")
    return figures


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--per-kind", type=int, default=450)
    reader.add_argument("--recordings", type=Path, nargs="*", default=[])
    given = reader.parse_args()
    for level in (30, 20, 10):
        print(f"{level} dB\n{measured(given.per_kind, level, guitars(given.recordings))}")


if __name__ == "__main__":
    main()
