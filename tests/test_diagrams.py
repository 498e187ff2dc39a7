"""Diagrams: the bytes, the places of marks, the words, and what can be read from the back of a classroom."""

import subprocess
import sys
from fractions import Fraction
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from harmonylib.arranging.arrange import arrange
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.calls import calls_picture
from harmonylib.pictures.grips import grip_row, voice_paths
from harmonylib.pictures.hand import hand_picture
from harmonylib.pictures.melody import melody_picture
from harmonylib.pictures.neck import Mark, grip_marks, neck_frame, neck_picture
from harmonylib.pictures.theme import MARKS, OKABE_ITO, THEMES
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Pitch
from harmonylib.theory.voicings import voice
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import Change, Note, Tune
from harmonylib.wording import plain

NECK = Neck()
CMAJ7 = voice("Cmaj7", "drop 2", "E4")
GRIP = Grip.parse("x3545x")
SVG = "{http://www.w3.org/2000/svg}"
PROJECTED = ("projector light", "projector dark")


def tune_of(*bars):
    """A tune in 4/4 from bars of “[Chord]” and “pitch/quarters” words; r is a rest."""
    notes, changes, laid, now = [], [], [], Fraction(0)
    for number, words in enumerate(bars, start=1):
        start = now
        for word in words.split():
            if word.startswith("["):
                changes.append(Change(now, Chord.parse(word[1:-1])))
                continue
            pitch, _, length = word.partition("/")
            if pitch != "r":
                notes.append(Note(Pitch.parse(pitch), now, Fraction(length)))
            now += Fraction(length)
        laid.append(Bar(number, start, now - start, (4, 4), -2))
    return Tune("Test", tuple(notes), tuple(changes), tuple(laid))


TUNE = tune_of(
    "[Bbmaj7] D4/1 F4/1 Bb4/1 A4/1",
    "[G7] G4/1/2 A4/1/2 B4/1 D5/2",
    "[Cm7] Eb5/1 D5/1/2 C5/1/2 [Ebm(maj7)] Gb4/2",
    "[F7(b9)] A4/1/4 G4/1/4 A4/1/2 Gb4/1 F4/1 r/1",
)
STEPS = NECK.cycle(CMAJ7, (5, 4, 3, 2))
EVENTS = [(0, 2, "call", "Cmaj7"), (2.5, 0.5, "approach", "x4656x"), (3, 1, "answer", "x7958x"), (4, 4, "call", "G7")]


def every_picture(theme):
    return {
        "neck": neck_picture(NECK, grip_marks(NECK, GRIP, CMAJ7), title="Cmaj7", theme=theme),
        "long neck": neck_picture(Neck(frets=22), [(1, 22, "♯11", "extension")], title="Long", theme=theme),
        "left": neck_picture(NECK, grip_marks(NECK, GRIP, CMAJ7), left_handed=True, theme=theme),
        "capo": neck_picture(Neck(capo=2), [(6, 0, "F♯")], frets=(1, 5), theme=theme),
        "row": grip_row(NECK, STEPS, title="Cycle", theme=theme),
        "paths": voice_paths(STEPS, title="Paths", theme=theme),
        "melody": melody_picture(TUNE, title="Melody", theme=theme),
        "arranged": melody_picture(arrange(TUNE, density="changes"), title="Melody", theme=theme),
        "hand": hand_picture(arrange(TUNE), title="Hand", theme=theme),
        "calls": calls_picture(EVENTS, title="Calls", theme=theme),
    }


ON_SHEETS = ("neck", "left", "capo", "row", "melody", "calls")
"""What a work sheet shows; its column is too narrow for the rest in large print."""

PICTURES = {
    theme: {name: each for name, each in every_picture(theme).items() if "sheet" not in theme or name in ON_SHEETS}
    for theme in THEMES
    if "grey" not in theme or theme == "paper grey"
}
ALL = [pytest.param(theme, name, id=f"{theme}-{name}") for theme in PICTURES for name in PICTURES[theme]]


# --- the same bytes ---------------------------------------------------------------------------------------------

SCRIPT = """
import hashlib, sys
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import grip_marks, neck_picture
from harmonylib.theory.voicings import voice
assert "matplotlib" not in sys.modules
{before}
neck = Neck()
picture = neck_picture(neck, grip_marks(neck, "x3545x", voice("Cmaj7", "drop 2", "E4")), title="E♭ ♯ °")
for data in (picture.svg.encode(), picture.png(), picture.pdf()):
    print(hashlib.sha256(data).hexdigest())
assert {after}
"""
OTHER_SETTINGS = """
import matplotlib
matplotlib.rcParams.update({"font.family": "serif", "font.size": 20, "axes.facecolor": "red", "lines.linewidth": 9,
    "savefig.bbox": "tight", "svg.fonttype": "none", "savefig.dpi": 300, "figure.autolayout": True})
"""


def digests(before="", after='"matplotlib.pyplot" not in sys.modules'):
    command = [sys.executable, "-c", SCRIPT.format(before=before, after=after)]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()


@pytest.mark.slow
def test_two_processes_draw_the_same_bytes_whatever_a_notebook_sets():
    plain = digests()
    assert len(set(plain)) == 3
    assert digests(before=OTHER_SETTINGS) == plain


def test_one_picture_drawn_twice_is_the_same():
    marks = grip_marks(NECK, GRIP, CMAJ7)
    one, other = (neck_picture(NECK, marks, title="Cmaj7") for _ in range(2))
    assert one.svg == other.svg
    assert one == other
    assert one.png() == other.png()
    assert one.pdf().startswith(b"%PDF")
    assert neck_picture(NECK, marks, title="C").svg != one.svg


@pytest.mark.slow
def test_300_redraws_take_no_more_memory_than_100():
    script = """
import resource
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import neck_picture
neck, most = Neck(), []
for turn in range(300):
    neck_picture(neck, [(5, 1, "1", "root")], frets=(1, 1)).svg
    if turn in (99, 299):
        most.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
print(most[1] - most[0])
"""
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert int(run.stdout) < 4096  # kilobytes


# --- marks in their places --------------------------------------------------------------------------------------


def drawn(picture):
    """What lies on the Axes: {label: (string, fret)} read from where marks, strings and fret wires are drawn."""
    ax = picture.on()
    vertical, horizontal = set(), set()
    for line in ax.lines:
        xs, ys = line.get_xdata(), line.get_ydata()
        for start in range(0, len(xs) - 2, 3):
            if xs[start] == xs[start + 1]:
                vertical.add(round(xs[start], 6))
            else:
                horizontal.add(round(ys[start], 6))
    strings, wires = sorted(horizontal, reverse=True), sorted(vertical)
    numbers = {t.get_text(): t.get_position() for t in ax.texts if t.get_text().isdigit() and t.get_zorder() == 3}
    found = {}
    for text in ax.texts:
        if text.get_zorder() != 5 or not text.get_text():
            continue
        x = text.get_position()[0]
        mark = next(line for line in ax.lines if line.get_zorder() == 4 and abs(line.get_xdata()[0] - x) < 1e-6
                    and abs(line.get_ydata()[0] - text.get_position()[1]) < 0.5 * picture.theme.mark)  # fmt: skip
        string = min(range(len(strings)), key=lambda n: abs(strings[n] - mark.get_ydata()[0])) + 1
        assert abs(strings[string - 1] - mark.get_ydata()[0]) < 1e-6
        cell = next(((a, b) for a, b in zip(wires, wires[1:], strict=False) if a < x < b), None)
        fret = next((int(n) for n, (at, _) in numbers.items() if cell and cell[0] < at < cell[1]), 0)
        found[text.get_text()] = (string, fret)
    return found


def test_marks_lie_on_their_strings_between_their_frets():
    assert drawn(neck_picture(NECK, grip_marks(NECK, GRIP, CMAJ7))) == {
        "1": (5, 3),
        "5": (4, 5),
        "7": (3, 4),
        "3": (2, 5),
    }


@pytest.mark.parametrize(("fret", "window"), [(1, (1, 15)), (22, (1, 22)), (20, (19, 22)), (7, (7, 7))])
def test_a_mark_lies_at_its_fret_in_any_window(fret, window):
    picture = neck_picture(Neck(frets=22), [(2, fret, "a", "third"), (6, 0, "b", "root")], frets=window)
    assert drawn(picture) == {"a": (2, fret), "b": (6, 0)}


def test_seven_strings():
    seven = Neck(tuning="seven strings")
    picture = neck_picture(seven, [(7, 0, "a"), (1, 4, "b", "seventh"), (4, 2, "c", "foreign")])
    assert drawn(picture) == {"a": (7, 0), "b": (1, 4), "c": (4, 2)}
    names = [t.get_text() for t in picture.on().texts if " " in t.get_text()]
    assert names == ["7 B", "6 E", "5 A", "4 D", "3 G", "2 B", "1 E"]


def test_string_1_lies_on_top_and_frets_narrow_towards_the_bridge():
    frame = neck_frame(NECK)
    assert [frame.y(s) for s in range(1, 7)] == sorted((frame.y(s) for s in range(1, 7)), reverse=True)
    widths = [frame.wire(f) - frame.wire(f - 1) for f in range(1, 16)]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] / widths[12] == pytest.approx(2**0.5)


def test_left_handed_mirrors_left_and_right_only():
    right, left = (neck_picture(NECK, grip_marks(NECK, GRIP, CMAJ7), left_handed=side) for side in (False, True))
    assert drawn(left) == drawn(right)
    frames = [neck_frame(NECK, left_handed=side) for side in (False, True)]
    middles = [frame.left + frame.width / 2 for frame in frames]
    for fret in range(16):
        offsets = [frame.x(fret) - middle for frame, middle in zip(frames, middles, strict=True)]
        assert offsets[1] == pytest.approx(-offsets[0])
    assert [frames[1].y(s) for s in range(1, 7)] == [frames[0].y(s) for s in range(1, 7)]


def test_frame_agrees_with_the_picture():
    ax = neck_picture(NECK, [(3, 7, "x", "root")]).on()
    mark = next(line for line in ax.lines if line.get_zorder() == 4)
    frame = neck_frame(NECK)
    assert (mark.get_xdata()[0], mark.get_ydata()[0]) == (frame.x(7), frame.y(3))


def test_unplayed_strings_carry_a_cross_before_the_board():
    ax = neck_picture(NECK, grip_marks(NECK, GRIP, CMAJ7)).on()
    frame = neck_frame(NECK)
    crosses = [t.get_position() for t in ax.texts if t.get_text() == "×"]
    assert sorted(y for _, y in crosses) == pytest.approx([frame.y(s) - 0.36 * 8.5 for s in (6, 1)])
    assert {x for x, _ in crosses} == {frame.x(0)}


@pytest.mark.parametrize(
    ("label", "expected"),
    [("degree", ["1", "5", "7", "3"]), ("note", ["C", "G", "B", "E"]), ("finger", ["1", "3", "2", "4"])],
)
def test_labels(label, expected):
    marks = [m for m in grip_marks(NECK, GRIP, CMAJ7, label) if m.fret is not None]
    assert [m.label for m in marks] == expected
    assert [m.role for m in marks] == ["root", "fifth", "seventh", "third"]
    assert [m.top for m in marks] == [False, False, False, True]
    shown = [t.get_text() for t in neck_picture(NECK, marks).on().texts if t.get_zorder() == 5]
    assert shown == expected


def test_flat_names_and_open_strings():
    marks = [mark for mark in grip_marks(NECK, "x1202x", voice("Edim7", "drop 2", "Db4"), "note") if mark.label]
    assert marks == [
        Mark(5, 1, "B♭", "fifth"),
        Mark(4, 2, "E", "root"),
        Mark(3, 0, "G", "third"),
        Mark(2, 2, "D♭", "seventh", True),
    ]
    single = grip_marks(NECK, "xxxx1x", label="finger")
    assert single[4] == Mark(2, 1, "1", "plain", False)


def test_the_root_has_a_shape_of_its_own():
    shapes = [shape for _, shape, _ in MARKS.values()]
    assert shapes.count(MARKS["root"][1]) == 1
    assert shapes.count(MARKS["foreign"][1]) == 1
    lines = neck_picture(NECK, grip_marks(NECK, GRIP, CMAJ7)).on().lines
    assert [line.get_marker() for line in lines if line.get_zorder() == 4] == ["s", "o", "o", "o", "o"]


# --- what is refused --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("draw", "message"),
    [
        (lambda: neck_picture(NECK, [(7, 1, "")]), "no string 7; this neck has 1 to 6"),
        (lambda: neck_picture(NECK, [(1, 9, "")], frets=(1, 5)), "fret 9 lies outside the frets shown, 1 to 5"),
        (lambda: neck_picture(NECK, [], frets=(3, 99)), "frets 3 to 99 cannot be shown"),
        (lambda: neck_picture(NECK, [(1, 1, "", "boss")]), "'boss' is not the role of a mark"),
        (lambda: neck_picture(NECK, [], theme="neon"), "'neon' is not a theme: choose paper"),
        (lambda: grip_marks(NECK, GRIP, CMAJ7, "colour"), "'colour' is not a label"),
        (lambda: grip_marks(NECK, "x3535x", CMAJ7), "x3535x does not hold Cmaj7 as C3 G3 B3 E4"),
        (lambda: grip_marks(NECK, "x3545x"), "has no degrees without its voicing"),
        (lambda: grip_marks(NECK, "x354"), "x354 names 4 strings; this neck has 6"),
        (lambda: grip_row(NECK, []), "at least one grip"),
        (lambda: grip_row(NECK, STEPS, captions=["one"]), "1 captions for 4 grips"),
        (lambda: voice_paths(STEPS[:1]), "two or more"),
        (lambda: melody_picture(TUNE, bars=(9, 12)), r"the tune has bars 1 to 4"),
        (lambda: calls_picture([]), "0 events"),
        (lambda: calls_picture([(0, 0, "call", "")]), "a length above 0"),
    ],
)
def test_bad_input_is_named(draw, message):
    with pytest.raises(HarmonyError, match=message):
        draw()


# --- words ------------------------------------------------------------------------------------------------------


def test_text_readings():
    pictures = PICTURES["paper"]
    assert pictures["neck"].text == (
        "Cmaj7: string 5 fret 3 = 1, string 4 fret 5 = 5, string 3 fret 4 = 7, string 2 fret 5 = 3 (top); "
        "not played: 6, 1"
    )
    assert pictures["capo"].text == "string 6 open = F♯; capo at fret 2"
    assert pictures["row"].text == (
        "Cycle: Cmaj7 x3545x, drop 2, root position | Cmaj7 x7958x, drop 2, first inversion | "
        "Cmaj7 x-10-10-9-12-x, drop 2, second inversion | Cmaj7 x-14-14-12-13-x, drop 2, third inversion"
    )
    assert pictures["melody"].text == (
        "Melody: bar 1 over B♭maj7: D 3, F 5, B♭ 1, A 7 | bar 2 over G7: G 1, A passing note, B 3, D 5 | "
        "bar 3 over Cm7: E♭ ♭3, D passing note, C 1 | bar 3 over E♭m(maj7): G♭ ♭3 | "
        "bar 4 over F7(♭9): A 3, G neighbour note, A 3, G♭ ♭9, F 1"
    )
    assert pictures["calls"].text == (
        "Calls: call Cmaj7 at bar 1, beat 1 (2 quarters); approach x4656x at bar 1, beat 3½ (½ quarter); "
        "answer x7958x at bar 1, beat 4 (1 quarter); call G7 at bar 2, beat 1 (4 quarters)"
    )
    assert neck_picture(NECK, []).text == "no marks"


def test_the_hand_is_measured_in_true_millimetres():
    tune = tune_of("[Cmaj7] E4/2 G4/2")
    picture = hand_picture(arrange(tune, pins={0: "x3545x", 1: "x7958x"}))
    way = NECK.nut_to(5) - NECK.nut_to(3)  # the index finger goes from fret 3 to the lowest fret of x7958x
    assert f"at most {way:.0f} mm at once (bar 1, beat 3)" in picture.text
    texts = {t.get_text(): t for t in picture.on().texts}
    assert f"{way:.0f} mm" in texts
    fret_3, fret_5, fret_9 = (texts[f"fret {n}"].get_position()[1] for n in (3, 5, 9))
    assert (fret_5 - fret_3) / (fret_9 - fret_3) == pytest.approx(way / (NECK.nut_to(9) - NECK.nut_to(3)))


def test_paths_say_what_stays():
    first, second = voice("Dm7", "drop 2", "F4"), voice("G7", "drop 2", "F4")
    picture = voice_paths([(first, NECK.grips(first)[0]), (second, NECK.grips(second)[0])])
    assert picture.text.endswith("D3→D3 (stays), A3→G3 (−2), C4→B3 (−1), F4→F4 (stays)")
    assert [t.get_text() for t in picture.on().texts if t.get_text().startswith("−")] == ["−2", "−1"]


def test_melody_marks_by_degree_role_and_treatment():
    ax = PICTURES["paper"]["melody"].on()
    assert [t.get_text() for t in ax.texts if t.get_zorder() == 5] == "3 5 1 7 1 p 3 5 ♭3 p 1 ♭3 3 n 3 ♭9 1".split()
    legend = " ".join(t.get_text() for t in ax.texts)
    assert "p passing note" in " ".join(legend.split())
    assert "n neighbour note" in " ".join(legend.split())
    arranged = arrange(TUNE, density="changes")
    single = sum(choice.voicing is None for choice in arranged.choices)
    hearts = [line for line in melody_picture(arranged).on().lines if line.get_markeredgewidth() == 0]
    assert 0 < single == len([line for line in hearts if line.get_zorder() == 4])


# --- what a reader of the SVG gets ------------------------------------------------------------------------------

HOSTILE = [
    "<b>&\"'</title><script>x</script>",
    "$\\frac{1}{$",
    "a\x00\x0b\x1fb",
    "--> ]]> <!--",
    "line\nbreak",
    "日本 😀",
]


@pytest.mark.few(2)
@pytest.mark.parametrize("title", HOSTILE)
def test_hostile_titles_are_only_text(title):
    picture = neck_picture(NECK, [(1, 1, title, "root")], title=title)
    root = ElementTree.fromstring(picture.svg)
    assert root[0].tag == SVG + "title"
    assert root[0].text == plain(title)
    assert root[1].tag == SVG + "desc"
    assert "string 1 fret 1" in root[1].text
    assert "\n" not in picture.text
    assert {element.tag for element in root.iter()} <= {SVG + t for t in "svg title desc g path defs use".split()}
    assert picture.pdf().startswith(b"%PDF")


@pytest.mark.few(10)
@pytest.mark.parametrize(("theme", "name"), ALL)
def test_every_svg_says_what_it_is_and_fits_its_place(theme, name):
    picture = PICTURES[theme][name]
    root = ElementTree.fromstring(picture.svg)
    assert root.get("role") == "img"
    assert [root[0].text, root[1].text] == [picture.title or "Diagram", picture.text]
    wide = picture.theme.fills_width
    assert root.get("style") == ("width:100%;height:auto" if wide else "max-width:100%;height:auto")
    assert root.get("width") == (None if wide else f"{picture.width * 4 / 3:.0f}")
    assert "<style" not in picture.svg
    shown = {"image/svg+xml": picture.svg, "text/html": picture.svg, "text/plain": picture.text}
    assert picture._repr_mimebundle_() == shown
    assert repr(picture) == picture.text
    if name in ("neck", "left", "capo"):
        assert len(picture.svg) < 25_000


# --- seen from the back of the room -----------------------------------------------------------------------------


@pytest.mark.few(10)
@pytest.mark.parametrize(("theme", "name"), ALL)
def test_nothing_is_cut_off_and_no_two_texts_meet(theme, name):
    picture = PICTURES[theme][name]
    ax = picture.on()
    renderer = FigureCanvasAgg(ax.figure).get_renderer()
    boxes = [(t.get_text(), t.get_window_extent(renderer)) for t in ax.texts if t.get_text()]
    for text, box in boxes:
        assert 0 <= box.x0 < box.x1 <= picture.width + 0.5, text
        assert 0 <= box.y0 < box.y1 <= picture.height + 0.5, text
    for (one, a), (other, b) in combinations(boxes, 2):
        wide = min(a.x1, b.x1) - max(a.x0, b.x0)
        high = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert wide < 1.5 or high < 1.5, (one, other)


@pytest.mark.few(8)
@pytest.mark.parametrize(("theme", "name"), [p for p in ALL if p.values[0] in PROJECTED])
def test_projected_at_1280_pixels_text_is_large_enough(theme, name):
    picture = PICTURES[theme][name]
    ax = picture.on()
    pixels = 1280 / (72 * ax.figure.get_figwidth())
    assert min(t.get_fontsize() for t in ax.texts) * pixels >= 16
    chords = {"Cmaj7", "B♭maj7", "G7", "Cm7"}
    if name != "calls":  # there the chord is a label inside its box
        assert all(t.get_fontsize() * pixels >= 28 for t in ax.texts if t.get_text() in chords)


def contrast(one, other):
    """WCAG 2.1 contrast, written again here as the witness."""

    def light(colour):
        parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True)) + 0.05

    return max(light(one), light(other)) / min(light(one), light(other))


@pytest.mark.few(6)
@pytest.mark.parametrize("theme", THEMES)
def test_every_text_stands_out_from_what_lies_under_it(theme):
    marks = [(1, 2 * n + 1, "x", role) for n, role in enumerate(MARKS)]
    ax = neck_picture(NECK, marks, theme=theme).on()
    spots = [line for line in ax.lines if line.get_zorder() == 4]
    labels = [text for text in ax.texts if text.get_zorder() == 5]
    assert len(spots) == len(labels) == len(MARKS)
    for spot, label in zip(spots, labels, strict=True):
        assert contrast(label.get_color(), spot.get_markerfacecolor()) >= 4.5
    look = THEMES[theme]
    for under in (look.paper, look.band):
        assert contrast(look.ink, under) >= 7
        assert contrast(look.soft, under) >= 4.5


@pytest.mark.parametrize("theme", PROJECTED)
def test_on_a_wall_no_label_comes_out_of_its_mark(theme):
    frets = iter(range(1, 15, 2))
    shown = {"♭♭7": "seventh", "E♭": "root", "♭3": "third", "♯11": "extension", "♭5": "foreign", "B♭": "plain"}
    marks = [Mark(3, next(frets), label, role) for label, role in shown.items()]
    axes = neck_picture(NECK, marks, theme=theme).on()
    FigureCanvasAgg(axes.figure).draw()
    drawn = [text for text in axes.texts if text.get_text() in shown]
    assert len(drawn) == len(shown)
    for text in drawn:
        width, middle = text.get_window_extent().width * 72 / axes.figure.dpi, text.get_position()[0]
        grounds = [line for line in axes.lines if 4 <= line.get_zorder() < 5]
        under = [line for line in grounds if abs(np.mean(line.get_xdata()) - middle) < 1]
        ground = [
            np.ptp(line.get_xdata()) + (line.get_linewidth() if len(line.get_xdata()) > 1 else line.get_markersize())
            for line in under
        ]
        assert max(ground) >= width, text.get_text()


def test_the_palette_is_that_of_okabe_and_ito():
    published = {  # Okabe & Ito 2008, RGB 0–255
        "black": (0, 0, 0), "orange": (230, 159, 0), "sky blue": (86, 180, 233), "bluish green": (0, 158, 115),
        "yellow": (240, 228, 66), "blue": (0, 114, 178), "vermillion": (213, 94, 0), "reddish purple": (204, 121, 167),
    }  # fmt: skip
    assert {name: tuple(bytes.fromhex(colour[1:])) for name, colour in OKABE_ITO.items()} == published


def test_pictures_compose_on_axes_and_shrink_with_them():
    picture = PICTURES["paper"]["neck"]
    figure = Figure(figsize=(3.4, 4))
    upper, lower = figure.subplots(2)
    assert picture.on(upper) is upper
    assert PICTURES["paper"]["paths"].on(lower) is lower
    own = picture.on()
    inches = upper.get_position().width * 3.4
    shares = [small.get_fontsize() / large.get_fontsize() for small, large in zip(upper.texts, own.texts, strict=True)]
    assert shares == pytest.approx([72 * inches / picture.width] * len(shares))
    assert upper.get_xlim() == (0, picture.width)


def test_a_label_with_no_room_in_its_block_or_behind_it_stands_before_it() -> None:
    late = (3.5, 0.5, "answer", "x-x-10-12-11-11")
    drawn = calls_picture([(0, 3, "call", "Cm7"), late]).on().texts
    label = next(text for text in drawn if text.get_text() == late[3])
    assert label.get_horizontalalignment() == "right"


@pytest.mark.parametrize("theme", ["paper", "projector light"])
def test_no_grip_over_its_diagram_is_cut_short(theme: str) -> None:
    neck = Neck(tuning="seven strings")
    steps = [(None, Grip.parse(text)) for text in ("x-x-12-14-10-13-x", "x-x-x-10-12-10-12") * 2]
    shown = [text.get_text() for text in grip_row(neck, steps, theme=theme).on().texts]
    assert [text for text in shown if text.startswith("x-")] == [str(grip) for _, grip in steps]
