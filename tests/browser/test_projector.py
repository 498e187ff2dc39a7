"""The projector in a browser: one step at a time, legible from the last row, alive, and nothing asked of elsewhere.

Legible, in a window of 1280 by 720: every letter at least 28 pixels high, also in pictures; in another window the same
in proportion.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import nbformat
import pytest

from harmonylib.classroom.projector import contents
from harmonylib.classroom.projector.steps import cut
from harmonylib.classroom.shipped import course_folder
from harmonylib.pictures.theme import THEMES
from tests.browser.conftest import Watched, write_notebook

CHAPTERS = course_folder()
LISTED = contents(CHAPTERS)
BODY, HEAD, PICTURE = 28, 28, 28

# what an element shows itself, with its size on the screen: letters of a drawing are scaled with it
LETTERS = """() => [...document.querySelectorAll('.step.now *, .bar *')].filter(one => one.checkVisibility()
    && one.getBoundingClientRect().width && !one.closest('script, title, desc')
    && [...one.childNodes].some(node => node.nodeType === 3 && node.data.trim())
).map(one => {
    const size = parseFloat(getComputedStyle(one).fontSize), frame = one.closest('svg');
    const scale = frame ? Math.hypot(one.getScreenCTM().a, one.getScreenCTM().b) : 1;
    return { text: one.textContent.trim().slice(0, 40), size: size * scale,
        kind: one.closest('h1, h2, h3, .harm') ? 'head' : frame ? 'picture' : 'body' };
})"""
# drawings whose letters are outlines: points of the page they were drawn on, and pixels
OUTLINED = """() => [...document.querySelectorAll('.step.now svg')].filter(svg => !svg.querySelector('text')
    && svg.checkVisibility() && !svg.parentElement.closest('svg'))
    .map(svg => svg.getBoundingClientRect().width / svg.viewBox.baseVal.width)"""
FIT = """() => { const frame = document.querySelector('.steps'), step = document.querySelector('.step.now');
    return { over: frame.scrollHeight - frame.clientHeight - 8,
        aside: document.documentElement.scrollWidth - innerWidth, inner: frame.scrollWidth - frame.clientWidth,
        seen: frame.contains(document.elementFromPoint(60, 40)) } }"""


# how much of the wall the box round all that is shown takes, without the wall's own frame
COVER = """() => { const wall = document.querySelector('.steps').getBoundingClientRect(), boxes = [];
    const words = document.createTreeWalker(document.querySelector('.step.now'), NodeFilter.SHOW_TEXT);
    for (const range = document.createRange(); words.nextNode();) {
        const node = words.currentNode;
        if (!node.data.trim() || node.parentElement.closest('script, style, title, desc')) continue;
        range.selectNodeContents(node); boxes.push(...range.getClientRects()); }
    for (const one of document.querySelectorAll('.step.now :is(svg, img, audio, button, input, select)'))
        if (one.checkVisibility()) boxes.push(one.getBoundingClientRect());
    const seen = boxes.filter(box => box.width > 1 && box.height > 1);
    const side = (act, name) => act(...seen.map(box => box[name]));
    const width = Math.min(side(Math.max, 'right'), wall.right) - Math.max(side(Math.min, 'left'), wall.left);
    const height = Math.min(side(Math.max, 'bottom'), wall.bottom) - Math.max(side(Math.min, 'top'), wall.top);
    return width * height / (wall.width * wall.height); }"""
COVERED: dict[str, list[float]] = {}
"""By chapter, how much of the wall each step takes."""


@pytest.fixture(scope="module")
def dark_course(projected: Callable[..., str]) -> str:
    return projected(["--dark"])


@pytest.fixture(scope="module")
def own(projected: Callable[..., str], tmp_path_factory: pytest.TempPathFactory) -> str:
    """A chapter with a slider that the kernel answers, one that only the browser moves, and a fault at the end."""
    folder = tmp_path_factory.mktemp("chapters")
    write_notebook(
        folder / "01_alive.ipynb",
        [
            "import ipywidgets\nfrom harmonylib import Neck, grip_marks\nfrom widgets import NeckView",
            "slider, told = ipywidgets.IntSlider(description='number', value=3, max=9), ipywidgets.HTML()\n"
            "def square(change): told.value = f'<b class=square>{change.new ** 2}</b>'\n"
            "slider.observe(square, 'value')\nipywidgets.VBox([slider, told])",
            "view = NeckView(Neck(), [grip_marks(Neck(), g, label='note') for g in ('x3545x', 'x7958x')],"
            " titles=['one', 'two'])\nstep = ipywidgets.IntSlider(description='grip', max=1)\n"
            "link = ipywidgets.jslink((step, 'value'), (view, 'frame'))\nipywidgets.VBox([step, view])",
            "from harmonylib import Chord\nChord.parse('H7')",
            "print('never reached')",
        ],
    )
    return projected([], folder)


@pytest.fixture(scope="module")
def short(projected: Callable[..., str], tmp_path_factory: pytest.TempPathFactory) -> str:
    """A chapter that runs in no time, on a server of its own."""
    folder = tmp_path_factory.mktemp("short")
    write_notebook(folder / "01_short.ipynb", ["print('one')", "import time\ntime.sleep(1)\nprint('two')"])
    return projected([], folder)


@pytest.fixture(scope="module")
def wall(opened: Callable[..., Watched]) -> Callable[[str], Watched]:
    """A function that gives an address as it stands on the wall; tests that follow each other share one visit."""
    last: dict[str, Watched] = {}

    def visit(url: str) -> Watched:
        if url not in last:
            for watched in last.values():
                watched.page.context.close()
            last.clear()
            last[url] = opened(url)
        page = ready(last[url])
        page.set_viewport_size({"width": 1280, "height": 720})
        page.evaluate("location.hash = '#step-1'")
        page.wait_for_function("document.querySelector('.position').textContent.startsWith('Step 1 of')")
        return last[url]

    return visit


def at(address: str, file: str) -> str:
    return f"{address}/voila/render/{file}"


def ready(watched: Watched) -> Any:
    watched.page.wait_for_selector(".chapter:not(.working) .step.now", timeout=60_000)
    return watched.page


def place(page: Any) -> str:
    return str(page.inner_text(".position"))


def every_step(page: Any) -> Iterator[int]:
    for number in range(1, page.locator(".step").count() + 1):
        page.evaluate(f"location.hash = '#step-{number}'")
        page.wait_for_function(f"document.querySelector('.position').textContent.startsWith('Step {number} of')")
        yield number


def test_the_contents_list_the_chapters_and_keys_open_one(opened: Callable[..., Watched], course: str) -> None:
    watched = opened(f"{course}/")
    page = watched.page
    assert page.locator(".contents a").all_inner_texts() == [title for _, title in LISTED]
    sizes = page.evaluate(
        "[...document.querySelectorAll('.contents :is(h1, a)')].map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(sizes) >= HEAD
    page.keyboard.press("PageDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("PageUp")
    assert page.evaluate("document.activeElement.textContent") == LISTED[0].title
    page.keyboard.press("Enter")
    assert ready(watched).title() == LISTED[0].title
    assert page.inner_text(".step.now h1").startswith("0 · ")
    page.get_by_role("link", name="Contents").click()
    page.wait_for_selector(".contents")
    assert watched.outside == []
    assert watched.errors == []


def test_steps_go_by_buttons_keys_and_address(wall: Callable[[str], Watched], course: str) -> None:
    file = LISTED[0].file
    cells = json.loads((CHAPTERS / file).read_text(encoding="utf-8"))["cells"]
    total = cut(cells)[-1]["metadata"]["projector"]["step"]
    page = wall(at(course, file)).page
    assert place(page) == f"Step 1 of {total}"
    assert page.locator(".step:visible").count() == 1
    back, forward = page.get_by_role("button", name="Back"), page.get_by_role("button", name="Next")
    assert back.is_disabled()
    for act, number in (
        (forward.click, 2),
        (lambda: page.keyboard.press("PageDown"), 3),
        (lambda: page.keyboard.press("ArrowRight"), 4),
        (lambda: page.keyboard.press("ArrowLeft"), 3),
        (lambda: page.keyboard.press("PageUp"), 2),
        (back.click, 1),
        (lambda: page.keyboard.press("PageUp"), 1),
    ):
        act()
        assert place(page) == f"Step {number} of {total}"
        assert page.url.endswith(f"#step-{number}")
        assert page.locator(".step:visible").count() == 1
        assert (
            page.evaluate("[...document.querySelectorAll('.step')].findIndex(e => e.checkVisibility())") == number - 1
        )
    page.evaluate(f"location.hash = '#step-{total}'")
    page.wait_for_function(f"document.querySelector('.position').textContent === 'Step {total} of {total}'")
    assert page.get_by_role("button", name="Next").is_disabled()


def test_keys_go_to_any_step_leave_a_control_and_darken_the_wall(wall: Callable[[str], Watched], own: str) -> None:
    page = wall(at(own, "01_alive.ipynb")).page
    total, press = page.locator(".step").count(), page.keyboard.press
    press("End")
    assert place(page) == f"Step {total} of {total}"
    press("Home")
    assert place(page) == f"Step 1 of {total}"
    press("2")
    assert page.inner_text(".told") == "Enter: step 2"
    press("Enter")
    assert place(page) == f"Step 2 of {total}"
    assert page.inner_text(".told") == ""
    press("1")
    press("Escape")
    press("Enter")
    assert place(page) == f"Step 2 of {total}"  # Escape takes the number back
    for digit in "999":
        press(digit)
    press("Enter")
    assert place(page) == f"Step {total} of {total}"
    press("1")
    press("Enter")

    page.wait_for_selector(".step.now .noUi-handle")
    page.locator(".step.now .noUi-handle").first.focus()
    press("ArrowRight")
    press("Home")
    assert place(page) == f"Step 1 of {total}"  # these keys were the slider's
    assert page.inner_text(".told") == "Esc: arrows turn pages"
    press("Escape")
    assert page.inner_text(".told") == ""
    press("ArrowRight")
    assert place(page) == f"Step 2 of {total}"

    dark = page.locator(".dark")
    for key, lighten in (
        ("b", lambda: press("b")),
        ("b", lambda: press("PageDown")),
        (".", lambda: press(".")),  # as some remotes have it
        (".", lambda: press("Escape")),
        ("b", dark.click),
    ):
        press(key)
        box = dark.bounding_box()
        assert (box["width"], box["height"]) == (1280, 720)
        assert dark.evaluate("e => getComputedStyle(e).backgroundColor") == "rgb(0, 0, 0)"
        lighten()
        assert dark.is_hidden()
        assert place(page) == f"Step 2 of {total}"
    press("PageUp")
    assert place(page) == f"Step 1 of {total}"


def test_a_link_opens_its_step(opened: Callable[..., Watched], own: str) -> None:
    assert place(ready(opened(at(own, "01_alive.ipynb#step-2")))).startswith("Step 2 of ")


def test_what_is_longer_than_the_window_is_scrolled_through_first(wall: Callable[[str], Watched], course: str) -> None:
    page = wall(at(course, LISTED[0].file)).page
    page.set_viewport_size({"width": 1280, "height": 400})
    tall = "(f => f.scrollHeight > 1.5 * f.clientHeight)(document.querySelector('.steps'))"
    number = next(step for step in every_step(page) if page.evaluate(tall))
    page.wait_for_function("document.querySelector('.next').textContent.startsWith('More')")
    presses = 0
    while place(page).startswith(f"Step {number} "):
        page.keyboard.press("PageDown")
        presses += 1
        assert presses < 10
    assert presses > 1
    assert place(page).startswith(f"Step {number + 1} ")
    assert page.evaluate("document.querySelector('.steps').scrollTop") == 0


def no_code(page: Any, file: str) -> None:
    """No line of a chapter's code is anywhere on its page."""
    shown = page.evaluate("document.body.textContent")
    cells = nbformat.read(CHAPTERS / file, as_version=4).cells
    code = [line for cell in cells if cell.cell_type == "code" for line in cell.source.splitlines()]
    assert [line for line in code if len(line) > 20 and line in shown] == []


def every_part(page: Any) -> Iterator[int]:
    """The parts of the step on the wall, from the first, and what an answer box turns to.

    The button that leads on says that there is more.
    """
    yield 0
    part = 0
    while page.inner_text(".next").startswith("More"):
        part += 1
        assert part < 20, "a step comes to no end"
        page.keyboard.press("PageDown")
        yield part
    for face in page.locator(".step.now .answer-faces button[aria-pressed=false]").all():
        part += 1
        face.click()
        yield part


SIZES = ((1280, 720), (1024, 768), (1920, 1080))
TALK = """[...document.querySelectorAll('.step')].flatMap(step =>
    step.textContent.match(/[^.]*\\b(cells?|Shift\\+Enter|run (it|this))\\b[^.]*/gi) ?? [])"""
MOST = 0.7
LOOKS = [(chapter.file, "light") for chapter in LISTED] + [(LISTED[n].file, "dark") for n in (0, -1)]


@pytest.mark.few(3)
@pytest.mark.parametrize(("file", "look"), LOOKS)
def test_every_step_is_legible_from_the_last_row_and_shows_no_code(
    file: str, look: str, wall: Callable[[str], Watched], request: pytest.FixtureRequest
) -> None:
    theme = THEMES[f"projector {look}"]
    watched = wall(at(request.getfixturevalue("course" if look == "light" else "dark_course"), file))
    page = watched.page
    no_code(page, file)
    assert page.evaluate(TALK) == []
    least: dict[str, float] = {}
    covered = []
    for size in SIZES:
        page.set_viewport_size({"width": size[0], "height": size[1]})
        unit = min(size[0] / 1280, size[1] / 720)
        for number in every_step(page):
            for part in every_part(page):
                for letters in page.evaluate(LETTERS):
                    needed = {"head": HEAD, "picture": PICTURE, "body": BODY}[letters["kind"]]
                    assert round(letters["size"] / unit, 1) >= needed, (size, number, part, letters)
                    least[letters["kind"]] = min(letters["size"] / unit, least.get(letters["kind"], 999))
                for scale in page.evaluate(OUTLINED):
                    assert round(theme.small * scale / unit, 1) >= PICTURE, (size, number, part)
                    assert theme.chord * scale / unit >= HEAD, (size, number, part)
                    least["outlined"] = min(theme.small * scale / unit, least.get("outlined", 999))
                fit, last = page.evaluate(FIT), page.locator(".bar button").last.bounding_box()
                assert fit["seen"], (size, number, part)
                assert (fit["aside"], fit["inner"]) == (0, 0), (size, number, part)
                assert fit["over"] <= 0, (size, number, part, fit)
                assert last["x"] + last["width"] <= size[0], (size, number)
                assert last["y"] + last["height"] <= size[1], (size, number)
                if size == SIZES[0] and not part:
                    covered.append(page.evaluate(COVER))
    COVERED[file] = covered
    print(file, look, {kind: round(size, 1) for kind, size in least.items()}, f"{len(covered)} steps,",
          f"{sum(share > 0.5 for share in covered)} take more than half")  # fmt: skip
    assert {"head", "body", "outlined"} <= set(least)
    colours = "(s => [s.backgroundColor, s.color])(getComputedStyle(document.body))"
    rgb = [f"rgb({int(c[1:3], 16)}, {int(c[3:5], 16)}, {int(c[5:], 16)})" for c in (theme.paper, theme.ink)]
    assert page.evaluate(colours) == rgb
    inked = "[...document.querySelectorAll('svg:has(.system) :is(text, path)')].map(e => getComputedStyle(e))"
    answers = "rgb(0, 114, 178)" if look == "light" else "rgb(86, 180, 233)"
    assert set(page.evaluate(f"{inked}.flatMap(s => s.stroke === 'none' ? [s.fill] : [s.fill, s.stroke])")) <= {
        rgb[1],
        answers,
        "none",
    }
    assert watched.outside == []
    assert watched.errors == []


@pytest.mark.slow
def test_most_steps_use_the_wall() -> None:
    if set(COVERED) != {chapter.file for chapter in LISTED}:
        pytest.skip("not every chapter was gone through")
    shares = [share for covered in COVERED.values() for share in covered]
    assert sum(share > 0.5 for share in shares) >= MOST * len(shares)


def test_sliders_stay_alive_in_their_step(opened: Callable[..., Watched], own: str) -> None:
    watched = opened(at(own, "01_alive.ipynb#step-1"))
    page = ready(watched)
    page.wait_for_selector(".step.now .noUi-handle")
    handle = page.locator(".step.now .noUi-handle").first
    handle.focus()
    before = place(page)
    page.keyboard.press("ArrowRight")
    page.wait_for_function("document.querySelector('.square')?.textContent === '16'")
    assert place(page) == before  # the arrow was the slider's
    page.keyboard.press("PageDown")  # the remote's key is not
    assert place(page) != before
    other = page.locator(".step.now .noUi-handle")
    assert page.inner_text(".step.now .neck-title") == "one"
    other.focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_function("document.querySelector('.step.now .neck-title').textContent === 'two'")
    sizes = page.evaluate(LETTERS)
    assert [one for one in sizes if one["size"] < (PICTURE if one["kind"] == "picture" else BODY)] == []
    assert watched.outside == []
    assert watched.errors == []


def test_a_fault_is_told_in_its_own_words_and_ends_the_chapter(opened: Callable[..., Watched], own: str) -> None:
    page = ready(opened(at(own, "01_alive.ipynb")))
    page.evaluate("location.hash = '#step-99'")
    page.wait_for_function("document.querySelector('.step.now .error')")
    assert page.inner_text(".step.now [role=alert]").startswith("'H7' is not a chord symbol")
    shown = page.evaluate("document.body.textContent")
    assert "Traceback" not in shown
    assert "never reached" not in shown


ALIVE = """async kernels => (await Promise.all(kernels.map(kernel => fetch(`/api/kernels/${kernel}`))))
    .map(answer => answer.status).join() === kernels.map(() => '%s').join()"""


@pytest.mark.parametrize("leave", ["close", "close early", "reload", "go back"])
def test_a_kernel_ends_with_its_page(leave: str, chromium: Any, opened: Callable[..., Watched], short: str) -> None:
    """Visits come without a cookie, as from a bookmark; a page may go before its chapter has run."""
    stays = opened(at(short, "01_short.ipynb")).page
    kernel = stays.locator("body").get_attribute("data-kernel")
    gone = []
    for _ in range(2):
        page = chromium.new_context().new_page()
        page.goto(at(short, "01_short.ipynb"), wait_until="commit")
        gone.append(page.locator("body").get_attribute("data-kernel"))
        if leave == "close early":
            assert page.locator(".chapter.working").count()
        else:
            page.wait_for_selector(".chapter:not(.working)", timeout=60_000)
        if leave == "reload":
            page.reload()
            gone.append(page.locator("body").get_attribute("data-kernel"))
        if leave == "go back":
            page.get_by_role("link", name="Contents").click()
            page.wait_for_selector(".contents")
        page.context.close()
    assert len({*gone, kernel}) == len(gone) + 1
    stays.wait_for_function(ALIVE % 404, arg=gone)
    assert stays.evaluate(ALIVE % 200, [kernel])
    stays.context.close()


def test_every_visit_has_a_kernel_of_its_own_and_leaving_frees_it(opened: Callable[..., Watched], own: str) -> None:
    pages = [ready(opened(at(own, "01_alive.ipynb"))) for _ in range(2)]
    configured = "JSON.parse(document.getElementById('jupyter-config-data').textContent).kernelId"
    one, other = (page.evaluate(configured) for page in pages)
    assert one != other
    alive = "async id => (await fetch(`/api/kernels/${id}`)).status"
    pages[0].wait_for_selector(".noUi-handle", state="attached")  # Voila's script is up, which tells of the leaving
    assert pages[1].evaluate(alive, one) == 200
    pages[0].get_by_role("link", name="Contents").click()
    pages[0].wait_for_selector(".contents")
    pages[0].wait_for_function("async id => (await fetch(`/api/kernels/${id}`)).status === 404", arg=one)
    assert pages[1].evaluate(alive, other) == 200
