"""Spreading four notes: families spelled out, close position and what a drop does to it, tall chords in four notes."""

from __future__ import annotations

from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.row import Row, row
from harmonylib.lessons.said import section
from harmonylib.lessons.shapes import held
from harmonylib.lessons.symbols import chord_of
from harmonylib.lessons.table import Table, table
from harmonylib.pictures.grips import voice_paths
from harmonylib.pictures.picture import Picture
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import FAMILIES, PRACTICE_ORDER
from harmonylib.theory.voicings import SPREADS, inversions, voice
from harmonylib.wording import joined

TALL = {"major": ("maj9", "6/9"), "dominant": ("9", "13", "7(♭9)"), "minor": ("m9", "m11")}


@section
def families(chord: Chord | str) -> Table:
    """Every family on the root of a chord: how it is written, its name, its degrees, its notes.

    >>> families("Eb").rows[8]
    ('m7', 'minor seventh', '1 ♭3 5 ♭7', 'E♭ G♭ B♭ D♭')
    """
    chord = chord_of(chord)
    rows = ((kind, row[0], row[2], joined(Chord(chord.root, kind).names)) for kind, row in FAMILIES.items())
    return table(f"after {chord.root} | name | degrees | notes", rows, remarks=chord.remarks)


@section
def close_position(chord: Chord | str) -> Table:
    """The four close positions of a chord, bottom to top.

    >>> close_position("C7").rows[0]
    ('root position', '1 3 5 ♭7', 'C3 E3 G3 B♭3')
    """
    chord = chord_of(chord)
    rows = ((v.inversion, joined(v.degrees), joined(v.pitches)) for v in inversions(chord, "close"))
    return table("lowest | degrees | notes", rows, remarks=chord.remarks)


@section
def spans(chord: Chord | str, neck: Neck | None = None) -> Table:
    """Semitones from the lowest to the highest note of each spread, those of the strings, and what a hand can hold.

    The last column counts the family on all twelve roots, every inversion on every string set of the spread.

    >>> spans("Cmaj7", Neck()).rows[1]
    ('drop 2', '13 to 16', '14 to 15', '136 of 144')
    """
    chord, neck = chord_of(chord), neck or Neck()
    rows = []
    for name in SPREADS:
        sets = neck.string_sets(name)
        if not sets:
            continue
        notes = [voicing.top.midi - voicing.pitches[0].midi for voicing in inversions(chord, name)]
        strings = [neck.open_midi[-on[-1]] - neck.open_midi[-on[0]] for on in sets]
        found = sum(len(held(chord_of(f"{root}{chord.suffix}"), neck, [name])) for root in PRACTICE_ORDER)
        many = f"{found} of {48 * len(sets)}"
        rows.append((name, f"{min(notes)} to {max(notes)}", f"{min(strings)} to {max(strings)}", many))
    return table("spread | notes span | their strings span | in reach", rows, remarks=chord.remarks)


@section
def dropping(chord: Chord | str) -> Picture:
    """The four spreads under one top note, side by side: what leaves close position and goes down.

    >>> str(dropping("Cmaj7"))[:66]
    'Cmaj7: Cmaj7 close → Cmaj7 drop 2 → Cmaj7 drop 3 → Cmaj7 drop 2 an'
    """
    chord = chord_of(chord)
    top = inversions(chord, "drop 2")[0].top
    spread = [(voice(chord, name, top, chord.stacks[0]), name) for name in SPREADS]
    return voice_paths(spread, title=str(chord))  # type: ignore[arg-type]


@section
def voicing_table(chord: Chord | str, show: str = "degrees") -> Table:
    """All sixteen voicings of a chord, bottom to top, by the note on top: as degrees or as notes; a star: root lowest.

    >>> voicing_table("Cmaj7").rows[0]
    ('1', '3 5 7 1', '7 3 5 1', '5 3 7 1', '3 7 5 1')
    """
    chord = chord_of(chord)
    if show not in ("degrees", "notes"):
        raise HarmonyError(f"{show!r} cannot be shown here: choose degrees or notes")
    by_top = {(v.spread, v.degrees[-1]): v for name in SPREADS for v in inversions(chord, name)}
    rows = []
    for degree in chord.stacks[0]:
        line = [by_top[name, degree] for name in SPREADS]
        parts = [v.degrees if show == "degrees" else [p.name for p in v.pitches] for v in line]
        rows.append((degree, *(joined(p) + " *" * (v.degrees[0] == "1") for p, v in zip(parts, line, strict=True))))
    return table(f"on top | {' | '.join(SPREADS)}", rows, remarks=chord.remarks)


@section
def tall_chords(chord: Chord | str) -> Table:
    """Ninths, elevenths and thirteenths on the root of a chord, and the four notes that stay.

    >>> tall_chords("C").rows[2]
    ('C9', '9 3 5 ♭7', 'D E G B♭')
    """
    chord = chord_of(chord)
    tall = [chord_of(f"{chord.root}{ending}") for endings in TALL.values() for ending in endings]
    rows = ((each, joined(s), joined(map(each.name_of, s))) for each in tall for s in each.stacks[1:])
    return table("chord | degrees kept | notes", rows, remarks=chord.remarks)


@section
def two_names(chord: Chord | str, neck: Neck | None = None) -> Row:
    """One grip under two names: the dominant ninth on a root, and the half-diminished on its third.

    >>> two_names("C", Neck()).captions
    ('by its own root', 'with the ninth for the root')
    """
    chord, neck = chord_of(chord), neck or Neck()
    ninth = chord_of(f"{chord.root}9")
    friend = Chord(ninth.name_of("3").simplest(), "m7♭5")
    steps = [step for step in held(friend, neck, ["drop 2"]) if 0 not in step[1].frets][:1]
    twins = [(voice(ninth, "drop 2", v.top, ninth.stacks[1]), grip) for v, grip in steps]
    captions = ["by its own root", "with the ninth for the root"]
    how = {"captions": captions, "title": f"{friend} and {ninth}", "remarks": chord.remarks}
    return row(neck, [*steps, *twins], **how)
