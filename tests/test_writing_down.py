"""Writing a tune down: what fits its bar, how it is spelled, that its ABC reads back, and the form over it."""

import random
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import pytest

from harmonylib.answering.stages import arrange
from harmonylib.errors import HarmonyError
from harmonylib.score.engraving import engrave
from harmonylib.theory.chords import Chord
from harmonylib.tunes.reading import read, read_text
from harmonylib.tunes.sketch import KEYS, LENGTHS, METRES, Sketch
from widgets.form import TuneForm

CHORDS = ("Cmaj7", "F#m7b5", "Bb7", "Ebm6", "G7(b9)", "A/C#")


def drawn(seed: int) -> Sketch:
    """Some bars of notes that fit, with accidentals, rests, ties, triplets and chords anywhere."""
    draws = random.Random(seed)
    sketch = Sketch("Drawn", draws.choice(KEYS), draws.choice(METRES))
    while sketch.length < 6 * sketch.bar or sketch.left != sketch.bar or sketch.triplet:
        midi = None if draws.random() < 0.15 else draws.randrange(52, 88)
        length, chord = draws.choice([*LENGTHS]), draws.choice(CHORDS) if draws.random() < 0.3 else ""
        with suppress(HarmonyError):  # too long, or nothing to tie to
            sketch = sketch.tie(length, chord) if draws.random() < 0.2 else sketch.add(midi, length, chord)
    return sketch


@pytest.mark.few(8)
@pytest.mark.parametrize("seed", range(60))
def test_what_is_written_reads_back_the_same(seed: int) -> None:
    sketch = drawn(seed)
    tune = read_text(sketch.abc)
    at, notes, changes = Fraction(0), [], []
    for part in sketch.parts:
        if part.tied:
            pitch, onset, length = notes.pop()
            notes.append((pitch, onset, length + part.length))
        elif part.pitch:
            notes.append((part.pitch, at, part.length))
        if part.chord:
            changes.append((at, Chord.parse(part.chord)))
        at += part.length
    assert [(note.pitch, note.onset, note.duration) for note in tune.notes] == notes
    found = [(change.onset, change.chord) for change in tune.changes]
    assert [pair for pair in found if pair in changes] == [pair for n, pair in enumerate(changes) if pair in found]
    assert {pair[0] for pair in found} <= {pair[0] for pair in changes}
    assert all(tune.chord_at(onset) == chord for onset, chord in changes)
    assert len(tune.bars) == sketch.length / sketch.bar


def test_what_does_not_fill_its_bar_is_said_at_once() -> None:
    sketch = Sketch(metre="3/4").add(60, "half", "C6")
    assert sketch.told == "bar 1 is not full: 1 quarter left"
    with pytest.raises(HarmonyError, match="a half note does not fit: bar 1 has 1 quarter left"):
        sketch.add(62, "half")
    full = sketch.add(62, "quarter")
    assert full.told == "1 bar, full"
    assert full.take_back() == sketch
    with pytest.raises(HarmonyError, match="'Q7' is not a chord symbol"):
        full.add(60, "quarter", "Q7")
    with pytest.raises(HarmonyError, match="nothing to take back"):
        Sketch().take_back()


def test_a_note_is_tied_over_the_bar_line_and_within_it() -> None:
    sketch = Sketch(metre="3/4").add(62, "quarter").add(66, "half", "D7").tie("dotted quarter").tie("eighth", "G6")
    assert sketch.abc.splitlines()[-1] == 'D2 "D7"^F4- | ^F3- "G6"^F |]'
    assert sketch.told == "bar 2 is not full: 1 quarter left"
    (_, held) = read_text(sketch.abc).notes
    assert (str(held.pitch), held.onset, held.duration) == ("F♯4", 1, 4)
    assert sketch.take_back().take_back().told == "1 bar, full"
    with pytest.raises(
        HarmonyError, match="a half note does not fit: bar 2 has 1 quarter left; write as much, then tie"
    ):
        sketch.add(60, "half")
    for nothing in (Sketch(), Sketch().add(None, "half")):
        with pytest.raises(HarmonyError, match="a tie holds a note on: write the note first"):
            nothing.tie("half")


def test_a_triplet_goes_into_the_time_of_two_and_is_filled_before_the_next_note() -> None:
    sketch = Sketch().add(60, "half", "C6").add(62, "triplet eighth")
    assert sketch.told == "the triplet in bar 1 is not full: 2 triplet eighths left"
    assert read_text(sketch.abc).notes[-1].duration == Fraction(1, 3)
    with pytest.raises(HarmonyError, match="a quarter note does not fit: the triplet in bar 1 is not full: 2 triplet"):
        sketch.add(64, "quarter")
    assert sketch.add(64, "triplet quarter").told == "bar 1 is not full: 1 quarter left"
    eighths = sketch.add(64, "triplet eighth").add(65, "triplet eighth")
    assert eighths.abc.splitlines()[-1] == '"C6"C4 (3:2:3DEF |]'
    with pytest.raises(HarmonyError, match="a half note does not fit"):
        eighths.add(64, "half")
    quarters = Sketch().add(60, "triplet quarter")
    assert quarters.told == "the triplet in bar 1 is not full: 2 triplet quarters left"
    quarters = quarters.tie("triplet quarter").add(None, "triplet quarter")
    assert quarters.abc.splitlines()[-1] == "(3:2:3C2-C2z2 |]"
    last = eighths.add(60, "triplet quarter")
    assert last.told == "the triplet in bar 1 is not full: 1 triplet eighth left", "there is no room for two quarters"
    with pytest.raises(HarmonyError, match="a triplet quarter note does not fit: the triplet in bar 1 is not full"):
        last.add(60, "triplet quarter")
    with pytest.raises(HarmonyError, match="a triplet starts on a beat; fill the beat first, bar 1 has ½ quarter left"):
        eighths.add(60, "eighth").add(60, "triplet eighth")
    with pytest.raises(HarmonyError, match="three eighths are a beat of 6/8 as they stand; write plain eighths"):
        Sketch(metre="6/8").add(60, "triplet eighth")


def press(form: TuneForm, word: str) -> None:
    next(button for button in form._buttons if button.description == word).click()


def test_the_form_ties_and_writes_triplets_and_finds_them_again(tmp_path: Path) -> None:
    state: dict[str, object] = {}
    form = TuneForm("Held", metre="2/4", folder=str(tmp_path), state=state)
    controls = form._controls
    controls["chord"].value, controls["length"].value = "C6", "half"
    form._neck_view.selected = [[1, 0]]  # E4, as a click does
    controls["length"].value = "quarter"
    press(form, "tie")
    controls["length"].value = "triplet eighth"
    for letter in ("d", "-", "c"):
        controls["note"].value = letter
    assert form.text == "Held: 2 bars, each full"
    assert form.player is not None
    assert [(e["onset"], e["end"]) for e in form.player.score["events"]] == [
        *((0, 3), (3, pytest.approx(11 / 3, abs=1e-5)), (pytest.approx(11 / 3, abs=1e-5), 4))
    ]
    assert form.player.svg.count('class="tie') >= 2
    assert form.player.svg.count('class="tupletNum"') == 1
    controls["note"].value = "d"
    press(form, "save")
    assert "the triplet in bar 3 is not full: 2 triplet eighths left: fill it" in form.help
    press(form, "take back")
    press(form, "save")
    assert form.help == ""
    found = [(str(n.pitch), n.onset, n.duration) for n in read(tmp_path / "held.abc").notes]
    assert found == [("E4", 0, 3), ("D4", 3, Fraction(2, 3)), ("C4", Fraction(11, 3), Fraction(1, 3))]
    form.close()
    again = TuneForm("Held", metre="2/4", folder=str(tmp_path), state=state)
    assert again.sketch == form.sketch
    again.close()


@pytest.mark.parametrize("before", ["", "quarter", "half"])
@pytest.mark.parametrize("length", ["triplet eighth", "triplet quarter"])
def test_triplets_are_drawn_wherever_they_stand(before: str, length: str) -> None:
    sketch = Sketch(metre="5/4").add(60, before, "C6") if before else Sketch(metre="5/4")
    for midi in (62, 64, 65):
        sketch = sketch.add(midi, length, "" if sketch.parts else "C6")
    svg = engrave(arrange(read_text(sketch.abc), stage="melody"))
    assert svg.count('class="tupletNum"') == 1
    assert svg.count('class="note" tabindex') == len(sketch.parts)
    assert 'class="tie' not in svg


def test_the_form_writes_takes_back_and_saves(tmp_path: Path) -> None:
    form = TuneForm("Ferry", key="F", metre="3/4", folder=str(tmp_path), state={})
    controls = form._controls
    assert form.player is None
    controls["chord"].value = "Fmaj7"
    form._neck_view.selected = [[1, 8]]  # C5, as a click does
    assert [(str(p.pitch), p.chord) for p in form.sketch.parts] == [("C5", "Fmaj7")]
    assert (controls["chord"].value, form._neck_view.selected) == ("", [])
    controls["note"].value = "a"
    assert str(form.sketch.parts[-1].pitch) == "A4"
    controls["length"].value = "half"
    controls["note"].value = "d"
    assert "bar 1 has 1 quarter left" in form.help
    assert len(form.sketch.parts) == 2
    press(form, "save")
    assert "bar 1 is not full" in form.help
    press(form, "rest")
    assert "does not fit" in form.help
    controls["length"].value = "quarter"
    press(form, "rest")
    assert form.text == "Ferry: 1 bar, full"
    press(form, "save")
    assert form.help == ""
    (file,) = tmp_path.iterdir()
    assert file.name == "ferry.abc"
    assert [str(note.pitch) for note in read(file).notes] == ["C5", "A4"]
    assert form.player is not None
    assert len(form.player.score["events"]) == 2
    for _ in range(3):
        press(form, "take back")
    assert form.text == "Ferry: nothing is written yet"
    assert form.player is None
    form.close()


@pytest.mark.parametrize("typed", ["C9", "E7", "A0"])
def test_a_chord_typed_for_a_note_is_no_note(typed: str) -> None:
    form = TuneForm("Slip", state={})
    with pytest.raises(HarmonyError, match=f"{typed} lies off any neck; a chord symbol goes into the field “chord”"):
        form.write(typed)
    form.write("D6")
    assert form.sketch.told == "bar 1 is not full: 3 quarters left"
    form.close()


def test_a_melody_without_chords_is_heard_and_saved_and_says_what_it_lacks(tmp_path: Path) -> None:
    form = TuneForm("Bare", metre="2/4", folder=str(tmp_path), state={})
    controls = form._controls
    for typed in ("d", "e"):
        controls["note"].value = typed
        assert form.help == ""
    assert form.player is not None
    assert len(form.player.score["events"]) == 2
    press(form, "save")
    assert form.help == ""
    assert "it has no chords yet" in form._told.value
    controls["chord"].value = "Am7"
    controls["note"].value = "c"
    press(form, "rest")
    press(form, "save")
    assert "no chords" not in form._told.value
    assert [str(change.chord) for change in read(tmp_path / "bare.abc").changes] == ["Am7"]
    form.close()


def test_it_does_not_write_over_another_tune_and_outlives_its_cell(tmp_path: Path) -> None:
    (tmp_path / "my_tune.abc").write_text("K:C\nC4|")
    state: dict[str, object] = {}
    form = TuneForm(folder=str(tmp_path), state=state)
    form.write("E5", "whole", "C6")
    press(form, "save")
    assert "is there already" in form.help
    assert (tmp_path / "my_tune.abc").read_text() == "K:C\nC4|"
    form.close()
    again = TuneForm(folder=str(tmp_path), state=state)
    assert [str(part.pitch) for part in again.sketch.parts] == ["E5"]
    again.close()


def test_a_tune_whose_title_is_part_of_one_that_was_saved_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "ferry.abc").write_text("K:C\nC4|")
    form = TuneForm("Ferry at Noon", folder=str(tmp_path), state={})
    form.write("E5", "whole", "C6")
    press(form, "save")
    assert (tmp_path / "ferry_at_noon.abc").exists()
    form._controls["title"].value = "Ferry"
    press(form, "save")
    assert "is there already" in form.help
    assert (tmp_path / "ferry.abc").read_text() == "K:C\nC4|"
    form.close()


@pytest.mark.parametrize(("how", "message"), [({"key": "H"}, "key 'H'"), ({"metre": "7/8"}, "metre '7/8'")])
def test_what_the_form_does_not_offer_is_told(how: dict[str, str], message: str) -> None:
    with pytest.raises(HarmonyError, match=message):
        TuneForm(**how)
