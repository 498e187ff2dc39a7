"""Call and response: while a melody chord is held, or a rest follows, other voicings of the harmony answer it.

The melody chord is the *call*. Its *gap* is the time from when the call has rung for a beat (or has ended) to the next
call. A gap is answered by one to three chords in a rhythm from a written table; any of them may be *approached* by the
same grip one fret lower or higher. For every gap the cheapest answer over all rhythms, voicings and approaches is found
exactly, with the costs below.

Conventions
- Time is in quarter notes as in `harmonylib.tunes`; rhythms are written in beats (a dotted quarter in compound metres).
- An answer shortens its call, it never moves it; the melody stays as it is.
- A seed draws, gap by gap, a rhythm with its place, a contour and an approach; the search may depart from what was
  drawn, and pays for it.

Rhythms, weights and times are common practice. `check_answers` tells what is wrong and shares no code with the search.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from numbers import Real
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonylib.arranging import (
    ARRANGEMENT,
    SHIFT_MM,
    TRAVEL_MM_S,
    Answer,
    Arrangement,
    Array,
    Choice,
    advance,
    pairs_of,
    pulse,
    settings_with,
    shapes,
    string_bits,
)
from harmonylib.chords import Chord, interval
from harmonylib.neck import Grip, Neck
from harmonylib.pitch import HarmonyError, Pitch, expect, shown, spell, whole, within
from harmonylib.tunes import Tune
from harmonylib.voicings import Voicing, voice

HALF, THIRD = Fraction(1, 2), Fraction(1, 3)
RHYTHMS: dict[str, tuple[tuple[Fraction | int, Fraction | int], ...]] = {
    # name                        hits: (start, length) in beats, counted from the beat the rhythm begins on
    "on the beat": ((0, 1),),
    "on two beats": ((0, 1), (1, 1)),
    "on three beats": ((0, 1), (1, 1), (2, 1)),
    "off the beat": ((HALF, HALF),),
    "off two beats": ((HALF, HALF), (1 + HALF, HALF)),
    "anticipated": ((HALF, 1 + HALF),),
    "dotted quarter and eighth": ((0, 1 + HALF), (1 + HALF, HALF)),
    "triplet pick-up": ((THIRD, THIRD), (2 * THIRD, THIRD), (1, 1)),
}
CONTOURS = {
    "rising": "each top note lies over the one before",
    "falling": "each top note lies under the one before",
    "turning": "the line leaves the call upwards and turns back down to it",
}
COSTS = {
    # what            weight  an answer pays it for …
    "travel": 0.06,  # ...... each millimetre the hand moves, into the next call too
    "voices": 0.2,  # ....... each semitone each lower voice moves, into the next call too
    "string set": 1.0,  # ... a change of strings
    "cover": 1.5,  # ........ a top note over both calls beside it: it draws the ear from the melody
    "contour": 3.0,  # ...... each step against the contour drawn
    "approach": 3.0,  # ..... leaving out an approach that was drawn
    "rhythm": 12.0,  # ...... another rhythm, or another place for it, than the one drawn
}
FASTEST_ANSWER_S = 0.25  # chords of an answer come no closer together than this (common practice)
SHORTEST_GAP_S = 0.6  # a gap shorter than this stays silent (common practice)
LATEST = 1_000_000  # quarter notes; no tune is as long
APPROACH_S = 0.12  # an approach lasts at least this long (common practice)


@dataclass(frozen=True)
class Manner:
    """How to answer: shares from 0 to 1, where approaches come from, contour, swing, seed, and what to keep or ban.

    `share` of the gaps are answered, `approached` of these answers are led into by an approach; `approach_from` is
    "below", "above" or "both"; `contour` is one of `CONTOURS` or "any"; with `swing`, off-beat chords lie on the last
    third of the beat.
    `keep` maps a call's index to answers it must have; `bans` lists (call's index, `signature`) pairs not wanted.
    """

    share: float = 0.75
    approached: float = 0.3
    approach_from: str = "both"
    contour: str = "any"
    swing: bool = False
    seed: int = 0
    keep: Mapping[int, tuple[Answer, ...]] = field(default_factory=dict)
    bans: Sequence[tuple[int, str]] = ()


@dataclass(frozen=True)
class Gap:
    """Time for an answer after the call with index `call`, from `start` to `end`; or why it must stay silent."""

    call: int
    start: Fraction
    end: Fraction
    why_silent: str = ""


def gaps(arrangement: Arrangement) -> tuple[Gap, ...]:
    """Every gap of an arrangement: a chord held longer than a beat, or followed by a rest.

    >>> from harmonylib.tunes import read_text
    >>> from harmonylib.arranging import arrange
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E3 G | "Dm7"F2 z2 |]')
    >>> [(gap.call, str(gap.start), str(gap.end)) for gap in gaps(arrange(tune))]
    [(0, '1', '3'), (2, '5', '8')]
    """
    tune, found = expect(Arrangement, arrangement, ARRANGEMENT).tune, []
    for choice in arrangement.choices:
        if choice.voicing is None:
            continue
        note, beat = choice.note, pulse(tune, choice.note.onset)
        following = arrangement.choices[choice.index + 1 : choice.index + 2]
        end = following[0].note.onset if following else tune.end
        start = note.onset + min(note.duration, beat)
        if end <= start:
            continue
        seconds = float(end - start) * 60 / arrangement.tempo
        short = f"{seconds:.2f} s is too short for an answer" if seconds < SHORTEST_GAP_S else ""
        found.append(Gap(choice.index, start, end, short))
    return tuple(found)


def answer(arrangement: Arrangement, manner: Manner | None = None, **changes: object) -> Arrangement:
    """The arrangement with its gaps answered; same input and seed, same answers.

    The manner is given whole or by name: ``answer(arrangement, share=0.5, seed=3)``. Raises `HarmonyError` for a manner
    that cannot be followed.

    >>> from harmonylib.tunes import read_text
    >>> from harmonylib.arranging import arrange
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E4 | "Dm7"F2 z2 |]')
    >>> answered = answer(arrange(tune), share=1)
    >>> sorted({a.call for a in answered.answers}), check_answers(answered)
    ([0, 1], [])
    """
    expect(Arrangement, arrangement, ARRANGEMENT)
    manner = settings_with(Manner() if manner is None else manner, Manner, changes)
    _check_manner(arrangement, manner)
    plain = replace(arrangement, answers=())
    found_gaps = gaps(plain)
    open_gaps = [gap for gap in found_gaps if not gap.why_silent]
    wanted = sorted(open_gaps, key=lambda gap: _draws(manner, gap.call).random())
    chosen = {gap.call for gap in wanted[: round(manner.share * len(open_gaps))]}
    made: list[Answer] = []
    for gap in found_gaps:
        if gap.call in manner.keep:
            made += manner.keep[gap.call]
        elif gap.call in chosen and not gap.why_silent:
            bans = {ban for call, ban in manner.bans if call == gap.call}
            found = answers_for(plain, gap, manner, len(bans) + 1)
            made += next((answers for _, answers in found if signature(answers) not in bans), ())
    answered = len({item.call for item in made})
    short = [gap for gap in found_gaps if gap.why_silent]
    remarks = [f"{answered} of {len(open_gaps) + len(short)} gaps are answered"]
    if short:
        remarks[0] += f"; {len(short)} stay silent: at {arrangement.tempo:g} quarter notes a minute they are too short"
    kept = tuple(remark for remark in arrangement.remarks if "gaps are answered" not in remark)
    return replace(plain, answers=tuple(made), remarks=(*kept, *remarks))


def signature(answers: Sequence[Answer]) -> str:
    """What tells one answer from another: when its chords sound and which grips they are."""
    return " ".join(f"{answer.onset}:{answer.grip}" for answer in answers)


# --- the search ---------------------------------------------------------------------------------------------------


class Hit(NamedTuple):
    """One chord to be placed: when, how long, in which chord, and the approach drawn for it ("" for none)."""

    onset: Fraction
    duration: Fraction
    chord: Chord
    approach: str
    lead: Fraction


class Nodes(NamedTuple):
    """Ways to play one hit, as arrays of one length; where an approach comes first, the hand arrives at that."""

    cost: Array
    arrive: Array
    leave: Array
    lower_in: Array
    lower_out: Array
    top: Array
    strings: Array
    grip: Array
    early: Array


def answers_for(
    arrangement: Arrangement, gap: Gap, manner: Manner, count: int = 1
) -> list[tuple[float, tuple[Answer, ...]]]:
    """The `count` cheapest answers to one gap, each with its cost, the cheapest first; empty when none fits."""
    draws = _draws(manner, gap.call)
    draws.random()  # the first draw decides whether the gap is answered
    places = list(_placements(arrangement, gap, manner.swing))
    if not places:
        return []
    drawn = draws.randrange(len(places))
    contour = manner.contour if manner.contour in CONTOURS else draws.choice(list(CONTOURS))
    approach = _drawn_approach(draws, manner)
    found: list[tuple[float, int, tuple[Answer, ...]]] = []
    for index in sorted(range(len(places)), key=lambda i: i != drawn):
        extra = COSTS["rhythm"] * (index != drawn)
        if len(found) >= count and found[count - 1][0] <= extra:
            break  # no cost is negative: the other places cannot do better
        name, spans = places[index]
        hits = _with_approach(arrangement, gap, spans, approach, manner.swing)
        found += [(cost + extra, index, a) for cost, a in _search(arrangement, gap, name, hits, contour, count)]
        found.sort(key=lambda item: item[:2])
        different: dict[str, tuple[float, int, tuple[Answer, ...]]] = {}
        for item in found:  # two rhythms may ask for the same chords at the same moments
            different.setdefault(signature(item[2]), item)
        found = list(different.values())
    return [(cost, answers) for cost, _, answers in found[:count]]


def _draws(manner: Manner, call: int) -> random.Random:
    """A source of draws for one gap alone, so that no gap's answer hangs on another's."""
    return random.Random(f"{manner.seed} {call}")


def _drawn_approach(draws: random.Random, manner: Manner) -> str:
    wanted, side = draws.random() < manner.approached, draws.choice(("below", "above"))
    if not wanted:
        return ""
    return side if manner.approach_from == "both" else manner.approach_from


def _placements(
    arrangement: Arrangement, gap: Gap, swing: bool
) -> Iterator[tuple[str, list[tuple[Fraction, Fraction, Chord]]]]:
    """Every rhythm at every beat where it fits the gap: its name, and (onset, length, chord) of each hit."""
    tune = arrangement.tune
    shortest = Fraction(FASTEST_ANSWER_S) * Fraction(arrangement.tempo) / 60
    beats = list(_beats(tune, gap))
    for name, pattern in RHYTHMS.items():
        halves = any(Fraction(start).denominator == 2 for start, _ in pattern)
        for place, beat in beats:
            if halves and beat > 1:
                continue  # halves of a dotted quarter do not lie in a compound metre
            times = [_times(place, beat, start, length, swing) for start, length in pattern]
            if times[0][0] < gap.start or times[-1][1] > gap.end:
                continue
            apart = [b[0] - a[0] for a, b in zip(times, times[1:], strict=False)] + [gap.end - times[-1][0]]
            chords = [tune.chord_at(onset) for onset, _ in times]
            if min(apart) >= shortest and all(chords):
                changes = [tune.change_after(onset) for onset, _ in times]
                ends = [min(off, c.onset) if c else off for (_, off), c in zip(times, changes, strict=True)]
                yield name, [(t[0], end - t[0], c) for t, end, c in zip(times, ends, chords, strict=True) if c]


def _beats(tune: Tune, gap: Gap) -> Iterator[tuple[Fraction, Fraction]]:
    """Every felt beat of the bars a gap touches, with its length, both in quarter notes."""
    for bar in tune.bars_between(gap.start, gap.end):
        beat = pulse(tune, bar.onset)
        place = bar.end - Fraction(4 * bar.metre[0], bar.metre[1]) if bar.number == 0 else bar.onset
        while place < min(bar.end, gap.end):
            yield place, beat
            place += beat


def _times(
    place: Fraction, beat: Fraction, start: Fraction | int, length: Fraction | int, swing: bool
) -> tuple[Fraction, Fraction]:
    """When a hit of a rhythm begins and ends, in quarter notes; with swing a half beat is two thirds of it."""
    end = start + length
    if swing:
        start, end = (t + Fraction(1, 6) if Fraction(t).denominator == 2 else t for t in (start, end))
    return place + start * beat, place + end * beat


def _with_approach(
    arrangement: Arrangement, gap: Gap, spans: Sequence[tuple[Fraction, Fraction, Chord]], approach: str, swing: bool
) -> list[Hit]:
    """The hits of a rhythm, the drawn approach given to the first one that leaves time for it.

    An approach lasts half a beat; a third with swing, in compound metres, and before a chord on a triplet.
    """
    hits, before = [], gap.start
    for onset, length, chord in spans:
        beat = pulse(arrangement.tune, onset)
        into_bar = (arrangement.tune.beat_at(onset) - 1) * Fraction(4, arrangement.tune.bar_at(onset).metre[1])
        in_thirds = swing or beat > 1 or (into_bar / beat).denominator % 3 == 0
        lead = beat / 3 if in_thirds else beat / 2
        fits = bool(approach) and onset - lead >= before and float(lead) * 60 / arrangement.tempo >= APPROACH_S
        hits.append(Hit(onset, length, chord, approach if fits else "", lead))
        if fits:
            approach = ""
        before = onset + Fraction(FASTEST_ANSWER_S) * Fraction(arrangement.tempo) / 60
    return hits


def _search(
    arrangement: Arrangement, gap: Gap, rhythm: str, hits: Sequence[Hit], contour: str, count: int
) -> list[tuple[float, tuple[Answer, ...]]]:
    """The cheapest ways to play these hits between their call and the next, as (cost, answers)."""
    call = arrangement.choices[gap.call]
    following = arrangement.choices[gap.call + 1] if gap.call + 1 < len(arrangement.choices) else None
    ceiling = max(c.note.pitch.midi for c in (call, following) if c)
    beat = 60 / arrangement.tempo
    last, last_onset = _fixed(arrangement, call), call.note.onset
    own_grip = last.grip[0]  # no answer repeats its call
    total = np.full((1, count), np.inf)
    total[0, 0] = 0.0
    trail = []
    for index, hit in enumerate(hits):
        nodes = _nodes(arrangement, call, hit)
        if not nodes.cost.size:
            return []
        own = nodes.cost + COSTS["cover"] * (nodes.top > ceiling) + np.where(nodes.grip == own_grip, np.inf, 0.0)
        step = _step(last, nodes, float(hit.onset - last_onset) * beat, float(hit.lead) * beat)
        up = contour == "rising" or (contour == "turning" and 2 * index < len(hits))
        against = (nodes.top[None, :] <= last.top[:, None]) if up else (nodes.top[None, :] >= last.top[:, None])
        total, order = advance(total, step + COSTS["contour"] * against, own, count)
        trail.append((nodes, order))
        last, last_onset = nodes, hit.onset
    if following and following.grip:
        onward = _step(last, _fixed(arrangement, following), float(following.note.onset - last_onset) * beat, 0.0)
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


def _step(before: Nodes, after: Nodes, seconds: float, lead: float) -> Array:
    """Cost of every way from node to node; the same grip again, or a jump there is no time for, costs infinity."""
    travel = np.abs(before.leave[:, None] - after.arrive[None, :])
    voices = np.abs(before.lower_out[:, None, :] - after.lower_in[None, :, :]).sum(2)
    both = (before.lower_out[:, None, 0] > 0) & (after.lower_in[None, :, 0] > 0)
    cost = COSTS["travel"] * travel + COSTS["voices"] * voices * both
    cost += COSTS["string set"] * (before.strings[:, None] != after.strings[None, :])
    reach = np.maximum(TRAVEL_MM_S * (seconds - lead * after.early), SHIFT_MM)[None, :]
    stuck = (before.grip[:, None] == after.grip[None, :]) | ((travel > reach) & both)
    return np.where(stuck, np.inf, cost)


class Palette(NamedTuple):
    """All grips of one chord on one neck, with the arrays the search needs."""

    grips: tuple[Grip, ...]
    spreads: tuple[str, ...]
    tops: tuple[tuple[int, int], ...]
    nodes: Nodes
    lowest: Array
    led: dict[str, Nodes]


@lru_cache(maxsize=512)
def palette(neck: Neck, root: int, semitones: tuple[int, ...], spreads: tuple[str, ...]) -> Palette:
    """Every grip of a four-note chord: `root` is a pitch class, `semitones` its notes above it."""
    rows = []
    for spread in spreads:
        for top, above in enumerate(semitones):
            first = neck.open_midi[0] + (root + above - neck.open_midi[0]) % 12
            for midi in range(first, neck.open_midi[-1] + neck.last_fret + 1, 12):
                rows += [(shape, spread, (top, midi)) for shape in shapes(neck, semitones, spread, top, midi)]
    grips = tuple(shape[0] for shape, _, _ in rows)
    position = np.array([shape[2] for shape, _, _ in rows])
    lower = np.array([shape[3] for shape, _, _ in rows], dtype=float).reshape(-1, 3)
    cost = np.array([sum(value for _, value in shape[1]) for shape, _, _ in rows])
    lowest = np.array([grip.strings[0] for grip in grips], dtype=float)
    strings = np.array([string_bits(grip.frets) for grip in grips], dtype=float)
    top_notes = np.array([midi for _, _, (_, midi) in rows], dtype=float)
    number = np.array([_number(grip) for grip in grips], dtype=float)
    nodes = Nodes(cost, position, position, lower, lower, top_notes, strings, number, np.zeros(len(grips)))
    led = {}
    for side, fret in (("below", -1), ("above", 1)):
        moved = [_leads(neck, grip, fret) for grip in grips]
        arrive = np.array([neck.nut_to(min(g.fretted)) if g else 0.0 for g in moved])
        price = np.where([g is not None for g in moved], cost, np.inf)
        led[side] = nodes._replace(cost=price, arrive=arrive, lower_in=lower + fret, early=np.ones(len(grips)))
    return Palette(grips, tuple(s for _, s, _ in rows), tuple(t for _, _, t in rows), nodes, lowest, led)


def _leads(neck: Neck, grip: Grip, fret: int) -> Grip | None:
    """The grip one fret lower or higher in all voices, if the hand can slide there with the same fingers."""
    moved = grip.shifted(fret)
    slides = 0 not in grip.frets and 0 not in moved.frets
    return moved if slides and neck.fault(moved) is None else None


@lru_cache(maxsize=65536)
def _number(grip: Grip) -> int:
    """A number that is the same for the same frets and no others."""
    return sum((0 if fret is None else fret + 1) * 32**place for place, fret in enumerate(grip.frets))


def _nodes(arrangement: Arrangement, call: Choice, hit: Hit) -> Nodes:
    """Every way to play a hit: all grips on the call's strings or their neighbours, approached first where drawn."""
    book = _book(arrangement, call, hit.chord)
    assert call.grip is not None
    far = np.abs(book.lowest - call.grip.strings[0]) > 1
    plain = book.nodes._replace(cost=book.nodes.cost + np.where(far, np.inf, 0.0))
    if not hit.approach:
        return plain
    led = book.led[hit.approach]
    led = led._replace(cost=led.cost + np.where(far, np.inf, 0.0))
    plain = plain._replace(cost=plain.cost + COSTS["approach"])
    return Nodes(*(np.concatenate(pair) for pair in zip(led, plain, strict=True)))


def _book(arrangement: Arrangement, call: Choice, chord: Chord) -> Palette:
    semitones = tuple(interval(degree)[1] % 12 for degree in _stack(arrangement, call, chord))
    return palette(arrangement.settings.neck, chord.root.pitch_class, semitones, arrangement.settings.spreads)


def _stack(arrangement: Arrangement, call: Choice, chord: Chord) -> tuple[str, ...]:
    """The four degrees an answer uses: the call's own where the chord is the same, else as fits the key."""
    if call.voicing and call.voicing.chord == chord:
        return call.voicing.stack
    return chord.stacks_for(chord.degrees[1], arrangement.tune.key_at(call.note.onset))[0]


def _fixed(arrangement: Arrangement, choice: Choice) -> Nodes:
    """A call as the only node of its column."""
    grip, neck = choice.grip, arrangement.settings.neck
    assert grip is not None
    sounding = neck.midi(grip.frets)
    lower = np.array([sounding[:-1] if len(sounding) == 4 else (0.0, 0.0, 0.0)], dtype=float)
    place, one = np.array([neck.nut_to(min(grip.fretted, default=0))]), np.zeros(1)
    top, strings = np.array([float(sounding[-1])]), np.array([float(string_bits(grip.frets))])
    return Nodes(one, place, place, lower, lower, top, strings, np.array([float(_number(grip))]), one)


def _answers(
    arrangement: Arrangement, gap: Gap, rhythm: str, hits: Sequence[Hit], contour: str, picks: Sequence[int]
) -> tuple[Answer, ...]:
    """The answers a chain of nodes stands for, approaches included."""
    call = arrangement.choices[gap.call]
    made: list[Answer] = []
    for hit, pick in zip(hits, picks, strict=True):
        book = _book(arrangement, call, hit.chord)
        size = len(book.grips)
        led, pick = bool(hit.approach) and pick < size, pick % size
        stack = _stack(arrangement, call, hit.chord)
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


# --- what the teacher asked for -----------------------------------------------------------------------------------


def _check_manner(arrangement: Arrangement, manner: Manner) -> None:
    for name in ("share", "approached"):
        within(getattr(manner, name), 0, 1, f"{name} {{}}: give a share between 0 and 1")
    if manner.approach_from not in ("below", "above", "both"):
        raise HarmonyError(f"approach from {manner.approach_from!r}: choose below, above or both")
    if manner.contour not in (*CONTOURS, "any"):
        raise HarmonyError(f"{manner.contour!r} is not a contour: choose {', '.join(CONTOURS)} or any")
    kept = pairs_of(manner.keep, Mapping, "keep maps calls to answers; keeping() writes it")
    if not all(isinstance(own, tuple | list) and all(isinstance(a, Answer) for a in own) for _, own in kept):
        raise HarmonyError(f"{shown(manner.keep)} cannot be kept: keep maps calls to answers; keeping() writes it")
    bans = pairs_of(manner.bans, Sequence, "bans are pairs of a call and an answer; without() writes them")
    named = [whole(call, "the number of a call") for call, _ in [*kept, *bans]]
    there = {gap.call for gap in gaps(arrangement)} if named else set()
    for call in named:
        if call not in there:
            raise HarmonyError(f"note {call} has no gap after it: gaps follow notes {sorted(there)}")


def keeping(arrangement: Arrangement, manner: Manner, call: int) -> Manner:
    """The manner that keeps the present answer to a call whatever else changes."""
    own = tuple(answer for answer in expect(Arrangement, arrangement, ARRANGEMENT).answers if answer.call == call)
    expect(Manner, manner, "a Manner")
    return replace(manner, keep={**manner.keep, whole(call, "the number of a call"): own})


def without(arrangement: Arrangement, manner: Manner, call: int) -> Manner:
    """The manner that bans the present answer to a call: the next best takes its place."""
    own = [answer for answer in expect(Arrangement, arrangement, ARRANGEMENT).answers if answer.call == call]
    expect(Manner, manner, "a Manner")
    return replace(manner, bans=(*manner.bans, (call, signature(own))))


def written(arrangement: Arrangement, call: int, hits: Sequence[tuple[Fraction | float, float, str]]) -> Arrangement:
    """The arrangement with a player's own answer to one call, to be looked at by `check_answers`.

    Each hit is (start after the call's onset, length, grip), both in quarter notes. Raises `HarmonyError` for a call
    that is not there, a time that is none, and a grip no hand can hold.
    """
    expect(Arrangement, arrangement, ARRANGEMENT)
    if not 0 <= whole(call, "the number of a note") < len(arrangement.choices):
        raise HarmonyError(
            f"note {shown(call)} cannot be answered: the tune has notes 0 to {len(arrangement.choices) - 1}"
        )
    choice, made = arrangement.choices[call], []
    if not isinstance(hits, list | tuple) or not all(isinstance(hit, tuple | list) and len(hit) == 3 for hit in hits):
        raise HarmonyError(f"{shown(hits)} are no hits: write each as (start, length, grip), as in (2, 1, 'x3545x')")
    for after, length, text in hits:
        if not all(isinstance(time, Real) and abs(time) < LATEST for time in (after, length)) or length <= 0:  # type: ignore[operator]
            raise HarmonyError(
                f"hit at {shown(after)}, long {shown(length)}: give quarter notes after the call, and a length above 0"
            )
        onset = choice.note.onset + Fraction(after).limit_denominator(48)
        grip, chord = arrangement.settings.neck.fingered(Grip.parse(text).frets), arrangement.tune.chord_at(onset)
        if not grip.strings:
            raise HarmonyError(f"{text!r} sounds no string: an answer needs a chord")
        if chord is None:
            raise HarmonyError(f"{arrangement.tune.where(onset)}: no chord sounds here to answer in")
        voicing = _heard(arrangement.settings.neck, grip, chord)
        made.append(Answer(call, onset, Fraction(length).limit_denominator(48), voicing, grip, "your own"))
    others = tuple(answer for answer in arrangement.answers if answer.call != call)
    return replace(arrangement, answers=tuple(sorted([*others, *made], key=lambda answer: answer.onset)))


def _heard(neck: Neck, grip: Grip, chord: Chord) -> Voicing:
    """What a grip sounds, spelled from the chord where its notes belong to it."""
    midi = neck.midi(grip.frets)
    degrees = tuple(chord.tones.get(m % 12, "") for m in midi)
    names = [chord.name_of(d) if d else spell(m) for d, m in zip(degrees, midi, strict=True)]
    return Voicing(chord, degrees, "own", degrees, tuple(n.at(m) for n, m in zip(names, midi, strict=True)))


# --- the checker --------------------------------------------------------------------------------------------------


def check_answers(arrangement: Arrangement) -> list[str]:
    """All that is wrong with the answers of an arrangement, one sentence each; an empty list when they fit.

    Each answer must lie in its gap, sound the harmony of its moment, differ from its call and its neighbour, be
    playable, leave the hand time to come and go, and end before the next call; an approach must be its target one fret
    off in all voices and resolve at once.
    """
    tune, wrong = expect(Arrangement, arrangement, ARRANGEMENT).tune, []
    calls: dict[int, list[Answer]] = {}
    for item in arrangement.answers:
        calls.setdefault(item.call, []).append(item)
    for call, answers in calls.items():
        if not 0 <= call < len(arrangement.choices) or arrangement.choices[call].voicing is None:
            wrong.append(f"note {call} is no call: it carries no chord")
            continue
        choice = arrangement.choices[call]
        following = arrangement.choices[call + 1] if call + 1 < len(arrangement.choices) else None
        limit = following.note.onset if following else tune.end
        earliest = choice.note.onset + min(choice.note.duration, pulse(tune, choice.note.onset))
        spoken = [choice.grip]
        for before, item, after in zip([None, *answers], answers, [*answers[1:], None], strict=False):
            where = f"{tune.where(item.onset)}, answer {item.grip}"
            if item.onset < earliest:
                wrong.append(f"{where}: it cuts its call off; the gap opens at {tune.where(earliest)}")
            if item.end > limit:
                wrong.append(f"{where}: it sounds over the next call at {tune.where(limit)}")
            if before and item.onset < before.end:
                wrong.append(f"{where}: it begins before the answer in front of it ends")
            fault = arrangement.settings.neck.fault(item.grip)
            if fault:
                wrong.append(f"{where}: {fault}")
            if len(item.grip.frets) != len(arrangement.settings.neck.open_midi):
                continue
            if item.duration <= 0:
                wrong.append(f"{where}: it has no length")
            wrong += [f"{where}: {why}" for why in _check_sound(arrangement, item, after)]
            if not item.approach:
                same = [grip for grip in (spoken[0], spoken[-1]) if grip and grip.frets == item.grip.frets]
                if same:
                    wrong.append(
                        f"{where}: it repeats {'its call' if same[0] is spoken[0] else 'the answer before it'}"
                    )
                spoken.append(item.grip)
            came_from, since = (before.grip, before.onset) if before else (choice.grip, choice.note.onset)
            wrong += _check_travel(arrangement, came_from, since, item.grip, item.onset, where)
        if following and following.voicing:
            last = answers[-1]
            where = f"{tune.where(last.onset)}, answer {last.grip}"
            wrong += _check_travel(
                arrangement, last.grip, last.onset, following.grip, limit, f"{where}, back to the call"
            )
    return wrong


def _check_sound(arrangement: Arrangement, item: Answer, after: Answer | None) -> list[str]:
    """Whether an answer sounds its harmony, or an approach its target one fret off."""
    sounding = arrangement.settings.neck.midi(item.grip.frets)
    if tuple(pitch.midi for pitch in item.voicing.pitches) != sounding:
        return ["it does not sound the voicing written for it"]
    if item.approach:
        side = {"below": 1, "above": -1}.get(item.approach)
        if side is None:
            return [f"an approach comes from below or above, not {item.approach!r}"]
        if 0 in item.grip.frets:
            return ["an approach is gripped like its target; this one has an open string"]
        same_neck = after is not None and len(after.grip.frets) == len(item.grip.frets)
        same_strings = after is not None and same_neck and after.grip.strings == item.grip.strings
        target = arrangement.settings.neck.midi(after.grip.frets) if after and same_neck else None
        if not same_strings or target != tuple(midi + side for midi in sounding):
            return [f"an approach from {item.approach} is its target moved by one fret in all voices; this is not"]
        return [] if after and after.onset == item.end else ["an approach resolves at once; this one waits"]
    chord = arrangement.tune.chord_at(item.onset)
    if chord is None:
        return ["no chord sounds here that it could answer in"]
    change = arrangement.tune.change_after(item.onset)
    if change and change.onset < item.end:
        return [f"it sounds on after the chord has changed at {arrangement.tune.where(change.onset)}"]
    allowed = {chord.pitch_class_of(degree) for stack in chord.stacks for degree in stack}
    foreign = [midi for midi in sounding if midi % 12 not in allowed]
    if foreign:
        return [f"it holds notes foreign to {chord}: {len(foreign)} of {len(sounding)}"]
    return [] if len({midi % 12 for midi in sounding}) == 4 else ["it does not hold four different notes"]


def _check_travel(
    arrangement: Arrangement, start: Grip | None, since: Fraction, goal: Grip | None, until: Fraction, where: str
) -> list[str]:
    """A sentence when the hand has no time for the way from one grip to the next."""
    if start is None or goal is None or not (start.fretted and goal.fretted):
        return []
    neck, seconds = arrangement.settings.neck, float(until - since) * 60 / arrangement.tempo
    way = abs(neck.nut_to(min(start.fretted)) - neck.nut_to(min(goal.fretted)))
    if way <= max(SHIFT_MM, TRAVEL_MM_S * seconds) + 1e-6:
        return []
    return [f"{where}: {way:.0f} mm in {seconds:.2f} s is too far for the hand"]
