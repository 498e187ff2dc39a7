"""Call and response: while a melody chord is held, or a rest follows, other voicings of the harmony answer it.

A gap is answered by one to three chords in a rhythm from a written table; any of them may be *approached* by the same
grip one fret lower or higher. For every gap the cheapest answer over all rhythms, voicings and approaches is found
exactly, with the weights of the manner; a seed draws what it should be like (`harmonylib.answering.motif`), and the
search may depart from what was drawn, and pays for it.

An answer shortens its call, it never moves it; the melody stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from harmonylib.answering.gaps import Gap, gaps
from harmonylib.answering.manner import Manner, check_kept, check_manner
from harmonylib.answering.motif import chosen_gaps, drawn, motif
from harmonylib.answering.palette import Nodes, book_for, fixed_node, nodes_for, signature, stack_for
from harmonylib.answering.rhythms import Hit, Place, placements, with_approach
from harmonylib.arranging.arrangement import ARRANGEMENT, Answer, Arrangement, settings_with
from harmonylib.arranging.chain import Array, advance
from harmonylib.arranging.costs import SHIFT_MM, TRAVEL_MM_S
from harmonylib.errors import expect
from harmonylib.theory.pitch import Pitch
from harmonylib.theory.voicings import voice
from harmonylib.wording import counted


def respond(arrangement: Arrangement, manner: Manner | None = None, **changes: object) -> Arrangement:
    """The arrangement with its gaps answered; same input and seed, same answers.

    The manner is given whole or by name: ``respond(arrangement, share=0.5, seed=3)``. Raises `HarmonyError` for a
    manner that cannot be followed.

    >>> from harmonylib.tunes.reading import read_text
    >>> from harmonylib.arranging.arrange import arrange
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E4 | "Dm7"F2 z2 |]')
    >>> from harmonylib.answering.checking import check_answers
    >>> answered = respond(arrange(tune), share=1)
    >>> sorted({a.call for a in answered.answers}), check_answers(answered)
    ([0, 1], [])
    """
    expect(Arrangement, arrangement, ARRANGEMENT)
    manner = settings_with(Manner() if manner is None else manner, Manner, changes)
    check_manner(manner)
    check_kept(arrangement, manner)
    plain = replace(arrangement, answers=())
    found_gaps = gaps(plain)
    places = _places(plain, found_gaps, manner)
    rhythms = motif(places, manner)
    chosen = chosen_gaps(plain, [gap for gap in found_gaps if gap.call in places], manner)
    made: list[Answer] = []
    for gap in found_gaps:
        if gap.call in manner.keep:
            made += manner.keep[gap.call]
        elif gap.call in chosen:
            bans = {ban for call, ban in manner.bans if call == gap.call}
            found = _ranked(plain, gap, manner, len(bans) + 1, places[gap.call], rhythms)
            made += next((answers for _, answers in found if signature(answers) not in bans), ())
    return replace(plain, answers=tuple(made), remarks=(*_other(arrangement.remarks), _remark(plain, made, places)))


def _places(plain: Arrangement, found_gaps: Sequence[Gap], manner: Manner) -> dict[int, tuple[Place, ...]]:
    """Where a rhythm fits, gap by gap; a gap without room for any is left out."""
    there = {g.call: tuple(placements(plain, g, manner.swing, manner.breath)) for g in found_gaps if not g.why_silent}
    return {call: places for call, places in there.items() if places}


def _remark(plain: Arrangement, made: Sequence[Answer], places: Mapping[int, object]) -> str:
    found_gaps, answered = gaps(plain), len({item.call for item in made})
    remark = f"{answered} of {counted(len(found_gaps), 'gap')} answered"
    short = sum(bool(gap.why_silent) for gap in found_gaps)
    if short:
        stay, they = ("stays", "it is") if short == 1 else ("stay", "they are")
        remark += f"; {short} {stay} silent: at {plain.tempo:g} quarter notes a minute {they} too short"
    full = len(found_gaps) - short - len(places)
    return remark + (f"; {full} {'has' if full == 1 else 'have'} no room for an answer and a breath" if full else "")


def _other(remarks: Sequence[str]) -> tuple[str, ...]:
    return tuple(remark for remark in remarks if not re.match(r"\d+ of \d+ gaps? (is|are) answered", remark))


def answers_for(
    arrangement: Arrangement, gap: Gap, manner: Manner, count: int = 1
) -> list[tuple[float, tuple[Answer, ...]]]:
    """The `count` cheapest answers to one gap, each with its cost, the cheapest first; empty when none fits."""
    places = _places(arrangement, gaps(arrangement), manner)
    return _ranked(arrangement, gap, manner, count, places.get(gap.call, ()), motif(places, manner))


def _ranked(
    arrangement: Arrangement, gap: Gap, manner: Manner, count: int, places: Sequence[Place], rhythms: Sequence[str]
) -> list[tuple[float, tuple[Answer, ...]]]:
    """What `answers_for` says, the places in the gap and the rhythms of the chorus being known."""
    if not places:
        return []
    asked, weights = drawn(arrangement, gap, places, rhythms, manner), manner.weights
    found: list[tuple[float, int, tuple[Answer, ...]]] = []
    for index in sorted(range(len(places)), key=lambda i: i != asked.place):
        extra = weights["rhythm"] * (index != asked.place)
        if len(found) >= count and found[count - 1][0] <= extra:
            break  # no cost is negative: the other places cannot do better
        name, spans = places[index]
        hits = with_approach(arrangement, gap, spans, asked.approach, manner.swing)
        ways = _search(arrangement, gap, name, hits, asked.contour, weights, count)
        found += [(cost + extra, index, answers) for cost, answers in ways]
        found.sort(key=lambda item: item[:2])
        different: dict[str, tuple[float, int, tuple[Answer, ...]]] = {}
        for item in found:  # two rhythms may ask for the same chords at the same moments
            different.setdefault(signature(item[2]), item)
        found = list(different.values())
    return [(cost, answers) for cost, _, answers in found[:count]]


def _search(
    arrangement: Arrangement,
    gap: Gap,
    rhythm: str,
    hits: Sequence[Hit],
    contour: str,
    weights: Mapping[str, float],
    count: int,
) -> list[tuple[float, tuple[Answer, ...]]]:
    """The cheapest ways to play these hits between their call and the next, as (cost, answers)."""
    call = arrangement.choices[gap.call]
    following = arrangement.choices[gap.call + 1] if gap.call + 1 < len(arrangement.choices) else None
    coming = following.note.pitch.midi if following else None
    beat = 60 / arrangement.tempo
    last, last_onset = fixed_node(arrangement, call), call.note.onset
    own_grip = last.grip[0]  # no answer repeats its call
    total = np.full((1, count), np.inf)
    total[0, 0] = 0.0
    trail = []
    for index, hit in enumerate(hits):
        nodes = nodes_for(arrangement, call, hit, weights["approach"])
        if not nodes.cost.size:
            return []
        own = nodes.cost + np.where(nodes.grip == own_grip, np.inf, 0.0)
        own += weights["cover"] * (nodes.top > call.note.pitch.midi) + weights["pre-empt"] * (nodes.top == coming)
        step = _step(last, nodes, weights, float(hit.onset - last_onset) * beat, float(hit.lead) * beat)
        if index:  # the first chord is free of the contour
            up = contour == "rising" or (contour == "turning" and 2 * index < len(hits))
            against = (nodes.top[None, :] <= last.top[:, None]) if up else (nodes.top[None, :] >= last.top[:, None])
            step = step + weights["contour"] * against
        total, order = advance(total, step, own, count)
        trail.append((nodes, order))
        last, last_onset = nodes, hit.onset
    if following and following.grip:
        seconds = float(following.note.onset - last_onset) * beat
        onward = _step(last, fixed_node(arrangement, following), weights, seconds, 0.0)
        total = total + onward[:, :1]
    found = []
    for end in total.ravel().argsort(kind="stable")[:count]:
        if np.isfinite(total.ravel()[end]):
            picks = _walk(trail, int(end), count)
            found.append((float(total.ravel()[end]), _answers(arrangement, gap, rhythm, hits, contour, picks)))
    return found


def _walk(trail: Sequence[tuple[Nodes, NDArray[np.intp]]], end: int, count: int) -> list[int]:
    """The node of every hit on the way that ends at slot `end`."""
    pick, rank = divmod(end, count)
    picks = []
    for _, order in reversed(trail):
        picks.append(pick)
        pick, rank = divmod(int(order[rank, pick]), count)
    return picks[::-1]


def _step(before: Nodes, after: Nodes, weights: Mapping[str, float], seconds: float, lead: float) -> Array:
    """Cost of every way from node to node; the same grip again, or a jump there is no time for, costs infinity."""
    travel = np.abs(before.leave[:, None] - after.arrive[None, :])
    voices = np.abs(before.lower_out[:, None, :] - after.lower_in[None, :, :]).sum(2)
    both = (before.lower_out[:, None, 0] > 0) & (after.lower_in[None, :, 0] > 0)
    cost = weights["travel"] * travel + weights["voices"] * voices * both
    cost += weights["string set"] * (before.strings[:, None] != after.strings[None, :])
    reach = np.maximum(TRAVEL_MM_S * (seconds - lead * after.early), SHIFT_MM)[None, :]
    stuck = (before.grip[:, None] == after.grip[None, :]) | ((travel > reach) & both)
    return np.where(stuck, np.inf, cost)


def _answers(
    arrangement: Arrangement, gap: Gap, rhythm: str, hits: Sequence[Hit], contour: str, picks: Sequence[int]
) -> tuple[Answer, ...]:
    """The answers a chain of nodes stands for, approaches included."""
    call = arrangement.choices[gap.call]
    made: list[Answer] = []
    for hit, pick in zip(hits, picks, strict=True):
        book = book_for(arrangement, call, hit.chord)
        size = len(book.grips)
        led, pick = bool(hit.approach) and pick < size, pick % size
        stack = stack_for(arrangement, call, hit.chord)
        top, midi = book.tops[pick]
        voicing = voice(hit.chord, book.spreads[pick], hit.chord.name_of(stack[top]).at(midi), stack)
        grip = book.grips[pick]
        how = f"{voicing.spread} on strings {grip.string_set}, {voicing.inversion}"
        reason = f"answers in {hit.chord} with {voicing.top.name} on top, {rhythm}, {contour}: {how}"
        if led:
            fret = -1 if hit.approach == "below" else 1
            onset = hit.onset - hit.lead
            if made:
                made[-1] = replace(made[-1], duration=min(made[-1].end, onset) - made[-1].onset)
            led_voicing = replace(voicing, pitches=tuple(_chromatic(p, fret) for p in voicing.pitches))
            why = f"leads into {hit.chord} from one fret {hit.approach}, all voices by a semitone"
            moved = grip.shifted(fret)
            made.append(Answer(gap.call, onset, hit.lead, led_voicing, moved, rhythm, hit.approach, why))
        made.append(Answer(gap.call, hit.onset, hit.duration, voicing, grip, rhythm, "", reason))
    return tuple(made)


def _chromatic(pitch: Pitch, semitones: int) -> Pitch:
    """A pitch moved by a semitone, spelled with at most one accidental."""
    return pitch.up(0, semitones).name.simplest().at(pitch.midi + semitones)
