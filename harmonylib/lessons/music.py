"""A tune in a lesson: its notation, its sound, and single notes of it looked at closely.

Conventions
- Every function takes the lesson, so that it shows the tune, bars, key and tempo of the edit cell; what could not be
  taken there is said under what it shows.
- The bars shown are the lesson's; where they hold nothing to look at, the whole tune is looked through.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.checking import check
from harmonylib.arranging.choice import Choice
from harmonylib.errors import HarmonyError
from harmonylib.lessons.lesson import ON_A_TUNE, Lesson
from harmonylib.lessons.row import Row, row
from harmonylib.lessons.said import Said, section, sentence, told
from harmonylib.lessons.table import Table, table
from harmonylib.pictures.hand import hand_picture
from harmonylib.pictures.neck import neck_picture
from harmonylib.pictures.picture import Picture
from harmonylib.score.engraving import Page, page
from harmonylib.sound.listening import Sound, listen
from harmonylib.tunes.metre import beat_text
from harmonylib.tunes.tune import Tune
from harmonylib.wording import many


@dataclass(frozen=True, repr=False)
class Remarked:
    """Something that shows itself, with sentences under it."""

    shown: Page | Picture
    remarks: tuple[str, ...]

    def __repr__(self) -> str:
        return "\n".join([repr(self.shown), *map(sentence, self.remarks)])

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        data = self.shown._repr_mimebundle_()
        return data | {"text/html": data["text/html"] + told(self.remarks), "text/plain": repr(self)}


def remarked(today: Lesson, shown: Page | Picture) -> Page | Picture | Remarked:
    """What is shown, with what the edit cell could not take under it."""
    remarks = today.remarks(*ON_A_TUNE)
    return Remarked(shown, remarks) if remarks else shown


@section
def notation(today: Lesson, bars: int = 0) -> Page | Remarked | Picture:
    """The bars of a lesson as notation and tablature: all of them, or the first so many.

    >>> from harmonylib.lessons.lesson import lesson
    >>> str(notation(lesson(0), bars=1))[:38]
    'Lantern on the Landing, bar 1: E♭maj7 '
    """
    first, last = today.bars
    return remarked(today, page(today.music, first, min(last, first + bars - 1) if bars else last))


@section
def play(today: Lesson) -> Sound:
    """The bars of a lesson to listen to."""
    return listen(today.music, *today.bars)


@section
def facts(today: Lesson) -> Said:
    """What the tune is: its bars, key and notes, and what its reader remarks.

    >>> from harmonylib.lessons.lesson import lesson
    >>> facts(lesson(0))
    Lantern on the Landing: 32 bars in E♭ major, ... melody notes.
    """
    return Said(counted(today.tune, "melody note"), (*today.tune.remarks, *today.remarks(*ON_A_TUNE)))


def counted(tune: Tune, note: str = "note") -> str:
    """A tune by its title, its bars, its key and its notes, in words."""
    return f"{tune.title}: {many(len(tune.bars), 'bar')} in {tune.key}, {many(len(tune.notes), note)}"


def here(today: Lesson) -> list[Choice]:
    """The notes in the bars of a lesson."""
    first, last = today.bars
    music = today.music
    return [choice for choice in music.choices if first <= music.tune.bar_at(choice.note.onset).number <= last]


def carried(today: Lesson, choices: Sequence[Choice] = ()) -> list[Choice]:
    """Notes that carry a chord: in the lesson's bars, or in the tune when there is none; raises when it has none."""
    found = [choice for choice in choices or here(today) if choice.voicing]
    found = found or [choice for choice in today.music.choices if choice.voicing]
    if not found:
        raise HarmonyError(f"no note of {today.tune.title} carries a chord on this neck")
    return found


def in_chord(today: Lesson) -> list[Choice]:
    """Notes that carry their own chord, not a diminished seventh."""
    found = [choice for choice in carried(today) if choice.tested.degree]
    found = found or [choice for choice in today.music.choices if choice.voicing and choice.tested.degree]
    if not found:
        raise HarmonyError(f"no note of {today.tune.title} carries its own chord on this neck")
    return found


def as_row(today: Lesson, choices: Sequence[Choice], title: str, captions: Sequence[str] = ()) -> Row:
    """Choices as shapes; one that is off the neck is left out."""
    steps = [(choice.voicing, choice.grip) for choice in choices]
    return row(today.neck, steps, captions=captions, title=title, remarks=today.remarks(*ON_A_TUNE))


def place(music: Arrangement, choice: Choice) -> str:
    """Bar and beat of a note, as in “3.2½”."""
    onset = choice.note.onset
    return f"{music.tune.bar_at(onset).number}.{beat_text(music.tune.beat_at(onset))}"


@section
def open_strings(today: Lesson) -> Picture | Remarked | Page:
    """The open strings on the neck."""
    strings = today.neck.open_strings
    marks = [(len(strings) - place_, 0, str(pitch.name)) for place_, pitch in enumerate(strings)]
    return remarked(today, neck_picture(today.neck, marks, title="Open strings"))


@section
def first_grip(today: Lesson) -> Row:
    """The grip under the first melody note that carries its chord.

    >>> from harmonylib.lessons.lesson import lesson
    >>> len(first_grip(lesson(0)))
    1
    """
    first = in_chord(today)[0]
    return as_row(today, [first], f"Under {first.note.pitch.name}", [f"fingers {_fingers(first)}"])


def _fingers(choice: Choice) -> str:
    return " ".join(str(finger) for finger in choice.grip.fingers if finger) if choice.grip else ""


@section
def bar_row(today: Lesson, most: int = 4) -> Row:
    """The first shapes of the lesson's bars, in a row."""
    shown = [choice for choice in here(today) if choice.grip][:most]
    captions = [f"{choice.note.pitch.name}, bar {place(today.music, choice)}" for choice in shown]
    return as_row(today, shown, today.tune.title, captions)


@section
def reason(today: Lesson) -> Said:
    """Why the first shape of the lesson's bars is the one that was chosen."""
    return Said(in_chord(today)[0].reason)


@section
def reasons(today: Lesson, most: int = 16) -> Table:
    """Every note of the lesson's bars: where, over which chord, which grip, and why."""
    music = today.music
    rows = [
        (place(music, c), c.chord or "N.C.", c.note.pitch.name, c.grip or "–", c.reason) for c in here(today)[:most]
    ]
    if not rows:
        raise HarmonyError(f"bars {today.bars[0]} to {today.bars[1]} hold no notes")
    return table("bar.beat | chord | melody | grip | why", rows, ["why"], (*music.remarks, *today.remarks(*ON_A_TUNE)))


@section
def checked(today: Lesson) -> Said | Table:
    """What the checker finds wrong with the whole arrangement; it shares no code with the search."""
    faults = check(today.music)
    if faults:
        return table("fault", ((fault,) for fault in faults), ["fault"])
    return Said(f"{len(today.music.choices)} notes are looked at, and nothing is wrong with any of them")


@section
def hand(today: Lesson) -> Picture | Remarked | Page:
    """Where the hand is along the lesson's bars."""
    return remarked(today, hand_picture(today.music, bars=today.bars, title="The hand along the neck"))


@section
def frets_narrow(today: Lesson) -> Table:
    """How wide a span of five frets is, low and high on the lesson's neck."""
    lows = [low for low in (1, 5, 9) if low + 4 <= today.neck.last_fret]
    rows = ((f"{low} to {low + 4}", f"{today.neck.stretch_mm((low, low + 4)):.0f} mm") for low in lows)
    return table("frets | stretch", rows, remarks=today.remarks("tuning", "frets", "capo"))


def seasoned_music(today: Lesson) -> Arrangement:
    """The lesson's tune as seasoned players take its foreign notes: enriched chords, pushes into the coming chord."""
    return arrange(today.tune, today.music.settings, foreign="enriched")


@section
def seasoned(today: Lesson) -> Page | Remarked | Picture:
    """The bars of a lesson in the seasoned way, as notation and tablature."""
    return remarked(today, page(seasoned_music(today), *today.bars))


@section
def hear_seasoned(today: Lesson) -> Sound:
    """The bars of a lesson in the seasoned way, to listen to."""
    return listen(seasoned_music(today), *today.bars)


@section
def two_ways(today: Lesson, most: int = 6) -> Table:
    """The foreign notes that the two ways treat unlike: what each puts under them; first those of the lesson's bars."""
    pairs = list(zip(today.music.choices, seasoned_music(today).choices, strict=True))
    unlike = [(a, b) for a, b in pairs if a.reason != b.reason and str(a.grip) != str(b.grip) and a.tested.role]
    shown = {choice.index for choice in here(today)}
    unlike.sort(key=lambda pair: pair[0].index not in shown)
    if not unlike:
        raise HarmonyError(f"both ways treat every foreign note of {today.tune.title} alike")
    rows = ((place(today.music, a), a.note.pitch.name, a.grip, a.reason, b.grip, b.reason) for a, b in unlike[:most])
    return table("bar.beat | note | diminished | because | seasoned | why", rows, ["because", "why"])
