"""Plucked strings and the click, one sound at a time.

A string is a loop one period long with a three-tap filter in it (Karplus–Strong): the taps set the pitch exactly, how
long the note rings and how fast its upper partials fade.

Conventions
- Samples are float32, 22,050 a second, −1 to 1.

Sources (from memory): K. Karplus and A. Strong, Computer Music Journal 7 (2), 1983, for the loop; the percussion map of
General MIDI 1, in which 76 and 77 are wood blocks. How long strings ring and how bright they are is a setting of taste.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil, cos, hypot, pi, sin, tan

import numpy as np
from numpy.typing import NDArray

from harmonylib.errors import HarmonyError

RATE = 22_050

LOWEST, HIGHEST = 24, 96
"""MIDI numbers a string here may sound: wider than any neck; tuned within 1 cent."""

ATTACK_S, CLICK_S = 0.0015, 0.03
RING_S = 4.0  # seconds until low E has faded by 60 dB; a string two octaves higher rings half as long

DULLNESS = 16.0  # loss of upper partials while it rings: more is darker

SOFT_HZ = 2500.0  # partials above this are weak from the start

PLUCKED_AT = 0.21  # share of the string between bridge and pick

Samples = NDArray[np.float32]


def taps(frequency: float, ring_s: float) -> tuple[int, tuple[float, float, float]]:
    """The loop of a string: its length N in samples and what it feeds back from N − 1, N and N + 1 samples ago.

    The delay at `frequency` (Hz) is exactly one period, and the note fades by 60 dB in `ring_s` seconds. How fast upper
    partials fade hangs on their own frequency, hardly on the fraction of a sample the period ends with.

    >>> taps(441.0, 2.0)[0], [round(tap, 3) for tap in taps(441.0, 2.0)[1]]
    (50, [0.018, 0.956, 0.018])
    """
    period = RATE / frequency
    length, omega = round(period), 2 * pi / period
    turn, loss, tilt = tan(omega * (period - length)), DULLNESS / frequency, 0.0
    for _ in range(20):  # tilt and the share of the outer taps depend on each other; this settles in a few rounds
        outer = loss + tilt * tilt
        middle = 1 - outer + outer * cos(omega)
        tilt = -turn * middle / sin(omega)
    gain = 10 ** (-3 / (frequency * ring_s)) / hypot(middle, tilt * sin(omega))
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
    return _string(midi, min(lasting, 2 * RING_S))[: round(seconds * RATE)]


@lru_cache(maxsize=512)
def _string(midi: int, seconds: float) -> Samples:
    frequency = 440.0 * 2 ** ((midi - 69) / 12)
    length, (near, here, far) = taps(frequency, RING_S * 2 ** ((40 - midi) / 24))
    ringing = np.empty(ceil(seconds * RATE))
    ringing[: length + 1] = _pluck(midi, frequency, length + 1)
    for start in range(length + 1, len(ringing), length - 1):
        past = ringing[start - length - 1 : min(start, len(ringing) - length + 1)]
        now = near * past[2:] + here * past[1:-1] + far * past[:-2]
        ringing[start : start + len(now)] = now
    ringing /= np.sqrt(np.mean(ringing[: RATE // 4] ** 2))
    return _kept(ringing)


def _pluck(midi: int, frequency: float, size: int) -> NDArray[np.float64]:
    """One period of noise, shaped so that every string has the partials of a soft pluck at the same place."""
    partial = np.arange(1, int(0.45 * RATE / frequency) + 1)
    strength = np.sin(pi * PLUCKED_AT * partial) / partial / (1 + (partial * frequency / SOFT_HZ) ** 2)
    phase = np.random.default_rng(midi).uniform(0, 2 * pi, len(partial))
    angle = np.outer(np.arange(size), partial) * (2 * pi * frequency / RATE) + phase
    period: NDArray[np.float64] = (np.cos(angle) * strength).sum(axis=1)
    return period


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
