"""Events made heard: every pluck at its time, the whole as samples, WAV or MP3.

Conventions
- Samples are float32, shape (samples, 2): left and right, 22,050 a second, −1 to 1.
- Loudness depends on volume and velocity, not on the number of notes. The volume starts low: keep playback at a safe
  level, on headphones above all.
"""

from __future__ import annotations

import io
import wave
from collections.abc import Sequence
from math import ceil, cos, hypot, pi, sin

import numpy as np

from harmonylib.errors import HarmonyError, within
from harmonylib.sound.events import ACCENT, PARTS, Event, a_metre, click_events, even_bars, swung
from harmonylib.sound.strings import RATE, Samples, click_sound, string

VOLUME = 0.4

TOP_WEIGHT = 1.4  # the melody, on top, sounds a little above the notes under it

LEVEL = 0.2  # loudness (root mean square) at volume 1 and velocity 1

KNEE, LOUDEST = 0.7, 0.9  # peaks above the knee are bent towards the loudest sample there is

STRUM_S, RELEASE_S, REST_S = 0.004, 0.03, 0.05

MOST_MINUTES = 15

MP3_QUALITY = {"bitrate_mode": "VARIABLE", "compression_level": 0.9}  # about 6 kB a second


def render(
    events: Sequence[Event],
    tempo: float,
    swing: float = 0.5,
    volume: float = VOLUME,
    count_in: int = 0,
    click: bool = False,
    metre: tuple[int, int] = (4, 4),
) -> Samples:
    """The events as sound: float32, shape (samples, 2), 22,050 a second; starts and ends with silence.

    `tempo` is quarter notes a minute, `volume` 0 to 1; `count_in` bars and a `click` follow `metre`, from 0 on. Chords
    are strummed from the low string; calls come from the left, answers from the right. No sample exceeds 0.9. The same
    events give the same bytes. Raises `HarmonyError` for a setting out of range and when nothing sounds.

    >>> made = render([Event(0, 1, (48, 55, 59, 64))], tempo=60)
    >>> made.shape, made.dtype, float(made[0, 0]), float(made[-1, 0])
    ((23153, 2), dtype('float32'), 0.0, 0.0)
    """
    if not events:
        raise HarmonyError("nothing sounds here: choose bars that hold notes")
    within(tempo, 10, 600, "tempo {}: choose 10 to 600 quarter notes a minute")
    within(volume, 0, 1, "volume {}: choose 0 to 1")
    metre = a_metre(metre)
    if count_in or click:
        bars = even_bars(metre, max(event.end for event in events))
        events = (*click_events(bars, count_in, click), *events)
    times = [(start * 60 / tempo, end * 60 / tempo) for start, end in swung(events, swing, metre)]
    zero, end = min(0.0, *(start for start, _ in times)), max(end for _, end in times)
    if end - zero > 60 * MOST_MINUTES:
        raise HarmonyError(f"{(end - zero) / 60:.0f} minutes of sound: choose fewer bars, {MOST_MINUTES} at most")
    tracks = {part: np.zeros(ceil((end - zero + REST_S) * RATE), np.float32) for part in PARTS}
    for event, (start, stop) in zip(events, times, strict=True):
        _add(tracks[event.part], event, start - zero, stop - zero)
    sides = [
        sum(track * np.float32(side((1 + PARTS[part][1]) * pi / 4)) for part, track in tracks.items())
        for side in (cos, sin)
    ]
    return _bent(np.stack(sides, axis=1) * np.float32(LEVEL * volume))


def _add(track: Samples, event: Event, start: float, end: float) -> None:
    """Put one event on its track: each string a little after the one below, all damped at the end."""
    if event.part == "click":
        beat, place = click_sound(event.midi[0] == ACCENT), round(start * RATE)
        track[place : place + len(beat)] += np.float32(event.velocity) * beat
        return
    weights = [1.0] * (len(event.midi) - 1) + [TOP_WEIGHT]
    strum, last = min(STRUM_S, (end - start) / (2 * len(weights))), round(end * RATE)
    for order, (midi, weight) in enumerate(zip(event.midi, weights, strict=True)):
        place = round((start + order * strum) * RATE)
        sound = string(midi, (last - place) / RATE) * np.float32(event.velocity * weight / hypot(*weights))
        release = min(ceil(RELEASE_S * RATE), len(sound))
        sound[len(sound) - release :] *= 0.5 + 0.5 * np.cos(np.linspace(0, pi, release))
        track[place : place + len(sound)] += sound


def _bent(samples: Samples) -> Samples:
    """Peaks above the knee bent so that none passes `LOUDEST`; all below stays as it is."""
    size, room = np.abs(samples), LOUDEST - KNEE
    over = np.maximum(size - KNEE, 0) / room
    bent = np.sign(samples) * (KNEE + room * np.tanh(over))
    return np.where(size > KNEE, bent, samples).astype(np.float32)


def wav(samples: Samples) -> bytes:
    """The samples as a WAV file of 16 bits.

    >>> wav(np.zeros((100, 2), np.float32))[:4]
    b'RIFF'
    """
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(np.round(samples * 32767).astype("<i2").tobytes())
    return buffer.getvalue()


def mp3(samples: Samples) -> bytes:
    """The samples as an MP3 file; raises `HarmonyError` when the package soundfile is not there."""
    try:
        import soundfile
    except ImportError as error:
        raise HarmonyError("sound needs the package soundfile: install it with pip install soundfile") from error
    buffer = io.BytesIO()
    with soundfile.SoundFile(buffer, "w", RATE, 2, format="MP3", **MP3_QUALITY) as file:
        for start in range(0, len(samples), 65_536):  # one large write can crash the library
            file.write(samples[start : start + 65_536])
    return buffer.getvalue()
