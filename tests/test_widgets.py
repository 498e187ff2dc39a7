"""The widgets without a browser: what they would send, what they show without a kernel, and that they free all."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import comm
import pytest
from ipywidgets.widgets import widget as ipywidgets_widget

from harmonylib.answering.stages import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.checking import check
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import Mark, grip_marks, neck_picture
from harmonylib.theory.voicings import voice
from harmonylib.tunes.reading import read_text
from harmonylib.tunes.tune import Tune
from widgets import AnswerPanel, ArrangementPanel, DiminishedPanel, InversionPanel, MelodyPanel, NeckView, SpreadPanel
from widgets.beside import NECK_POINTS
from widgets.neck import mark_key, stamp
from widgets.panel import close_all
from widgets.played import played

ABC = 'X:1\nT:Example\nM:4/4\nL:1/4\nK:C\n"Cmaj7"E2 G2 | "Dm7"F2 A2 | "G7"B2 G2 | "Cmaj7"E4 |]'
TUNE: Tune = read_text(ABC)
PANELS: dict[str, Callable[..., Any]] = {
    "spread": SpreadPanel,
    "inversion": InversionPanel,
    "melody": MelodyPanel,
    "diminished": DiminishedPanel,
    "arrangement": lambda **how: ArrangementPanel(TUNE, **how),
    "answer": lambda **how: AnswerPanel(TUNE, share=1.0, **how),
}
every_panel = pytest.mark.parametrize("name", PANELS)


def alive() -> tuple[int, int]:
    """Widget models and open comms."""
    return len(ipywidgets_widget._instances), len(comm.get_comm_manager().comms)


def control(panel: Any, label: str) -> Any:
    """The control with this label, as a learner finds it."""
    todo = list(panel.children)
    while todo:
        found = todo.pop()
        if getattr(found, "description", None) == label:
            return found
        todo += getattr(found, "children", ())
    raise AssertionError(f"no control {label!r}")


def bundle(view: Any) -> dict[str, Any]:
    shown = view._repr_mimebundle_()
    return shown[0] if isinstance(shown, tuple) else shown


# --- the neck -----------------------------------------------------------------------------------------------------


@pytest.mark.few(3)
@pytest.mark.parametrize("theme", ["paper", "paper grey 14", "projector light", "projector dark"])
@pytest.mark.parametrize(
    "how", [{}, {"left_handed": True}, {"frets": (3, 9)}, {"frets": (10, 15), "left_handed": True}]
)
@pytest.mark.parametrize("tuning", ["standard", "seven strings"])
def test_a_stamp_laid_where_the_page_says_is_the_mark_of_the_picture(
    theme: str, how: dict[str, Any], tuning: str
) -> None:
    neck, options = Neck(tuning=tuning), {"frets": None, "left_handed": False, "theme": theme} | how
    low, high = options["frets"] or (1, 15)
    page = (view := NeckView(neck, **options)).page
    for mark in (Mark(2, high, "♭7", "seventh", True), Mark(6, low, "1", "root"), Mark(1, 0, "x"), Mark(3, None)):
        drawn = stamp(neck, mark._replace(string=4, fret=mark.fret and low), **options)
        there = stamp(neck, mark, **options)
        assert mark_key(mark._replace(string=4)) == mark_key(mark)
        assert (there["x"], there["y"]) == pytest.approx((page["x"][mark.fret or 0], page["y"][mark.string - 1]))
        moved = (there["x"] - drawn["x"], there["y"] - drawn["y"])
        assert places(there["svg"]) == pytest.approx(
            [value + moved[n % 2] for n, value in enumerate(places(drawn["svg"]))], abs=2e-3
        )
        assert stripped(there["svg"]) == stripped(drawn["svg"])
    view.close()


PLACE = (
    r'x="([-\d.]+)" y="([-\d.]+)"|translate\(([-\d.]+) ([-\d.]+)\) scale'
    r'|<path d="M ([-\d.]+) ([-\d.]+)\s+L ([-\d.]+) ([-\d.]+)\s+" style'  # a mark that is longer than it is high
)


def places(svg: str) -> list[float]:
    """Where the parts of a mark stand: x and y in turn."""
    return [float(number) for found in re.findall(PLACE, svg) for number in found if number]


def stripped(svg: str) -> str:
    return re.sub(PLACE, "", svg)


def test_the_page_is_the_picture_without_marks_and_holds_every_place() -> None:
    view = NeckView(Neck(), frets=(2, 7))
    assert view.page["svg"] == neck_picture(Neck(), (), frets=(2, 7)).svg
    assert sorted(view.page["x"]) == [0, 2, 3, 4, 5, 6, 7]
    assert len(view.page["wires"]) == 7
    assert view.page["y"] == sorted(view.page["y"])
    view.close()


def test_every_mark_of_every_frame_has_its_stamp() -> None:
    neck = Neck()
    steps = neck.cycle(voice("Cm7b5", "drop 2", "Gb4"), (5, 4, 3, 2))
    view = NeckView(neck, [grip_marks(neck, grip, voicing) for voicing, grip in steps])
    wanted = {mark_key(Mark(*mark)) for frame in view.frames for mark in frame}
    assert wanted <= set(view.stamps)
    assert all("<path" in stamp["svg"] for stamp in view.stamps.values())
    view.close()


def test_beside_music_the_words_of_a_frame_stand_apart_from_its_reading() -> None:
    marks = [grip_marks(Neck(), grip, label="note") for grip in ("x3545x", "x7958x")]
    view = NeckView(Neck(), marks, words=["why"], beside=286)
    assert (view.beside, view.words) == (286, ["why", ""])
    assert view.texts[0].startswith("why; string 5 fret 3 = C")
    assert view.texts[1].startswith("string 5 fret 7 = E")
    assert view.page["tall"] == neck_picture(Neck(), ()).height
    view.close()


def test_the_marks_of_one_frame_need_no_list_around_them() -> None:
    marks = grip_marks(Neck(), "x3545x", label="note")
    one, many = NeckView(Neck(), marks), NeckView(Neck(), [marks])
    assert one.frames == many.frames
    assert str(one) == neck_picture(Neck(), marks).text
    one.close()
    many.close()


def test_a_mark_off_the_part_shown_is_refused_and_the_last_picture_kept() -> None:
    view = NeckView(Neck(), [[(5, 3, "C", "root")]], frets=(1, 5))
    before = view.text
    with pytest.raises(HarmonyError, match="fret 9 lies outside"):
        view.show([[(5, 9, "F♯", "root")]])
    assert view.text == before == "string 5 fret 3 = C"
    with pytest.raises(HarmonyError, match="'sepia' is not a theme"):
        NeckView(Neck(), theme="sepia")
    with pytest.raises(HarmonyError, match="no frames"):
        view.show([])
    view.close()


def test_the_still_picture_follows_the_frame() -> None:
    view = NeckView(Neck(), [[(5, 3, "C", "root")], [(5, 5, "D", "root")]], titles=["one", "two"])
    first = bundle(view)
    view.frame = 1
    second = bundle(view)
    assert first["text/plain"] == "one: string 5 fret 3 = C"
    assert second["text/plain"] == "two: string 5 fret 5 = D"
    assert second["image/svg+xml"] == neck_picture(Neck(), [(5, 5, "D", "root")], title="two").svg
    assert first["image/svg+xml"] != second["image/svg+xml"]
    assert "application/vnd.jupyter.widget-view+json" in second
    view.frame = 99
    assert view.text == second["text/plain"]
    view.close()


# --- every panel --------------------------------------------------------------------------------------------------


@pytest.mark.few(3)
@every_panel
def test_a_panel_shows_itself_without_a_kernel_and_twice_the_same(name: str) -> None:
    one, two = PANELS[name](), PANELS[name]()
    shown, again = bundle(one), bundle(two)
    assert shown["text/plain"] == again["text/plain"] == repr(one)
    assert shown["image/svg+xml"] == again["image/svg+xml"]
    assert "application/vnd.jupyter.widget-view+json" in shown
    assert "\n" not in shown["text/plain"]
    assert "0x" not in shown["text/plain"].split(";")[0].split(":")[0]
    assert shown["image/svg+xml"].lstrip().startswith("<svg")
    one.close()
    two.close()


@every_panel
def test_fifty_rounds_of_build_and_close_leave_nothing(name: str) -> None:
    before = alive()
    for _ in range(50):
        panel = PANELS[name]()
        assert alive() > before
        panel.close()
    assert alive() == before


@pytest.mark.few(1)
@every_panel
def test_every_theme_and_hand_works(name: str) -> None:
    for theme in ("paper", "paper grey 14", "projector light", "projector dark"):
        panel = PANELS[name](theme=theme) if name == "answer" else PANELS[name](theme=theme, left_handed=True)
        assert not panel.help
        assert "<svg" in bundle(panel)["image/svg+xml"]
        panel.close()


@pytest.mark.few(2)
@pytest.mark.parametrize(
    ("name", "label", "value"),
    [
        ("spread", "family", "m7"),
        ("inversion", "step", 2),
        ("melody", "note", 3),
        ("diminished", "chord", "Fm7"),
        ("arrangement", "note", 3),
        ("answer", "seed", 7),
    ],
)
def test_state_outlives_the_panel_until_it_is_asked_for_something_else(name: str, label: str, value: Any) -> None:
    state: dict[str, Any] = {}
    panel = PANELS[name](state=state)
    control(panel, label).value = value
    panel.close()
    panel = PANELS[name](state=state)
    assert control(panel, label).value == value
    panel.close()
    panel = PANELS[name](state=state, theme="projector light")
    assert control(panel, label).value != value
    panel.close()


def test_a_state_that_fits_no_more_is_left_aside() -> None:
    state: dict[str, Any] = {}
    SpreadPanel(state=state).close()
    state["family"] = "polka"
    panel = SpreadPanel(state=state)
    assert control(panel, "family").value == "maj7"
    panel.close()


# --- each panel ---------------------------------------------------------------------------------------------------


def test_the_spread_panel_shows_the_grips_of_the_trade() -> None:
    """Root-position grips as they are commonly played (common practice, from memory)."""
    panel = SpreadPanel("C7")
    assert panel.text.startswith("C7 x3535x: drop 2 on strings 5432, root position: C3 G3 B♭3 E4")
    control(panel, "family").value = "dim7"
    assert panel.text.startswith("Cdim7 x3424x")
    control(panel, "root").value = "G"
    control(panel, "family").value = "maj7"
    control(panel, "spread").value = "drop 3"
    assert panel.text.startswith("Gmaj7 3x443x: drop 3 on strings 6432, root position")
    control(panel, "marks").value = "finger"
    assert "string 6 fret 3 = 1" in panel.text
    panel.close()


def test_what_no_hand_holds_is_said_and_the_last_picture_kept() -> None:
    panel = SpreadPanel("Cmaj7", "close")
    before = panel.text
    control(panel, "strings").value = (6, 5, 4, 3)
    assert "no hand holds Cmaj7 as close on strings 6543" in panel.help
    assert panel.text == before
    control(panel, "strings").value = (5, 4, 3, 2)
    assert not panel.help
    panel.close()


@pytest.mark.parametrize("panel_class", [MelodyPanel, DiminishedPanel])
def test_a_symbol_that_is_none_is_explained_and_escaped(panel_class: Callable[..., Any]) -> None:
    panel = panel_class("C6")
    before = panel.text
    control(panel, "chord").value = "<b>H7"
    assert "&lt;b&gt;H7" in panel.help
    assert 'role="alert"' in panel.help
    assert panel.text == before
    control(panel, "chord").value = "Cm7"
    assert not panel.help
    assert panel.text != before
    panel.close()


WRONG = [
    (SpreadPanel, {"spread": "drop 9"}),
    (SpreadPanel, {"strings": "9876"}),
    (InversionPanel, {"theme": "sepia"}),
    (InversionPanel, {"label": "colour"}),
    (MelodyPanel, {"note": "H4"}),
    (MelodyPanel, {"spread": "drop 9"}),
    (DiminishedPanel, {"theme": "sepia"}),
    (PANELS["arrangement"], {"theme": "sepia"}),
    (PANELS["arrangement"], {"density": "thick"}),
    (PANELS["answer"], {"theme": "sepia"}),
    (PANELS["answer"], {"contour": "wavy"}),
]


@pytest.mark.parametrize(("panel", "wrong"), WRONG)
def test_a_panel_asked_for_what_is_not_there_says_so_and_leaves_nothing(
    panel: Callable[..., Any], wrong: dict[str, str]
) -> None:
    before = alive()
    with pytest.raises(HarmonyError, match=re.escape(*wrong.values())):
        panel(**wrong)
    assert alive() == before


@pytest.mark.parametrize("name", ["spread", "inversion", "melody", "diminished"])
def test_a_panel_given_a_symbol_that_is_none_explains_it_and_goes_on(name: str) -> None:
    panel = PANELS[name](chord="Cmaj7x")
    assert "did you mean Cmaj7?" in panel.help
    assert panel.text == "no marks"
    changed = control(panel, "chord" if name in ("melody", "diminished") else "family")
    changed.value = "Dm7" if name in ("melody", "diminished") else "m7"
    assert not panel.help
    assert panel.text != "no marks"
    panel.close()


def test_the_inversion_panel_goes_up_the_neck_and_every_step_is_there_at_once() -> None:
    panel = InversionPanel("Cmaj7")
    view, slider = panel.children[-1], control(panel, "step")
    assert slider.max == len(view.frames) - 1 == 3
    assert [title.split()[1] for title in view.titles] == ["x3545x", "x7958x", "x-10-10-9-12-x", "x-14-14-12-13-x"]
    control(panel, "root").value = "F"
    lowest = [min(mark[1] for mark in frame if mark[1] is not None) for frame in view.frames]
    assert lowest == sorted(lowest)
    panel.close()


@pytest.mark.parametrize(("symbol", "root"), [("E#7", "E♯"), ("Cbmaj7", "C♭"), ("B#m7", "B♯"), ("Bbb6", "B♭♭")])
def test_a_root_that_no_menu_lists_is_in_the_menu_of_its_panel(symbol: str, root: str) -> None:
    panel = InversionPanel(symbol)
    assert control(panel, "root").value == root
    assert panel.text.startswith(root)
    panel.close()


def test_a_note_that_this_neck_does_not_have_is_told() -> None:
    neck = Neck(tuning="E2 A2 D3 G3 B3 C5", frets=3)
    panel = MelodyPanel("Fm7", "drop 3", "F#4", neck=neck)
    assert "this neck does not have it" in panel.text
    assert panel.children[-1].frames[panel.children[-1].frame] == []
    panel.close()


def test_the_melody_panel_tells_degree_from_foreign_and_follows_a_click() -> None:
    panel = MelodyPanel("C6", note="E4")
    view, note = panel.children[-1], control(panel, "note")
    assert panel.text.startswith("E4 over C6, 8x797x".split(",")[0])
    assert "E is the third of C6" in panel.text
    view.frame = note.value + 1
    assert "F is foreign to C6: the leading-tone diminished seventh Bdim7" in panel.text
    assert [mark[3] for mark in view.frames[view.frame] if mark[4]] == ["foreign"]
    view.cursor = [1, 3]
    view.clicks += 1
    assert view.titles[note.value].startswith("G4 over C6")
    panel.close()


def test_the_diminished_panel_holds_each_foreign_note_once_and_shows_where_it_falls() -> None:
    panel = DiminishedPanel("C6")
    titles = panel.children[-1].titles
    foreign = [title.split()[0] for title in titles if " over " in title]
    assert foreign == ["F4", "G♭4", "A♭4", "B♭4", "B4", "D♭5", "D5", "E♭5"]
    assert titles[titles.index(next(t for t in titles if t.startswith("D5"))) + 1].startswith("C6")
    panel.close()


def test_a_pin_re_forms_the_chain_and_undo_takes_it_back() -> None:
    panel = ArrangementPanel(TUNE)
    first, score = panel.arrangement, panel.children[-2].svg
    control(panel, "note").value = 2
    grips = control(panel, "grips")
    grips.value = 1
    wanted = grips.options[1][0].split(" ·")[0]
    control(panel, "pin").click()
    assert str(panel.arrangement.choices[2].grip) == wanted
    assert panel.arrangement == first.with_pin(2, wanted)
    assert check(panel.arrangement) == []
    assert panel.children[-2].svg != score
    assert "1 pin, no bans" in panel.text
    control(panel, "undo").click()
    assert panel.arrangement == first
    control(panel, "undo").click()
    assert "nothing to take back" in panel.help
    panel.close()


@pytest.mark.parametrize("act", ["pin", "ban"])
def test_where_no_grips_are_to_choose_the_desk_says_so_and_keeps_none(act: str) -> None:
    panel = ArrangementPanel(TUNE)
    control(panel, "stage").value = "melody"
    control(panel, act).click()
    assert "choose the stage “chords”" in panel.help
    assert "no pins, no bans" in panel.text
    control(panel, "stage").value = "chords"
    control(panel, act).click()
    assert "1 " + act in panel.text
    panel.close()


def test_a_ban_takes_a_grip_away_and_the_last_one_cannot_be_banned() -> None:
    panel = ArrangementPanel(TUNE)
    control(panel, "note").value = 1
    banned = str(panel.arrangement.choices[1].grip)
    control(panel, "ban").click()
    assert str(panel.arrangement.choices[1].grip) != banned
    for _ in range(20):
        control(panel, "ban").click()
        if panel.help:
            break
    assert "leave no grip" in panel.help
    assert panel.arrangement.choices[1].grip is not None
    panel.close()


def test_pins_outlive_the_panel() -> None:
    state: dict[str, Any] = {}
    panel = ArrangementPanel(TUNE, state=state)
    control(panel, "grips").value = 1
    control(panel, "pin").click()
    pinned = panel.arrangement
    panel.close()
    panel = ArrangementPanel(TUNE, state=state)
    assert panel.arrangement == pinned
    control(panel, "undo").click()
    assert panel.arrangement == arrange(TUNE)
    panel.close()


def test_the_note_in_hand_is_among_the_bars_shown() -> None:
    panel = ArrangementPanel(TUNE, bars=(1, 2))
    control(panel, "note").value = 5
    low, high = control(panel, "bars").value
    assert (low, high) == (3, 4)
    assert panel.text.startswith("bars 3 to 4")
    panel.close()


def test_the_answer_panel_answers_as_fills_does() -> None:
    panel = AnswerPanel(TUNE, share=1.0)
    several = {tuple(panel.arrangement.answers)}
    for seed in range(1, 6):
        control(panel, "seed").value = seed
        several.add(tuple(panel.arrangement.answers))
    assert len(several) > 1
    control(panel, "share").value = 0
    assert panel.arrangement.answers == ()
    panel.close()


# --- the shape of the package -------------------------------------------------------------------------------------


def test_importing_the_widgets_draws_nothing_and_reads_no_score() -> None:
    script = "import sys, widgets; print([m for m in ('matplotlib', 'music21', 'verovio') if m in sys.modules])"
    root = Path(__file__).parents[1]
    done = subprocess.run([sys.executable, "-c", script], cwd=root, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_browser_code_asks_for_nothing_from_outside() -> None:
    for path in (Path(__file__).parents[1] / "widgets").glob("*.*s*"):
        if path.suffix in (".js", ".css"):
            text = path.read_text(encoding="utf-8")
            assert not re.findall(r"\bimport\b|https?://(?!www\.w3\.org/)|fetch\(|url\(", text), path.name


# --- on the wall --------------------------------------------------------------------------------------------------


def test_on_the_wall_the_desk_shows_one_line_of_music_beside_a_part_of_the_neck() -> None:
    wall, paper = (PANELS["arrangement"](theme=theme) for theme in ("projector light", "paper"))
    (row,) = wall.children
    assert [wall._score in side.children for side in row.children] == [True, False]
    assert [wall._neck_view in side.children for side in row.children] == [False, True]
    assert (wall._score.line_by_line, paper._score.line_by_line) == (True, False)
    assert (wall._neck_view.beside, paper._neck_view.beside) == (NECK_POINTS, 0)
    assert 'viewBox="0 0 760 ' in wall._score.svg
    assert 'viewBox="0 0 2100 ' in paper._score.svg
    assert " on strings " not in wall._neck_view.words[0]
    assert " on strings " in paper._neck_view.words[0]
    wall.close()
    paper.close()


def test_what_is_played_follows_on_the_neck_event_by_event() -> None:
    music = respond(arrange(read_text('T:Two\nM:4/4\nL:1/4\nK:C\n"Cmaj7"E4 | "Dm7"F2 z2 |]')), share=1.0)
    box = played(music, 1, 2)
    player, neck = box.children
    grips = [made.grip for made in (*music.choices, *music.answers)]
    assert len(neck.frames) == len(player.score["events"]) == len(grips)
    for row, marks in zip(player.score["events"], neck.frames, strict=True):
        made = (music.answers if row["id"][0] == "a" else music.choices)[int(row["id"][1:])]
        fretted = {(6 - place, fret) for place, fret in enumerate(made.grip.frets) if fret is not None}
        assert {(mark[0], mark[1]) for mark in marks if mark[1] is not None} == fretted
    assert player.within == [1, 2]
    close_all(box)
