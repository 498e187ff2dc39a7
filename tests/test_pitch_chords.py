"""Pitches and chords against the tables of the trade, written out here again by hand.

Spelling is checked on the line of fifths (F C G D A E B, a flat seven steps down, a sharp seven up), which the library
does not use.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import (
    CHORD_KINDS,
    FAMILIES,
    MUSICXML_KINDS,
    PRACTICE_ORDER,
    TRIADS,
    degrees_of,
    interval,
)
from harmonylib.theory.pitch import LETTERS, ROOTS, Name, Pitch, alter_of, spell
from harmonylib.theory.symbols import spellings

FAMILY_TABLE = """
maj7 ma7 M7 Δ Δ7      | major seventh           | 1 3 5 7     | 0 4 7 11
6                     | major sixth             | 1 3 5 6     | 0 4 7 9
7                     | dominant seventh        | 1 3 5 ♭7    | 0 4 7 10
7sus4 7sus            | suspended seventh       | 1 4 5 ♭7    | 0 5 7 10
7b5 7(♭5)             | seventh, flat five      | 1 3 ♭5 ♭7   | 0 4 6 10
7#5 +7 aug7           | augmented seventh       | 1 3 ♯5 ♭7   | 0 4 8 10
maj7#5 +maj7          | augmented major seventh | 1 3 ♯5 7    | 0 4 8 11
maj7b5                | major seventh, flat five | 1 3 ♭5 7   | 0 4 6 11
m7 mi7 min7 -7        | minor seventh           | 1 ♭3 5 ♭7   | 0 3 7 10
m6 mi6 -6             | minor sixth             | 1 ♭3 5 6    | 0 3 7 9
m(maj7) mMaj7 mM7     | minor, major seventh    | 1 ♭3 5 7    | 0 3 7 11
m7b5 ø ø7 -7b5        | half-diminished         | 1 ♭3 ♭5 ♭7  | 0 3 6 10
dim7 °7 o7            | diminished seventh      | 1 ♭3 ♭5 ♭♭7 | 0 3 6 9
"""
FAMILY_ROWS = [[cell.strip() for cell in line.split("|")] for line in FAMILY_TABLE.strip().splitlines()]
WRITTEN = [(suffix, name, degrees, steps) for row, name, degrees, steps in FAMILY_ROWS for suffix in row.split()]
SEVENTEEN = "C C♯ D♭ D D♯ E♭ E F F♯ G♭ G G♯ A♭ A A♯ B♭ B"


def fifths(name: Name) -> int:
    """Place on the line of fifths, C = 0."""
    return "FCGDAEB".index(name.letter) - 1 + 7 * name.alter


def fifths_of_degree(degree: str) -> int:
    number = int(degree.strip("♭♯"))
    return {1: 0, 2: 2, 3: 4, 4: -1, 5: 1, 6: 3, 7: 5}[(number - 1) % 7 + 1] + 7 * (
        degree.count("♯") - degree.count("♭")
    )


def classes(*names: str) -> set[int]:
    return {Name.parse(name).pitch_class for name in names}


# --- pitch ----------------------------------------------------------------------------------------------------------


def test_octaves_change_at_c_for_every_spelling():
    assert [Pitch.parse(text).midi for text in ("B3", "Cb4", "B#3", "C4", "Dbb4", "Cx4", "D4")] == [
        59,
        59,
        60,
        60,
        60,
        62,
        62,
    ]


@given(st.sampled_from(LETTERS), st.integers(-3, 3), st.integers(-1, 9))
def test_a_pitch_reads_back_from_its_text(letter, alter, octave):
    pitch = Pitch(letter, alter, octave)
    assert Pitch.parse(str(pitch)) == pitch
    assert pitch.name.at(pitch.midi) == pitch


@given(
    st.sampled_from(LETTERS), st.integers(-1, 1), st.sampled_from("1 ♭2 2 ♭3 3 4 ♯4 ♭5 5 ♯5 6 ♭7 7 9 ♯11 13".split())
)
def test_up_moves_along_the_line_of_fifths(letter, alter, degree):
    start = Pitch(letter, alter, 4)
    steps, semitones = interval(degree)
    end = start.up(steps, semitones)
    assert fifths(end.name) == fifths(start.name) + fifths_of_degree(degree)
    assert end.midi == start.midi + semitones
    assert end.up(-steps, -semitones) == start


def test_ascii_and_unicode_accidentals_are_the_same():
    for ascii_text, unicode_text in (("Eb", "E♭"), ("F#", "F♯"), ("Bbb", "B♭♭"), ("Cx", "C♯♯"), ("G", "G♮")):
        assert Name.parse(ascii_text) == Name.parse(unicode_text)
        assert Pitch.parse(ascii_text + "4") == Pitch.parse(unicode_text + "4")
    assert alter_of("bb") == alter_of("♭♭") == -2


@pytest.mark.parametrize("text", ["", "H", "c", "Ebbbb", "E-", "C#b", "Eb4"])
def test_a_bad_name_is_quoted(text):
    with pytest.raises(HarmonyError, match=f"^{text!r} is not a note name: .* as in C, Eb or F♯"):
        Name.parse(text)


@pytest.mark.parametrize("text", ["", "E", "4", "H4", "e4", "E♭", "C#b4", "C4.5", "C100"])
def test_a_bad_pitch_is_quoted(text):
    with pytest.raises(HarmonyError, match=f"^{text!r} is not a pitch: .* as in C4 or E♭3"):
        Pitch.parse(text)


def test_mixed_accidentals_and_impossible_places_are_refused():
    with pytest.raises(HarmonyError, match="'#b' is not an accidental"):
        alter_of("#b")
    with pytest.raises(HarmonyError, match="C cannot sound at MIDI note 61"):
        Name.parse("C").at(61)


def test_plain_spellings():
    assert [str(spell(pc)) for pc in range(12)] == "C D♭ D E♭ E F G♭ G A♭ A B♭ B".split()
    assert [str(spell(pc, flats=False)) for pc in range(12)] == "C C♯ D D♯ E F F♯ G G♯ A A♯ B".split()
    assert all(Name("FCGDAEB"[n % 7], n // 7).simplest().pitch_class == 7 * (n - 1) % 12 for n in range(-14, 21))


def test_roots_and_practice_order():
    """Seventeen roots: naturals and both names of every black key; practice goes by fourths (common practice)."""
    assert SEVENTEEN.split() == ROOTS
    roots = [Name.parse(name).pitch_class for name in PRACTICE_ORDER]
    assert {(b - a) % 12 for a, b in zip(roots, roots[1:] + roots[:1], strict=True)} == {5}
    assert len(set(roots)) == 12


# --- the family table -----------------------------------------------------------------------------------------------


def test_the_library_knows_just_these_families_under_these_spellings():
    in_library = {(name, degrees, suffix) for name, written, degrees in FAMILIES.values() for suffix in written.split()}
    in_table = {(name, degrees, suffix.replace("b", "♭").replace("#", "♯")) for suffix, name, degrees, _ in WRITTEN}
    assert in_library == in_table


@pytest.mark.parametrize(("suffix", "name", "degrees", "steps"), WRITTEN)
def test_every_spelling_of_every_family_on_every_root(suffix, name, degrees, steps):
    """Letters follow the degrees (thirds are thirds) and the semitones are right, on seventeen roots."""
    for root in SEVENTEEN.split():
        chord = Chord.parse(root + suffix)
        assert (chord.family, chord.degrees, chord.extensions, chord.bass) == (name, tuple(degrees.split()), (), None)
        for note, degree, semitones in zip(chord.names, degrees.split(), steps.split(), strict=True):
            assert (note.pitch_class - Name.parse(root).pitch_class) % 12 == int(semitones)
            number = int(degree.strip("♭♯"))
            assert (LETTERS.index(note.letter) - LETTERS.index(root[0])) % 7 == number - 1
            assert fifths(note) == fifths(Name.parse(root)) + fifths_of_degree(degree)


@pytest.mark.parametrize(
    ("symbol", "names"),
    [
        ("Ebm7", "E♭ G♭ B♭ D♭"),
        ("G♭dim7", "G♭ B♭♭ D♭♭ F♭♭"),
        ("D♭°7", "D♭ F♭ A♭♭ C♭♭"),
        ("A♯maj7", "A♯ C♯♯ E♯ G♯♯"),
        ("D♯+7", "D♯ F♯♯ A♯♯ C♯"),
        ("G♯maj7♯5", "G♯ B♯ D♯♯ F♯♯"),
        ("Bdim7", "B D F A♭"),
        ("A♭m6", "A♭ C♭ E♭ F"),
        ("F♯m7b5", "F♯ A C E"),
        ("G♭maj7b5", "G♭ B♭ D♭♭ F"),
        ("Cb7", "C♭ E♭ G♭ B♭♭"),
    ],
)
def test_spelling_examples(symbol, names):
    assert " ".join(map(str, Chord.parse(symbol).names)) == names


def test_bad_degrees_are_refused():
    for degree in ("", "0", "15", "x3", "3♭"):
        with pytest.raises(HarmonyError, match=f"^{degree!r} is not a degree"):
            interval(degree)


def test_an_extension_is_an_octave_above_its_simple_degree():
    for simple, extended in (("2", "9"), ("♭2", "♭9"), ("4", "11"), ("♯4", "♯11"), ("6", "13"), ("♭6", "♭13")):
        (steps, semitones), (wide_steps, wide_semitones) = interval(simple), interval(extended)
        assert (wide_steps, wide_semitones) == (steps + 7, semitones + 12)


# --- triads and extensions ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spelled", "degrees", "fills"),
    [
        ("C Cmaj Cma CM", "1 3 5", "6 maj7 7"),
        ("Cm Cmi Cmin C-", "1 ♭3 5", "m7 m6"),
        ("Cdim C° Co", "1 ♭3 ♭5", "dim7"),
        ("Caug C+", "1 3 ♯5", "7♯5 maj7♯5"),
        ("Csus4 Csus", "1 4 5", "7sus4"),
    ],
)
def test_triads_are_filled_up(spelled, degrees, fills):
    """Major to 6 or maj7, minor to m7 or m6, diminished to dim7, augmented to 7♯5 or maj7♯5 (common practice)."""
    for symbol in spelled.split():
        chord = Chord.parse(symbol)
        assert chord.is_triad
        assert chord.degrees == tuple(degrees.split())
        assert chord.stacks == tuple(degrees_of(kind) for kind in fills.split())


@pytest.mark.parametrize(
    ("symbol", "degree", "key", "added"),
    [
        ("C", "1", 0, "6"),  # a root in the melody: never a major seventh a semitone under it
        ("C", "1", None, "6"),
        ("C", "3", 0, "6 7"),
        ("G", "5", 0, "6"),  # G major in C: F♯ is foreign to the key
        ("G", "7", 0, "7"),  # unless the melody itself holds it
        ("F", "6", 0, "6"),
        ("Dm", "1", 0, "♭7 6"),
        ("Em", "5", 0, "♭7"),  # C♯ is foreign to C major
        ("Caug", "3", 5, "♭7"),  # B♭ lies in F major
        ("Caug", "3", 7, "7"),  # B lies in G major
        ("Bdim", "♭5", 0, "♭♭7"),
        ("Gsus4", "4", 0, "♭7"),
    ],
)
def test_the_fill_follows_melody_and_key(symbol, degree, key, added):
    notes = frozenset() if key is None else frozenset((key + step) % 12 for step in (0, 2, 4, 5, 7, 9, 11))
    forms = Chord.parse(symbol).stacks_for(degree, notes)
    assert [form[-1] for form in forms] == added.split()
    assert all(degree in form for form in forms)


@pytest.mark.parametrize(
    ("symbol", "extension", "replaced"),
    [
        ("C9", "9", "1"),
        ("Cmaj9", "9", "1"),
        ("Cm9", "9", "1"),
        ("C13", "13", "5"),
        ("Cmaj7(#11)", "♯11", "5"),
        ("C7#11", "♯11", "5"),
        ("Cm11", "11", "♭3"),
        ("C7b9", "♭9", "1"),
        ("C7#9", "♯9", "1"),
        ("C7b13", "♭13", "5"),
        ("Cm7♭5(♭13)", "♭13", "♭5"),
        ("C7♯5(♯11)", "♯11", "♯5"),
        ("Cadd9", "9", "1"),
    ],
)
def test_an_extension_takes_the_place_of_a_neighbour(symbol, extension, replaced):
    """9 for 1, 13 for 5, ♯11 for 5, 11 for 3 on a minor chord, ♭9 and ♯9 for 1 (common practice)."""
    chord = Chord.parse(symbol)
    assert extension in chord.extensions
    plain = chord.stacks[0]
    assert tuple(extension if degree == replaced else degree for degree in plain) in chord.stacks


@pytest.mark.parametrize(
    ("symbol", "same_notes"),
    [("C9", "Em7b5"), ("Cmaj9", "Em7"), ("Cm9", "Ebmaj7"), ("C7b9", "Edim7"), ("Am9", "Cmaj7"), ("Dm7b5", "Fm6")],
)
def test_upper_four_notes(symbol, same_notes):
    """The four upper notes of C9 are those of E half-diminished, of Cmaj9 those of E minor seventh."""
    chord, other = Chord.parse(symbol), Chord.parse(same_notes)
    upper = {chord.pitch_class_of(degree) for degree in chord.stacks[-1]}
    assert upper == {name.pitch_class for name in other.names}


def test_extended_chords_hold_what_they_say():
    """Dominant 11 is a ninth with a suspended fourth, alt is ♯5 with ♭9 and ♯9 (common practice)."""
    content = {
        "C9": ("7", "9"),
        "Cmaj9": ("maj7", "9"),
        "CM9": ("maj7", "9"),
        "C-9": ("m7", "9"),
        "C11": ("7sus4", "9"),
        "Cm11": ("m7", "9 11"),
        "C13": ("7", "9 13"),
        "Cmaj13": ("maj7", "9 13"),
        "Cm13": ("m7", "9 13"),
        "C6/9": ("6", "9"),
        "C69": ("6", "9"),
        "Cm6/9": ("m6", "9"),
        "C7alt": ("7♯5", "♭9 ♯9"),
        "C7b9b13": ("7", "♭9 ♭13"),
        "C13(b9)": ("7", "♭9 13"),
        "C9sus4": ("7sus4", "9"),
        "C13sus": ("7sus4", "9 13"),
        "C9b5": ("7♭5", "9"),
        "C9#5": ("7♯5", "9"),
        "Cm9b5": ("m7♭5", "9"),
        "C7#9#5": ("7♯5", "♯9"),
        "Cadd9": ("", "9"),
        "Cm(add9)": ("m", "9"),
        "Cm(maj9)": ("m(maj7)", "9"),
        "Cdim(maj7)": ("dim", "7"),
        "C°Δ": ("dim", "7"),
        "Cdim(maj9)": ("dim", "7 9"),
        "Cdim7(add7)": ("dim7", "7"),
        "Cadd13": ("", "13"),
        "C7/6": ("7", "13"),
    }
    for symbol, (kind, extensions) in content.items():
        chord = Chord.parse(symbol)
        assert (symbol, chord.kind, chord.extensions) == (symbol, kind, tuple(extensions.split()))


def test_a_diminished_chord_with_a_major_seventh_is_a_chord_of_its_own():
    """C E♭ G♭ B: not the diminished seventh, and no triad that has to be filled up."""
    chord = Chord.parse("Cdim(maj7)")
    assert (str(chord), chord.family) == ("Cdim(maj7)", "diminished triad, major seventh")
    assert [str(name) for name in chord.names] == ["C", "E♭", "G♭", "B"]
    assert chord.stacks == (("1", "♭3", "♭5", "7"),)
    assert not chord.is_triad
    assert chord.allowed == {0, 3, 6, 11}
    same = ("CdimM7", "C°maj7", "Co(maj7)", "Cdim(add7)", "Cdim maj7", "Cm(maj7)b5", "CmM7(♭5)")
    assert {Chord.parse(symbol) for symbol in same} == {chord}
    assert Chord.parse("Cdim7") != Chord.parse("Cdim7(add7)") != chord


def test_spellings_of_one_chord_are_one_chord():
    same = [
        "Cmaj7 CM7 CΔ CΔ7 Cma7 CMaj7 C△7",
        "Cm7b5 Cø Cø7 C-7b5 Cm7(♭5) Cmi7b5 Cm7-5",
        "C7#9 C7(♯9) C7+9 C7(#9)",
        "C°7 Co7 Cdim7 Cº7",
        "C6/9 C69 C6(9) C6add9",
        "C7#5 C+7 Caug7 C7+5 C7(♯5)",
        "F#m7 F♯m7 F♯-7 F#mi7 F#min7",
        "Bb7/D B♭7/D Bb7 /D",
    ]
    for row in same:
        symbols = row.split(" ") if "/D" not in row else ["Bb7/D", "B♭7/D", "Bb7 / D"]
        assert {Chord.parse(symbol) for symbol in symbols} == {Chord.parse(symbols[0])}


def test_roots_and_suffixes_are_not_run_together():
    """E♭ m7 is not E with a flat; B-flat seventh is not B with a flat seventh."""
    assert Chord.parse("Bb7").root == Name.parse("B♭")
    assert Chord.parse("Bb5").root == Name.parse("B♭")
    assert Chord.parse("C-7").kind == "m7"
    assert Chord.parse("Ab-7").root == Name.parse("A♭")
    assert Chord.parse("F6").kind == "6"


def test_slash_basses_are_kept():
    for symbol, bass in (("C/E", "E"), ("Am7/G", "G"), ("D7/F#", "F♯"), ("Ebmaj7/Bb", "B♭"), ("F/Gb", "G♭")):
        chord = Chord.parse(symbol)
        assert chord.bass == Name.parse(bass)
        assert Chord.parse(chord.symbol) == chord
    assert Chord.parse("C6/9").bass is None
    assert Chord.parse("Cm7/b5") == Chord.parse("Cm7b5")


def test_what_a_block_chord_cannot_say_is_remarked():
    for symbol, word in (("C5", "power chord"), ("Csus2", "suspended second"), ("C7no5", "no5")):
        chord = Chord.parse(symbol)
        assert any(word in remark for remark in chord.remarks)
    assert Chord.parse("C7").remarks == ()


SUFFIXES = sorted({*spellings(), *CHORD_KINDS, *MUSICXML_KINDS.values()}) + (
    "7b9b13 7b9#9 7#9#11 13b9 13#11 maj7#11 maj9#11 m11b5 m7b5(b13) 7#5#11 9#5 9b5 7sus4b9 6/9#11 m6/9 m(maj9) "
    "dim(maj7) dim(maj9) dim(maj7add♭13) dim7(add7) "
    "add9 m(add9) add13 add11 7add13 sus2 maj13#11 aug(add9) 11b9 m9b5 7alt dim7(b13) mM9 +9 o9".split()
)


def test_every_symbol_reads_back_as_the_same_chord():
    """All roots, every table suffix and the usual extended ones, with and without a bass."""
    seen = 0
    for root in SEVENTEEN.split():
        for suffix in SUFFIXES:
            for bass in ("", "/E", "/A♭"):
                chord = Chord.parse(root + suffix + bass)
                assert Chord.parse(chord.symbol) == chord
                assert Chord.parse(chord.symbol.replace("♭", "b").replace("♯", "#")) == chord
                seen += 1
    assert seen == 17 * 3 * len(SUFFIXES)


@pytest.mark.parametrize(
    ("symbol", "character", "place", "nearest"),
    [
        ("Cmaj7x", "x", 6, "Cmaj7"),
        ("H7", "H", 1, "B7"),
        ("Fis7", "i", 2, "F#7"),
        ("Esmaj7", "s", 2, "Ebmaj7"),
        ("c7", "c", 1, "C7"),
        ("Ebmm7", "m", 4, "Ebm7"),
        ("G7#7", "#", 3, "G7♯9"),
        ("Am7/H", "H", 5, "Am7"),
        ("Cm7-", "-", 4, "Cm7"),
        ("C7?", "?", 3, "C7"),
        ("C♮7?", "?", 4, "C7"),
        ("Cdimmy", "m", 5, "Cdim"),
        ("Cødimadd7", "d", 3, "Cdim7"),
        ("Bb7sus5", "5", 7, "Bb7sus"),
        ("Cadd♭7", "a", 2, "Cadd9"),
        ("  Gmaj7!", "!", 8, "Gmaj7"),
    ],
)
def test_a_bad_symbol_is_quoted_pointed_at_and_answered(symbol, character, place, nearest):
    with pytest.raises(HarmonyError) as caught:
        Chord.parse(symbol)
    message = str(caught.value)
    assert message.startswith(f"{symbol!r} is not a chord symbol: {character!r}, character {place}, ")
    assert message.endswith(f"did you mean {nearest}?")
    assert Chord.parse(nearest)


@pytest.mark.parametrize(
    ("call", "why"),
    [
        (lambda: Chord.parse("C7").name_of(["3"]), "is not a degree"),
        (lambda: degrees_of("jazz"), "'jazz' is not a kind of chord: name one of maj7, 6, 7"),
        (lambda: Pitch.parse("C4").up("2", 3), "'2' is not a number of letters: give a whole number"),
    ],
)
def test_what_is_of_another_kind_is_refused_by_name(call, why):
    with pytest.raises(HarmonyError, match=why):
        call()


def test_a_degree_may_be_a_number():
    assert Chord.parse("C7").name_of(3) == Chord.parse("C7").name_of("3")


def test_an_empty_symbol_and_an_endless_one():
    with pytest.raises(HarmonyError, match="'' is not a chord symbol: it is empty"):
        Chord.parse("")
    with pytest.raises(HarmonyError, match="^'CCCC.*…' is not a chord symbol: 'C', character 2"):
        Chord.parse("C" * 1000)


def test_tones_name_every_note_that_counts_as_in_the_chord():
    assert Chord.parse("C").tones == {0: "1", 4: "3", 7: "5", 9: "6", 10: "♭7", 11: "7"}
    assert Chord.parse("Am").tones == {9: "1", 0: "♭3", 4: "5", 7: "♭7", 6: "6"}
    assert Chord.parse("G13").tones == {7: "1", 11: "3", 2: "5", 5: "♭7", 9: "9", 4: "13"}
    assert set(Chord.parse("C7alt").tones) == classes("C", "E", "G#", "Bb", "Db", "Eb")


def test_triads_name_their_fills_as_families():
    assert all(fill in FAMILIES for *_, fills in TRIADS.values() for fill in fills)
