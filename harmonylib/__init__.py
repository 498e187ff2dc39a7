"""Block chords for guitar: from a lead sheet to an arrangement a hand can play, with a reason under every grip.

What chapters and teachers use stands here by its plain name; each name is fetched from its room when it is first used,
so that ``import harmonylib`` stays quick.

>>> import harmonylib
>>> harmonylib.Chord.parse("Ebm7").names
(E♭, G♭, B♭, D♭)
"""

from importlib import import_module

ROOMS = {
    "pitch": ("HarmonyError", "Pitch"),
    "chords": ("Chord", "FAMILIES", "PRACTICE_ORDER"),
    "voicings": ("SPREADS", "Voicing", "inversions", "voice"),
    "neck": ("Grip", "Neck", "TUNINGS"),
    "tunes": ("Tune", "read", "read_text"),
    "chordtones": ("ROLES", "degree_of", "examine"),
    "diminished": ("passing",),
    "arranging": ("Arrangement", "DENSITIES", "GRIP_COSTS", "STEP_COSTS", "Settings", "arrange", "best", "check"),
    "fills": ("Manner", "answer", "check_answers", "gaps", "keeping", "without", "written"),
    "printing": ("page",),
    "scores": ("text", "write_files"),
    "sound": ("cycle_events", "listen"),
    "exercises": (
        *("KINDS", "answer_call", "drop", "exercise", "exercise_set", "find_gaps", "find_grips", "find_root"),
        *("harmonise_bar", "harmonise_phrase", "mend", "name_inversion", "next_inversion", "random_exercise"),
        *("shell", "spell", "which_degree", "which_diminished"),
    ),
    "worksheets": ("sheet", "write_worksheet"),
    "marking": ("mark", "overview", "summary"),
    "survey": ("formula", "repertoire"),
    "diagrams": (
        "calls_picture",
        "grip_marks",
        "grip_row",
        "hand_picture",
        "melody_picture",
        "neck_picture",
        "voice_paths",
    ),
}
_HOME = {name: room for room, names in ROOMS.items() for name in names}
__all__ = list(_HOME)  # noqa: PLE0605


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'harmonylib' has no attribute {name!r}")
    return getattr(import_module(f"harmonylib.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return [*__all__, *globals()]
