"""Hostile input: what comes in stays text on its way out, and what is too much is refused in one line, in time."""

from __future__ import annotations

import csv
import io
import itertools
import json
import multiprocessing
import os
import re
import resource
import socket
import sys
import time
import unicodedata
import zipfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import mido
import pypdf
import pytest
import typst
from lxml import etree

from harmonylib.__main__ import main
from harmonylib.classroom.marking import mark
from harmonylib.classroom.marks import marks_csv, summary
from harmonylib.classroom.notebook import learner
from harmonylib.classroom.paper import key_pdf, sheet_pdf
from harmonylib.classroom.repertoire import survey
from harmonylib.classroom.sheets import read_spec, sheet
from harmonylib.errors import HarmonyError
from harmonylib.files import safe_cell, safe_stem
from harmonylib.score.writing import write_files
from harmonylib.theory.chords import Chord
from harmonylib.tunes.reading import read, read_text
from harmonylib.tunes.tune import Tune
from harmonylib.wording import plain
from tests.hostile import TEXTS, carrying, in_abc, live, marked, score, shown, surveyed

ALL = [pytest.param(name, marks=[pytest.mark.slow] if len(text) > 9999 else []) for name, text in TEXTS.items()]
SHORT = {name: text for name, text in TEXTS.items() if len(text) < 1000}
UNPRINTED = ("full width",)
"""Signs that the printer's fonts lack."""
PASSWD = Path("/etc/passwd")


def odd_letters(text: str) -> set[str]:
    """Letters that steer a terminal, a reader's eye or an XML parser instead of being read."""
    steering = set("\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufffe\uffff")
    return {c for c in text if c in steering or (unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") and c != "\n")}


def squeezed(text: str) -> str:
    """Text without what a page sets anew: spaces, line breaks, hyphens, and signs without a width."""
    return "".join(c for c in text if unicodedata.category(c)[0] not in "ZCM" and c != "-")


def pdf_text(pdf: bytes) -> str:
    """All that is written in a PDF, which must hold nothing that acts."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    for number in range(1, reader.trailer["/Size"]):
        found = str(reader.get_object(pypdf.generic.IndirectObject(number, 0, reader)))
        assert not re.search(r"'/(JavaScript|JS|Launch|URI|EmbeddedFile|OpenAction|AA|GoToR|SubmitForm)'", found)
    text = "".join(page.extract_text() for page in reader.pages)
    if PASSWD.exists():
        assert PASSWD.read_text().splitlines()[0] not in text
    return text


# --- what a notebook shows ----------------------------------------------------------------------------------------


@pytest.mark.few(2)
@pytest.mark.parametrize("name", ALL)
def test_nothing_a_notebook_shows_can_act_or_fetch(name: str) -> None:
    for place, html in shown(TEXTS[name]).items():
        assert live(html) == [], place
        assert not odd_letters(html.replace("\t", "")), place
        if html.startswith("<svg"):
            etree.fromstring(html.encode(), etree.XMLParser(resolve_entities=False))
        html.encode()


@pytest.mark.parametrize("html", ["<p onclick=x>", "<script>", "<a href='javascript:x'>", "<img src='http://a.test'>"])
def test_what_can_act_is_seen(html: str) -> None:
    assert live(f"<p>{html}</p>")


@pytest.mark.slow
def test_texts_reach_the_page_whole() -> None:
    title = TEXTS["script"]
    root = etree.fromstring(shown(title)["engraving"].encode())
    assert title in root.findtext("{*}title")
    assert any(title in "".join(words.itertext()) for words in root.iter("{*}text")), "the mark over the bar"


def test_what_acts_in_a_pdf_is_seen() -> None:
    with pytest.raises(AssertionError):
        pdf_text(typst.compile(b'#link("http://a.test")[x]', format="pdf"))


# --- files --------------------------------------------------------------------------------------------------------


@pytest.mark.few(3)
@pytest.mark.parametrize("name", ALL)
def test_files_hold_texts_as_text(name: str, tmp_path: Path) -> None:
    text = TEXTS[name][:5000]  # longer ones make a page that takes the printer many seconds
    arrangement = carrying(text)
    paths = {path.suffix: path for path in write_files(arrangement, tmp_path / "out", text)}
    assert all(path.parent == tmp_path / "out" and path.is_file() for path in paths.values())
    assert os.listdir(tmp_path) == ["out"]
    root = etree.parse(paths[".musicxml"], etree.XMLParser(resolve_entities=False, load_dtd=False)).getroot()
    assert root.findtext(".//work-title") == root.findtext(".//creator") == plain(text)
    assert {words.text for words in root.iter("words")} >= {plain(text) or None}
    assert not odd_letters("".join(root.itertext()))
    track = mido.MidiFile(file=io.BytesIO(paths[".mid"].read_bytes()), charset="utf-8").tracks[0]
    assert next(message.name for message in track if message.type == "track_name") == plain(text)
    printed = squeezed(pdf_text(paths[".pdf"].read_bytes()))
    assert squeezed(plain(text)) in printed or name in UNPRINTED
    no_formulas(paths[".csv"].read_bytes().decode("utf-8-sig"))


@pytest.mark.parametrize("name", TEXTS)
def test_a_file_name_made_of_a_text_stays_in_its_folder(name: str) -> None:
    stem = safe_stem(TEXTS[name])
    assert stem == Path(stem).name == os.path.basename(stem)
    assert stem not in ("", ".", "..")
    assert len(f"{stem}_learner.ipynb".encode()) <= 255
    assert all(c.isalnum() or c in "-_" for c in stem)
    assert not stem.startswith("-"), "a command would take it for an option"
    assert safe_stem(stem) == stem


def no_formulas(table: str) -> None:
    """Nothing in a table is a formula, whichever sign a spreadsheet splits it at."""
    for row in csv.reader(io.StringIO(table, newline="")):
        for cell in row:
            for part in re.split("[;\t]", cell):
                assert not re.match(r"[\s\"\u200b-\u200f\ufeff]*[=+\-@＝＋－＠]", part), cell
            assert not cell.startswith(("\t", "\r", "\n"))


@pytest.mark.parametrize("name", TEXTS)
def test_no_cell_of_a_table_is_a_formula(name: str) -> None:
    text = TEXTS[name]
    no_formulas(surveyed(text).csv)
    no_formulas(marks_csv(marked(text)))
    assert safe_cell(text).replace("'", "") == text.replace("'", ""), "nothing is lost"


@pytest.mark.few(6)
@pytest.mark.parametrize("name", SHORT)
def test_sheet_key_and_notebook_hold_texts_as_text(name: str) -> None:
    made = marked(SHORT[name]).sheet
    for pdf in (sheet_pdf(made), key_pdf(made)):
        assert squeezed(made.title) in squeezed(pdf_text(pdf)) or name in UNPRINTED
    notebook = json.loads(learner(made))
    for cell in notebook["cells"]:
        if cell["cell_type"] == "markdown":
            assert not re.search(r"<(?!/?(?:strong|em)>)", "".join(cell["source"]))
    start = next(cell for cell in notebook["cells"] if cell["id"] == "tasks")
    code = compile("".join(start["source"]), "start", "exec")
    assert set(code.co_names) <= {"harmonylib", "exercise", "hand_in", "task_01"}, "nothing else is called"


# --- doors --------------------------------------------------------------------------------------------------------


def heard(tune: Tune) -> Tune:
    """The tune, whose texts are plain."""
    for text in (tune.title, tune.composer, *tune.remarks, *(word for bar in tune.bars for word in bar.marks)):
        assert text.strip() == plain(text)
        assert len(text) <= 400
    return tune


@pytest.mark.parametrize("name", TEXTS)
def test_an_abc_file_brings_in_only_plain_texts(name: str) -> None:
    text = TEXTS[name]
    line = " ".join(text.split())
    tune = heard(read_text(in_abc(text)))
    letters, whole = (re.findall("[a-zA-Z]", part) for part in (tune.title, line.partition("%")[0][:200] or "Untitled"))
    assert letters == whole[: len(letters)]
    assert len(letters) >= 0.9 * len(whole)
    line = line[:20_000]  # a longer one has too many letters that are notes
    quoted = line.replace('"', "'")
    head = f'X:1\nT:x\nN:{line}\nr:{line}\nM:4/4\nL:1/4\nQ:"{quoted}" 1/4=90\nK:C\n'
    heard(read_text(f'{head}"C"E2 "{quoted}"G !{line}!D|\nw:{line}\n'))


@pytest.mark.parametrize("name", TEXTS)
def test_a_musicxml_file_brings_in_only_plain_texts(name: str) -> None:
    tune = heard(read_text(score(TEXTS[name]), "musicxml"))
    assert [str(change.chord) for change in tune.changes] == ["Cmaj7"]
    assert any("cannot be read" in remark or "is not the root" in remark for remark in tune.remarks)


@pytest.mark.parametrize("name", TEXTS)
def test_a_chord_symbol_is_refused_in_short(name: str) -> None:
    for symbol in (TEXTS[name], f"C{TEXTS[name]}", f"C7/{TEXTS[name]}", f"Cmaj7({TEXTS[name]})"):
        with pytest.raises(HarmonyError) as refused:
            Chord.parse(symbol)
        assert len(str(refused.value)) < 400
        assert str(refused.value).isprintable()


# --- too much -----------------------------------------------------------------------------------------------------

ABC = 'X:1\nT:x\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"C"'
NOTE = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration></note>"
OPENING = (
    "<attributes><divisions>1</divisions></attributes>"
    "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"
)
_LAUGHS = "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in itertools.pairwise("abcdefghijkl"))
LAUGHS = f'<!DOCTYPE s [<!ENTITY a "ha">{_LAUGHS}]>'
OUTSIDE = '<!DOCTYPE s [<!ENTITY m SYSTEM "file:///etc/passwd">]>'


def xml(music: str, doctype: str = "") -> str:
    """A score of one part whose first bar opens with a chord symbol."""
    body = f'<measure number="1">{OPENING}{music}</measure>'
    return f'{doctype}<score-partwise><part-list/><part id="P1">{body}</part></score-partwise>'


def zipped(members: dict[str, str | bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return packed.getvalue()


def locked() -> bytes:
    """A zip whose only member says that it is encrypted."""
    data = bytearray(zipped({"a.xml": xml(NOTE)}))
    data[6] |= 1
    data[data.rfind(b"PK\x01\x02") + 8] |= 1
    return bytes(data)


def large_zip() -> bytes:
    """One member of 2 GB, packed to 9 MB."""
    packed, million = io.BytesIO(), b" " * 2**20
    archive = zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1)
    with archive, archive.open("a.xml", "w", force_zip64=True) as member:
        for _ in range(2000):
            member.write(million)
    return packed.getvalue()


SLOW_S = 5
FILES: dict[str, tuple[str, Callable[[], str | bytes], str, float]] = {
    # file, its content, what is said or how many notes are read, seconds at most
    "a thousand million laughs": ("a.xml", lambda: xml(f"<x>&l;</x>{NOTE}", LAUGHS), "entities", 2),
    "an entity in a file": ("a.xml", lambda: xml("<x>&m;</x>", OUTSIDE), "entities", 2),
    "elements in elements": ("a.xml", lambda: xml("<a>" * 10**5 + "</a>" * 10**5 + NOTE), "1", 3),
    "two million elements in each other": (
        "a.xml",
        lambda: xml("<a>" * 2_000_000 + "</a>" * 2_000_000),
        "no melody notes",
        8,
    ),
    "attributes": (
        "a.xml",
        lambda: xml(NOTE.replace("<note", "<note" + "".join(f" a{n}='1'" for n in range(10**5)))),
        "1",
        4,
    ),
    "a zip of 2 GB": ("a.mxl", large_zip, "more than 20 MB", 5),
    "a zip of 50,000 files": (
        "a.mxl",
        lambda: zipped({f"{n}.xml": "x" for n in range(50_000)}),
        "holds 50000 files",
        5,
    ),
    "a zip in a zip": ("a.mxl", lambda: zipped({"a.xml": zipped({"b.xml": xml(NOTE)})}), "not XML", 2),
    "a zip with ways out": (
        "a.mxl",
        lambda: zipped({"../../../../tmp/pwned.xml": xml(NOTE), "/pwned.xml": "x"}),
        "1",
        2,
    ),
    "a locked zip": ("a.mxl", locked, "damaged or locked", 2),
    "a million notes in ABC": ("a.abc", lambda: ABC + "C D E F|" * 250_000, "more than 20000 notes", 3),
    "20,000 notes in ABC": ("a.abc", lambda: ABC + "C D E F|" * 5000, "20000", 10),
    "20 million bars of rest": ("a.abc", lambda: ABC + "C4|" + "Z200|" * 100_000, "more than 20000 notes", 3),
    "a million notes in MusicXML": ("a.xml", lambda: xml(NOTE * 10**6), "20 MB", 3),
    "200,000 notes in MusicXML": ("a.xml", lambda: xml(NOTE * 200_000), "more than 20000 notes", 6),
    "20,000 notes in one bar": ("a.xml", lambda: xml(NOTE * 20_000), "20000", 10),
    "100 MB of spaces": ("a.abc", lambda: b" " * 10**8, "is empty", 3),
    "100 MB of notes": ("a.abc", lambda: b"C" * 10**8, "20 MB", 3),
    "a book of 100,000 tunes": ("a.abc", lambda: f"{ABC}CDEF|\n\n" * 10**5, "4", 6),
    "a chord symbol of 100 kB": ("a.abc", lambda: f'{ABC}C4|"{"C7(b9)" * 17_000}"D4|', "2", 3),
    "a title of 10 MB": ("a.abc", lambda: ABC.replace("T:x", f"T:{'<b> ' * 2_500_000}") + "C4|", "1", 5),
    "a note far too short": ("a.abc", lambda: f"{ABC}C/1000000000|", "no melody notes", 2),
    "a note far too long": ("a.abc", lambda: f"{ABC}C1000000000|", "out of range", 2),
    "notes of 1000 quarters": ("a.abc", lambda: f"{ABC}{'C1000 ' * 10_000}|", "longer than 50000 quarter notes", 5),
    "a length of 5000 digits": ("a.abc", lambda: f"{ABC}C/{'9' * 5000}|", "cannot be read", 2),
    "a metre of 5000 digits": ("a.abc", lambda: ABC.replace("4/4", f"4/{'9' * 5000}") + "C4|", "cannot be read", 2),
    "a length without end": (
        "a.xml",
        lambda: xml(NOTE.replace(">1<", ">1e308<")),
        "cannot be read|out of range|number|no melody notes",
        2,
    ),
}
EVERY_FILE = [
    pytest.param(name, marks=[pytest.mark.slow] if most >= SLOW_S else []) for name, (*_, most) in FILES.items()
]
TEMPOS = ("1e308", "nan", "inf", "-1", "1e-300", "9" * 5000)


def work_on(path: Path, answer: Any) -> None:
    """What the child does: read the file with 1 GB of memory at most, and tell what came of it and what work it was."""
    resource.setrlimit(resource.RLIMIT_AS, (2**30, 2**30))
    start = time.process_time()
    try:
        said = str(len(read_spec(path).exercises if path.suffix == ".toml" else read(path).notes))
    except HarmonyError as error:
        said = str(error)
    answer.send((said, time.process_time() - start))


def in_a_child(path: Path, most: float) -> str:
    """What came of reading a file in a fresh process, which has so many seconds of work and 1 GB."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["music21", "harmonylib.tunes.musicxml", "harmonylib.classroom.sheets"])
    ours, theirs = context.Pipe()
    process = context.Process(target=work_on, args=(path, theirs))
    process.start()
    theirs.close()
    try:
        assert ours.poll(10 * most + 20), "it takes too long"  # other work on this machine is not its fault
        said, took = ours.recv()
    finally:
        process.kill()
        process.join()
    assert took < most
    return str(said)


@pytest.mark.few(3)
@pytest.mark.skipif(sys.platform != "linux", reason="limits the memory of a process")
@pytest.mark.parametrize("name", EVERY_FILE)
def test_a_file_that_asks_too_much_is_refused_or_read_in_time(name: str, tmp_path: Path) -> None:
    file, content, expected, most = FILES[name]
    data = content()
    (tmp_path / file).write_bytes(data if isinstance(data, bytes) else data.encode())
    said = in_a_child(tmp_path / file, most)
    assert re.search(f"^{expected}$" if expected.isdigit() else expected, said)
    assert len(said) < 600
    assert said.count("\n") == 0
    assert [path.name for path in tmp_path.iterdir()] == [file]
    assert not Path("/tmp/pwned.xml").exists()


def test_nothing_a_file_names_is_fetched(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        url = f"http://127.0.0.1:{server.getsockname()[1]}/x"
        linked = f'<!DOCTYPE score-partwise PUBLIC "x" "{url}">'
        tune = read_text(
            xml(f'{NOTE}<xi:include href="{url}" xmlns:xi="http://www.w3.org/2001/XInclude"/>', linked), "musicxml"
        )
        assert len(tune.notes) == 1
        for entity in (f'<!ENTITY m SYSTEM "{url}">', f'<!ENTITY % m SYSTEM "{url}"> %m;'):
            with pytest.raises(HarmonyError, match="entities"):
                read_text(xml("<x>&m;</x>", f"<!DOCTYPE s [{entity}]>"), "musicxml")
        with pytest.raises(TimeoutError):
            server.accept()


@pytest.mark.parametrize("tempo", TEMPOS)
def test_a_tempo_nobody_plays_is_passed_over(tempo: str) -> None:
    assert read_text(ABC.replace("=90", f"={tempo}") + "C4|").tempo == 120
    assert read_text(xml(f'<direction><sound tempo="{tempo}"/></direction>{NOTE}'), "musicxml").tempo == 120
    printed = f"<beat-unit>quarter</beat-unit><per-minute>{tempo}</per-minute>"
    mark = f"<direction><direction-type><metronome>{printed}</metronome></direction-type></direction>"
    assert read_text(xml(mark + NOTE), "musicxml").tempo == 120


DEEP = 10**5
SETS = {
    # what                      the file                                                what is said
    "arrays in arrays": (f"tasks = {'[' * DEEP}{']' * DEEP}", "brackets in brackets"),
    "tables in tables": (f"tasks = {'{a=' * DEEP}1{'}' * DEEP}", "brackets in brackets"),
    "a name of many parts": (f'[[tasks]]\nkind = "spell"\nchord{".a" * 3000} = 1', "names of too many parts"),
    "a heading of many parts": (f"[tasks{'.a' * 3000}]\n", "no tasks"),
    "a thousand million exercises": ('[[tasks]]\nkind = "spell"\ncount = 1000000000', "from 1 to 200"),
    "a thousand groups": ('[[tasks]]\nkind = "spell"\ncount = 200\n' * 1000, "holds at most 200 exercises"),
    "20,000 exercises": ('[[tasks]]\nkind = "spell"\nchord = "C7"\n' * 20_000, "holds at most 200 exercises"),
    "a seed of 5000 digits": (f'seed = {"9" * 5000}\n[[tasks]]\nkind = "spell"\ncount = 1', "is not TOML|seed"),
    "a tempo without end": ('[[tasks]]\nkind = "harmonise_bar"\ntempo = inf', "tempo"),
    "a tempo that is none": ('[[tasks]]\nkind = "harmonise_bar"\ntempo = nan', "tempo"),
    "a reach without end": ('[[tasks]]\nkind = "spell"\nchord = "C7"\nreach_mm = inf', "reach"),
    "a tune too large": (f'[[tasks]]\nkind = "find_gaps"\ntune = """{"x" * 2_000_000}"""', "larger than 2 MB"),
}


@pytest.mark.few(2)
@pytest.mark.skipif(sys.platform != "linux", reason="limits the memory of a process")
@pytest.mark.parametrize("name", SETS)
def test_a_set_that_asks_too_much_is_refused_in_time(name: str, tmp_path: Path) -> None:
    content, expected = SETS[name]
    (tmp_path / "set.toml").write_text(content)
    said = in_a_child(tmp_path / "set.toml", 5)
    assert re.search(expected, said)
    assert len(said) < 600
    assert said.count("\n") == 0


# --- commands -----------------------------------------------------------------------------------------------------


def hostile_folder(folder: Path, suffix: str, content: str) -> int:
    """Files with the texts for names, as far as the file system takes them; how many there are and are not hidden."""
    for text in TEXTS.values():
        name = text.replace("\x00", "").replace("/", "\u2215")
        if "\ud800" in name:
            name = os.fsdecode(b"half\xff\xfe\x80")
        while len(os.fsencode(name)) > 200:
            name = name[: len(name) * 3 // 4]
        (folder / f"{name}{suffix}").write_text(content)
    return sum(not name.startswith(".") for name in os.listdir(folder))


def told_plainly(capsys: pytest.CaptureFixture[str]) -> str:
    told = capsys.readouterr()
    assert not odd_letters(told.out + told.err)
    assert told.err.count("\n") <= 1
    return told.out + told.err


@pytest.mark.slow
def test_a_folder_of_hostile_names_is_surveyed_and_told_plainly(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    inside, out = tmp_path / "in", tmp_path / "out"
    inside.mkdir()
    count = hostile_folder(inside, ".abc", in_abc("x"))
    (inside / "bad\x1b[31m\u202e.abc").write_text("\x1b[31m")
    with ThreadPoolExecutor(1) as executor:
        survey(inside, out, executor=executor)  # so that the command starts no processes
    assert main(["survey", str(inside), "--out", str(out)]) == 0
    said = told_plainly(capsys)
    assert "Not surveyed:\n  bad [31m.abc: " in said
    assert f"{count + 1} tunes, {count + 1} of them known from before, 1 not surveyed." in said
    no_formulas((out / "survey.csv").read_bytes().decode("utf-8-sig"))
    assert sorted(os.listdir(tmp_path)) == ["in", "out"]


def test_notebooks_of_hostile_names_are_marked_and_told_plainly(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    back, key = tmp_path / "back", tmp_path / "key\x1b[31m\u202e.toml"
    back.mkdir()
    key.write_text(f'title = {json.dumps(TEXTS["terminal"])}\n[[tasks]]\nkind = "spell"\nchord = "C7"\n')
    cells = [{"cell_type": "code", "source": f"answer_01 = {text!r}"} for text in (TEXTS["terminal"],)]
    count = hostile_folder(back, ".ipynb", json.dumps({"cells": cells}))
    assert main(["mark", str(back), "--key", str(key), "--out", str(tmp_path / "out")]) == 0
    said = told_plainly(capsys)
    assert said.count("0/1  not yet: 1\n") == count
    table = (tmp_path / "out" / "marks.csv").read_bytes().decode("utf-8-sig")
    no_formulas(table)
    assert table.count("\r\n") == 1 + 2 * count, "a row an answer and one with the total, for each learner"
    made = sheet("x", [{"kind": "spell", "chord": "C7"}])
    assert not odd_letters(summary(mark(back, made)))


def test_every_command_tells_hostile_words_plainly(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    odd = "\x1b[31m\u202e\n\x9b\u2066\r=x"
    tune, out = tmp_path / f"{odd}.abc", tmp_path / odd
    tune.write_text('X:1\nT:\x1b[31mred\u202e\nM:4/4\nL:1/4\nK:C\n"C7"E2 "Hx\x1b[31m\u202e"G2|"C\x1b7"E4|\n')
    assert main(["arrange", str(tune), "--out", str(out)]) == 0
    assert "Written: " in told_plainly(capsys)
    written = [path.name for path in out.iterdir()]
    assert len(written) == 4
    assert not odd_letters("".join(written))
    for arguments in (
        ["arrange", odd],
        ["arrange", str(tune), "--tuning", odd],
        ["arrange", str(tune), "--key", odd],
        ["arrange", str(tune), "--tempo", odd],
        ["arrange", str(tune), f"--{odd}"],
        ["arrange", str(tune), "--out", str(tune)],
        ["survey", odd],
        ["worksheet", odd],
        *([command, "n" * 300] for command in ("arrange", "survey", "worksheet", "mark")),
        ["mark", odd],
        [odd],
    ):
        try:
            code = main([*arguments, *(["--out", str(out)] if len(arguments) == 2 else [])])
        except SystemExit as ended:
            code = ended.code
        assert code == 2
        assert told_plainly(capsys).startswith("harmonylib: ")


@pytest.mark.slow
def test_a_set_of_exercises_refuses_hostile_words_plainly(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec = tmp_path / "set.toml"
    for name, text in TEXTS.items():
        word = json.dumps(text.encode("utf-8", "replace").decode()).replace("\x7f", "\\u007f")
        for content in (
            f"{word} = 1",
            f"[[tasks]]\nkind = {word}",
            f'[[tasks]]\nkind = "spell"\nchord = {word}',
            f'[[tasks]]\nkind = "find_gaps"\ntune = {word}',
            f'[[tasks]]\nkind = "spell"\n{word} = {word}',
            f'paper = {word}\n[[tasks]]\nkind = "spell"',
            f"title = {word}",
            text.encode("utf-8", "replace").decode(),
        ):
            spec.write_text(content)
            assert main(["worksheet", str(spec), "--out", str(tmp_path / "out")]) == 2, (name, content[:80])
            said = told_plainly(capsys)
            assert said.startswith("harmonylib: ")
            assert len(said) < 1500, (name, said[:300])
    assert not (tmp_path / "out").exists()
