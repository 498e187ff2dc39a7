"""Calls and answers: gaps, inversions that answer, what does not fit, a chorus, keeping one and changing another."""

from __future__ import annotations

from collections.abc import Sequence

from harmonylib.answering.checking import check_answers
from harmonylib.answering.gaps import Gap, gaps
from harmonylib.answering.manner import Manner
from harmonylib.answering.own import ban_answer, keep_answer, with_own
from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.choice import Choice
from harmonylib.errors import HarmonyError
from harmonylib.lessons.lesson import ON_A_TUNE, Lesson
from harmonylib.lessons.music import Remarked, remarked
from harmonylib.lessons.row import Row, row
from harmonylib.lessons.said import Said, section
from harmonylib.lessons.table import Table, table
from harmonylib.pictures.calls import calls_picture
from harmonylib.pictures.picture import Picture
from harmonylib.score.engraving import Page, page
from harmonylib.sound.listening import Sound, listen
from harmonylib.theory.voicings import voice
from harmonylib.tunes.metre import quarters
from harmonylib.wording import capital


def answered(today: Lesson, **how: object) -> Arrangement:
    """The music of a lesson with its gaps answered in a manner."""
    manner = Manner(share=1, approached=0.5, seed=today.seed)
    return respond(today.music, manner, **how)


def open_gaps(today: Lesson) -> list[Gap]:
    """Gaps long enough for an answer; raises `HarmonyError` when the tune has none."""
    found = [gap for gap in gaps(today.music) if not gap.why_silent]
    if not found:
        raise HarmonyError(f"{today.tune.title} has no gap long enough for an answer at {today.tempo:g}: try it slower")
    return found


@section
def with_answers(today: Lesson, approach_from: str = "", bars: int = 0) -> Page | Remarked | Picture:
    """The lesson's bars with every gap answered; each answer approached from below or above when that is asked."""
    open_gaps(today)
    how = {"approached": 1, "approach_from": approach_from} if approach_from else {}
    first, last = today.bars
    return remarked(today, page(answered(today, **how), first, min(last, first + bars - 1) if bars else last))


@section
def hear_answers(today: Lesson) -> Sound:
    """The lesson's bars with every gap answered, to listen to."""
    open_gaps(today)
    return listen(answered(today), *today.bars)


@section
def find_the_gaps(today: Lesson, most: int = 6) -> Table:
    """The first gaps of the tune: where each opens, how long it is, and why it must stay silent if it must."""
    found = gaps(today.music)[:most]
    if not found:
        raise HarmonyError(f"{today.tune.title} leaves no gap: every call is followed by the next at once")
    rows = (
        (
            today.music.tune.where(g.start),
            quarters(g.end - g.start),
            g.why_silent or "an answer fits",
        )
        for g in found
    )
    return table("opens at | lasts | so", rows, remarks=today.remarks(*ON_A_TUNE))


def a_call(today: Lesson) -> tuple[Gap, Choice]:
    """The first call with room for an answer, a chord tone where there is one."""
    music = today.music
    found = open_gaps(today)
    plain = [g for g in found if music.choices[g.call].treatment == "chord tone"]
    gap = (plain or found)[0]
    return gap, music.choices[gap.call]


@section
def can_answer(today: Lesson) -> Row:
    """The inversions of one call on its own strings: the call itself, then those that can answer it."""
    _, call = a_call(today)
    assert call.voicing is not None
    assert call.grip is not None
    top = call.voicing.top
    spelled = call.voicing.chord.name_of(call.voicing.degrees[-1]).at(top.midi)
    start = voice(call.voicing.chord, call.voicing.spread, spelled, call.voicing.stack)
    turns = today.neck.cycle(start, call.grip.strings)
    captions = ["the call", *(["can answer it"] * (len(turns) - 1))]
    title = f"{call.note.pitch.name} over {call.chord}, {today.music.tune.where(call.note.onset)}"
    return row(today.neck, turns, captions=captions, title=title, remarks=today.remarks(*ON_A_TUNE))


def own_answer(today: Lesson, hits: Sequence[tuple[float, float, str]]) -> Arrangement:
    """The music with one call answered by hand: beats after the call, length in quarter notes, grip."""
    gap, _ = a_call(today)
    return with_own(today.music, gap.call, list(hits))


def _plain_answer(today: Lesson) -> list[tuple[float, float, str]]:
    """Another inversion of the call on the first beat of the gap."""
    gap, call = a_call(today)
    turns = can_answer(today)
    if isinstance(turns, Said) or len(turns) < 2:
        raise HarmonyError("no other inversion of this call lies in reach on its strings")
    start = float(gap.start - call.note.onset)
    return [(start, min(1.0, float(gap.end - gap.start)), str(turns.grips[-1]))]


@section
def one_answer(today: Lesson) -> Page | Remarked | Picture:
    """The bar of one call, with the last of its inversions as an answer on the first beat of the gap."""
    _, call = a_call(today)
    number = today.music.tune.bar_at(call.note.onset).number
    return remarked(today, page(own_answer(today, _plain_answer(today)), number, number))


@section
def does_not_fit(today: Lesson) -> Table:
    """What the checker says of an answer that repeats its call, and then sounds on into the next one."""
    gap, call = a_call(today)
    start, end = float(gap.start - call.note.onset), float(gap.end - call.note.onset)
    late = (max(end - 0.5, start + 0.25), 2.0, _plain_answer(today)[0][2])
    faults = check_answers(own_answer(today, [(start, 0.25, str(call.grip)), late]))
    return table("fault", ((fault,) for fault in faults), ["fault"])


@section
def check_answer(today: Lesson, after: float, length: float, grip: str) -> Said | Table:
    """Whether an answer of your own fits the first call: beats after the call, length in quarter notes, grip.

    >>> from harmonylib.lessons.lesson import lesson
    >>> check_answer(lesson(6), 0, 1, "xxxxxx")
    'xxxxxx' sounds no string: an answer needs a chord.
    """
    faults = check_answers(own_answer(today, [(after, length, grip)]))
    return table("fault", ((fault,) for fault in faults), ["fault"]) if faults else Said("it fits")


@section
def shares(today: Lesson, asked: Sequence[float] = (1.0, 0.75, 0.5, 0.25)) -> Table:
    """A chorus with fewer and fewer of its gaps answered, and what the checker finds wrong."""
    open_gaps(today)
    rows = []
    for share in asked:
        chorus = answered(today, share=share, contour="turning")
        gaps_used = len({answer.call for answer in chorus.answers})
        rows.append((f"{share:.0%}", gaps_used, len(chorus.answers), len(check_answers(chorus)) or "none"))
    return table("share | gaps answered | chords | faults", rows, remarks=today.remarks(*ON_A_TUNE))


@section
def calls_and_answers(today: Lesson) -> Picture | Remarked | Page:
    """Calls and answers of the lesson's bars against the beat."""
    return remarked(today, calls_picture(answered(today), bars=today.bars, title="Calls and answers"))


@section
def keep_one(today: Lesson) -> Row:
    """The first answer of the tune, kept while another seed draws all the others anew."""
    first, manner = _first(today, Manner(share=1, seed=today.seed))
    kept = keep_answer(respond(today.music, manner), manner, first)
    again = respond(today.music, kept, seed=today.seed + 1)
    return _answer_row(today, again, first, "kept")


@section
def change_one(today: Lesson, times: int = 1) -> Row:
    """The first answer of the tune banned so many times: the next best takes its place."""
    first, manner = _first(today, Manner(share=1, seed=today.seed))
    for _ in range(times):
        manner = ban_answer(respond(today.music, manner), manner, first)
    return _answer_row(today, respond(today.music, manner), first, f"choice {times + 1}")


def _first(today: Lesson, manner: Manner) -> tuple[int, Manner]:
    """The call of the first answer; raises `HarmonyError` when nothing is answered."""
    answers = respond(today.music, manner).answers
    if not answers:
        raise HarmonyError(f"{today.tune.title} has no answer to keep or change at {today.tempo:g}")
    return answers[0].call, manner


def _answer_row(today: Lesson, music: Arrangement, call: int, word: str) -> Row:
    found = [answer for answer in music.answers if answer.call == call]
    captions = [f"led from {a.approach}" if a.approach else word for a in found]
    where = music.tune.where(music.choices[call].note.onset)
    steps = [(None, answer.grip) for answer in found]
    empty = "no other answer fits this gap"
    how = {"title": capital(where), "empty": empty, "remarks": today.remarks(*ON_A_TUNE)}
    return row(today.neck, steps, captions=captions, **how)


@section
def faster(today: Lesson, asked: Sequence[float] = (80, 140, 220)) -> Table:
    """How many chords answer at each tempo, and how many gaps are too short."""
    rows = []
    for tempo in asked:
        music = arrange(today.tune, today.music.settings, tempo=tempo, density="comfortable")
        quick = respond(music, share=1, seed=today.seed)
        short = sum(bool(gap.why_silent) for gap in gaps(music))
        rows.append((tempo, len({a.call for a in quick.answers}), short, len(quick.answers)))
    return table("tempo | gaps answered | too short | chords", rows, remarks=today.remarks(*ON_A_TUNE))
