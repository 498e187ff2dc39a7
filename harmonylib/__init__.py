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
    "lessons.lesson": ("lesson",),
    "lessons.shapes": ("complete_cycles", "in_reach", "learnt_first", "root_strings", "shapes", "twelve_roots"),
    "lessons.spreading": (
        *("close_position", "dropping", "families", "spans", "tall_chords", "two_names", "voicing_table"),
    ),
    "lessons.cycles": ("cycle", "fold_down", "guide_places", "octave_row", "ring", "twelve_cycles"),
    "lessons.cadences": ("guide_tones", "two_five_one"),
    "lessons.passing_chords": (
        *("block_scale", "enrich_or_pass", "foreign_notes", "four_doors", "four_places", "movement", "resolution"),
        *("rootless", "scale_of_eight", "spelled", "three_diminished"),
    ),
    "lessons.music": (
        *("bar_row", "checked", "facts", "first_grip", "frets_narrow", "hand", "notation", "open_strings"),
        *("hear_seasoned", "play", "reason", "reasons", "seasoned", "two_ways"),
    ),
    "lessons.testing": (
        *("character", "counted_up", "degrees", "eight_ways", "filled", "homes", "jobs_done", "known_already"),
        *("melody_test", "ninth_or_not", "on_top", "passed", "roles", "root_on_top", "shell_then_chord", "shells"),
        *("slash_example", "slashes", "tall_dominants", "triad_fills", "triads", "where_foreign"),
    ),
    "lessons.harmonising": (
        *("candidates", "costs", "densities", "keys", "next_best", "pin_price", "prices", "reaches", "round_pin"),
        *("spreads", "tempos", "tested"),
    ),
    "lessons.taste": ("hands", "in_stage", "weighed"),
    "lessons.answers": (
        *("hear_answers", "calls_and_answers", "can_answer", "change_one", "check_answer", "does_not_fit", "faster"),
        *("find_the_gaps", "keep_one", "one_answer", "shares", "with_answers"),
    ),
    "lessons.own_tune": (
        *("capos", "for_horns", "for_singer", "from_file", "in_tuning", "lead_sheet", "octaves", "read_again"),
        *("read_as", "rough_copy", "take_home", "tune_range", "tunings", "what_was_read"),
    ),
    "exercises.asking": (*("another_seed", "answer_key", "ask", "kinds_of_question", "level_steps", "questions"),),
    "exercises.replies": ("forgotten_note", "hints_in_turn", "left_close", "right_forms"),
    "sound.practice": ("practice_track",),
    "exercises.tally": ("Tally",),
    "exercises.progress": ("progress",),
    "hearing.tuner": ("tune_up",),
    "hearing.verdicts": ("hear",),
    "exercises.catalogue": (
        *("KINDS", "answer_call", "drop", "exercise", "exercise_set", "find_gaps", "find_grips", "find_root"),
        *("harmonise_bar", "harmonise_phrase", "mend", "name_inversion", "next_inversion", "random_exercise"),
        *("shell", "spell", "which_degree", "which_diminished"),
    ),
    "classroom.from_lesson": ("marked", "marks_chart", "shelf", "write_sheet"),
    "classroom.sheets": ("sheet",),
    "classroom.worksheets": ("write_worksheet",),
    "classroom.handing": ("hand_in",),
    "classroom.handouts.kinds": ("handout",),
    "classroom.marking": ("mark",),
    "classroom.marks": ("overview", "summary"),
    "classroom.difficulty": ("difficulty_parts",),
    "classroom.repertoire": ("repertoire",),
    "pictures.neck": ("grip_marks", "neck_picture"),
    "pictures.grips": ("grip_row", "voice_paths"),
    "pictures.melody": ("melody_picture",),
    "pictures.hand": ("hand_picture",),
    "pictures.calls": ("calls_picture",),
}
"""The table of contents: the room of every public name."""

PANELS = (
    *("AnswerBox", "AnswerPanel", "ArrangementPanel", "DiminishedPanel", "InversionPanel", "Listener", "MelodyPanel"),
    *("Player", "SpreadPanel", "TuneForm", "listen_to_cycle", "listen_to_phrase", "listener", "panel", "tuner"),
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
    if listening := sys.modules.get("harmonylib.sound.listening"):
        listening.Sound.shown_by = staticmethod(_played)
    return found


def _asked(task: object, **how: Any) -> dict[str, Any]:
    """What a notebook shows an exercise with: a box to answer in. Elsewhere it is nothing, and no widget is fetched."""
    if not import_module("harmonylib.exercises.progress").in_notebook():
        return {}
    return dict(import_module("widgets.asking").asked(task, **how))


def _played(sound: Any, **how: Any) -> dict[str, Any]:
    """What a notebook shows for music: a player. Elsewhere it is nothing, and no widget is fetched."""
    if not (sound.of and import_module("harmonylib.exercises.progress").in_notebook()):
        return {}
    return dict(import_module("widgets.played").shown(sound))


def __dir__() -> list[str]:
    return [*__all__, *globals()]
