"""A meter of loudness and of onsets: it looks at the energy of samples alone and knows nothing of what was played."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Wave = NDArray[np.floating]


def decibels(ratio: float) -> float:
    return float(20 * np.log10(ratio))


def loudness(samples: Wave) -> float:
    """Root mean square of both sides together."""
    return float(np.sqrt((samples.astype(float) ** 2).sum(axis=1).mean()))


def rises(samples: Wave, rate: int) -> list[float]:
    """Seconds at which energy rises: where 8 ms hold ten times the energy of the 8 ms before them, at its steepest."""
    size = rate // 125
    power = np.pad((samples.astype(float) ** 2).sum(axis=1), size)
    total = np.concatenate([[0.0], np.cumsum(power)])
    energy = total[size:] - total[:-size]
    ratio = energy[size:] / (energy[:-size] + 1e-4 * energy.max())
    high = np.flatnonzero(ratio > 10)
    runs = np.split(high, np.flatnonzero(np.diff(high) > size) + 1)
    return [float(run[ratio[run].argmax()]) / rate for run in runs if len(run)]


def near(found: Sequence[float], wanted: Sequence[float], within: float = 0.005) -> bool:
    """Whether moments are those wanted, none more and none less, within so many seconds."""
    return len(found) == len(wanted) and all(abs(a - b) <= within for a, b in zip(found, wanted, strict=True))
