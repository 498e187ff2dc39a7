"""The projector without a browser: the contents, the cut into steps, the theme of pictures, the server, refusals."""

import json
import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from html import unescape
from pathlib import Path

import pytest

from harmonylib.__main__ import main
from harmonylib.arranging.arrange import arrange
from harmonylib.classroom.projector import TEMPLATES, contents
from harmonylib.classroom.projector.steps import AUDIO, FOLD, ROOM, SQUEEZE, cut, height
from harmonylib.classroom.shipped import course_folder
from harmonylib.errors import HarmonyError
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import neck_picture
from harmonylib.pictures.theme import THEME_VARIABLE, THEMES, _contrast
from harmonylib.score.engraving import LINE_MM, PROJECTOR_MM, engrave, page
from harmonylib.tunes.reading import read_text
from tests.browser.conftest import free_port

CHAPTERS = course_folder()
PATHS = sorted(CHAPTERS.glob("[0-9][0-9]_*.ipynb"))
TUNE = 'T:Two\nM:2/4\nL:1/4\nK:C\n"Cmaj7"E F|"C6"G2|'


def prose(text: str, *tags: str) -> dict:
    return {"cell_type": "markdown", "metadata": {"tags": list(tags)}, "source": text}


def code(*outputs: dict, tags: tuple[str, ...] = (), ran: bool = True) -> dict:
    cell = {"cell_type": "code", "metadata": {"tags": list(tags)}, "source": "x", "outputs": list(outputs)}
    return {**cell, "execution_count": 1 if ran else None}


def drawn(height: int) -> dict:
    return {"output_type": "execute_result", "data": {"image/svg+xml": f'<svg viewBox="0 0 1000 {height}"/>'}}


def said(lines: int) -> dict:
    return {"output_type": "stream", "text": "a line\n" * lines}


def steps(*cells: dict) -> list[int]:
    return [piece["metadata"]["projector"]["step"] for piece in cut(list(cells))]


# --- contents -----------------------------------------------------------------------------------------------------


def test_the_contents_are_the_chapters_by_their_first_heading() -> None:
    found = contents(CHAPTERS)
    assert [chapter.file for chapter in found] == [path.name for path in PATHS]
    assert found[0] == ("00_start_here.ipynb", "0 · Start here")
    for file, title in found:
        assert title.startswith(f"{int(file[:2])} · ")


def test_a_broken_or_nameless_chapter_is_listed_by_its_file(tmp_path: Path) -> None:
    (tmp_path / "01_half_saved.ipynb").write_text('{"cells": [')
    (tmp_path / "02_no_heading.ipynb").write_text(json.dumps({"cells": [prose("Hello.")]}))
    (tmp_path / "notes.ipynb").write_text("{}")
    assert [title for _, title in contents(tmp_path)] == ["01_half_saved", "02_no_heading"]


# --- the cut ------------------------------------------------------------------------------------------------------


def test_headings_and_prose_open_steps_and_take_in_what_they_lead_to() -> None:
    assert steps(prose("# One\n\nHello.\n\n## Two\n\nMore."), code(drawn(200)), prose("Next:"), code(said(9))) == [
        1, 2, 2, 3, 3,
    ]  # fmt: skip


def test_what_does_not_fit_with_the_rest_gets_a_step_of_its_own() -> None:
    assert steps(prose("Look:"), code(drawn(400)), code(drawn(400))) == [1, 1, 2]
    assert steps(prose("Look:"), code(drawn(150)), code(drawn(150))) == [1, 1, 1]
    assert steps(prose("Read:"), code(said(40)), code(said(2))) == [1, 1, 2]


def test_a_short_remark_stays_with_what_it_is_about() -> None:
    assert steps(code(said(2)), prose("Few."), prose("## Then")) == [1, 1, 2]
    assert steps(code(said(2)), prose("M" * 500), prose("## Then")) == [1, 1, 2]
    assert steps(code(drawn(400)), prose("M" * 500), prose("## Then")) == [1, 1, 2]
    assert steps(code(said(2)), prose("Now:"), code(said(2))) == [1, 1, 1]
    assert steps(code(said(9)), prose("Now:"), code(said(4))) == [1, 2, 2]


def test_prose_alone_waits_for_what_it_introduces() -> None:
    assert steps(prose("Wait."), prose("Here:"), code(drawn(350))) == [1, 1, 1]
    assert steps(prose("One.\n\n" + "M" * 78 * 9), prose("Here:"), code(drawn(400))) == [1, 1, 2, 2]
    assert steps(prose("# One\n\nWhy."), prose("## Two"), code(drawn(100))) == [1, 2, 2]
    assert steps(prose("## All\n\nWhy."), prose("### One"), code(drawn(100))) == [1, 1, 1]
    assert steps(prose("## One\n\nWhy.\n\nHere:"), code(drawn(400))) == [1, 1, 1]


def lines(*cells: dict) -> list[dict | None]:
    return [piece["metadata"]["projector"]["line"] for piece in cut(list(cells))]


def test_prose_that_does_not_fit_over_its_picture_is_folded_to_a_line() -> None:
    text = "## The test\n\nEach note is asked [its *degree*](x.ipynb). " + "It is long. " * 20 + "Here is one bar."
    folded, picture = lines(prose(text), code(drawn(400)))
    assert folded == {"head": "The test", "sentence": "Here is one bar."}
    assert picture is None
    assert lines(prose(text), code(drawn(200))) == [None, None]
    assert lines(prose("## " + "M" * 70 + "\n\n" + "Why. " * 40), code(drawn(400)))[0] == {
        "head": "",
        "sentence": "Why.",
    }
    assert lines(prose("## 2 · A bar\n\n" + "M" * 600), code(drawn(400)))[0] == {"head": "2 · A bar", "sentence": ""}
    assert [line for line in lines(code(drawn(400)), prose("First. " + "M " * 200)) if line] == [
        {"head": "", "sentence": "First."}
    ]


def test_a_sound_stands_beside_its_picture_under_a_line() -> None:
    sound = code({"output_type": "execute_result", "data": {"text/html": "<audio></audio>"}})
    cells = prose("Why. " + "M " * 60 + ". Here."), code(drawn(360)), sound
    assert lines(*cells[:2]) == [None, None]
    assert (steps(*cells), lines(*cells)[0]) == ([1, 1, 1], {"head": "", "sentence": "Here."})
    assert steps(cells[0], code(drawn(420)), sound) == [1, 1, 2]


def test_a_sound_stands_on_the_step_of_its_picture_whatever_lies_between() -> None:
    def named(source: str, **data: str) -> dict:
        return {**code({"output_type": "execute_result", "data": data}), "source": source}

    def shown(source: str, tall: int) -> dict:
        return named(source, **{"image/svg+xml": f'<svg viewBox="0 0 1000 {tall}"/>'})

    sound = named("grips.listen(tempo=60)", **{"text/html": "<audio></audio>"})
    assert steps(shown("grips = row()\ngrips", 350), shown("grips.paths()", 400), sound) == [1, 1, 2]
    assert cut([shown("grips", 350), shown("grips.paths()", 400), sound])[1]["source"] == sound["source"]
    assert steps(shown("grips", 900), sound) == [1, 1]  # under each part of what comes in parts
    assert steps(shown("grips", 430), shown("others", 440), sound) == [1, 2, 3]


def test_one_or_two_lines_fill_no_step() -> None:
    few, then = prose("A line or two."), prose("## All\n\nWhy.")
    assert steps(code(drawn(450)), few, then, code(drawn(300))) == [1, 2, 2, 2]
    beside_a_line = prose("Why. " + "M " * 200 + ". Here."), code(drawn(415)), few, then, code(drawn(430))
    assert steps(*beside_a_line) == [1, 1, 1, 2, 3]
    assert lines(*beside_a_line)[0] == {"head": "", "sentence": "A line or two."}
    assert steps(code(drawn(450)), prose("M" * 84 * 3), then, code(drawn(300))) == [1, 2, 3, 3]


def test_prose_is_shown_without_code() -> None:
    text = (
        'Slow: `tempo=20`, then `kinds=("drop", "mend")`; write `Bb`.\n\nFrom `python -m x` too.\n\nAs `page("x", y)`.'
    )
    assert [piece["source"] for piece in cut([prose(text)])] == ["Slow: tempo 20, then kinds drop, mend; write `Bb`."]


def test_prose_comes_apart_between_paragraphs_and_not_inside_lists_or_code() -> None:
    text = "## One\n\nWhy.\n\n- a\n\n- b\n\nThen:\n\n```\na\n\nb\n```"
    parts = ["## One\n\nWhy.\n\n- a\n\n- b", "Then:\n\n```\na\n\nb\n```"]
    assert [piece["source"] for piece in cut([prose(text)])] == parts


def test_cells_to_be_skipped_run_and_take_no_room() -> None:
    placed = cut(
        [prose("# One"), prose("Not for the wall.", "projector-skip"), code(drawn(900), tags=("projector-skip",))]
    )
    assert [(piece["source"], piece["metadata"]["projector"]["step"]) for piece in placed] == [("# One", 1), ("x", 1)]


def test_a_cell_that_never_ran_is_taken_for_a_picture_and_a_silent_one_for_nothing() -> None:
    assert steps(prose("Look:"), code(ran=False), code(ran=False)) == [1, 1, 2]
    assert steps(prose("Look:"), code(), code(), code(drawn(400))) == [1, 1, 1, 1]


def test_a_question_takes_the_room_of_its_words_and_its_drawing() -> None:
    asked = {"output_type": "execute_result", "data": {"text/html": "<p>" + "Which is it? " * 10 + "</p>"}}
    shown = {"output_type": "execute_result", "data": {"text/html": '<p>Which?</p><svg viewBox="0 0 1000 400"></svg>'}}
    assert height(code(asked)) == pytest.approx(2 * height(prose("Which?")), rel=0.2)
    assert height(code(shown)) == pytest.approx(height(prose("Which?")) + height(code(drawn(400))))


def test_room_is_left_for_the_controls_of_a_widget() -> None:
    picture, panel = code(drawn(400)), code(drawn(400)) | {"source": "NeckView(neck, marks)"}
    assert steps(prose("Look:"), picture) == [1, 1]
    assert steps(picture, picture | {"outputs": []}, code(said(1))) == [1, 1, 1]
    assert steps(panel, code(said(2))) == [1, 2]


def test_music_that_is_played_and_a_question_on_the_neck_have_steps_of_their_own() -> None:
    sound = code({"output_type": "execute_result", "data": {"text/html": "<audio></audio>"}})
    assert steps(code(drawn(400)), sound) == [1, 1]
    assert steps(code(drawn(400)), sound | {"source": "play(today)"}, code(said(9))) == [1, 2, 3]
    words = code({"output_type": "execute_result", "data": {"text/html": "<p>Which?</p>"}})
    spelt, played = (words | {"source": f'ask(today, "{kind}")'} for kind in ("spell", "shell"))
    assert height(spelt) < 200 < height(played)
    high = code(drawn(900)) | {"source": 'ask(today, "mend")'}
    assert height(high) == ROOM - FOLD  # it comes in parts, under the line of its prose
    assert lines(prose("### 3 · Mend\n\nFind it."), high)[0] == {"head": "3 · Mend", "sentence": "Find it."}


def test_a_hash_inside_a_code_block_is_no_heading() -> None:
    text = "Type this:\n\n```python\n# a remark\n```\n\n## Then"
    assert [piece["source"] for piece in cut([prose(text)])] == ["Type this:\n\n```python\n# a remark\n```", "## Then"]


@pytest.mark.parametrize("path", PATHS, ids=[path.stem for path in PATHS])
def test_a_chapter_is_cut_without_loss_into_steps_that_fit(path: Path) -> None:
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    placed = cut(cells)
    code_cells = [number for number, cell in enumerate(cells) if cell["cell_type"] == "code"]
    assert sorted(p["metadata"]["projector"]["number"] for p in placed if p["cell_type"] == "code") == code_cells
    told = [c for c in cells if c["cell_type"] == "markdown" and "projector-skip" not in c["metadata"].get("tags", [])]
    parts = ["".join(part.split()) for cell in told for part in "".join(cell["source"]).split("\n\n")]
    shown = "".join("".join(piece["source"].split()) for piece in placed if piece["cell_type"] == "markdown")
    places = [shown.find(part) for part in parts if "`" not in part]
    assert -1 not in places
    assert places == sorted(places)
    numbers = [piece["metadata"]["projector"]["step"] for piece in placed]
    assert numbers[0] == 1
    assert {there - here for here, there in zip(numbers, numbers[1:], strict=False)} <= {0, 1}
    assert len({piece["id"] for piece in placed}) == len(placed)
    for step in range(1, numbers[-1] + 1):
        parts = [piece for piece, number in zip(placed, numbers, strict=True) if number == step]
        lines = [FOLD for piece in parts if piece["metadata"]["projector"]["line"]]
        tall = [height(piece) for piece in parts if height(piece) and not piece["metadata"]["projector"]["folded"]]
        assert tall, f"step {step} shows nothing"
        sound = sum(high for high in tall if high == AUDIO)
        assert sum(lines + tall) <= ROOM * SQUEEZE or len(tall) == 1 or max(tall) + sound == sum(tall) > ROOM


# --- the theme of pictures ----------------------------------------------------------------------------------------


def test_pictures_take_their_theme_from_the_variable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(THEME_VARIABLE, raising=False)
    on_paper = neck_picture(Neck(), [])
    assert on_paper.svg == neck_picture(Neck(), [], theme="paper").svg
    monkeypatch.setenv(THEME_VARIABLE, "projector dark")
    on_the_wall = neck_picture(Neck(), [])
    assert on_the_wall.svg == neck_picture(Neck(), [], theme="projector dark").svg != on_paper.svg
    assert neck_picture(Neck(), [], theme="paper").svg == on_paper.svg
    monkeypatch.setenv(THEME_VARIABLE, "neon")
    with pytest.raises(HarmonyError, match="'neon' is not a theme"):
        neck_picture(Neck(), [])


def test_engravings_too(monkeypatch: pytest.MonkeyPatch) -> None:
    made = arrange(read_text(TUNE))
    monkeypatch.delenv(THEME_VARIABLE, raising=False)
    on_paper = engrave(made)
    assert on_paper == engrave(made, width=LINE_MM, projector=False)
    assert page(made).svg == on_paper
    projected = engrave(made, width=PROJECTOR_MM, projector=True)
    monkeypatch.setenv(THEME_VARIABLE, "projector light")
    assert page(made).svg == engrave(made) == projected != on_paper
    assert engrave(made, width=LINE_MM, projector=False) == on_paper
    with pytest.raises(HarmonyError, match="width 0 mm"):
        page(made, width=0)


# --- the page -----------------------------------------------------------------------------------------------------


def _colours(look: str) -> dict[str, str]:
    """The colours of the style sheet, the short ones in full."""
    sheet = (TEMPLATES / "voila/templates/projector/static/projector.css").read_text(encoding="utf-8")
    rule = sheet.split(':root[data-look="dark"] {' if look == "dark" else ":root {")[1].split("}")[0]
    found = dict(re.findall(r"--([\w-]+): #(\w+);", rule))
    return {name: "#" + (value if len(value) == 6 else "".join(2 * c for c in value)) for name, value in found.items()}


@pytest.mark.parametrize("look", ["light", "dark"])
def test_colours_are_those_of_the_pictures_and_stand_out(look: str) -> None:
    colours, theme = _colours(look), THEMES[f"projector {look}"]
    for name in ("paper", "ink", "soft", "line", "band"):
        assert colours[name].upper() == getattr(theme, name).upper()
    for ink, ground, least in (
        ("ink", "paper", 7), ("soft", "paper", 7), ("ink", "band", 7), ("call", "paper", 4.5), ("on-call", "call", 4.5),
        ("warn", "paper", 4.5), ("line", "paper", 3),
    ):  # fmt: skip
        assert _contrast(colours[ink], colours[ground]) >= least, (ink, ground)


def test_the_page_names_no_other_machine() -> None:
    files = [path for path in TEMPLATES.rglob("*") if path.is_file()]
    assert len(files) >= 6
    assert [path.name for path in files if re.search(r"https?:|//\w+\.\w|@import|url\(", path.read_text("utf-8"))] == []


# --- the command --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--dark"], "--dark goes with --projector"),
        (["--projector", "--port", "0"], "port 0: choose one from 1 to 65535"),
        (["--projector", "--port", "70000"], "port 70000: choose"),
    ],
)
def test_what_cannot_serve_gets_one_line(arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["course", *arguments]) == 2
    heard = capsys.readouterr()
    assert heard.out == ""
    assert heard.err.count("\n") == 1
    assert told in heard.err


def test_without_voila_it_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "voila.app", None)
    assert main(["course", "--projector", "--here"]) == 2
    assert "needs Voila, which is not installed here: python -m pip install" in capsys.readouterr().err


def _asked(url: str) -> str:
    with urllib.request.urlopen(url, timeout=60) as answer:
        return str(answer.read().decode())


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="sends the signal of Ctrl+C")
def test_it_serves_chapters_without_code_and_stops_on_control_c(tmp_path: Path) -> None:
    pytest.importorskip("voila")
    port, root = free_port(), CHAPTERS.parent
    environment = os.environ | {"PYTHONPATH": str(root), "TMPDIR": str(tmp_path)}
    arguments = ["course", "--projector", "--no-browser", "--port", str(port), "--folder", str(tmp_path / "mine")]
    command = [sys.executable, "-m", "harmonylib", *arguments]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment)
    try:
        assert server.stdout is not None
        assert "files of the course laid into" in server.stdout.readline()
        assert f"http://127.0.0.1:{port}/" in server.stdout.readline()
        for _ in range(100):
            try:
                listed = _asked(f"http://127.0.0.1:{port}/")
                break
            except OSError:
                time.sleep(0.1)
        assert re.findall(r'<a href="/voila/render/([^"]+)">([^<]+)</a>', unescape(listed)) == [*contents(CHAPTERS)]
        shown = _asked(f"http://127.0.0.1:{port}/voila/render/00_start_here.ipynb")
        cells = json.loads((CHAPTERS / "00_start_here.ipynb").read_text(encoding="utf-8"))["cells"]
        sources = ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code"]
        assert [line for source in sources for line in source.splitlines() if "(" in line and line in shown] == []
        count = cut(cells)[-1]["metadata"]["projector"]["step"]
        assert shown.count('<section class="step"') == count
        assert shown.count("\\u003csvg") >= sum("image/svg" in json.dumps(cell.get("outputs", "")) for cell in cells)
        assert main(arguments) == 2  # two at one door
        server.send_signal(signal.SIGINT)
        assert server.wait(20) == 0
        assert [path.name for path in tmp_path.iterdir() if path.name.startswith("voila_")] == []
        with pytest.raises(OSError, match="refused"):
            _asked(f"http://127.0.0.1:{port}/")
    finally:
        server.kill()
        server.wait()


def test_the_help_tells_of_the_projector(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["course", "--help"])
    told = capsys.readouterr().out
    for option in ("--projector", "--dark", "--port", "--no-browser"):
        assert option in told
