"""Partials: how strongly each note of the neck shows in a spectrum, where no other asked note hides it.

Conventions
- Partial h of a string at f Hz lies at f · h · √(1 + 6e-5 · h²); partials 1 to 8 from 75 to 4140 Hz are looked at.
- A partial is a note's *own* when it lies further than 6 Hz and 1.2 % from every partial of the other asked notes.
- Rows of notes are MIDI numbers 22 to 102 in order; what the ear judges are those from 35 to 88.

Sources: N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments, for the stretch of a stiff string's
partials (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from harmonylib.hearing.spectra import LONG, SHORT, Row
from harmonylib.sound.strings import RATE

FIRST, LAST = 22, 102
"""The rows reach an octave beyond the notes that are judged."""
LOWEST, HIGHEST = 35, 88
HARMONICS = 8
STIFF = 6e-5
SEEN_HZ = (75.0, 4_140.0)

NOTES = np.arange(FIRST, LAST + 1)
ORDER = np.arange(1, HARMONICS + 1)
STRETCH = ORDER * np.sqrt(1 + STIFF * ORDER**2)
PLACES = 440.0 * 2 ** ((NOTES[:, None] - 69) / 12) * STRETCH
"""Hz, a row a note, a column a partial."""
SEEN = (SEEN_HZ[0] <= PLACES) & (SEEN_HZ[1] >= PLACES)
SHIFTS = np.arange(-40, 41, 2)  # cents


def detuning(long_: Row, asked: Sequence[int]) -> float:
    """By how many cents the asked notes lie above concert pitch, all together."""
    rows = np.asarray(asked) - FIRST
    places = PLACES[rows, :6][SEEN[rows, :6]]
    at = places[None, :] * 2 ** (SHIFTS[:, None] / 1200) * (LONG / RATE)
    sums = np.interp(at, np.arange(len(long_)), long_).sum(axis=1)
    return float(SHIFTS[int(np.argmax(sums - 1e-3 * np.abs(SHIFTS)))])


def strengths(white: Row, size: int, cents: float) -> Row:
    """The largest value at each partial of each note, 0 where it is not looked at."""
    centre = PLACES * 2 ** (cents / 1200)
    half = np.maximum(2.7, 0.008 * centre)
    low = np.clip(np.ceil((centre - half) * size / RATE), 0, len(white) - 1).astype(int)
    high = np.clip(np.floor((centre + half) * size / RATE), 0, len(white) - 1).astype(int) + 1
    high = np.maximum(high, low + 1)
    edges = np.stack([low.ravel(), high.ravel()], axis=1).ravel()
    padded = np.append(white, 0.0)
    found: Row = np.maximum.reduceat(padded, edges)[::2].reshape(centre.shape)
    return np.where(SEEN, found, 0.0)


def own(asked: Sequence[int]) -> NDArray[np.bool_]:
    """Which partials of each note no *other* asked note hides."""
    rows = np.asarray(asked) - FIRST
    base = PLACES[rows, 0] / STRETCH[0]
    order = np.arange(1, 13)
    others = base[:, None] * order * np.sqrt(1 + STIFF * order**2)
    away = np.abs(PLACES[:, :, None, None] - others) > np.maximum(6.0, 0.012 * PLACES)[:, :, None, None]
    apart = away.all(axis=3)
    apart |= (np.arange(len(NOTES))[:, None] == rows)[:, None, :]
    mine: NDArray[np.bool_] = apart.all(axis=2) & SEEN
    return mine


def features(long_: Row, short: Row, asked: Sequence[int]) -> tuple[Row, NDArray[np.bool_], float]:
    """What the ear judges notes 35 to 88 by: a row a note; whether it can be judged; the detuning in cents."""
    cents = detuning(long_, asked)
    mine = own(asked)
    strong, early = strengths(long_, LONG, cents), strengths(short, SHORT, cents)
    strong_own, early_own = strong * mine, early * mine
    count = mine.sum(axis=1)
    some = np.maximum(count, 1)
    mean, early_mean = strong_own.sum(axis=1) / some, early_own.sum(axis=1) / some
    most = strong_own.max(axis=1)
    least = np.where(count > 0, np.where(mine, strong, 9.0).min(axis=1), 0.0)
    odd, even = mine[:, ::2].sum(axis=1), mine[:, 1::2].sum(axis=1)
    odds = strong_own[:, ::2].sum(axis=1) / np.maximum(odd, 1)
    evens = strong_own[:, 1::2].sum(axis=1) / np.maximum(even, 1)
    low = strong[:, :4].mean(axis=1)
    every = strong.sum(axis=1) / np.maximum(SEEN.sum(axis=1), 1)
    rows = np.asarray(asked) - FIRST
    level = mean[rows].mean()
    judged = slice(LOWEST - FIRST, HIGHEST - FIRST + 1)
    neighbours = [np.roll(mean, -steps)[judged] for steps in (1, -1, 12, -12, 7, -7, -19)]
    columns = [
        *strong_own[judged].T,
        *mine[judged].T.astype(float),
        *early_own[judged, :6].T,
        *(row[judged] for row in (mean, early_mean, most, least, odds, evens, low, every)),
        count[judged] / HARMONICS,
        *neighbours,
        np.full(HIGHEST - LOWEST + 1, level),
        mean[judged] - level,
        (NOTES[judged] - 60) / 24,
        np.isin(NOTES[judged] - 12, asked).astype(float),
        np.isin(NOTES[judged] + 12, asked).astype(float),
    ]
    return np.stack(columns, axis=1), count[judged] > 0, cents
