"""Block chords for guitar: from a lead sheet to an arrangement a hand can play, with a reason under every grip.

What chapters and teachers use stands here by its plain name; each name is fetched from its room when it is first used,
so that ``import harmonylib`` stays quick.

>>> import harmonylib
>>> harmonylib.Chord.parse("Ebm7").names
(E♭, G♭, B♭, D♭)
"""

import sys
from importlib import import_module
from typing import Any

ROOMS = {
    "errors": ("HarmonyError",),
    "theory.pitch": ("Pitch",),
    "theory.families": ("FAMILIES", "PRACTICE_ORDER"),
    "theory.chords": ("Chord",),
    "theory.voicings": ("SPREADS", "Voicing", "inversions", "voice"),
    "theory.diminished": ("passing",),
    "theory.tones": ("degree_of",),
    "guitar.grips": ("Grip",),
    "guitar.neck": ("Neck", "TUNINGS"),
    "tunes.tune": ("Tune",),
    "tunes.reading": ("read", "read_text"),
    "tunes.chordtones": ("ROLES", "examine"),
    "arranging.costs": ("GRIP_COSTS", "HANDS", "STEP_COSTS"),
    "arranging.density": ("DENSITIES",),
    "arranging.arrangement": ("Arrangement", "Settings"),
    "arranging.harmony": ("FOREIGN",),
    "arranging.arrange": ("best",),
    "arranging.checking": ("check",),
    "answering.manner": ("Manner",),
    "answering.gaps": ("gaps",),
    "answering.stages": ("STAGES", "arrange", "respond", "stages"),
    "answering.own": ("ban_answer", "keep_answer", "with_own"),
    "answering.checking": ("check_answers",),
    "score.engraving": ("page",),
    "score.tables": ("text",),
    "score.writing": ("write_files",),
    "sound.events": ("cycle_events",),
    "sound.listening": ("listen",),
    "sound.practice": ("practice_track",),
    "exercises.tally": ("Tally",),
    "exercises.progress": ("progress",),
    "exercises.catalogue": (
        *("KINDS", "answer_call", "drop", "exercise", "exercise_set", "find_gaps", "find_grips", "find_root"),
        *("harmonise_bar", "harmonise_phrase", "mend", "name_inversion", "next_inversion", "random_exercise"),
        *("shell", "spell", "which_degree", "which_diminished"),
    ),
    "classroom.sheets": ("sheet",),
    "classroom.worksheets": ("write_worksheet",),
    "classroom.handing": ("hand_in",),
    "classroom.marking": ("mark",),
    "classroom.marks": ("overview", "summary"),
    "classroom.difficulty": ("formula",),
    "classroom.repertoire": ("repertoire",),
    "pictures.neck": ("grip_marks", "neck_picture"),
    "pictures.grips": ("grip_row", "voice_paths"),
    "pictures.melody": ("melody_picture",),
    "pictures.hand": ("hand_picture",),
    "pictures.calls": ("calls_picture",),
}
"""The table of contents: the room of every public name."""

PANELS = (
    *("AnswerBox", "AnswerPanel", "ArrangementPanel", "DiminishedPanel", "InversionPanel", "MelodyPanel", "Player"),
    *("SpreadPanel",),
)
"""What the widgets add; fetched when it is first used, like all the rest."""

SUCCESSORS = {"answer": "respond", "keeping": "keep_answer", "without": "ban_answer", "written": "with_own"}
"""Names that are gone, and what took their place."""

_HOME = {name: f"harmonylib.{room}" for room, names in ROOMS.items() for name in names} | dict.fromkeys(
    PANELS, "widgets"
)
__all__ = list(_HOME)  # noqa: PLE0605


def __getattr__(name: str) -> object:
    if name in SUCCESSORS:
        raise AttributeError(f"harmonylib.{name} is now called {SUCCESSORS[name]}: write that instead")
    if name not in _HOME:
        raise AttributeError(f"module 'harmonylib' has no attribute {name!r}")
    found = getattr(import_module(_HOME[name]), name)
    if base := sys.modules.get("harmonylib.exercises.base"):
        base.Exercise.shown_by = staticmethod(_asked)
    return found


def _asked(task: object, **how: Any) -> dict[str, Any]:
    """What a notebook shows an exercise with: a box to answer in. Elsewhere it is nothing, and no widget is fetched."""
    if not import_module("harmonylib.exercises.progress").in_notebook():
        return {}
    return dict(import_module("widgets.asking").asked(task, **how))


def __dir__() -> list[str]:
    return [*__all__, *globals()]
