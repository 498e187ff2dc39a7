"""Answers as a guitarist types them: what is plainly meant is taken, what is not gets told what to write."""

from __future__ import annotations

import pytest

from harmonylib.exercises.base import Exercise
from harmonylib.exercises.catalogue import (
    answer_call,
    drop,
    find_gaps,
    find_grips,
    find_root,
    harmonise_bar,
    name_inversion,
    next_inversion,
    shell,
    spell,
    which_degree,
    which_diminished,
)
from harmonylib.guitar.neck import Neck

TWO_BARS = 'X:1\nT:Two bars\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"Cmaj7"E4|"Dm7"F2 A2|'
SPELL, DEGREE, FOREIGN = spell("Ebm7"), which_degree("Bb", "C7"), which_degree("D", "Fm7")
INVERSION, NEXT = name_inversion("C7", "x3535x"), next_inversion("Cmaj7", "x3545x")
WHICH, DROP = which_diminished("D", "Cmaj7"), drop("Ebm7", "drop 2", top="Gb")
GRIPS = find_grips("Cmaj7", "drop 2", "5432", neck=Neck(frets=12))
GAPS, CALL = find_gaps(TWO_BARS, first=1, last=2), answer_call(TWO_BARS, call=1)
BAR = harmonise_bar(TWO_BARS, bar=2)


@pytest.mark.parametrize(
    ("task", "answer"),
    [
        *((SPELL, text) for text in ("(Eb, Gb, Bb, Db)", "[Eb Gb Bb Db]", "EB GB BB DB", "Eb Gb Bb Db!")),
        *((INVERSION, text) for text in ("root-position", "It's in root position!")),
        (find_root("G7", "3x343x"), "string 6 fret 3, drop 3"),
        *((DEGREE, text) for text in ("dominant seventh", "dominant 7", "b7th", "b7!")),
        *((FOREIGN, text) for text in ("passing note", "a neighbour note", "none of them", "nope")),
        *((WHICH, f"{text} Bdim7") for text in ("the leading-tone diminished seventh", "it is the leading tone one,")),
        *((WHICH, f"Bdim7 {text}") for text in ("- leading-tone", "(leading tone)", "leading tone")),
        (GRIPS, "2201, 3545, 7958, 10-10-9-12"),
        *((GRIPS, between.join(map(str, GRIPS.solution()))) for between in (" / ", " + ", " & ")),
        (GAPS, "beat 2 of bar 1, beat 2 of bar 2, beat 4 in measure 2"),
        *((CALL, f"{times}, 7x555x") for times in ("1 beat, 1 quarter", "1, .5")),
        (BAR, "2.1 " + ", 2.3 ".join(BAR.solution())),
    ],
)
def test_what_is_plainly_meant_is_taken(task: Exercise, answer: str) -> None:
    assert task.check(answer).right, task.check(answer)


@pytest.mark.parametrize(
    ("task", "answer", "told"),
    [
        (SPELL, "H", "“H” is not a note here: write B for it, and Bb for the note a semitone lower"),
        (SPELL, "Es Ges B Des", "“Es” is not a note here: write Eb"),
        (spell("F#7"), "Fis Ais Cis E", "“Fis” is not a note here: write F#"),
        (SPELL, "EBGBBBDB", "may be read in two ways: write flats as a small b"),
        (SPELL, "Ebm7", "it names a chord, and its notes are asked for; write the notes by name"),
        (SPELL, "nonsense", "“nonsense” is not a note; write the notes by name, as in"),
        (DROP, "Gb Db Bb Eb", "the right notes from the top down: write them from the bottom up"),
        (NEXT, "first inversion", "“first inversion” is not a note; click or write a grip"),
        (shell("E4", "Cmaj7"), "string 5 fret 3", "“string” is not a note; click or write a grip, or write two notes"),
        (DEGREE, "Bb", "“Bb” is a note: write which degree it is"),
        (FOREIGN, "6", "counted from F, D is the 6; but Fm7 holds F A♭ C E♭, so it is foreign"),
        (WHICH, "Bdim7, lt", "write its name and which it is (leading-tone, common-tone, secondary)"),
        (GRIPS, "xxxx10x", "gives 7 frets for 6 strings"),
        (GRIPS, "xxxx10x", "frets above 9 are kept apart by hyphens"),
        (GAPS, "2.9", "2.9: bar 2 has 4 beats"),
        (CALL, "7x555x", "“7x555x” is not a chord with its time: write for each chord"),
        (CALL, "2, 4, 7x555x", "it sounds over the next call"),
        (CALL, "1, 1, x3535x", "it holds B♭, foreign to Cmaj7"),
    ],
)
def test_what_is_not_is_told_what_to_write(task: Exercise, answer: str, told: str) -> None:
    reply = task.check(answer)
    assert not reply.right
    assert told in reply.text


def test_a_hand_is_not_measured_in_no_time() -> None:
    """An answer on its call, or after the next one: that is told, and no way in 0 seconds or less."""
    for times in ("0, 1", "5, 1"):
        assert " s is too far" not in CALL.check(f"{times}, xx5557").text
