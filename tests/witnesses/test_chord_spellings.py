"""What three libraries make of our chord symbols: mir_eval (Harte et al., ISMIR 2005), music21 and pychord.

Each symbol is put to each witness twice: translated into its own notation (`NOTATION`), where pitch classes and, but
for mir_eval, spellings must agree with ours; and as we write it (`READ_AS_WRITTEN`). Every disagreement stands in a
table with who is right; a new one fails, and so does a listed one that has gone.

The content of MusicXML kinds is read from the words of the MusicXML 4.0 schema itself, music21 is the second witness.
"""

import re
import warnings
from collections.abc import Callable
from importlib.resources import files

import mir_eval.chord
import pychord
import pytest
from music21 import harmony

from harmonylib.theory.chords import Chord
from harmonylib.theory.families import CHORD_KINDS, MUSICXML_KINDS, TRIADS
from harmonylib.theory.pitch import ROOTS, Name
from tests.witnesses.names import name_from

NOTATION_TABLE = """
ours      | mir_eval          | music21    | pychord
maj7      | maj7              | maj7       | maj7
6         | maj6              | 6          | 6
7         | 7                 | 7          | 7
7sus4     | sus4(b7)          | 7sus4      | 7sus4
7♭5       | 7(*5,b5)          | dom7dim5   | 7b5
7♯5       | aug(b7)           | +7         | 7#5
maj7♯5    | aug(7)            | +M7        | maj7+5
maj7♭5    | maj7(*5,b5)       | maj7b5     | none
m7        | min7              | m7         | m7
m6        | min6              | m6         | m6
m(maj7)   | minmaj7           | mM7        | mM7
m7♭5      | hdim7             | ø7         | m7b5
dim7      | dim7              | o7         | dim7
          | maj               |            |
m         | min               | m          | m
dim       | dim               | dim        | dim
aug       | aug               | +          | aug
sus4      | sus4              | sus4       | sus4
9         | 9                 | 9          | 9
maj9      | maj9              | M9         | maj9
m9        | min9              | m9         | m9
11        | 11                | 11         | 11
m11       | min11             | m11        | m11
maj11     | maj7(9,11)        | M11        | none
13        | 13                | 13         | 13
maj13     | maj13             | M13        | maj13
m13       | min13             | m13        | none
6/9       | maj6(9)           | 6 add 9    | 69
add9      | maj(9)            | add 9      | add9
7(♭9)     | 7(b9)             | 7 add b9   | 7b9
7(♯9)     | 7(#9)             | 7 add #9   | 7#9
7(♯11)    | 7(#11)            | 7 add #11  | 7#11
9sus4     | sus4(b7,9)        | none       | 9sus4
m(maj9)   | minmaj7(9)        | mM9        | none
9♯5       | aug(b7,9)         | +9         | 9#5
9♭5       | 7(*5,b5,9)        | 9b5        | 9b5
m9♭5      | hdim7(9)          | ø9         | none
7alt      | aug(b7,b9,#9)     | none       | none
sus2      | sus2              | sus2       | sus2
5         | 5                 | power      | 5
"""
WITNESSES, *ROWS = [[cell.strip() for cell in line.split("|")] for line in NOTATION_TABLE.strip("\n").splitlines()]
NOTATION = {row[0]: dict(zip(WITNESSES[1:], row[1:], strict=True)) for row in ROWS}

NO_THIRD = "ours: a dominant eleventh is a ninth with suspended fourth (common practice), they keep the third"
NO_ELEVENTH = "ours: the thirteenth leaves the eleventh out (common practice), they stack every third"
THIRD_BACK = "they: the symbol has no third; ours puts it back for a four-note chord and says so in a remark"
DISAGREEMENTS = {
    # witness, symbol: semitones above the root only they have, only we have, who is right
    **{(witness, "11"): ((4,), (), NO_THIRD) for witness in WITNESSES[1:]},
    **{(witness, symbol): ((5,), (), NO_ELEVENTH) for witness in WITNESSES[1:] for symbol in ("13", "maj13", "m13")},
    **{(witness, symbol): ((), (4,), THIRD_BACK) for witness in WITNESSES[1:] for symbol in ("sus2", "5")},
}
del DISAGREEMENTS["pychord", "m13"]  # pychord has no such chord

NO_WORD = "refuses"  # the witness has no such spelling; ours reads it as the trade writes it
FLAT_ROOT = "misreads or refuses"  # music21: “-” is a flat, so C-7 is C flat seventh; right by its rules, ours by ours
ADDED_FIFTH = (
    "misreads"  # mir_eval: brackets add a note and the fifth stays; right by Harte's rules, ours by the trade's
)
READ_AS_WRITTEN = {
    "mir_eval": {
        "7(♭5)": ADDED_FIFTH,
        **dict.fromkeys("ma7 M7 Δ Δ7 6 7sus4 7sus 7♭5 7♯5 +7 aug7 maj7♯5 +maj7 maj7♭5 m7 mi7 -7".split(), NO_WORD),
        **dict.fromkeys("m6 mi6 -6 m(maj7) mMaj7 mM7 m7♭5 ø ø7 -7♭5 °7 o7 ma M m mi - ° o + sus".split(), NO_WORD),
    },
    "music21": {
        **dict.fromkeys("ma7 Δ Δ7 7(♭5) +maj7 mi7 mi6 m(maj7) mMaj7 ø °7 ma mi °".split(), NO_WORD),
        **dict.fromkeys("-7 -6 -7♭5 -".split(), FLAT_ROOT),
    },
    "pychord": {
        **dict.fromkeys("ma7 Δ Δ7 7sus 7(♭5) +7 aug7 maj7♯5 +maj7 maj7♭5 mi7 min7 -7 mi6 -6 m(maj7)".split(), NO_WORD),
        **dict.fromkeys("mMaj7 ø ø7 -7♭5 °7 o7 ma M mi ° o +".split(), NO_WORD),
    },
}


def ascii_of(text: str) -> str:
    return text.replace("♭", "b").replace("♯", "#")


def by_music21(root: str, notation: str) -> list[Name]:
    figure = ascii_of(root).replace("b", "-") + (" " if notation.startswith("add") else "") + notation
    return [name_from(pitch) for pitch in harmony.ChordSymbol(figure).pitches]


def by_pychord(root: str, notation: str) -> list[Name]:
    return [Name.parse(name) for name in pychord.Chord(ascii_of(root) + notation).components()]


def by_mir_eval(root: str, notation: str) -> set[int]:
    """Pitch classes; extensions are taken from the degrees in brackets, which its bitmap of one octave leaves out."""
    name, quality, degrees, _ = mir_eval.chord.split(":".join(filter(None, (ascii_of(root), notation))), True)
    steps = {step for step, bit in enumerate(mir_eval.chord.quality_to_bitmap(quality)) if bit}
    for degree in degrees:
        step = mir_eval.chord.scale_degree_to_semitone(degree.strip("*")) % 12
        steps = steps - {step} if degree.startswith("*") else steps | {step}
    return {(mir_eval.chord.pitch_class_to_semitone(name) + step) % 12 for step in steps}


SPELLED: dict[str, Callable[[str, str], list[Name]]] = {"music21": by_music21, "pychord": by_pychord}


def classes_by(witness: str, root: str, notation: str) -> set[int]:
    if witness == "mir_eval":
        return by_mir_eval(root, notation)
    return {name.pitch_class for name in SPELLED[witness](root, notation)}


def ours(symbol: str) -> list[Name]:
    chord = Chord.parse(symbol)
    return [*chord.names, *(chord.name_of(extension) for extension in chord.extensions)]


@pytest.mark.few(40)
@pytest.mark.parametrize("suffix", NOTATION)
@pytest.mark.parametrize("witness", WITNESSES[1:])
def test_pitch_classes_in_the_own_notation_of_a_witness(witness, suffix):
    """On seventeen roots, every spelling of a kind: the differences are those of the table, no more and no fewer."""
    if NOTATION[suffix][witness] == "none":
        with pytest.raises(ValueError, match=r"(?i)quality|abbreviation"):
            SPELLED[witness]("C", ascii_of(suffix))
        return
    written = [suffix] if suffix not in CHORD_KINDS else [suffix, *CHORD_KINDS[suffix][1].split()]
    for root in ROOTS:
        low = Name.parse(root).pitch_class
        theirs = classes_by(witness, root, NOTATION[suffix][witness])
        for spelling in written:
            mine = {name.pitch_class for name in ours(root + spelling)}
            only_they = tuple(sorted((pitch_class - low) % 12 for pitch_class in theirs - mine))
            only_we = tuple(sorted((pitch_class - low) % 12 for pitch_class in mine - theirs))
            assert (only_they, only_we) == DISAGREEMENTS.get((witness, suffix), ((), ()))[:2]


@pytest.mark.few(24)
@pytest.mark.parametrize(
    ("witness", "suffix"), [(w, suffix) for suffix in NOTATION for w in SPELLED if NOTATION[suffix][w] != "none"]
)
def test_spellings_in_the_own_notation_of_a_witness(witness, suffix):
    """Note by note, letters and accidentals, on seventeen roots; what one side lacks is in the table above."""
    only_they, only_we, _ = DISAGREEMENTS.get((witness, suffix), ((), (), ""))
    for root in ROOTS:
        low = Name.parse(root).pitch_class
        theirs = set(SPELLED[witness](root, NOTATION[suffix][witness]))
        mine = set(ours(root + suffix))
        assert {name for name in theirs if (name.pitch_class - low) % 12 not in only_they} == {
            name for name in mine if (name.pitch_class - low) % 12 not in only_we
        }


@pytest.mark.parametrize("witness", READ_AS_WRITTEN)
def test_what_a_witness_makes_of_our_symbols_as_written(witness):
    """Every symbol of the tables on seventeen roots: read as we do, refused, or misread."""
    found = {}
    for suffix in [""] + [spelling for row in CHORD_KINDS.values() for spelling in row[1].split()]:
        results = set()
        for root in ROOTS:
            try:
                theirs = classes_by(witness, root, ascii_of(suffix))
            except Exception:  # a witness refuses in its own way
                results.add("refuses")
            else:
                mine = {name.pitch_class for name in ours(root + suffix)}
                results.add("reads" if theirs == mine else "misreads")
        if results != {"reads"}:
            found[suffix] = " or ".join(sorted(results))
    assert found == READ_AS_WRITTEN[witness]


def test_music21_reads_a_written_flat_wrongly():
    """“Bb7” becomes B with a flat seven there: it needs “-” for flat, so the parser is ours (music21 is a witness)."""
    assert {pitch.name for pitch in harmony.ChordSymbol("Bb7").pitches} != {"B-", "D", "F", "A-"}
    assert [str(name) for name in Chord.parse("Bb7").names] == ["B♭", "D", "F", "A♭"]


# --- MusicXML kinds -----------------------------------------------------------------------------------------------

INTERVALS = dict(
    zip(
        "major second|minor third|major third|perfect fourth|diminished fifth|perfect fifth|augmented fifth|"
        "added sixth|diminished seventh|minor seventh|major seventh|major ninth|perfect 11th|major 13th".split("|"),
        (2, 3, 4, 5, 6, 7, 8, 9, 9, 10, 11, 2, 5, 9),
        strict=True,
    )
)
KIND_DISAGREEMENTS = {
    # kind: semitones only the standard has, only we have, who is right
    "dominant-11th": ((4,), (), NO_THIRD),
    "dominant-13th": ((5,), (), NO_ELEVENTH),
    "major-13th": ((5,), (), NO_ELEVENTH),
    "minor-13th": ((5,), (), NO_ELEVENTH),
    "suspended-second": ((), (4,), THIRD_BACK),
    "power": ((), (4,), THIRD_BACK),
}
WITHOUT_CONTENT = {"Neapolitan", "Italian", "French", "German", "pedal", "Tristan"}
MUSIC21_KIND_DISAGREEMENTS = KIND_DISAGREEMENTS | {
    # functional sixths: they count from the key's tonic, ours is the sounding chord on the written root
    "Neapolitan": ((1, 6), (7,), "the standard gives no content; theirs lacks the fourth or sixth of a Neapolitan"),
    "Italian": ((6, 8), (4, 7, 10), "the standard gives no content; theirs is on the flat sixth of the root"),
    "French": ((2, 8), (4, 10), "the standard gives no content; theirs is on the flat sixth of the root"),
    "German": ((3, 6, 8), (4, 7, 10), "the standard gives no content; theirs is on the flat sixth of the root"),
    "pedal": ((), (4, 7), "the standard says a bass alone; ours plays a block chord on it"),
}


def standard_kinds() -> tuple[set[str], dict[str, set[int]]]:
    """The kinds of the MusicXML 4.0 schema and, where its words give them, their semitones above the root."""
    schema = files("musicxml").joinpath("generate_classes/musicxml_4_0.xsd").read_text(encoding="utf-8")
    entry = schema[schema.index('<xs:simpleType name="kind-value">') :]
    entry = entry[: entry.index("</xs:simpleType>")]
    contents: dict[str, set[int]] = {}
    words_for = {"dominant-seventh": "dominant"}  # the schema's own words use a name it does not list
    for kind, words in re.findall(r"^ +([\w-]+) \(([^)]*)\)$", entry, re.MULTILINE):
        if kind not in WITHOUT_CONTENT:
            contents[kind] = {0}
            for word in words.split(", "):
                base = words_for.get(word, word.removesuffix(" triad"))
                contents[kind] |= {INTERVALS[word]} if word in INTERVALS else contents[base]
    return set(re.findall(r'<xs:enumeration value="([\w-]+)"/>', entry)), contents


def semitones_of(suffix: str) -> set[int]:
    return {name.pitch_class for name in ours("C" + suffix)}


def test_every_kind_of_the_standard_has_a_symbol():
    kinds, contents = standard_kinds()
    assert kinds - {"other", "none"} == set(MUSICXML_KINDS)
    assert set(contents) | WITHOUT_CONTENT == set(MUSICXML_KINDS)


def test_kinds_hold_what_the_words_of_the_standard_say():
    _, contents = standard_kinds()
    found = {kind: _difference(steps, semitones_of(MUSICXML_KINDS[kind])) for kind, steps in contents.items()}
    assert {kind: pair for kind, pair in found.items() if pair != ((), ())} == {
        kind: row[:2] for kind, row in KIND_DISAGREEMENTS.items()
    }


def test_kinds_hold_what_music21_says():
    found = {}
    for kind, suffix in MUSICXML_KINDS.items():
        degrees = harmony.CHORD_TYPES[harmony.CHORD_ALIASES.get(kind, kind)][0]
        steps = {_semitones(degree) for degree in degrees.split(",")}
        found[kind] = _difference(steps, semitones_of(suffix))
    assert {kind: pair for kind, pair in found.items() if pair != ((), ())} == {
        kind: row[:2] for kind, row in MUSIC21_KIND_DISAGREEMENTS.items()
    }


def _difference(theirs: set[int], mine: set[int]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    return tuple(sorted(theirs - mine)), tuple(sorted(mine - theirs))


def _semitones(degree: str) -> int:
    """music21 writes a flat as “-”."""
    number = int(degree.strip("-#"))
    return ((0, 2, 4, 5, 7, 9, 11)[(number - 1) % 7] + degree.count("#") - degree.count("-")) % 12


def test_disagreements_are_explained_and_name_known_symbols():
    for (witness, suffix), (only_they, only_we, why) in DISAGREEMENTS.items():
        assert NOTATION[suffix][witness] != "none"
        assert only_they or only_we
        assert why.split(":")[0] in ("ours", "they")
    assert set(CHORD_KINDS) <= set(NOTATION)
    assert set(TRIADS) <= set(NOTATION)


@pytest.fixture(autouse=True)
def quiet():
    """mir_eval warns about degrees of extended chords."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
