"""Passing diminished chords: which of the three carries a note, where each wants to go, and the scale of eight.

Conventions
- Grips are drop 2; a pair of chords is shown on one string set, the nearest inversion in which a hand holds both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.row import Row, row
from harmonylib.lessons.said import Said, section
from harmonylib.lessons.symbols import chord_of
from harmonylib.lessons.table import Table, table
from harmonylib.theory.chords import Chord
from harmonylib.theory.diminished import ACTIONS, Passing, passing
from harmonylib.theory.families import PRACTICE_ORDER, TRIADS
from harmonylib.theory.pitch import Name, Pitch
from harmonylib.theory.voicings import Voicing, voice
from harmonylib.wording import joined

SCALE = "♭2 2 ♭3 3 4 ♭5 5 ♭6 6 ♭7 7"
NEAREST = (0, 1, -1, 2, -2, 3, -3, 4, -4)
NONE_FOREIGN = "the ninth and what else may enrich a chord are in this one already, or do not suit it"


def octave_4(name: Name) -> Pitch:
    return name.at(60 + name.pitch_class)


def foreign_to(chord: Chord) -> list[Name]:
    """The notes that a chord does not hold, from low to high above its root."""
    return [name for name in map(chord.name_of, SCALE.split()) if name.pitch_class not in chord.tones]


def job_of(job: str, chord: Chord) -> Passing:
    """The diminished seventh that does a job for a chord; raises `HarmonyError` for a job there is not."""
    if job not in ACTIONS:
        raise HarmonyError(f"{job!r} is no job of a diminished seventh: choose {', '.join(ACTIONS)}")
    return passing(octave_4(chord.name_of(ACTIONS[job]).simplest()), chord)


@section
def three_diminished() -> Table:
    """The three diminished sevenths, each under its four names.

    >>> len(three_diminished().rows)
    3
    """
    sounds: dict[frozenset[int], list[str]] = {}
    for root in PRACTICE_ORDER:
        names = Chord.parse(f"{root}dim7").names
        sounds.setdefault(frozenset(name.pitch_class for name in names), []).append(f"{root}dim7")
    return table("one chord | is also | and | and", sounds.values())


@section
def foreign_notes(chord: Chord | str) -> Table:
    """Each note that is foreign to a chord, the diminished seventh that carries it, and what that does.

    >>> foreign_notes("C6").rows[1][:3]
    ('D', 'Bdim7', 'leading-tone')
    """
    chord = chord_of(chord)
    found = [(name, passing(octave_4(name), chord)) for name in foreign_to(chord)]
    rows = ((name, each.chord, each.action, f"to {each.target}") for name, each in found)
    return table("note | carried by | which | leads", rows, remarks=chord.remarks)


@section
def rootless(chord: Chord | str) -> Table:
    """The dominant with a flat ninth, and the leading-tone diminished that is left when its root is gone.

    >>> rootless("C").rows
    (('G7(♭9) without G', 'A♭ B D F'), ('Bdim7', 'B D F A♭'))
    """
    chord = chord_of(chord)
    dominant, leading = Chord(chord.name_of("5"), "7", ("♭9",)), job_of("leading-tone", chord).chord
    upper = joined(map(dominant.name_of, dominant.stacks[-1]))
    return table("chord | notes", [(f"{dominant} without {dominant.root}", upper), (leading, joined(leading.names))])


@section
def resolution(chord: Chord | str, job: str, neck: Neck | None = None, strings: Sequence[int] = ()) -> Row:
    """One of the three diminished sevenths and the chord it goes to, every voice on its own string.

    >>> resolution("C6", "leading-tone", Neck(), (4, 3, 2, 1))
    Bdim7 to C6
    Bdim7 xx6767, leading-tone
    C6 xx7988, where it goes
    """
    chord, neck = chord_of(chord), neck or Neck()
    strings = tuple(strings) or next(iter(neck.string_sets("drop 2")), ())
    dim = job_of(job, chord)
    before, after = _pair(dim, chord, neck, strings)
    turned = [[(v.step(n), neck.place(v.step(n), strings)) for v in (before, after)] for n in NEAREST]
    found = next((pair for pair in turned if all(grip for _, grip in pair)), [])
    how = {"captions": [job, "where it goes"] if found else [], "title": f"{dim.chord} to {after.chord}"}
    return row(neck, found, remarks=chord.remarks, **how)


def _pair(dim: Passing, chord: Chord, neck: Neck, strings: Sequence[int]) -> tuple[Voicing, Voicing]:
    """The chord with its melody note on top, and where it goes."""
    if not strings:
        raise HarmonyError("this neck has no four neighbouring strings: choose another tuning")
    high = neck.open_midi[-strings[-1]] + 3
    name = chord.name_of("♭3") if dim.action == "common-tone" else dim.chord.root
    top = name.at(high + (name.pitch_class - high) % 12)
    before = voice(dim.chord, "drop 2", _in(dim.chord, top))
    if dim.action == "secondary":
        goal = Chord(dim.target.simplest(), "m7")
        return before, voice(goal, "drop 2", goal.root.at(top.midi + 1))
    home = chord.name_of(chord.stacks[0][1]) if dim.action == "common-tone" else chord.root
    landing = top.midi + (home.pitch_class - top.midi) % 12
    return before, voice(chord, "drop 2", home.at(landing), chord.stacks[0])


def _in(chord: Chord, top: Pitch) -> Pitch:
    """A pitch spelled as the chord has it."""
    return chord.name_of(chord.tones[top.midi % 12]).at(top.midi)


@section
def block_scale(chord: Chord | str, neck: Neck | None = None, strings: Sequence[int] = ()) -> Row:
    """The scale of eight up one string set: the sixth chord on the root and its leading-tone diminished take turns.

    >>> [str(v.top.name) for v, _ in block_scale("C6", Neck(), (4, 3, 2, 1)).steps][:3]
    ['G', 'A♭', 'A']
    """
    chord, neck = chord_of(chord), neck or Neck()
    strings = tuple(strings) or next(iter(neck.string_sets("drop 2")), ())
    ladder = climb(chord, neck, strings) if strings else []
    sixth, leading = sixth_of(chord), job_of("leading-tone", chord).chord
    captions = [f"{voicing.top.name} on top" for voicing, _ in ladder]
    return row(neck, ladder, captions=captions, title=f"{sixth} and {leading}", across=5, remarks=chord.remarks)


def sixth_of(chord: Chord) -> Chord:
    """The sixth chord on a root, minor when the chord has a minor third."""
    return Chord(chord.root, "m6" if "♭3" in chord.degrees else "6")


def climb(chord: Chord, neck: Neck, strings: Sequence[int], spread: str = "drop 2") -> list[tuple[Voicing, Grip]]:
    """Nine steps of the scale of eight on one string set, as far as a hand can hold them."""
    sixth, leading = sixth_of(chord), job_of("leading-tone", chord).chord
    starts = [voice(each, spread, octave_4(each.root.simplest())) for each in (sixth, leading)]
    upward = sorted((v.step(n).top.midi, n, v.step(n)) for v in starts for n in range(-12, 13))
    placed = [(voicing, neck.place(voicing, strings)) for _, _, voicing in upward]
    return [(voicing, grip) for voicing, grip in placed if grip and 0 not in grip.frets][:9]


@section
def scale_of_eight(chord: Chord | str) -> Table:
    """The eight notes of the scale, and which of the two chords carries each.

    >>> scale_of_eight("C").rows[1]
    ('2', 'D', 'Bdim7')
    """
    chord = chord_of(chord)
    sixth, leading = sixth_of(chord), job_of("leading-tone", chord).chord
    degrees = "1 2 ♭3 4 5 ♭6 6 7" if sixth.kind == "m6" else "1 2 3 4 5 ♭6 6 7"
    rows = ((d, sixth.name_of(d), sixth if sixth.name_of(d) in sixth.names else leading) for d in degrees.split())
    return table("degree | note | carried by", rows, remarks=chord.remarks)


@section
def four_places(chord: Chord | str, neck: Neck | None = None, strings: Sequence[int] = ()) -> Row:
    """One grip of the leading-tone diminished, moved up three frets at a time: the same four notes.

    >>> len({frozenset(m % 12 for m in Neck().midi(g.frets)) for g in four_places("C6", Neck(), (4, 3, 2, 1)).grips})
    1
    """
    chord, neck = chord_of(chord), neck or Neck()
    leading = job_of("leading-tone", chord).chord
    sets = [tuple(strings), *neck.string_sets("drop 2")] if strings else neck.string_sets("drop 2")
    start = voice(leading, "drop 2", octave_4(leading.root))
    cycles = (neck.cycle(start, on) for on in sets)
    turns = next((found for found in cycles if found), ())
    upward = sorted(turns, key=lambda step: min(step[1].fretted, default=0))
    captions = [joined(pitch.name for pitch in voicing.pitches) for voicing, _ in upward]
    return row(neck, upward, captions=captions, title=f"{leading}, one shape", remarks=chord.remarks)


@section
def four_doors(chord: Chord | str) -> Table:
    """What the leading-tone diminished resolves into, as each of its four notes acts as the leading tone."""
    dim = job_of("leading-tone", chord_of(chord)).chord
    goals = [(name, name.simplest().up(1, 1).simplest()) for name in dim.names]
    rows = ((f"{name}dim7", f"{goal.up(4, 7).simplest()}7(♭9)", goal) for name, goal in goals)
    return table("named | stands for | resolves into", rows)


@section
def spelled(chord: Chord | str) -> Table:
    """The three diminished sevenths of a chord, each spelled from its own root."""
    chord = chord_of(chord)
    rows = ((job, job_of(job, chord).chord, joined(job_of(job, chord).chord.names)) for job in ACTIONS)
    return table("which | chord | notes", rows, remarks=chord.remarks)


def filled(chord: Chord) -> Chord:
    """A triad with its usual fourth note; any other chord as it is.

    >>> filled(Chord.parse("G")), filled(Chord.parse("Am")), filled(Chord.parse("C9"))
    (G6, Am7, C9)
    """
    return replace(chord, kind=TRIADS[chord.kind][3][0]) if chord.is_triad else chord


def enriched(chord: Chord) -> list[tuple[Chord, Pitch]]:
    """A chord with its ninth, and its thirteenth or eleventh, where they are foreign to it, each with that note."""
    extras = (("9",), ("9", "11")) if "♭3" in chord.degrees else (("9",), ("9", "13"))
    rich = [Chord(chord.root, chord.kind, e) for e in extras if chord.pitch_class_of(e[-1]) not in chord.tones]
    return [(full, octave_4(full.name_of(full.extensions[-1]))) for full in rich if chord.kind != "dim7"]


@section
def enrich_or_pass(chord: Chord | str, neck: Neck | None = None) -> Row | Said:
    """Two ways to carry a ninth, eleventh or thirteenth: in the chord itself, or in a diminished seventh.

    >>> enrich_or_pass("Cmaj7", Neck()).captions[:2]
    ('D on top, enriched', 'D on top, passing')
    """
    chord, neck = filled(chord_of(chord)), neck or Neck()
    ways = [
        (way, pitch, word)
        for full, pitch in enriched(chord)
        for way, word in ((full, "enriched"), (passing(pitch, chord).chord, "passing"))
    ]
    if not ways:
        return Said(NONE_FOREIGN, chord.remarks)
    steps, captions = [], []
    for way, pitch, word in ways:
        voicing = voice(way, "drop 2", pitch if word == "enriched" else _in(way, pitch))
        grip = next((grip for grip in neck.grips(voicing) if 0 not in grip.frets), None)
        steps.append((voicing, grip))
        captions.append(f"{pitch.name} on top, {word}")
    return row(neck, steps, captions=captions, title="Enrich or pass", remarks=chord.remarks)


@section
def movement(chord: Chord | str) -> Table | Said:
    """Semitones the three lower voices move when the melody falls from the extension to the chord tone under it."""
    chord = filled(chord_of(chord))
    rows = []
    for full, pitch in enriched(chord):
        goal = chord.name_of(chord.degrees[(int(full.extensions[-1]) - 9) // 2])
        rest = voice(chord, "drop 2", goal.at(pitch.midi - (pitch.midi - goal.pitch_class) % 12))
        for way in (full, passing(pitch, chord).chord):
            lower = voice(way, "drop 2", _in(way, pitch)).pitches[:3]
            moved = sum(abs(a.midi - b.midi) for a, b in zip(lower, rest.pitches, strict=False))
            rows.append((f"{pitch.name} over {way}", f"{goal} over {chord}", moved))
    return table("from | to | lower voices move", rows) if rows else Said(NONE_FOREIGN, chord.remarks)
