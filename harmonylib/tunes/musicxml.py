"""MusicXML to a `Sheet`: the parts are made lean, music21 puts their notes in time.

Conventions
- A chord symbol is read here and leaves only a mark that music21 carries to its moment.
- Pitches are as written; `Sheet.note_move` says how far the part sounds from that.
- A measure in which nothing is written is a silent bar of its metre, and a remark says so.

Source: MusicXML 4.0 (W3C).
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any
from xml.etree.ElementTree import Element, SubElement, tostring

from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import LETTERS, Pitch
from harmonylib.tunes.container import score_root
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.sheet import (
    LONGEST,
    MODE_NAMES,
    STEERING,
    Sheet,
    clean,
    countable,
    fraction,
    likely_tempo,
    section_name,
    steer,
)
from harmonylib.tunes.symbols import symbol, xml_number
from harmonylib.tunes.tune import Note


def read_musicxml(data: bytes, number: int) -> Sheet:
    remarks: list[str] = []
    root = score_root(data, remarks)
    if number != 1:
        raise HarmonyError(f"tune {number} was asked for, but a MusicXML file holds one tune: leave the number out")
    parts = root.findall("part")
    melody = next((part for part in parts if any(_sounds(note) for note in part.iter("note"))), None)
    if melody is None:
        raise HarmonyError("it has no melody notes: write the melody in the first part")
    harmony = melody if melody.find(".//harmony") is not None else None
    harmony = harmony or next((part for part in parts if part.find(".//harmony") is not None), melody)
    for part in (melody, harmony):
        countable(sum(1 for _ in part.iter("note")))
    sheet = Sheet(
        title=_first_text(root, "work/work-title", "movement-title"),
        composer=_first_text(root, "identification/creator[@type='composer']"),
        tempo=_score_tempo(root),
        note_move=_transposition(melody),
        chord_move=_transposition(harmony),
        remarks=remarks,
    )
    reader = _PartReader(sheet)
    leans = [reader.lean(part) for part in ([melody] if harmony is melody else [melody, harmony])]
    placed = _placed(leans)
    reader.take_bars(placed[0])
    reader.take_chords(placed[-1])
    if reader.graces:
        sheet.remarks.append(f"grace notes are left out ({reader.graces})")
    return sheet


def _first_text(root: Element, *paths: str) -> str:
    return next((text for path in paths if (text := clean(root.findtext(path)))), "")


def _sounds(note: Element) -> bool:
    return note.find("pitch") is not None and note.find("grace") is None and note.find("cue") is None


def _score_tempo(root: Element) -> float | None:
    """The first tempo, in quarter notes a minute: as printed, or as the playback is told."""
    units = {"whole": 4, "half": 2, "quarter": 1, "eighth": 0.5, "16th": 0.25}
    for element in root.iter():
        if element.tag == "sound" and (tempo := likely_tempo(xml_number(element.get("tempo"), 0))):
            return tempo
        if element.tag == "metronome":
            digits = re.search(r"\d+(?:\.\d+)?", element.findtext("per-minute") or "")
            unit = units.get((element.findtext("beat-unit") or "").strip(), 0)
            dots = len(element.findall("beat-unit-dot"))
            if digits and (tempo := likely_tempo(float(digits[0]) * unit * (2 - 0.5**dots))):
                return tempo
    return None


def _transposition(part: Element) -> tuple[int, int]:
    """Letters and semitones from written to sounding pitch, as the part declares them."""
    transpose = part.find(".//transpose")
    if transpose is None:
        return 0, 0
    semitones = round(xml_number(transpose.findtext("chromatic"), 0))
    steps = round(xml_number(transpose.findtext("diatonic"), round(semitones * 7 / 12)))
    octaves = round(xml_number(transpose.findtext("octave-change"), 0))
    move = steps + 7 * octaves, semitones + 12 * octaves
    return move if abs(move[1]) <= 48 and abs(7 * move[1] - 12 * move[0]) <= 12 else (0, 0)


class _PartReader:
    """Makes parts lean for music21 and takes from them what music21 is not asked for."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.chords: list[tuple[float, Chord | None | HarmonyError]] = []
        self.measures: list[dict[str, Any]] = []
        self.graces = 0
        self.metre: tuple[int, int] = (4, 4)
        self.groups: tuple[int, ...] = ()
        self.fifths: int | None = None
        self.divisions = 1.0
        self.ending = ""
        self.free = False

    def lean(self, part: Element) -> Element:
        """The part with pitches, rests and lengths only; a chord symbol leaves its index as a rehearsal mark."""
        lean = Element("part")
        first = not self.measures
        staff = next((note.findtext("staff", "1") for note in part.iter("note") if _sounds(note)), "1")
        for index, measure in enumerate(part.findall("measure"), 1):
            facts: dict[str, Any] = {"number": measure.get("number", ""), "implicit": measure.get("implicit")}
            facts |= {"start": False, "end": False, "ending": self.ending, "marks": [], "section": ""}
            facts |= {"metre": self.metre, "groups": self.groups, "fifths": self.fifths}
            target = SubElement(lean, "measure", number=str(index))
            try:
                self._lean_measure(measure, target, facts, staff, first)
            except HarmonyError as error:
                raise HarmonyError(f"bar {facts['number'] or index}: {error}") from error
            if not self.free and not any(float(length.text or 0) for length in target.iterfind("note/duration")):
                self._silent(target, facts["metre"])
                if first:
                    self.sheet.remarks.append(f"bar {facts['number'] or index} is empty: it is read as a bar of rest")
            if first:
                self.measures.append(facts)
        return lean

    def _lean_measure(self, measure: Element, target: Element, facts: dict[str, Any], staff: str, first: bool) -> None:
        sounding = False
        for child in measure:
            if child.tag == "note":
                sounding = self._lean_note(child, target, staff, sounding)
            elif child.tag in ("backup", "forward"):
                self._length(child, target if child.tag == "backup" else SubElement(target, "note"), child.tag)
            elif child.tag == "attributes":
                self._attributes(child, target, facts, first)
            elif child.tag == "harmony" and child.get("type") != "alternate":
                offset = xml_number(child.findtext("offset"), 0) / self.divisions
                if len(child.findall("kind")) > 1:
                    where = f"bar {facts['number'] or target.get('number')}"
                    self.sheet.remarks.append(f"{where}: of chords stacked in one symbol the first is read")
                self.chords.append((offset, symbol(child)))
                words = SubElement(SubElement(SubElement(target, "direction"), "direction-type"), "rehearsal")
                words.text = str(len(self.chords) - 1)
            elif child.tag == "barline":
                self._barline(child, facts)
            if child.tag in ("direction", "barline"):
                facts["marks"] += _marks(child)
            if child.tag == "direction":
                facts["section"] = facts["section"] or section_name(child.findtext("direction-type/rehearsal"))

    def _silent(self, target: Element, metre: tuple[int, int]) -> None:
        """Fills a measure in which nothing is written."""
        rest = SubElement(target, "note")
        SubElement(rest, "rest")
        SubElement(rest, "duration").text = repr(4 * self.divisions * metre[0] / metre[1])

    def _length(self, source: Element, target: Element, tag: str) -> None:
        length = xml_number(source.findtext("duration"), 0)
        if not 0 <= length <= LONGEST * self.divisions:
            raise HarmonyError(f"a length of {length / self.divisions:g} quarter notes is out of range (0–{LONGEST})")
        if tag == "backup":
            SubElement(SubElement(target, "backup"), "duration").text = repr(length)
        else:
            SubElement(target, "rest")
            SubElement(target, "duration").text = repr(length)

    def _lean_note(self, note: Element, target: Element, staff: str, sounding: bool) -> bool:
        """Adds the note, or a rest for what is no melody; returns whether chord members that follow may sound."""
        if note.find("grace") is not None:
            self.graces += note.find("cue") is None
            return sounding
        member = note.find("chord") is not None
        if member and not sounding:
            return False
        sounds = _sounds(note) and note.findtext("staff", "1") == staff and xml_number(note.findtext("duration"), 0) > 0
        if not sounds:
            if not member:
                self._length(note, SubElement(target, "note"), "rest")
            return sounding and member
        lean = SubElement(target, "note")
        if member:
            SubElement(lean, "chord")
        pitch = SubElement(lean, "pitch")
        step = (note.findtext("pitch/step") or "").strip().upper()
        if step not in LETTERS or not step:
            raise HarmonyError(f"{step[:10]!r} is not the letter of a note: expected A to G")
        written = xml_number(note.findtext("pitch/alter") or "0")
        alter = max(-2, min(2, round(written)))
        if alter != written:
            self.sheet.remarks.append("notes between the semitones are read as the nearest semitone")
        for tag, value in (
            ("step", step),
            ("alter", alter),
            ("octave", round(xml_number(note.findtext("pitch/octave")))),
        ):
            SubElement(pitch, tag).text = str(value)
        length = xml_number(note.findtext("duration"))
        if length > LONGEST * self.divisions:
            raise HarmonyError(f"a note of {length / self.divisions:g} quarter notes is out of range (0–{LONGEST})")
        SubElement(lean, "duration").text = repr(length)
        ties = {tie.get("type", "") for tie in (note.findall("tie") or note.findall("notations/tied"))}
        for kind in sorted(ties & {"start", "stop"}):
            SubElement(lean, "tie", type=kind)
        return True

    def _attributes(self, source: Element, target: Element, facts: dict[str, Any], first: bool) -> None:
        lean = SubElement(target, "attributes")
        if source.find("divisions") is not None:
            self.divisions = xml_number(source.findtext("divisions"))
            if self.divisions <= 0:
                raise HarmonyError("a quarter note is divided into no parts (divisions): save the file again")
            SubElement(lean, "divisions").text = repr(self.divisions)
        fifths, time = source.find("key/fifths"), source.find("time")
        if fifths is not None and first:
            self.fifths = max(-7, min(7, round(xml_number(fifths.text, 0))))
            mode = clean(source.findtext("key/mode")).lower()
            if self.sheet.mode is None:
                self.sheet.mode = MODE_NAMES.get(mode)
        if time is not None:
            self.free = time.find("senza-misura") is not None
            self.metre, self.groups = _metre(time) or (self.metre, self.groups)
            lean_time = SubElement(lean, "time")
            SubElement(lean_time, "beats").text, SubElement(lean_time, "beat-type").text = map(str, self.metre)
        started = any(child.tag == "note" for child in target)
        if not started:
            facts |= {"metre": self.metre, "groups": self.groups, "fifths": self.fifths}

    def _barline(self, barline: Element, facts: dict[str, Any]) -> None:
        repeat, ending = barline.find("repeat"), barline.find("ending")
        if repeat is not None:
            facts["start" if repeat.get("direction") == "forward" else "end"] = True
        if ending is not None and ending.get("type") == "start":
            self.ending = facts["ending"] = ", ".join(re.findall(r"\d+", ending.get("number", ""))) or "1"
        elif ending is not None:
            self.ending = ""

    def take_bars(self, measures: list[Any]) -> None:
        """Notes and bars of the melody part, laid end to end by their real lengths."""
        sheet, at = self.sheet, Fraction(0)
        self.onsets: list[Fraction] = []
        for facts, measure in zip(self.measures, measures, strict=True):
            self.onsets.append(at)
            length = Fraction(0)
            for element in measure.notesAndRests:
                onset, duration = fraction(element.offset), fraction(element.quarterLength)
                length = max(length, onset + duration)
                for single in () if element.isRest else element.notes if element.isChord else (element,):
                    tied = single.tie is not None and single.tie.type in ("stop", "continue")
                    sheet.notes.append((Note(_pitch(single.pitch), at + onset, duration), tied))
            if length:
                marks = tuple(dict.fromkeys(facts["marks"]))
                key = (facts["fifths"] or 0, facts["start"], facts["end"], facts["ending"], marks, facts["groups"])
                sheet.bars.append(Bar(0, at, length, facts["metre"], *key, section=facts["section"]))
                sheet.numbers.append(facts["number"])
            at += length
        if self.fifths is None:
            sheet.remarks.append("there is no key signature: it is read as one without sharps or flats")
        if self.free:
            sheet.pick_up, sheet.free = False, True
        elif self.measures[0]["implicit"] == "yes" and len(self.measures) > 1:
            sheet.pick_up = True

    def take_chords(self, measures: list[Any]) -> None:
        """The chord symbols, at the moments where their marks stand."""
        for onset, measure in zip(self.onsets, measures, strict=False):
            for mark in measure.getElementsByClass("RehearsalMark"):
                offset, chord = self.chords[int(mark.content)]
                self.sheet.chords.append((onset + fraction(mark.offset) + fraction(offset), chord))


def _placed(parts: list[Element]) -> list[list[Any]]:
    """The measures of each part, put in time by music21."""
    from music21 import converter

    root = Element("score-partwise", version="4.0")
    names = SubElement(root, "part-list")
    for index, part in enumerate(parts):
        part.set("id", f"P{index}")
        SubElement(SubElement(names, "score-part", id=f"P{index}"), "part-name").text = "Part"
        root.append(part)
    score: Any = converter.parseData(tostring(root, encoding="unicode"), format="musicxml")
    return [list(part.getElementsByClass("Measure")) for part in score.parts]


def _pitch(pitch: Any) -> Pitch:
    return Pitch(pitch.step, round(pitch.alter), pitch.octave)


def _metre(time: Element) -> tuple[tuple[int, int], tuple[int, ...]] | None:
    """One metre for a time signature, added up where it has parts, and these; None for free or damaged ones."""
    parts = [
        [int(digits) for digits in re.findall(r"\d{1,4}", element.text or "")] for element in time.findall("beats")
    ]
    beats = [sum(part) for part in parts]
    types = [int(xml_number(element.text, 0)) for element in time.findall("beat-type")]
    if not beats or len(beats) != len(types) or any(t not in (1, 2, 4, 8, 16, 32, 64) for t in types):
        return None
    unit = max(types)
    groups = tuple(n * unit // kind for part, kind in zip(parts, types, strict=True) for n in part)
    total = sum(groups)
    return ((total, unit), groups if len(groups) > 1 and all(groups) else ()) if 0 < total <= 128 else None


def _marks(element: Element) -> list[str]:
    """The words and signs of a direction or bar line that send the player elsewhere."""
    found = [child.tag.capitalize() for child in element.iter() if child.tag in ("segno", "coda")]
    for words in element.iter("words"):
        text = clean(words.text)
        if STEERING.search(text):
            found.append(steer(text))
    return found
