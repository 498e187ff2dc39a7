"""The one MusicXML writer: guitar notation over tablature. `score.engraving` engraves the very file it makes.

Conventions
- The guitar part has two staves: 1 is notation (treble clef with an 8 below, sounding pitches), 2 is tablature with one
  line a string. Voice v of staff 1 is voice v + 4 of staff 2.
- What sounds is a row of `Written`; the writer knows nothing of harmony. Note 12 of the tune has the id ``n12``.
- Time is in quarter notes (`Fraction`); `score.rhythm` says which note values show it.

Source: MusicXML 4.0 (W3C).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import cached_property, lru_cache
from math import lcm
from xml.etree.ElementTree import Element, tostring

from harmonylib.arranging.arrangement import ARRANGEMENT, Arrangement
from harmonylib.errors import expect
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.score.elements import (
    Accidentals,
    add,
    ending_numbers,
    harmony_element,
    notations_element,
    pitch_element,
    rehearsal_element,
    sign_element,
    words_element,
)
from harmonylib.score.events import Written, written_events
from harmonylib.score.layout import COLUMNS_A_LINE, columns_over, line_starts
from harmonylib.score.midi import JAZZ_GUITAR
from harmonylib.score.rhythm import Sign, bar_signs, value_of
from harmonylib.tunes.bars import WhichBars, bar_range
from harmonylib.tunes.form import SIGNS_AT_THE_END, form_signs
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import Change, Tune
from harmonylib.wording import plain

ANSWER_COLOUR = "#0072B2"  # blue of the Okabe–Ito palette; a label says the same in words

TABLATURE = 4
"""Added to the number of a voice for its copy in tablature."""


def musicxml(
    arrangement: Arrangement,
    first: WhichBars = None,
    last: int | None = None,
    columns: int = COLUMNS_A_LINE,
    *,
    bars: WhichBars = None,
    engraved: bool = False,
) -> str:
    """The arrangement as a MusicXML 4.0 score: notation, tablature, chord symbols; the same bytes every time.

    Calls are voice 1, answers voice 2; which bars is said as in `bar_range` (default: all); `columns` is how many
    chords and rests a line of music may hold before it is divided. `engraved` is for our own page: chord symbols are
    whole in their text, and fingerings, which crowd a staff, are left out. Raises `HarmonyError` for bars the tune has
    not and for a note too short to write.
    """
    expect(Arrangement, arrangement, ARRANGEMENT)
    (score,) = excerpts(arrangement, [bar_range(arrangement.tune, bars, first, last)], columns, engraved)
    return score


def excerpts(arrangement: Arrangement, chosen: Sequence[range], columns: int, engraved: bool) -> list[str]:
    """Several rows of bars (indices) of an arrangement, each a score as `musicxml` writes it, with the work of one."""
    tune, neck = arrangement.tune, arrangement.settings.neck
    writer = _Writer(tune, neck, arrangement.sounding_tempo, written_events(arrangement), engraved)
    return [_score(tune, writer, one, columns) for one in chosen]


def _score(tune: Tune, writer: _Writer, chosen: range, columns: int) -> str:
    root = Element("score-partwise", version="4.0")
    add(add(root, "work"), "work-title", plain(tune.title))
    identification = add(root, "identification")
    if tune.composer:
        add(identification, "creator", plain(tune.composer), type="composer")
    add(add(identification, "encoding"), "software", "harmonylib")
    _instrument(add(add(root, "part-list"), "score-part", id="P1"))
    writer.write(add(root, "part", id="P1"), chosen, columns)
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 '
    head += 'Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n'
    return head + tostring(root, encoding="unicode") + "\n"


def _instrument(part: Element) -> None:
    """Name and sound of the one part: programs play it as a jazz guitar."""
    add(part, "part-name", "Guitar").set("print-object", "no")
    add(add(part, "score-instrument", id="P1-I1"), "instrument-name", "Guitar")
    sound = add(part, "midi-instrument", id="P1-I1")
    add(sound, "midi-channel", 1)
    add(sound, "midi-program", JAZZ_GUITAR + 1)  # this format counts from 1


class _Writer:
    """Writes the bars of one part; holds what stays the same from bar to bar."""

    def __init__(self, tune: Tune, neck: Neck, tempo: float, sounding: Sequence[Written], engraved: bool) -> None:
        self.tune, self.neck, self.tempo, self.engraved = tune, neck, tempo, engraved
        self.bars = [(bar, _voices(bar, here)) for bar, here in zip(tune.bars, _by_bar(tune, sounding), strict=True)]
        moments = [sign.length for _, voices in self.bars for signs in voices.values() for sign in signs]
        moments += [bar.length for bar in tune.bars] + [change.onset - tune.bars[0].onset for change in tune.changes]
        self.signs = form_signs(tune.bars)
        self.change_onsets = [change.onset for change in tune.changes]
        self.divisions = lcm(*(moment.denominator for moment in moments))

    @cached_property
    def held(self) -> list[int]:
        """How many columns each bar takes, for its chords and rests or for its chord symbols."""
        symbols: dict[Fraction, list[str]] = {}
        for change in self.tune.changes:
            symbols.setdefault(self.tune.bar_at(change.onset).onset, []).append(str(change.chord or "N.C."))
        return [max(len(voices[1]), columns_over(symbols.get(bar.onset, ()))) for bar, voices in self.bars]

    def ticks(self, length: Fraction) -> str:
        return str(int(length * self.divisions))

    def write(self, part: Element, chosen: range, columns: int) -> None:
        """The bars with these indices, the first of them with clefs, key and metre."""
        first_of_line = line_starts(self.held, self.tune.bars, columns)
        before: Bar | None = None
        for index in chosen:
            bar, voices = self.bars[index]
            after = self.tune.bars[index + 1] if index + 1 < len(self.bars) else None
            measure = add(part, "measure", number=str(bar.number))
            if bar.number == 0:
                measure.set("implicit", "yes")
            if index in first_of_line and before:
                add(measure, "print", **{"new-system": "yes"})
            self._left_barline(measure, bar, before)
            self._attributes(measure, bar, before)
            if index == 0:
                self._tempo(measure, bar)
            if bar.section:
                rehearsal_element(measure, plain(bar.section))
            for sign, mark in self.signs[index]:
                if sign not in SIGNS_AT_THE_END:
                    sign_element(measure, sign, plain(mark))
            self._music(measure, bar, voices)
            for sign, mark in self.signs[index]:
                if sign in SIGNS_AT_THE_END:
                    sign_element(measure, sign, plain(mark))
            self._right_barline(measure, bar, after)
            before = bar

    def _left_barline(self, measure: Element, bar: Bar, before: Bar | None) -> None:
        opens = bar.ending and (before is None or before.ending != bar.ending)
        if bar.repeat_start or opens:
            barline = add(measure, "barline", location="left")
            if bar.repeat_start:
                add(barline, "bar-style", "heavy-light")
            if opens:
                add(barline, "ending", number=ending_numbers(bar.ending), type="start")
            if bar.repeat_start:
                add(barline, "repeat", direction="forward")

    def _right_barline(self, measure: Element, bar: Bar, after: Bar | None) -> None:
        closes = bar.ending and (after is None or after.ending != bar.ending)
        if bar.repeat_end or closes or after is None:
            barline = add(measure, "barline", location="right")
            if bar.repeat_end or after is None:
                add(barline, "bar-style", "light-heavy")
            if closes:
                add(
                    barline,
                    "ending",
                    number=ending_numbers(bar.ending),
                    type="stop" if bar.repeat_end else "discontinue",
                )
            if bar.repeat_end:
                add(barline, "repeat", direction="backward")

    def _attributes(self, measure: Element, bar: Bar, before: Bar | None) -> None:
        new_key = before is None or before.fifths != bar.fifths
        new_time = before is None or (before.metre, before.groups) != (bar.metre, bar.groups)
        if not new_key and not new_time:
            return
        attributes = add(measure, "attributes")
        if before is None:
            add(attributes, "divisions", self.divisions)
        if new_key:
            key = add(attributes, "key")
            add(key, "fifths", bar.fifths)
            add(key, "mode", self.tune.mode)
        if new_time:
            time = add(attributes, "time")
            add(time, "beats", "+".join(map(str, bar.groups)) or bar.metre[0])
            add(time, "beat-type", bar.metre[1])
        if before is None:
            self._staves(attributes)

    def _staves(self, attributes: Element) -> None:
        """Clefs, and the tablature's lines and tuning from the neck."""
        add(attributes, "staves", 2)
        add(attributes, "part-symbol", "bracket", **{"top-staff": "1", "bottom-staff": "2"})
        for number, sign, line in (("1", "G", 2), ("2", "TAB", None)):
            clef = add(attributes, "clef", number=number)
            add(clef, "sign", sign)
            if line:
                add(clef, "line", line)
                add(clef, "clef-octave-change", -1)
        details = add(attributes, "staff-details", number="2")
        add(details, "staff-lines", len(self.neck.open_strings))
        for line, pitch in enumerate(self.neck.open_strings, start=1):
            tuning = add(details, "staff-tuning", line=str(line))
            add(tuning, "tuning-step", pitch.letter)
            if pitch.alter:
                add(tuning, "tuning-alter", pitch.alter)
            add(tuning, "tuning-octave", pitch.octave)
        if self.neck.capo:
            add(details, "capo", self.neck.capo)

    def _tempo(self, measure: Element, bar: Bar) -> None:
        """A metronome mark in the felt beat where that is a whole number, else in quarters."""
        beat = bar.grid.beat(Fraction(0))[1]
        kind, dots = value_of(beat) or ("", 0)
        if not kind or Fraction(self.tempo) % beat:
            beat, kind, dots = Fraction(1), "quarter", 0
        direction = add(measure, "direction", placement="above")
        metronome = add(add(direction, "direction-type"), "metronome")
        add(metronome, "beat-unit", kind)
        for _ in range(dots):
            add(metronome, "beat-unit-dot")
        add(metronome, "per-minute", f"{float(Fraction(self.tempo) / beat):g}")
        add(direction, "staff", 1)
        add(direction, "sound", tempo=f"{self.tempo:g}")

    def _music(self, measure: Element, bar: Bar, voices: dict[int, tuple[Sign[Written], ...]]) -> None:
        """Every voice in notation and then in tablature, each from the start of the bar."""
        accidentals = Accidentals(bar.fifths)
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
                    self._rest(measure, sign, number, sign.length == bar.length >= bar.full, answered)
                    continue
                if sign.event.label and sign.opens:
                    words_element(measure, sign.event.label, "below", **{"font-style": "italic", "font-size": "9"})
                self._chord(measure, sign, number, stem, accidentals)
            self._back(measure, bar)
            for sign in signs:
                if sign.event and sign.event.grip:
                    self._chord(measure, sign, number + TABLATURE, "none")
                else:
                    self._skip(measure, sign.length)

    def _back(self, measure: Element, bar: Bar) -> None:
        add(add(measure, "backup"), "duration", self.ticks(bar.length))

    def _skip(self, measure: Element, length: Fraction) -> None:
        add(add(measure, "forward"), "duration", self.ticks(length))

    def _changes_at(self, measure: Element, sign: Sign[Written], changes: Iterable[Change]) -> None:
        """The chord symbols that fall on a sign or, with an offset, while it lasts."""
        for change in changes:
            if sign.onset <= change.onset < sign.onset + sign.length:
                harmony = harmony_element(change.chord, whole=self.engraved)
                if change.onset > sign.onset:
                    add(harmony, "offset", self.ticks(change.onset - sign.onset))
                add(harmony, "staff", 1)
                measure.append(harmony)

    def _rest(self, measure: Element, sign: Sign[Written], voice: int, whole_bar: bool, answered: bool) -> None:
        if voice > 1:  # a second voice leaves its gaps open
            self._skip(measure, sign.length)
            return
        note = add(measure, "note")
        if answered:  # the chord of the other voice says enough
            note.set("print-object", "no")
        rest = add(note, "rest")
        if whole_bar:
            rest.set("measure", "yes")
        self._tail(note, sign, voice)

    def _chord(
        self, measure: Element, sign: Sign[Written], voice: int, stem: str, accidentals: Accidentals | None = None
    ) -> None:
        """One sign with its notes from the lowest up; accidentals are shown in notation only."""
        event = sign.event
        assert event is not None
        last = len(event.pitches) - 1
        for index, (pitch, place) in enumerate(zip(event.pitches, _places(event.grip, last + 1), strict=True)):
            note = add(measure, "note")
            if event.voice == 2:
                note.set("color", ANSWER_COLOUR)
            if index == last and event.id and voice < TABLATURE:
                note.set("id", event.id if sign.opens else f"{event.id}-{self.ticks(sign.onset)}")
            if index:
                add(note, "chord")
            note.append(pitch_element(pitch))
            accidental = accidentals.needed(pitch) if accidentals and sign.opens else ""
            self._tail(note, sign, voice, accidental, stem, place, leads=index == 0)

    def _tail(
        self,
        note: Element,
        sign: Sign[Written],
        voice: int,
        accidental: str = "",
        stem: str = "",
        place: tuple[int, int, int] | None = None,
        leads: bool = True,
    ) -> None:
        """What follows the pitch or rest, in the order the schema asks for; the first note of a chord leads it."""
        add(note, "duration", self.ticks(sign.length))
        ties = [kind for kind, there in (("stop", not sign.opens), ("start", not sign.closes)) if there]
        for kind in ties:
            add(note, "tie", type=kind)
        add(note, "voice", voice)
        add(note, "type", sign.type)
        for _ in range(sign.dots):
            add(note, "dot")
        if accidental:
            add(note, "accidental", accidental)
        if sign.ratio != (1, 1):
            change = add(note, "time-modification")
            add(change, "actual-notes", sign.ratio[0])
            add(change, "normal-notes", sign.ratio[1])
        if stem and leads:
            add(note, "stem", stem)
        add(note, "staff", 1 if voice < TABLATURE else 2)
        for level, beam in enumerate(sign.beams if leads and voice < TABLATURE else (), start=1):
            add(note, "beam", beam, number=str(level))
        brackets = sign.tuplet if leads else ()
        if ties or brackets or place:
            fingered = voice > TABLATURE and not self.engraved
            notations_element(note, ties, brackets, bool(sign.beams), voice > TABLATURE, place, fingered)


def _by_bar(tune: Tune, sounding: Sequence[Written]) -> list[list[Written]]:
    """The events that sound in each bar; one held over a bar line stands in several."""
    onsets = [bar.onset for bar in tune.bars]
    by_bar: list[list[Written]] = [[] for _ in tune.bars]
    for event in sounding:
        index, end = max(bisect_right(onsets, event.onset) - 1, 0), event.onset + event.duration
        while index < len(onsets) and onsets[index] < end:
            by_bar[index].append(event)
            index += 1
    return by_bar


def _voices(bar: Bar, here: Sequence[Written]) -> dict[int, tuple[Sign[Written], ...]]:
    """The signs of every voice that sounds in a bar; voice 1 always."""
    numbers = sorted({1} | {event.voice for event in here})
    return {number: _signs(tuple(e for e in here if e.voice == number), bar) for number in numbers}


@lru_cache(maxsize=1024)
def _signs(here: tuple[Written, ...], bar: Bar) -> tuple[Sign[Written], ...]:
    """The signs of a voice in a bar; line after line of one tune is engraved, and most bars stay as they were."""
    return bar_signs(here, bar)


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
