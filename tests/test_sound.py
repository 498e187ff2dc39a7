"""What is heard, measured in the samples: pitch, onsets, swing, level, balance, click, and the files made of them."""

import base64
import hashlib
import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Answer, Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import MOST_FRETS, TUNINGS, Neck
from harmonylib.sound.events import ACCENT, Event, as_data, click_events, cycle_events, played_events
from harmonylib.sound.listening import CAUTION, listen
from harmonylib.sound.rendering import KNEE, LOUDEST, RELEASE_S, REST_S, STRUM_S, mp3, render, wav
from harmonylib.sound.strings import HIGHEST, LOWEST, RATE, _string, string
from harmonylib.theory.voicings import inversions, voice
from harmonylib.tunes.bars import bars_meant
from harmonylib.tunes.reading import read, read_text
from tests.witnesses import energy
from tests.witnesses.energy import Wave, decibels, loudness, near
from tests.witnesses.fft import cents_off

ROOT = Path(__file__).resolve().parent.parent
FOUR = (48, 55, 59, 64)
HALF, THIRD = Fraction(1, 2), Fraction(1, 3)


@pytest.fixture(scope="module")
def lantern() -> Arrangement:
    return arrange(read(ROOT / "chapters" / "tunes" / "lantern_on_the_landing.abc"))


@pytest.fixture(scope="module")
def pick_up() -> Arrangement:
    return arrange(read(ROOT / "chapters" / "tunes" / "slate_roof_blues.abc"))


def rises(samples: Wave) -> list[float]:
    return energy.rises(samples, RATE)


# --- pitch --------------------------------------------------------------------------------------------------------


def test_every_fret_of_every_tuning_can_sound() -> None:
    for tuning in TUNINGS:
        neck = Neck(tuning=tuning, frets=MOST_FRETS)
        assert min(neck.open_midi) >= LOWEST
        assert max(neck.open_midi) + MOST_FRETS <= HIGHEST


def test_every_note_of_a_chord_is_there_and_no_other() -> None:
    mono = render([Event(0, 2, FOUR)], tempo=60).sum(axis=1)
    spectrum = np.abs(np.fft.rfft(mono * np.hanning(len(mono)), 1 << 18))
    height = {m: spectrum[round(440.0 * 2 ** ((m - 69) / 12) * (1 << 18) / RATE)] for m in range(47, 67)}
    weakest = min(height[midi] for midi in FOUR)
    partials = {60, 67}  # octave partials of the lower notes
    assert all(value < 0.1 * weakest for midi, value in height.items() if midi not in {*FOUR, *partials})


# --- time ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tempo", [60, 132, 200])
def test_onsets_are_those_of_the_score(lantern: Arrangement, tempo: int) -> None:
    """Eight bars, each energy rise against the notes of the tune itself; no rise too many."""
    heard = rises(render(played_events(lantern, 1, 8), tempo))
    written = [float(n.onset) * 60 / tempo for n in lantern.tune.notes if n.onset < 32]
    assert len(written) > 20
    assert near(heard, written)


@pytest.mark.parametrize(("swing", "off_beat"), [(0.5, 0.5), (0.6, 0.6), (2 / 3, 2 / 3)])
def test_swing_moves_the_off_beat_eighth(swing: float, off_beat: float) -> None:
    eighths = [Event(HALF * n, HALF, FOUR) for n in range(8)]
    heard = rises(render(eighths, 60, swing))
    assert near(heard, [beat + part for beat in range(4) for part in (0, off_beat)])


def test_swing_leaves_triplets_and_metres_in_eighths_alone() -> None:
    triplet = [Event(0, HALF, FOUR), Event(HALF, HALF, FOUR), *(Event(1 + THIRD * n, THIRD, FOUR) for n in range(3))]
    assert near(rises(render(triplet, 60, 0.6)), [0, 0.6, 1, 4 / 3, 5 / 3])
    as_floats = [Event(float(e.onset), float(e.duration), e.midi) for e in triplet]
    assert near(rises(render(as_floats, 60, 0.6)), [0, 0.6, 1, 4 / 3, 5 / 3])
    compound = [Event(HALF * n, HALF, FOUR) for n in range(6)]
    assert near(rises(render(compound, 60, 0.6, metre=(6, 8))), [0, 0.5, 1, 1.5, 2, 2.5])


@given(
    st.lists(st.fractions(0, 8, max_denominator=48), min_size=2, max_size=20, unique=True),
    st.floats(0.5, 0.75),
)
def test_swing_keeps_the_order_and_the_beats(moments: list[Fraction], swing: float) -> None:
    moments.sort()
    row = [Event(a, b - a, (60,)) for a, b in pairwise(moments)]
    moved = [float(r["onset"]) for r in as_data(row, 120, swing)["events"]]  # type: ignore[attr-defined]
    assert all(a < b for a, b in pairwise(moved))
    assert all(at == e.onset for at, e in zip(moved, row, strict=True) if e.onset == int(e.onset))


@pytest.mark.parametrize("tempo", [10, 47.5, 600])
def test_the_length_follows_from_the_tempo(tempo: float) -> None:
    samples = render([Event(0, 3, FOUR)], tempo)
    assert abs(len(samples) / RATE - 180 / tempo - REST_S) < 1 / RATE


def test_a_chord_is_strummed_from_the_low_string() -> None:
    """Until the second string starts only the lowest sounds; it takes a few milliseconds from string to string."""
    gap = round(STRUM_S * RATE)
    chord, low = (render([Event(0, 1, notes)], 60)[:, 0] for notes in (FOUR, FOUR[:1]))
    share = chord[gap // 2] / low[gap // 2]
    np.testing.assert_allclose(chord[:gap], share * low[:gap], rtol=1e-4)
    assert np.abs(chord[gap : 2 * gap] - share * low[gap : 2 * gap]).max() > 0.01
    assert 0.002 <= STRUM_S <= 0.01


# --- level, balance, silence --------------------------------------------------------------------------------------


def test_all_the_neck_is_equally_loud() -> None:
    """Single notes, E2 to D6, within 0.5 dB."""
    levels = [loudness(render([Event(0, 1, (midi,))], 240)) for midi in range(40, 87)]
    assert decibels(max(levels) / min(levels)) < 0.5


@pytest.mark.parametrize("tempo", [60, 120, 240])
@pytest.mark.parametrize("kind", ["maj7", "m7", "7", "m7b5", "dim7", "6"])
def test_a_chord_of_four_notes_is_as_loud_as_one_note(kind: str, tempo: int) -> None:
    """Within 1.5 dB of its melody note alone: every inversion in drop 2 and drop 3, roots a fourth apart."""
    neck = Neck()
    shapes = {v for root in "CFBE" for spread in ("drop 2", "drop 3") for v in inversions(root + kind, spread)}
    chords = {neck.midi(grip.frets) for shape in shapes for grip in neck.grips(shape)}
    assert len(chords) > 20
    for notes in chords:
        four, one = (loudness(render([Event(0, 1, n)], tempo)) for n in (notes, notes[-1:]))
        assert abs(decibels(four / one)) < 1.5


def test_quiet_stays_quiet() -> None:
    """Half the volume or half the velocity is half of every sample: nothing is made louder behind one's back."""
    full = render([Event(0, 1, FOUR, velocity=0.8)], 60, volume=0.4)
    np.testing.assert_allclose(render([Event(0, 1, FOUR, velocity=0.8)], 60, volume=0.2), full / 2, atol=1e-7)
    np.testing.assert_allclose(render([Event(0, 1, FOUR, velocity=0.4)], 60, volume=0.4), full / 2, atol=1e-7)
    assert not render([Event(0, 1, FOUR)], 60, volume=0).any()


def test_the_volume_starts_low() -> None:
    assert np.abs(render([Event(n, 1, FOUR) for n in range(8)], 120)).max() < 0.35


def test_a_dense_loud_passage_does_not_clip() -> None:
    crowd = [
        Event(Fraction(n, 4), 1, tuple(range(40 + n % 7, 84, 9)), part, velocity=1.0)
        for n in range(64)
        for part in ("call", "answer")
    ]
    samples = render(crowd, 120, volume=1, click=True)
    peak = float(np.abs(samples).max())
    assert KNEE < peak <= LOUDEST == 0.9
    assert len(np.unique(np.abs(samples)[np.abs(samples) > KNEE])) > 100, "bent, not cut off flat"


def test_it_starts_and_ends_in_silence_without_a_jump(lantern: Arrangement) -> None:
    samples = render(played_events(lantern, 1, 4), 132, click=True, count_in=1)
    rest = round(REST_S * RATE) - 1
    assert not samples[0].any()
    assert not samples[-rest:].any()
    steps = np.abs(np.diff(samples, axis=0)).max(axis=1)
    assert steps[:3].max() < 0.01
    assert steps[-rest - 20 :].max() < 0.001


def test_a_note_is_damped_at_its_end_without_a_click() -> None:
    """The last 30 ms fade; no sample jumps further there than while the note rings."""
    samples = render([Event(0, 1, FOUR), Event(2, 1, FOUR)], 60)[:, 0]
    steps = np.abs(np.diff(samples))
    release = round(RELEASE_S * RATE)
    ringing, fading = steps[RATE // 2 : RATE - release], steps[RATE - release : RATE + 10]
    assert fading.max() <= ringing.max()
    assert not samples[RATE + 1 : 2 * RATE].any()
    assert np.abs(samples[RATE - 2 * release : RATE - release]).max() > 0.01
    assert np.abs(samples[RATE - 20 : RATE]).max() < 0.001


@pytest.mark.parametrize(("part", "sign"), [("call", 1), ("answer", -1), ("click", 0)])
def test_calls_come_from_the_left_and_answers_from_the_right(part: str, sign: int) -> None:
    notes = (ACCENT,) if part == "click" else FOUR
    left, right = (np.sqrt((side.astype(float) ** 2).mean()) for side in render([Event(0, 1, notes, part)], 60).T)
    difference = decibels(left / right)
    assert 3 < difference * sign < 9 if sign else abs(difference) < 1e-3


def test_panning_keeps_the_power() -> None:
    call, answer = (loudness(render([Event(0, 1, FOUR, part, velocity=0.5)], 60)) for part in ("call", "answer"))
    assert call == pytest.approx(answer, rel=1e-5)


# --- click and count-in -------------------------------------------------------------------------------------------


def click_pitch(samples: Wave, at: float) -> float:
    start = round(at * RATE)
    spectrum = np.abs(np.fft.rfft(samples[start : start + RATE // 50, 0], 8192))
    return float(spectrum.argmax() * RATE / 8192)


@pytest.mark.parametrize(
    ("metre", "beats"),
    [((4, 4), [0, 1, 2, 3]), ((3, 4), [0, 1, 2]), ((6, 8), [0, 1.5]), ((2, 2), [0, 2]), ((7, 8), [0, 1, 2])],
)
def test_a_click_on_every_felt_beat_after_the_count_in(metre: tuple[int, int], beats: list[float]) -> None:
    whole = 4 * metre[0] / metre[1]
    quiet = [Event(0, 2 * whole, FOUR, velocity=0.0)]
    samples = render(quiet, 60, count_in=1, click=True, metre=metre)
    wanted = [bar * whole + beat for bar in range(3) for beat in beats]
    assert near(rises(samples), wanted)
    high = [at for at in wanted if click_pitch(samples, at) > 1500]
    assert high == [0, whole, 2 * whole]


def test_the_count_in_alone_leaves_the_music_as_it_is() -> None:
    music = [Event(n, 1, FOUR) for n in range(8)]
    counted, plain = render(music, 120, count_in=2), render(music, 120)
    assert len(counted) - len(plain) == 4 * RATE
    np.testing.assert_array_equal(counted[4 * RATE :], plain)
    assert near(rises(counted), [n / 2 for n in range(16)])


def test_a_pick_up_is_counted_in(pick_up: Arrangement) -> None:
    """Two beats of a four-beat bar are missing: six clicks lead in, and beat 1 is the bar line."""
    bars = bars_meant(pick_up.tune, (0, 2))
    clicks = click_events(bars, count_in=1)
    assert [(e.onset, e.midi[0] == ACCENT) for e in clicks] == [(n, n in (-6, -2, 2, 6)) for n in range(-6, 10)]
    first = played_events(pick_up, 0, 2)[0]
    assert (first.onset, first.index) == (1, 0), "the first note stands on the fourth beat"


def test_a_pick_up_of_one_eighth_is_off_the_beat() -> None:
    made = arrange(read_text('X:1\nM:4/4\nL:1/8\nK:C\nG|"C"c2 e2 g4|"G7"f4 d4|"C"c6 z|]'))
    found = played_events(made)
    assert [e.onset for e in found[:3]] == [HALF, 1, 2]
    assert near(rises(render(found, 60, 0.6))[:2], [0.6, 1])
    assert click_events(made.tune.bars, 0)[0] == Event(1, 1, (ACCENT,), "click", None, 0.8)


# --- from arrangement to events -----------------------------------------------------------------------------------


def test_every_note_of_the_arrangement_sounds_with_its_grip(lantern: Arrangement) -> None:
    found = played_events(lantern)
    assert [e.index for e in found] == list(range(len(lantern.choices)))
    for event, choice in zip(found, lantern.choices, strict=True):
        assert choice.grip
        assert event.midi == lantern.settings.neck.midi(choice.grip.frets)
        assert event.midi[-1] == choice.note.pitch.midi
        assert (event.onset, event.duration, event.part) == (choice.note.onset, choice.note.duration, "call")


def test_some_bars_begin_at_nought_and_end_at_the_bar_line(lantern: Arrangement) -> None:
    whole, part = played_events(lantern), played_events(lantern, 3, 4)
    assert part == tuple(replace(e, onset=e.onset - 8) for e in whole if 8 <= e.onset < 16)
    tied = arrange(read_text('X:1\nM:2/4\nL:1/4\nK:C\n"C"E G-|G c|"F"A2|]'))
    assert [(e.onset, e.duration) for e in played_events(tied, 1, 1)] == [(0, 1), (1, 1)]
    assert [(e.onset, e.duration) for e in played_events(tied, 2, 2)] == [(1, 1)]


def test_an_answer_sounds_and_its_call_makes_room() -> None:
    made = arrange(read_text('X:1\nM:4/4\nL:1/4\nK:C\n"Cmaj7"e4|"Dm7"d4|]'))
    answer = Answer(0, Fraction(2), Fraction(2), voice("Cmaj7", "drop 2", "E4"), Grip.parse("x3545x"))
    found = played_events(replace(made, answers=(answer,)))
    assert [(e.part, e.index, e.onset, e.duration) for e in found] == [
        ("call", 0, 0, 2),
        ("answer", 0, 2, 2),
        ("call", 1, 4, 4),
    ]
    assert found[1].midi == FOUR
    left, right = (np.abs(side) for side in render(found, 60).T)
    assert left[:RATE].sum() > right[:RATE].sum()
    assert left[2 * RATE : 3 * RATE].sum() < right[2 * RATE : 3 * RATE].sum()


def test_a_note_off_the_neck_is_silent() -> None:
    made = arrange(read_text("X:1\nM:4/4\nL:1/4\nK:C\n\"C\"E G c e|c e c' c'''|]"), neck=Neck(frets=5))
    silent = {choice.index for choice in made.choices if choice.grip is None}
    assert silent
    assert {e.index for e in played_events(made)} == set(range(8)) - silent


def test_a_cycle_is_one_grip_after_another() -> None:
    neck = Neck(tuning="dropped D", capo=2)
    found = cycle_events((Grip.parse(g) for g in ("x3545x", "0x0x0x")), neck, Fraction(3, 2))
    assert [(e.onset, e.duration, e.midi, e.index) for e in found] == [
        (0, Fraction(3, 2), (50, 57, 61, 66), 0),
        (Fraction(3, 2), Fraction(3, 2), (40, 52, 61), 1),
    ]


def test_the_data_for_a_browser_are_plain(lantern: Arrangement) -> None:
    bars = bars_meant(lantern.tune, (1, 2))
    played = (*played_events(lantern, 1, 2), *click_events(bars, count_in=1))
    data = json.loads(json.dumps(as_data(played, 96, swing=2 / 3)))
    assert (data["tempo"], data["length"], len(data["events"])) == (96, 8, len(played))
    times = [row["onset"] * 60 / 96 for row in data["events"] if row["part"] == "call"]
    assert near(rises(render(played_events(lantern, 1, 2), 96, 2 / 3)), times)
    assert {row["pan"] for row in data["events"]} == {-0.35, 0.0}


# --- files and the notebook ---------------------------------------------------------------------------------------


def test_the_mp3_decodes_to_the_same_sound() -> None:
    """Longer than one chunk: the length within a frame and the padding, pitch within a cent, level within half a dB."""
    made = render([Event(0, 2, (69,)), *(Event(n, 2, FOUR) for n in range(2, 12, 2))], 60)
    assert len(made) > 3 * 65_536
    decoded, rate = soundfile.read(io.BytesIO(mp3(made)))
    assert rate == RATE
    assert decoded.shape[1] == 2
    assert abs(len(decoded) - len(made)) <= 2304
    assert abs(cents_off(decoded[: 2 * RATE].sum(axis=1), RATE, 440.0)) < 1
    assert abs(decibels(loudness(decoded) / loudness(made))) < 0.5
    assert loudness(decoded[: len(made)] - made) < 0.2 * loudness(made)


def test_the_wav_decodes_to_the_same_samples() -> None:
    made = render([Event(0, 1, FOUR)], 60)
    decoded, rate = soundfile.read(io.BytesIO(wav(made)), dtype="float32")
    assert rate == RATE
    np.testing.assert_allclose(decoded, made, atol=1.1 / 32767)


def test_the_notebook_gets_a_player_that_waits(lantern: Arrangement) -> None:
    heard = listen(lantern, 1, 4, tempo=120)
    bundle = heard._repr_mimebundle_()
    assert set(bundle) == {"text/plain", "text/html"}
    written = [c for c in lantern.choices if c.note.onset < 16]
    chords = sum(c.voicing is not None for c in written)
    assert chords == len(written) == 10
    assert bundle["text/plain"] == repr(heard) == f"0:07, {chords} chords at 120"
    page = bundle["text/html"]
    assert page.startswith('<audio controls preload="metadata"')
    assert "autoplay" not in page
    assert CAUTION in page
    data = base64.b64decode(page.split("base64,")[1].split('"')[0], validate=True)
    assert data == heard.mp3
    assert abs(len(soundfile.read(io.BytesIO(data))[0]) - len(heard.samples)) <= 2304


def test_listening_to_an_arrangement_takes_its_tempo_metre_and_pick_up(pick_up: Arrangement) -> None:
    """One bar and the two missing beats lead in; then two beats of pick-up and a bar: twelve beats at 112."""
    heard = listen(pick_up, 0, 1, count_in=1, click=True)
    mixed = render((*click_events(pick_up.tune.bars[:2], 1), *played_events(pick_up, 0, 1)), 112)
    np.testing.assert_array_equal(heard.samples, mixed)
    assert len(heard.samples) == pytest.approx((12 * 60 / 112 + REST_S) * RATE, abs=1)
    assert repr(heard).endswith("at 112")


SCRIPT = """
import hashlib
from harmonylib import arrange, listen, read
made = listen(arrange(read("chapters/tunes/lantern_on_the_landing.abc")), 1, 4, swing=0.6, count_in=1, click=True)
print(hashlib.sha256(made.samples.tobytes() + made._repr_mimebundle_()["text/html"].encode()).hexdigest(), made)
"""


@pytest.mark.slow
def test_another_process_makes_the_same_bytes(lantern: Arrangement) -> None:
    other = {**os.environ, "PYTHONHASHSEED": "7", "PYTHONPATH": str(ROOT)}
    printed = subprocess.run(
        [sys.executable, "-c", SCRIPT], capture_output=True, text=True, cwd=ROOT, env=other, check=True
    ).stdout.split(maxsplit=1)
    here = listen(lantern, 1, 4, swing=0.6, count_in=1, click=True)
    both = here.samples.tobytes() + here._repr_mimebundle_()["text/html"].encode()
    assert printed == [hashlib.sha256(both).hexdigest(), f"{here}\n"]


def test_the_cache_changes_nothing() -> None:
    short, long = Event(0, HALF, FOUR), Event(0, 7, FOUR)
    _string.cache_clear()
    first = render([short], 60)
    render([long], 60)
    np.testing.assert_array_equal(render([short], 60), first)
    assert not string(60, 1.0).flags.writeable, "a cached string cannot be changed by its user"


# --- refusals -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        ({"tempo": 0}, "tempo 0: choose 10 to 600"),
        ({"tempo": float("nan")}, "tempo nan"),
        ({"swing": 0.8}, "swing 0.8: choose 0.5"),
        ({"volume": 1.5}, "volume 1.5: choose 0 to 1"),
        ({"volume": -0.1}, "volume -0.1"),
        ({"count_in": -1}, "count-in -1: choose 0 to 8 bars"),
        ({"metre": None}, "None is not a metre: write beats and unit"),
        ({"metre": (4, 0)}, "a metre of 0: choose 1 to 64"),
        ({"events": []}, "nothing sounds here"),
        ({"events": [Event(0, 1, (97,))]}, "MIDI note 97: a string here sounds 24 to 96"),
        ({"events": [Event(0, 10_000, (60,))]}, "minutes of sound: choose fewer bars"),
    ],
)
def test_a_setting_out_of_range_is_refused(setting: dict[str, object], message: str) -> None:
    with pytest.raises(HarmonyError, match=message):
        render(**({"events": [Event(0, 1, FOUR)], "tempo": 120} | setting))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "event",
    [{"part": "drum"}, {"midi": ()}, {"duration": 0}, {"duration": Fraction(-1)}, {"velocity": 1.2}],
    ids=str,
)
def test_an_event_that_cannot_be_is_refused(event: dict[str, object]) -> None:
    with pytest.raises(HarmonyError, match="part: choose call|an event needs a note"):
        Event(**({"onset": 0, "duration": 1, "midi": FOUR} | event))  # type: ignore[arg-type]


def test_a_tempo_may_be_a_fraction_and_a_metre_a_list() -> None:
    heard = listen(cycle_events([Grip.parse("x3545x")]), tempo=Fraction(90), metre=[3, 4], count_in=1)
    assert str(heard).endswith("1 chord at 90")


def test_bars_the_tune_does_not_have_are_refused(lantern: Arrangement) -> None:
    for first, last in ((30, 33), (0, 4)):
        with pytest.raises(HarmonyError, match=f"bars {first} to {last}: the tune has bars 1 to 32"):
            listen(lantern, first, last)
    with pytest.raises(HarmonyError, match="bars 5 to 4: give the lower number first"):
        listen(lantern, 5, 4)
    with pytest.raises(HarmonyError, match="bars can be chosen of an arrangement only"):
        listen([Event(0, 1, FOUR)], 1, 2)
    with pytest.raises(HarmonyError, match="0 beats for a grip"):
        cycle_events([Grip.parse("x3545x")], beats=0)


def test_bars_of_rest_are_refused() -> None:
    made = arrange(read_text('X:1\nM:2/4\nL:1/4\nK:C\n"C"E G|z2|c2|]'))
    with pytest.raises(HarmonyError, match="nothing sounds in bars 2 to 2"):
        listen(made, 2, 2)


def test_without_soundfile_the_message_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "soundfile", None)
    with pytest.raises(HarmonyError, match="pip install soundfile"):
        mp3(np.zeros((10, 2), np.float32))
