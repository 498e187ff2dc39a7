"""Notation: an arrangement written out as MusicXML, guitar notation over tablature.

There is one MusicXML writer. `harmonylib.printing` engraves the very file it makes, so page and file cannot differ.

Conventions
- The guitar part has two staves: 1 is notation (treble clef with an 8 below, sounding pitches), 2 is tablature with one
  line a string. Voice v of staff 1 is voice v + 4 of staff 2.
- What sounds is a row of `Event`; the writer knows nothing of harmony. Note 12 of the tune has the id ``n12``.
- Time is in quarter notes (`Fraction`); `harmonylib.rhythm` says which note values show it.

Sources: MusicXML 4.0 (W3C).
"""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import lcm
from xml.etree.ElementTree import Element, SubElement, tostring

from harmonylib.arranging import ARRANGEMENT, Answer, Arrangement, Choice
from harmonylib.chords import MUSICXML_KINDS, Chord
from harmonylib.neck import Grip, Neck
from harmonylib.pitch import HarmonyError, Name, Pitch, expect, shown, whole
from harmonylib.rhythm import Sign, bar_signs
from harmonylib.tunes import Bar, Change, Tune

BARS_A_LINE = 4
ANSWER_COLOUR = "#0072B2"  # blue of the Okabe–Ito palette; a label says the same in words
TABLATURE = 4
"""Added to the number of a voice for its copy in tablature."""

COLUMNS_A_LINE = 30
"""Chords and rests that fit on a line of music as wide as a page; a denser line is divided (chosen by eye)."""

KINDS = {
    # family or triad: MusicXML 4.0 kind-value, and what its degrees need besides (value, alteration, type)
    **{suffix: (kind, ()) for kind, suffix in reversed(MUSICXML_KINDS.items())},
    "7sus4": ("suspended-fourth", ((7, -1, "add"),)),
    "7♭5": ("dominant", ((5, -1, "alter"),)),
    "maj7♯5": ("major-seventh", ((5, 1, "alter"),)),
    "maj7♭5": ("major-seventh", ((5, -1, "alter"),)),
}
ACCIDENTALS = {-3: "triple-flat", -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"} | {
    3: "triple-sharp"
}
_UNSEEN = re.compile("[\u200e\u200f\u061c\u202a-\u202e\u2066-\u2069\ufffe\uffff]")
"""Marks that turn the direction of writing, and what XML forbids beside control characters."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that sounds: pitches from the lowest up, and the grip that holds them (None: only in the notation).

    `label` is a short text under the staff, `id` the XML id of the top note, `reason` the sentence behind the choice.
    """

    onset: Fraction
    duration: Fraction
    pitches: tuple[Pitch, ...]
    grip: Grip | None
    voice: int = 1
    label: str = ""
    id: str = ""
    reason: str = ""


def events(arrangement: Arrangement) -> tuple[Event, ...]:
    """What sounds in an arrangement: calls in voice 1, as long as they are held, and their answers in voice 2.

    >>> from harmonylib.arranging import arrange
    >>> from harmonylib.tunes import read_text
    >>> made = arrange(read_text('T:Two\\nM:2/4\\nL:1/4\\nK:C\\n"Cmaj7"E F|"C6"G2|'), density="every")
    >>> [(event.id, str(event.grip), event.label) for event in events(made)]
    [('n0', '8-10-9-9-x-x', ''), ('n1', '10-11-9-10-x-x', 'B°7'), ('n2', '12-12-10-12-x-x', '')]
    """
    expect(Arrangement, arrangement, ARRANGEMENT)
    calls = tuple(_call(choice, arrangement.held(choice.index)) for choice in arrangement.choices)
    first = {answer.call: number for number, answer in reversed(list(enumerate(arrangement.answers)))}
    answers = tuple(_answer(answer, n, n == first[answer.call]) for n, answer in enumerate(arrangement.answers))
    return calls + answers


def _call(choice: Choice, held: Fraction) -> Event:
    pitches = choice.voicing.pitches if choice.voicing else (choice.note.pitch,)
    label = f"{choice.diminished.chord.root}°7" if choice.diminished else ""
    return Event(choice.note.onset, held, pitches, choice.grip, 1, label, f"n{choice.index}", choice.reason)


def _answer(answer: Answer, number: int, opens: bool) -> Event:
    label = "approach" if answer.approach else "answer" if opens else ""
    return Event(
        answer.onset, answer.duration, answer.voicing.pitches, answer.grip, 2, label, f"a{number}", answer.reason
    )


def plain(text: str) -> str:
    """One line without control characters and without marks that turn the direction of writing.

    >>> plain("A\\x1b[31m \\u202etune\\n"), plain("Été")
    ('A [31m tune', 'Été')
    """
    shown = "".join(" " if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") else c for c in _UNSEEN.sub("", text))
    return " ".join(shown.split())


def facts(arrangement: Arrangement) -> tuple[str, ...]:
    """Key, tempo and settings in words, for a heading.

    >>> from harmonylib.arranging import arrange
    >>> from harmonylib.tunes import read_text
    >>> facts(arrange(read_text('T:One\\nM:2/4\\nL:1/4\\nK:C\\n"Cmaj7"E F|')))[:3]
    ('C major', '120 quarter notes a minute', 'density comfortable')
    """
    settings, neck = arrangement.settings, arrangement.settings.neck
    return (
        arrangement.tune.key,
        f"{arrangement.tempo:g} quarter notes a minute",
        f"density {settings.density}",
        f"tuning {plain(neck.tuning)}" + (f", capo at fret {neck.capo}" if neck.capo else ""),
        f"frets to {neck.frets}",
        f"reach {neck.reach_mm:g} mm",
    )


def bar_range(tune: Tune, first: int | None, last: int | None) -> range:
    """Indices of the bars numbered `first` to `last`, None for either end of the tune; `HarmonyError` if none."""
    numbers = [bar.number for bar in tune.bars]
    low, high = numbers[0] if first is None else first, numbers[-1] if last is None else last
    low, high = whole(low, "the number of a bar"), whole(high, "the number of a bar")
    chosen = [index for index, number in enumerate(numbers) if low <= number <= high]
    if not chosen:
        raise HarmonyError(f"bars {shown(low)} to {shown(high)}: the tune has bars {numbers[0]} to {numbers[-1]}")
    return range(chosen[0], chosen[-1] + 1)


def line_starts(columns: Sequence[int], bars: Sequence[Bar], most: int) -> frozenset[int]:
    """Indices of the bars that open a line of music: every four bars, halved where they hold more than `most` columns.

    `columns` counts the chords and rests of each bar; a pick-up shares the line of the bar after it.
    """
    first = 1 if bars[0].number == 0 else 0
    groups = [range(start if start > first else 0, min(start + BARS_A_LINE, len(bars)))
              for start in range(first, len(bars), BARS_A_LINE)]  # fmt: skip
    return frozenset(start for group in groups for start in _lines(group, columns, most))


def _lines(group: range, columns: Sequence[int], most: int) -> list[int]:
    if len(group) == 1 or sum(columns[index] for index in group) <= most:
        return [group[0]]
    half = (len(group) + 1) // 2
    return _lines(group[:half], columns, most) + _lines(group[half:], columns, most)


# --- MusicXML ---------------------------------------------------------------------------------------------------


def musicxml(
    arrangement: Arrangement,
    first: int | None = None,
    last: int | None = None,
    columns: int = COLUMNS_A_LINE,
) -> str:
    """The arrangement as a MusicXML 4.0 score: notation, tablature, chord symbols; the same bytes every time.

    Calls are voice 1, answers voice 2; `first` and `last` are bar numbers (default: all bars); `columns` is how many
    chords and rests a line of music may hold before it is divided. Raises `HarmonyError` for bars the tune has not and
    for a note too short to write.
    """
    sounding = events(arrangement)
    tune, neck = arrangement.tune, arrangement.settings.neck
    root = Element("score-partwise", version="4.0")
    _add(_add(root, "work"), "work-title", plain(tune.title))
    identification = _add(root, "identification")
    if tune.composer:
        _add(identification, "creator", plain(tune.composer), type="composer")
    _add(_add(identification, "encoding"), "software", "harmonylib")
    part_name = _add(_add(_add(root, "part-list"), "score-part", id="P1"), "part-name", "Guitar")
    part_name.set("print-object", "no")
    part = _add(root, "part", id="P1")
    _Writer(tune, neck, arrangement.tempo, sounding).write(part, bar_range(tune, first, last), columns)
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 '
    head += 'Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n'
    return head + tostring(root, encoding="unicode") + "\n"


def _add(parent: Element, tag: str, content: object = None, /, **attributes: str) -> Element:
    child = SubElement(parent, tag, attributes)
    if content is not None:
        child.text = str(content)
    return child


class _Writer:
    """Writes the bars of one part; holds what stays the same from bar to bar."""

    def __init__(self, tune: Tune, neck: Neck, tempo: float, sounding: Sequence[Event]) -> None:
        self.tune, self.neck, self.tempo = tune, neck, tempo
        self.bars = [(bar, _voices(bar, here)) for bar, here in zip(tune.bars, _by_bar(tune, sounding), strict=True)]
        moments = [sign.length for _, voices in self.bars for signs in voices.values() for sign in signs]
        moments += [bar.length for bar in tune.bars] + [change.onset - tune.bars[0].onset for change in tune.changes]
        self.change_onsets = [change.onset for change in tune.changes]
        self.divisions = lcm(*(moment.denominator for moment in moments))

    def ticks(self, length: Fraction) -> str:
        return str(int(length * self.divisions))

    def write(self, part: Element, chosen: range, columns: int) -> None:
        """The bars with these indices, the first of them with clefs, key and metre."""
        first_of_line = line_starts([len(voices[1]) for _, voices in self.bars], self.tune.bars, columns)
        before: Bar | None = None
        for index in chosen:
            bar, voices = self.bars[index]
            after = self.tune.bars[index + 1] if index + 1 < len(self.bars) else None
            measure = _add(part, "measure", number=str(bar.number))
            if bar.number == 0:
                measure.set("implicit", "yes")
            if index in first_of_line and before:
                _add(measure, "print", **{"new-system": "yes"})
            self._left_barline(measure, bar, before)
            self._attributes(measure, bar, before)
            if index == 0:
                self._tempo(measure, bar)
            for mark in bar.marks:
                _words(measure, plain(mark), "above", **{"font-weight": "bold"})
            self._music(measure, bar, voices)
            self._right_barline(measure, bar, after)
            before = bar

    def _left_barline(self, measure: Element, bar: Bar, before: Bar | None) -> None:
        opens = bar.ending and (before is None or before.ending != bar.ending)
        if bar.repeat_start or opens:
            barline = _add(measure, "barline", location="left")
            if bar.repeat_start:
                _add(barline, "bar-style", "heavy-light")
            if opens:
                _add(barline, "ending", number=_ending(bar.ending), type="start")
            if bar.repeat_start:
                _add(barline, "repeat", direction="forward")

    def _right_barline(self, measure: Element, bar: Bar, after: Bar | None) -> None:
        closes = bar.ending and (after is None or after.ending != bar.ending)
        if bar.repeat_end or closes or after is None:
            barline = _add(measure, "barline", location="right")
            if bar.repeat_end or after is None:
                _add(barline, "bar-style", "light-heavy")
            if closes:
                _add(barline, "ending", number=_ending(bar.ending), type="stop" if bar.repeat_end else "discontinue")
            if bar.repeat_end:
                _add(barline, "repeat", direction="backward")

    def _attributes(self, measure: Element, bar: Bar, before: Bar | None) -> None:
        new_key = before is None or before.fifths != bar.fifths
        new_time = before is None or before.metre != bar.metre
        if not new_key and not new_time:
            return
        attributes = _add(measure, "attributes")
        if before is None:
            _add(attributes, "divisions", self.divisions)
        if new_key:
            key = _add(attributes, "key")
            _add(key, "fifths", bar.fifths)
            _add(key, "mode", self.tune.mode)
        if new_time:
            time = _add(attributes, "time")
            _add(time, "beats", bar.metre[0])
            _add(time, "beat-type", bar.metre[1])
        if before is None:
            self._staves(attributes)

    def _staves(self, attributes: Element) -> None:
        """Clefs, and the tablature's lines and tuning from the neck."""
        _add(attributes, "staves", 2)
        _add(attributes, "part-symbol", "bracket", **{"top-staff": "1", "bottom-staff": "2"})
        for number, sign, line in (("1", "G", 2), ("2", "TAB", None)):
            clef = _add(attributes, "clef", number=number)
            _add(clef, "sign", sign)
            if line:
                _add(clef, "line", line)
                _add(clef, "clef-octave-change", -1)
        details = _add(attributes, "staff-details", number="2")
        _add(details, "staff-lines", len(self.neck.open_strings))
        for line, pitch in enumerate(self.neck.open_strings, start=1):
            tuning = _add(details, "staff-tuning", line=str(line))
            _add(tuning, "tuning-step", pitch.letter)
            if pitch.alter:
                _add(tuning, "tuning-alter", pitch.alter)
            _add(tuning, "tuning-octave", pitch.octave)
        if self.neck.capo:
            _add(details, "capo", self.neck.capo)

    def _tempo(self, measure: Element, bar: Bar) -> None:
        """A metronome mark in the felt beat: a dotted quarter in compound metres where that is a whole number."""
        compound = bar.metre[1] == 8 and bar.metre[0] % 3 == 0 and self.tempo * 2 % 3 == 0
        direction = _add(measure, "direction", placement="above")
        metronome = _add(_add(direction, "direction-type"), "metronome")
        _add(metronome, "beat-unit", "quarter")
        if compound:
            _add(metronome, "beat-unit-dot")
        _add(metronome, "per-minute", f"{self.tempo * 2 / 3 if compound else self.tempo:g}")
        _add(direction, "staff", 1)
        _add(direction, "sound", tempo=f"{self.tempo:g}")

    def _music(self, measure: Element, bar: Bar, voices: dict[int, tuple[Sign[Event], ...]]) -> None:
        """Every voice in notation and then in tablature, each from the start of the bar."""
        accidentals = _Accidentals(bar.fifths)
        changes = self.tune.changes[
            bisect_left(self.change_onsets, bar.onset) : bisect_left(self.change_onsets, bar.end)
        ]
        for number, signs in voices.items():
            stem = "" if len(voices) == 1 else "up" if number == 1 else "down"
            if number > 1:
                self._back(measure, bar)
            for sign in signs:
                if number == 1:
                    self._changes_at(measure, sign, changes)
                if sign.event is None:
                    answered = any(s.event and s.onset <= sign.onset < s.onset + s.length for s in voices.get(2, ()))
                    self._rest(measure, sign, number, sign.length == bar.length, answered)
                    continue
                if sign.event.label and sign.opens:
                    _words(measure, sign.event.label, "below", **{"font-style": "italic", "font-size": "9"})
                self._chord(measure, sign, number, stem, accidentals)
            self._back(measure, bar)
            for sign in signs:
                if sign.event and sign.event.grip:
                    self._chord(measure, sign, number + TABLATURE, "none")
                else:
                    self._skip(measure, sign.length)

    def _back(self, measure: Element, bar: Bar) -> None:
        _add(_add(measure, "backup"), "duration", self.ticks(bar.length))

    def _skip(self, measure: Element, length: Fraction) -> None:
        _add(_add(measure, "forward"), "duration", self.ticks(length))

    def _changes_at(self, measure: Element, sign: Sign[Event], changes: Iterable[Change]) -> None:
        """The chord symbols that fall on a sign or, with an offset, while it lasts."""
        for change in changes:
            if sign.onset <= change.onset < sign.onset + sign.length:
                harmony = _harmony(change.chord)
                if change.onset > sign.onset:
                    _add(harmony, "offset", self.ticks(change.onset - sign.onset))
                _add(harmony, "staff", 1)
                measure.append(harmony)

    def _rest(self, measure: Element, sign: Sign[Event], voice: int, whole_bar: bool, answered: bool) -> None:
        if voice > 1:  # a second voice leaves its gaps open
            self._skip(measure, sign.length)
            return
        note = _add(measure, "note")
        if answered:  # the chord of the other voice says enough
            note.set("print-object", "no")
        rest = _add(note, "rest")
        if whole_bar:
            rest.set("measure", "yes")
        self._tail(note, sign, voice)

    def _chord(
        self, measure: Element, sign: Sign[Event], voice: int, stem: str, accidentals: _Accidentals | None = None
    ) -> None:
        """One sign with its notes from the lowest up; accidentals are shown in notation only."""
        event = sign.event
        assert event is not None
        last = len(event.pitches) - 1
        for index, (pitch, place) in enumerate(zip(event.pitches, _places(event.grip, last + 1), strict=True)):
            note = _add(measure, "note")
            if event.voice == 2:
                note.set("color", ANSWER_COLOUR)
            if index == last and event.id and voice < TABLATURE:
                note.set("id", event.id if sign.opens else f"{event.id}-{self.ticks(sign.onset)}")
            if index:
                _add(note, "chord")
            note.append(_pitch_element(pitch))
            accidental = accidentals.needed(pitch) if accidentals and sign.opens else ""
            self._tail(note, sign, voice, accidental, stem, place, leads=index == 0)

    def _tail(
        self,
        note: Element,
        sign: Sign[Event],
        voice: int,
        accidental: str = "",
        stem: str = "",
        place: tuple[int, int, int] | None = None,
        leads: bool = True,
    ) -> None:
        """What follows the pitch or rest, in the order the schema asks for; the first note of a chord leads it."""
        _add(note, "duration", self.ticks(sign.length))
        ties = [kind for kind, there in (("stop", not sign.opens), ("start", not sign.closes)) if there]
        for kind in ties:
            _add(note, "tie", type=kind)
        _add(note, "voice", voice)
        _add(note, "type", sign.type)
        for _ in range(sign.dots):
            _add(note, "dot")
        if accidental:
            _add(note, "accidental", accidental)
        if sign.ratio != (1, 1):
            change = _add(note, "time-modification")
            _add(change, "actual-notes", sign.ratio[0])
            _add(change, "normal-notes", sign.ratio[1])
        if stem and leads:
            _add(note, "stem", stem)
        _add(note, "staff", 1 if voice < TABLATURE else 2)
        for level, beam in enumerate(sign.beams if leads and voice < TABLATURE else (), start=1):
            _add(note, "beam", beam, number=str(level))
        brackets = sign.tuplet if leads else ()
        if ties or brackets or place:
            _notations(note, ties, brackets, bool(sign.beams), voice > TABLATURE, place)


class _Accidentals:
    """Which accidentals a bar has shown so far, by letter and octave."""

    def __init__(self, fifths: int) -> None:
        self.signature, self.shown = _signature(fifths), dict[tuple[str, int], int]()

    def needed(self, pitch: Pitch) -> str:
        """The accidental this note needs here, noted down until the bar ends."""
        place = (pitch.letter, pitch.octave)
        if self.shown.get(place, self.signature[pitch.letter]) == pitch.alter:
            return ""
        self.shown[place] = pitch.alter
        return ACCIDENTALS[pitch.alter]


def _notations(
    note: Element, ties: list[str], brackets: Sequence[str], beamed: bool, tab: bool, place: tuple[int, int, int] | None
) -> None:
    """Ties, tuplet brackets (only the notation shows them, and no bracket over a beam), string, fret and finger."""
    notations = _add(note, "notations")
    for kind in ties:
        _add(notations, "tied", type=kind)
    for kind in brackets:
        look = {"show-number": "none"} if tab else {"placement": "above"}  # labels stand below
        _add(notations, "tuplet", type=kind, number="1", bracket="no" if tab or beamed else "yes", **look)
    if place:
        string, fret, finger = place
        technical = _add(notations, "technical")
        if finger and tab:
            _add(technical, "fingering", finger)
        _add(technical, "string", string)
        _add(technical, "fret", fret)


def _words(measure: Element, text: str, placement: str, **look: str) -> None:
    direction = _add(measure, "direction", placement=placement)
    _add(_add(direction, "direction-type"), "words", text, **look)
    _add(direction, "staff", 1)


def _by_bar(tune: Tune, sounding: Sequence[Event]) -> list[list[Event]]:
    """The events that sound in each bar; one held over a bar line stands in several."""
    onsets = [bar.onset for bar in tune.bars]
    by_bar: list[list[Event]] = [[] for _ in tune.bars]
    for event in sounding:
        index, end = max(bisect_right(onsets, event.onset) - 1, 0), event.onset + event.duration
        while index < len(onsets) and onsets[index] < end:
            by_bar[index].append(event)
            index += 1
    return by_bar


def _voices(bar: Bar, here: Sequence[Event]) -> dict[int, tuple[Sign[Event], ...]]:
    """The signs of every voice that sounds in a bar; voice 1 always."""
    numbers = sorted({1} | {event.voice for event in here})
    lead = bar.metre[0] * Fraction(4, bar.metre[1]) - bar.length if bar.number == 0 else Fraction(0)
    return {number: bar_signs([e for e in here if e.voice == number], bar, lead) for number in numbers}


def _places(grip: Grip | None, count: int) -> list[tuple[int, int, int] | None]:
    """String, fret and finger of every note of a grip, from the lowest."""
    if grip is None:
        return [None] * count
    fingers = grip.fingers or (0,) * len(grip.frets)
    size = len(grip.frets)
    return [
        (size - place, fret, finger)
        for place, (fret, finger) in enumerate(zip(grip.frets, fingers, strict=True))
        if fret is not None
    ]


def _pitch_element(pitch: Pitch) -> Element:
    element = Element("pitch")
    _add(element, "step", pitch.letter)
    if pitch.alter:
        _add(element, "alter", pitch.alter)
    _add(element, "octave", pitch.octave)
    return element


@lru_cache(maxsize=16)
def _signature(fifths: int) -> dict[str, int]:
    """What the key signature does to each letter: sharps from F, flats from B, fifth by fifth."""
    return {letter: (fifths - place + 6) // 7 for place, letter in enumerate("FCGDAEB")}


def _ending(numbers: str) -> str:
    return ", ".join(re.findall(r"[1-9]\d*", numbers)) or "1"


def _harmony(chord: Chord | None) -> Element:
    """A chord symbol: its kind and degrees for programs, the symbol itself as `text` for people."""
    harmony = Element("harmony", placement="above")
    root = _add(harmony, "root")
    if chord is None:
        _add(root, "root-step", "C", text="")
        _add(harmony, "kind", "none", text="N.C.")
        return harmony
    _add_name(root, "root", chord.root)
    extensions: Sequence[str] = chord.extensions
    if chord.suffix in KINDS:
        (kind, degrees), extensions = KINDS[chord.suffix], ()
    else:
        kind, degrees = KINDS[chord.kind]
    _add(harmony, "kind", kind, text=chord.suffix)
    if chord.bass:
        _add_name(_add(harmony, "bass"), "bass", chord.bass)
    added = [(int(e.strip("♭♯")), e.count("♯") - e.count("♭"), "add") for e in extensions]
    for value, alter, how in [*degrees, *added]:
        degree = _add(harmony, "degree", **{"print-object": "no"})
        _add(degree, "degree-value", value)
        _add(degree, "degree-alter", alter)
        _add(degree, "degree-type", how)
    return harmony


def _add_name(parent: Element, tag: str, name: Name) -> None:
    _add(parent, f"{tag}-step", name.letter)
    if name.alter:
        _add(parent, f"{tag}-alter", name.alter)
