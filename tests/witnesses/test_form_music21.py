"""The order of the bars against music21's `expandRepeats`, on the score we write.

Left out: endings together with a D.C., where music21 10.5 plays the first ending twice.
"""

import pytest
from music21 import converter, harmony

from harmonylib.arranging.arrange import arrange
from harmonylib.score.musicxml import musicxml
from harmonylib.tunes.form import form
from tests.test_form import FORMS, made


@pytest.mark.few(6)
@pytest.mark.parametrize("music", FORMS)
def test_music21_plays_the_bars_in_the_same_order(music):
    tune = made(music)
    written = converter.parseData(musicxml(arrange(tune)), format="musicxml").parts[0]
    played = written.expandRepeats().getElementsByClass("Measure")
    sung = [next(n for n in bar.recurse().notes if not isinstance(n, harmony.Harmony)) for bar in played]
    assert [note.pitches[-1].step for note in sung] == [tune.notes[i].pitch.letter for i in form(tune).order]
