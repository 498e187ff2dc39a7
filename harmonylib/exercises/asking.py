"""Questions of a chapter: drawn for the lesson of its edit cell, on material that the page has not shown.

Conventions
- A question on a chord asks about another chord than the edit cell's, drawn by the lesson's seed and level; a question
  on a tune asks about the tune, bars, tempo and neck of the edit cell.
- What cannot be asked there (no gap, no foreign note, no hand that holds it) is said in a sentence.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import replace

from harmonylib.arranging.choice import Choice
from harmonylib.errors import HarmonyError
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.catalogue import KINDS, exercise, exercise_set, random_exercise
from harmonylib.guitar.grips import Grip
from harmonylib.lessons.lesson import Lesson
from harmonylib.lessons.music import here
from harmonylib.lessons.said import Said, section
from harmonylib.lessons.shapes import DROPS, held
from harmonylib.lessons.table import Table, table
from harmonylib.theory.chords import Chord
from harmonylib.theory.voicings import Voicing

TRIES = 60


@section
def ask(today: Lesson, kind: str, which: int = 1) -> Exercise | Said:
    """A question of some kind for the lesson; `which` tells several of a kind apart.

    >>> from harmonylib.lessons.lesson import lesson
    >>> ask(lesson(1), "spell")
    Spell ... from the root up: 4 notes.
    >>> ask(lesson(6), "find_gaps")
    At which bar and beat do the gaps open in bars 1 to 4 of Lantern on the Landing ...
    """
    if kind not in _MADE:
        raise HarmonyError(f"{kind!r} is not a kind of question: choose {', '.join(_MADE)}")
    return _MADE[kind](today, which)


def _draws(today: Lesson, kind: str, which: int) -> random.Random:
    return random.Random(f"{kind} {which} {today.chapter} {today.seed} {today.settings['level']}")


def _new_chords(today: Lesson, kind: str, which: int) -> Iterator[Chord]:
    """Chords with another root and another family than the lesson's, in the order in which they are drawn."""
    draws = _draws(today, kind, which)
    for _ in range(TRIES):
        chord = Chord.parse(_material("spell", draws, today)["chord"])
        if chord.root != today.chord.root and chord.kind != today.chord.kind:
            yield chord


def _material(kind: str, draws: random.Random, today: Lesson) -> dict[str, str]:
    """The material of an exercise of some kind, drawn at the lesson's level."""
    made = random_exercise(kind, seed=draws.randrange(10**6), level=today.settings["level"])
    return {name: str(value) for name, value in made.as_data().items()}


def _new_chord(today: Lesson, kind: str, which: int) -> Chord:
    return next(_new_chords(today, kind, which))


def _spell(today: Lesson, which: int) -> Exercise:
    return exercise("spell", chord=str(_new_chord(today, "spell", which)))


def _drop(today: Lesson, which: int) -> Exercise:
    chord = _new_chord(today, "drop", which)
    top = chord.names[1 + (today.seed + which) % 3]
    return exercise("drop", chord=str(chord), spread=DROPS[(which - 1) % len(DROPS)], top=str(top))


def _grip(today: Lesson, kind: str, which: int) -> tuple[Chord, Voicing, Grip]:
    """A new chord with one of its grips on the lesson's neck."""
    for chord in _new_chords(today, kind, which):
        found = held(chord, today.neck, ("drop 2", "drop 3"))
        if found:
            return (chord, *_draws(today, f"grip of {kind}", which).choice(found))
    raise HarmonyError("no hand of this reach holds a chord to ask about: set a longer reach")


def _on_grip(kind: str) -> Callable[[Lesson, int], Exercise]:
    def made(today: Lesson, which: int) -> Exercise:
        chord, _, grip = _grip(today, kind, which)
        return exercise(kind, chord=str(chord), grip=str(grip), neck=today.neck)

    return made


def _next_inversion(today: Lesson, which: int) -> Exercise:
    """A grip whose next inversion lies in reach on its own strings."""
    for turn in range(TRIES):
        chord, _, grip = _grip(today, f"next_inversion {turn}", which)
        try:
            return exercise("next_inversion", chord=str(chord), grip=str(grip), neck=today.neck)
        except HarmonyError:
            continue
    raise HarmonyError("no two neighbouring inversions lie in this hand's reach: set a longer reach")


def _find_grips(today: Lesson, which: int) -> Exercise:
    """As many grips as there are inversions: the neck asked about ends where the first of them comes again."""
    strings = "".join(map(str, today.strings))
    for chord in _new_chords(today, "find_grips", which):
        for last in range(today.neck.frets, today.neck.capo + 4, -1):
            neck = replace(today.neck, frets=last)
            try:
                task = exercise("find_grips", chord=str(chord), spread=today.spread, strings=strings, neck=neck)
            except HarmonyError:
                break
            if len(task.solution()) <= 4:
                return task
    raise HarmonyError("no hand of this reach holds a shape to ask about: set a longer reach, or other strings")


def _which_degree(today: Lesson, which: int) -> Exercise:
    """A note of the lesson's bars over its chord; the second question takes a foreign note where there is one."""
    found = [choice for choice in here(today) if choice.chord]
    found = found or [choice for choice in today.music.choices if choice.chord]
    if not found:
        raise HarmonyError(f"no chord sounds in {today.tune.title}: there is no degree to ask for")
    foreign = [choice for choice in found if choice.tested.role]
    some = foreign if which % 2 == 0 else [choice for choice in found if choice.tested.degree]
    pairs = list(dict.fromkeys((str(choice.note.pitch.name), str(choice.chord)) for choice in some or found))
    _draws(today, "which_degree", 0).shuffle(pairs)
    note, chord = pairs[(which - 1) // 2 % len(pairs)]
    return exercise("which_degree", note=note, chord=chord)


def _pick(choices: list[Choice], today: Lesson, kind: str, which: int) -> Choice:
    return _draws(today, kind, which).choice(choices)


def _shell(today: Lesson, which: int) -> Exercise:
    """A melody note of the tune outside the lesson's bars where there is one."""
    shown = {choice.index for choice in here(today)}
    chords = [choice for choice in today.music.choices if choice.chord and choice.tested.degree not in (None, "1")]
    new = [choice for choice in chords if choice.index not in shown] or chords
    for turn in range(TRIES):
        if not new:
            break
        asked = _pick(new, today, f"shell {turn}", which)
        try:
            return exercise("shell", note=str(asked.note.pitch), chord=str(asked.chord), neck=today.neck)
        except HarmonyError:
            continue
    raise HarmonyError(f"no hand of this reach holds a root under a note of {today.tune.title}")


def _which_diminished(today: Lesson, which: int) -> Exercise:
    """A foreign note over another chord than the lesson's."""
    draws = _draws(today, "which_diminished", which)
    for _ in range(TRIES):
        found = _material("which_diminished", draws, today)
        if Chord.parse(found["chord"]).root != today.chord.root:
            return exercise("which_diminished", note=found["note"], chord=found["chord"])
    raise HarmonyError("no foreign note was found to ask about")


def _bar_numbers(today: Lesson) -> list[int]:
    """The lesson's bars in which a note carries a chord, else those of the whole tune."""
    music = today.music
    for choices in (here(today), music.choices):
        found = [music.tune.bar_at(choice.note.onset).number for choice in choices if choice.voicing]
        if found:
            return list(dict.fromkeys(found))
    raise HarmonyError(f"no note of {today.tune.title} carries a chord on this neck")


def _common(today: Lesson) -> dict[str, object]:
    """Tune, key, tempo and hand of a question on the lesson's tune."""
    tune, key = today.settings["tune"], today.settings["key"]
    return {"tune": tune, "tempo": round(today.tempo), "key": key, "neck": today.neck}


def _harmonise_bar(today: Lesson, which: int) -> Exercise:
    numbers = _bar_numbers(today)
    bar = numbers[(which - 1) % len(numbers)]
    return exercise("harmonise_bar", bar=bar, **_common(today))


def _span(today: Lesson, which: int) -> tuple[int, int]:
    """Two of the lesson's bars."""
    first = _bar_numbers(today)[(which - 1) % len(_bar_numbers(today))]
    there = {bar.number for bar in today.music.tune.bars}
    return first, first + 1 if first + 1 in there else first


def _harmonise_phrase(today: Lesson, which: int) -> Exercise:
    first, last = _span(today, which)
    return exercise("harmonise_phrase", first=first, last=last, **_common(today))


def _mend(today: Lesson, which: int) -> Exercise:
    first, last = _span(today, which)
    return exercise("mend", first=first, last=last, seed=today.seed, **_common(today))


def _find_gaps(today: Lesson, which: int) -> Exercise:
    first, last = today.bars
    return exercise("find_gaps", first=first, last=last, **_common(today))


def _answer_call(today: Lesson, which: int) -> Exercise:
    return exercise("answer_call", call=which, **_common(today))


_MADE: dict[str, Callable[[Lesson, int], Exercise]] = {
    **{"spell": _spell, "drop": _drop, "find_root": _on_grip("find_root")},
    **{"name_inversion": _on_grip("name_inversion"), "next_inversion": _next_inversion},
    **{"find_grips": _find_grips, "which_degree": _which_degree, "shell": _shell},
    **{"which_diminished": _which_diminished, "harmonise_bar": _harmonise_bar, "mend": _mend},
    **{"harmonise_phrase": _harmonise_phrase, "find_gaps": _find_gaps, "answer_call": _answer_call},
}


def drawn_set(today: Lesson, count: int = 6) -> tuple[Exercise, ...]:
    """A work sheet's questions, of the lesson's kinds, drawn by its seed and level."""
    return exercise_set(today.settings["kinds"], count, seed=today.seed, level=today.settings["level"])


@section
def questions(today: Lesson, count: int = 6) -> Table:
    """The questions of a work sheet.

    >>> from harmonylib.lessons.lesson import lesson
    >>> len(questions(lesson(8)).rows)
    6
    """
    rows = ((number, task.question) for number, task in enumerate(drawn_set(today, count), start=1))
    return table("no. | question", rows, ["question"])


@section
def answer_key(today: Lesson, count: int = 6) -> Table:
    """A right answer to each question of a work sheet; where several are right, one of them."""
    rows = ((number, _told(task.solution())) for number, task in enumerate(drawn_set(today, count), start=1))
    return table("no. | a right answer", rows, ["a right answer"])


def _told(solution: object) -> str:
    """A solution as one writes it."""
    if isinstance(solution, dict):
        solution = list(solution.values())
    return ", ".join(map(str, solution)) if isinstance(solution, list | tuple) else str(solution)


@section
def kinds_of_question() -> Table:
    """Every kind of question, and what it asks for."""
    return table("kind | asks to", KINDS.items())


@section
def level_steps(today: Lesson, kind: str = "drop") -> Table:
    """One question of a kind at each level, by the lesson's seed."""
    rows = ((level, random_exercise(kind, seed=today.seed, level=level).question) for level in (1, 2, 3))
    return table("level | question", rows, ["question"])


@section
def another_seed(today: Lesson) -> Table:
    """The first question of the lesson's seed, of the same seed again, and of the next one."""
    seeds = (today.seed, today.seed, today.seed + 1)
    level, kinds = today.settings["level"], today.settings["kinds"]
    rows = ((seed, exercise_set(kinds, 1, seed=seed, level=level)[0].question) for seed in seeds)
    return table("seed | asks", rows, ["asks"])
