"""A chain of grips looked at closely: candidates, prices, the next-best chains, a pin, density, tempo, key and hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from harmonylib.arranging.arrange import arrange, best
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.choice import Choice
from harmonylib.arranging.costs import GRIP_COSTS, STEP_COSTS
from harmonylib.arranging.density import DENSITIES
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.lesson import ON_A_TUNE, Lesson
from harmonylib.lessons.music import as_row, carried, here
from harmonylib.lessons.row import Row, row
from harmonylib.lessons.said import Said, section
from harmonylib.lessons.table import Table, table
from harmonylib.wording import many

REACHES = (45, 55, 65, 80, 105)


def spot_of(today: Lesson) -> Choice:
    """The note that a chapter looks at closely: the second chord of the lesson's bars."""
    found = carried(today)
    return found[min(1, len(found) - 1)]


@section
def tested(today: Lesson) -> Said:
    """How many notes of the tune are foreign to their chord."""
    notes = today.music.choices
    foreign = sum(choice.tested.role is not None for choice in notes)
    return Said(
        f"{many(len(notes), 'note')}, {foreign or 'none'} of them foreign to their chord", today.remarks(*ON_A_TUNE)
    )


@section
def candidates(today: Lesson, most: int = 8) -> Row:
    """The chords that could stand under one note, the chosen one first.

    >>> from harmonylib.lessons.lesson import lesson
    >>> candidates(lesson(5)).captions[0]
    'chosen'
    """
    spot = spot_of(today)
    assert spot.grip is not None
    others = [grip for grip in today.music.candidates(spot.index) if len(grip.strings) > 2 and grip != spot.grip]
    shown = [spot.grip, *others][:most]
    captions = ["chosen", *(f"strings {grip.string_set}" for grip in shown[1:])]
    title = f"{spot.note.pitch.name} over {spot.chord}, {today.music.tune.where(spot.note.onset)}"
    steps = [(None, grip) for grip in shown]
    return row(today.neck, steps, captions=captions, title=title, remarks=today.remarks(*ON_A_TUNE))


@section
def prices(today: Lesson, most: int = 6) -> Table:
    """What each step of the chain costs the hand, for the first notes of the lesson's bars."""
    paid = today.music.steps()
    rows = []
    for choice in [choice for choice in here(today) if choice.grip][:most]:
        cost = paid[choice.index] if choice.index < len(paid) else {}
        entries = ", ".join(f"{what} {price:.1f}" for what, price in cost.items()) or "nothing"
        rows.append((choice.note.pitch.name, choice.grip, entries))
    if not rows:
        raise HarmonyError(f"bars {today.bars[0]} to {today.bars[1]} hold nothing to play")
    return table("melody | grip | pays", rows, ["pays"], today.remarks(*ON_A_TUNE))


@section
def next_best(today: Lesson, count: int = 3) -> Table:
    """The cheapest chains, and in how many grips each differs from the best."""
    settings = today.music.settings
    found = best(today.tune, settings, count=count)
    rows = []
    for rank, other in enumerate(found, start=1):
        differs = sum(a.grip != b.grip for a, b in zip(found[0].choices, other.choices, strict=True))
        rows.append((rank, f"{other.cost:.1f}", differs))
    return table("chain | cost | grips unlike the best", rows, remarks=today.remarks(*ON_A_TUNE))


def pinned(today: Lesson) -> Arrangement:
    """The music with another chord held fast under one note; raises `HarmonyError` when there is no other."""
    spot = spot_of(today)
    assert spot.grip is not None
    size = len(spot.grip.strings)
    others = [g for g in today.music.candidates(spot.index) if len(g.strings) == size and g != spot.grip]
    if not others:
        raise HarmonyError(f"{spot.note.pitch.name} has no other chord on this neck to pin")
    return today.music.with_pin(spot.index, str(others[-1]))


@section
def pin_price(today: Lesson) -> Said:
    """How many grips a pin moves, and what it costs."""
    other = pinned(today)
    moved = sum(a.grip != b.grip for a, b in zip(today.music.choices, other.choices, strict=True))
    more = other.cost - today.music.cost
    return Said(f"{many(moved, 'grip')} changed; the chain costs {more:.1f} more", today.remarks(*ON_A_TUNE))


@section
def round_pin(today: Lesson, with_pin: bool = False) -> Row:
    """The grips from the note before the pin to two notes after it, without the pin or with it."""
    music = pinned(today) if with_pin else today.music
    spot = spot_of(today).index
    near = music.choices[max(spot - 1, 0) : spot + 3]
    return as_row(today, near, "With the pin" if with_pin else "Before")


@section
def densities(today: Lesson) -> Table:
    """What share of the notes carries a chord at each density, at the lesson's tempo."""
    made = [(name, _again(today, density=name)) for name in DENSITIES]
    rows = ((name, f"{music.share:.0%}", DENSITIES[name]) for name, music in made)
    return table("density | carry a chord | rule", rows, ["rule"], today.remarks(*ON_A_TUNE))


@section
def tempos(today: Lesson, asked: Sequence[float] = (60, 90, 120, 160, 200)) -> Table:
    """What share of the notes carries a chord at each tempo, by density."""
    rows = []
    for tempo in asked:
        shares = [f"{_again(today, tempo=tempo, density=name).share:.0%}" for name in ("every", "comfortable")]
        rows.append((tempo, *shares))
    return table("tempo | every | comfortable", rows, remarks=today.remarks(*ON_A_TUNE))


@section
def keys(today: Lesson, asked: Sequence[str] = ("C", "F", "Bb", "Eb", "G", "best")) -> Table:
    """The tune in other keys: what share of its notes carries a chord, and what the chain costs the hand."""
    minor = " minor" if today.tune.mode in ("minor", "dorian", "phrygian", "locrian") else ""
    rows = []
    for key in asked:
        music = _again(today, key=key if key == "best" else key + minor)
        rows.append((key, music.tune.key, f"{music.share:.0%}", f"{music.cost:.0f}"))
    return table("asked | plays in | carry a chord | cost", rows, remarks=today.remarks(*ON_A_TUNE))


@section
def reaches(today: Lesson, asked: Sequence[float] = REACHES) -> Table:
    """What smaller and larger hands can play of the tune, and the widest grip each is asked for."""
    rows = []
    for reach in asked:
        small = replace(today.neck, reach_mm=float(reach))
        music = _again(today, neck=small)
        widest = max((small.stretch_mm(c.grip.frets) for c in music.choices if c.grip), default=0.0)
        rows.append((f"{reach} mm", f"{music.share:.0%}", f"{widest:.0f} mm"))
    return table("reach | carry a chord | widest grip", rows, remarks=today.remarks(*ON_A_TUNE))


@section
def spreads(today: Lesson) -> Table:
    """What share of the notes carries a chord when only some spreads may be used."""
    asked = (("drop 2",), ("drop 3",), ("drop 2", "drop 3"))
    rows = ((" and ".join(some), f"{_again(today, spreads=some).share:.0%}") for some in asked)
    return table("spreads | carry a chord", rows, remarks=today.remarks(*ON_A_TUNE))


@section
def costs(today: Lesson) -> Table:
    """Everything a chain pays for, what it weighs, and what this tune pays."""
    paid = today.music.steps()
    weights = {**GRIP_COSTS, **STEP_COSTS}
    rows = ((what, f"{weight:g}", f"{sum(step.get(what, 0) for step in paid):.1f}") for what, weight in weights.items())
    return table("what | weight | this tune pays", rows, remarks=today.remarks(*ON_A_TUNE))


def _again(today: Lesson, **changes: object) -> Arrangement:
    """The tune of a lesson arranged with other settings."""
    return arrange(today.tune, today.music.settings, **changes)


def neck_again(today: Lesson, **changes: object) -> Neck:
    """The lesson's neck with something changed; raises `HarmonyError` for a neck that cannot be."""
    return replace(today.neck, **changes)  # type: ignore[arg-type]
