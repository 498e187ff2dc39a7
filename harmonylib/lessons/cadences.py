"""ii–V–I: the three chords that close most phrases, their guide tones, and grips in which the top line leads home."""

from __future__ import annotations

from harmonylib.guitar.neck import Neck
from harmonylib.lessons.row import Row
from harmonylib.lessons.said import section
from harmonylib.lessons.symbols import with_capital
from harmonylib.lessons.table import Table, table
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Name
from harmonylib.theory.voicings import inversions, voice


def cadence(key: Name | str) -> tuple[Chord, Chord, Chord]:
    """The chords of a ii–V–I in a major key.

    >>> cadence("Eb")
    (Fm7, B♭7, E♭maj7)
    """
    tonic = key if isinstance(key, Name) else Name.parse(with_capital(str(key).strip()))
    one = Chord(tonic.simplest(), "maj7")
    return Chord(one.name_of("9"), "m7"), Chord(one.name_of("5"), "7"), one


@section
def guide_tones(key: Name | str) -> Table:
    """Third and seventh of each chord of a ii–V–I.

    >>> guide_tones("C")
    step  chord  third  seventh
    ii    Dm7    F      C
    V     G7     B      F
    I     Cmaj7  E      B
    """
    rows = []
    for numeral, chord in zip(("ii", "V", "I"), cadence(key), strict=True):
        third, seventh = (chord.name_of(chord.degrees[place]) for place in (1, 3))
        rows.append((numeral, chord, third, seventh))
    return table("step | chord | third | seventh", rows)


@section
def two_five_one(key: Name | str, neck: Neck | None = None, spread: str = "drop 2") -> Row:
    """A ii–V–I on one string set, the third of ii on top: it stays, then falls a semitone to the third of I.

    >>> two_five_one("C", Neck())
    ii–V–I in C
    Dm7 x5756x, its third on top
    G7 x5546x, the same note is its seventh
    Cmaj7 x3545x, a semitone down, its third
    """
    neck = neck or Neck()
    two, five, one = cadence(key)
    turned = [inversions(two, spread)[0].step(n) for n in range(-8, 9)]
    tops = [voicing for voicing in turned if voicing.degrees[-1] == "♭3"]
    lines = [(top, voice(five, spread, top.top), voice(one, spread, top.top.up(-1, -1))) for top in tops]
    placed = [[(v, neck.place(v, on)) for v in line] for on in neck.string_sets(spread) for line in lines]
    playable = [line for line in placed if all(grip for _, grip in line)]
    chosen = playable[len(playable) // 2] if playable else []
    captions = ("its third on top", "the same note is its seventh", "a semitone down, its third")
    steps = tuple((voicing, grip) for voicing, grip in chosen if grip)
    return Row(neck, steps, captions if steps else (), f"ii–V–I in {one.root}")
