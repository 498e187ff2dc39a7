"""The player in a browser: what it plays, measured in samples; what it shows; and its life in JupyterLab.

The samples come from `renderOffline`, which schedules in the same steps as the live player, on an offline context.
"""

import base64
from fractions import Fraction

import numpy as np
import pytest

from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.guitar.grips import Grip
from harmonylib.score.engraving import engrave
from harmonylib.sound.events import Event, as_data, cycle_events
from harmonylib.sound.listening import CAUTION
from harmonylib.sound.rendering import LOUDEST, VOLUME, render
from harmonylib.sound.strings import RATE
from harmonylib.tunes.reading import read, read_text
from tests.browser.conftest import ROOT
from widgets.player import Player

AHEAD_S = 0.15  # how far ahead the player schedules: a change is heard no later than this
CHORD = (48, 55, 59, 64)
TUNE = "chapters/tunes/lantern_on_the_landing.abc"

LOAD = "async esm => { window.made = await import(URL.createObjectURL(new Blob([esm], {type: 'text/javascript'}))) }"
RENDER = """async ([score, tempo, options]) => {
    const { left, right, shown } = await made.renderOffline(score, tempo, options);
    const packed = samples => {
        let text = "";
        const bytes = new Uint8Array(samples.buffer, samples.byteOffset, samples.byteLength);
        for (let n = 0; n < bytes.length; n += 8192) text += String.fromCharCode(...bytes.subarray(n, n + 8192));
        return btoa(text);
    };
    return [packed(left), packed(right), shown];
}"""
SETTINGS = "swing volume balance click backbeat count_in loop rest once first last step fastest times".split()


@pytest.fixture(scope="module")
def blank(opened):
    """An empty page with the player's module as `made`."""
    watched = opened("about:blank")
    watched.page.evaluate(LOAD, Player.class_traits()["_esm"].default_value)
    return watched.page


@pytest.fixture
def play(blank):
    """Plays events offline: samples of shape (n, 2), and what the cursor would have shown."""

    def render(music, seconds, changes=(), **settings):
        player = Player(music, **settings)
        options = {name: getattr(player, name) for name in SETTINGS}
        options["changes"] = [{"at": at, "name": name, "value": value} for at, name, value in changes]
        options["seconds"] = seconds
        left, right, shown = blank.evaluate(RENDER, [player.score, player.tempo, options])
        player.close()
        return np.stack([np.frombuffer(base64.b64decode(side), np.float32) for side in (left, right)], axis=1), shown

    return render


def onsets(samples, quiet_s=0.02):
    """Seconds at which sound begins after at least `quiet_s` of silence."""
    loud = np.flatnonzero(np.abs(samples).max(axis=1) > 1e-3)
    return loud[np.diff(loud, prepend=-RATE) > quiet_s * RATE] / RATE


def level(samples):
    return float(np.sqrt(np.mean(samples.astype(float) ** 2)))


def cents_off(samples, frequency):
    """How far the partial near `frequency` lies from it, in cents."""
    size = 8 * len(samples)
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size))
    near = np.flatnonzero(np.abs(1200 * np.log2(np.fft.rfftfreq(size, 1 / RATE)[1:] / frequency)) < 80) + 1
    peak = near[np.argmax(spectrum[near])]
    low, top, high = np.log(spectrum[peak - 1 : peak + 2])
    peak = peak + (low - high) / (low - 2 * top + high) / 2
    return 1200 * np.log2(peak * RATE / size / frequency)


def short(*positions, part="call", midi=CHORD):
    """Chords of a quarter of a beat, so that silence lies between them."""
    return [Event(Fraction(at), Fraction(1, 4), midi, part, n) for n, at in enumerate(positions)]


# --- what is heard ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("tempo", "swing"), [(60, 0.5), (97, 0.6), (132, 2 / 3)])
def test_onsets_are_those_of_the_score(play, tempo, swing):
    music = short(0, 0.5, 1, 1.5, 2, 3, 3.5, 4, 5.5, 6, 7)
    samples, shown = play(music, 10, tempo=tempo, swing=swing)
    wanted = [row["onset"] * 60 / tempo for row in as_data(music, tempo, swing)["events"]]
    heard = onsets(samples)
    assert len(heard) == len(wanted)
    assert np.abs(heard - wanted).max() < 0.005
    assert [step["time"] for step in shown[:-1]] == pytest.approx(wanted, abs=1e-4)
    assert shown[-1]["done"]


def test_pitches_are_within_five_cents(play):
    notes = range(40, 89)
    samples, _ = play([Event(n, 1, (midi,)) for n, midi in enumerate(notes)], len(notes), tempo=60)
    off = []
    for n, midi in enumerate(notes):
        heard, frequency = samples[int((n + 0.05) * RATE) : int((n + 0.9) * RATE), 0], 440 * 2 ** ((midi - 69) / 12)
        off.append(cents_off(heard, frequency))
        assert cents_off(heard, frequency * 2 ** (6 / 1200)) == pytest.approx(off[-1] - 6, abs=0.2)  # the meter reads
    assert np.abs(off).max() < 5


def test_it_is_as_loud_as_the_library_and_never_clips(play):
    chords = [Event(n, 1, CHORD) for n in range(4)]
    samples, _ = play(chords, 4, tempo=60)
    assert level(samples) == pytest.approx(level(render(chords, 60)[: 4 * RATE]), rel=0.15)
    half, _ = play(chords, 4, tempo=60, volume=VOLUME / 2)
    assert level(half) == pytest.approx(level(samples) / 2, rel=1e-3)
    thick = [Event(Fraction(n, 8), 8, (40, 47, 52, 56, 59, 64), "call", None, 1) for n in range(24)]
    loudest, _ = play(thick, 4, tempo=120, volume=1)
    assert 0.7 < np.abs(loudest).max() <= LOUDEST + 1e-3


@pytest.mark.parametrize("midi", [40, 57, 76])
def test_a_string_is_that_of_the_library(play, midi):
    """Sample by sample, until it is damped."""
    note = [Event(0, 2, (midi,))]
    here, there = play(note, 2, tempo=60)[0][: RATE * 9 // 5], render(note, 60)[: RATE * 9 // 5]
    assert np.abs(here - there).max() < 0.002 * np.abs(there).max()


def test_loop_goes_on_without_a_gap(play):
    music = short(*(n / 2 for n in range(24)))
    samples, shown = play(music, 7, tempo=120, loop=True, first=2, last=2)
    heard = onsets(samples)
    assert len(heard) == 28
    assert np.abs(heard - np.arange(28) / 4).max() < 0.005
    assert [step["number"] for step in shown][:18] == [*range(8, 16), *range(8, 16), 8, 9]


def test_a_ladder_of_tempos_is_counted_in_climbs_and_ends(play):
    music = short(0, 1, 2, 3)
    how = {"tempo": 60, "fastest": 130, "step": 60, "times": 2, "rest": 1, "count_in": 1}
    samples, shown = play(music, 32, **how)
    heard, wanted, start = onsets(samples), [], 0.0
    for tempo in (60, 120, 130):
        beats = [*range(8), *range(12, 16)]  # a bar counted in, one played, one of silence, one played
        wanted += [start + beat * 60 / tempo for beat in beats]
        start += 16 * 60 / tempo
    assert len(heard) == len(wanted)
    assert np.abs(heard - wanted).max() < 0.005
    assert [step["tempo"] for step in shown if "tempo" in step] == [60, 120, 130]
    assert shown[-1]["done"]
    assert shown[-1]["time"] == pytest.approx(start, abs=1e-3)


def test_a_loop_rests_a_bar_with_the_click_on_two_and_four(play):
    music = short(0, 2, 4, 6, 8, 10)
    how = {"tempo": 120, "loop": True, "rest": 1, "first": 2, "last": 2, "click": True, "backbeat": True}
    samples, shown = play(music, 7.9, **how)
    heard = onsets(samples)
    rounds = [[0, 1, 2, 3], [5, 7]]  # the bar: chords on 1 and 3, clicks on 2 and 4; then only the clicks
    wanted = [at + beat for at in (0, 8) for part in rounds for beat in part]
    assert np.abs(heard - np.array(wanted) / 2).max() < 0.005
    assert [step["number"] for step in shown] == [2, 3, 2, 3]


def test_the_form_is_played_out_and_once_as_written(play):
    head = "L:1/4\nQ:1/4=240\nK:C\n"
    tune = read_text(head + '|:"C"C4|[1D4:|[2E4"^Fine"||F4"^D.C. al Fine"|')
    arrangement = arrange(tune, density="every")
    for settings, bars in (({}, [0, 1, 0, 2, 3, 0, 2]), ({"once": True}, [0, 1, 2, 3]), ({"first": 2}, [1, 2, 3])):
        _, seen = play(arrangement, 9, **settings)
        assert [row["number"] for row in seen if "number" in row] == bars
        times = [row["time"] for row in seen if "number" in row]
        assert np.diff(times) == pytest.approx(np.full(len(bars) - 1, 1.0), abs=0.01)


def test_tempo_changes_where_the_player_is(play):
    samples, _ = play(short(*range(12)), 8, tempo=120, changes=[(1.2, "tempo", 60)])
    heard = onsets(samples)
    fast, slow = heard[heard < 1.2], heard[heard > 1.2 + AHEAD_S]
    assert np.abs(fast - np.arange(len(fast)) / 2).max() < 0.005
    assert np.abs(np.diff(slow) - 1).max() < 0.005
    change = len(fast) - slow[0]  # beat n sounds at t, and n = 2c + (t − c) where the change comes at c
    assert 1.2 - 0.005 <= change <= 1.2 + AHEAD_S + 0.005


def test_a_note_that_sounds_while_the_tempo_changes_ends_with_its_beat(play):
    samples, _ = play([Event(0, 4, CHORD), *short(6)], 6, tempo=60, changes=[(1.0, "tempo", 120)])
    loud = np.flatnonzero(np.abs(samples).max(axis=1) > 1e-5)
    end = loud[loud < 3.5 * RATE][-1] / RATE
    change = 2 * end - 4  # the fourth beat ends at e, and 4 = c + 2 (e − c)
    assert 1.0 - 0.02 <= change <= 1.0 + AHEAD_S + 0.02


def test_swing_bars_and_loop_change_while_it_plays(play):
    music = short(*(n / 2 for n in range(32)))
    samples, shown = play(
        music, 8, tempo=60, last=2, loop=True, changes=[(1.2, "swing", 0.75), (3.2, "first", 2), (6.0, "loop", False)]
    )
    assert [step.get("number", "end") for step in shown] == [*range(7), *range(8, 16), "end"]
    gaps = np.diff(onsets(samples))
    assert gaps[:2] == pytest.approx([0.5, 0.5], abs=0.005)
    assert gaps[3] == pytest.approx(0.25, abs=0.005)


def test_click_and_count_in_lead_a_pick_up_in(play):
    tune = read_text('M:3/4\nL:1/4\nK:C\n"C"G/z/|"Cmaj7"z3|"Dm7"z2 F|')
    clicking, _ = play(arrange(tune, tempo=60), 11, count_in=1, click=True)
    # one bar and the two beats the pick-up leaves out are counted, and then every beat
    assert np.abs(onsets(clicking) - np.arange(11)).max() < 0.005
    silent, _ = play(arrange(tune, tempo=60), 11, count_in=1)
    assert np.abs(onsets(silent) - np.arange(6)).max() < 0.005


def test_calls_come_from_the_left_and_answers_from_the_right(play):
    for part, side in (("call", 0), ("answer", 1)):
        samples, _ = play([Event(0, 1, CHORD, part)], 1, tempo=60)
        sides = [level(samples[:, 0]), level(samples[:, 1])]
        assert 1.3 < sides[side] / sides[1 - side] < 3
    music = [Event(0, 1, CHORD), Event(1, 1, CHORD, "answer")]
    call, _ = play(music, 2, tempo=60, balance=-1)
    reply, _ = play(music, 2, tempo=60, balance=1)
    assert level(call[:RATE]) > 0.01
    assert level(call[RATE + 10 :]) == 0
    assert level(reply[: RATE - 10]) == 0
    assert level(reply[RATE:]) > 0.01


def test_start_and_stop_make_no_clicks(play):
    samples, _ = play([Event(0, 8, CHORD)], 3, tempo=60, changes=[(1.0, "playing", False)])
    assert np.abs(samples[0]).max() < 1e-4
    assert level(samples[int(0.9 * RATE) : RATE]) > 0.002
    assert np.abs(samples[int(1.04 * RATE) :]).max() == 0
    bend = np.abs(np.diff(samples, n=2, axis=0)).max(axis=1)  # a click is a corner in the wave
    assert bend[int(0.98 * RATE) : int(1.05 * RATE)].max() <= 1.05 * bend[int(0.5 * RATE) : int(0.98 * RATE)].max()
    plain, _ = play([Event(0, 1, CHORD)], 2, tempo=60)
    bend = np.abs(np.diff(plain, n=2, axis=0)).max(axis=1)
    assert bend[int(0.95 * RATE) : int(1.05 * RATE)].max() <= 1.05 * bend[int(0.5 * RATE) : int(0.95 * RATE)].max()


# --- what is seen: the player on a page of its own ----------------------------------------------------------------

SHOW = """async ([css, ...states]) => {
    document.body.innerHTML = "<style>body { margin: 12px }</style>";
    const style = document.createElement("style");
    style.textContent = css;
    document.head.append(style);
    window.players = [];
    for (const state of states) {
        const listeners = {};
        const model = {
            get: name => state[name],
            set(name, value) {
                if (state[name] === value) return;
                state[name] = value;
                for (const heard of [...(listeners[`change:${name}`] ?? [])]) heard();
            },
            on: (name, heard) => (listeners[name] ??= []).push(heard),
            off: (name, heard) => (listeners[name] = listeners[name].filter(other => other !== heard)),
            save_changes() {},
        };
        const widget = made.default(), el = document.body.appendChild(document.createElement("div"));
        const close = [widget.initialize({ model }), widget.render({ model, el })].reverse();
        window.players.push({ model, el, close: () => close.forEach(one => one()),
            heard: () => Object.values(listeners).flat().length });
    }
}"""
TAP = """(() => {
    window.taps = [];
    const connect = AudioNode.prototype.connect;
    AudioNode.prototype.connect = function (target, ...rest) {
        if (target instanceof AudioDestinationNode && target.context instanceof AudioContext) {
            const tap = new AnalyserNode(target.context, { fftSize: 256 });
            connect.call(this, tap);
            window.taps.push(tap);
        }
        return connect.call(this, target, ...rest);
    };
})()"""
LEVEL = """() => taps.map(tap => {
    const wave = new Float32Array(tap.fftSize);
    tap.getFloatTimeDomainData(wave);
    return Math.hypot(...wave) / Math.sqrt(wave.length);
})"""


@pytest.fixture
def shown(opened):
    """Shows players on an empty page that listens in on the sound."""
    players = []

    def show(*given):
        watched = opened("about:blank")
        page = watched.page
        page.evaluate(TAP)
        page.evaluate(LOAD, Player.class_traits()["_esm"].default_value)
        players.extend(given)
        names = ["score", "svg", "theme", "tempo", "now", "playing", *SETTINGS]
        page.evaluate(SHOW, [given[0]._css, *({name: getattr(one, name) for name in names} for one in given)])
        return watched

    yield show
    for player in players:
        player.close()


@pytest.fixture(scope="module")
def piece():
    return respond(arrange(read(TUNE), tempo=200))


def line(page):
    return page.locator(".block-player-line").first.inner_text()


def test_space_plays_and_stops_and_the_cursor_moves(shown, piece):
    watched = shown(Player(piece, svg=engrave(piece)))
    page = watched.page
    assert page.locator(".block-player-ground").count() == 0
    page.locator(".block-player").focus()
    page.keyboard.press(" ")
    page.wait_for_function("document.querySelector('.block-player-ground')")
    seen = []
    for _ in range(200):
        seen.append((page.evaluate("players[0].model.get('now')"), line(page)))
        page.wait_for_timeout(50)
        if seen[-1][0] > 4:
            break
    assert [number for number, _ in seen] == sorted(number for number, _ in seen)
    assert seen[-1][0] > 4
    player = Player(piece)
    assert seen[-1][1] == player.score["events"][seen[-1][0]]["text"]
    player.close()
    assert max(page.evaluate(LEVEL)) > 0.002
    places = """() => {
        const find = name => [...document.querySelectorAll(name)], lit = find('.block-player-now');
        const box = element => element.getBoundingClientRect(), grounds = find('.block-player-ground').map(box);
        const under = one => grounds.some(ground => ground.left <= one.left && ground.right >= one.right
            && ground.top <= one.top && ground.bottom >= one.bottom);
        return { ids: lit.flatMap(one => [one.id, ...[...one.querySelectorAll('g.note')].map(note => note.id)]),
            id: players[0].model.get('score').events[players[0].model.get('now')].id,
            staves: new Set(lit.map(one => one.closest('g.staff'))).size,
            under: lit.map(box).every(under), grounds: grounds.length - lit.length,
            apart: Math.max(...grounds.map(one => one.height)) < 0.6 * box(lit[0].closest('g.measure')).height };
    }"""
    found = page.evaluate(places)
    assert found["id"] in found["ids"]
    assert (found["staves"], found["under"], found["grounds"], found["apart"]) == (2, True, 0, True)
    assert page.locator(".block-player-play").inner_text() == "■ Stop"
    page.keyboard.press(" ")
    page.wait_for_timeout(200)
    assert page.evaluate(LEVEL) == [0]
    assert page.locator(".block-player-now, .block-player-ground").count() == 0
    assert page.locator("[role=status]").inner_text().startswith("Stopped at bar ")
    assert watched.errors == []
    assert watched.outside == []


def test_every_control_has_a_name_and_does_what_it_says(shown, piece):
    page = shown(Player(piece, svg=engrave(piece))).page
    get = "name => players[0].model.get(name)"
    for label, trait, key in (
        ("Tempo", "tempo", "ArrowRight"),
        ("Volume", "volume", "ArrowLeft"),
        ("Swing", "swing", "ArrowRight"),
        ("Call and answer", "balance", "ArrowLeft"),
    ):
        before = page.evaluate(get, trait)
        page.get_by_role("slider", name=label).press(key)
        assert (page.evaluate(get, trait) > before) is (key == "ArrowRight")
    for label, trait in (("Loop", "loop"), ("Click", "click")):
        page.get_by_role("checkbox", name=label, exact=True).press(" ")
        assert page.evaluate(get, trait) is True
    page.get_by_label("Count-in").select_option("2 bars")
    page.get_by_label("to bar").select_option("4")
    assert [page.evaluate(get, name) for name in ("count_in", "first", "last")] == [2, 1, 4]
    page.get_by_label("From bar").select_option("6")
    assert [page.evaluate(get, name) for name in ("first", "last")] == [6, 6]
    page.get_by_text("Practise").press("Enter")
    for label, words, trait, value in (
        ("Rest before each loop", "1 bar", "rest", 1),
        ("Each tempo", "6 faster", "step", 6),
        ("played", "2 times", "times", 2),
    ):
        page.get_by_label(label).select_option(words)
        assert page.evaluate(get, trait) == value
    page.get_by_label("up to").fill("140")
    page.get_by_label("up to").press("Tab")
    page.get_by_role("checkbox", name="Click on 2 and 4").press(" ")
    assert [page.evaluate(get, name) for name in ("fastest", "backbeat")] == [140, True]
    assert page.evaluate(get, "playing") is False
    assert page.get_by_text(CAUTION).is_visible()
    high = "[...document.querySelectorAll('button, select, label:not([hidden])')].map(one => one.offsetHeight)"
    assert min(page.evaluate(high)) >= 36  # for fingers


def test_no_slider_for_answers_where_there_are_none_and_no_empty_sheet(shown):
    page = shown(Player(cycle_events([Grip.parse("x3545x")]))).page
    assert not page.get_by_label("Call and answer").is_visible()
    assert not page.locator(".block-player-paper").is_visible()
    assert page.get_by_role("slider", name="Tempo").is_visible()


def test_one_player_at_a_time_and_closing_frees_everything(shown):
    grips = [Grip.parse(text) for text in ("x3545x", "x7958x")]
    page = shown(Player(cycle_events(grips), loop=True), Player(cycle_events(grips), loop=True)).page
    buttons = page.locator(".block-player-play")
    buttons.nth(0).click()
    page.wait_for_function("document.querySelectorAll('.block-player-play')[0].textContent.includes('Stop')")
    buttons.nth(1).click()
    page.wait_for_timeout(300)
    assert buttons.all_inner_texts() == ["▶ Play", "■ Stop"]
    assert [value > 0 for value in page.evaluate(LEVEL)] == [False, True]
    page.evaluate("players[1].close()")
    page.wait_for_function("taps[1].context.state === 'closed'")
    assert page.evaluate("players.map(one => [one.heard() > 0, one.el.childElementCount])") == [[True, 1], [False, 0]]


def test_other_music_comes_in_while_it_plays_and_a_late_timer_does_no_harm(shown):
    watched = shown(Player(cycle_events([Grip.parse("x3545x")] * 8), tempo=120, loop=True, first=2, last=3))
    page = watched.page
    page.locator(".block-player-play").click()
    page.wait_for_function("players[0].model.get('now') >= 2")
    other = Player(cycle_events([Grip.parse("x7958x")] * 2, beats=1), ["one", "two"])
    page.evaluate(
        "score => Object.entries({ first: 1, last: 1, now: 0, score }).forEach(one => players[0].model.set(...one))",
        other.score,
    )
    other.close()
    page.wait_for_function("document.querySelector('.block-player-line').textContent === 'two'")
    page.evaluate("() => { const start = performance.now(); while (performance.now() < start + 700); }")
    page.wait_for_function("document.querySelector('.block-player-line').textContent === 'one'")
    assert max(page.evaluate(LEVEL)) > 0.002
    assert watched.errors == []


def test_the_last_note_ends_the_play(shown):
    page = shown(Player([Event(0, 1, CHORD), Event(1, 1, CHORD)], tempo=240)).page
    page.locator(".block-player-play").click()
    page.wait_for_function("players[0].model.get('now') === 1")
    page.wait_for_function("!players[0].model.get('playing')")
    assert page.locator(".block-player-play").inner_text() == "▶ Play"
    assert line(page) == "2 of 2"


@pytest.mark.parametrize("theme", ["paper", "projector light", "projector dark"])
def test_themes_are_legible(shown, piece, theme):
    page = shown(Player(piece, svg=engrave(piece, projector=theme != "paper"), theme=theme)).page
    colours = """(selector) => { const box = document.querySelector(selector), part = (element, name) => {
        const found = getComputedStyle(element)[name].match(/[\\d.]+/g).map(Number);
        return found.length < 4 || found[3] ? found.slice(0, 3) : part(element.parentElement, name) };
        return [part(box, 'color'), part(box, 'backgroundColor'), parseFloat(getComputedStyle(box).fontSize)] }"""

    def luminance(rgb):
        parts = [(c / 255) / 12.92 if c <= 10 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in rgb]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    for selector in ("button", "select", "label", ".block-player-line", ".block-player-caution", ".block-player-paper"):
        ink, ground, size = page.evaluate(colours, f".block-player {selector}")
        light, dark = sorted((luminance(ink), luminance(ground)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 4.5, selector  # WCAG 2.1, success criterion 1.4.3
        assert size >= (12 if theme == "paper" else 17)
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280
    assert page.evaluate("document.querySelector('.block-player').getBoundingClientRect().bottom") <= 720


# --- in JupyterLab ------------------------------------------------------------------------------------------------

CELL = """from pathlib import Path
from ipywidgets import jslink
from harmonylib import Neck, arrange, grip_marks, read, respond
from harmonylib.score.engraving import engrave
from widgets.neck import NeckView
from widgets.player import Player
made = respond(arrange(read(Path({root!r}) / {tune!r}), tempo=180))
player = Player(made, svg=engrave(made))
grips = [row["text"].split()[-1] for row in player.score["events"]]
neck = NeckView(Neck(), [grip_marks(Neck(), grip, label="note") for grip in grips], titles=grips)
link = jslink((player, "now"), (neck, "frame"))
display(neck, player)"""


def test_in_jupyterlab(notebook):
    watched = notebook("player", [CELL.format(root=str(ROOT), tune=TUNE)])
    page = watched.page
    page.evaluate(TAP)
    button = page.locator(".block-player-play")
    button.click()
    page.wait_for_function("document.querySelector('.block-player-line').textContent.startsWith('bar 2')")
    assert page.evaluate("taps.length") == 1
    assert page.evaluate(LEVEL)[0] > 0.002
    shown = "[...document.querySelectorAll('.block-player-line, .neck-title')].map(one => one.textContent)"
    grips = page.evaluate(f"{shown}.map(text => text.split(' ').at(-1))")
    assert grips[0] == grips[1]  # the neck shows what sounds
    first = page.locator(".block-player-ground").first.bounding_box()
    page.get_by_label("to bar").select_option("2")
    page.get_by_role("checkbox", name="Loop").check()
    page.get_by_role("slider", name="Tempo").press("PageUp")
    page.wait_for_function("document.querySelector('.block-player-line').textContent.startsWith('bar 1')")
    assert page.locator(".block-player-ground").first.bounding_box() != first
    page.wait_for_function("document.querySelector('.block-player-line').textContent.startsWith('bar 2')")
    assert button.inner_text() == "■ Stop"
    button.press("d")  # JupyterLab's own key for deleting a cell, twice
    button.press("d")
    assert page.locator(".block-player").count() == 1
    button.press(" ")
    page.wait_for_function("document.querySelector('.block-player-play').textContent.includes('Play')")
    page.wait_for_timeout(200)
    assert page.evaluate(LEVEL) == [0]
    said = """async code => { const kernel = jupyterapp.shell.currentWidget.sessionContext.session.kernel;
        let text = ''; const asked = kernel.requestExecute({ code });
        asked.onIOPub = message => { text += message.content.text ?? '' };
        await asked.done; return text.trim() }"""
    state = "print(player.tempo > 180, player.loop, player.last, player.playing, player.now > 0)"
    assert page.evaluate(said, state) == "True True 2 False True"
    page.evaluate(said, "player.close()")
    page.wait_for_function("!document.querySelector('.block-player')")
    page.wait_for_function("taps[0].context.state === 'closed'")
    assert watched.errors == []
    assert watched.outside == []
