"""Files as programs really write them: broken containers, time-wise scores, odd bars, and what is no score."""

import random
import re
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

import pytest

from harmonylib.errors import HarmonyError
from harmonylib.tunes.container import MOST_MEMBERS
from harmonylib.tunes.reading import read, read_bytes, read_text
from harmonylib.tunes.tune import Tune
from tests.test_tunes import HARMONY, abc, attributes, harmony, melody, note, score, symbols, xml, zipped

SONG = score(attributes() + HARMONY + note("C5", 24), head="<movement-title>Song</movement-title>")
DECOY = score(attributes() + HARMONY + note("G5", 24), head="<movement-title>Decoy</movement-title>")
BROKEN = "<container><rootfiles><rootfile full-path='Tom's song.xml'/></rootfiles></container>"
SOUND = (
    '<?xml version="1.0" encoding="UTF-8"?><container><rootfiles><rootfile full-path="{}" '
    'media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>'
)


def archive(container: str | bytes | None, members: dict[str, str | bytes]) -> bytes:
    inside: dict[str, bytes | str] = {} if container is None else {"META-INF/container.xml": container}
    return zipped(**inside, **members)


def packed(container: str | bytes | None, **members: str | bytes) -> Tune:
    named = {name.replace("__", "."): data for name, data in members.items()} or {"Tom's song.xml": SONG}
    return read_bytes(archive(container, named), "musicxml", 1)


# --- archives -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "container",
    [BROKEN, SOUND.format("elsewhere.xml"), "", "no xml", None],
    ids="quote nowhere empty text none".split(),
)
def test_a_container_that_leads_nowhere_is_stepped_over(container: str | None) -> None:
    tune = packed(container)
    assert (tune.title, melody(tune)) == ("Song", ["C5@0+4"])
    told = 'the archive does not say where its score is: "Tom\'s song.xml", the only one in it, is read'
    assert told in tune.remarks


def test_a_sound_container_says_which_score_is_meant() -> None:
    tune = packed(SOUND.format("z.xml"), a__xml=DECOY, z__xml=SONG)
    assert tune.title == "Song"
    assert not any("archive" in remark for remark in tune.remarks)


def test_of_several_scores_the_first_by_name_is_read_and_said() -> None:
    tune = packed(BROKEN, z__xml=DECOY, a__xml="<html/>", b__musicxml=SONG, c__png=b"\x89PNG\0")
    assert tune.title == "Song"
    assert any("which of its 2 scores is meant: 'b.musicxml' is read" in remark for remark in tune.remarks)


def test_a_damaged_score_never_gives_way_to_another_file() -> None:
    with pytest.raises(HarmonyError, match="is not XML"):
        packed(SOUND.format("a.xml"), a__xml=SONG[:-40], b__xml=DECOY)


ENTITIES = '<!DOCTYPE s [<!ENTITY a "x"><!ENTITY b "&a;&a;&a;&a;">]>'


@pytest.mark.parametrize(
    ("container", "members", "why"),
    [
        (BROKEN, {"a.xml": ENTITIES + SONG[21:]}, "entities"),
        (ENTITIES + "<container/>", {"a.xml": SONG}, "entities"),
        (BROKEN, {"a.xml": b" " * 20_000_001 + SONG.encode()}, "more than 20 MB"),
        (b" " * 20_000_001, {"a.xml": SONG}, "more than 20 MB"),
        (BROKEN, {f"{n}.txt": "" for n in range(MOST_MEMBERS + 1)}, f"holds {MOST_MEMBERS + 1} files"),
        (BROKEN, {"readme.txt": "hello"}, "holds no score"),
        (BROKEN, {"a.xml": "<html/>"}, "no score .it opens with <html>"),
        (SOUND.format("../../etc/passwd"), {"readme.txt": "hello"}, "holds no score"),
    ],
    ids="entities container-entities size container-size count none other traversal".split(),
)
def test_every_guard_of_an_archive_stays(container: str | bytes, members: dict[str, str | bytes], why: str) -> None:
    with pytest.raises(HarmonyError, match=why):
        read_bytes(archive(container, members), "musicxml", 1)


@pytest.mark.parametrize("seed", range(30))
def test_a_mutated_container_is_read_or_refused_and_never_leads_to_other_content(seed: int) -> None:
    draws = random.Random(seed)
    text = bytearray(SOUND.format("song.xml").encode())
    for _ in range(draws.randrange(1, 6)):
        at = draws.randrange(len(text))
        what = draws.choice(("out", "in", "change", "cut"))
        if what == "cut":
            del text[at:]
        elif what == "out":
            del text[at : at + draws.randrange(1, 9)]
        else:
            text[at : at + (what == "change")] = bytes([draws.randrange(256)])
        if not text:
            break
    data = archive(
        bytes(text), {"song.xml": SONG, "notes.xml": "<notes><title>Decoy</title></notes>", "p.png": b"\x89PNG"}
    )
    try:
        tune = read_bytes(data, "musicxml", 1)
    except HarmonyError as error:
        assert len(str(error).splitlines()) == 1  # noqa: PT017
        assert "Decoy" not in str(error)  # noqa: PT017
    else:
        assert (tune.title, melody(tune)) == ("Song", ["C5@0+4"])


# --- the shapes of a score ----------------------------------------------------------------------------------------


def timewise(partwise: str) -> str:
    """A part-wise score turned round, by hand and not by the reader."""
    root = ElementTree.fromstring(partwise)
    parts = root.findall("part")
    turned = ElementTree.Element("score-timewise")
    turned.extend(child for child in root if child.tag != "part")
    for measures in zip(*(part.findall("measure") for part in parts), strict=True):
        bar = ElementTree.SubElement(turned, "measure", measures[0].attrib)
        for part, measure in zip(parts, measures, strict=True):
            ElementTree.SubElement(bar, "part", id=part.get("id", "")).extend(measure)
    return ElementTree.tostring(turned, encoding="unicode")


def test_a_time_wise_score_is_the_same_tune() -> None:
    bass = f'<part id="P2"><measure number="1">{attributes()}{note("C3", 24)}</measure><measure number="2">{note("F3", 24)}</measure></part>'  # noqa: E501
    text = score(attributes() + HARMONY + note("C5", 24), harmony("F") + note("A5", 24), parts=bass)
    assert read_text(timewise(text), "musicxml") == read_text(text, "musicxml")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "gb2312"])
def test_every_encoding_and_a_namespace_and_a_document_type(encoding: str) -> None:
    kind = '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.1 Partwise//EN" "partwise.dtd">'
    declared = f'<?xml version="1.0" encoding="{encoding.removesuffix("-sig")}"?>'
    title = "歌" if encoding == "gb2312" else "Été"
    body = score(attributes() + HARMONY + note("C5", 24), head=f"<movement-title>{title}</movement-title>")[21:]
    spaced = body.replace("<score-partwise", '<score-partwise xmlns="http://example.org/score"')
    tune = read_bytes((declared + kind + spaced).encode(encoding), "musicxml", 1)
    assert (tune.title, melody(tune)) == (title, ["C5@0+4"])


@pytest.mark.parametrize("mark", [b"\xff\xfe", b"\xef\xbb\xbf"])
def test_a_byte_order_mark_goes_before_what_the_file_declares(mark: bytes) -> None:
    encoding, declared = ("utf-16-le", "UTF-8") if mark == b"\xff\xfe" else ("utf-8", "UTF-16")
    text = SONG.replace('version="1.0"', f'version="1.0" encoding="{declared}"', 1)
    assert read_bytes(mark + text.encode(encoding), "musicxml", 1).title == "Song"


def test_a_prefixed_namespace() -> None:
    spaced = re.sub(r"<(/?)(?=[a-z])", r"<\1m:", SONG).replace("<m:score-partwise", '<m:score-partwise xmlns:m="urn:m"')
    assert read_text(spaced, "musicxml").title == "Song"


def test_an_empty_measure_is_a_bar_of_rest() -> None:
    tune = xml(attributes() + HARMONY + note("C5", 24), harmony("F"), harmony("G") + note("D5", 24))
    assert [(c.onset, str(c.chord)) for c in tune.changes] == [(0, "C"), (4, "F"), (8, "G")]
    assert melody(tune) == ["C5@0+4", "D5@8+4"]
    assert "bar 2 is empty: it is read as a bar of rest" in tune.remarks


def test_chords_beyond_the_notes_and_several_on_one() -> None:
    late = harmony("G", inside="<offset>36</offset>")
    stacked = "<harmony><root><root-step>A</root-step></root><kind>minor</kind><root><root-step>D</root-step></root><kind>major</kind></harmony>"  # noqa: E501
    tune = xml(
        attributes() + HARMONY + note("C5", 24) + late,
        stacked + note("D5", 24),
        harmony("E") + HARMONY + note("E5", 24),
    )
    assert [(c.onset, str(c.chord)) for c in tune.changes] == [(0, "C"), (4, "Am"), (8, "C"), (10, "G")]
    assert "bar 2: of chords stacked in one symbol the first is read" in tune.remarks
    assert "bar 3: E and C stand together: the last counts" in tune.remarks


def test_numerals_alone_are_remarked_and_the_staves_of_a_part_are_told_apart() -> None:
    numeral = "<harmony><numeral><numeral-root>5</numeral-root></numeral><kind>major</kind></harmony>"
    low = "<backup><duration>24</duration></backup>" + note("C3", 24, "<staff>2</staff>")
    tune = xml(attributes() + HARMONY + note("C5", 12, "<staff>1</staff>") + numeral + note("D5", 12) + low)
    assert (symbols(tune), melody(tune)) == (["C"], ["C5@0+2", "D5@2+2"])
    assert any("a function or numeral" in remark for remark in tune.remarks)


# --- the beats of a bar -------------------------------------------------------------------------------------------


def odd(tune: Tune) -> list[str]:
    return [remark for remark in tune.remarks if "metre" in remark]


WALTZ = "M:3/4\nL:1/4\nK:C\n"


def test_bars_that_do_not_fill_their_metre_are_kept_and_said() -> None:
    tune = abc('"C"CDE|FGAB|c3|', WALTZ)
    assert [bar.length for bar in tune.bars] == [3, 4, 3]
    assert odd(tune) == ["bar 2 holds 4 beats, its metre 3/4 has 3: it is kept as written"]


def test_a_tune_in_another_metre_than_it_says_has_no_pick_up() -> None:
    tune = abc('"C"CDE|FGA|"G"GFE|"C"C3|')
    assert [bar.number for bar in tune.bars] == [1, 2, 3, 4]
    assert odd(tune) == ["bars 1 to 4 hold 3 beats each, their metre 4/4 has 4: kept as written"]


@pytest.mark.parametrize(
    ("body", "numbers"),
    [
        ('C|"C"CDEF|GAB|', [0, 1, 2]),  # the last bar completes the pick-up
        ('C|"C"CDEF|GA:|Bc|cdef|gab|', [0, 1, 2, 3, 4, 5]),  # a bar divided by a repeat
        ('C|:"C"CDEF|GAB:|c|cdef|GAB|', [0, 1, 2, 3, 4, 5]),  # a pick-up in the middle
        ('C|:"C"CDEF|1GAB:|2G3||c|cdef|gab|]', [0, 1, 2, 3, 4, 5, 6]),  # both endings lead on from a pick-up
        ('"C"CDEF|GA|Bc|d4|', [1, 2, 3, 4]),  # a bar divided without a sign
    ],
)
def test_pick_ups_and_divided_bars_are_no_faults(body: str, numbers: list[int]) -> None:
    tune = abc(body)
    assert ([bar.number for bar in tune.bars], odd(tune)) == (numbers, [])


def test_bars_numbered_by_the_file_are_kept() -> None:
    bars = [f'<measure number="{number}">{note("C5", 18)}</measure>' for number in (18, 19, 20)]
    first = f'<measure number="17">{attributes()}{HARMONY}{note("C5", 18)}</measure>'
    tune = xml(first, *bars)
    assert [bar.number for bar in tune.bars] == [17, 18, 19, 20]
    assert odd(tune) == ["bars 17 to 20 hold 3 beats each, their metre 4/4 has 4: kept as written"]
    up = xml(f'<measure number="0">{attributes()}{note("G4")}</measure>', *bars[:1], HARMONY + note("C5", 24))
    assert up.bars[0].number == 0


def test_free_metre_has_no_faults() -> None:
    assert odd(abc('"C"CDE|FGABc|', "M:none\nL:1/4\nK:C\n")) == []


def test_many_odd_bars_are_summed_up() -> None:
    body = "".join(f"{'c' * count}|" for count in (4, 5, 6) * 5)
    told = odd(abc('"C"' + body, WALTZ))
    assert len(told) == 9
    assert told[-1] == "7 more runs of bars do not fill their metre"


# --- what is no score ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "data", "what"),
    [
        ("a.pdf", b"%PDF-1.7", "a PDF"),
        ("a.mxl", b"%PDF-1.7", "a PDF"),
        ("a.PNG", b"", "a picture of music"),
        ("a.xml", b"\xff\xd8\xff\xe0", "a picture of music"),
        ("a.abc", b"\x89PNG\r\n", "a picture of music"),
        ("a.mid", b"MThd", "a MIDI file, which has no chord symbols"),
        ("a.musicxml", b"MThd\0\0\0\6", "a MIDI file"),
        ("a.xml", b"RIFF\0\0\0\0WAVE", "a recording"),
        ("a.xml", b"\x07own\0format\0" * 40, "a program's own file"),
        ("a.abc", b"\x07own\0format\0" * 40, "a program's own file"),
        ("a.doc", b"", "not a kind of file this course reads"),
    ],
)
def test_what_is_no_lead_sheet_is_told_what_to_export(tmp_path: Path, name: str, data: bytes, what: str) -> None:
    file = tmp_path / name
    file.write_bytes(data or b"x")
    with pytest.raises(HarmonyError, match="export it as MusicXML") as refused:
        read(file)
    assert f"is {what}" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_project_archive_without_a_score_says_what_to_export(tmp_path: Path) -> None:
    file = tmp_path / "a.mxl"
    file.write_bytes(zipped(project__dat=b"\0\1\2"))
    with pytest.raises(HarmonyError, match="holds no score: open it in the program that wrote it, export MusicXML"):
        read(file)
    with pytest.raises(HarmonyError, match="is a folder: name one file in it"):
        read(tmp_path)


def test_abc_in_utf_16() -> None:
    tune = read_bytes('X:1\nT:Été\nM:4/4\nL:1/4\nK:C\n"C"CDEF|\n'.encode("utf-16"), "abc", 1)
    assert (tune.title, len(tune.notes), tune.end) == ("Été", 4, Fraction(4))


def test_a_packed_file_is_read_without_unpacking_it_to_disk(tmp_path: Path) -> None:
    (tmp_path / "t.mxl").write_bytes(archive(BROKEN, {"../outside.xml": SONG}))
    assert read(tmp_path / "t.mxl").title == "Song"
    assert [path.name for path in tmp_path.iterdir()] == ["t.mxl"]
    assert not (tmp_path.parent / "outside.xml").exists()
