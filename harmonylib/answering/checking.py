"""Whether answers fit: what is wrong with them, in functions the search does not call.

An answer shortens its call, it never moves it. What is only a matter of taste says `harmonylib.answering.taste`.
"""

from __future__ import annotations

from fractions import Fraction

from harmonylib.answering.taste import remarks_on_answers
from harmonylib.arranging.arrangement import ARRANGEMENT, Answer, Arrangement
from harmonylib.arranging.costs import SHIFT_MM, TRAVEL_MM_S
from harmonylib.errors import expect
from harmonylib.guitar.grips import Grip
from harmonylib.theory.pitch import spell


def check_answers(arrangement: Arrangement, taste: bool = False) -> list[str]:
    """All that is wrong with the answers of an arrangement, one sentence each; an empty list when they fit.

    With `taste`, what a player would do otherwise follows, each sentence marked as a remark: that is not wrong.

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
        earliest = choice.note.onset + min(choice.note.duration, tune.beat_length(choice.note.onset))
        spoken = [choice.grip]
        for before, item, after in zip([None, *answers], answers, [*answers[1:], None], strict=False):
            where = f"{tune.where(item.onset)}, answer {item.grip}"
            if item.onset < earliest:
                wrong.append(f"{where}: it cuts its call off; the gap opens at {tune.where(earliest)}")
            if item.end > limit:
                over = f"over the next call at {tune.where(limit)}" if following else "on after the tune has ended"
                wrong.append(f"{where}: it sounds {over}")
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
    remarks = remarks_on_answers(arrangement) if taste else []
    return [*wrong, *(f"remark: {remark}" for remark in remarks)]


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
    allowed = chord.allowed
    foreign = [midi for midi in sounding if midi % 12 not in allowed]
    if foreign:
        flats = not any(name.alter > 0 for name in chord.names)
        return [f"it holds {', '.join(str(spell(midi, flats=flats)) for midi in foreign)}, foreign to {chord}"]
    return [] if len({midi % 12 for midi in sounding}) == 4 else ["it does not hold four different notes"]


def _check_travel(
    arrangement: Arrangement, start: Grip | None, since: Fraction, goal: Grip | None, until: Fraction, where: str
) -> list[str]:
    """A sentence when the hand has too little time for the way between two grips; that it has none is told already."""
    if start is None or goal is None or not (start.fretted and goal.fretted) or until <= since:
        return []
    neck, seconds = arrangement.settings.neck, float(until - since) * 60 / arrangement.tempo
    way = abs(neck.position_mm(start) - neck.position_mm(goal))
    if way <= max(SHIFT_MM, TRAVEL_MM_S * seconds) + 1e-6:
        return []
    return [f"{where}: {way:.0f} mm in {seconds:.2f} s is too far for the hand"]
