"""Spectra of a take: where the strum begins, and what sounds after it that did not sound before.

Conventions
- A take is mono, 22,050 samples a second; what comes at another rate is resampled here.
- A spectrum is whitened: what stands out of the noise round it, on a scale where the strongest partials are near 1.
- `widgets/ear.js` does the same, line by line, in the browser; a test compares the two.

Sources: the Hann window and the discrete Fourier transform are common practice. The constants were found by trial on
rendered and recorded guitars.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from harmonylib.errors import HarmonyError, shown, within
from harmonylib.sound.strings import RATE

Row = NDArray[np.float64]

LONG, SHORT = 16_384, 8_192
AFTER_LONG_S, AFTER_SHORT_S, BEFORE_S = (
    0.09,
    0.05,
    0.05,
)  # where the spectra begin after the onset; the old one ends before
TOP_HZ = 4_400.0
FRAME, HOP, SIDE = 512, 128, 10  # the onset's frames, and how many stand on each side of it: about 60 ms
BAND_HZ = (300.0, 6_000.0)
QUIET = 1e-9  # a mean power below this is silence
FAINT = 3e-3  # of the loudest moment: what is softer is no strum, be it ever so sudden
HEARD = 1.0  # an onset weaker than this is no strum
TAPS = 24  # of the resampler, to each side


def take(audio: Any, rate: float) -> Row:
    """A take as one row of samples, 22,050 a second.

    Raises `HarmonyError` for a rate out of range, for no samples and for samples that are not numbers.
    """
    within(rate, 8_000, 192_000, "{} samples a second: a recording has 8000 to 192000")
    try:
        samples = np.asarray(audio, dtype=np.float64)
    except (TypeError, ValueError) as wrong:
        raise HarmonyError(f"{shown(audio)} is no recording: give samples, numbers from −1 to 1") from wrong
    if samples.ndim == 2:
        samples = samples.mean(axis=1)
    if samples.ndim != 1 or not samples.size or not np.isfinite(samples).all():
        raise HarmonyError(f"samples of shape {np.shape(audio)}: give a row of numbers, or one column a channel")
    return samples if rate == RATE else resampled(samples, float(rate))


def resampled(samples: Row, rate: float) -> Row:
    """Samples at 22,050 a second, by a windowed sinc."""
    step = rate / RATE
    wide = max(1.0, step)
    reach = int(np.ceil(TAPS * wide))
    places = np.arange(int(len(samples) / step)) * step
    first = np.floor(places).astype(int)
    padded = np.concatenate([np.zeros(reach), samples, np.zeros(reach + 1)])
    out = np.zeros(len(places))
    for tap in range(-reach + 1, reach + 1):
        away = (first + tap - places) / wide
        out += padded[first + tap + reach] * np.sinc(away) * np.cos(np.pi / 2 * np.clip(away / TAPS, -1, 1)) ** 2
    return out / wide


def onset(samples: Row) -> tuple[int, float]:
    """The sample at which the strongest strum begins, and how strong it is (natural logarithm of the rise)."""
    energy = _energy(samples)
    if len(energy) < 2 * SIDE + 1:
        return 0, 0.0
    total = np.concatenate([[0.0], np.cumsum(energy)])
    means = (total[SIDE:] - total[:-SIDE]) / SIDE
    means = means + QUIET + FAINT * means.max()
    rise = np.log(means[SIDE:] / means[:-SIDE])
    best = int(np.argmax(rise))
    before, after = means[best], energy[best + SIDE : best + 2 * SIDE].max()
    frame = best + SIDE
    for frame in range(best + SIDE // 2, best + 2 * SIDE):
        if energy[frame] > before + 0.05 * (after - before):
            break
    return frame * HOP + FRAME // 2, float(rise[best])


def _energy(samples: Row) -> Row:
    """Mean power from 300 to 6000 Hz, frame by frame."""
    if len(samples) < FRAME:
        return np.zeros(0)
    frames = np.lib.stride_tricks.sliding_window_view(samples, FRAME)[::HOP]
    low, high = (round(hz * FRAME / RATE) for hz in BAND_HZ)
    power = np.abs(np.fft.rfft(frames * hann(FRAME), axis=1)[:, low : high + 1]) ** 2
    mean: Row = power.sum(axis=1) / FRAME**2
    return mean


@cache
def hann(size: int) -> Row:
    """The Hann window."""
    return 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size)


def magnitude(samples: Row, start: int, size: int) -> Row:
    """Magnitudes up to 4400 Hz of `size` samples from `start` on; what lies outside the take is silence."""
    cut = np.zeros(size)
    low, high = max(start, 0), min(start + size, len(samples))
    if high > low:
        cut[low - start : high - start] = samples[low:high]
    found: Row = np.abs(np.fft.rfft(cut * hann(size)))[: round(TOP_HZ * size / RATE)] * (2 / size)
    return found


def whitened(spectrum: Row, before: Row, size: int) -> Row:
    """What is new in a spectrum and stands out of its surroundings."""
    new = spectrum - 0.3 * before - 1.6 * _floor(spectrum, round(250 * size / RATE / 2))
    new = np.maximum(new, 0.0)
    half = round(500 * size / RATE / 2)
    total = np.concatenate([[0.0], np.cumsum(new**2)])
    place = np.arange(len(new))
    low, high = np.maximum(place - half, 0), np.minimum(place + half + 1, len(new))
    rms = np.sqrt((total[high] - total[low]) / (high - low))
    white = np.sqrt(new / (rms + 1e-12) ** 0.75)
    most = np.sort(white)[int(0.995 * (len(white) - 1))]
    scaled: Row = white / (most + 1e-12)
    return scaled


def _floor(spectrum: Row, half: int) -> Row:
    """The running 30th percentile, taken at every sixteenth bin and joined by straight lines."""
    places = np.arange(0, len(spectrum), 16)
    padded = np.pad(spectrum, half, mode="reflect")
    windows = np.sort(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)[places], axis=1)
    return np.interp(np.arange(len(spectrum)), places, windows[:, int(0.3 * 2 * half)])


def spectra(samples: Row, start: int) -> tuple[Row, Row]:
    """The whitened long and short spectra after an onset."""
    before = magnitude(samples, start - round(BEFORE_S * RATE) - LONG, LONG)
    long_ = magnitude(samples, start + round(AFTER_LONG_S * RATE), LONG)
    short = magnitude(samples, start + round(AFTER_SHORT_S * RATE), SHORT)
    return whitened(long_, before, LONG), whitened(short, before[::2][: len(short)], SHORT)
