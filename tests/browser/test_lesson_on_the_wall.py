"""A lesson played through on the wall, by mouse and by keyboard: setting it, resolving, pinning, finding a step."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from harmonylib.classroom.projector import contents
from harmonylib.classroom.shipped import course_folder
from tests.browser.conftest import Watched, free_port, served, write_notebook

CHAPTER = contents(course_folder())[5].file
ALIVE = "async kernel => (await fetch(`/api/kernels/${kernel}`)).status"
SVG = "[...document.querySelectorAll('.step.now .cell svg')].map(svg => svg.outerHTML).join().length"


def live(page: Any) -> None:
    page.wait_for_selector(".chapter:not(.working) .set:not([disabled])", timeout=120_000)


def go(page: Any, step: int) -> None:
    page.evaluate(f"location.hash = '#step-{step}'")
    page.wait_for_function(f"document.querySelector('.position').textContent.startsWith('Step {step} of')")


def steps_with(page: Any, what: str) -> list[int]:
    found = f"[...document.querySelectorAll('.step')].map((step, n) => step.querySelector('{what}') ? n + 1 : 0)"
    return [number for number in page.evaluate(found) if number]


def tab_to(page: Any, control: Any) -> None:
    """Reach a control as a keyboard does."""
    for _ in range(60):
        if control.evaluate("one => one === document.activeElement"):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"the Tab key does not reach {control}")


def type_step(page: Any, step: int) -> None:
    for digit in str(step):
        page.keyboard.press(digit)
    page.keyboard.press("Enter")
    assert page.inner_text(".position").startswith(f"Step {step} of")


LIT = """() => { const seen = [...document.querySelectorAll('.step.now .block-player-now g.note[id^=n]')];
    return { ids: seen.map(note => note.id), text: document.querySelector('.step.now .neck-title').textContent,
        marks: document.querySelectorAll('.step.now .neck-marks > g').length,
        seen: seen.every(note => { const { left, top, bottom } = note.getBoundingClientRect();
            const box = note.closest('.block-player-paper').getBoundingClientRect();
            return left > box.left && top > box.top && bottom < box.bottom; }) }; }"""


def sounds_round(page: Any) -> None:
    """What plays lights each sounding chord in the music, shows its grip on the neck, and goes round again."""
    seen: list[str] = []
    for _ in range(400):
        lit = page.evaluate(LIT)
        if lit["ids"] and lit["ids"][0] not in seen[-1:]:
            assert lit["seen"], lit
            assert lit["text"].startswith("bar ")
            assert lit["marks"] >= 4
            seen.append(lit["ids"][0])
        if len(set(seen)) >= 8 and seen[-1] == seen[0]:
            break
        page.wait_for_timeout(30)
    assert seen[-1] == seen[0]
    assert len(set(seen)) >= 8


def set_and_followed(page: Any, act: Callable[[], object]) -> None:
    """Change something in the bar: the chapter runs again and stands at the step where it stood."""
    before = page.inner_text(".position")
    act()
    page.wait_for_selector(".chapter.working", state="attached", timeout=10_000)
    live(page)
    assert page.inner_text(".position").endswith(before.removeprefix("… "))


@pytest.fixture(scope="module")
def lesson(opened: Callable[..., Watched], course: str) -> Watched:
    return opened(f"{course}/voila/render/{CHAPTER}#step-2")


def test_what_was_stored_is_there_before_the_kernel_has_answered(lesson: Watched) -> None:
    page = lesson.page
    assert page.locator(".step.now svg").count()
    assert page.locator(".step.now .cell.stored").count()
    live(page)
    assert page.locator(".stored").count() == 0
    assert page.inner_text(".position").startswith("Step 2 of")


def test_by_mouse(lesson: Watched) -> None:
    page = lesson.page
    live(page)
    go(page, 2)
    bars, drawn = page.locator("[name=bars-1]"), page.evaluate(SVG)
    page.get_by_role("button", name="Set").click()
    assert page.evaluate("document.activeElement.name") == "tune-0"
    set_and_followed(page, lambda: page.select_option("[name=tune-0]", label="slate roof blues"))
    assert page.evaluate(SVG) != drawn
    set_and_followed(page, lambda: bars.fill("2") or bars.blur())
    set_and_followed(page, lambda: page.fill("[name=tempo-0]", "60") or page.locator("[name=tempo-0]").blur())
    assert page.locator(".block-player-slider output").first.text_content() == "♩ = 60"
    set_to = json.loads(page.evaluate("new URLSearchParams(location.search).get('lesson')"))
    assert set_to == {"tune": "tunes/slate_roof_blues.abc", "bars": [1, 2], "tempo": 60}

    for step in steps_with(page, ".answer-form")[:3]:
        go(page, step)
        page.locator(".step.now").get_by_role("button", name="show a solution").click()
        page.wait_for_function(
            "document.querySelector('.step.now .answer-told').textContent.startsWith('One solution')"
        )

    go(page, steps_with(page, ".score-view")[0])
    desk = page.locator(".step.now")
    grips = desk.locator("select[size], select[multiple]").first
    grips.select_option(index=1)
    desk.get_by_role("button", name="pin").click()
    page.wait_for_function("document.querySelector('.step.now .score-words').textContent.includes('1 pin')")

    go(page, steps_with(page, ".block-player")[0])
    set_and_followed(page, lambda: bars.fill("4") or bars.blur())
    player = page.locator(".step.now .block-player")
    for name in ("Loop", "Click"):
        player.get_by_label(name, exact=True).click()
    player.get_by_label("to bar").select_option("2")
    player.get_by_label("to bar").select_option("4")
    box = player.get_by_role("slider", name="Tempo").bounding_box()
    page.mouse.click(box["x"] + box["width"] - 4, box["y"] + box["height"] / 2)
    player.get_by_role("button", name="Play").click()
    sounds_round(page)
    player.get_by_role("button", name="Stop").click()

    page.get_by_role("button", name="Black").click()
    assert page.locator(".dark").is_visible()
    page.mouse.click(600, 300)
    assert page.locator(".dark").is_hidden()
    page.select_option(".goto", label=page.locator(".goto option").nth(4).inner_text())
    assert page.inner_text(".position").startswith("Step 5 of")

    set_and_followed(page, page.get_by_role("button", name="As written").click)
    page.get_by_role("button", name="Set").click()
    assert page.locator(".pull").is_hidden()
    assert "lesson" not in page.url
    assert lesson.errors == []
    assert lesson.outside == []


def test_by_keyboard(lesson: Watched) -> None:
    page = lesson.page
    live(page)
    press = page.keyboard.press
    press("Home")
    press("2")
    press("Enter")
    press("s")
    set_and_followed(page, lambda: press("ArrowDown"))
    assert page.input_value("[name=tune-0]") == "tunes/slate_roof_blues.abc"
    press("Escape")
    assert page.evaluate("document.activeElement.className") == "steps"
    assert page.inner_text(".position").startswith("Step 2 of")
    for step in steps_with(page, ".answer-form")[:3]:
        type_step(page, step)
        tab_to(page, page.locator(".step.now").get_by_role("button", name="show a solution"))
        press("Enter")
        page.wait_for_function(
            "document.querySelector('.step.now .answer-told').textContent.startsWith('One solution')"
        )
        press("Escape")
    type_step(page, steps_with(page, ".score-view")[0])
    desk = page.locator(".step.now")
    tab_to(page, desk.get_by_label("grips"))
    press("ArrowDown")
    tab_to(page, desk.get_by_role("button", name="pin"))
    press("Enter")
    page.wait_for_function("document.querySelector('.step.now .score-words').textContent.includes('1 pin')")
    press("Escape")

    type_step(page, steps_with(page, ".block-player")[0])
    player = page.locator(".step.now .block-player")
    for name in ("Loop", "Click"):
        tab_to(page, player.get_by_label(name, exact=True))
        if not player.get_by_label(name, exact=True).is_checked():
            press("Space")
    press("Escape")
    tab_to(page, player.get_by_role("slider", name="Tempo"))
    press("End")
    tab_to(page, player.get_by_role("button", name="Play"))
    press("Enter")
    sounds_round(page)
    press("Enter")
    assert page.inner_text(".told") == "Esc: arrows turn pages"
    press("Escape")

    press("b")
    assert page.locator(".dark").is_visible()
    press("PageDown")
    assert page.locator(".dark").is_hidden()
    press("s")
    assert page.locator(".pull").is_hidden()


ROOMS = """() => { const step = document.querySelector('.step.now'), wall = document.querySelector('.steps');
    const box = what => step.querySelector(what).getBoundingClientRect().toJSON();
    const line = step.querySelector('g.system:not(.music-aside)'), scale = one => one.getScreenCTM().a;
    return { over: wall.scrollHeight - wall.clientHeight, inner: wall.scrollWidth - wall.clientWidth,
        music: box('.score-music, .block-player-paper'), neck: box('.neck-board'), wall: wall.offsetWidth,
        bars: line.querySelectorAll('g.measure').length,
        frets: [...line.querySelectorAll('g.tabGrp tspan')].map(one => parseFloat(getComputedStyle(one).fontSize)
            * scale(one.ownerSVGElement)) }; }"""
# what is written on the neck and cut by the edge of its part, if it is in sight
HALVED = """() => { const neck = document.querySelector('.step.now .neck-board svg');
    const edge = neck.getBoundingClientRect();
    const boxes = [...neck.querySelectorAll('text')].map(one => one.getBoundingClientRect());
    const cut = boxes.filter(box => box.left < edge.right && box.right > edge.right + 1);
    return cut.filter(box => !document.elementFromPoint(edge.right - 2, box.top + box.height / 2).matches('path[fill]'))
        .map(box => box.toJSON()); }"""
# the middle of every note head and fret number in sight, with the melody note it belongs to: the nth column of its bar
PLACES = """() => [...document.querySelectorAll('.step.now g.system:not(.music-aside) g.measure')].flatMap(bar => {
    const alone = note => note.querySelector('.notehead') && !note.closest('g.chord');
    const chords = [...bar.querySelectorAll('g.chord, g.note')].filter(one => one.matches('g.chord') || alone(one));
    const frets = [...bar.querySelectorAll('g.tabGrp')];
    const middle = one => (({ x, y, width, height }) => [x + width / 2, y + height / 2])(one.getBoundingClientRect());
    const top = chord => [chord, ...chord.querySelectorAll('g.note')].map(one => one.id).find(id => /^n\\d+$/.test(id));
    return chords.flatMap((chord, n) => [...chord.querySelectorAll('.notehead'), ...frets[n].querySelectorAll('g.note')]
        .map(one => [...middle(one), top(chord)])); })"""


@pytest.mark.parametrize("size", [(1280, 720), (1024, 768), (1920, 1080)])
@pytest.mark.parametrize("what", [".score-view", ".block-player"])
def test_music_and_neck_stand_side_by_side_in_sight(what: str, size: tuple[int, int], lesson: Watched) -> None:
    page, unit = lesson.page, min(size[0] / 1280, size[1] / 720)
    live(page)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    go(page, steps_with(page, what)[0])
    page.wait_for_function("document.querySelector('.step.now .music-aside')")
    found = page.evaluate(ROOMS)
    assert found["over"] <= 8
    assert found["inner"] == 0
    assert found["bars"] == 2
    assert found["music"]["width"] >= 0.55 * found["wall"]
    assert found["music"]["right"] <= found["neck"]["left"]
    assert found["neck"]["bottom"] > found["music"]["top"]
    assert min(found["frets"]) >= 30 * unit
    assert page.evaluate(HALVED) == []
    page.set_viewport_size({"width": 1280, "height": 720})


def test_a_click_on_any_head_or_fret_number_takes_its_note_in_hand(lesson: Watched) -> None:
    page = lesson.page
    live(page)
    go(page, steps_with(page, ".score-view")[0])
    page.locator(".step.now .score-in-hand").first.wait_for()
    after = page.get_by_role("button", name="The bars after")
    clicked = set()
    for line in range(page.locator(".step.now g.system").count()):
        if line:
            after.click()
        places = page.evaluate(PLACES)
        assert len(places) > 10
        clicked |= {note for _, _, note in places}
        for x, y, note in places[::-1]:
            page.mouse.click(x, y)
            held = page.evaluate("[...document.querySelectorAll('.step.now .score-in-hand')].map(one => one.id)")
            assert held == [note], (x, y)
    named = "[...document.querySelectorAll('.step.now g.note')].map(one => one.id).filter(id => /^n\\d+$/.test(id))"
    assert clicked == set(page.evaluate(named))
    page.wait_for_timeout(500)
    assert lesson.errors == []


RING = """() => { const held = document.activeElement, border = held.dataset.border;
    const drawn = ({ outlineStyle, outlineWidth, outlineColor, boxShadow }) => boxShadow !== 'none'
        || (outlineStyle !== 'none' && parseFloat(outlineWidth) >= 1 && !outlineColor.endsWith(', 0)'));
    const ring = [held, held.closest('.where')].some(one => one && drawn(getComputedStyle(one)))
        || (border && getComputedStyle(held).borderColor !== border);
    const name = `${held.tagName} ${held.className?.baseVal ?? held.className} ${held.textContent.slice(0, 20)}`;
    return { ring: Boolean(ring), name, end: held === document.body || held.tagName === 'A' }; }"""
BORDERS = """() => document.querySelectorAll('.neck-board, .noUi-handle').forEach(one =>
    one.dataset.border = getComputedStyle(one).borderColor)"""


@pytest.mark.parametrize("look", ["light", "dark"])
def test_every_control_shows_that_it_has_the_focus(
    look: str, projected: Callable[..., str], opened: Callable[..., Watched], course: str
) -> None:
    page = opened(f"{course if look == 'light' else projected(['--dark'])}/voila/render/{CHAPTER}#step-2").page
    live(page)
    page.keyboard.press("s")
    for what in (".score-view", ".block-player", ".answer-faces:not([hidden])"):
        go(page, steps_with(page, what)[0])
        page.evaluate(BORDERS)
        page.keyboard.press("Escape")
        seen = []
        for _ in range(70):
            page.keyboard.press("Tab")
            found = page.evaluate(RING)
            if found["end"]:
                break
            seen.append(found["name"])
            assert found["ring"], found
        assert len(seen) > 5, what
    page.context.close()


@pytest.mark.parametrize(
    "given", ['{"tempo": "<img src=x onerror=alert(1)>"}', "{", "');alert(1)//", '{"tune": "../../etc/passwd"}']
)
def test_an_address_can_set_a_lesson_and_nothing_else(
    given: str, projected: Callable[..., str], opened: Callable[..., Watched], small: str
) -> None:
    watched = opened(f"{small}/voila/render/01_small.ipynb?lesson={quote(given)}")
    page = watched.page
    page.on("dialog", lambda _: watched.errors.append("a dialog"))
    live(page)
    assert page.inner_text(".pull .wrong").endswith(".")
    assert page.locator("img[src=x]").count() == 0
    assert watched.errors == []
    page.context.close()


def test_a_page_whose_kernel_or_server_has_ended_says_so_and_goes_on(
    opened: Callable[..., Watched], tmp_path: Path
) -> None:
    ends = (
        "from pathlib import Path\nif (end := Path('end')).exists():\n    end.unlink()\n    import os\n    os._exit(1)"
    )
    cells = ["from harmonylib import *", "today = lesson(5)\nprint(today.tempo)", ends, "print('over')"]
    write_notebook(tmp_path / "01_small.ipynb", cells)
    port = free_port()
    call = f"serve(Path({str(tmp_path)!r}), port={port}, browser=False)"
    code = f"from pathlib import Path\nfrom harmonylib.classroom.projector import serve\n{call}"
    running = [[sys.executable, "-c", code], tmp_path, f"http://127.0.0.1:{port}/"]
    server = served(*running)
    next(server)
    page = opened(f"http://127.0.0.1:{port}/voila/render/01_small.ipynb").page
    live(page)
    page.keyboard.press("s")
    first = page.locator("body").get_attribute("data-kernel")

    page.fill("[name=tempo-0]", "6")  # is being typed while the chapter runs for another field
    page.evaluate("document.querySelector('[name=reach_mm-0]').value = 90")
    page.evaluate("document.querySelector('[name=reach_mm-0]').dispatchEvent(new Event('change', { bubbles: true }))")
    page.wait_for_selector(".chapter.working", state="attached")
    live(page)
    page.keyboard.type("6")
    (tmp_path / "end").touch()
    page.keyboard.press("Enter")
    page.wait_for_selector(f"body:not([data-kernel='{first}'])", timeout=60_000)
    live(page)
    assert page.input_value("[name=tempo-0]") == "66"
    assert page.input_value("[name=reach_mm-0]") == "90"

    second = page.locator("body").get_attribute("data-kernel")
    next(server, None)
    page.wait_for_selector(".lost:visible")
    assert page.inner_text(".lost").startswith("The course has stopped")
    server = served(*running)
    next(server)
    page.wait_for_selector(f"body:not([data-kernel='{second}'])", timeout=60_000)
    live(page)
    assert page.locator(".lost").is_hidden()
    assert page.input_value("[name=tempo-0]") == "66"
    page.context.close()
    next(server, None)


def test_what_is_written_down_and_its_player_take_turns_on_the_wall(
    opened: Callable[..., Watched], projected: Callable[..., str], tmp_path: Path
) -> None:
    write_notebook(tmp_path / "01_form.ipynb", ["from harmonylib import *", "TuneForm(state={})"])
    page = opened(f"{projected([], tmp_path)}/voila/render/01_form.ipynb#step-1").page
    page.wait_for_selector(".chapter:not(.working) .tune-form")
    over = "(wall => wall.scrollHeight - wall.clientHeight)(document.querySelector('.steps'))"
    page.get_by_label("chord").fill("Cmaj7")
    for note in ("E5", "D5"):
        page.get_by_label("note, and Enter").fill(note)
        page.keyboard.press("Enter")
        page.wait_for_function("document.querySelector('.neck-title').textContent.startsWith('" + note + "')")
    page.wait_for_selector(".tune-form[data-part=neck]")
    assert page.locator(".neck-board").is_visible()
    assert page.evaluate(over) <= 8
    page.keyboard.press("PageDown")
    assert page.locator(".block-player").get_by_role("button", name="Play").is_visible()
    assert page.locator(".neck-board").is_hidden()
    assert page.evaluate(over) <= 8
    page.keyboard.press("PageUp")
    assert page.locator(".neck-board").is_visible()
    page.context.close()


@pytest.fixture(scope="module")
def small(projected: Callable[..., str], tmp_path_factory: pytest.TempPathFactory) -> str:
    """Chapters of a lesson alone: two with a tune, one with a chord."""
    folder = tmp_path_factory.mktemp("small")
    for name, chapter in (("01_small", 5), ("02_next", 6), ("03_chord", 1)):
        shown = f"today = lesson({chapter})\nprint(today.tune.title, today.neck.reach_mm)"
        write_notebook(folder / f"{name}.ipynb", ["from harmonylib import *", shown])
    return projected([], Path(folder))


def test_the_tune_and_reach_of_the_class_go_along_to_the_next_chapter(
    opened: Callable[..., Watched], small: str
) -> None:
    def carried() -> tuple[dict[str, Any], str]:
        live(page)
        assert page.locator(".pull .wrong").count() == 0
        text = page.evaluate("new URLSearchParams(location.search).get('lesson') ?? '{}'")
        return json.loads(text), page.inner_text(".step.now .lines")

    class_ = {"tune": "slate_roof_blues", "key": "A minor", "reach_mm": 95}
    given = {**class_, "bars": [2, 3], "tempo": 66}
    page = opened(f"{small}/voila/render/01_small.ipynb?lesson={quote(json.dumps(given))}").page
    assert carried() == (given, "Slate Roof Blues 95")
    page.goto(f"{small}/voila/render/02_next.ipynb")
    assert carried() == (class_, "Slate Roof Blues 95")
    page.goto(f"{small}/voila/render/03_chord.ipynb")
    assert carried()[1] == "Lantern on the Landing 95"
    page.keyboard.press("s")
    page.get_by_role("button", name="As written").click()
    page.wait_for_function("document.querySelector('.step.now .lines')?.innerText.endsWith('105')")
    page.goto(f"{small}/voila/render/02_next.ipynb")
    assert carried() == ({}, "Lantern on the Landing 105")
    page.context.close()


@pytest.mark.slow
def test_thirty_visits_leave_no_kernel_behind(chromium: Any, opened: Callable[..., Watched], small: str) -> None:
    stays = opened(f"{small}/voila/render/01_small.ipynb").page
    gone = []
    for visit in range(30):
        page = chromium.new_context().new_page()
        page.goto(f"{small}/voila/render/01_small.ipynb", wait_until="commit" if visit % 2 else "load")
        gone.append(page.locator("body").get_attribute("data-kernel"))
        page.context.close()
    kernel = stays.locator("body").get_attribute("data-kernel")
    assert len({*gone, kernel}) == 31
    for one in gone:
        stays.wait_for_function(f"({ALIVE})({one!r}).then(status => status === 404)")
    assert stays.evaluate(ALIVE, kernel) == 200
    stays.context.close()
