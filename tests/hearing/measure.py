"""How well the ear hears, on guitars that trained nothing: ``python -m tests.hearing.measure [--recordings FOLDER …]``.

Needs fluidsynth and the Debian package timgm6mb-soundfont; a folder holds recordings of single notes, a file a note.
Takes are rendered anew from their seed: the share of each kind that was accepted, and how many faults were named
rightly.
"""

from __future__ import annotations

import argparse
import re
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from harmonylib.hearing.questions import Question, question
from harmonylib.hearing.spectra import RATE
from harmonylib.hearing.verdicts import hear
from tests.hearing import material
from tests.hearing.material import GUITARS, KINDS, Note

SEED = 977
OFF_BY_CENTS = 12
"""How far what is said of a string off tune may lie from what was played."""


@dataclass
class Figures:
    """Counts over takes: how many of a kind, how many accepted, and of what was named how much was right."""

    takes: Counter[str] = field(default_factory=Counter)
    accepted: Counter[str] = field(default_factory=Counter)
    named: Counter[str] = field(default_factory=Counter)
    named_rightly: Counter[str] = field(default_factory=Counter)
    seconds: list[float] = field(default_factory=list)

    def share(self, kind: str) -> float:
        return self.accepted[kind] / max(self.takes[kind], 1)

    def __str__(self) -> str:
        rows = [f"{kind} {100 * self.share(kind):.1f} ({self.takes[kind]})" for kind in self.takes]
        names = [f"{kind} {self.named_rightly[kind]}/{count}" for kind, count in sorted(self.named.items())]
        said = f"accepted %: {', '.join(rows)}\nnamed rightly: {', '.join(names)}"
        return f"{said}\nms: {1000 * np.median(self.seconds):.1f}"


def guitars(recordings: list[Path]) -> list[Note]:
    fonts = [material.of_font("TimGM6mb", guitar) for guitar in GUITARS]
    return fonts + [material.of_recordings(folder) for folder in recordings]


def measured(per_kind: int, level: float, notes: list[Note], seed: int = SEED) -> Figures:
    """The figures of `per_kind` takes of each kind at a level of noise (dB under the chord)."""
    figures, chance = Figures(), np.random.default_rng([seed, round(level)])
    grips = material.grips_on(material.TO_TEST)
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
            twelfth = kind == "missing" and min(gone) - material.TWELFTH in one.midi
            label = "missing twelfth" if twelfth else kind
            figures.takes[label] += 1
            figures.accepted[label] += verdict.right
            if verdict.kind not in ("right", "unsure"):
                figures.named[verdict.kind] += 1
                figures.named_rightly[verdict.kind] += rightly_named(verdict.kind, verdict.text, asked, played, kind)
    return figures


def rightly_named(kind: str, text: str, asked: Question, played: tuple[float, ...], played_kind: str) -> bool:
    """Whether a kind of fault and its words say what was played."""
    if kind in ("tune", "off tune"):
        said = re.fullmatch(r"(?:sounds right; )?(.+) is about (\d+) cents (high|low)", text)
        off = [(name, 100 * (p - a)) for name, a, p in zip(asked.names, asked.midi, played, strict=False) if p != a]
        if played_kind != "off tune" or not said:
            return False
        cents = int(said[2]) * (1 if said[3] == "high" else -1)
        return said[1] == off[0][0] and abs(cents - off[0][1]) <= OFF_BY_CENTS
    texts = {a.text for a in asked.alternatives if set(asked.midi) - set(a.gone) | set(a.new) == set(played)}
    return text in texts or kind == played_kind == "nothing"


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--per-kind", type=int, default=450)
    reader.add_argument("--recordings", type=Path, nargs="*", default=[])
    given = reader.parse_args()
    for level in (30, 20, 10):
        print(f"{level} dB\n{measured(given.per_kind, level, guitars(given.recordings))}")


if __name__ == "__main__":
    main()
