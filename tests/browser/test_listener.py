"""The listener in a browser: the same verdicts as Python's, and the microphone from the click to its end."""

import shutil

import numpy as np
import pytest
import soundfile

from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.hearing.ear import weights
from harmonylib.hearing.questions import question
from harmonylib.hearing.spectra import RATE
from harmonylib.hearing.tuner import tune_up
from harmonylib.hearing.verdicts import hear
from tests.browser.conftest import FLAGS
from tests.hearing import material
from widgets.listener import Listener

pytestmark = pytest.mark.browser
LOAD = "async esm => { window.made = await import(URL.createObjectURL(new Blob([esm], {type: 'text/javascript'}))) }"
HEAR = "([take, rate, question, table]) => made.EAR.hear(Float64Array.from(take), rate, question, table)"
TUNE = "([take, rate, open]) => made.TUNER.tuneUp(Float64Array.from(take), rate, open)"
ESM = Listener.class_traits()["_esm"].default_value
MODEL = """traits => {
    const handlers = [];
    window.model = {
        get: name => traits[name],
        set: (name, value) => { traits[name] = value; handlers.forEach(act => act()); },
        save_changes: () => {}, on: (_, act) => handlers.push(act), off: () => {},
    };
    document.body.innerHTML = '';
    window.leave = made.default.render({ model, el: document.body });
}"""


@pytest.fixture(scope="module")
def blank(opened):
    """An empty page with the listener's module as `made`."""
    watched = opened("about:blank")
    watched.page.evaluate(LOAD, ESM)
    return watched.page


@pytest.mark.parametrize("kind", material.KINDS)
def test_browser_and_python_agree(blank, kind):
    chance = np.random.default_rng(len(kind))
    grips = material.asked_grips()
    for rate in (RATE, RATE, 48_000):
        one = grips[int(chance.integers(len(grips)))]
        take = material.recorded_take(
            material.performed(one, kind, chance), material.of_strings, 20, chance, grips[7].midi if rate > RATE else ()
        )
        if rate != RATE:
            take = np.interp(np.arange(0, len(take), RATE / rate), np.arange(len(take)), take)
        asked = question(one.midi)
        heard, wanted = blank.evaluate(HEAR, [take.tolist(), rate, asked.as_data(), weights()]), hear(take, rate, asked)
        assert (heard["kind"], heard["text"]) == (wanted.kind, wanted.text)
        assert heard["sure"] == pytest.approx(wanted.sure, abs=1e-4)


def test_browser_tunes_as_python_does(blank):
    for place, midi in enumerate(Neck().open_midi):
        take = material.bent(material.of_strings(midi, np.random.default_rng(0)), 7 * place - 20)
        found, wanted = blank.evaluate(TUNE, [take.tolist(), RATE, list(Neck().open_midi)]), tune_up(take, RATE)
        assert 6 - found["number"] == wanted.string
        assert found["cents"] == pytest.approx(wanted.cents, abs=0.2)


@pytest.fixture
def played(chromium, tmp_path):
    """A function that opens a listener in a Chromium of its own whose microphone plays these samples."""
    open_browsers = []

    def start(samples, listener, permitted=True, silent_s=6):
        wav = tmp_path / "microphone.wav"
        long = np.concatenate([samples, np.random.default_rng(0).normal(0, 1e-4, silent_s * RATE)])
        soundfile.write(wav, np.repeat(long, 2).astype(np.float32), 2 * RATE, subtype="PCM_16")
        flags = ["--use-fake-device-for-media-stream", f"--use-file-for-fake-audio-capture={wav}"]
        flags += ["--use-fake-ui-for-media-stream"] if permitted else ["--deny-permission-prompts"]
        path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))))
        browser = chromium.browser_type.launch(executable_path=path, args=[*FLAGS, *flags])
        open_browsers.append(browser)
        page = browser.new_page()
        page.route("http://127.0.0.1/", lambda route: route.fulfill(body="<body></body>", content_type="text/html"))
        page.goto("http://127.0.0.1/")  # a microphone wants a secure address
        page.evaluate(LOAD, ESM)
        names = "off title mode questions weights about tuning strings tempo now verdicts tuned".split()
        page.evaluate(MODEL, {name: getattr(listener, name) for name in names})
        listener.close()
        page.click(".listener-button")
        return page

    yield start
    for browser in open_browsers:
        browser.close()


def strum(notes):
    return material.recorded_take(tuple(notes), material.of_strings, 30, np.random.default_rng(3))


@pytest.mark.parametrize(("notes", "kinds"), [((48, 55, 59, 64), {"right"}), ((48, 55, 64), {"missing", "unsure"})])
def test_a_take_is_heard_through_the_microphone(played, notes, kinds):
    page = played(strum(notes), Listener(["x3545x"]))
    page.wait_for_function("model.get('verdicts').length > 0", timeout=20_000)
    assert page.evaluate("model.get('verdicts')[0].kind") in kinds
    assert page.inner_text(".listener-light") == "microphone off"  # one take, and it is free again


def test_refused_microphone_is_told(played):
    page = played(strum((48,)), Listener(["x3545x"]), permitted=False)
    page.wait_for_function("document.querySelector('.listener-said').textContent.includes('all else works')")
    assert page.inner_text(".listener-light") == "microphone off"


def test_cycle_goes_on_when_right(played):
    first, second = Neck().midi(Grip.parse("x3545x").frets), Neck().midi(Grip.parse("x7958x").frets)
    both = np.concatenate([strum(first), strum(second)])
    page = played(both, Listener(["x3545x", "x7958x"], "cycle"))
    page.wait_for_function("model.get('verdicts').filter(v => v.kind === 'right').length === 2", timeout=30_000)
    assert "all 2 played" in page.inner_text(".listener-said")


def test_leaving_frees_the_microphone(played):
    page = played(strum((48,)), Listener(["x3545x"]))
    page.wait_for_function("document.querySelector('.listener-light').textContent.includes('microphone on')")
    page.evaluate(
        """() => { window.ended = 0; const stop = MediaStreamTrack.prototype.stop;
        MediaStreamTrack.prototype.stop = function () { window.ended++; stop.call(this); }; leave(); }"""
    )
    assert page.evaluate("window.ended") == 1
    assert page.inner_html("body") == ""
