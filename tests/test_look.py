"""The look a class has chosen, once: pictures, panels, scores and paper all have it, and no words meet."""

import io
from collections.abc import Callable
from pathlib import Path

import pypdfium2
import pytest
from PIL import Image, ImageChops

from harmonylib.answering.stages import arrange
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.shapes import shapes
from harmonylib.pictures.grips import grip_row
from harmonylib.pictures.look import look
from harmonylib.pictures.neck import NeckFrame, grip_marks, neck_frame, neck_picture
from harmonylib.pictures.picture import Picture
from harmonylib.pictures.theme import OKABE_ITO, default_theme, named_theme
from harmonylib.score.engraving import engrave
from harmonylib.score.pdf import pdf
from harmonylib.settings import CLASS_FILE
from harmonylib.theory.voicings import voice
from harmonylib.tunes.reading import read_text
from tests.printed import drawn, outside, overlaps
from widgets.neck import NeckView
from widgets.panels import SpreadPanel

TUNE = read_text('T:Two\nM:4/4\nL:1/4\nK:C\n"Cmaj7"E4 | "Dm7"F2 z2 | "G7"D4 | "C6"E4 |]')
HELD = voice("Cmaj7", "drop 2", "E4")


@pytest.fixture
def chosen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    def write(text: str) -> None:
        (tmp_path / "class.toml").write_text(text)
        monkeypatch.setenv(CLASS_FILE, str(tmp_path / "class.toml"))

    return write


def test_pictures_and_panels_have_the_class_s_look(chosen: Callable[[str], None]) -> None:
    before = neck_picture(Neck(), grip_marks(Neck(), "x3545x", HELD)).svg
    chosen('[neck]\nleft_handed = true\n[pictures]\ncolour = false\nlabel = "note"\n[paper]\nsize = 14\n')
    assert default_theme() == "paper grey 14"
    assert named_theme(None).small == 14
    picture = neck_picture(Neck(), grip_marks(Neck(), "x3545x", HELD))
    assert picture.svg != before
    assert not any(colour.lower() in picture.svg for name, colour in OKABE_ITO.items() if name != "black")
    assert neck_frame(Neck()).x(1) > neck_frame(Neck()).x(5), "turned round"
    assert [mark.label for mark in grip_marks(Neck(), "x3545x", HELD) if mark.label] == ["C", "G", "B", "E"]
    panel, view = SpreadPanel("Cmaj7", state={}), NeckView()
    assert "string 5 fret 3 = C" in panel.text
    wires = view.page["wires"]
    assert wires[0] > wires[-1]
    assert "#0072b2" not in grip_row(Neck(), [(HELD, grip) for grip in Neck().grips(HELD)]).svg.lower()
    panel.close()
    view.close()


def test_rows_of_shapes_lie_or_stand_as_the_class_wants_it(chosen: Callable[[str], None]) -> None:
    """Without a word in the class's file they lie as the whole neck does, hand-outs stand; its word holds for both."""
    steps = [(HELD, grip) for grip in Neck().grips(HELD)[:2]]
    lying, upright = (grip_row(Neck(), steps, upright=way).svg for way in (False, True))
    shown = shapes("Cmaj7", Neck(), "root position", "drop 2")
    assert grip_row(Neck(), steps).svg == lying != upright
    before = shown.picture
    chosen("[pictures]\nupright = false\n")
    assert (grip_row(Neck(), steps).svg, look().upright) == (lying, False)
    chosen("[pictures]\nupright = true\n")
    assert (grip_row(Neck(), steps).svg, look().upright) == (upright, True)
    assert shown.picture.svg != before.svg
    assert shown.picture.text == before.text, "what is read out stays the same"
    assert grip_row(Neck(), steps, upright=False).svg == lying


@pytest.mark.parametrize("left_handed", [False, True])
def test_an_upright_board_has_the_nut_on_top_and_mirrors_for_the_left_hand(left_handed: bool) -> None:
    frame = NeckFrame(Neck(), (3, 6), 10, 5, 100, 12, 20, left_handed, upright=True)
    low, high = frame.spot(6, 3), frame.spot(1, 6)
    assert (low[0] < high[0]) is not left_handed
    assert low[1] > high[1]
    assert frame.spot(4, 0)[1] > frame.at(4, frame.along(2))[1] > frame.spot(4, 3)[1] > 5


def ink_at_the_edges(picture: Picture, edge: int = 2) -> bool:
    """Whether anything is drawn within so many pixels of the edge of a picture, at 100 %."""
    page = Image.open(io.BytesIO(picture.png(round(picture.width * 4 / 3)))).convert("L")
    inner = page.crop((edge, edge, page.width - edge, page.height - edge))
    empty = Image.new("L", page.size, page.getpixel((0, 0)))
    empty.paste(inner, (edge, edge))
    return ImageChops.difference(page, empty).getbbox() is not None


@pytest.mark.parametrize("neck", [Neck(), Neck(left_handed=True), Neck(tuning="seven strings", capo=2)])
@pytest.mark.parametrize("theme", ["paper", "paper grey 18", "projector dark"])
def test_nothing_of_an_upright_row_goes_over_its_edge(neck: Neck, theme: str) -> None:
    steps = neck.cycle(HELD, (5, 4, 3, 2))
    assert not ink_at_the_edges(grip_row(neck, steps, title="Cycle", upright=True, theme=theme))


def test_a_call_goes_before_the_class(chosen: Callable[[str], None]) -> None:
    chosen('[neck]\nleft_handed = true\n[pictures]\nlabel = "note"\n')
    assert grip_marks(Neck(), "x3545x", HELD, "degree")[1].label == "1"
    right = neck_frame(Neck(), left_handed=False)
    assert right.x(1) < right.x(5)


def test_a_score_is_large_and_grey_where_the_class_wants_it(chosen: Callable[[str], None]) -> None:
    made = arrange(TUNE, stage="answers")
    assert "#0072B2" in engrave(made)
    chosen('[pictures]\ncolour = false\n[paper]\nsize = 18\npaper = "us-letter"\n')
    assert "#0072B2" not in engrave(made)
    sheet = pdf(made, reasons=True)
    assert pypdfium2.PdfDocument(sheet)[0].get_size() == (612, 792)
    assert not overlaps(sheet)
    assert not outside(sheet, 14)
    for page in drawn(sheet, 0.5):
        red, green, blue = page.convert("RGB").split()
        assert red.tobytes() == green.tobytes() == blue.tobytes(), "no colour is left"


@pytest.mark.parametrize("text", ["[paper]\nsize = 10", '[pictures]\nlabel = "fret"', "[pictures]\nhue = 1"])
def test_what_cannot_be_had_changes_no_picture(chosen: Callable[[str], None], text: str) -> None:
    before = neck_picture(Neck(), grip_marks(Neck(), "x3545x", HELD)).svg
    chosen(text)
    assert neck_picture(Neck(), grip_marks(Neck(), "x3545x", HELD)).svg == before
