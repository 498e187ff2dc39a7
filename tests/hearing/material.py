"""Guitars to learn from and to be tried on: single notes, and takes mixed from them by a recipe.

The learner's ear is trained on the project's own strings, on strings added up partial by partial, and on one
soundfont; guitars that exist nowhere and trained nothing choose the thresholds; it is tried on another soundfont and on
recordings. No root of a grip serves two of these purposes, and rooms and noises are told apart by their seed.
"""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import mido
import numpy as np
import soundfile

from harmonylib.guitar.neck import Neck
from harmonylib.hearing.spectra import RATE, resampled
from harmonylib.sound import strings
from harmonylib.theory.families import FAMILIES, degrees_of, interval
from harmonylib.theory.voicings import layout

FONTS = {name: Path("/usr/share/sounds/sf2") / f"{name}.sf2" for name in ("FluidR3_GM", "TimGM6mb")}
GUITARS = {"nylon": 24, "steel": 25, "jazz": 26, "clean": 27}
"""General MIDI programs, counted from 0; the muted guitar is left out."""
LOW, HIGH, SECONDS = 38, 88, 2.0
TWELFTH = 19
SPREADS = ("drop 2", "drop 3", "drop 2 and 4")
Note = Callable[[int, np.random.Generator], np.ndarray]


@cache
def fluid(font: str, guitar: str, velocity: int) -> np.ndarray:
    """Every note of a soundfont's guitar, rendered by fluidsynth without its effects; shape (notes, samples)."""
    with tempfile.TemporaryDirectory() as folder:
        midi, wav = Path(folder) / "notes.mid", Path(folder) / "notes.wav"
        file = mido.MidiFile(ticks_per_beat=480)
        track = mido.MidiTrack()
        file.tracks.append(track)
        track.append(mido.Message("program_change", program=GUITARS[guitar]))
        for note in range(LOW, HIGH + 1):
            track.append(mido.Message("note_on", note=note, velocity=velocity, time=480))
            track.append(mido.Message("note_off", note=note, velocity=0, time=round(SECONDS * 960)))
        file.save(midi)
        command = ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-r", str(RATE), "-g", "0.6", "-F", str(wav)]
        subprocess.run([*command, str(FONTS[font]), str(midi)], check=True, capture_output=True, timeout=300)
        sound, _ = soundfile.read(wav)
    period, start = round((SECONDS + 0.5) * RATE), round(0.5 * RATE)
    sound = np.pad(sound.mean(axis=1), (0, period))
    takes = [sound[start + n * period :][: round(SECONDS * RATE)] for n in range(HIGH - LOW + 1)]
    return np.stack([take / (np.sqrt(np.mean(take[: RATE // 2] ** 2)) + 1e-9) for take in takes])


@cache
def recorded(folder: Path) -> dict[int, np.ndarray]:
    """Recordings of single notes, one file a note, named as in ``Cs4.wav``; from their onset, by MIDI number."""
    found = {}
    for path in sorted(folder.glob("*.wav")):
        sound, rate = soundfile.read(path)
        sound = resampled(sound.mean(axis=1) if sound.ndim == 2 else sound, rate)
        start = int(np.argmax(np.abs(sound) > 0.1 * np.abs(sound).max()))
        sound = np.pad(sound[max(0, start - 60) :], (0, round(SECONDS * RATE)))[: round(SECONDS * RATE)]
        name = path.stem
        midi = 12 * (int(name[-1]) + 1) + "C D EF G A B".index(name[0]) + ("s" in name)
        found[midi] = sound / (np.sqrt(np.mean(sound[: RATE // 2] ** 2)) + 1e-9)
    return found


def bent(sound: np.ndarray, cents: float) -> np.ndarray:
    """A sound `cents` higher, by reading it faster."""
    if abs(cents) < 0.01:
        return sound
    return np.interp(np.arange(len(sound)) * 2 ** (cents / 1200), np.arange(len(sound)), sound, right=0.0)


def of_font(font: str, guitar: str) -> Note:
    def note(midi: int, _: np.random.Generator) -> np.ndarray:
        return fluid(font, guitar, 90)[midi - LOW]

    return note


def of_recordings(folder: Path) -> Note:
    def note(midi: int, _: np.random.Generator) -> np.ndarray:
        notes = recorded(folder)
        near = min(notes, key=lambda known: (abs(known - midi), known))
        return bent(notes[near], 100 * (midi - near))

    return note


def of_strings(midi: int, _: np.random.Generator) -> np.ndarray:
    """The project's own plucked strings."""
    return strings.string(midi, SECONDS).astype(float)


@cache
def of_partials(body: int) -> Note:
    """A guitar that exists nowhere: stiffness, pick, decay and body drawn by its number."""
    drawn = np.random.default_rng(body)
    stiff, pick, slope = drawn.uniform(2e-5, 1.6e-4), drawn.uniform(0.08, 0.35), drawn.uniform(0.6, 1.7)
    ring, dull = drawn.uniform(0.5, 6.0), drawn.uniform(0.1, 1.0)
    humps = [(drawn.uniform(80, 3000), drawn.uniform(0, 2.5), drawn.uniform(0.1, 0.6)) for _ in range(5)]

    @cache
    def note(midi: int) -> np.ndarray:
        chance = np.random.default_rng([body, midi])
        base = 440 * 2 ** ((midi - 69) / 12)
        time = np.arange(round(SECONDS * RATE)) / RATE
        order = np.arange(1, min(32, int(7000 / base)) + 1)
        places = base * order * np.sqrt((1 + stiff * order**2) / (1 + stiff))
        body_gain = np.ones(len(order))
        for centre, gain, width in humps:
            body_gain += gain * np.exp(-((np.log(places / centre) / width) ** 2))
        level = (np.abs(np.sin(np.pi * pick * order)) + 0.02) / order**slope * body_gain
        level *= np.exp(chance.normal(0, 0.35, len(order)))
        rate = (1 + dull * (places / 800)) * (midi / 52) ** 2 / ring
        sound = np.zeros(len(time))
        for place, loud, fading in zip(places, level, rate, strict=True):
            sound += loud * np.exp(-time * fading) * np.sin(2 * np.pi * place * time + chance.uniform(0, 6.283))
        sound *= 1 - np.exp(-time / 0.002)
        return (sound / np.sqrt(np.mean(sound[: RATE // 2] ** 2))).astype(np.float32)

    return lambda midi, _: note(midi)


# --- grips --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Asked:
    """A grip as notes: what it is, and the other inversions and families of its strings."""

    spread: str
    midi: tuple[int, ...]
    degrees: tuple[int, ...]
    root: int
    strings: tuple[int, ...]


@cache
def asked_grips(neck: Neck = Neck()) -> tuple[Asked, ...]:  # noqa: B008  a neck never changes
    """Every playable grip of every family on every root."""
    found = []
    for family in FAMILIES:
        degrees = tuple(interval(degree)[1] % 12 for degree in degrees_of(family))
        for spread in SPREADS:
            for top in range(4):
                shape = [away for _, away in layout(degrees, spread, top)]
                for used in neck.string_sets(spread):
                    for note in range(neck.open_midi[-used[-1]], neck.open_midi[-used[-1]] + 15):
                        midi = tuple(note + away for away in shape)
                        if neck.grip_for(midi, used):
                            found.append(Asked(spread, midi, degrees, (note - degrees[top]) % 12, used))
    return tuple(found)


def other_inversion(one: Asked, chance: np.random.Generator) -> tuple[int, ...]:
    """The same chord on the same strings, one or two steps up or down."""
    tones = [note for note in range(34, 96) if (note - one.root) % 12 in one.degrees]
    steps = int(chance.choice([-1, 1]) if chance.random() < 0.7 else chance.choice([-2, 2]))
    moved = tuple(tones[tones.index(note) + steps] for note in one.midi)
    return moved if min(moved) >= LOW and max(moved) <= 84 else tuple(tones[tones.index(n) - steps] for n in one.midi)


def other_family(one: Asked, chance: np.random.Generator) -> tuple[int, ...]:
    """Another family on the same root, voiced alike."""
    rest = [
        other
        for other in asked_grips()
        if (other.root, other.spread, other.strings) == (one.root, one.spread, one.strings)
    ]
    near = [
        o.midi
        for o in rest
        if o.degrees != one.degrees and sum(abs(a - b) for a, b in zip(o.midi, one.midi, strict=True)) <= 6
    ]
    return near[int(chance.integers(len(near)))] if near else one.midi[:-1] + (one.midi[-1] + 1,)


TO_TRAIN, TO_CHOOSE, TO_TEST = (0, 2, 4, 6, 8, 10), (1, 5, 9), (3, 7, 11)
"""Roots of the grips that train the ear, choose its thresholds, and test it."""


def grips_on(roots: tuple[int, ...]) -> list[Asked]:
    return [one for one in asked_grips() if one.root in roots]


KINDS = ("right", "semitone", "family", "inversion", "missing", "octave", "single", "nothing", "extra", "off tune")


def performed(one: Asked, kind: str, chance: np.random.Generator) -> tuple[float, ...]:
    """The notes that sound when a grip is asked and something of that kind is played; one off tune is a fraction."""
    notes, pick = list(one.midi), int(chance.integers(len(one.midi)))
    if kind == "semitone":
        notes[pick] += int(chance.choice([-1, 1]))
    elif kind == "octave":
        up = notes[pick] + 12 <= 84 and (notes[pick] - 12 < 40 or chance.random() < 0.5)
        notes[pick] += 12 if up else -12
    elif kind == "missing":
        del notes[pick]
    elif kind == "single":
        notes = [notes[pick]]
    elif kind == "nothing":
        notes = []
    elif kind == "inversion":
        return other_inversion(one, chance)
    elif kind == "family":
        return other_family(one, chance)
    elif kind == "off tune":
        return (
            *one.midi[:pick],
            one.midi[pick] + float(chance.choice([-1, 1]) * chance.uniform(0.2, 0.4)),
            *one.midi[pick + 1 :],
        )
    elif kind == "extra":
        free = [open_ for open_ in Neck().open_midi if open_ not in notes and all((n - open_) % 12 for n in notes)]
        notes += [int(chance.choice(free))] if free else [max(notes) + 1]
    return tuple(notes)


# --- takes --------------------------------------------------------------------------------------------------------


def recorded_take(
    notes: tuple[float, ...], note: Note, noise_db: float, chance: np.random.Generator, before: tuple[int, ...] = ()
) -> np.ndarray:
    """A strum of notes about a second into 2.3 s, in a room with noise; the chord `before` rings until then."""
    sound = np.zeros(round(2.4 * RATE))
    start, common = chance.uniform(0.85, 1.15), chance.normal(0, 8)
    strum = chance.uniform(0, 0.012)
    for place, midi in enumerate(sorted(notes)):
        near = round(midi)
        pluck = bent(note(near, chance), common + chance.normal(0, 3) + 100 * (midi - near)) * 10 ** (
            chance.normal(0, 2) / 20
        )
        at = round((start + place * strum) * RATE)
        sound[at : at + len(pluck)] += pluck[: len(sound) - at]
    for midi in before:
        pluck = bent(note(midi, chance), common) * 0.8
        end = round((start + chance.uniform(-0.04, 0.01)) * RATE)
        length = min(len(pluck), end)
        fade = np.minimum(1, np.arange(length)[::-1] / (0.03 * RATE))
        sound[:length] += pluck[:length] * fade
    if chance.random() < 0.7:
        sound = in_room(sound, chance)
    sound *= 0.1
    return sound + noise(len(sound), chance) * 0.1 * np.sqrt(max(len(notes), 1)) * 10 ** (-noise_db / 20)


def in_room(sound: np.ndarray, chance: np.random.Generator) -> np.ndarray:
    """The sound with a decaying tail and a small microphone's colour."""
    time = np.arange(round(0.4 * RATE)) / RATE
    tail = chance.normal(0, 1, len(time)) * np.exp(-6.9 * time / chance.uniform(0.15, 0.7))
    tail *= chance.uniform(0.05, 0.5) / np.sqrt(np.sum(tail**2))
    tail[0] += 1
    size = 65_536
    spectrum = np.fft.rfft(sound, size) * np.fft.rfft(tail, size)
    place = np.fft.rfftfreq(size, 1 / RATE)
    spectrum *= 1 / (1 + (chance.uniform(30, 140) / (place + 1)) ** 2)
    spectrum *= 10 ** (chance.normal(0, 3) * np.log2((place + 50) / 500) / 20)
    wet = np.fft.irfft(spectrum, size)[: len(sound)]
    return wet * np.sqrt(np.sum(sound**2) / (np.sum(wet**2) + 1e-12))


def noise(size: int, chance: np.random.Generator) -> np.ndarray:
    """Noise of a room, root mean square 1: between white and brown, at times with mains hum."""
    place = np.fft.rfftfreq(size, 1 / RATE)
    colour = (place + 40) ** -chance.uniform(0, 1)
    made = np.fft.irfft(np.fft.rfft(chance.normal(0, 1, size)) * colour, size)
    if chance.random() < 0.3:
        hum = np.arange(size) / RATE * 2 * np.pi * float(chance.choice([50, 60]))
        made += 0.5 * made.std() * (np.sin(hum) + 0.6 * np.sin(2 * hum) + 0.4 * np.sin(3 * hum))
    return made / made.std()
