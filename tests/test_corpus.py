"""The job on tunes nobody here wrote: public-domain lead sheets that music21's corpus ships, and the course's own."""

from pathlib import Path

import pytest
from music21 import common

from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.checking import check
from harmonylib.arranging.density import DENSITIES
from harmonylib.guitar.neck import Neck
from harmonylib.tunes.reading import read

CORPUS = Path(common.getCorpusFilePath())
OWN = Path(__file__).resolve().parent.parent / "chapters" / "tunes"
SHEETS = [
    *((path, 1) for path in sorted(OWN.glob("*.abc"))),
    *((path, 1) for path in sorted((CORPUS / "leadSheet").glob("*.mxl"))),
    *((path, number) for path in sorted((CORPUS / "nottingham-dataset").glob("*.abc")) for number in (1, 2)),
]
NAMES = [f"{path.stem}-{number}" for path, number in SHEETS]


def test_the_sheets_are_there() -> None:
    assert len(SHEETS) == 6, "two tunes of this course, two lead sheets, the two tunes of the Nottingham book"


@pytest.mark.parametrize(("path", "number"), SHEETS, ids=NAMES)
def test_nearly_every_note_carries_a_chord(path: Path, number: int) -> None:
    """At density “every”, 105 mm and 15 frets; notes where the sheet has no chord yet cannot carry one."""
    arrangement = arrange(read(path, number), neck=Neck(frets=15, reach_mm=105), density="every")
    assert check(arrangement) == []
    too_low = [choice for choice in arrangement.choices if "so low" in choice.why_single]
    assert arrangement.share + len(too_low) / len(arrangement.choices) >= 0.97
    under_a_chord = [choice for choice in arrangement.choices if choice.chord and choice not in too_low]
    assert all(choice.voicing for choice in under_a_chord)


@pytest.mark.few(12)
@pytest.mark.parametrize("density", DENSITIES)
@pytest.mark.parametrize("tempo", [60, 140, 260])
@pytest.mark.parametrize(("path", "number"), SHEETS, ids=NAMES)
def test_every_density_and_tempo_is_sound(path: Path, number: int, tempo: int, density: str) -> None:
    arrangement = arrange(read(path, number), density=density, tempo=tempo)
    assert check(arrangement) == []
    assert len(arrangement.choices) == len(arrangement.source.notes)


@pytest.mark.parametrize(("path", "number"), SHEETS, ids=NAMES)
def test_every_choice_has_a_reason_that_names_its_note(path: Path, number: int) -> None:
    for choice in arrange(read(path, number)).choices:
        assert choice.reason.startswith(str(choice.note.pitch.name))
        assert choice.chord is None or choice.voicing is None or str(choice.chord) in choice.reason
