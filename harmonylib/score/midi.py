"""MIDI: an arrangement as a Standard MIDI File, its form played out.

Sources: Standard MIDI File 1.0 and General MIDI 1 (MIDI Association).
"""

from __future__ import annotations

import io
from dataclasses import replace
from math import lcm

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.score.events import Written, written_events
from harmonylib.tunes.form import played_bars, runs
from harmonylib.wording import plain

JAZZ_GUITAR = 26  # General MIDI 1 counts “Electric Guitar (jazz)” as 27 from 1

PAN, LEFT, RIGHT = 10, 40, 88  # MIDI control change 10; a call sits a little left, its answer a little right

TICKS = 960
"""MIDI ticks a quarter note, at least: halves, triplets and quintuplets are whole numbers of them."""


def midi(arrangement: Arrangement, once: bool = False) -> bytes:
    """The arrangement as a Standard MIDI File of type 1: tempo, metres and keys, and a jazz guitar, unstrummed.

    Repeats, endings, D.C., D.S., Fine and Coda are played out; with `once` every bar is played once, as written.
    Answers are a track of their own; then calls sit left and answers right.

    Onsets are exact: the ticks of a quarter note are a multiple of 960 that every onset and end divides.
    """
    import mido

    tune = arrangement.tune
    sounding = _played(arrangement, once)
    moments = [moment for event in sounding for moment in (event.onset, event.onset + event.duration)]
    exact = lcm(TICKS, *(moment.denominator for moment in moments))
    ticks = exact if exact < 2**15 else TICKS
    conductor = [(0, mido.MetaMessage("track_name", name=plain(tune.title)))]
    conductor.append((0, mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(arrangement.sounding_tempo))))
    metre = fifths = None
    for bar in played_bars(runs(tune, once)):
        at = round(bar.onset * ticks)
        if bar.metre != metre:
            metre = bar.metre
            signature = mido.MetaMessage("time_signature", numerator=metre[0], denominator=metre[1])
            conductor.append((at, signature))
        if bar.fifths != fifths:
            fifths = bar.fifths
            conductor.append((at, mido.MetaMessage("key_signature", key=_midi_key(fifths, tune.mode))))
    names, pans = {1: "Guitar", 2: "Answers"}, {1: LEFT, 2: RIGHT}
    guitars = {}
    for voice in sorted({event.voice for event in sounding}):
        guitars[voice] = [(0, mido.MetaMessage("track_name", name=names[voice]))]
        guitars[voice].append((0, mido.Message("program_change", channel=voice - 1, program=JAZZ_GUITAR)))
        if arrangement.answers:
            guitars[voice].append(
                (0, mido.Message("control_change", channel=voice - 1, control=PAN, value=pans[voice]))
            )
    for event in sounding:
        start, end = round(event.onset * ticks), round((event.onset + event.duration) * ticks)
        for pitch in event.pitches:
            played = {"channel": event.voice - 1, "note": pitch.midi}
            guitars[event.voice].append((start, mido.Message("note_on", velocity=80, **played)))
            guitars[event.voice].append((end, mido.Message("note_off", velocity=0, **played)))
    file = mido.MidiFile(type=1, ticks_per_beat=ticks, charset="utf-8")
    for messages in (conductor, *guitars.values()):
        track = mido.MidiTrack()
        before = 0
        for at, message in sorted(
            messages, key=lambda pair: (pair[0], pair[1].type != "note_off", pair[1].type == "note_on")
        ):
            track.append(message.copy(time=at - before))
            before = at
        file.tracks.append(track)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def _played(arrangement: Arrangement, once: bool) -> list[Written]:
    """What sounds, as the form is played; what is held where the form leaves the written order ends there."""
    written = written_events(arrangement)
    return [
        replace(event, onset=event.onset + run.later, duration=min(event.duration, run.stop - event.onset))
        for run in runs(arrangement.tune, once)
        for event in written
        if run.start <= event.onset < run.stop
    ]


def _midi_key(fifths: int, mode: str) -> str:
    from harmonylib.tunes.tune import tonic

    mode = mode if mode in ("major", "minor") else "major"  # MIDI knows no others
    name = tonic(fifths, mode)
    return name.letter + {-1: "b", 0: "", 1: "#"}[name.alter] + ("m" if mode == "minor" else "")
