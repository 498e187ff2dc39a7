"""Reading tunes: every feature and every refusal on a small inline file, and the invariants on music21's corpus."""

import io
import random
import re
import zipfile
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from music21 import common, converter

from harmonylib.errors import HarmonyError
from harmonylib.tunes.reading import read, read_bytes, read_text
from harmonylib.tunes.tune import Tune

CORPUS = Path(common.getCorpusFilePath())
TIME = "<time><beats>4</beats><beat-type>4</beat-type></time>"
KEY = "<key><fifths>0</fifths></key>"
HARMONY = "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"


def attributes(inside: str = KEY + TIME, divisions: int = 6) -> str:
    return f"<attributes><divisions>{divisions}</divisions>{inside}</attributes>"


def note(pitch: str, duration: int = 6, extra: str = "", first: str = "", after: str = "") -> str:
    place = f"<step>{pitch[0]}</step><octave>{pitch[1]}</octave>"
    return f"<note>{first}<pitch>{place}</pitch><duration>{duration}</duration>{extra}</note>{after}"


def harmony(root: str = "C", kind: str = "major", text: str = "", inside: str = "") -> str:
    printed = f' text="{text}"' if text else ""
    return f"<harmony><root><root-step>{root}</root-step></root><kind{printed}>{kind}</kind>{inside}</harmony>"


def score(*measures: str, head: str = "", parts: str = "", doctype: str = "") -> str:
    bars = "".join(
        m if m.startswith("<measure") else f'<measure number="{i}">{m}</measure>' for i, m in enumerate(measures, 1)
    )
    names = '<part-list><score-part id="P1"><part-name>M</part-name></score-part></part-list>'
    return f'<?xml version="1.0"?>{doctype}<score-partwise version="4.0">{head}{names}<part id="P1">{bars}</part>{parts}</score-partwise>'  # noqa: E501


def xml(*measures: str, **more: str) -> Tune:
    return sound(read_text(score(*measures, **more), "musicxml"))


def abc(body: str, head: str = "M:4/4\nL:1/4\nK:C\n") -> Tune:
    return sound(read_text(f"X:1\nT:Test\n{head}{body}\n"))


def sound(tune: Tune) -> Tune:
    """The tune, after checking what must hold for every one."""
    assert tune.bars[0].onset == 0
    for bar, following in zip(tune.bars, tune.bars[1:], strict=False):
        assert bar.end == following.onset
        assert bar.number < following.number
    assert all(bar.length > 0 for bar in tune.bars)
    assert all(a.end <= b.onset for a, b in zip(tune.notes, tune.notes[1:], strict=False))
    assert all(n.duration > 0 and n.onset >= 0 and n.end <= tune.end for n in tune.notes)
    assert all(a.onset < b.onset < tune.end for a, b in zip(tune.changes, tune.changes[1:], strict=False))
    return tune


def symbols(tune: Tune) -> list[str]:
    return [str(change.chord or "N.C.") for change in tune.changes]


def melody(tune: Tune) -> list[str]:
    return [f"{n.pitch}@{n.onset}+{n.duration}" for n in tune.notes]


# --- MusicXML -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "text", "inside", "expected"),
    [
        ("dominant", "", "", "C7"),
        ("min7", "", "", "Cm7"),
        ("maj69", "", "", "C6/9"),
        ("sus47", "", "", "C7sus4"),
        ("minMaj7", "", "", "Cm(maj7)"),
        ("augmented-ninth", "", "", "C9♯5"),
        ("dominant-seventh", "", "", "C7"),
        ("other", "m7b5", "", "Cm7♭5"),
        ("none", "", "", "N.C."),
        (
            "dominant",
            "",
            "<degree><degree-value>9</degree-value><degree-alter>-1</degree-alter><degree-type>add</degree-type></degree>",  # noqa: E501
            "C7(♭9)",
        ),
        ("major", "", "<bass><bass-step>E</bass-step></bass>", "C/E"),
    ],
)
def test_harmony_kinds(kind: str, text: str, inside: str, expected: str) -> None:
    tune = xml(attributes() + harmony("C", kind, text, inside) + note("C5", 12) + harmony("F") + note("D5", 12))
    assert symbols(tune) == [expected, "F"]


def test_an_unreadable_harmony_is_dropped_and_said() -> None:
    tune = xml(attributes() + HARMONY + note("C5", 24), harmony("D", "wobbly") + note("D5", 24))
    assert symbols(tune) == ["C"]
    assert any(remark.startswith("bar 2: ") and "wobbly" in remark and "goes on" in remark for remark in tune.remarks)


def test_a_function_harmony_is_dropped_and_said() -> None:
    numeral = "<harmony><function>IV</function><kind>major</kind></harmony>"
    tune = xml(attributes() + HARMONY + note("C5", 12) + numeral + note("D5", 12))
    assert symbols(tune) == ["C"]
    assert any("numeral" in remark for remark in tune.remarks)


def test_harmony_offsets_and_the_last_at_a_moment() -> None:
    late = harmony("G", inside="<offset>12</offset>")
    tune = xml(attributes() + HARMONY + harmony("F") + late + note("C5", 24))
    assert [(c.onset, str(c.chord)) for c in tune.changes] == [(0, "F"), (2, "G")]


def test_chords_of_another_part() -> None:
    other = f'<part id="P2"><measure number="1">{attributes()}{note("C3", 12)}{harmony("F")}{note("F3", 12)}</measure></part>'  # noqa: E501
    tune = xml(attributes() + note("C5", 24), parts=other)
    assert [(c.onset, str(c.chord)) for c in tune.changes] == [(2, "F")]
    assert melody(tune) == ["C5@0+4"]


def test_top_line_ties_grace_cue_and_triplets() -> None:
    first = attributes() + HARMONY + note("C5", 12, '<tie type="start"/>') + note("A4", 12, first="<chord/>")
    first += "<note><grace/><pitch><step>D</step><octave>5</octave></pitch></note>" + note(
        "C5", 6, '<tie type="stop"/>'
    )
    first += note("G5", 6, first="<cue/>")
    triplet = "".join(note(p, 2) for p in ("E5", "F5", "G5")) + note("E5", 18)
    tune = xml(first, triplet)
    assert melody(tune) == ["C5@0+3", "E5@4+1/3", "F5@13/3+1/3", "G5@14/3+1/3", "E5@5+3"]
    assert "grace notes are left out (1)" in tune.remarks
    assert any("highest is the melody" in remark for remark in tune.remarks)


def test_a_higher_voice_cuts_a_held_note() -> None:
    voices = note("C4", 24) + "<backup><duration>12</duration></backup>" + note("E5", 6) + note("A3", 6)
    assert melody(xml(attributes() + HARMONY + voices)) == ["C4@0+2", "E5@2+1", "A3@3+1"]


def test_repeats_endings_marks_and_a_pick_up() -> None:
    start = '<barline location="left"><repeat direction="forward"/></barline>'
    one = '<barline location="left"><ending number="1" type="start"/></barline>'
    back = '<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/></barline>'
    words = "<direction><direction-type><words>D.C. al Fine</words></direction-type></direction>"
    tune = xml(
        attributes() + note("G4"), start + HARMONY + note("C5", 24), one + note("D5", 24) + back, words + note("C5", 24)
    )
    assert [b.number for b in tune.bars] == [0, 1, 2, 3]
    assert [b.repeat_start for b in tune.bars] == [False, True, False, False]
    assert [b.repeat_end for b in tune.bars] == [False, False, True, False]
    assert [b.ending for b in tune.bars] == ["", "", "1", ""]
    assert tune.bars[3].marks == ("D.C. al Fine",)
    assert tune.where(Fraction(0)) == "bar 0, beat 4"


def test_metre_and_key_changes_and_an_over_full_bar() -> None:
    change = (
        "<attributes><key><fifths>-3</fifths></key><time><beats>6</beats><beat-type>8</beat-type></time></attributes>"
    )
    tune = xml(attributes() + HARMONY + note("C5", 30), change + note("C5", 18))
    assert [(b.length, b.metre, b.fifths) for b in tune.bars] == [(5, (4, 4), 0), (3, (6, 8), -3)]


def test_no_signatures_are_common_time_in_c_and_said() -> None:
    tune = xml(attributes("") + HARMONY + note("C5", 24))
    assert (tune.bars[0].metre, tune.key) == ((4, 4), "C major")
    assert any("no key signature" in remark for remark in tune.remarks)


def test_a_file_without_a_tempo_is_told_the_one_taken() -> None:
    told = "the file gives no tempo: 120 quarter notes a minute unless you set another"
    assert (abc('"C"C4|').tempo, abc('"C"C4|').remarks) == (120, (told,))
    assert abc('"C"C8|', "Q:1/4=120\nK:C\n").remarks == ()


def test_printed_and_played_tempo() -> None:
    metronome = "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>80</per-minute></metronome></direction-type></direction>"  # noqa: E501
    assert xml(attributes() + metronome + HARMONY + note("C5", 24)).tempo == 120
    assert xml(attributes() + '<sound tempo="96"/>' + HARMONY + note("C5", 24)).tempo == 96


def test_a_transposing_part_sounds() -> None:
    down = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    tune = xml(attributes(KEY + TIME + down) + HARMONY + note("C5", 24))
    assert (melody(tune), symbols(tune), tune.key) == (["B♭4@0+4"], ["B♭"], "B♭ major")


def test_mode_is_guessed_from_the_last_chord() -> None:
    assert xml(attributes() + harmony("A", "minor") + note("A4", 24)).key == "A minor"
    assert xml(attributes() + HARMONY + note("C5", 24)).key == "C major"


def test_titles_are_cleaned_and_capped() -> None:
    long = "<work><work-title>A\t" + "b" * 300 + "</work-title></work>"
    title = xml(attributes() + HARMONY + note("C5", 24), head=long).title
    assert (len(title), title[:3]) == (200, "A b")
    assert xml(attributes() + HARMONY + note("C5", 24)).title == "Untitled"


def test_a_plain_doctype_is_accepted() -> None:
    doctype = '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">'  # noqa: E501
    assert len(xml(attributes() + HARMONY + note("C5", 24), doctype=doctype).notes) == 1


GOOD = score(attributes() + HARMONY + note("C5", 24))


def zipped(**members: bytes | str) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name.replace("__", "."), data)
    return target.getvalue()


@pytest.mark.parametrize(
    ("name", "data"),
    [("a.mxl", zipped(song__xml=GOOD)), ("a.xml", zipped(song__xml=GOOD)), ("a.musicxml", GOOD.replace("1.0", '1.0" encoding="UTF-16', 1).encode("utf-16"))],  # noqa: E501
    ids=["no container", "zip named xml", "utf-16"],
)  # fmt: skip
def test_containers_and_encodings(tmp_path: Path, name: str, data: bytes) -> None:
    file = tmp_path / name
    file.write_bytes(data)
    tune = sound(read(file))
    assert (tune.title, symbols(tune)) == ("a", ["C"])


# --- ABC ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("D/f+", "D/F♯"),
        ("G7/b", "G7/B"),
        ("(Am)", "Am"),
        ("Gm;D", "Gm"),
        ("E7 (B7)", "E7"),
        ("C7(b9)", "C7(♭9)"),
        ("Bb7", "B♭7"),
        ("N.C.", "N.C."),
    ],
)
def test_abc_chord_spellings(text: str, expected: str) -> None:
    assert symbols(abc(f'"{text}"C2 "F"D2|')) == [expected, "F"]


@pytest.mark.parametrize("text", ["^Am", "_G", "<(", ">", "@1,2 hi", "Slow", "1", "Chorus", ""])
def test_abc_annotations_are_no_chords_and_lose_no_note(text: str) -> None:
    tune = abc(f'"C"C2 "{text}"D2|', "M:4/4\nL:1/4\nQ:1/4=120\nK:C\n")
    assert (symbols(tune), melody(tune), tune.remarks) == (["C"], ["C4@0+2", "D4@2+2"], ())


def test_abc_unreadable_chord_is_said() -> None:
    tune = abc('"C"CDEF|"Cfoo"GABc|')
    assert symbols(tune) == ["C"]
    assert any(remark.startswith("bar 2: 'Cfoo'") for remark in tune.remarks)


def test_abc_books_share_their_header_and_count_by_position() -> None:
    book = 'M:3/4\nL:1/4\nX:7\nT:One\nK:G\n"G"GAB|\n\nX:3\nT:Two\nK:F\n"F"FGA|\n'
    assert [(read_text(book, number=n).title, read_text(book, number=n).bars[0].metre) for n in (1, 2)] == [
        ("One", (3, 4)),
        ("Two", (3, 4)),
    ]
    with pytest.raises(HarmonyError, match="tune 3 was asked for, but the book has 2"):
        read_text(book, number=3)


def test_abc_repeats_endings_and_marks() -> None:
    tune = abc('|:"C"CDEF|1 GABc:|2 c4|!fine![K:G]"G"GABF::G4:|')
    assert [(b.repeat_start, b.repeat_end, b.ending) for b in tune.bars] == [
        (True, False, ""), (False, True, "1"), (False, False, "2"), (False, True, "2"), (True, True, ""),
    ]  # fmt: skip
    assert (tune.bars[3].marks, [b.fifths for b in tune.bars]) == (("Fine",), [0, 0, 0, 1, 1])
    assert str(tune.notes[-2].pitch) == "F♯4"


def test_abc_ties_triplets_graces_chords_and_accidentals() -> None:
    tune = abc('"C"[CE]2-[CE] {g}^F|F (3GAB c-|c4|')
    assert melody(tune)[:3] == ["E4@0+3", "F♯4@3+1", "F4@4+1"]
    assert melody(tune)[3:] == ["G4@5+2/3", "A4@17/3+2/3", "B4@19/3+2/3", "C5@7+5"]
    assert "grace notes are left out (1)" in tune.remarks
    assert [str(n.pitch) for n in abc('"C"^FF=FF|F4|').notes] == ["F♯4", "F♯4", "F4", "F4", "F4"]


@pytest.mark.parametrize(
    ("bars", "expected"),
    [
        ('"C"[^FA]F f F|F4|', "A4 F♯4 F♯5 F♯4 F4"),
        ('"C"[F_A]A a =A|A4|', "A♭4 A♭4 A♭5 A4 A4"),
        ('"C"^^F F ^F F|F4|', "F♯♯4 F♯♯4 F♯4 F♯4 F4"),
        ('"C"__B B [_B2E2]|B4|', "B♭♭4 B♭♭4 B♭4 B4"),
    ],
)
def test_abc_accidentals_of_chords_and_double_ones_last_to_the_bar_line(bars: str, expected: str) -> None:
    assert " ".join(str(note.pitch) for note in abc(bars).notes) == expected


def test_abc_a_tie_carries_its_accidental_over_the_bar_line() -> None:
    assert melody(abc('"C"^F4-|F2 F2|')) == ["F♯4@0+6", "F4@6+2"]
    assert melody(abc('"G"=F4-|F2 F2|', "M:4/4\nL:1/4\nK:G\n")) == ["F4@0+6", "F♯4@6+2"]


@pytest.mark.parametrize(
    ("rule", "expected"), [("not", "F♯4 F4 F5"), ("octave", "F♯4 F♯4 F5"), ("pitch", "F♯4 F♯4 F♯5")]
)
def test_abc_accidentals_last_as_the_file_says(rule: str, expected: str) -> None:
    tune = abc('"C"^F F f z|', f"%%propagate-accidentals {rule}\nM:4/4\nL:1/4\nK:C\n")
    assert " ".join(str(note.pitch) for note in tune.notes) == expected


def test_abc_metres_tempo_and_mode() -> None:
    tune = abc('"Am"A3 "Dm"d3|', "M:6/8\nL:1/8\nQ:3/8=80\nK:Am\n")
    assert (tune.bars[0].metre, tune.tempo, tune.key) == ((6, 8), 120, "A minor")
    assert abc('"C"C4|', "M:C|\nL:1/4\nK:C\n").bars[0].metre == (2, 2)
    assert abc('"C"C5|D5|', "M:5/4\nL:1/4\nK:C\n").bars[1].length == 5


def test_abc_without_bar_lines_and_free_metre() -> None:
    assert [b.length for b in abc('"C"CDEFGABcdc').bars] == [4, 4, 2]
    free = abc('"C"CDE|FGABc|', "M:none\nL:1/4\nK:C\n")
    assert [(b.number, b.length) for b in free.bars] == [(1, 3), (2, 5)]


def test_abc_voices_and_latin_1(tmp_path: Path) -> None:
    file = tmp_path / "v.abc"
    file.write_bytes('X:1\nT:Caf\xe9\nM:4/4\nL:1/4\nK:C\nV:1\n"C"cdef|\nV:2\nCDEF|\n'.encode("latin-1"))
    tune = sound(read(file))
    assert (tune.title, melody(tune)[0], len(tune.notes)) == ("Café", "C5@0+1", 4)


def test_a_file_that_was_edited_is_read_again(tmp_path: Path) -> None:
    file = tmp_path / "t.abc"
    titles = []
    for title in ("One", "Two"):
        file.write_text(f'X:1\nT:{title}\nM:4/4\nL:1/4\nK:C\n"C"CDEF|\n')
        titles.append(read(file).title)
    assert titles == ["One", "Two"]


# --- refusals -----------------------------------------------------------------------------------------------------

ENTITIES = '<!DOCTYPE s [<!ENTITY a "x"><!ENTITY b "&a;&a;&a;&a;">]>'


@pytest.mark.parametrize(
    ("name", "data", "match"),
    [
        ("a.abc", b"", "is empty"),
        ("a.mid", b"MThd", r"MusicXML \(.musicxml, .xml\), compressed MusicXML \(.mxl\) or ABC"),
        ("a.xml", b"<a", "is not XML"),
        ("a.xml", b"<html/>", "no score"),
        ("a.xml", b"<score-timewise/>", "no melody notes"),
        ("a.xml", score(note("C5"), doctype=ENTITIES).encode(), "entities"),
        ("a.mxl", b"PK\x03\x04rubbish", "damaged"),
        ("a.mxl", zipped(readme__txt="hello"), "holds no score"),
        ("a.mxl", zipped(bomb__xml=b" " * 20_000_001), "more than 20 MB"),
        ("a.xml", score(attributes() + HARMONY).encode(), "no melody notes"),
        ("a.xml", score(attributes() + note("C5", 24)).encode(), "write chord symbols over the melody"),
        ("a.xml", score(attributes() + HARMONY + note("H5")).encode(), "bar 1: 'H' is not the letter of a note"),
        ("a.xml", score(attributes() + HARMONY + note("C5", 10**8)).encode(), "out of range"),
        ("a.abc", b'X:1\nT:x\nK:C\n"C"|\n', "no melody notes"),
        ("a.abc", b"X:1\nT:x\nK:C\nCDEF|\n", "write chord symbols over the melody"),
    ],
)
def test_refusals(tmp_path: Path, name: str, data: bytes, match: str) -> None:
    file = tmp_path / name
    file.write_bytes(data)
    with pytest.raises(HarmonyError, match=match):
        read(file)


@pytest.mark.parametrize(
    ("call", "why"),
    [
        (lambda tune: read(None), r"None is not the name of a file: write it in quotes, as in read\('file.abc'\)"),
        (lambda tune: read_text(b"K:C"), "is not the text of a tune; read.. takes the name of a file"),
        (lambda tune: tune.transposed("2", 3), "'2' is not an interval in letters: give a whole number"),
        (lambda tune: tune.where("2"), "'2' is not a moment: count quarter notes from the start"),
        (lambda tune: tune.chord_at(float("nan")), "nan is not a moment"),
    ],
)
def test_what_is_of_another_kind_is_refused_by_name(call: Any, why: str) -> None:
    with pytest.raises(HarmonyError, match=why):
        call(read_text(GOOD, "musicxml"))


def test_a_moment_may_be_any_number() -> None:
    tune = read_text(GOOD, "musicxml")
    assert [tune.where(moment) for moment in (1, 1.5, Fraction(1, 3))] == [
        "bar 1, beat 2", "bar 1, beat 2½", "bar 1, beat 1⅓",
    ]  # fmt: skip
    assert tune.where(10**400).startswith("bar 1, beat 1000")


def test_a_zip_whose_names_differ_is_refused_in_a_short_line() -> None:
    data = zipped(song__xml="<a/>" * 9, other__xml=GOOD)
    name = data.index(b"song.xml") - 4  # the length of the name, in the header before it
    with pytest.raises(HarmonyError, match="damaged or locked") as refused:
        read_bytes(data[:name] + (3000).to_bytes(2, "little") + data[name + 2 :], "musicxml", 1)
    assert len(str(refused.value)) < 300


def test_a_zip_that_lies_about_its_size_is_refused(tmp_path: Path) -> None:
    data = zipped(bomb__xml=b" " * 20_000_001)
    file = tmp_path / "lie.mxl"
    file.write_bytes(data.replace((20_000_001).to_bytes(4, "little"), (100).to_bytes(4, "little")))
    with pytest.raises(HarmonyError, match="damaged|not XML|20 MB"):
        read(file)


def test_missing_files_folders_numbers_and_formats(tmp_path: Path) -> None:
    with pytest.raises(HarmonyError, match="was not found"):
        read(tmp_path / "none.abc")
    with pytest.raises(HarmonyError, match="is a folder"):
        read(tmp_path)
    with pytest.raises(HarmonyError, match="is not a format"):
        read_text("", "midi")
    with pytest.raises(HarmonyError, match="holds one tune"):
        read_text(GOOD, "musicxml", 2)
    for number in (0, True, [1]):
        with pytest.raises(HarmonyError, match="not the number of a tune"):
            read_text("X:1", number=number)  # type: ignore[arg-type]


# --- the corpus ---------------------------------------------------------------------------------------------------

BOOKS = random.Random(3).sample(sorted(CORPUS.rglob("*.abc")), 60)
SCORES = sorted((CORPUS / "bach").glob("*.mxl"))[:20]


def test_corpus_abc_holds_its_invariants() -> None:
    tunes = 0
    for file in BOOKS:
        text = file.read_text("utf-8", "replace")
        first = re.search(r"(?ms)^\s*X:.*?(?=^\s*X:|\Z)", text)
        body = first[0] if first else text
        keyed = re.sub(r"(?m)^(K:.*)$", r'\1\n"C"z', body, count=1)
        sound(read_text(keyed))
        tunes += 1
    assert tunes == 60


@pytest.mark.few(5)
@pytest.mark.parametrize("file", SCORES, ids=lambda file: file.stem)
def test_corpus_melody_is_that_of_music21(file: Path) -> None:
    plain = converter.parse(file, forceSource=True, storePickle=False)
    with zipfile.ZipFile(file) as archive:
        name = max(archive.infolist(), key=lambda member: member.file_size)  # the score, whatever its name
        text = archive.read(name).decode()
    tune = sound(read_text(re.sub(r"(<note[ >])", HARMONY + r"\1", text, count=1), "musicxml"))
    witness: dict[Fraction, int] = {}
    for element in plain.parts[0].flatten().notes:
        continues = element.tie is not None and element.tie.type in ("stop", "continue")
        if element.quarterLength and not continues:
            onset = Fraction(element.offset).limit_denominator(1000)
            witness[onset] = max(witness.get(onset, 0), *(pitch.midi for pitch in element.pitches))
    ours = {n.onset: n.pitch.midi for n in tune.notes}
    assert {t: m for t, m in ours.items() if witness.get(t) != m} == {}
    assert len(ours) >= 0.95 * len(witness), "a top line may leave out lower notes, hardly any in a soprano"
