"""The synthesised string beside a sampled guitar: ``python -m tests.witnesses.guitar`` prints one beside the other.

The guitar is the jazz guitar of Debian's `fluid-soundfont-gm` (General MIDI program 26, counted from 0), played by
`fluidsynth` without its effects. The meter is numpy alone and knows nothing of what it measures.

Conventions
- Levels are decibels, root mean square over frames of 20 ms, against the loudest sound of the first quarter second.
- A centroid is the mean frequency weighted by energy (Hann window), in Hz: where the middle of the sound lies.
"""

from __future__ import annotations

import shutil
import sys
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from harmonylib.sound.strings import RATE, string
from tests.hearing.material import FONTS, LOW, fluid
from tests.witnesses.energy import Wave

FONT = "FluidR3_GM"
FRAME_S = 0.02
PITCHES = range(40, 77, 4)
"""E2 to E5 in major thirds, by MIDI number."""


@dataclass(frozen=True)
class Heard:
    """What is heard of one note: `levels` of the first second from 40 ms on, dB a second of decay, two centroids."""

    levels: NDArray[np.float64]
    decay: float
    early: float
    late: float


def heard(sound: Wave) -> Heard:
    """A note of two seconds or more, measured."""
    size = round(FRAME_S * RATE)
    power = (sound[: len(sound) // size * size].astype(float).reshape(-1, size) ** 2).mean(axis=1)
    levels = 10 * np.log10(power[:50] / power[:12].max() + 1e-12)
    place = (np.arange(50) + 0.5) * FRAME_S
    used = place > 0.1
    slope = np.polyfit(place[used], levels[used], 1)[0]
    return Heard(levels[2:], float(-slope), centroid(sound, 0, 0.5), centroid(sound, 0.75, 1.25))


def centroid(sound: Wave, start: float, end: float) -> float:
    """The centroid of the sound between two moments (seconds)."""
    part = sound[round(start * RATE) : round(end * RATE)]
    energy = np.abs(np.fft.rfft(part * np.hanning(len(part)))) ** 2
    return float((energy * np.fft.rfftfreq(len(part), 1 / RATE)).sum() / energy.sum())


def missing() -> str:
    """What is not there to play the sampled guitar; empty when all is."""
    there = {"fluidsynth": shutil.which("fluidsynth"), "fluid-soundfont-gm": FONTS[FONT].exists()}
    return " and ".join(name for name, found in there.items() if not found)


def sampled(midi: int) -> Heard:
    return heard(fluid(FONT, "jazz", 90)[midi - LOW])


def ours(midi: int) -> Heard:
    return heard(string(midi, 2.0))


def apart(one: Heard, other: Heard) -> float:
    """How far two notes lie from each other in level over the first second: root mean square, decibels."""
    return float(np.sqrt(((one.levels - other.levels) ** 2).mean()))


def main() -> None:
    if missing():
        sys.exit(f"{missing()}: not there")
    print("note  decay dB/s   centroid Hz   at 1 s       level, dB rms apart")
    for midi in PITCHES:
        a, b = ours(midi), sampled(midi)
        print(
            f"{midi:3}   {a.decay:4.1f} {b.decay:4.1f}   {a.early:5.0f} {b.early:5.0f}   {a.late:5.0f} {b.late:5.0f}   "
            f"{apart(a, b):.1f}"
        )


if __name__ == "__main__":
    main()
