"""The ear: for each note, how surely it sounds, from the table of weights that Python and the browser share.

Conventions
- Scores are log odds: above 0 a note sounds rather than not.
- `weights.json` holds two small networks, one for asked and one for foreign notes (features, one hidden row, a score),
  the thresholds of the verdict, the faults that may be named, and how all this was made. A
  script of the tests rebuilds it.

Sources: none; the weights were fitted to rendered guitars.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from harmonylib.hearing.partials import LOWEST, features
from harmonylib.hearing.spectra import HEARD, Row, onset, spectra

TABLE = Path(__file__).with_name("weights.json")


@cache
def weights() -> dict[str, Any]:
    """The table of weights as it stands in its file."""
    table: dict[str, Any] = json.loads(TABLE.read_text(encoding="utf-8"))
    return table


def scored(rows: Row, network: dict[str, Any]) -> Row:
    """The log odds of each row of features."""
    hidden = np.tanh((rows - network["mean"]) / network["scale"] @ np.asarray(network["w1"]) + network["b1"])
    score: Row = hidden @ np.asarray(network["w2"]) + network["b2"]
    return score


@dataclass(frozen=True)
class Heard:
    """What the ear makes of one take: the onset, its strength, the common detuning and the scores of all notes."""

    start: int
    strength: float
    cents: float
    long: Row
    asked: dict[int, float]
    """Log odds of the asked notes that can be judged."""
    foreign: dict[int, float]

    @property
    def sounded(self) -> bool:
        return self.strength >= HEARD


def listened(samples: Row, asked: Sequence[int]) -> Heard:
    """Scores of every note for a take in which `asked` (MIDI numbers) should sound."""
    start, strength = onset(samples)
    long_, short = spectra(samples, start)
    rows, judged, cents = features(long_, short, asked)
    table, notes = weights(), np.arange(LOWEST, LOWEST + len(rows))
    wanted: NDArray[np.bool_] = np.isin(notes, asked)
    own, others = scored(rows[wanted], table["asked"]), scored(rows[~wanted], table["foreign"])
    mine = {int(n): float(s) for n, s, ok in zip(notes[wanted], own, judged[wanted], strict=True) if ok}
    strange = {int(n): float(s) for n, s, ok in zip(notes[~wanted], others, judged[~wanted], strict=True) if ok}
    return Heard(start, strength, cents, long_, mine, strange)
