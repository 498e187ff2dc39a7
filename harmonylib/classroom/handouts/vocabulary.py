"""The vocabulary on paper: root positions, the inversions of a chord, a family's twelve roots, the scale of eight.

Conventions
- String sets are named from the lowest string; a sheet opens with the two that the rule of thumb names.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from harmonylib.classroom.handouts.frames import TIGHT, WIDE, frame
from harmonylib.classroom.handouts.setting import BLANK, Cell, Section
from harmonylib.errors import HarmonyError, shown
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.passing_chords import climb, job_of, sixth_of
from harmonylib.pictures.look import Look
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import FAMILIES, PRACTICE_ORDER
from harmonylib.theory.pitch import Name
from harmonylib.theory.voicings import Voicing, inversions, known

LESSON = ("maj7", "7", "m7", "m7♭5", "dim7")
"""The five families a learner meets first."""

SPREADS_TAUGHT = ("drop 2", "drop 3")
FOREIGN_DEGREES = ("2", "4", "♭6", "7")
"""The notes of the scale of eight that its sixth chord does not hold."""

RULE = "Rule of thumb: root on string 5, drop 2; root on string 6, drop 3."


def shapes(neck: Neck, look: Look, families: Sequence[str] = LESSON, root: str = "C") -> tuple[Section, ...]:
    """Root positions of the families by string set; the diminished seventh with its root on strings 6, 5 and 4."""
    kinds = [family(name) for name in ([families] if isinstance(families, str) else families)]
    if not kinds:
        raise HarmonyError(f"no family chosen: name one or more of {', '.join(FAMILIES)}")
    chords = [Chord(_root(root), kind) for kind in dict.fromkeys(kinds)]
    made = []
    for number, (spread, strings) in enumerate(_sets(neck)):
        cells = [cell for chord in chords if (cell := _root_position(neck, look, chord, spread, strings))]
        head = f"Root on string {strings[0]}, {spread}, strings {''.join(map(str, strings))}"
        if cells:
            made.append(Section(head, RULE if number == 0 else "", tuple(cells)))
    dim = next((chord for chord in chords if chord.kind == "dim7"), None)
    if dim and len(neck.open_strings) == 6:
        learnt = (("drop 3", (6, 4, 3, 2)), ("drop 2", (5, 4, 3, 2)), ("drop 2", (4, 3, 2, 1)))
        cells = [cell for spread, strings in learnt if (cell := _root_position(neck, look, dim, spread, strings))]
        made.append(Section("The diminished seventh: root on strings 6, 5 and 4", "", tuple(cells)))
    return tuple(made)


def cycle(neck: Neck, look: Look, chord: str = "Cmaj7", spread: str = "drop 2") -> tuple[Section, ...]:
    """The inversions of a chord on every string set; or a family's through the twelve roots, in one spread."""
    if chord in FAMILIES or chord.replace("b", "♭") in FAMILIES:
        return (_through_roots(neck, look, family(chord), known(spread)),)
    asked = Chord.parse(chord)
    made = []
    for each, strings in _sets(neck):
        steps = neck.cycle(inversions(asked, each)[0], strings)
        cells = tuple(_cell(neck, look, voicing, grip, voicing.inversion) for voicing, grip in _rising(neck, steps))
        if cells:
            made.append(Section(f"{asked}, {each}, strings {''.join(map(str, strings))}", "", cells))
    return tuple(made)


def scale(neck: Neck, look: Look, root: str = "C") -> tuple[Section, ...]:
    """The scale of eight up every string set: the sixth chord and its leading-tone diminished take turns."""
    chord = Chord.parse(root)
    sixth, leading = sixth_of(chord), job_of("leading-tone", chord).chord
    note = f"{sixth} and {leading} take turns up the scale; under each grip the degree of {sixth.root} on top."
    made: list[Section] = []
    for spread, strings in _sets(neck):
        steps = climb(chord, neck, strings, spread)[:8]
        cells = tuple(_cell(neck, look, held, grip, _on_top(held, sixth), TIGHT) for held, grip in steps)
        if cells:
            head = f"{spread.capitalize()}, strings {''.join(map(str, strings))}"
            made.append(Section(head, "" if made else note, cells))
    return tuple(made)


def _on_top(held: Voicing, sixth: Chord) -> str:
    """The degree of the scale that a grip has on top.

    >>> from harmonylib.theory.voicings import voice
    >>> _on_top(voice("Bdim7", "drop 2", "Ab4"), Chord.parse("C6"))
    '♭6'
    """
    top = held.top.midi % 12
    degrees = [*sixth.degrees, *FOREIGN_DEGREES]
    return next(degree for degree in degrees if sixth.pitch_class_of(degree) == top)


def _through_roots(neck: Neck, look: Look, kind: str, spread: str) -> Section:
    strings = next(held for each, held in _sets(neck) if each == spread)
    cells = []
    for root in PRACTICE_ORDER:
        steps = neck.cycle(inversions(Chord.parse(root + kind), spread)[0], strings)
        own = [_cell(neck, look, voicing, grip, "", TIGHT) for voicing, grip in _rising(neck, steps)]
        cells += [*own, *[BLANK] * (4 - len(own))]
    head = f"{FAMILIES[kind][0].capitalize()}, {spread}, strings {''.join(map(str, strings))}"
    return Section(head, "Four inversions a root, the roots in the order of fourths.", tuple(cells))


def _rising(neck: Neck, steps: Iterable[tuple[Voicing, Grip]]) -> list[tuple[Voicing, Grip]]:
    """A cycle from its lowest grip up the neck."""
    return sorted(steps, key=lambda step: step[0].top.midi)


def _sets(neck: Neck) -> list[tuple[str, tuple[int, ...]]]:
    """Every spread on every string set; those with the root on string 5 in drop 2 and 6 in drop 3 first."""
    sets = [(spread, strings) for spread in SPREADS_TAUGHT for strings in neck.string_sets(spread)]
    first = [("drop 2", 5), ("drop 3", 6)]
    return sorted(sets, key=lambda each: (each[0], each[1][0]) not in first)


def _root_position(neck: Neck, look: Look, chord: Chord, spread: str, strings: tuple[int, ...]) -> Cell | None:
    """The lowest grip of the root position on these strings that a hand can hold; None where there is none."""
    start = inversions(chord, spread)[0]
    for octave in (-8, -4, 0, 4, 8):
        voicing = start.step(octave)
        grip = neck.place(voicing, strings)
        if grip:
            return _cell(neck, look, voicing, grip, str(grip))
    return None


def _cell(neck: Neck, look: Look, voicing: Voicing, grip: Grip, foot: str, spacing: float = WIDE) -> Cell:
    return Cell(str(voicing.chord), frame(neck, grip, voicing, look, spacing), foot, str(grip))


def family(name: str) -> str:
    """The label of a family, however the trade writes it.

    >>> family("m7b5"), family("ø"), family("maj7")
    ('m7♭5', 'm7♭5', 'maj7')
    """
    chord = Chord.parse(f"C{name}") if isinstance(name, str) and name.strip() else None
    kind = chord.kind if chord and not chord.extensions and not chord.bass else ""
    if kind not in FAMILIES:
        raise HarmonyError(f"{shown(name)} is not a family: choose among {', '.join(FAMILIES)}")
    return kind


def _root(text: str) -> Name:
    chord = Chord.parse(text)
    if chord.kind or chord.extensions or chord.bass:
        raise HarmonyError(f"{shown(text)} is not a root: write a note, as in E or Bb")
    return chord.root
