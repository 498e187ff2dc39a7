"""A frequency meter of numpy's FFT alone: it knows nothing of what it measures, not even the sampling rate."""

import numpy as np
from numpy.typing import NDArray

SIZE = 1 << 18
"""Zero-padding: a bin is 0.08 Hz wide at 22.05 kHz."""


def frequency(wave: NDArray[np.floating], rate: int, near: float) -> float:
    """The strongest frequency within a semitone of `near`: Hann window, parabola through the logarithms of the peak."""
    spectrum = np.abs(np.fft.rfft(wave * np.hanning(len(wave)), SIZE))
    low, high = (int(near * 2 ** (side / 12) * SIZE / rate) for side in (-1, 1))
    peak = low + int(spectrum[low:high].argmax())
    assert low < peak < high - 1, "the peak lies at the edge: no tone here"
    left, top, right = np.log(spectrum[peak - 1 : peak + 2])
    return float((peak + 0.5 * (left - right) / (left - 2 * top + right)) * rate / SIZE)


def cents_off(wave: NDArray[np.floating], rate: int, wanted: float) -> float:
    """How many cents the tone near `wanted` Hz is above it."""
    return float(1200 * np.log2(frequency(wave, rate, wanted) / wanted))
