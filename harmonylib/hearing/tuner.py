"""The tuner: which open string sounds, and how many cents it lies from where it should.

Conventions
- Cents count from the first partial at concert pitch; a real string's partials disagree by a few cents, so the tuner
  promises five.
- `widgets/tuner.js` does the same in the browser.

Sources: partials of a stiff string as in `harmonylib.hearing.partials`; a parabola through three log magnitudes finds
a peak between bins (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from harmonylib.guitar.neck import Neck
from harmonylib.hearing.partials import STRETCH
from harmonylib.hearing.spectra import LONG, QUIET, Row, hann, magnitude, onset, take, whitened
from harmonylib.sound.strings import RATE
from harmonylib.theory.pitch import spell

NEAR_CENTS, IN_TUNE_CENTS = 250, 5
PARTIALS = 6
AFTER_S = 0.05
LEAST = 0.35  # a string's whitened partials come to this much on average, or no string sounds
STIFFEST = 4e-4


@dataclass(frozen=True)
class Tuned:
    """One string heard: its number, the note it should sound, and how many cents it lies above that; 0 when unheard."""

    string: int
    note: str
    cents: float

    @property
    def text(self) -> str:
        """What a player reads, an arrow first that says where to turn."""
        if not self.string:
            return "nothing heard: pluck one open string"
        if abs(self.cents) <= IN_TUNE_CENTS:
            return f"• string {self.string}, {self.note}: in tune"
        arrow, words = ("↓", "too high") if self.cents > 0 else ("↑", "too low")
        return f"{arrow} string {self.string}, {self.note}: {abs(self.cents):.0f} cents {words}"

    def __repr__(self) -> str:
        return self.text


def tune_up(audio: Any, rate: float, neck: Neck = Neck()) -> Tuned:  # noqa: B008  a neck never changes
    """Which open string of this neck a take holds, and how far it is out, to five cents.

    `audio` are samples from −1 to 1 at `rate` a second, one string plucked and left to ring for 0.8 s.

    >>> from harmonylib.sound.strings import string
    >>> tune_up(string(45, 2.0), 22_050)
    • string 5, A2: in tune
    """
    samples = take(audio, rate)
    samples = np.concatenate([np.zeros(RATE // 4), samples])
    start = onset(samples)[0] + round(AFTER_S * RATE)
    spectrum = magnitude(samples, start, LONG)
    if np.mean(samples[start : start + LONG] ** 2) < QUIET:
        return Tuned(0, "", 0.0)
    white = whitened(spectrum, np.zeros_like(spectrum), LONG)
    shifts = np.arange(-NEAR_CENTS, NEAR_CENTS + 1, 5)
    best = (0.0, 0, 0.0)
    for place, midi in enumerate(neck.open_midi):
        hz = 440 * 2 ** ((midi - 69) / 12 + shifts / 1200)
        at = hz[:, None] * STRETCH[:PARTIALS] / STRETCH[0] * LONG / RATE
        scores = np.interp(at, np.arange(len(white)), white).mean(axis=1) - 1e-4 * np.abs(shifts)
        top = int(np.argmax(scores))
        best = max(best, (float(scores[top]), place, float(hz[top])))
    score, place, coarse = best
    if score < LEAST:
        return Tuned(0, "", 0.0)
    target = 440 * 2 ** ((neck.open_midi[place] - 69) / 12)
    cents = 1200 * np.log2(first_partial(samples, start, coarse) / target)
    note = spell(neck.open_midi[place] % 12).at(neck.open_midi[place])
    return Tuned(len(neck.open_midi) - place, str(note), round(float(cents), 1))


def first_partial(samples: Row, start: int, coarse: float) -> float:
    """The first partial in Hz, from the peaks of six partials near a coarse guess and the stiffness that fits them."""
    cut = np.zeros(LONG)
    part = samples[start : start + LONG]
    cut[: len(part)] = part
    levels = np.abs(np.fft.rfft(cut * hann(LONG), 4 * LONG))
    bin_hz = RATE / (4 * LONG)
    peaks = []
    for h, stretched in enumerate(STRETCH[:PARTIALS] / STRETCH[0], start=1):
        centre = coarse * stretched / bin_hz
        half = max(6.0, 0.012 * centre)
        low = int(centre - half)
        top = low + int(np.argmax(levels[low : int(centre + half) + 1]))
        before, peak, after = np.log(levels[top - 1 : top + 2] + 1e-12)
        bend = before - 2 * peak + after
        peaks.append((h, (top + (0.5 * (before - after) / bend if bend else 0.0)) * bin_hz, levels[top]))
    most = max(level for *_, level in peaks)
    kept = [(h, hz, level) for h, hz, level in peaks if level > 0.03 * most]
    order = np.array([h for h, *_ in kept], dtype=float)
    hz, weight = np.array([hz for _, hz, _ in kept]), np.sqrt([level for *_, level in kept]) * order
    squares, h2 = (hz / order) ** 2, order**2
    stiff = 0.0
    if len(kept) > 2:
        middle, mean = np.average(h2, weights=weight), np.average(squares, weights=weight)
        slope = np.sum(weight * (h2 - middle) * (squares - mean)) / np.sum(weight * (h2 - middle) ** 2)
        stiff = float(np.clip(slope / (mean - slope * middle), 0, STIFFEST))
    each = hz / order * np.sqrt((1 + stiff) / (1 + stiff * h2))
    ranked = np.argsort(each)
    share = np.cumsum(weight[ranked])
    return float(each[ranked[int(np.searchsorted(share, share[-1] / 2))]])
