"""Plucked strings and the click, one sound at a time.

A string is two loops one period long with a three-tap filter in each (Karplus–Strong): the taps set the pitch exactly,
how long the note rings and how fast its upper partials fade. The first loop is the string as it swings against the
top, bright and soon gone; the second swings along it, darker and longer, so that a note fades fast and then slowly.
Both start from one pluck, which holds what the body makes of it: where the order of filters does not matter, the
body may as well be plucked with the string.

Conventions
- Samples are float32, 22,050 a second, −1 to 1.

Sources (from memory): K. Karplus and A. Strong, Computer Music Journal 7 (2), 1983, for the loop; J. O. Smith, Proc.
International Computer Music Conference, 1993, for the body in the pluck; G. Weinreich, Journal of the Acoustical
Society of America 62, 1977, for the two stages; the percussion map of General MIDI 1, in which 76 and 77 are wood
blocks. The figures of ring, pluck and body were fitted to a sampled jazz guitar (`tests/witnesses/guitar.py`) and
rounded: the air of a hollow body sounds near 100 Hz (common practice).
"""

from __future__ import annotations

from functools import lru_cache
from itertools import accumulate
from math import ceil, cos, hypot, pi, sin, tan

import numpy as np
from numpy.typing import NDArray

from harmonylib.errors import HarmonyError

RATE = 22_050

LOWEST, HIGHEST = 24, 96
"""MIDI numbers a string here may sound: wider than any neck; tuned within 1 cent."""

ATTACK_S, CLICK_S = 0.0015, 0.03
LONGEST_S, DAMPED_S = 6.0, 0.5  # a string is heard so long, and faded out over the end of it

STAGES = ((0.55, 18.0, 1.1, 34.0), (0.45, 20.0, 0.35, 4.0))
"""For each loop: its share of the pluck; the seconds in which low E fades by 60 dB, and by how many halvings less an
octave higher; and the loss of upper partials while it rings, more of which is darker."""

BODY = ((95.0, 12.0, 1.8), (1350.0, 12.5, 2.5))
"""Resonances of the body and what picks it up: Hz, decibels, and how narrow (Q)."""

STEADY = 0.9995  # the most a loop gives back of what does not swing at all

SOFT_HZ = 5000.0  # partials above this are weak from the start

PLUCKED_AT = 0.11  # share of the string between bridge and pick

Samples = NDArray[np.float32]


def taps(frequency: float, ring_s: float, dullness: float) -> tuple[int, tuple[float, float, float]]:
    """The loop of a string: its length N in samples and what it feeds back from N − 1, N and N + 1 samples ago.

    The delay at `frequency` (Hz) is exactly one period, and the note fades by 60 dB in `ring_s` seconds. How fast upper
    partials fade hangs on `dullness` and their own frequency, hardly on the fraction of a sample the period ends with.
    Beyond the neck, from fret 28 on, a note may fade sooner: nothing under it may grow.

    >>> taps(441.0, 2.0, 16.0)[0], [round(tap, 3) for tap in taps(441.0, 2.0, 16.0)[1]]
    (50, [0.018, 0.956, 0.018])
    """
    period = RATE / frequency
    length, omega = round(period), 2 * pi / period
    turn, loss, tilt = tan(omega * (period - length)), min(dullness / frequency, 0.5), 0.0
    for _ in range(20):  # tilt and the share of the outer taps depend on each other; this settles in a few rounds
        outer = loss + tilt * tilt
        middle = 1 - outer + outer * cos(omega)
        tilt = -turn * middle / sin(omega)
    gain = min(10 ** (-3 / (frequency * ring_s)) / hypot(middle, tilt * sin(omega)), STEADY)
    return length, (gain * (outer + tilt) / 2, gain * (1 - outer), gain * (outer - tilt) / 2)


def string(midi: int, seconds: float) -> Samples:
    """A string plucked once and left to ring, root mean square 1 over its first quarter second; mono.

    Raises `HarmonyError` for a note outside MIDI numbers 24 to 96.
    """
    if not LOWEST <= midi <= HIGHEST:
        raise HarmonyError(f"MIDI note {midi}: a string here sounds {LOWEST} to {HIGHEST}")
    lasting = 0.5
    while lasting < seconds:
        lasting *= 2
    return _string(midi, min(lasting, LONGEST_S))[: round(seconds * RATE)]


@lru_cache(maxsize=512)
def _string(midi: int, seconds: float) -> Samples:
    frequency, size = 440.0 * 2 ** ((midi - 69) / 12), ceil(seconds * RATE)
    period, octaves, sound = _pluck(midi, frequency, ceil(RATE / frequency) + 2), (midi - 40) / 12, np.zeros(size)
    for share, ring_s, shorter, dullness in STAGES:
        sound += share * _rung(period, taps(frequency, ring_s * 2 ** (-shorter * octaves), dullness), size)
    sound /= np.sqrt(np.mean(sound[: RATE // 4] ** 2))
    left = LONGEST_S - np.arange(size) / RATE
    return _kept(sound * np.clip(left / DAMPED_S, 0, 1))


def _rung(period: NDArray[np.float64], loop: tuple[int, tuple[float, float, float]], size: int) -> NDArray[np.float64]:
    """A pluck sent round its loop, for so many samples."""
    length, (near, here, far) = loop
    ringing = np.empty(size)
    ringing[: length + 1] = period[: length + 1]
    for start in range(length + 1, size, length - 1):
        past = ringing[start - length - 1 : min(start, size - length + 1)]
        now = near * past[2:] + here * past[1:-1] + far * past[:-2]
        ringing[start : start + len(now)] = now
    return ringing


def _pluck(midi: int, frequency: float, size: int) -> NDArray[np.float64]:
    """One period of noise, shaped so that every string has the partials of a soft pluck at the same place."""
    partial = np.arange(1, int(0.45 * RATE / frequency) + 1)
    soft = 1 + (partial * frequency / SOFT_HZ) ** 2
    strength = np.sin(pi * PLUCKED_AT * partial) / partial / soft * _body(partial * frequency)
    angle = np.outer(np.arange(size), partial) * (2 * pi * frequency / RATE) + _phases(midi, len(partial))
    period: NDArray[np.float64] = (np.cos(angle) * strength).sum(axis=1)
    return period


def _phases(midi: int, count: int) -> NDArray[np.float64]:
    """Phases drawn by chance, the same every time, here and in the browser."""
    drawn = accumulate(range(count), lambda seed, _: (seed * 1664525 + 1013904223) % 2**32, initial=midi**3)
    return np.array([*drawn][1:]) * (2 * pi / 2**32)


def _body(hertz: NDArray[np.floating]) -> NDArray[np.float64]:
    """By how much the body raises each frequency: the string itself, and the resonances beside it."""
    raised = np.ones(len(hertz), complex)
    for centre, gain_db, narrow in BODY:
        raised += (10 ** (gain_db / 20) - 1) / (1 + 1j * narrow * (hertz / centre - centre / hertz))
    return np.abs(raised)


def _kept(sound: NDArray[np.float64]) -> Samples:
    """A sound for the cache: it starts softly, and nobody may change it."""
    attack = ceil(ATTACK_S * RATE)
    sound[:attack] *= 0.5 - 0.5 * np.cos(np.linspace(0, pi, attack))
    kept = sound.astype(np.float32)
    kept.setflags(write=False)
    return kept


@lru_cache(maxsize=2)
def click_sound(accent: bool) -> Samples:
    time = np.arange(ceil(CLICK_S * RATE)) / RATE
    fading = np.exp(-time / 0.005) * (1 - time / CLICK_S)
    return _kept(5 * np.sin(2 * pi * (1800 if accent else 1200) * time) * fading)
