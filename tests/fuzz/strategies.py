"""What the property tests draw: chord symbols, chords, pitches, necks, and tunes with everything a lead sheet has."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import settings
from hypothesis import strategies as st

from harmonylib.answering.manner import CONTOURS, Manner
from harmonylib.arranging.density import DENSITIES
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import TUNINGS, Neck
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import CHORD_KINDS, MUSICXML_KINDS
from harmonylib.theory.pitch import ROOTS, spell
from harmonylib.theory.symbols import spellings
from harmonylib.theory.voicings import SPREADS
from harmonylib.tunes.harmony import read_chord
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import MODES, Change, Note, Tune
from tests.draws import draws

TOKENS = (
    "maj ma M Δ m mi min - dim ° o ø + aug sus sus4 sus2 7 9 11 13 6 69 6/9 5 2 4 b5 #5 ♭9 #9 #11 b13 ♭13 add9 add11 "
    "add13 add♭7 add#11 add♭9 addb13 add6 add7 add2 add4 alt dom no3 no5 ( ) , / /E /Bb ♮ x (maj7) minmaj"
).split()
SUFFIXES = sorted({*spellings(), *CHORD_KINDS, *MUSICXML_KINDS.values()})

quick = settings(max_examples=draws(1500))
"""For a test whose examples take a millisecond: many of them."""


# --- chords -------------------------------------------------------------------------------------------------------

roots = st.sampled_from(ROOTS)
basses = st.one_of(st.just(""), st.just(""), roots.map("/{}".format))
valid_symbols = st.builds("{}{}{}".format, roots, st.sampled_from(SUFFIXES), basses)
heaps = st.builds(lambda root, tokens: root + "".join(tokens), roots, st.lists(st.sampled_from(TOKENS), max_size=5))


@st.composite
def mutated_symbols(draw: st.DrawFn) -> str:
    """A symbol that reads, with one to three characters put in, taken out, exchanged or doubled."""
    text = draw(valid_symbols)
    character = st.sampled_from("ABCDEFGHabmM#♭♯Δø°o+-()[]/,. 0123456789xsuadilt♮𝄫𝄪\u00a0\n") | st.characters()
    for _ in range(draw(st.integers(1, 3))):
        place = draw(st.integers(0, len(text)))
        head, tail = text[:place], text[place:]
        what = draw(st.sampled_from(("insert", "delete", "exchange", "double")))
        text = {
            "insert": lambda: head + draw(character) + tail,  # noqa: B023  called at once
            "delete": lambda: head + tail[1:],  # noqa: B023
            "exchange": lambda: head + tail[1:2] + tail[:1] + tail[2:],  # noqa: B023
            "double": lambda: head + tail[:3] + tail,  # noqa: B023
        }[what]()
    return text


def _read(symbol: str) -> Chord | None:
    try:
        return read_chord(symbol)
    except HarmonyError:
        return None


chords = st.one_of(valid_symbols, heaps).map(_read).filter(lambda chord: chord is not None)
"""Every chord that some symbol names: root and bass have at most one accidental, as on a lead sheet."""


# --- necks and settings -------------------------------------------------------------------------------------------

pitches = st.builds(lambda midi, flats: spell(midi % 12, flats).at(midi), st.integers(40, 86), st.booleans())
spreads = st.lists(st.sampled_from(tuple(SPREADS)), min_size=1, unique=True).map(tuple)
necks = st.builds(
    Neck,
    st.sampled_from((*TUNINGS, "C3 G3 D4 A4", "G4 D3 G3 B3 D4")),
    frets=st.sampled_from((5, 12, 15, 15, 15, 22)),
    scale_mm=st.sampled_from((648.0, 628.0, 300.0, 1000.0)),
    reach_mm=st.sampled_from((20.0, 60.0, 105.0, 105.0, 105.0, 250.0)),
    capo=st.sampled_from((0, 0, 0, 3)),
)
hands = st.fixed_dictionaries(
    {
        "neck": st.just(Neck()) | necks,
        "density": st.sampled_from(tuple(DENSITIES)),
        "tempo": st.sampled_from((None, 10, 60, 133.7, 240, 600)),
        "spreads": st.just(("drop 2", "drop 3")) | spreads,
        "seed": st.integers(0, 3),
    }
)
"""Settings of `arrange` but for key, pins and bans."""

manners = st.builds(
    Manner,
    share=st.sampled_from((1.0, 1.0, 0.5, 0.0)),
    approached=st.sampled_from((0.0, 0.5, 1.0)),
    approach_from=st.sampled_from(("below", "above", "both")),
    contour=st.sampled_from((*CONTOURS, "any")),
    swing=st.booleans(),
    seed=st.integers(0, 99),
)


# --- tunes --------------------------------------------------------------------------------------------------------

METRES = ((4, 4), (4, 4), (3, 4), (6, 8), (2, 2), (5, 4), (7, 8), (12, 8), (2, 4), (3, 8), (9, 16), (1, 1))
LENGTHS = [Fraction(text) for text in "1/2 1 3/2 2 1/4 3/4 1/3 2/3 1/5 1/6 3 4 6 7/2 4/3 1/7 1/8 5/4".split()]
MARKS = ("Segno", "Coda", "Fine", "D.C. al Fine", "D.S. al Coda", "To Coda")
ENDINGS = ("", "", "", "1", "2", "1, 2")


@st.composite
def bars(draw: st.DrawFn, most: int = 4) -> tuple[Bar, ...]:
    """One to four bars: changes of metre and key, repeats, endings, marks, a pick-up, bars that are not full."""
    made: list[Bar] = []
    metre, fifths = draw(st.sampled_from(METRES)), draw(st.integers(-7, 7))
    pick_up = draw(st.sampled_from((Fraction(0), Fraction(0), Fraction(1, 2), Fraction(1), Fraction(1, 3))))
    at = Fraction(0)
    for number in range(1, draw(st.integers(1, most)) + 1):
        if draw(st.integers(0, 7)) == 0:
            metre, fifths = draw(st.sampled_from(METRES)), draw(st.integers(-7, 7))
        full = Fraction(4 * metre[0], metre[1])
        if number == 1 and 0 < pick_up < full:
            made.append(Bar(0, at, pick_up, metre, fifths))
            at += pick_up
        length = draw(st.sampled_from((full, full, full, full, full / 2, full + 1))) if made else full
        end, ending = draw(st.booleans()), draw(st.sampled_from(ENDINGS))
        marks = tuple(draw(st.lists(st.sampled_from(MARKS), max_size=1)))
        made.append(Bar(number, at, length, metre, fifths, draw(st.booleans()), end, ending, marks))
        at += length
    return tuple(made)


@st.composite
def tunes(draw: st.DrawFn, most: int = 4) -> Tune:
    """A tune of a few bars: notes of any length and onset, over bar lines too, rests, changes at any moment or none."""
    laid = draw(bars(most))
    end, notes, at = laid[-1].end, [], Fraction(0)
    while at < end:
        length = min(draw(st.sampled_from(LENGTHS)), end - at)
        if draw(st.integers(0, 5)) or (not notes and at + length == end):
            notes.append(Note(draw(pitches), at, length))
        at += length
    changes = []
    moments = draw(st.lists(st.integers(0, int(end * 12) - 1), max_size=4, unique=True))
    for moment in sorted(moments):
        snapped = Fraction(moment, 12) if draw(st.integers(0, 3)) == 0 else Fraction(moment // 6, 2)
        if not changes or snapped > changes[-1].onset:
            changes.append(Change(snapped, draw(st.none() | chords | chords | chords)))
    mode = draw(st.sampled_from(tuple(MODES)))
    return Tune("Any", tuple(notes), tuple(changes), laid, mode, draw(st.sampled_from((120, 60, 200))))
