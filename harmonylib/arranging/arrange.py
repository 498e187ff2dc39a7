"""Harmonising a tune: from the settings to the cheapest chain of grips, with a reason under every one.

A tune is a row of columns, one a note; each column lists the grips that put the melody note on top (or, where no chord
fits, the places of a single note). A chain picks one grip a column.

Conventions
- Positions and travel are millimetres along the neck, times are seconds, tempo is quarter notes a minute.
- Notes are counted from 0 in the order of the tune.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import groupby

from harmonylib.arranging.arrangement import STAGES, Arrangement, Search, Settings, pairs_of, settings_with, tempo_of
from harmonylib.arranging.candidates import Column, chord_options, option_columns
from harmonylib.arranging.chain import Option, best_chains, gaps_between, laid_out, steps_between
from harmonylib.arranging.choice import Choice
from harmonylib.arranging.costs import weights
from harmonylib.arranging.density import DENSITIES, kept_single
from harmonylib.arranging.harmony import FOREIGN, Harmony, is_long
from harmonylib.arranging.keys import placed_tune
from harmonylib.arranging.repeats import bound_chains, phrases
from harmonylib.errors import HarmonyError, expect, shown, whole, within
from harmonylib.guitar.neck import Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.voicings import SPREADS, Voicing, voice
from harmonylib.tunes.chordtones import Tested
from harmonylib.tunes.tune import Note, Tune

MOST_CHAINS = 1000  # so many take 0.7 s and 25 MB for a tune of 131 notes (measured)
TEMPI, A_TEMPO = (10, 600), "choose 10 to 600 quarter notes a minute"


def arrange(tune: Tune, settings: Settings | None = None, **changes: object) -> Arrangement:
    """The best block-chord arrangement of a tune.

    Settings are given whole or by name: ``arrange(tune, density="every", tempo=96)``. Raises `HarmonyError` for a
    setting, key, pin or ban that cannot be followed.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E2 G2 | "Dm7"F2 A2 |]')
    >>> [str(choice.grip) for choice in arrange(tune).choices]
    ['x3545x', 'x7958x', 'x5756x', 'x5x565']
    """
    return best(tune, settings, count=1, **changes)[0]


def best(tune: Tune, settings: Settings | None = None, count: int = 3, **changes: object) -> tuple[Arrangement, ...]:
    """The `count` cheapest arrangements, the best first; fewer when there are not so many chains."""
    expect(Tune, tune, "a tune: read it first, as in arrange(read('file.abc'))")
    settings = settings_with(Settings() if settings is None else settings, Settings, changes)
    count = whole(count, "a number of arrangements")
    if count < 1:
        raise HarmonyError(f"{count} arrangements: ask for 1 or more")
    if count > MOST_CHAINS:
        raise HarmonyError(f"{shown(count)} arrangements: ask for {MOST_CHAINS} at most")
    check_settings(settings)
    _check_on(tune, settings)
    if settings.stage != "chords":  # pins and bans are those of the chords
        settings = replace(settings, pins={}, bans=())
    moved, verdicts, harmonised, remarks = placed_tune(tune, settings)
    single = kept_single(moved, settings)
    columns = option_columns(moved, settings, verdicts, harmonised, single)
    chains, free = _chains(moved, columns, settings, count)
    if not chains:
        raise HarmonyError(
            "no hand gets from pin to pin in time at this tempo: take a pin back, or set a slower tempo "
            f"(pins at {', '.join(moved.where(moved.notes[i].onset) for i in sorted(settings.pins))})"
        )
    made = []
    for cost, chain in chains:
        choices = tuple(
            _choice(
                index, verdicts, harmonised[index], column[pick] if column else None, single[index], moved, settings
            )
            for index, (column, pick) in enumerate(zip(columns, chain, strict=True))
        )
        search = Search(arrange, option_columns)
        made.append(Arrangement(moved, tune, settings, choices, cost, free, search, remarks))
    return tuple(made)


def _chains(
    tune: Tune, columns: Sequence[Column], settings: Settings, count: int
) -> tuple[list[tuple[float, tuple[int, ...]]], float]:
    """The cheapest chains, repeats alike where the settings ask for it, and what the best costs without that."""
    gaps = _seconds_between(tune, settings)
    free = best_chains(columns, gaps, count, settings.weights)
    if not free:
        return [], 0.0
    full = [index for index, column in enumerate(columns) if column]
    if not settings.alike or not full:
        return free, free[0][0]
    between = gaps_between(full, gaps)
    found = phrases(_bars(tune, columns, full), between)
    if all(len(phrase.starts) == 1 for phrase in found):
        return free, free[0][0]
    arrays = laid_out([columns[index] for index in full])
    steps = [step for _, step in steps_between(arrays, between, settings.weights)]
    chosen = [free[0][1][index] for index in full]
    bound = bound_chains(arrays, steps, found, chosen, count)
    if not bound:  # the hand has no time for it: each repeat as it can
        return free, free[0][0]
    chains = []
    for way in bound:
        picks = dict(zip(full, way.picks, strict=True))
        chains.append((way.cost, tuple(picks.get(index, 0) for index in range(len(columns)))))
    return chains, free[0][0]


def _bars(tune: Tune, columns: Sequence[Column], full: Sequence[int]) -> list[tuple[tuple[object, ...], int]]:
    """Every bar with notes on the neck: what must be equal for it to be played alike, and how many notes it has."""
    grips = {id(column): tuple(option.grip.frets for option in column) for column in columns}
    bars: list[tuple[tuple[object, ...], int]] = []
    for bar, numbers in groupby(full, key=lambda index: tune.note_bars[index]):
        notes = [(tune.notes[i].onset - bar.onset, tune.notes[i].duration, grips[id(columns[i])]) for i in numbers]
        bars.append(((bar.metre, *notes), len(notes)))
    return bars


def _seconds_between(tune: Tune, settings: Settings) -> list[float]:
    beat = 60 / tempo_of(tune, settings)
    return [float(b.onset - a.onset) * beat for a, b in zip(tune.notes, tune.notes[1:], strict=False)]


def check_settings(settings: Settings) -> None:
    """Raises `HarmonyError` for settings with which no tune can be arranged."""
    expect(Neck, settings.neck, "a neck: make one, as in Neck(frets=12)")
    if expect(str, settings.density, f"a density: choose {', '.join(DENSITIES)}") not in DENSITIES:
        raise HarmonyError(f"{settings.density!r} is not a density: choose {', '.join(DENSITIES)}")
    spreads = settings.spreads
    if not isinstance(spreads, tuple | list) or not spreads or any(spread not in list(SPREADS) for spread in spreads):
        raise HarmonyError(f"spreads {shown(spreads)}: name one or more of {', '.join(SPREADS)}, as in ('drop 2',)")
    for tempo, what in ((settings.tempo, "tempo"), (settings.practice_tempo, "practice tempo")):
        if tempo is not None:
            within(tempo, *TEMPI, f"{what} {{}}: {A_TEMPO}")
    for value, table, what in (
        (settings.foreign, FOREIGN, "a way with foreign notes"),
        (settings.stage, STAGES, "a stage"),
    ):
        if not isinstance(value, str) or value not in table:
            raise HarmonyError(f"{shown(value)} is not {what}: choose {', '.join(table)}")
    if not isinstance(settings.alike, bool):
        raise HarmonyError(
            f"alike {shown(settings.alike)}: write True, or False to play every repeat as is cheapest there"
        )
    weights(settings.hand, settings.costs)
    whole(settings.seed, "a seed")
    if settings.key is not None:
        expect(str, settings.key, "a key: write its tonic, as in 'Eb', or 'best'")


def _check_on(tune: Tune, settings: Settings) -> None:
    """Raises `HarmonyError` for a tune that cannot be arranged, and for pins and bans that name no note of it."""
    if not tune.notes or not tune.bars:
        raise HarmonyError(f"{tune.title!r} has no notes to harmonise")
    within(tempo_of(tune, settings), *TEMPI, f"tempo {{}}: {A_TEMPO}")
    pins = pairs_of(settings.pins, Mapping, "pins map notes to grips, as in {0: 'x3545x'}")
    bans = pairs_of(settings.bans, Sequence, "bans are pairs of a note and a grip, as in [(0, 'x3545x')]")
    for index, _ in [*pins, *bans]:
        if not 0 <= whole(index, "the number of a note") < len(tune.notes):
            last = len(tune.notes) - 1
            raise HarmonyError(f"note {index} cannot be pinned or banned: the tune has notes 0 to {last}")


def _choice(
    index: int,
    verdicts: Sequence[Tested],
    harmony: Harmony | None,
    option: Option | None,
    held_back: str,
    tune: Tune,
    settings: Settings,
) -> Choice:
    verdict = verdicts[index]
    if option is None:
        return Choice(index, verdict, "single", None, why_single="it lies off this neck; only the notation shows it")
    if not option.lower:
        asked = index in settings.pins or index in {i for i, _ in settings.bans}
        why = held_back if settings.stage == "chords" else ""
        return Choice(
            index,
            verdict,
            "single",
            option.grip,
            why_single=why or _why_single(verdict, harmony, option, asked, settings),
        )
    assert harmony is not None
    if option.spread == "shell":
        return Choice(index, verdict, "root", option.grip, _shell(verdict, option))
    voicing = _spelled(harmony.chord, option.spread, verdict.note, option.stack)
    return Choice(
        index,
        verdict,
        harmony.treatment,
        option.grip,
        voicing,
        harmony.diminished,
        resolves=harmony.degree == "4" and _goes_to_third(verdicts, index),
        held=_is_held(tune, verdict, harmony),
    )


def _is_held(tune: Tune, verdict: Tested, harmony: Harmony) -> bool:
    """Whether a push is held over its change, or an enriching note lasts a beat."""
    if harmony.treatment == "push":
        change = tune.change_after(verdict.note.onset)
        return change is not None and verdict.note.end > change.onset
    return harmony.treatment == "enriched" and is_long(tune, verdict)


def _goes_to_third(verdicts: Sequence[Tested], index: int) -> bool:
    """Whether the next note is the third of the same chord."""
    after = verdicts[index + 1] if index + 1 < len(verdicts) else None
    return after is not None and after.chord == verdicts[index].chord and after.degree in ("3", "♭3")


def _shell(verdict: Tested, option: Option) -> Voicing:
    """The melody over the root of its chord, as two spelled notes."""
    chord, pitch = verdict.chord, verdict.note.pitch
    assert chord is not None
    root = chord.root.at(option.lower[0])
    return Voicing(chord, ("1", verdict.degree or ""), "shell", ("1", verdict.degree or ""), (root, pitch))


@lru_cache(maxsize=16384)
def _voiced(chord: Chord, spread: str, midi: int, stack: tuple[str, ...]) -> Voicing:
    degree = next(d for d in stack if chord.pitch_class_of(d) == midi % 12)
    return voice(chord, spread, chord.name_of(degree).at(midi), stack)


def _spelled(chord: Chord, spread: str, note: Note, stack: tuple[str, ...]) -> Voicing:
    """The voicing, its top note spelled as the tune spells it."""
    voicing = _voiced(chord, spread, note.pitch.midi, stack)
    if voicing.top == note.pitch:
        return voicing
    return replace(voicing, pitches=(*voicing.pitches[:-1], note.pitch))


def _why_single(verdict: Tested, harmony: Harmony | None, option: Option, asked: bool, settings: Settings) -> str:
    if settings.stage == "melody":
        return "this stage plays the melody alone"
    if verdict.chord is None or harmony is None:
        return "no chord sounds here"
    if dict(option.costs).get("single"):
        return "the pins and bans here ask for it" if asked else "the hand has no time to reach a chord here"
    if settings.stage == "roots":
        return "no root lies under it within reach"
    if chord_options(verdict, harmony, settings.neck, settings.spreads, clear=False):
        return "three notes under it would blur so low"
    if verdict.note.pitch.midi < settings.neck.open_midi[-1] + 5:
        return "it lies too low for three notes under it on this neck"
    return "no chord with it on top lies within reach on this neck"
