"""Questions of a chapter: drawn for the lesson of its edit cell, on material that the page has not shown.

Conventions
- A question on a chord asks about another chord than the edit cell's, drawn by the lesson's seed and level; a question
  on a tune asks about the tune, bars, tempo and neck of the edit cell, one on a degree best about other bars of it.
- No two questions of a kind in one chapter are alike or have the same answer, nor has the one that follows on
  “another one”, which is asked about the lesson as well.
- What cannot be asked there (no gap, no foreign note, no hand that holds it) is said in a sentence.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import replace

from harmonylib.answering.gaps import gaps
from harmonylib.arranging.choice import Choice
from harmonylib.errors import HarmonyError, whole, within
from harmonylib.exercises.base import Exercise
from harmonylib.exercises.catalogue import KINDS, exercise, exercise_set, random_exercise
from harmonylib.exercises.draws import chords_of
from harmonylib.exercises.written import as_text
from harmonylib.guitar.grips import Grip
from harmonylib.lessons.lesson import Lesson
from harmonylib.lessons.music import here
from harmonylib.lessons.said import Said, section
from harmonylib.lessons.shapes import DROPS, held
from harmonylib.lessons.table import Table, table
from harmonylib.theory.chords import Chord
from harmonylib.theory.voicings import Voicing

TRIES = 60

TURNS = 12
"""So many draws are made for a question that is unlike those before it."""

ASKED = 3
"""A chapter asks at most so many questions of one kind, at places 1 to 3; what is asked for after them follows."""

ON_A_NEW_CHORD = ("spell", "drop", "find_root", "name_inversion", "next_inversion", "find_grips")


@section
def ask(today: Lesson, kind: str, which: int = 1) -> Exercise | Said:
    """A question of some kind for the lesson; `which` tells several of a kind apart.

    >>> from harmonylib.lessons.lesson import lesson
    >>> ask(lesson(1), "spell")
    Spell ... from the root up: 4 notes.
    >>> ask(lesson(6), "find_gaps")
    At which bar and beat do the gaps open in bars 1 to 4 of Lantern on the Landing ...
    >>> ask(lesson(3, tempo=50), "harmonise_bar").another(1)
    Harmonise bar 2 of Lantern on the Landing (E♭ major, 50 quarter notes a minute)...
    """
    if kind not in _MADE:
        raise HarmonyError(f"{kind!r} is not a kind of question: choose {', '.join(_MADE)}")
    number = whole(which, "the number of a question")
    within(number, 1, ASKED, f"question {{}} of a kind: choose 1 to {ASKED}, and “another one” in its box")
    asked = Asked(today, kind, number)
    task = asked.first
    object.__setattr__(task, "series", asked.another)  # making it anew would arrange its tune again
    return task


class Asked:
    """The questions of one kind in one place of a chapter: the first, and those that come for the asking."""

    def __init__(self, today: Lesson, kind: str, which: int) -> None:
        self._today, self._kind, self._which = today, kind, which
        self._chapter: list[Exercise] = []
        self._others: list[Exercise] = []

    @property
    def first(self) -> Exercise:
        """The question itself: neither alike nor with the same answer as those of its kind before it."""
        while len(self._chapter) < self._which:
            self._chapter.append(self._unlike(self._chapter, self._chapter, len(self._chapter) + 1))
        return self._chapter[-1]

    def another(self, number: int) -> Exercise:
        """Question `number` after the first, from 1: of the same lesson, and not the one before it again."""
        while len(self._others) < number:
            before = self._others[-1] if self._others else self.first
            asked = [*self._chapter, *self._others]
            self._others.append(self._unlike(asked, [before], ASKED * (len(self._others) + 1) + self._which))
        return self._others[number - 1]

    def _unlike(self, asked: list[Exercise], before: list[Exercise], place: int) -> Exercise:
        """A question unlike those `before` it, in its answer too; best one that was not `asked` at all."""
        near, far = {task.question for task in before}, {task.question for task in asked}
        answers, spare = {as_text(task.solution()) for task in before}, None
        for turn in range(TURNS if before else 1):
            try:
                task = _MADE[self._kind](self._today, place, turn)
            except HarmonyError:
                if not before:
                    raise
                continue
            if task.question in near or as_text(task.solution()) in answers:
                continue
            if task.question not in far:
                return task
            spare = spare or task
        if spare is None:
            raise HarmonyError("this lesson has no other question of that kind: set more bars, or another tune")
        return spare


def _step(place: int) -> int:
    """How far a question lies from the first of its kind: one further each time that another one is asked for."""
    return sum(divmod(place - 1, ASKED))


def _draws(today: Lesson, kind: str, place: int, turn: int = 0) -> random.Random:
    return random.Random(f"{kind} {place + 1000 * turn} {today.chapter} {today.seed} {today.settings['level']}")


def _new_chords(today: Lesson, kind: str, place: int, turn: int) -> Iterator[Chord]:
    """Chords with another root and another family than the lesson's; no two questions of a chapter begin alike."""
    found = [
        chord
        for chord in chords_of(today.settings["level"])
        if chord.root != today.chord.root and chord.kind != today.chord.kind
    ]
    slots = ASKED * len(ON_A_NEW_CHORD)
    if place <= ASKED:
        _draws(today, "chords", 0).shuffle(found)
        start = ON_A_NEW_CHORD.index(kind) * ASKED + place - 1
    else:
        _draws(today, f"chords of {kind}", place % ASKED).shuffle(found)
        start = (place - 1) // ASKED
    for step in range(len(found)):
        yield found[(start + turn * (slots + 1) + step) % len(found)]


def _spell(today: Lesson, place: int, turn: int) -> Exercise:
    return exercise("spell", chord=str(next(_new_chords(today, "spell", place, turn))))


def _drop(today: Lesson, place: int, turn: int) -> Exercise:
    chord = next(_new_chords(today, "drop", place, turn))
    top = chord.names[1 + (today.seed + place) % 3]
    return exercise("drop", chord=str(chord), spread=DROPS[(place - 1) % len(DROPS)], top=str(top))


def _grip(today: Lesson, kind: str, place: int, turn: int) -> tuple[Chord, Voicing, Grip]:
    """A new chord with one of its grips on the lesson's neck."""
    for chord in _new_chords(today, kind, place, turn):
        found = held(chord, today.neck, ("drop 2", "drop 3"))
        if found:
            return (chord, *_draws(today, f"grip of {kind}", place, turn).choice(found))
    raise HarmonyError("no hand of this reach holds a chord to ask about: set a longer reach")


def _on_grip(kind: str) -> Callable[[Lesson, int, int], Exercise]:
    def made(today: Lesson, place: int, turn: int) -> Exercise:
        chord, _, grip = _grip(today, kind, place, turn)
        return exercise(kind, chord=str(chord), grip=str(grip), neck=today.neck)

    return made


def _next_inversion(today: Lesson, place: int, turn: int) -> Exercise:
    """A grip whose next inversion lies in reach on its own strings."""
    for step in range(TRIES):
        chord, _, grip = _grip(today, "next_inversion", place, turn + step)
        try:
            return exercise("next_inversion", chord=str(chord), grip=str(grip), neck=today.neck)
        except HarmonyError:
            continue
    raise HarmonyError("no two neighbouring inversions lie in this hand's reach: set a longer reach")


def _find_grips(today: Lesson, place: int, turn: int) -> Exercise:
    """As many grips as there are inversions: the neck asked about ends where the first of them comes again."""
    strings = "".join(map(str, today.strings))
    for chord in _new_chords(today, "find_grips", place, turn):
        for last in range(today.neck.frets, today.neck.capo + 4, -1):
            neck = replace(today.neck, frets=last)
            try:
                task = exercise("find_grips", chord=str(chord), spread=today.spread, strings=strings, neck=neck)
            except HarmonyError:
                break
            if len(task.solution()) <= 4:
                return task
    raise HarmonyError("no hand of this reach holds a shape to ask about: set a longer reach, or other strings")


def _which_degree(today: Lesson, place: int, turn: int) -> Exercise:
    """A note of the tune over its chord, every second one foreign; plain chords first, and what the page has not."""
    found = [choice for choice in (*here(today), *today.music.choices) if choice.chord]
    if not found:
        raise HarmonyError(f"no chord sounds in {today.tune.title}: there is no degree to ask for")
    foreign = [choice for choice in found if choice.tested.role]
    some = foreign if place % 2 == 0 and turn < TURNS // 2 else [choice for choice in found if choice.tested.degree]
    near, pairs = (list(dict.fromkeys(map(_note_and_chord, some))) for some in (here(today), some or found))
    _draws(today, "which_degree", 0).shuffle(pairs)
    pairs.sort(key=lambda pair: (not _plain(pair[1]), pair in near))
    note, chord = pairs[((place - 1) // 2 + turn) % len(pairs)]
    return exercise("which_degree", note=note, chord=chord)


def _plain(symbol: str) -> bool:
    chord = Chord.parse(symbol)
    return not (chord.extensions or chord.bass)


def _note_and_chord(choice: Choice) -> tuple[str, str]:
    return str(choice.note.pitch.name), str(choice.chord)


def _shell(today: Lesson, place: int, turn: int) -> Exercise:
    """A melody note of the tune outside the lesson's bars where there is one."""
    shown = {choice.index for choice in here(today)}
    chords = [choice for choice in today.music.choices if choice.chord and choice.tested.degree not in (None, "1")]
    new = [choice for choice in chords if choice.index not in shown] or chords
    for step in range(TRIES if new else 0):
        asked = _draws(today, f"shell {step}", place, turn).choice(new)
        try:
            return exercise("shell", note=str(asked.note.pitch), chord=str(asked.chord), neck=today.neck)
        except HarmonyError:
            continue
    raise HarmonyError(f"no hand of this reach holds a root under a note of {today.tune.title}")


def _which_diminished(today: Lesson, place: int, turn: int) -> Exercise:
    """A foreign note over another chord than the lesson's."""
    draws = _draws(today, "which_diminished", place, turn)
    for _ in range(TRIES):
        found = random_exercise(
            "which_diminished", seed=draws.randrange(10**6), level=today.settings["level"]
        ).as_data()
        if Chord.parse(str(found["chord"])).root != today.chord.root:
            return exercise("which_diminished", note=found["note"], chord=found["chord"])
    raise HarmonyError("no foreign note was found to ask about")


def _bar_numbers(today: Lesson) -> list[int]:
    """The lesson's bars in place a note carries a chord, else those of the whole tune."""
    music = today.music
    for choices in (here(today), music.choices):
        found = [music.tune.bar_at(choice.note.onset).number for choice in choices if choice.voicing]
        if found:
            return list(dict.fromkeys(found))
    raise HarmonyError(f"no note of {today.tune.title} carries a chord on this neck")


def _common(today: Lesson) -> dict[str, object]:
    """Tune, key, tempo, density and hand of a question on the lesson's tune."""
    same = {name: today.settings[name] for name in ("tune", "key", "density")}
    return {**same, "tempo": round(today.tempo), "neck": today.neck}


def _harmonise_bar(today: Lesson, place: int, turn: int) -> Exercise:
    numbers = _bar_numbers(today)
    bar = numbers[(_step(place) + turn) % len(numbers)]
    return exercise("harmonise_bar", bar=bar, **_common(today))


def _span(today: Lesson, step: int, share: float) -> tuple[int, int]:
    """Two neighbouring bars of the lesson, `share` of the way from its first to its last; one where it has but one."""
    numbers = _bar_numbers(today)
    pairs = [(one, one + 1) for one in numbers if one + 1 in numbers] or [(one, one) for one in numbers]
    return pairs[(round(share * (len(pairs) - 1)) + step) % len(pairs)]


def _harmonise_phrase(today: Lesson, place: int, turn: int) -> Exercise:
    first, last = _span(today, _step(place) + turn, 1)
    return exercise("harmonise_phrase", first=first, last=last, **_common(today))


def _mend(today: Lesson, place: int, turn: int) -> Exercise:
    first, last = _span(today, _step(place) + turn, 0.5)
    return exercise("mend", first=first, last=last, seed=today.seed + place - 1 + turn, **_common(today))


def _find_gaps(today: Lesson, place: int, turn: int) -> Exercise:
    """All of the lesson's bars, then two by two."""
    first, last = today.bars
    some = [(first, last), *((bar, bar + 1) for bar in range(first, last))]
    first, last = some[(_step(place) + turn) % len(some)]
    return exercise("find_gaps", first=first, last=last, **_common(today))


def _answer_call(today: Lesson, place: int, turn: int) -> Exercise:
    """A call in the lesson's bars, then those of the rest of the tune."""
    answered = [gap for gap in gaps(today.music) if not gap.why_silent]
    if not answered:
        raise HarmonyError(f"{today.tune.title} has no gap long enough for an answer: choose a slower tempo")
    shown = {choice.index for choice in here(today)}
    calls = sorted(range(len(answered)), key=lambda number: answered[number].call not in shown)
    return exercise("answer_call", call=calls[(_step(place) + turn) % len(calls)] + 1, **_common(today))


_MADE: dict[str, Callable[[Lesson, int, int], Exercise]] = {
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
