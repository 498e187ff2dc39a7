"""What a player would answer otherwise: remarks on answers that are not wrong.

A fault is wrong wherever it stands (`check_answers`); a remark is a matter of taste (common practice), and a player may
mean it. It shares no code with the search.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from harmonylib.arranging.arrangement import ARRANGEMENT, Answer, Arrangement
from harmonylib.errors import expect

MOST_RHYTHMS = 2  # a chorus lives on one or two rhythms


def remarks_on_answers(arrangement: Arrangement) -> list[str]:
    """What is a matter of taste in the answers of an arrangement, one sentence each.

    A player stays at or under the call, leaves the next melody note to the melody, stops half a beat before it, lives a
    chorus on one or two rhythms, and answers like calls in the same one.
    """
    groups: dict[int, list[Answer]] = {}
    for answer in expect(Arrangement, arrangement, ARRANGEMENT).answers:
        if 0 <= answer.call < len(arrangement.choices):
            groups.setdefault(answer.call, []).append(answer)
    found = [remark for call, answers in groups.items() for remark in _on_one(arrangement, call, answers)]
    rhythms = {call: _rhythm(arrangement, answers) for call, answers in groups.items()}
    first: dict[tuple[object, ...], int] = {}
    for call in groups:
        like = first.setdefault(_kind(arrangement, call), call)
        if rhythms[like] != rhythms[call]:
            places = [arrangement.tune.where(arrangement.choices[index].note.onset) for index in (call, like)]
            found.append(f"the call at {places[0]} is like that at {places[1]} and is answered in another rhythm")
    different = len(set(rhythms.values()))
    if different > MOST_RHYTHMS:
        found.append(f"the answers come in {different} rhythms; a chorus lives on one or two")
    return found


def _on_one(arrangement: Arrangement, call: int, answers: Sequence[Answer]) -> list[str]:
    """Remarks on the answers to one call."""
    tune, note = arrangement.tune, arrangement.choices[call].note
    following, found = tune.notes[call + 1 : call + 2], []
    for item in answers:
        where, top = f"{tune.where(item.onset)}, answer {item.grip}", item.voicing.pitches[-1]
        if item.approach:
            continue
        if top.midi > note.pitch.midi:
            found.append(f"{where}: its top {top} lies over its call {note.pitch}; it draws the ear from the melody")
        if following and top.midi == following[0].pitch.midi:
            found.append(f"{where}: its top {top} is the next note of the melody, which it takes away")
    last = answers[-1]
    if following and 0 <= following[0].onset - last.end < tune.bar_at(last.onset).beat_length(last.onset) / 2:
        where = f"{tune.where(last.onset)}, answer {last.grip}"
        found.append(f"{where}: it runs into the next call; let it end half a beat before")
    return found


def _rhythm(arrangement: Arrangement, answers: Sequence[Answer]) -> tuple[Fraction, ...]:
    """When the chords of an answer come, in beats: the first from its own beat, the others from the first."""
    onsets = [answer.onset for answer in answers if not answer.approach] or [answers[0].onset]
    bar = arrangement.tune.bar_at(onsets[0])
    beat, into = bar.beat_length(onsets[0]), onsets[0] - bar.start
    return (into / beat % 1, *((onset - onsets[0]) / beat for onset in onsets[1:]))


def _kind(arrangement: Arrangement, call: int) -> tuple[object, ...]:
    """What makes one call like another: its beat, length, note and chord, and when the next note comes, and which."""
    tune, choice = arrangement.tune, arrangement.choices[call]
    following = tune.notes[call + 1 : call + 2]
    after = (following[0].pitch, following[0].onset - choice.note.onset) if following else (None, call)
    return (tune.beat_at(choice.note.onset), choice.note.duration, choice.note.pitch, choice.chord, after)
