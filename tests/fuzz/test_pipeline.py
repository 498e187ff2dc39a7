"""Any tune through the whole house: arranged, answered, written in every form, and read again as the same music."""

from __future__ import annotations

import csv
import io
from fractions import Fraction
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree

import mido
from hypothesis import given, settings

from harmonylib.answering.checking import check_answers
from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.arranging.checking import check
from harmonylib.errors import HarmonyError
from harmonylib.score.engraving import engrave
from harmonylib.score.events import written_events
from harmonylib.score.midi import midi
from harmonylib.score.musicxml import TABLATURE, musicxml
from harmonylib.score.tables import COLUMNS, csv_text, text
from harmonylib.tunes.reading import read_text
from harmonylib.tunes.tune import Tune
from tests.draws import draws
from tests.fuzz.strategies import hands, manners, tunes
from tests.test_tunes import sound

Tablature = dict[str, list[tuple[Fraction, Fraction, dict[int, int]]]]


def made(tune: Tune, hand: dict[str, Any], manner: Any) -> tuple[Arrangement, Arrangement]:
    """The tune arranged, and answered too, after the checkers of both have looked at it."""
    arrangement = arrange(tune, **hand)
    faults = check(arrangement)
    assert [fault for fault in faults if not fault.endswith("lies off this neck")] == []
    assert len(faults) == sum(choice.grip is None for choice in arrangement.choices)
    answered = respond(arrangement, manner)
    assert check_answers(answered) == []
    assert check(answered) == faults
    return arrangement, answered


def written(arrangement: Arrangement) -> str:
    """The score; empty where a note is too fine for any note value, which is the only refusal there is."""
    try:
        return musicxml(arrangement)
    except HarmonyError as error:
        assert "finest note values" in str(error)  # noqa: PT017  only what is refused has a message
        return ""


def tablature(xml: str) -> Tablature:
    """What the second staff says, read with ElementTree alone: voice → (onset, end, string → fret), ties joined."""
    found: Tablature = {}
    at, divisions = Fraction(0), 1
    for measure in ElementTree.fromstring(xml).iterfind("part/measure"):
        now = last = end = at
        for element in measure:
            divisions = int(element.findtext("divisions", str(divisions)))
            length = Fraction(int(element.findtext("duration", "0")), divisions)
            if element.find("chord") is None and element.tag in ("note", "forward", "backup"):
                last, now = now, now - length if element.tag == "backup" else now + length
            end = max(end, now)
            fret, string = (element.findtext(f"notations/technical/{tag}") for tag in ("fret", "string"))
            if element.findtext("staff") != "2" or string is None or fret is None:
                continue
            voice = found.setdefault(element.findtext("voice", ""), [])
            if any(tie.get("type") == "stop" for tie in element.iterfind("tie")):
                before = max(row for row in range(len(voice)) if int(string) in voice[row][2])
                assert (voice[before][1], voice[before][2][int(string)]) in ((last, int(fret)), (now, int(fret)))
                voice[before] = (voice[before][0], now, voice[before][2])
            elif element.find("chord") is None:
                voice.append((last, now, {int(string): int(fret)}))
            else:
                assert voice[-1][0] == last
                assert voice[-1][2].setdefault(int(string), int(fret)) == int(fret)
        at = end
    return found


def gripped(arrangement: Arrangement) -> Tablature:
    """The grips an arrangement holds, in the form of `tablature`."""
    found: Tablature = {}
    for event in written_events(arrangement):
        if event.grip:
            frets = event.grip.frets
            pressed = {len(frets) - place: fret for place, fret in enumerate(frets) if fret is not None}
            row = (event.onset, event.onset + event.duration, pressed)
            found.setdefault(str(event.voice + TABLATURE), []).append(row)
    return found


@given(tunes(), hands, manners)
def test_any_tune_is_arranged_and_answered_and_its_tablature_holds_the_grips(tune, hand, manner):
    for arrangement in made(tune, hand, manner):
        xml = written(arrangement)
        if xml:
            assert tablature(xml) == gripped(arrangement)


@given(tunes(), hands)
def test_the_score_of_any_tune_reads_back_as_the_same_melody_chords_and_bars(tune, hand):
    arrangement = arrange(tune, **hand)
    xml, moved = written(arrangement), arrangement.tune
    if not xml:
        return
    if not any(change.chord for change in moved.changes):
        try:
            read_text(xml, "musicxml")
        except HarmonyError as error:
            assert "no chord symbols" in str(error)  # noqa: PT017
            return
        raise AssertionError("a score without chord symbols was read")
    back = sound(read_text(xml, "musicxml"))
    assert back.notes == moved.notes
    assert back.changes == moved.changes
    assert back.bars == moved.bars
    assert (back.title, back.tempo) == (moved.title, arrangement.tempo)


@given(tunes(), hands, manners)
def test_tables_and_midi_of_any_tune_have_a_row_and_a_note_for_everything_that_sounds(tune, hand, manner):
    for arrangement in made(tune, hand, manner):
        rows = list(csv.reader(io.StringIO(csv_text(arrangement), newline="")))
        assert len(rows) == 1 + len(arrangement.choices) + len(arrangement.answers)
        assert {len(row) for row in rows} == {len(COLUMNS)}
        assert all(choice.reason in text(arrangement) for choice in arrangement.choices)
        file = mido.MidiFile(file=io.BytesIO(midi(arrangement, once=True)))
        sounding = sum(len(event.pitches) for event in written_events(arrangement))
        assert sum(message.type == "note_on" and message.velocity > 0 for message in file) == sounding
        assert all(a.onset <= b.onset for a, b in pairwise(arrangement.answers))


@settings(max_examples=draws(3))
@given(tunes(), hands, manners)
def test_any_tune_is_engraved(tune, hand, manner):
    for arrangement in made(tune, hand, manner):
        if written(arrangement):
            assert ElementTree.fromstring(engrave(arrangement)).tag.endswith("svg")
