"""The form: the order of the bars on made tunes and on nonsense, and that score, MIDI, sound and player follow it."""

import io
import re
from fractions import Fraction

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harmonylib.__main__ import main
from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.score.midi import midi
from harmonylib.score.musicxml import musicxml
from harmonylib.sound.events import played_events
from harmonylib.sound.listening import listen
from harmonylib.tunes.form import MOST_TIMES, form, played_bars, runs
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.reading import read_text
from harmonylib.tunes.tune import Tune
from tests.draws import draws
from widgets.player import Player

HEAD = "X:1\nT:Form\nM:4/4\nL:1/4\nQ:1/4=240\nK:C\n"
FORMS = {
    # bars, each with a note of its own: the order in which they are played
    '"C"C4|D4|E4|F4|': "CDEF",
    '|:"C"C4|D4:|E4|F4|': "CDCDEF",
    '"C"C4|D4:|E4|F4|': "CDCDEF",
    '|:"C"C4|D4:|:E4|F4:|': "CDCDEFEF",
    '|:"C"C4|D4|[1E4:|[2F4||G4|': "CDECDFG",
    '|:"C"C4|D4|[1,2E4:|[3F4||G4|': "CDECDECDFG",
    '|:"C"C4|[1D4|E4:|[2F4|G4:|A4|': "CDECFGA",
    '"C"C4|D4|E4|F4"^D.C."|': "CDEFCDEF",
    '"C"C4|D4"^Fine"|E4|F4"^D.C. al Fine"|': "CDEFCD",
    '|:"C"C4|D4:|E4"^Fine"|F4|G4"^D.C. al Fine"|': "CDCDEFGCDE",
    '"C"C4|"^Segno"D4|E4"^Fine"|F4|G4"^D.S. al Fine"|': "CDEFGDE",
    '"C"C4|"^Segno"D4|E4"^To Coda"|F4|G4"^D.S. al Coda"|"^Coda"A4|B4|': "CDEFGDEAB",
    '"C"C4|D4|E4"^To Coda"|F4|G4"^D.C. al Coda"|"^Coda"A4|B4|': "CDEFGCDEAB",
    '"C"C|:D4|E3:|F4|G3|': "CDEDEFG",
}
"""music21 plays these so too (`tests.witnesses.test_form_music21`)."""
MORE_FORMS = {
    '"C"C4|!segno!D4|!coda!E4|F4|!D.S.!G4|!coda!A4|B4|': "CDEFGDEAB",
    '|:"C"C4|D4|[1E4:|[2F4"^Fine"||G4|A4"^D.C. al Fine"|': "CDECDFGACDF",  # no repeats after D.C., the last ending
    '"C"C|D4|E3:|F4|G4|': "CDECDEFG",  # a pick-up the last bar leaves room for is played again
    '"C"C|D4|E4:|F4|G4|': "CDEDEFG",  # and not where it leaves none
    '"C"C4|D4|E4"^Fine"|F4|G4"^D.C."|A4|': "CDEFGCDE",
}


def made(music: str) -> Tune:
    return read_text(HEAD + music)


def letters(tune: Tune) -> str:
    return "".join(tune.notes[index].pitch.letter for index in form(tune).order)


@pytest.mark.parametrize("music", [*FORMS, *MORE_FORMS])
def test_the_bars_are_played_in_the_order_of_the_form(music):
    tune = made(music)
    assert letters(tune) == (FORMS | MORE_FORMS)[music]
    assert form(tune).remarks == ()
    assert [run.bars for run in runs(tune, once=True)] == [tune.bars]


@pytest.mark.parametrize(
    ("music", "order", "remark"),
    [
        ('"C"C4|D4"^D.S. al Fine"|E4|', "CDE", "bar 2: D.S. al Fine, but there is no Segno: it is passed over"),
        ('"C"C4|D4"^D.C. al Fine"|E4|', "CDCDE", "bar 2: D.C. al Fine, but there is no Fine"),
        ('"C"C4|D4"^D.C. al Coda"|E4|', "CDCDE", "bar 2: D.C. al Coda, but nothing says where to leave for the Coda"),
        ('"C"C4"^To Coda"|D4"^D.C."|E4|', "CDCDE", "bar 1: To Coda, but there is no Coda after it: it is passed over"),
        ('"C"C4|D4:|E4:|:|F4|', "CDCDEEF", None),
        ('"C"C4|[2D4|E4|F4|', "CDEF", None),
        ('|:"C"C4|[1,99D4:|E4|', "CDCE", None),
        ('"C"C4"^D.C."|D4"^D.C."|E4"^Fine"|', "CCDE", None),
    ],
)
def test_signs_that_make_no_sense_are_passed_over_and_said(music, order, remark):
    tune = made(music)
    assert letters(tune) == order
    assert form(tune).remarks == ((remark,) if remark else ())
    assert remark is None or remark in tune.remarks


MARKS = ("Segno", "Coda", "To Coda", "Fine", "D.C.", "D.S.", "D.C. al Fine", "D.S. al Coda", "slowly")


@given(
    st.lists(
        st.tuples(
            st.booleans(),
            st.booleans(),
            st.sampled_from(("", "1", "2", "1, 2", "3", "99", "0", "x")),
            st.lists(st.sampled_from(MARKS), max_size=2),
            st.sampled_from((1, 2, 4)),
        ),
        min_size=1,
        max_size=12,
    )
)
@settings(max_examples=draws(400))
def test_any_signs_give_an_order_that_ends(rows):
    bars, at = [], Fraction(0)
    for number, (start, end, ending, marks, length) in enumerate(rows):
        row = {"repeat_start": start, "repeat_end": end, "ending": ending, "marks": tuple(marks)}
        bars.append(Bar(number, at, Fraction(length), **row))
        at += length
    tune = Tune("", (), (), tuple(bars))
    order = form(tune).order
    assert len(order) <= (MOST_TIMES + 1) * len(bars)
    assert set(order) <= set(range(len(bars)))
    played = played_bars(runs(tune))
    assert order
    assert [bar.number for bar in played] == [bars[index].number for index in order]
    assert all(a.end == b.onset for a, b in zip(played, played[1:], strict=False))


# --- what follows the form ----------------------------------------------------------------------------------------

WHOLE = '|:"Cmaj7"E4|[1"Dm7"F4:|[2"G7"D4"^Fine"||"Am7"C4-|"^Segno"C4"^D.C. al Fine"|'


@pytest.fixture(name="answered", scope="module")
def answered_fixture() -> Arrangement:
    return respond(arrange(made(WHOLE), density="every", tempo=100), share=1)


def test_sound_and_midi_play_the_form_and_once_plays_what_is_written(answered):
    order = form(answered.tune).order
    assert order == (0, 1, 0, 2, 3, 4, 0, 2)
    for once, bars in ((False, order), (True, range(5))):
        events = played_events(answered, once=once)
        for place, bar in enumerate(bars):
            start, calls = 4 * place, {e.midi for e in played_events(answered, bar + 1, bar + 1) if e.part == "call"}
            assert {e.midi for e in events if e.part == "call" and start <= e.onset < start + 4} == calls
        file = mido.MidiFile(file=io.BytesIO(midi(answered, once)))
        struck = sum(message.type == "note_on" for track in file.tracks for message in track)
        assert struck == sum(len(event.midi) for event in events)
        assert file.length == pytest.approx(max(float(event.end) for event in events) * 0.6, abs=0.01)


def test_what_is_held_over_a_bar_line_ends_where_the_form_leaves():
    tune = made('"C"C4-|[1C4:|[2E4|')
    plain = arrange(tune, density="every")
    assert [(str(e.onset), str(e.duration)) for e in played_events(plain)] == [("0", "8"), ("8", "4"), ("12", "4")]
    assert [str(e.duration) for e in played_events(plain, once=True)] == ["8", "4"]


def test_listening_plays_the_form_and_bars_asked_for_as_written(answered):
    assert str(listen(answered)).startswith("0:")
    whole, written = (len(listen(answered, once=once).samples) for once in (False, True))
    some = len(listen(answered, 1, 2).samples)
    assert whole > written > some
    assert len(played_events(answered, 1, 5)) == len(played_events(answered, once=True))


def test_the_score_shows_the_signs_and_tells_programs(answered):
    text = musicxml(answered)
    for sign in ("<segno />", '<sound segno="segno" />', '<sound dacapo="yes" />', '<sound fine="yes" />'):
        assert text.count(sign) == 1
    assert re.search(r'<ending number="2" type="start" />', text)
    again = read_text(text, "musicxml")
    assert again.bars == answered.tune.bars
    coda = musicxml(arrange(made(next(music for music in FORMS if "To Coda" in music))))
    assert '<sound tocoda="coda" />' in coda
    assert coda.index('tocoda="coda"') < coda.index("<coda />")
    assert '<sound dalsegno="segno" />' in coda


def test_the_player_knows_the_form(answered):
    player = Player(answered)
    assert player.score["runs"] == [[0, 1], [0, 0], [2, 4], [0, 0], [2, 2]]
    assert len(player.score["events"]) == len(played_events(answered, once=True))
    assert not player.once
    player.close()


def test_the_command_plays_the_form_or_once(tmp_path, capsys):
    source = tmp_path / "form.abc"
    source.write_text(HEAD + WHOLE, encoding="utf-8")
    lengths = []
    for extra in ([], ["--once"]):
        assert main(["arrange", str(source), "--out", str(tmp_path), *extra]) == 0
        lengths.append(mido.MidiFile(tmp_path / "form.mid").length)
    assert lengths == pytest.approx([8.0, 5.0], abs=0.01)
    assert "form.mid" in capsys.readouterr().out
