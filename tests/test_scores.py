"""Scores: valid by the schema, the same music when read back by others, the same bytes, files whole or not at all."""

from __future__ import annotations

import csv
import importlib.util
import io
import os
import re
import threading
from fractions import Fraction as F
from importlib.resources import files
from pathlib import Path
from typing import Any

import mido
import pytest
import verovio
from lxml import etree

from harmonylib.answering.own import with_own
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.files import safe_stem
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.look import PAPERS
from harmonylib.score.engraving import engrave, systems
from harmonylib.score.events import written_events
from harmonylib.score.midi import midi
from harmonylib.score.musicxml import musicxml
from harmonylib.score.pdf import pdf
from harmonylib.score.rhythm import bar_signs
from harmonylib.score.tables import csv_text, text
from harmonylib.score.writing import write_files
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Pitch
from harmonylib.theory.symbols import spellings
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.reading import read_text
from harmonylib.tunes.tune import Change, Note, Tune
from harmonylib.wording import plain

HOSTILE = '<script>alert(1)</script> #read("/etc/passwd") \x1b[31m\u202egnp.exe\x00 & "B♭" $(rm) {{7*7}}'

EVERY_SIGN = (
    # bars as "[chord] pitch:length"; "[chord@late]" comes later than the note before which it stands, "~" holds on
    ("r:1/2 F4:1/2 G4:1/2 A4:1/2", {}),
    ("[Bbmaj7] D5:3/2 C5:1/2 [G7(b9)] B4:2/3 D5:2/3 F5:2/3", {"repeat_start": True, "marks": ("Segno",)}),
    ("[Cm7] Eb5:1/3 D5:1/3 C5:1/3 [Cm7/Bb@1/2] Bb4:1 A4:1/2 Ab4:1/2 G4:1", {}),
    ("~:1/2 Eb4:1/4 F4:1/4 [Am7b5] G4:1/2 A4:1 [D7(#9)] F5:1/2 Eb5:1/2 D5:1/2", {}),
    ("[Gm(maj7)] D5:3 r:1", {"ending": "1", "repeat_end": True}),
    ("[Gm6/9] G4:4", {"ending": "2"}),
    ("[NC] r:1 D4:1/2 E4:1/2 F#4:1/4 G4:1/4 A4:1/4 Bb4:1/4 C5:1", {}),
    ("[F#dim7] A4:1/5 C5:1/5 D5:1/5 Eb5:1/5 F#5:1/5 r:1/2 G5:1/2 ~:1 r:1", {}),
    ("[Eb13] Eb5:3/2 C5:1/2 G4:1 F5:1/2 D5:1 Bb4:3/2", {"metre": (6, 4), "fifths": -3, "marks": ("Coda",)}),
    ("[Db7#11] G4:1/2 Bb4:1/2 Db5:1/2 F5:3/2", {"metre": (6, 8), "fifths": -5}),
    ("[C7alt] r:1/2 E5:1 Ab4:1/2 Bb4:1/4 C5:1/4 Eb5:1/2", {}),
    ("[Fm9] G5:1 r:1/2 ~:0 r:3/2", {}),
)


def build(bars: Any, title: str = "Every sign", fifths: int = -2, tempo: float = 90, mode: str = "major") -> Tune:
    """A tune from lines like those of `EVERY_SIGN`; a short first bar is a pick-up."""
    notes: list[Note] = []
    changes: list[Change] = []
    made: list[Bar] = []
    at, metre = F(0), (4, 4)
    for content, facts in bars:
        start = at
        facts = dict(facts)
        metre, fifths = facts.pop("metre", metre), facts.pop("fifths", fifths)
        for token in content.split():
            if token[0] == "[":
                symbol, _, late = token[1:-1].partition("@")
                changes.append(Change(at + F(late or 0), None if symbol == "NC" else Chord.parse(symbol)))
                continue
            name, length = token.split(":")
            if name == "~":
                notes[-1] = Note(notes[-1].pitch, notes[-1].onset, notes[-1].duration + F(length))
            elif name != "r":
                notes.append(Note(Pitch.parse(name), at, F(length)))
            at += F(length)
        pick_up = not made and at - start < F(4 * metre[0], metre[1])
        number = 0 if pick_up else made[-1].number + 1 if made else 1
        made.append(Bar(number, start, at - start, metre, fifths, **facts))
    return Tune(title, tuple(notes), tuple(changes), tuple(made), mode, tempo, "A. Nobody")


def made(bars: Any = EVERY_SIGN, neck: Neck | None = None, **facts: Any) -> Arrangement:
    return arrange(build(bars, **facts), density="every", tempo=40, neck=neck or Neck())


WALTZ = (("[Gm7] G4:3", {"metre": (3, 4)}), ("[C7] E4:1 ~:1/2 F4:1/2 r:1", {}), ("[F] A4:5/2 r:1/2", {}))
JIG = (
    ("C5:1/2", {"metre": (6, 8)}),
    ("[F] A4:3/2 C5:1 A4:1/2", {"repeat_start": True}),
    ("[C7] G4:1/2 r:1/2 E4:1/2 G4:3/8 A4:3/8 B4:3/8 C5:3/8", {}),
    ("[F] F4:5/2", {"repeat_end": True}),
)
SEVENS = (("[Dm7] D5:1/2 E5:1/2 F5:1 E5:1/2 D5:1", {"metre": (7, 8), "fifths": -1}), ("[G7] D5:7/2", {}))
ODD_TUPLETS = (
    ("[Cmaj7] " + "E5:4/7 " * 7, {"fifths": 0}),
    ("[Cmaj7] r:1/3 E5:1/3 r:4/3 G4:4/3 E4:2/3", {}),
    ("[Cmaj7] G4:1/6 A4:1/6 B4:1/6 C5:7/6 E5:1/3 G5:5/3 E5:1/3", {}),
)
TUNES = {"every sign": EVERY_SIGN, "waltz": WALTZ, "jig": JIG, "sevens": SEVENS, "odd tuplets": ODD_TUPLETS}


@pytest.fixture(scope="session")
def schema(tmp_path_factory: pytest.TempPathFactory) -> etree.XMLSchema:
    """The MusicXML 4.0 schema that the package `musicxml` ships, with the attributes of the two it imports."""
    spec = importlib.util.find_spec("musicxml")
    assert spec is not None
    shipped = Path(str(spec.origin)).parent / "generate_classes"
    folder = tmp_path_factory.mktemp("schema")
    for name, space, attributes in (
        ("xml.xsd", "http://www.w3.org/XML/1998/namespace", "lang space"),
        ("xlink.xsd", "http://www.w3.org/1999/xlink", "type href role title show actuate"),
    ):
        declared = "".join(f'<xs:attribute name="{attribute}" type="xs:string"/>' for attribute in attributes.split())
        head = f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{space}">'
        (folder / name).write_text(f"{head}{declared}</xs:schema>", "utf-8")
    main = (shipped / "musicxml_4_0.xsd").read_text("utf-8").replace("http://www.musicxml.org/xsd/", "")
    (folder / "musicxml.xsd").write_text(main, "utf-8")
    return etree.XMLSchema(etree.parse(str(folder / "musicxml.xsd"), etree.XMLParser(no_network=True)))


def parsed(xml: str) -> Any:
    return etree.fromstring(xml.encode(), etree.XMLParser(no_network=True, load_dtd=False, resolve_entities=False))


def music21_score(xml: str) -> Any:
    from music21 import converter

    return converter.parseData(xml, format="musicxml")


def exact(value: Any) -> F:
    return F(value).limit_denominator(5040)


# --- the schema -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", TUNES)
def test_the_score_is_valid_musicxml_4(name: str, schema: etree.XMLSchema) -> None:
    schema.assertValid(parsed(musicxml(made(TUNES[name]))))


def test_the_schema_refuses_a_broken_score(schema: etree.XMLSchema) -> None:
    xml = musicxml(made(WALTZ)).replace("<step>", "<stop>").replace("</step>", "</stop>")
    assert not schema.validate(parsed(xml))


@pytest.mark.parametrize(
    "neck", [Neck("seven strings"), Neck("dropped D", capo=2), Neck("D3 G3 B3 E4")], ids=lambda n: n.tuning
)
def test_the_tablature_has_the_strings_of_the_neck(neck: Neck, schema: etree.XMLSchema) -> None:
    root = parsed(musicxml(made(WALTZ, neck)))
    schema.assertValid(root)
    tuning = root.findall(".//staff-tuning")
    read = [t.findtext("tuning-step") + t.findtext("tuning-octave") for t in tuning]
    assert int(root.findtext(".//staff-lines")) == len(read) == len(neck.open_strings)
    assert read == [str(pitch) for pitch in neck.open_strings]
    assert int(root.findtext(".//capo") or 0) == neck.capo
    svg = parsed(engrave(made(WALTZ, neck)))
    staff = svg.findall(".//{*}g[@class='staff']")[1]
    lines = {path.get("d").split(" ")[1] for path in staff.findall("{*}path")}
    assert len(lines) == len(read)


@pytest.mark.parametrize("name", TUNES)
def test_durations_fill_every_bar_on_both_staves(name: str) -> None:
    arrangement = made(TUNES[name])
    root = parsed(musicxml(arrangement))
    divisions = int(root.findtext(".//divisions"))
    for bar, measure in zip(arrangement.tune.bars, root.iter("measure"), strict=True):
        at = F(0)
        filled = []
        for child in measure:
            length = F(int(child.findtext("duration") or 0), divisions)
            if child.tag == "backup":
                filled.append(at)
                at -= length
            elif child.tag == "forward" or (child.tag == "note" and child.find("chord") is None):
                at += length
        assert filled == [bar.length]
        assert at == bar.length


@pytest.mark.parametrize("name", TUNES)
def test_written_values_say_the_durations(name: str) -> None:
    """Type, dots and tuplet of every note come to its duration; tuplets open and close in turn."""
    quarters = {"whole": 4, "half": 2, "quarter": 1, "eighth": F(1, 2), "16th": F(1, 4), "32nd": F(1, 8)}
    root = parsed(musicxml(made(TUNES[name])))
    divisions = int(root.findtext(".//divisions"))
    open_tuplets = {"1": False, "2": False}
    for note in root.iter("note"):
        if note.find("rest[@measure]") is not None:
            continue
        dots = len(note.findall("dot"))
        ratio = F(int(note.findtext(".//normal-notes") or 1), int(note.findtext(".//actual-notes") or 1))
        written = quarters[note.findtext("type")] * (2 - F(1, 2**dots)) * ratio
        assert written * divisions == int(note.findtext("duration"))
        staff = note.findtext("staff")
        for tuplet in note.iter("tuplet"):
            assert open_tuplets[staff] == (tuplet.get("type") == "stop")
            open_tuplets[staff] = tuplet.get("type") == "start"
    assert not any(open_tuplets.values())


# --- read back --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", TUNES)
def test_music21_reads_the_same_music(name: str) -> None:
    arrangement = made(TUNES[name])
    neck = arrangement.settings.neck
    notation, tablature = music21_score(musicxml(arrangement)).parts
    expected = [
        (e.onset, e.duration, tuple((p.letter, p.alter, p.octave) for p in e.pitches))
        for e in written_events(arrangement)
    ]
    read = [
        (exact(n.offset), exact(n.quarterLength), tuple((p.step, round(p.alter), p.octave) for p in n.pitches))
        for n in notation.stripTies().flatten().notes
        if "Harmony" not in n.classes
    ]
    assert read == expected
    held = [e for e in written_events(arrangement) if e.grip]
    strings = []
    for note in tablature.stripTies().flatten().notes:
        marks = [m for single in getattr(note, "notes", [note]) for m in (*note.articulations, *single.articulations)]
        placed = [
            (s.number, f.number)
            for s, f in zip(
                dict.fromkeys(m for m in marks if "StringIndication" in m.classes),
                dict.fromkeys(m for m in marks if "FretIndication" in m.classes),
                strict=True,
            )
        ]
        strings.append((exact(note.offset), sorted(placed, reverse=True)))
    expected_places = [
        (e.onset, sorted(((s, e.grip.frets[-s]) for s in e.grip.strings), reverse=True)) for e in held if e.grip
    ]
    assert strings == expected_places
    for event in held:
        assert event.grip
        assert neck.midi(event.grip.frets) == tuple(pitch.midi for pitch in event.pitches)


@pytest.mark.parametrize("name", TUNES)
def test_our_own_reader_reads_the_same_tune(name: str) -> None:
    arrangement = made(TUNES[name])
    tune, again = arrangement.tune, read_text(musicxml(arrangement), "musicxml")
    assert (again.title, again.composer, again.mode, again.tempo) == (tune.title, tune.composer, tune.mode, 40)
    assert again.notes == tune.notes
    assert again.changes == tune.changes
    assert again.bars == tune.bars


@pytest.mark.slow
def test_every_chord_symbol_is_read_back_and_by_music21_too(schema: etree.XMLSchema) -> None:
    symbols = [f"Eb{suffix}" for suffix in dict.fromkeys(spellings())] + ["F#m7/E", "Bb13(b9)", "Am11", "Gmaj9", "C5"]
    symbols += ["Edim(maj7)", "Bbdim(maj9)"]
    bars = [(f"[{symbol}] Eb5:1", {"metre": (1, 4)}) for symbol in symbols]
    arrangement = made(bars)
    xml = musicxml(arrangement)
    schema.assertValid(parsed(xml))
    assert [c.chord for c in read_text(xml, "musicxml").changes] == [Chord.parse(symbol) for symbol in symbols]
    read = list(music21_score(xml).recurse().getElementsByClass("ChordSymbol"))
    assert len(read) == len(symbols)
    for symbol, harmony in zip(symbols, read, strict=True):
        chord = Chord.parse(symbol)
        wanted = {chord.pitch_class_of(d) for d in (*chord.degrees, *chord.extensions)}
        if chord.kind == "7sus4":  # an added seventh counts from a minor one (schema, degree-alter), in music21 not
            wanted.remove(chord.pitch_class_of("♭7"))
        if not symbol.endswith("alt"):  # music21 keeps the unaltered fifth of an augmented seventh with degrees
            assert wanted <= {p.pitchClass for p in harmony.pitches}, symbol


@pytest.mark.parametrize("symbol", ["Cdim(maj7)", "F#dim(maj9)", "Bb°Δ/Db", "Cdim7(add7)", "Adim7"])
def test_a_diminished_chord_with_a_seventh_goes_out_and_comes_back(symbol: str, schema: etree.XMLSchema) -> None:
    tune = read_text(f'L:1/1\nM:4/4\nK:C\n"{symbol}"b|"C6"c\'|]')
    xml = musicxml(arrange(tune, stage="melody"))
    schema.assertValid(parsed(xml))
    again = [change.chord for change in read_text(xml, "musicxml").changes]
    assert again == [change.chord for change in tune.changes] == [Chord.parse(symbol), Chord.parse("C6")]
    assert read_text(f'L:1/1\nM:4/4\nK:C\n"{again[0]}"b|]').changes[0].chord == again[0], "as ABC too"


SYMBOLS = {
    # symbol: kind, its text, and what a program shows that prints the text and then the degrees
    "Cm7b5": ("half-diminished", "m7♭5", "Cm7♭5"),
    "C7(b9)": ("dominant", "7", "C7(♭9)"),
    "C7(b9b13)": ("dominant", "7", "C7(♭9♭13)"),
    "C13(#11)": ("dominant-13th", "13", "C13(♯11)"),
    "Cmaj9(#11)": ("major-ninth", "maj9", "Cmaj9(♯11)"),
    "C7alt": ("augmented-seventh", "7♯5", "C7♯5(♭9♯9)"),
    "Cmaj7b5": ("major-seventh", "maj7", "Cmaj7(♭5)"),
    "Cm(maj9)": ("major-minor", "m(maj7)", "Cm(maj7)(9)"),
    "Cdim(maj7)": ("diminished", "dim", "Cdim(♯7)"),
    "C7sus4": ("suspended-fourth", "sus4", "Csus4(7)"),
    "C6/9": ("major-sixth", "6", "C6(9)"),
    "Cadd9": ("major", "", "C(add9)"),
    "C13": ("dominant-13th", "13", "C13"),
    "C7(b9)/E": ("dominant", "7", "C7(♭9)/E"),
}


def test_the_text_of_a_kind_and_its_degrees_add_up_once(schema: etree.XMLSchema) -> None:
    """The engraver prints text and degrees one after the other, so what it shows says each thing once."""
    xml = musicxml(made([(f"[{symbol}] E5:1", {"metre": (1, 4)}) for symbol in SYMBOLS]))
    root = parsed(xml)
    schema.assertValid(root)
    assert [(kind.text, kind.get("text")) for kind in root.iter("kind")] == [facts[:2] for facts in SYMBOLS.values()]
    verovio.setDefaultResourcePath(str(files("verovio") / "data"))
    toolkit = verovio.toolkit()
    assert toolkit.loadData(xml)
    shown = parsed(re.sub(r"<\?xml[^>]*>", "", toolkit.getMEI())).iter("{*}harm")
    assert ["".join("".join(harm.itertext()).split()) for harm in shown] == [facts[2] for facts in SYMBOLS.values()]
    svg = engrave(made([(f"[{symbol}] E5:1", {"metre": (1, 4)}) for symbol in SYMBOLS]))
    named = ["".join("".join(g.itertext()).split()) for g in parsed(svg).xpath("//*[@class='harm']")]
    assert named == [str(Chord.parse(symbol)) for symbol in SYMBOLS], "our own page shows the symbol of the course"


def test_the_part_sounds_as_a_jazz_guitar() -> None:
    xml = musicxml(made())
    part = parsed(xml).find(".//score-part")
    assert part.findtext("midi-instrument/midi-program") == "27", "counted from 1"
    assert part.find("midi-instrument").get("id") == part.find("score-instrument").get("id")
    heard = next(music21_score(xml).recurse().getElementsByClass("Instrument"))
    assert heard.midiProgram == 26, "counted from 0"


def test_the_groups_of_a_metre_go_out_and_come_back() -> None:
    tune = read_text('M:(3+2)/8\nL:1/8\nK:C\n"C"c3 d2|"G"g3 b2|[M:4/4]"C"c8|')
    assert [bar.groups for bar in tune.bars] == [(3, 2), (3, 2), ()]
    xml = musicxml(arrange(tune))
    assert [beats.text for beats in parsed(xml).iter("beats")] == ["3+2", "4"]
    assert read_text(xml, "musicxml").bars == tune.bars
    two = xml.replace(
        "<beats>3+2</beats><beat-type>8</beat-type>",
        "<beats>3</beats><beat-type>8</beat-type><beats>1</beats><beat-type>4</beat-type>",
    )  # noqa: E501
    assert read_text(two, "musicxml").bars[0].groups == (3, 2)


def test_a_change_inside_a_note_stands_at_its_moment() -> None:
    score = music21_score(musicxml(made([("[Cm7] Eb5:1 [Cm7/Bb@3/2] G4:3", {})])))
    symbols = score.recurse().getElementsByClass("ChordSymbol")
    assert [exact(s.getOffsetInHierarchy(score)) for s in symbols] == [0, F(5, 2)]


def test_repeats_endings_marks_and_the_pick_up() -> None:
    root = parsed(musicxml(made()))
    measures = root.findall(".//measure")
    assert (measures[0].get("number"), measures[0].get("implicit"), measures[1].get("implicit")) == ("0", "yes", None)
    ends = [(m.get("number"), r.get("direction")) for m in measures for r in m.iter("repeat")]
    assert ends == [("1", "forward"), ("4", "backward")]
    endings = [(m.get("number"), e.get("number"), e.get("type")) for m in measures for e in m.iter("ending")]
    assert endings == [("4", "1", "start"), ("4", "1", "stop"), ("5", "2", "start"), ("5", "2", "discontinue")]
    assert [sign.tag for sign in root.iter("segno", "coda")] == ["segno", "coda"]
    assert [dict(sound.attrib) for sound in root.iter("sound") if "tempo" not in sound.attrib] == [
        {"segno": "segno"},
        {"coda": "coda"},
    ]
    assert measures[-1].find("barline/bar-style").text == "light-heavy"


def test_a_diminished_chord_is_named_under_the_staff() -> None:
    arrangement = made([("[Cmaj7] E5:1 D5:1 C5:2", {"fifths": 0})])
    words = list(parsed(musicxml(arrangement)).iter("words"))
    assert [w.text for w in words] == ["B°7"]
    assert words[0].getparent().getparent().get("placement") == "below"


def test_an_answer_is_a_second_voice_in_its_own_colour_and_shortens_its_call() -> None:
    arrangement = with_own(made([("[Cmaj7] E5:4", {"fifths": 0})]), 0, [(2, 1, "x7958x"), (3, 1, "x-10-10-9-12-x")])
    root = parsed(musicxml(arrangement))
    voices = {(n.findtext("voice"), n.findtext("staff"), n.findtext("duration")) for n in root.iter("note")}
    assert voices == {("1", "1", "2"), ("5", "2", "2"), ("2", "1", "1"), ("6", "2", "1")}
    assert len(root.findall(".//note[@id='a0']")) == 1
    blue = {n.findtext("voice") for n in root.iter("note") if n.get("color")}
    assert blue == {"2", "6"}
    assert [w.text for w in root.iter("words")] == ["answer"]


def test_calls_sit_left_and_answers_right_on_tracks_of_their_own() -> None:
    plain_one = made([("[Cmaj7] E5:4", {"fifths": 0})])
    assert len(mido.MidiFile(file=io.BytesIO(midi(plain_one))).tracks) == 2
    arrangement = with_own(plain_one, 0, [(2, 1, "x-10-10-9-12-x")])
    tracks = mido.MidiFile(file=io.BytesIO(midi(arrangement))).tracks[1:]
    pans = [m.value for track in tracks for m in track if m.type == "control_change" and m.control == 10]
    assert len(tracks) == 2
    assert pans[0] < 64 < pans[1]
    channels = [{m.channel for m in track if m.type == "note_on"} for track in tracks]
    assert channels == [{0}, {1}]


def test_answers_have_rows_of_their_own() -> None:
    arrangement = with_own(made([("[Cmaj7] E5:4", {"fifths": 0})]), 0, [(2, 1, "x-10-10-9-12-x")])
    rows = list(csv.DictReader(io.StringIO(csv_text(arrangement))))
    assert [(row["treatment"], row["beat"], row["frets"]) for row in rows][1] == ("answer", "3", "x-10-10-9-12-x")
    assert "→" in text(arrangement, 1, 1)


# --- rhythm -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("metre", "spans", "expected"),
    [
        ((4, 4), [(0, 4)], "whole"),
        (
            (4, 4),
            [("1/2", "3/2")],
            "r:eighth quarter r:eighth r:half",
        ),
        ((4, 4), [("3/2", "5/2")], "r:quarter r:eighth eighth~ eighth r:eighth r:quarter"),
        ((4, 4), [(0, "5/2")], "half~ eighth r:eighth r:quarter"),
        ((4, 4), [(1, 3)], "r:quarter half r:quarter"),
        ((3, 4), [(0, "1/2"), ("1/2", 3)], "eighth eighth~ half"),
        ((6, 8), [(0, 1), (1, 3)], "quarter eighth~ quarter."),
        ((6, 8), [(0, 3)], "half."),
        ((6, 8), [("1/2", "3/2")], "r:eighth quarter r:quarter."),
        ((12, 8), [(0, 6)], "whole."),
        ((2, 4), [(0, "3/4"), ("3/4", 1), (1, 2)], "eighth. 16th quarter"),
        ((4, 4), [(0, "4/3"), ("4/3", "5/3"), ("5/3", 2), (2, 4)], "quarter~ eighth eighth eighth half"),
    ],
)
def test_rhythms_are_written_as_musicians_write_them(metre: tuple[int, int], spans: Any, expected: str) -> None:
    notes = [Note(Pitch.parse("C5"), F(a), F(b) - F(a)) for a, b in spans]
    signs = bar_signs(notes, Bar(1, F(0), F(4 * metre[0], metre[1]), metre))
    shown = [("" if s.event else "r:") + s.type + "." * s.dots + ("" if s.closes else "~") for s in signs]
    assert " ".join(shown) == expected


def test_beams_join_the_short_notes_of_a_beat() -> None:
    lengths = [F(1, 2), F(1, 4), F(1, 4), F(1), F(1, 2), F(1, 2), F(1, 2), F(1, 2)]
    onsets = [sum(lengths[:i], F(0)) for i in range(len(lengths))]
    notes = [Note(Pitch.parse("C5"), at, length) for at, length in zip(onsets, lengths, strict=True)]
    beams = [sign.beams for sign in bar_signs(notes, Bar(1, F(0), F(4)))]
    eighths = [("begin",), ("end",)]
    assert beams == [("begin",), ("continue", "begin"), ("end", "end"), (), *eighths, *eighths]


def test_accidentals_are_shown_once_a_bar_and_not_after_a_tie() -> None:
    bars = (("[Cmaj7] F#5:1 F#5:1 F5:1 F#5:1", {"fifths": 0}), ("~:1 F#5:1 Bb4:2", {}), ("Bb4:2 B4:2", {"fifths": -1}))
    root = parsed(musicxml(arrange(build(bars), density="changes")))
    shown = {
        (n.get("id"), n.findtext("accidental")) for n in root.iterfind(".//note[@id]") if n.findtext("staff") == "1"
    }
    accidentals = [dict(shown)[f"n{index}"] for index in range(8)]
    assert accidentals == ["sharp", None, "natural", "sharp", "sharp", "flat", None, "natural"]
    assert ("n3-16", None) in shown or ("n3-4", None) in shown


def test_a_length_between_the_finest_values_is_refused() -> None:
    tune = build([("[C] C5:1/2 C5:7/2", {})])
    odd = Note(tune.notes[0].pitch, F(0), F(1, 4096))
    with pytest.raises(HarmonyError, match="bar 1: .*1024ths"):
        musicxml(arrange(Tune("", (odd,), tune.changes, tune.bars)))


# --- pictures and paper -----------------------------------------------------------------------------------------


def test_the_picture_keeps_note_ids_and_tells_the_reasons() -> None:
    arrangement = made()
    svg = parsed(engrave(arrangement))
    for choice in arrangement.choices:
        group = svg.xpath(f"//*[@id='n{choice.index}']")
        assert len(group) == 1
        assert group[0].findtext("{*}title") == choice.reason
    assert svg.get("style") == "width:100%;height:auto"
    assert "Every sign" in svg.findtext("{*}title")


def test_open_first_string_stands_in_the_top_space() -> None:
    """Sounding E4 is written E5: half a space under the fifth line, 180 units a space in the engraver's drawing."""
    svg = parsed(engrave(made([("[Cmaj7] E4:4", {"fifths": 0})], neck=Neck())))
    staff = svg.find(".//{*}g[@class='staff']")
    lines = sorted({float(p.get("d").split()[1]) for p in staff.findall("{*}path")})
    head = svg.xpath("//*[@id='n0']//*[local-name()='use']")[0].get("transform")
    y = float(re.search(r"translate\([-\d.]+, ([-\d.]+)\)", head)[1])  # type: ignore[index]
    assert len(lines) == 5
    assert lines[0] < y < lines[1]


def test_a_section_shows_its_bars_only() -> None:
    arrangement = made()
    svg = parsed(engrave(arrangement, 2, 3))
    assert len(svg.xpath("//*[@class='measure']")) == 2
    with pytest.raises(HarmonyError, match="bars 90 to 91: the tune has bars 0 to 11"):
        engrave(arrangement, 90, 91)


def test_every_line_of_music_is_drawn_once() -> None:
    arrangement = made(EVERY_SIGN)
    drawn = [parsed(svg) for svg in systems(arrangement)]
    assert [len(svg.xpath("//*[@class='system']")) for svg in drawn] == [1] * len(drawn)
    assert sum(len(svg.xpath("//*[@class='measure']")) for svg in drawn) == len(arrangement.tune.bars)
    assert not re.search("[\ue000-\uf8ff]", "".join(systems(arrangement)))  # no sign of a font paper has not


def test_the_pdf_is_whole_and_knows_its_papers() -> None:
    arrangement = made()
    sizes = {paper: re.search(rb"/MediaBox ?\[([\d. ]+)\]", pdf(arrangement, paper)) for paper in PAPERS}
    points = {paper: [float(n) for n in found[1].split()[2:]] for paper, found in sizes.items() if found}
    assert points["us-letter"] == [612, 792]
    assert points["a4"] == pytest.approx([595.28, 841.89], abs=0.01)
    with pytest.raises(HarmonyError, match="'a3' is not a paper"):
        pdf(arrangement, "a3")


def test_a_hostile_title_is_only_text(schema: etree.XMLSchema) -> None:
    arrangement = made(WALTZ, title=HOSTILE)
    shown = plain(HOSTILE)
    assert not re.search("[\x00-\x1f\u202a-\u202e]", shown)
    root = parsed(musicxml(arrangement))
    schema.assertValid(root)
    assert root.findtext(".//work-title") == shown
    svg = parsed(engrave(arrangement))
    assert not svg.xpath("//*[local-name()='script']")
    assert shown in svg.findtext("{*}title")
    assert shown in text(arrangement)
    assert safe_stem(HOSTILE).isprintable()
    assert not set(safe_stem(HOSTILE)) & set('<>:"/\\|?*$#&')


@pytest.mark.parametrize("write", [musicxml, engrave, pdf, midi, csv_text, text])
def test_the_same_arrangement_gives_the_same_bytes(write: Any) -> None:
    assert write(made()) == write(made())


# --- MIDI -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", TUNES)
def test_midi_holds_the_same_notes(name: str) -> None:
    import mido

    arrangement = made(TUNES[name])
    file = mido.MidiFile(file=io.BytesIO(midi(arrangement, once=True)), charset="utf-8")
    assert file.type == 1
    assert file.ticks_per_beat % 960 == 0
    sounding: dict[int, F] = {}
    read = []
    at = F(0)
    for message in file.tracks[1]:
        at += F(message.time, file.ticks_per_beat)
        if message.type == "note_on":
            assert message.note not in sounding
            sounding[message.note] = at
        elif message.type == "note_off":
            start = sounding.pop(message.note)
            read.append((start, message.note, at - start))
    expected = [(e.onset, p.midi, e.duration) for e in written_events(arrangement) for p in e.pitches]
    assert sorted(read) == sorted(expected)
    metas = {message.type: message for message in reversed(file.tracks[0])}
    assert metas["track_name"].name == arrangement.tune.title
    assert mido.tempo2bpm(metas["set_tempo"].tempo) == pytest.approx(arrangement.tempo)
    metre = metas["time_signature"]
    assert (metre.numerator, metre.denominator) == arrangement.tune.bars[0].metre
    assert [m.program for m in file.tracks[1] if m.type == "program_change"] == [26]


# --- tables and files -------------------------------------------------------------------------------------------


def test_the_table_has_a_row_a_note() -> None:
    arrangement = made()
    rows = list(csv.DictReader(io.StringIO(csv_text(arrangement), newline="")))
    assert [row["reason"] for row in rows] == [choice.reason for choice in arrangement.choices]
    assert [row["frets"] for row in rows] == [str(choice.grip) for choice in arrangement.choices]
    third = rows[3]
    assert (third["bar"], third["beat"], third["melody note"], third["chord"], third["degree"]) == (
        ("1", "1", "D5", "B♭maj7", "3")
    )
    lines = csv_text(arrangement).split("\r\n")
    assert len(lines) == len(rows) + 2


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_is_a_formula(start: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("harmonylib.arranging.arrangement.Choice.reason", f"{start}HYPERLINK(1)", raising=True)
    rows = list(csv.DictReader(io.StringIO(csv_text(made(WALTZ)), newline="")))
    assert {row["reason"][:2] for row in rows} == {f"'{start}"}


def test_the_text_is_grouped_by_bar_and_aligned() -> None:
    arrangement = made(WALTZ)
    heading, *bars = text(arrangement).split("\n\n")
    assert heading.startswith("Every sign (A. Nobody)\n")
    assert [len(bar.strip().split("\n")) for bar in bars] == [1, 2, 1]
    lines = "\n".join(bars).strip().split("\n")
    columns = {line.index(c.reason) for line, c in zip(lines, arrangement.choices, strict=True)}
    assert len(columns) == 1


def test_files_are_written_with_their_content(tmp_path: Path) -> None:
    arrangement = made(WALTZ)
    paths = write_files(arrangement, tmp_path / "new" / "folder", "../a: waltz?")
    assert [path.name for path in paths] == ["a_waltz.musicxml", "a_waltz.mid", "a_waltz.pdf", "a_waltz.csv"]
    assert sorted(paths) == sorted((tmp_path / "new" / "folder").iterdir())
    assert paths[0].read_text("utf-8") == musicxml(arrangement)
    assert paths[1].read_bytes() == midi(arrangement)
    assert paths[2].read_bytes() == pdf(arrangement)
    assert paths[3].read_bytes().decode("utf-8-sig") == csv_text(arrangement)


@pytest.mark.parametrize("failing", range(4))
def test_a_failure_half_way_leaves_the_folder_as_it_was(
    failing: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "tune.mid").write_bytes(b"an older file")
    replace, done = os.replace, []

    def limited(source: Path, target: Path) -> None:
        if Path(target).parent == tmp_path and "new" in Path(source).parts:
            done.append(target)
            if len(done) == failing + 1:
                raise OSError(28, "No space left on device")
        replace(source, target)

    monkeypatch.setattr(os, "replace", limited)
    with pytest.raises(HarmonyError, match=r"nothing was written to the folder .*No space left on device"):
        write_files(made(WALTZ), tmp_path, "tune")
    assert [path.name for path in tmp_path.iterdir()] == ["tune.mid"]
    assert (tmp_path / "tune.mid").read_bytes() == b"an older file"


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "here").write_text("a file")
    with pytest.raises(HarmonyError, match="nothing was written to the folder .*here"):
        write_files(made(WALTZ), tmp_path / "here", "tune")
    assert [path.name for path in tmp_path.iterdir()] == ["here"]


def test_a_folder_in_the_place_of_a_file_is_kept(tmp_path: Path) -> None:
    (tmp_path / "tune.pdf").mkdir()
    with pytest.raises(HarmonyError, match="tune.pdf is a folder"):
        write_files(made(WALTZ), tmp_path, "tune")
    assert [path.name for path in tmp_path.iterdir()] == ["tune.pdf"]


def test_a_closed_folder_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def closed(*_: Any, **__: Any) -> str:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("tempfile.mkdtemp", closed)  # a real one would be open to the super-user
    with pytest.raises(HarmonyError, match="nothing was written to the folder .*Permission denied"):
        write_files(made(WALTZ), tmp_path, "tune")
    assert not list(tmp_path.iterdir())


def test_a_thread_of_its_own_engraves_the_same_bytes() -> None:
    """Widgets are answered in a thread, and the engraver keeps its settings by thread."""
    arrangement = made([("[Cmaj7] E5:4", {"fifths": 0})])
    here, there = engrave(arrangement), []
    worker = threading.Thread(target=lambda: there.append(engrave(arrangement)))
    worker.start()
    worker.join()
    assert there == [here]


@pytest.mark.parametrize("metre", ["2/2", "4/1", "6/8", "4/16", "3/16"])
def test_a_page_has_no_sign_that_only_the_music_font_holds(metre: str) -> None:
    beats, unit = metre.split("/")
    tune = read_text(f'T:Cut\nM:{metre}\nL:1/{unit}\nQ:1/4=120\nK:C\n"C6"{"e" * int(beats)}|')
    words = "".join(re.findall(r">([^<>]+)<", "".join(systems(arrange(tune)))))
    assert "=" in words
    assert not re.findall("[\ue000-\uf8ff]", words)


def test_a_line_of_music_begins_with_the_pick_up_of_its_phrase_also_after_a_parted_bar() -> None:
    first, second = '"C6"' + 7 * "ceg|" + "c2", "e|" + 7 * "gec|" + "c2"
    for sign in ("||", ":|\n|:"):
        tune = read_text(f"T:Parts\nM:3/4\nL:1/4\nQ:1/4=80\nK:C\ne|{first}{sign}{second}|]")
        lines = re.findall(r'<measure number="(\w+)"[^>]*>\s*<print new-system', musicxml(arrange(tune)))
        assert lines == ["5", "9", "14"]


@pytest.mark.parametrize(("last", "types"), [("z4", ["whole"]), ("z2", ["half"]), ("z3", ["half", "quarter"])])
def test_a_short_bar_of_silence_has_rests_of_its_own_length(last: str, types: list[str]) -> None:
    """The engraver draws a rest of a whole bar so narrow there that the chord symbol lies behind the last bar line."""
    tune = read_text(f'T:End\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"C6"c4|"G7"B4|"N.C."{last}|]')
    bar = etree.fromstring(musicxml(arrange(tune)).encode()).findall(".//measure")[-1]
    rests = [note for note in bar.findall("note") if note.find("rest") is not None and note.findtext("voice") == "1"]
    assert sorted(note.findtext("type") for note in rests) == sorted(types)
    assert [note.find("rest").get("measure") for note in rests] == ["yes" if last == "z4" else None] * len(rests)
