"""The player's data and life in Python; what is heard and seen is tested in tests/browser/test_player.py."""

import json
import re
from fractions import Fraction
from itertools import pairwise

import pytest
from ipywidgets.widgets.widget import _instances

from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.lessons.cycles import cycle
from harmonylib.lessons.lesson import lesson
from harmonylib.lessons.music import play
from harmonylib.pictures.theme import THEMES
from harmonylib.score.engraving import engrave
from harmonylib.sound.events import ACCENT, Event, as_data, click_events, cycle_events, played_events
from harmonylib.sound.rendering import VOLUME
from harmonylib.tunes.reading import read, read_text
from widgets import cells, played
from widgets.chapter_panel import panel
from widgets.player import Player

PICK_UP = 'T:Short\nM:4/4\nL:1/8\nQ:1/4=90\nK:C\n"C"G|"Cmaj7"E3G (3efg z2|"Dm7"F8|"G7"B4 d4|'
TUNE = "chapters/tunes/lantern_on_the_landing.abc"


@pytest.fixture
def made():
    """Opens players and closes them after the test."""
    players = []

    def make(*given, **settings):
        players.append(Player(*given, **settings))
        return players[-1]

    yield make
    for player in players:
        player.close()


def times(rows, swing):
    """Onsets and ends as the browser puts swing in."""
    return [(r["onset"] + (swing - 0.5) * r["swing"][0], r["end"] + (swing - 0.5) * r["swing"][1]) for r in rows]


@pytest.mark.parametrize("swing", [0.5, 0.58, 2 / 3, 0.75])
@pytest.mark.parametrize("name", ["tune", "pick-up", "compound"])
def test_rows_swing_as_the_sound_does(made, name, swing):
    tune = {
        "tune": lambda: read(TUNE),
        "pick-up": lambda: read_text(PICK_UP),
        "compound": lambda: read_text('M:6/8\nL:1/8\nK:F\n"F"A2c f3|"Gm7"B2d g3|'),
    }[name]()
    arrangement = respond(arrange(tune))
    played = played_events(arrangement)
    clicks, metre = click_events(tune.bars), tune.bars[0].metre
    rows = as_data([*played, *clicks], 90, swing, metre)["events"]
    score = made(arrangement).score
    wanted = [time for row in rows for time in (row["onset"], row["onset"] + row["duration"])]
    got = [time for pair in times(score["events"] + score["clicks"], swing) for time in pair]
    assert got == pytest.approx(wanted, abs=1e-4)
    sent = [(row["midi"], row["part"], row["index"], row["velocity"]) for row in score["events"]]
    assert sent == [(list(e.midi), e.part, e.index, e.velocity) for e in played]
    json.dumps(score)  # plain data, or this raises


def test_bars_follow_one_another_and_swing_with_the_notes(made):
    bars = made(arrange(read_text(PICK_UP))).score["bars"]
    assert [bar["number"] for bar in bars] == [0, 1, 2, 3]
    assert [bar["onset"] for bar in bars] == [0.5, 1, 5, 9]
    assert times(bars, 2 / 3)[0] == pytest.approx((2 / 3, 1))
    assert all(before["end"] == after["onset"] for before, after in pairwise(bars))


def test_count_in_leads_into_every_bar(made):
    pick_up, first, second, _ = made(arrange(read_text(PICK_UP))).score["bars"]
    onsets = {n: [click["onset"] for click in bar["countIn"][0]] for n, bar in enumerate((pick_up, first, second))}
    assert onsets == {0: [-7, -6, -5, -4, -3, -2, -1, 0], 1: [-3, -2, -1, 0], 2: [1, 2, 3, 4]}
    assert [click["onset"] for click in second["countIn"][1]] == [-3, -2, -1, 0, 1, 2, 3, 4]
    assert [click["midi"] == [ACCENT] for click in second["countIn"][0]] == [True, False, False, False]


def test_every_event_has_its_line_and_its_note_in_the_engraving(made):
    arrangement = respond(arrange(read(TUNE)))
    svg = engrave(arrangement)
    player = made(arrangement, svg=svg)
    ids = re.findall(r'<g id="([na]\d+)" class="note"', svg)
    wanted = [row["id"] for row in player.score["events"]]
    assert sorted(wanted) == sorted(ids)
    calls = [row for row in player.score["events"] if row["part"] == "call"]
    for row in calls:
        choice = arrangement.choices[row["index"]]
        bar = arrangement.tune.bar_at(choice.note.onset).number
        assert row["text"] == f"bar {bar}, {choice.chord or 'N.C.'}, {choice.grip}"
        assert row["id"] == f"n{choice.index}"
    answers = [(row["id"], row["text"]) for row in player.score["events"] if row["part"] == "answer"]
    assert len(answers) == len(arrangement.answers) > 0
    for number, ((note, text), one) in enumerate(zip(answers, arrangement.answers, strict=True)):
        assert note == f"a{number}"
        chord = arrangement.tune.chord_at(one.onset)
        assert text == f"bar {arrangement.tune.bar_at(one.onset).number}, {chord}, answer {one.grip}"


def test_tempo_title_and_bars_come_from_the_arrangement(made):
    player = made(arrange(read_text(PICK_UP)), first=1, last=2)
    assert (player.tempo, player.score["title"], player.first, player.last) == (90, "Short", 1, 2)
    assert repr(player) == "Player: Short, 4 bars at 90"


def test_volume_starts_low_and_nothing_plays_by_itself(made):
    player = made(cycle_events([Grip.parse("x3545x")]))
    assert player.volume == VOLUME <= 0.4
    assert not player.playing
    assert "safe level" in player.score["caution"]


def test_still_picture_stands_beside_the_live_view(made):
    arrangement = arrange(read_text(PICK_UP))
    svg = engrave(arrangement)
    shown, _ = made(arrangement, svg=svg)._repr_mimebundle_()
    assert shown["image/svg+xml"] == svg
    assert shown["text/plain"] == "Player: Short, 4 bars at 90"
    assert "application/vnd.jupyter.widget-view+json" in shown
    bare, _ = made(arrangement)._repr_mimebundle_()
    assert "image/svg+xml" not in bare


def test_close_leaves_no_models():
    before = set(_instances)
    player = Player(cycle_events([Grip.parse("x3545x")]))
    assert set(_instances) > before
    player.close()
    player.close()
    assert set(_instances) == before


def test_load_puts_other_music_in_and_keeps_the_settings(made):
    player = made(arrange(read_text(PICK_UP)), tempo=70, swing=0.6, loop=True, last=1)
    player.now = 3
    player.load(cycle_events([Grip.parse("x3545x"), Grip.parse("x7958x")], beats=4), ["one", "two"], title="Two")
    assert [row["text"] for row in player.score["events"]] == ["one", "two"]
    assert (player.first, player.last, player.now, player.svg) == (1, 2, 0, "")
    assert (player.tempo, player.swing, player.loop) == (70, 0.6, True)


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"tempo": 5}, "tempo 5: choose 10 to 600"),
        ({"swing": 0.8}, r"swing 0.8: choose 0.5 to 0.75"),
        ({"volume": 1.5}, "volume 1.5: choose 0 to 1"),
        ({"balance": -2}, "balance -2: choose -1 to 1"),
        ({"count_in": 3}, "count-in 3: choose 0 to 2"),
        ({"theme": "night"}, "'night' is not a theme: choose paper"),
        ({"first": 9}, "bars 9 to 1: the tune has bars 1 to 1"),
        ({"last": 2}, "bars 1 to 2: the tune has bars 1 to 1"),
        ({"texts": ["one", "two"]}, "2 texts for 1 events"),
    ],
)
def test_a_setting_out_of_range_is_named(settings, said):
    before = set(_instances)
    with pytest.raises(HarmonyError, match=said):
        Player(cycle_events([Grip.parse("x3545x")]), **settings)
    for left in set(_instances) - before:
        _instances[left].close()


def test_a_setting_out_of_range_leaves_the_old_one(made):
    player = made(cycle_events([Grip.parse("x3545x")]), tempo=80)
    with pytest.raises(HarmonyError, match="tempo 1000"):
        player.tempo = 1000
    with pytest.raises(HarmonyError, match="bar 7: choose 1 to 1"):
        player.last = 7
    assert (player.tempo, player.last) == (80, 1)


@pytest.mark.parametrize(
    ("events", "said"), [([], "nothing sounds here"), ([Event(0, 1, (20,))], "MIDI note 20: a string here sounds 24")]
)
def test_music_that_cannot_be_played_is_refused(events, said):
    with pytest.raises(HarmonyError, match=said):
        Player(events)


def test_the_page_asks_for_nothing_elsewhere():
    sources = Player.class_traits()["_esm"].default_value + Player.class_traits()["_css"].default_value
    assert set(re.findall(r"https?://[^\"'\s]+", sources)) == {"http://www.w3.org/2000/svg"}  # a name, never fetched
    assert not re.search(r"\bimport\b|fetch\(|XMLHttpRequest|url\(", sources)


def test_every_theme_of_the_pictures_has_its_colours():
    css = Player.class_traits()["_css"].default_value
    assert all(f'[data-theme="{name}"]' in css for name in THEMES if THEMES[name].fills_width)


def test_onsets_given_as_floats_are_taken_too(made):
    rows = made([Event(0.5, 0.5, (60,)), Event(Fraction(1), 1, (62,))]).score["events"]
    assert times(rows, 2 / 3) == [pytest.approx((2 / 3, 1)), pytest.approx((1, 2))]


# --- what a cell plays -------------------------------------------------------------------------------------------


@pytest.fixture
def made_by_cells(monkeypatch):
    """Shows a sound in a cell of a notebook: gives its bundle and its player, which are closed after the test."""
    opened = []
    monkeypatch.setattr(cells, "_shown", {})

    def show(sound, cell="one", run=1):
        monkeypatch.setattr(cells, "here", lambda: (cell, run))
        before = set(_instances)
        bundle = played.shown(sound)
        (player,) = [one for name, one in _instances.items() if name not in before and isinstance(one, Player)]
        opened.append(player)
        return bundle, player

    yield show
    for player in opened:
        player.close()


def test_a_row_of_shapes_is_played_grip_by_grip_and_kept_as_sound(made_by_cells):
    turns = cycle("Cmaj7", strings=(5, 4, 3, 2))
    heard = turns.listen(tempo=60, click=True, count_in=1)
    bundle, player = made_by_cells(heard)
    assert set(bundle) == {*heard.still, cells.VIEW}
    assert bundle["text/html"].startswith("<audio controls")  # where no kernel runs
    assert (player.brief, player.tempo, player.click, player.count_in, player.playing) == (True, 60, True, 1, False)
    assert player.score["title"] == turns.title
    assert [row["text"] for row in player.score["events"]] == [f"Cmaj7 {grip}" for grip in turns.grips]


def test_the_bars_of_a_lesson_are_played_and_no_others(made_by_cells):
    _, player = made_by_cells(play(lesson(0, bars=(2, 3))))
    assert (player.first, player.last, player.tempo, player.brief) == (2, 3, 72, True)


def test_a_wall_keeps_no_sound_beside_the_player(made_by_cells, monkeypatch):
    monkeypatch.setattr(played, "named_theme", lambda name: THEMES["projector light"])
    bundle, player = made_by_cells(cycle("Cmaj7").listen())
    assert set(bundle) == {cells.VIEW}
    assert player.brief


def test_a_cell_that_runs_again_frees_the_players_of_before(made_by_cells):
    heard = cycle("Cmaj7").listen()
    first, second, other = (made_by_cells(heard, *where)[1] for where in (("one", 1), ("one", 1), ("two", 2)))
    _, again = made_by_cells(heard, "one", 3)
    assert [player.comm is None for player in (first, second, other, again)] == [True, True, False, False]
    unnamed = [made_by_cells(heard, "", run)[1] for run in (4, 5)]
    assert all(player.comm is not None for player in unnamed)


def test_a_cell_that_runs_again_leaves_nothing_behind_of_panel_player_and_neck(monkeypatch):
    monkeypatch.setattr(played, "named_theme", lambda name: THEMES["projector light"])
    monkeypatch.setattr(cells, "_shown", {})
    today, before = lesson(1), set(_instances)
    counts = []
    for run in (1, 2, 3):
        monkeypatch.setattr(cells, "here", lambda run=run: ("one", run))
        panel(today)
        played.shown(play(lesson(0, bars=(2, 3))))
        counts.append(len(set(_instances) - before))
    assert counts[0] > 0
    assert counts == counts[:1] * 3
    for _, made in cells._shown.values():
        for one in made:
            one.close()
    assert set(_instances) == before
