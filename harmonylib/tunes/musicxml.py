"""MusicXML to a `Sheet`: the file is made lean, music21 puts its notes in time.

Conventions
- Entities are refused, a plain document type is not, and nothing is fetched or unpacked to disk.
- A chord symbol is read here and leaves only a mark that music21 carries to its moment.
- Pitches are as written; `Sheet.note_move` says how far the part sounds from that.

Sources: MusicXML 4.0 (W3C), its compressed form and its ``kind-value``; `WILD_KINDS` is common practice.
"""

from __future__ import annotations

import contextlib
import io
import re
import zipfile
from dataclasses import replace
from fractions import Fraction
from typing import Any
from xml.etree.ElementTree import Element, ParseError, SubElement, tostring

from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from harmonylib.theory.families import MUSICXML_KINDS
from harmonylib.theory.pitch import LETTERS, Name, Pitch
from harmonylib.tunes.harmony import NO_CHORD, read_chord
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.sheet import (
    LIMIT,
    LONGEST,
    MODE_NAMES,
    STEERING,
    Sheet,
    clean,
    countable,
    fraction,
    likely_tempo,
    steer,
)
from harmonylib.tunes.tune import Note

WILD_KINDS = {
    # kinds that programs write although MusicXML has no such value (common practice): their symbol suffix
    **{"dominant-seventh": "7", "minor-major": "m(maj7)", "minor-major-seventh": "m(maj7)", "augmented-ninth": "9♯5"},
    **{"augmented-major-seventh": "maj7♯5", "half-diminished-seventh": "m7♭5", "suspended-fourth-seventh": "7sus4"},
    **{"dominant-suspended-fourth": "7sus4", "major-minor-seventh": "7", "diminished-triad": "dim", "triad": ""},
}


def read_musicxml(data: bytes, number: int) -> Sheet:
    root = _score_root(unpacked(data) if data[:2] == b"PK" else data)
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
    )
    reader = _PartReader(sheet)
    leans = [reader.lean(part) for part in ([melody] if harmony is melody else [melody, harmony])]
    placed = _placed(leans)
    reader.take_bars(placed[0])
    reader.take_chords(placed[-1])
    if reader.graces:
        sheet.remarks.append(f"grace notes are left out ({reader.graces})")
    return sheet


def unpacked(data: bytes) -> bytes:
    """The score inside a compressed MusicXML file, unpacked in memory and never beyond `LIMIT`."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
            scores = [n for n in names if n.lower().endswith((".xml", ".musicxml")) and not n.startswith("META-INF/")]
            if "META-INF/container.xml" in names:
                container = _parsed(_member(archive, "META-INF/container.xml"))
                listed = [file.get("full-path", "") for file in container.iter() if file.tag.endswith("rootfile")]
                scores = [name for name in listed if name in names] + scores
            if not scores:
                raise HarmonyError("the compressed file holds no score: save it as MusicXML again")
            return _member(archive, scores[0])
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        why = clean(str(error))[:120]  # zipfile quotes whole pieces of a damaged file
        raise HarmonyError(f"the compressed file is damaged or locked ({why}): save it as MusicXML again") from error


def _member(archive: zipfile.ZipFile, name: str) -> bytes:
    too_large = HarmonyError(f"{name!r} unpacks to more than {LIMIT // 1_000_000} MB: give the file of a single tune")
    if archive.getinfo(name).file_size > LIMIT:
        raise too_large
    with archive.open(name) as stream:
        data = stream.read(LIMIT + 1)
    if len(data) > LIMIT:  # the size a zip declares is only a claim
        raise too_large
    return data


def _parsed(data: bytes) -> Element:
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root: Element = fromstring(data)
        return root
    except DefusedXmlException:
        raise HarmonyError("it declares XML entities, which no score needs: save it as plain MusicXML") from None
    except (ParseError, ValueError, LookupError) as error:
        raise HarmonyError(f"it is not XML ({error}): save it as MusicXML again") from error


def _score_root(data: bytes) -> Element:
    root = _parsed(data)
    if root.tag == "score-timewise":
        raise HarmonyError("it is a time-wise score: save it as part-wise MusicXML, as notation programs do by default")
    if root.tag != "score-partwise":
        raise HarmonyError(f"it is XML but no score (it opens with <{clean(root.tag)[:40]}>): save it as MusicXML")
    return root


def _first_text(root: Element, *paths: str) -> str:
    return next((text for path in paths if (text := clean(root.findtext(path)))), "")


def _sounds(note: Element) -> bool:
    return note.find("pitch") is not None and note.find("grace") is None and note.find("cue") is None


def _number(text: str | None, otherwise: float | None = None) -> float:
    """A number of a MusicXML file; `otherwise` where there is none."""
    try:
        value = float(text or "")
    except ValueError:
        value = float("nan")
    if abs(value) < 1e9:
        return value
    if otherwise is None:
        raise HarmonyError(f"{clean(text)[:20]!r} stands where a number was expected: save the file again")
    return otherwise


def _score_tempo(root: Element) -> float | None:
    """The first tempo, in quarter notes a minute: as printed, or as the playback is told."""
    units = {"whole": 4, "half": 2, "quarter": 1, "eighth": 0.5, "16th": 0.25}
    for element in root.iter():
        if element.tag == "sound" and (tempo := likely_tempo(_number(element.get("tempo"), 0))):
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
    semitones = round(_number(transpose.findtext("chromatic"), 0))
    steps = round(_number(transpose.findtext("diatonic"), round(semitones * 7 / 12)))
    octaves = round(_number(transpose.findtext("octave-change"), 0))
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
            facts |= {
                "start": False,
                "end": False,
                "ending": self.ending,
                "marks": [],
                "metre": self.metre,
                "fifths": self.fifths,
            }
            target = SubElement(lean, "measure", number=str(index))
            try:
                self._lean_measure(measure, target, facts, staff, first)
            except HarmonyError as error:
                raise HarmonyError(f"bar {facts['number'] or index}: {error}") from error
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
                offset = _number(child.findtext("offset"), 0) / self.divisions
                self.chords.append((offset, _harmony(child)))
                words = SubElement(SubElement(SubElement(target, "direction"), "direction-type"), "rehearsal")
                words.text = str(len(self.chords) - 1)
            elif child.tag == "barline":
                self._barline(child, facts)
            if child.tag in ("direction", "barline"):
                facts["marks"] += _marks(child)

    def _length(self, source: Element, target: Element, tag: str) -> None:
        length = _number(source.findtext("duration"), 0)
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
        sounds = _sounds(note) and note.findtext("staff", "1") == staff and _number(note.findtext("duration"), 0) > 0
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
        written = _number(note.findtext("pitch/alter") or "0")
        alter = max(-2, min(2, round(written)))
        if alter != written:
            self.sheet.remarks.append("notes between the semitones are read as the nearest semitone")
        for tag, value in (("step", step), ("alter", alter), ("octave", round(_number(note.findtext("pitch/octave"))))):
            SubElement(pitch, tag).text = str(value)
        length = _number(note.findtext("duration"))
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
            self.divisions = _number(source.findtext("divisions"))
            if self.divisions <= 0:
                raise HarmonyError("a quarter note is divided into no parts (divisions): save the file again")
            SubElement(lean, "divisions").text = repr(self.divisions)
        fifths, time = source.find("key/fifths"), source.find("time")
        if fifths is not None and first:
            self.fifths = max(-7, min(7, round(_number(fifths.text, 0))))
            mode = clean(source.findtext("key/mode")).lower()
            if self.sheet.mode is None:
                self.sheet.mode = MODE_NAMES.get(mode)
        if time is not None:
            self.free = time.find("senza-misura") is not None
            self.metre = _metre(time) or self.metre
            lean_time = SubElement(lean, "time")
            SubElement(lean_time, "beats").text, SubElement(lean_time, "beat-type").text = map(str, self.metre)
        started = any(child.tag == "note" for child in target)
        if not started:
            facts |= {"metre": self.metre, "fifths": self.fifths}

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
                key = (facts["fifths"] or 0, facts["start"], facts["end"], facts["ending"], marks)
                sheet.bars.append(Bar(0, at, length, facts["metre"], *key))
                sheet.numbers.append(facts["number"])
            at += length
        if self.fifths is None:
            sheet.remarks.append("there is no key signature: it is read as one without sharps or flats")
        if self.free:
            sheet.pick_up = False
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


def _metre(time: Element) -> tuple[int, int] | None:
    """One metre for a time signature, added up where it is compound; None for free or damaged ones."""
    beats = [sum(map(int, re.findall(r"\d+", element.text or ""))) for element in time.findall("beats")]
    types = [int(_number(element.text, 0)) for element in time.findall("beat-type")]
    if not beats or len(beats) != len(types) or any(t not in (1, 2, 4, 8, 16, 32, 64) for t in types):
        return None
    unit = max(types)
    total = sum(count * unit // kind for count, kind in zip(beats, types, strict=True))
    return (total, unit) if 0 < total <= 128 else None


def _marks(element: Element) -> list[str]:
    """The words and signs of a direction or bar line that send the player elsewhere."""
    found = [child.tag.capitalize() for child in element.iter() if child.tag in ("segno", "coda")]
    for words in element.iter("words"):
        text = clean(words.text)
        if STEERING.search(text):
            found.append(steer(text))
    return found


def _harmony(harmony: Element) -> Chord | None | HarmonyError:
    """The chord a MusicXML harmony names; None for “no chord”; the error if it cannot be read."""
    kind = harmony.find("kind")
    value = clean(kind.text) if kind is not None else ""
    text = clean(kind.get("text")) if kind is not None else ""
    if value == "none" or (value in ("", "other") and NO_CHORD.fullmatch(text)):
        return None
    try:
        root = _harmony_name(harmony, "root")
        if root is None:
            return HarmonyError("a chord symbol without a root letter (a function or numeral) is not read")
        chord = _kind_chord(str(root), value, text, [*map(_degree, harmony.findall("degree"))])
        bass = _harmony_name(harmony, "bass")
        return chord if bass is None else replace(chord, bass=bass)
    except HarmonyError as error:
        return error


def _harmony_name(harmony: Element, part: str) -> Name | None:
    letter = clean(harmony.findtext(f"{part}/{part}-step")).upper()
    if not letter:
        return None
    alter = round(_number(harmony.findtext(f"{part}/{part}-alter"), 0))
    if letter not in LETTERS or abs(alter) > 3:
        raise HarmonyError(f"{letter[:10]!r} is not the {part} of a chord: expected a letter A to G")
    return Name(letter, alter).simplest()


def _kind_chord(root: str, value: str, text: str, degrees: list[tuple[str, int, str]]) -> Chord:
    """The kind as MusicXML names it, else its value or its printed text read as a symbol."""
    tries = []
    standard = MUSICXML_KINDS.get(value, WILD_KINDS.get(value))
    if standard is not None:
        tries.append(_with_degrees(standard, degrees))
    elif value and value != "other":
        tries.append(_with_degrees(value, degrees))
    tries += [text] * (bool(text) or (not value and not degrees))
    for suffix in tries:
        with contextlib.suppress(HarmonyError):
            return read_chord(root + suffix)
    shown = " ".join(filter(None, (f"kind {value!r}", text and f"printed as {text!r}")))
    raise HarmonyError(f"the chord on {root} ({shown}) cannot be read")


def _degree(degree: Element) -> tuple[str, int, str]:
    number = clean(degree.findtext("degree-value"))
    return number, round(_number(degree.findtext("degree-alter"), 0)), clean(degree.findtext("degree-type"))


def _with_degrees(suffix: str, degrees: list[tuple[str, int, str]]) -> str:
    """A symbol suffix with MusicXML degrees written behind it; an added seventh is a minor one unless altered."""
    for number, alter, how in degrees:
        sign = "" if not alter else "b" if alter < 0 else "#"
        if how == "subtract":
            suffix += f"(no{number})" if number in ("1", "3", "5", "7") else ""
        elif number == "7" and how == "add" and suffix == "dim":
            suffix = {"b": "dim7", "": "m7b5", "#": "dim(maj7)"}[sign]
        elif number == "7":
            suffix += "(maj7)" if alter > 0 else "(7)" if how == "add" else ""
        elif number == "3":
            suffix = f"m{suffix}" if alter < 0 and not suffix.startswith("m") else suffix
        elif sign:
            suffix += f"({sign}{number})"
        elif how == "add" and number not in ("1", "5"):
            suffix += f"(add{number})"
    return suffix
