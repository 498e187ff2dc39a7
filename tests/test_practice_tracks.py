"""Practice tracks, measured in the samples: onsets, tempos, count-in, click, rest, bass; and the practice tempo."""

import io
import re
import time
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile

from harmonylib.__main__ import main
from harmonylib.answering.stages import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.errors import HarmonyError
from harmonylib.score.midi import midi
from harmonylib.score.musicxml import musicxml
from harmonylib.sound.bass import bass_events
from harmonylib.sound.events import ACCENT, click_events, even_bars
from harmonylib.sound.listening import CAUTION, listen, sampled
from harmonylib.sound.practice import practice_track, tempo_ladder
from harmonylib.sound.rendering import REST_S
from harmonylib.sound.strings import RATE
from harmonylib.tunes.form import runs
from harmonylib.tunes.reading import read, read_text
from tests.witnesses.energy import Wave, decibels, loudness, near, rises

TUNE = "chapters/tunes/lantern_on_the_landing.abc"
HEAD = "M:4/4\nL:1/4\nQ:1/4=120\nK:C\n"
TWO_BARS = HEAD + '"Cmaj7"E z G z|"Dm7"F z2 z|'
UPBEAT = HEAD + 'G|"Cmaj7"E z G z|"Dm7"F z z|'
UPBEAT_AND_FULL_BAR = HEAD + 'G|"Cmaj7"E z G z|"Dm7"F z z z|'
REPEATED = HEAD + '|:"Cmaj7"E z G z:|"Dm7"F4|'
HELD = HEAD + '"Cmaj7"e4|"Dm7"f4|'


def made(text: str, **settings: object) -> Arrangement:
    return arrange(read_text(text), **settings)


def onsets(samples: Wave) -> list[float]:
    return rises(samples, RATE)


def at_tempos(beats: list[float], tempos: list[float], length: float) -> list[float]:
    """Seconds of beats that are played again at each tempo, each time `length` beats long."""
    starts = np.cumsum([0.0, *(length * 60 / tempo for tempo in tempos)])
    return [float(start + beat * 60 / tempo) for start, tempo in zip(starts, tempos, strict=False) for beat in beats]


def seconds(samples: Wave) -> float:
    return len(samples) / RATE


# --- time ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tempos", [[60, 90, 120], [72, 100], [133]])
@pytest.mark.parametrize("times", [1, 3])
def test_every_tempo_is_counted_in_and_played_so_many_times(tempos: list[float], times: int) -> None:
    """Four beats of count-in, then notes on beats 1, 3 and 5 of eight; the click is off."""
    step = tempos[1] - tempos[0] if len(tempos) > 1 else 6
    samples = practice_track(made(TWO_BARS), tempos[0], tempos[-1], step, times, click="none").samples
    beats = [0, 1, 2, 3, *(4 + 8 * n + beat for n in range(times) for beat in (0, 2, 4))]
    assert near(onsets(samples), at_tempos(beats, tempos, 4 + 8 * times))
    length = sum((4 + 8 * times) * 60 / tempo for tempo in tempos)
    assert seconds(samples) == pytest.approx(length + REST_S, abs=2 / RATE)


def test_the_click_goes_on_through_all_of_it_in_metre() -> None:
    samples = practice_track(made(TWO_BARS), 60, 120, 60, times=2, rest=1).samples
    assert near(onsets(samples), at_tempos(list(range(24)), [60, 120], 24))


def test_a_backbeat_is_clicked_on_two_and_four_after_a_full_count_in() -> None:
    samples = practice_track(made(HEAD + '"Cmaj7"E z3|"Dm7"F z3|'), 60, 60, click="backbeat").samples
    assert near(onsets(samples), [0, 1, 2, 3, 4, 5, 7, 8, 9, 11])
    clicks = click_events(even_bars((3, 4), 6), 1, backbeat=True)
    assert [event.onset for event in clicks] == [-3, -2, -1, 1, 4]
    assert [event.midi == (ACCENT,) for event in clicks] == [True, False, False, False, False]


def test_a_click_stands_out_of_strings_that_ring() -> None:
    """Over a chord held for four beats each click is 6 dB louder than what rings just before it."""
    samples, part = practice_track(made(HEAD + '"Cmaj7"E4|"Dm7"F4|'), 60, 60).samples, RATE // 125
    for at in (round(beat * RATE) for beat in (5, 6, 7, 9, 10, 11)):
        assert decibels(loudness(samples[at : at + part]) / loudness(samples[at - part : at])) > 6


def test_a_bar_of_rest_is_silent_where_nothing_clicks() -> None:
    samples = practice_track(made(TWO_BARS), 60, 60, times=2, rest=1, click="none", count_in=0).samples
    assert near(onsets(samples), [0, 2, 4, 12, 14, 16])
    assert not samples[5 * RATE + 10 : 12 * RATE].any()
    assert samples[12 * RATE : 13 * RATE].any()


def test_it_starts_and_ends_in_silence() -> None:
    samples = practice_track(made(TWO_BARS), 60, 120, 60).samples
    assert not samples[0].any()
    assert not samples[-round(REST_S * RATE) + 2 :].any()


@pytest.mark.parametrize(
    ("text", "starts", "beats"),
    [
        (UPBEAT, [7, 15], 24),  # four beats and three, then the pick-up in the bar it was taken from
        (UPBEAT_AND_FULL_BAR, [7, 19], 28),  # a full bar at the end: the pick-up waits for the fourth beat again
    ],
)
def test_a_pick_up_comes_again_in_metre(text: str, starts: list[int], beats: int) -> None:
    quiet = practice_track(made(text), 60, 60, times=2, click="none").samples
    notes = [start + n for start in starts for n in (0, 1, 3, 5)]
    assert near(onsets(quiet), [*range(7), *notes])
    clicked = practice_track(made(text), 60, 60, times=2).samples
    assert near(onsets(clicked), list(range(beats)))
    assert seconds(clicked) == pytest.approx(beats + REST_S, abs=2 / RATE)


def test_the_form_is_played_out_and_bars_asked_for_are_not_repeated() -> None:
    whole = practice_track(made(REPEATED), 60, 60, click="none", count_in=0)
    assert near(onsets(whole.samples), [0, 2, 4, 6, 8])
    part = practice_track(made(REPEATED), 60, 60, bars=(1, 1), click="none", count_in=0)
    assert near(onsets(part.samples), [0, 2])
    assert (repr(whole), repr(part)) == ("0:12, bars 1 to 2, once at 60", "0:04, bar 1, once at 60")


def test_off_beats_swing() -> None:
    eighths = made(HEAD + '"Cmaj7"E/G/ z3|', density="every")
    assert near(onsets(practice_track(eighths, 60, 60, swing=2 / 3, click="none", count_in=0).samples), [0, 2 / 3])


def test_the_ladder_goes_up_by_even_steps_to_the_last_tempo() -> None:
    assert tempo_ladder(60, 120) == (60, 66, 72, 78, 84, 90, 96, 102, 108, 114, 120)
    assert tempo_ladder(60, 100, 30) == (60, 90, 100)
    assert tempo_ladder(100, 100) == (100,)


def test_without_tempos_it_climbs_from_half_or_from_the_practice_tempo_to_the_tunes_own() -> None:
    assert repr(practice_track(made(TWO_BARS), step=30)).endswith("at each of 3 tempos: 60, 90, 120")
    slow = made(TWO_BARS, practice_tempo=80)
    assert repr(practice_track(slow, step=20)).endswith("at each of 3 tempos: 80, 100, 120")


# --- what is heard ------------------------------------------------------------------------------------------------


def heights(samples: Wave, start: float, length: float) -> dict[int, float]:
    """How strongly each pitch from low E up is there."""
    part = samples[round(start * RATE) : round((start + length) * RATE)].sum(axis=1)
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), 1 << 18))
    return {m: float(spectrum[round(440.0 * 2 ** ((m - 69) / 12) * (1 << 18) / RATE)]) for m in range(28, 85)}


def only_these_sound(there: dict[int, float], notes: tuple[int, ...]) -> bool:
    """Whether each note stands out of the spectrum, and beside them only their partials do."""
    strong = {midi for midi, height in there.items() if height > 0.15 * max(there.values())}
    return {*notes} <= strong <= {note + step for note in notes for step in (0, 12, 19, 24, 28)}


def test_every_tempo_has_the_grips_of_the_first() -> None:
    """Each chord's four notes stand out of the spectrum, at every tempo, wherever it is played."""
    arrangement = made(HELD)
    grips = [arrangement.settings.neck.midi(choice.grip.frets) for choice in arrangement.choices if choice.grip]
    assert [len(notes) for notes in grips] == [4, 4]
    samples = practice_track(arrangement, 60, 120, 30, times=2, click="none").samples
    for bar, notes in enumerate(grips * 2):
        for tempo, start in zip((60, 90, 120), at_tempos([4 + 4 * bar], [60, 90, 120], 20), strict=True):
            assert only_these_sound(heights(samples, start, 4 * 60 / tempo - 0.05), notes)


@pytest.mark.parametrize("stage", ["melody", "roots", "chords", "answers"])
def test_the_stage_asked_for_is_what_is_played(stage: str) -> None:
    arrangement = made(HELD, stage=stage)
    there = heights(practice_track(arrangement, 60, 60, click="none", count_in=0).samples, 0, 0.9)
    notes = arrangement.settings.neck.midi(arrangement.choices[0].grip.frets)
    assert len(notes) == {"melody": 1, "roots": 2, "chords": 4, "answers": 4}[stage]
    assert only_these_sound(there, notes)


def test_the_bass_plays_roots_under_it_if_wished() -> None:
    plain, low = (practice_track(made(HELD), 60, 60, bass=bass, click="none").samples for bass in (False, True))
    for start, root in ((4, 36), (8, 38)):
        without, there = (heights(samples, start, 3.9) for samples in (plain, low))
        assert there[root] > 20 * without[root]
    np.testing.assert_array_equal(plain[: 4 * RATE], low[: 4 * RATE])


def test_a_bass_sounds_the_lowest_note_asked_for_and_rests_where_no_chord_is() -> None:
    tune = read_text(HEAD + 'E4|"C/G"E2"F#m7b5"F2|"N.C."G4|"Bb7"F4|')
    found = bass_events(tune, runs(tune))
    assert [(event.onset, event.duration, event.midi[0], event.part) for event in found] == [
        (4, 2, 31, "bass"),
        (6, 2, 30, "bass"),
        (12, 4, 34, "bass"),
    ]
    part = bass_events(tune, [runs(tune)[0]._replace(bars=tune.bars[1:2])])
    assert [event.onset for event in part] == [0, 2]


def test_a_bass_follows_the_form() -> None:
    tune = read_text(REPEATED)
    assert [(event.onset, event.midi[0]) for event in bass_events(tune, runs(tune))] == [(0, 36), (4, 36), (8, 38)]


# --- the tempo of sound alone -------------------------------------------------------------------------------------


def test_a_practice_tempo_slows_sound_midi_and_score_and_leaves_every_grip() -> None:
    text = HEAD + '"Cmaj7"E/F/G/A/ B/c/d/e/|"Dm7"f/e/d/c/ B/A/G/F/|'
    own, slow = made(text), made(text, practice_tempo=60)
    assert [choice.grip for choice in slow.choices] == [choice.grip for choice in own.choices]
    assert [choice.grip for choice in made(text, tempo=60).choices] != [choice.grip for choice in own.choices]
    assert (seconds(sampled(own)), seconds(sampled(slow))) == pytest.approx((4 + REST_S, 8 + REST_S), abs=1e-3)
    assert repr(listen(slow)).endswith("at 60")
    assert repr(listen(slow, tempo=90)).endswith("at 90")
    tempos = [m.tempo for m in mido.MidiFile(file=io.BytesIO(midi(slow))).tracks[0] if m.type == "set_tempo"]
    assert tempos == [1_000_000]
    assert re.findall(r"<per-minute>(.*?)</per-minute>", musicxml(slow)) == ["60"]
    assert re.findall(r'<sound tempo="(.*?)"', musicxml(slow)) == ["60"]


# --- the command --------------------------------------------------------------------------------------------------


def test_the_command_writes_the_track(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    given = "--from 100 --to 200 --step 50 --times 2 --bars 1-2 --stage roots --bass --click backbeat".split()
    assert main(["practice", TUNE, *given, "--out", str(tmp_path)]) == 0
    file = tmp_path / "lantern_on_the_landing_practice.mp3"
    sound, rate = soundfile.read(file)
    assert rate == RATE
    assert len(sound) / rate == pytest.approx(20 * 60 * (1 / 100 + 1 / 150 + 1 / 200) + REST_S, abs=0.11)
    printed = capsys.readouterr().out
    assert "0:26, bars 1 to 2, twice at each of 3 tempos: 100, 150, 200" in printed
    assert CAUTION in printed
    assert str(file) in printed


def test_the_command_writes_wav_to_the_sample(tmp_path: Path) -> None:
    given = "--from 120 --to 120 --bars 1-1 --sound wav --count-in 2".split()
    assert main(["practice", TUNE, *given, "--out", str(tmp_path)]) == 0
    sound, _ = soundfile.read(tmp_path / "lantern_on_the_landing_practice.wav", dtype="float32")
    track = practice_track(arrange(read(TUNE), tempo=120), 120, 120, bars="1-1", count_in=2)
    np.testing.assert_allclose(sound, track.samples, atol=1.1 / 32767)


def test_arrange_takes_a_practice_tempo(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = []
    for given in ([], ["--practice-tempo", "66"]):
        assert main(["arrange", TUNE, "--bars", "1-2", "--out", str(tmp_path), *given]) == 0
        files.append(((tmp_path / "lantern_on_the_landing.csv").read_text(), capsys.readouterr().out))
        tempo = re.findall(r'<sound tempo="(.*?)"', (tmp_path / "lantern_on_the_landing.musicxml").read_text())
    assert files[0] == files[1]
    assert tempo == ["66"]


# --- refusals -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"slowest": 5}, "tempo 5: choose 10 to 600"),
        ({"slowest": 120, "fastest": 60}, "from 120 to 60: a ladder of tempos goes up"),
        ({"step": 0}, "step 0: choose 1 to 300"),
        ({"times": 0}, "0 times: choose 1 to 64"),
        ({"rest": 9}, "9 bars of rest: choose 0 to 8"),
        ({"count_in": 9}, "count-in 9: choose 0 to 8"),
        ({"click": "loud"}, "'loud' is no way to click: choose beats, backbeat, none"),
        ({"bars": "9"}, "bars 9 to 9: the tune has bars 1 to 2"),
        ({"slowest": 10, "times": 64}, "minutes of practice: choose fewer bars, times or tempos, 15 minutes at most"),
    ],
)
def test_what_cannot_be_practised_is_refused_and_said(settings: dict, said: str) -> None:
    with pytest.raises(HarmonyError, match=re.escape(said)):
        practice_track(made(TWO_BARS), **settings)


def test_bars_without_notes_and_no_arrangement_are_refused() -> None:
    with pytest.raises(HarmonyError, match="nothing sounds in bars 2 to 2: choose bars with notes"):
        practice_track(made(HEAD + '"C"E4|"F"z4|'), bars=2)
    with pytest.raises(HarmonyError, match="'a tune' is not an arrangement"):
        practice_track("a tune")


def test_the_same_call_makes_the_same_samples() -> None:
    first, again = (practice_track(made(TWO_BARS), 60, 90, 30, bass=True).samples for _ in range(2))
    np.testing.assert_array_equal(first, again)


@pytest.mark.slow
def test_five_minutes_take_at_most_six_seconds() -> None:
    """Rendered and encoded; seconds of this process, the better of two, whatever else the machine does."""
    arrangement = arrange(read(TUNE))
    taken = []
    for _ in range(2):
        start = time.process_time()
        track = practice_track(arrangement, 60, 120, 12, times=2, bars=(1, 8), bass=True)
        assert len(track.mp3) > 500_000
        taken.append((time.process_time() - start) * 300 / seconds(track.samples))
    assert seconds(track.samples) > 280
    assert min(taken) <= 6


def test_tempos_are_those_of_the_ladder_to_the_millisecond() -> None:
    """Beats of the count-in are a beat of their tempo apart."""
    samples = practice_track(made(HELD), 50, 200, 50).samples
    found = onsets(samples)
    for tempo, start in zip((50, 100, 150, 200), at_tempos([0], [50, 100, 150, 200], 12), strict=True):
        counted = [at for at in found if start - 0.01 < at < start + 3.5 * 60 / tempo]
        assert len(counted) == 4
        assert all(b - a == pytest.approx(60 / tempo, abs=0.002) for a, b in pairwise(counted))
    assert Fraction(12) * 60 * (Fraction(1, 50) + Fraction(1, 100) + Fraction(1, 150) + Fraction(1, 200)) == 30
    assert seconds(samples) == pytest.approx(30 + REST_S, abs=2 / RATE)
