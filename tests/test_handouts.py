"""Hand-outs: the right grips in the right place, words large enough, nothing over the edge, settings once."""

import io
import re
import time
import unicodedata
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pypdf
import pypdfium2
import pytest

from harmonylib.__main__ import main
from harmonylib.answering.stages import arrange
from harmonylib.classroom.handouts.frames import TIGHT, WIDE, Frame, frame, window
from harmonylib.classroom.handouts.kinds import KINDS, handout
from harmonylib.classroom.handouts.setting import BLANK, ROOM, Handout, apart
from harmonylib.classroom.paper import key_pdf
from harmonylib.classroom.sheets import sheet
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.grips import grip_row
from harmonylib.pictures.look import SIZES, Look, look
from harmonylib.pictures.neck import grip_marks, neck_frame, neck_picture
from harmonylib.score import printing
from harmonylib.score.pdf import pdf
from harmonylib.settings import CLASS_FILE
from harmonylib.theory.families import PRACTICE_ORDER
from harmonylib.theory.voicings import voice
from harmonylib.tunes.reading import read, read_text
from tests.printed import filled, outside, overlaps

SHORT = read_text(
    'X:1\nT:Short\nM:4/4\nL:1/4\nK:C\n"Cmaj7"E2 G2 | "Dm7"F2 A2 | "G7"B2 D2 | "C6"E4 |\n'
    '"Am7"c2 A2 | "Dm7"A2 F2 | "G7"G2 F2 | "Cmaj7"E2 z2 |]'
)
LANTERN = read(Path("chapters/tunes/lantern_on_the_landing.abc"))
QUICK = read_text('T:Quick\nM:2/4\nL:1/4\nQ:1/4=240\nK:C\n"C6"E G | "Dm7"F A |]')
DROP = {"kind": "spell", "chord": "C7"}
ASKED = {"shapes": None, "cycle": "Ebmaj7", "scale": "Eb", "tune": SHORT, "fills": SHORT}


def written(sheet: bytes) -> list[tuple[str, float, float, float]]:
    """Every text of a PDF: what it says, its size in points, and where it starts."""
    found: list[tuple[str, float, float, float]] = []

    def seen(text: str, cm: list[float], tm: list[float], _font: object, size: float) -> None:
        if text.strip():
            scale = abs(cm[3] or cm[1]) * abs(tm[3] or tm[1])
            found.append((text.strip(), size * scale, cm[4] + cm[0] * tm[4], cm[5] + cm[3] * tm[5]))

    for page in pypdf.PdfReader(io.BytesIO(sheet)).pages:
        page.extract_text(visitor_text=seen)
    return found


def test_shapes_are_the_root_positions_of_the_trade() -> None:
    made = handout("shapes")
    feet = {part.head: [cell.foot for cell in part.cells] for part in made.sections}
    assert feet["Root on string 5, drop 2, strings 5432"] == ["x3545x", "x3535x", "x3534x", "x3434x", "x3424x"]
    on_g = handout("shapes", root="G").sections[1]
    assert [cell.foot for cell in on_g.cells] == ["3x443x", "3x343x", "3x333x", "3x332x", "3x232x"]
    last = handout("shapes", ["dim7"], root="E").sections[-1]
    assert last.cells[-1].foot == "xx2323", "E dim7 with its root on string 4"


def test_every_shape_has_its_root_lowest_and_a_square_under_it() -> None:
    for part in handout("shapes", root="Ab").sections:
        for cell in part.cells:
            lowest = cell.frame.marks[0]
            assert lowest["text"] == "1"
            assert lowest["square"]
            assert not any(mark["square"] for mark in cell.frame.marks[1:])


def test_a_cycle_rises_and_a_family_goes_through_twelve_roots_on_one_page() -> None:
    made = handout("cycle", "C7")
    drop2 = made.sections[0]
    assert [cell.foot for cell in drop2.cells] == [
        *("root position", "first inversion", "second inversion", "third inversion"),
    ]
    family = handout("cycle", "m7")
    heads = [cell.head for cell in family.sections[0].cells]
    assert heads == [f"{root}m7" for root in PRACTICE_ORDER for _ in range(4)]
    assert len(pypdf.PdfReader(io.BytesIO(family.pdf())).pages) == 1


@pytest.mark.few(3)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("size", [9, 14, 18])
def test_words_are_large_enough_and_stay_on_the_page(kind: str, size: int) -> None:
    made = handout(kind, ASKED[kind], size=size)
    sheet = made.pdf()
    wide, high = (float(x) for x in pypdf.PdfReader(io.BytesIO(sheet)).pages[0].mediabox[2:])
    texts = written(sheet)
    assert made.title.replace(" ", "") in "".join(text for text, *_ in texts).replace(" ", "")
    for text, points, x, y in texts:
        assert points >= size * 7 / 9 - 0.01, text
        assert points >= size - 0.01 or len(text) <= 3, text
        assert 14 < x < wide - 14, text
        assert 14 < y < high - 14, text
    assert not overlaps(sheet)
    assert not outside(sheet, 14)
    assert min(filled(sheet)) > 0.1, "no page is empty"
    for part in made.sections:
        for each in [cell.frame for cell in part.cells] + [drawn for line in part.lines for _, drawn in line.frames]:
            assert each.width <= ROOM["a4"]
            assert all(mark["wide"] / 2 <= mark["x"] <= each.width - mark["wide"] / 2 for mark in each.marks)
            assert all(right["x"] - left["x"] >= (left["wide"] + right["wide"]) / 2 for left, right in beside(each))


def beside(drawn: Frame) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Marks that stand beside each other at one height."""
    row = sorted(drawn.marks, key=lambda mark: (round(mark["y"], 3), mark["x"]))
    return ((one, two) for one, two in pairwise(row) if one["y"] == pytest.approx(two["y"]))


def test_a_scale_takes_turns_and_rises_by_step() -> None:
    made = handout("scale", "Eb")
    assert [part.head for part in made.sections][:2] == ["Drop 2, strings 5432", "Drop 3, strings 6432"]
    for part in made.sections:
        assert {cell.head for cell in part.cells[::2]} | {cell.head for cell in part.cells[1::2]} == {"E♭6", "Ddim7"}
        assert len({cell.head for cell in part.cells[::2]}) == 1
        assert sorted(cell.foot for cell in part.cells) == sorted("1 2 3 4 5 ♭6 6 7".split())
        order = "1 2 3 4 5 ♭6 6 7".split() * 2
        start = order.index(part.cells[0].foot)
        assert [cell.foot for cell in part.cells] == order[start : start + 8]
    minor = handout("scale", "Cm").sections[0]
    assert {cell.head for cell in minor.cells} == {"Cm6", "Bdim7"}


def test_fills_show_each_call_once_with_its_own_answers() -> None:
    made, arranged = handout("fills", LANTERN), arrange(LANTERN, stage="answers")
    (part,) = made.sections
    told = [int(n) for line in part.lines for n in line.head.split(":")[0].split(" ", 1)[1].split(", ")]
    calls = sorted({answer.call for answer in arranged.answers})
    assert sorted(told) == [LANTERN.bar_at(arranged.choices[call].note.onset).number for call in calls]
    by_bar = {LANTERN.bar_at(arranged.choices[call].note.onset).number: call for call in calls}
    for line in part.lines:
        call = by_bar[int(line.head.split(":")[0].split(" ", 1)[1].split(", ")[0])]
        held = [arranged.choices[call].grip, *(a.grip for a in arranged.answers if a.call == call)]
        assert [sum(fret is not None for fret in grip.frets) for grip in held if grip] == [
            len(drawn.marks) for _, drawn in line.frames
        ]
        assert [x for x, _ in line.frames] == sorted(x for x, _ in line.frames)
    grey = handout("fills", SHORT, colour=False)
    assert all("#0072B2" not in line.svg for line in grey.sections[0].lines)


OVER = read_text(
    'T:Over\nM:4/4\nL:1/8\nQ:1/4=72\nK:C\n"Cmaj7"egeg "Am7"c2 Be- | "Dm7"e z5 f2 | "Cmaj7"e4 "A7"e4 |'
    '"Dm7"f3 z f3 z | "G7"dBdB "Em7"g2 ge | "Cmaj7"z6 e2 |]'
)


@pytest.mark.parametrize("size", [9, 18])
def test_every_answer_is_on_paper_also_over_the_bar_line_and_each_bar_once(size: int) -> None:
    made = arrange(OVER, stage="answers")
    over = [a for a in made.answers if OVER.bar_at(a.onset) != OVER.bar_at(made.choices[a.call].note.onset)]
    same = [OVER.bar_at(made.choices[call].note.onset).number for call in {answer.call for answer in made.answers}]
    assert over
    assert len(set(same)) < len(same)
    sheet = handout("fills", OVER, size=size)
    (part,) = sheet.sections
    assert sum(len(line.frames) for line in part.lines) == len(made.answers) + len(same)
    told = [line.head for line in part.lines if line.head]
    assert len(told) == len(set(told)) == len(set(same))
    assert not outside(sheet.pdf(), 14)


def test_each_root_of_a_family_begins_a_row_or_half_of_one() -> None:
    for size in (9, 12):
        made = handout("cycle", "maj7", size=size)
        cells = made.sections[0].cells
        assert any(cell is BLANK for cell in cells), "not every inversion is within reach"
        assert [cells[place].head for place in range(0, 48, 4)] == [f"{root}maj7" for root in PRACTICE_ORDER]
        assert made.text == "Cycle of maj7: 44 diagrams in 1 part"


@pytest.mark.parametrize(("kind", "what", "size", "most"), [("shapes", None, 9, 1), ("tune", SHORT, 18, 2)])
def test_no_page_is_left_half_empty_for_a_few_points(kind: str, what: Any, size: int, most: int) -> None:
    made = handout(kind, what, size=size, **({"stages": "chords"} if what else {}))
    pages = pypdf.PdfReader(io.BytesIO(made.pdf())).pages
    assert len(pages) <= most


def test_long_chord_symbols_of_a_short_bar_do_not_touch_in_large_print() -> None:
    before = '"Fm7"F2 c2 | "Bbm7"d2 B2 | "Gm7b5"B G2 F | "C7(b9)"E2 z C'
    symbols = '"Fm(maj7)"=E F G A | "Dbmaj7"c2 A2 |1 "Gm7b5"B A "C7(b9)"G D | "Fm6"=D2 z C :|2 "Fm6"f4'
    tune = read_text(f"T:Long\nM:4/4\nL:1/4\nQ:1/4=96\nK:Fm\n|: {before} | {symbols} |]")
    for size in (14, 18):
        assert not overlaps(handout("tune", tune, size=size, stages="chords").pdf())


def test_hand_outs_on_e_and_on_e_flat_are_two_files(tmp_path: Path) -> None:
    files = [handout("scale", root).write(tmp_path, formats=["svg"]) for root in ("E", "Eb", "F", "F#", "Em7")]
    assert len(set(files)) == 5


def test_the_answers_of_a_tune_have_diagrams_too() -> None:
    (part,) = handout("tune", SHORT, stages="answers").sections
    made = arrange(SHORT, stage="answers")
    assert made.answers
    shown = [(mark["text"], mark["y"]) for line in part.lines for _, drawn in line.frames for mark in drawn.marks]
    for answer in made.answers:
        drawn = frame(made.settings.neck, answer.grip, answer.voicing, look(label="finger"), TIGHT)
        assert all((mark["text"], mark["y"]) in shown for mark in drawn.marks)
    assert sum(len(line.frames) for line in part.lines) >= len(made.answers) + 8, "a chord a bar, and the answers"


def test_a_diagram_stands_over_each_grip_of_a_short_tune() -> None:
    made = handout("tune", SHORT, stages="chords")
    (part,) = made.sections
    assert [len(line.frames) for line in part.lines] == [7, 7]
    assert all(mark["text"] in "01234" for line in part.lines for _, each in line.frames for mark in each.marks)
    assert len(pypdf.PdfReader(io.BytesIO(made.pdf())).pages) == 1


def test_a_tune_comes_in_its_stages() -> None:
    heads = [part.head for part in handout("tune", SHORT).sections]
    assert heads == ["Melody", "Roots", "Chords", "Answers"]
    melody = handout("tune", SHORT, stages="melody").sections[0]
    assert not any(line.frames for line in melody.lines), "a single note needs no diagram"


def test_diagrams_in_a_line_never_touch() -> None:
    one = frame(Neck(), Grip.parse("x3545x"), None, look(label="finger"), TIGHT)
    for middles in ([0.0, 1.0, 2.0], [500.0, 505.0, 509.0], [30.0 * n for n in range(7)]):
        lefts = [left for left, _ in apart([(x, one) for x in middles], ROOM["a4"])]
        assert lefts[0] >= 0
        assert lefts[-1] + one.width <= ROOM["a4"]
        assert all(b - a >= one.width - 1e-9 for a, b in zip(lefts, lefts[1:], strict=False))


def test_sixty_fills_are_on_paper_within_a_second() -> None:
    """Arranged, answered, engraved and printed; seconds of this process, the better of two."""
    roots = PRACTICE_ORDER * 2
    bars = [f'"{root}maj7"{"efgab"[n % 5]}2 z2|"{root}6"{"cdefg"[n % 5]}4|' for n, root in enumerate(roots)]
    text = "T:Sixty\nM:4/4\nL:1/4\nQ:1/4=80\nK:C\n" + "".join(bars).replace("♭", "b")
    taken = []
    for _ in range(2):
        start = time.process_time()
        made = handout("fills", read_text(text))
        assert made.pdf()
        taken.append(time.process_time() - start)
    assert int(made.text.split(": ")[2].split()[0]) >= 60
    assert min(taken) <= 1


@pytest.mark.parametrize("upright", [True, False])
@pytest.mark.parametrize("left_handed", [True, False])
@pytest.mark.parametrize("spacing", [WIDE, TIGHT])
@pytest.mark.parametrize("size", SIZES)
def test_a_diagram_keeps_inside_its_frame_and_its_number_close(
    upright: bool, left_handed: bool, spacing: float, size: int
) -> None:
    """Rings on the outer strings too; the number of the fret is near the board, and clear of a mark."""
    neck, big = Neck(left_handed=left_handed), Look(size=size, upright=upright)
    for text in ("8x998x", "xx5554", "x-x-10-11-11-11"):
        made = frame(neck, Grip.parse(text), None, big, spacing)
        for mark in made.marks:
            half = mark["wide"] / 2 + 1.5 * mark["ring"]  # half a mark and its ring
            assert half <= min(mark["x"], mark["y"], made.width - mark["x"], made.height - mark["y"])
        ((x, y, _),) = [word for word in made.words if word[2] != "×"]
        assert min(abs(x - mark["x"]) + abs(y - mark["y"]) for mark in made.marks) > mark["d"] / 2 + 0.4 * size
        lines = [line[0 if upright else 1] for line in made.lines]
        assert min(abs(line - (x if upright else y)) for line in lines) <= (1.25 if text[0] == "8" else 0.75) * size


@pytest.mark.parametrize("upright", [True, False])
def test_left_handed_mirrors_every_mark(upright: bool) -> None:
    held = voice("Cmaj7", "drop 2", "E4")
    right, left = (
        frame(Neck(left_handed=hand), Grip.parse("x3545x"), held, Look(upright=upright)) for hand in (False, True)
    )
    assert right.width == left.width
    for one, other in zip(right.marks, left.marks, strict=True):
        assert one["x"] + other["x"] == pytest.approx(right.width)
        assert (one["y"], one["text"]) == (other["y"], other["text"])


def test_black_and_white_keeps_root_and_melody_apart() -> None:
    marks = frame(Neck(), Grip.parse("x3545x"), voice("Cmaj7", "drop 2", "E4"), Look(colour=False)).marks
    assert [mark["fill"] for mark in marks] == ["#000000", "#FFFFFF", "#FFFFFF", "#FFFFFF"]
    assert [mark["ring"] for mark in marks] == [False, False, False, True]
    svg = handout("shapes", colour=False).svg
    greys = {colour for colour in re.findall(r"#[0-9a-f]{6}", svg) if len(set(re.findall("..", colour[1:]))) > 1}
    assert not greys, "no colour is left"


def test_a_window_holds_its_grip() -> None:
    for text in ("x3545x", "xx0212", "8x998x", "x-10-10-9-12-x", "000000"):
        low, high = window(Grip.parse(text))
        assert all(low <= fret <= high for fret in Grip.parse(text).fretted)


def test_the_class_file_sets_the_look_and_a_call_goes_before_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "class.toml").write_text(
        '[neck]\nleft_handed = true\n[pictures]\nlabel = "note"\ncolour = false\n'
        '[paper]\nsize = 14\npaper = "us-letter"\n'
    )
    monkeypatch.setenv(CLASS_FILE, str(tmp_path / "class.toml"))
    here, right = handout("shapes"), handout("shapes", size=9, left_handed=False)
    assert here.look == Look("us-letter", 14, "note", True, False)
    assert right.look == Look("us-letter", 9, "note", True, False)
    first, other = here.sections[0].cells[0].frame, right.sections[0].cells[0].frame
    assert first.marks[0]["x"] > first.marks[-1]["x"], "the root on the right, for a left-handed player"
    assert other.marks[0]["x"] < other.marks[-1]["x"]
    (tmp_path / "class.toml").write_text("[paper]\ncolor = 14\nsize = 18\n")
    assert handout("shapes").look == Look(size=18)


@pytest.mark.parametrize(
    ("kind", "options", "message"),
    [
        ("poster", {}, "'poster' is not a kind of hand-out"),
        ("shapes", {"size": 10}, "size 10 is not to be had here"),
        ("shapes", {"colour": 1}, "colour 1 is not to be had"),
        ("shapes", {"families": ["m9"]}, "'m9' is not a family"),
        ("shapes", {"root": "Cm"}, "'Cm' is not a root"),
        ("shapes", {"spread": "drop 2"}, "'spread' is not an option"),
        ("cycle", {"spread": "drop 9"}, "'drop 9' is not a spread"),
        ("tune", {}, "needs the tune or its file"),
        ("fills", {"what": QUICK}, "no gap long enough"),
        ("scale", {"what": "H"}, "'H'"),
        ("scale", {"spread": "drop 2"}, "'spread' is not an option"),
        ("tune", {"what": SHORT, "stages": ["bass"]}, "'bass' is not a stage"),
    ],
)
def test_what_cannot_be_had_is_told(kind: str, options: dict[str, Any], message: str) -> None:
    options = dict(options)
    what = options.pop("what", "m7" if kind == "cycle" else None)
    with pytest.raises(HarmonyError, match=message):
        handout(kind, what, **options)


def test_the_command_writes_all_three_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["handout", "shapes", "maj7", "m7b5", "--root", "Bb", "--out", str(tmp_path), "--grey", "--lying"]) == 0
    assert {path.suffix for path in tmp_path.iterdir()} == {".pdf", ".svg", ".png"}
    assert "Shapes on B♭: 10 diagrams in 5 parts" in capsys.readouterr().out
    assert main(["handout", "cycle", "C7", "--root", "D", "--out", str(tmp_path)]) == 2
    assert "--root does not go with" in capsys.readouterr().err


def test_the_command_takes_a_tune_of_a_book_its_bars_its_tempo_and_its_key(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    quick = 'X:1\nT:Quick\nM:4/4\nL:1/4\nQ:1/4=240\nK:C\n"C6"E2 G2 | "Dm7"F2 A2 |]\n'
    (tmp_path / "book.abc").write_text(quick + 'X:2\nT:Other\nM:4/4\nL:1/4\nK:C\n"C6"E2 G2 | "Dm7"F4 | "G7"D4 |]\n')
    book, out = str(tmp_path / "book.abc"), ["--out", str(tmp_path / "out"), "--formats", "pdf"]
    assert main(["handout", "fills", book, *out]) == 2
    assert "try it slower" in capsys.readouterr().err
    assert main(["handout", "fills", book, "--tempo", "60", *out]) == 0
    asked = ["--number", "2", "--bars", "2-3", "--key", "Eb", "--stages", "chords"]
    assert main(["handout", "tune", book, *asked, *out]) == 0
    assert "Other: 2 diagrams in 1 part" in capsys.readouterr().out
    assert "Fm7" in lettered((tmp_path / "out" / "Other.pdf").read_bytes())
    for wrong, said in (
        (["tune", book, "--number", "0"], "0 is not the number of a tune"),
        (["tune", book, "--bars", "2-1"], "bars 2 to 1: give the lower number first"),
        (["scale", "Eb", "--tempo", "90"], "--tempo does not go with a hand-out of 'scale'"),
    ):
        assert main(["handout", *wrong, *out]) == 2
        assert said in capsys.readouterr().err


def test_it_shows_itself_in_a_notebook_the_same_every_time() -> None:
    once, again = handout("cycle", "Cm7"), handout("cycle", "Cm7")
    assert once.pdf() == again.pdf()
    bundle = once._repr_mimebundle_()
    assert bundle["image/svg+xml"].startswith("<svg")
    assert bundle["text/plain"] == repr(again)


def test_a_printed_tune_of_eight_bars_takes_one_page_and_reasons_only_when_asked() -> None:
    arrangement = arrange(SHORT)
    plain, told = (pypdf.PdfReader(io.BytesIO(pdf(arrangement, reasons=asked))) for asked in (False, True))
    said = ["".join(page.extract_text() for page in reader.pages) for reader in (plain, told)]
    assert len(plain.pages) == 1
    assert "Why these grips" not in said[0]
    assert "Why these grips" in said[1]
    assert said[1].count("drop 2 on strings") >= 5


def test_a_left_handed_neck_turns_every_picture_round() -> None:
    left, right = Neck(left_handed=True), Neck()
    held = voice("Cmaj7", "drop 2", "E4")
    steps = right.cycle(held, (5, 4, 3, 2))
    marks = grip_marks(right, "x3545x", held)
    assert neck_picture(left, marks).svg == neck_picture(right, marks, left_handed=True).svg
    assert neck_picture(left, marks).svg != neck_picture(right, marks).svg
    for upright in (False, True):
        turned = grip_row(left, steps, upright=upright).svg
        assert turned == grip_row(right, steps, left_handed=True, upright=upright).svg
        assert turned != grip_row(right, steps, upright=upright).svg
    assert neck_frame(left).x(1) > neck_frame(left).x(5)


@pytest.mark.few(3)
@pytest.mark.parametrize("title", ["灯台のうた", "שיר", "港的灯", "Ο φάρος", "등대"])
def test_a_title_in_other_letters_prints_or_is_told(title: str, monkeypatch: pytest.MonkeyPatch) -> None:
    tune = replace(SHORT, title=title)
    for made in (Handout(title, Look(), ()).pdf(), pdf(arrange(tune, stage="melody")), key_pdf(sheet(title, [DROP]))):
        assert title in lettered(made) or title[::-1] in lettered(made)  # some readers turn Hebrew round
        assert "No font here prints" not in lettered(made)
    monkeypatch.setattr(printing, "find_spec", lambda _: None)
    told = lettered(Handout(title, Look(), ()).pdf())
    assert ("No font here prints" in told) is bool(re.search("[\u3040-\u9fff\uac00-\ud7af]", title))


def lettered(sheet: bytes) -> str:
    """The letters of the first page for which there is a sign in a font."""
    text = pypdfium2.PdfDocument(sheet)[0].get_textpage().get_text_range()
    return unicodedata.normalize("NFC", text)
