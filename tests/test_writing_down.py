"""Writing a tune down: what fits its bar, how it is spelled, that its ABC reads back, and the form over it."""

import random
from fractions import Fraction
from pathlib import Path

import pytest

from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from harmonylib.tunes.reading import read, read_text
from harmonylib.tunes.sketch import KEYS, LENGTHS, METRES, Sketch
from widgets.form import TuneForm

CHORDS = ("Cmaj7", "F#m7b5", "Bb7", "Ebm6", "G7(b9)", "A/C#")


def drawn(seed: int) -> Sketch:
    """Some bars of notes that fit, with accidentals, rests and chords anywhere."""
    draws = random.Random(seed)
    sketch = Sketch("Drawn", draws.choice(KEYS), draws.choice(METRES))
    while sketch.length < 6 * sketch.bar or sketch.left != sketch.bar:
        fitting = [name for name, length in LENGTHS.items() if length <= sketch.left]
        midi = None if draws.random() < 0.15 else draws.randrange(52, 88)
        sketch = sketch.add(midi, draws.choice(fitting), draws.choice(CHORDS) if draws.random() < 0.3 else "")
    return sketch


@pytest.mark.parametrize("seed", range(6))
def test_what_is_written_reads_back_the_same(seed: int) -> None:
    sketch = drawn(seed)
    tune = read_text(sketch.abc)
    at, notes, changes = Fraction(0), [], []
    for part in sketch.parts:
        if part.pitch:
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
    form._buttons[2].click()
    assert "bar 1 is not full" in form.help
    form._buttons[0].click()
    assert "does not fit" in form.help
    controls["length"].value = "quarter"
    form._buttons[0].click()
    assert form.text == "Ferry: 1 bar, full"
    form._buttons[2].click()
    assert form.help == ""
    (file,) = tmp_path.iterdir()
    assert file.name == "ferry.abc"
    assert [str(note.pitch) for note in read(file).notes] == ["C5", "A4"]
    assert form.player is not None
    assert len(form.player.score["events"]) == 2
    for _ in range(3):
        form._buttons[1].click()
    assert form.text == "Ferry: nothing is written yet"
    assert form.player is None
    form.close()


def test_it_does_not_write_over_another_tune_and_outlives_its_cell(tmp_path: Path) -> None:
    (tmp_path / "my_tune.abc").write_text("K:C\nC4|")
    state: dict[str, object] = {}
    form = TuneForm(folder=str(tmp_path), state=state)
    form.write("E5", "whole", "C6")
    form._buttons[2].click()
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
    form._buttons[2].click()
    assert (tmp_path / "ferry_at_noon.abc").exists()
    form._controls["title"].value = "Ferry"
    form._buttons[2].click()
    assert "is there already" in form.help
    assert (tmp_path / "ferry.abc").read_text() == "K:C\nC4|"
    form.close()


@pytest.mark.parametrize(("how", "message"), [({"key": "H"}, "key 'H'"), ({"metre": "7/8"}, "metre '7/8'")])
def test_what_the_form_does_not_offer_is_told(how: dict[str, str], message: str) -> None:
    with pytest.raises(HarmonyError, match=message):
        TuneForm(**how)
