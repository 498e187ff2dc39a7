"""Laying out a voice of ABC: music21's tokens become notes, chords and bars in time.

Conventions
- Repeat signs, endings, sections and words come as ``N:!`` fields, as `harmonylib.tunes.abc` wrote them.
- An accidental lasts until the bar line unless the file says otherwise, and as long as the note it stands at is tied.
- Of several symbols over one note, and of alternatives in one, the first counts.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Pitch
from harmonylib.tunes.harmony import NO_CHORD, read_chord
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.sheet import (
    LONGEST,
    MODE_NAMES,
    Sheet,
    clean,
    countable,
    fraction,
    steer,
)
from harmonylib.tunes.tune import Note, signature


class _Layout:
    """A voice as it is laid out: where it is, in which metre and key, and the bar being filled."""

    def __init__(self, voice: str, sheet: Sheet) -> None:
        self.sheet = sheet
        self.at = self.opened = Fraction(0)
        self.metre: tuple[int, int] = (4, 4)
        self.fifths, self.groups = 0, ()  # type: int, tuple[int, ...]
        self.bar = _fresh_bar(self.at, self.metre, self.fifths, "")
        self.carried = _Carried(voice)
        self.tied: tuple[Pitch, ...] = ()
        self.ending_over = False  # a repeat sign or a double bar line closes the bar being filled
        self.coming = ""  # a section named inside a bar opens with the next one

    def close(self) -> None:
        """End the bar being filled, if it holds anything."""
        if self.at > self.opened:
            self.sheet.bars.append(replace(self.bar, length=self.at - self.opened))
            self.opened = self.at
            ending = "" if self.ending_over else self.bar.ending
            fresh = _fresh_bar(self.at, self.metre, self.fifths, ending)
            self.bar = replace(fresh, groups=self.groups, section=self.coming)
            self.coming, self.ending_over = "", False

    def field(self, token: Any) -> None:
        """A metre, a key, or what the text carried along as a field of ours."""
        if token.isMeter():
            beats, unit = token.data.split("/")
            self.metre, self.groups = (int(beats), int(unit)), ()
        elif token.isKey():
            fifths, mode = token.getKeySignatureParameters()
            self.fifths = (fifths + 7) % 12 - 7 if abs(fifths) > 7 else fifths
            if self.sheet.mode is None and mode:
                self.sheet.mode = MODE_NAMES.get(mode.lower(), "major")
        elif token.tag == "N" and token.data.startswith("!"):
            self.sign(token.data[1:])
        if self.at == self.opened:
            self.bar = replace(self.bar, metre=self.metre, groups=self.groups, fifths=self.fifths)

    def sign(self, word: str) -> None:
        """Bars of rest, the groups of a metre, a section, and what steers the reading."""
        if word.startswith("rest"):
            for _ in range(min(int(word[4:]), 200)):
                self.at += Fraction(4 * self.metre[0], self.metre[1])
                self.close()
        elif word.startswith("groups"):
            self.groups = tuple(map(int, word.split()[1:]))
        elif word.startswith("section") and self.at > self.opened:
            self.coming = word[7:].strip()
        else:
            self.ending_over |= self.at > self.opened and word in ("end", "double")
            self.bar = _steered(word, self.bar, self.sheet, self.at == self.opened)

    def note(self, token: Any, several: bool) -> None:
        """A note, rest or chord of notes, with the symbols over it."""
        for text in token.chordSymbols:
            _abc_text(text, self.at, self.sheet)
        length = _abc_length(token)
        single: list[Any] = token.subTokens if several else [token]
        into = self.tied if token.tie in ("stop", "continue") else ()
        pitches = [self.carried.pitch(note.src, self.fifths, into) for note in single if note.pitchName]
        held = {pitch.midi for pitch in into}
        self.sheet.notes += [(Note(pitch, self.at, length), pitch.midi in held) for pitch in pitches if length]
        self.tied = tuple(pitches)
        self.at += length


def lay_out(voice: str, sheet: Sheet) -> None:
    """The notes, chords and bars of a voice, token by token in time."""
    from music21 import abcFormat

    handler = abcFormat.ABCHandler(abcVersion=(2, 1, 0))
    handler.process(voice + "\n")
    made = _Layout(voice, sheet)
    for token in handler.tokens:
        if isinstance(token, abcFormat.ABCMetadata):
            made.field(token)
        elif isinstance(token, abcFormat.ABCBar):
            made.close()
            made.carried.shown.clear()
        elif isinstance(token, abcFormat.ABCNote):
            made.note(token, isinstance(token, abcFormat.ABCChord))
    made.close()
    if sheet.bars and made.bar.marks:  # words after the last bar line
        sheet.bars[-1] = replace(sheet.bars[-1], marks=(*sheet.bars[-1].marks, *made.bar.marks))
    countable(quarters=made.at)
    _count_out(sheet)


def _abc_length(token: Any) -> Fraction:
    """How long a note of music21's is, in quarter notes."""
    length = fraction(token.quarterLength)
    if token.activeTuplet is not None:
        length *= Fraction(token.activeTuplet.numberNotesNormal, token.activeTuplet.numberNotesActual)
    if not 0 <= length <= LONGEST:
        raise HarmonyError(f"a note of {float(length):g} quarter notes is out of range (0–{LONGEST})")
    return length


def _fresh_bar(onset: Fraction, metre: tuple[int, int], fifths: int, ending: str) -> Bar:
    return Bar(0, onset, Fraction(0), metre, fifths, ending=ending)


def _steered(word: str, bar: Bar, sheet: Sheet, empty: bool) -> Bar:
    """The bar being filled, told what a repeat sign, an ending or a word says; an ending sign belongs before it."""
    kind, _, rest = word.partition(" ")
    if kind in ("end", "double"):
        target = sheet.bars[-1] if empty and sheet.bars else bar
        done = replace(target, repeat_end=target.repeat_end or kind == "end")
        if target is bar:
            return done
        sheet.bars[-1] = done
        return replace(bar, ending="")
    if kind == "start":
        return replace(bar, repeat_start=True, ending="")
    if kind == "section":
        return replace(bar, section=rest.strip())
    if kind == "ending":
        return replace(bar, ending=", ".join(re.findall(r"\d+", rest)))
    return replace(bar, marks=(*bar.marks, steer(clean(rest))))


class _Carried:
    """The accidentals that hold in a bar: by letter in every octave, or as ``%%propagate-accidentals`` says."""

    def __init__(self, voice: str) -> None:
        said = re.search(r"%%propagate-accidentals\s+(\w+)", voice)
        self.rule = said[1] if said else "pitch"
        self.shown: dict[str, int] = {}

    def pitch(self, written: str, fifths: int, tied: Sequence[Pitch]) -> Pitch:
        """The pitch of a note as written, ``^F``, ``_b'`` or ``C,``, in a key signature and after the notes `tied`."""
        match = re.search(r"([_^=]*)([A-Ga-g])([,']*)", re.sub('"[^"]*"', "", written))
        if not match:
            raise HarmonyError(f"{written[:20]!r} is not a note")
        letter = match[2].upper()
        octave = 4 + match[2].islower() + match[3].count("'") - match[3].count(",")
        place = f"{letter}{octave}" if self.rule == "octave" else letter
        if match[1]:
            alter = max(-2, min(2, match[1].count("^") - match[1].count("_")))
            if self.rule != "not":
                self.shown[place] = alter
        else:
            held = (pitch.alter for pitch in tied if (pitch.letter, pitch.octave) == (letter, octave))
            alter = self.shown.get(place, next(held, signature(fifths)[letter]))
        return Pitch(letter, alter, octave)


def _abc_text(text: str, at: Fraction, sheet: Sheet) -> None:
    """Takes a quoted text: a chord symbol goes to the sheet, other words nowhere."""
    words = clean(text.strip('"'))
    if NO_CHORD.fullmatch(words):
        sheet.chords.append((at, None))
        return
    if words.startswith("("):
        words = words[1:].removesuffix(")")
    symbol = re.split(r"\s*;|\s+\(?(?=[A-G])|\((?=[A-G])", words)[0].strip()
    is_word = re.match(r"[A-G](?!maj|min|dim|aug|sus|add|alt|omit|b)[a-z]{4}", symbol)
    if re.fullmatch(r"[a-gHh][#b♯♭]?(m|maj|min|dim|sus|\d)*(\(.*\))?", symbol) and len(symbol) > 1:
        sheet.remarks.append(f"{symbol!r} looks like a chord symbol, but its root is no capital A–G: it is left out")
    if re.match("[A-G]", symbol) and not is_word and (not sheet.chords or sheet.chords[-1][0] != at):
        try:
            chord: Chord | HarmonyError = read_chord(symbol)
        except HarmonyError as error:
            chord = error
        sheet.chords.append((at, chord))


def _count_out(sheet: Sheet) -> None:
    """Cuts music without bar lines into bars of its metre."""
    if len(sheet.bars) != 1:
        return
    whole = sheet.bars[0]
    length = Fraction(4 * whole.metre[0], whole.metre[1])
    if sheet.pick_up is False or whole.length <= length:
        return
    starts = [length * index for index in range(-(-whole.length // length))]
    sheet.bars = [replace(whole, onset=s, length=min(length, whole.end - s), marks=()) for s in starts]
    sheet.remarks.append("there are no bar lines: the bars are counted out by the metre")
