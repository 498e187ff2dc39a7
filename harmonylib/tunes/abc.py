"""ABC to a `Sheet`: the text is made plain, music21 reads its notes, they are laid out here.

Conventions
- Of a book only the wanted tune is read; what stands before the first ``X:`` belongs to every tune.
- Repeat signs, endings and words reach the layout as ``N:!`` fields, which music21 carries along untouched.
- An accidental lasts until the bar line unless the file says otherwise, and as long as the note it stands at is tied.
- A part name (``P:``) in the body opens a section; in the head it is an order of playing, which nothing here asks.
- Of several symbols over one note, and of alternatives in one, the first counts.

Sources: the ABC standard 2.1; the old forms of ``Q:`` and what counts as a chord or a mere word are common practice.
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
    STEERING,
    Sheet,
    clean,
    countable,
    fraction,
    likely_tempo,
    section_name,
    steer,
)
from harmonylib.tunes.tune import Note

_ABC = re.compile(
    r"""(?P<text>"[^"]*") | \[(?P<field>[A-Za-z]:[^\]]*)\] | (?P<grace>\{[^}]*\}) | !(?P<sign>[^!|\s]+)!
    | (?P<bar>(?:\[\||\||::|:+\|)[|:\]]*)(?P<ending>\s*\[?\d[\d,-]*)? | \[(?P<bracket>\d[\d,\-]*)
    | (?P<overlay>&[^|]*) | Z(?P<rests>\d*) | (?P<spacer>y\d*) | (?P<tuplet>\(\d(?::\d?(?::\d?)?)?)
    | (?P<chord>\[[^\]|"]*\][\d/]*) | (?P<note>[_^=]*[A-Ga-gzx][,']*\d*/*\d*) | (?P<link>[<>]+|-)""",
    re.VERBOSE,
)


_ABC_FIELD = re.compile(r"([A-Za-z+]):(?![|:])\s*(.*)")


def read_abc(data: bytes, number: int) -> Sheet:
    sheet = Sheet()
    voices = _abc_voices(_abc_lines(data, number), sheet)
    for voice in voices:
        if not sheet.notes:
            sheet.bars = []
            _lay_out(voice, sheet)
        elif not sheet.chords:
            other = Sheet()
            _lay_out(voice, other)
            sheet.chords = other.chords
    return sheet


def split_book(data: bytes) -> tuple[bytes, ...]:
    """The tunes of an ABC book, each as a book of its own with the lines that belong to all of them.

    >>> [tune.split() for tune in split_book(b"M:3/4\\nX:1\\nK:C\\nC3|\\nX:2\\nK:G\\nG3|\\n")]
    [[b'M:3/4', b'X:1', b'K:C', b'C3|'], [b'M:3/4', b'X:2', b'K:G', b'G3|']]
    """
    shared, tunes = _abc_book(data)
    return tuple("\n".join([*shared, *tune]).encode("utf-8", "replace") for tune in tunes)


def _abc_book(data: bytes) -> tuple[list[str], list[list[str]]]:
    """The lines before the first tune of a book and the lines of each tune; comments are taken out."""
    try:
        text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    tunes: list[list[str]] = [[]]
    propagation = ""
    for line in text.splitlines():
        if line.startswith("%%propagate-accidentals"):
            propagation = line
        line = re.sub(r"(?<!\\)%.*", "", line).rstrip()
        if re.match(r"\s*X:", line):
            tunes.append([])
        tunes[-1].append(line.strip())
    return [propagation, *tunes[0]], tunes[1:] or [[]]


def _abc_lines(data: bytes, number: int) -> list[str]:
    """The lines of one tune of a book, those before the first tune put before it."""
    shared, tunes = _abc_book(data)
    if number > len(tunes):
        raise HarmonyError(
            f"tune {number} was asked for, but the book has {len(tunes)}: count from 1, in written order"
        )
    tune = tunes[number - 1]
    music = False
    for index, line in enumerate(tune):
        music = music or "|" in line
        if not line and music and not any("|" in later for later in tune[index:]):
            tune = tune[:index]  # what follows the empty line that ends a tune is prose
            break
    return [*shared, *tune]


def _abc_voices(lines: list[str], sheet: Sheet) -> list[str]:
    """Each voice as music21 may read it: fields of its own first, then plain notes; all else became ``N:!`` fields."""
    fields = {"M": "", "L": "", "K": "", "Q": ""}
    head = True
    voices: dict[str, list[str]] = {}
    clefs: dict[str, str] = {}
    voice = "1"
    title = composer = section = ""
    graces = overlays = notes = 0
    for line in lines:
        match = _ABC_FIELD.match(line)
        tag, value = (match[1], match[2]) if match else ("", line)
        if tag == "T":
            title = title or value
        elif tag == "C":
            composer = composer or value
        elif tag == "V":
            voice = (value.split() or ["1"])[0]
            clefs[voice] = clefs.get(voice, "") + value
        elif tag in fields and head:
            fields[tag] = value
            head = tag != "K"
        elif tag == "P" and not head:
            section = value  # of the voice that sounds next, whichever was written before
        elif tag in ("M", "L", "K"):
            voices.setdefault(voice, []).append(_abc_field(tag, value))
        elif not tag and line and not line.startswith("%%"):
            head = False
            if line.count('"') % 2:
                line = line[: line.rindex('"')] + line[line.rindex('"') + 1 :]
            for token in _ABC.finditer(line):
                kind = token.lastgroup
                if kind == "field" and token["field"][0] == "V":
                    voice = (token["field"][2:].split() or ["1"])[0]
                    continue
                if kind == "field" and token["field"][0] == "P":
                    section = token["field"][2:]
                    continue
                if section:
                    voices.setdefault(voice, []).append(f"\nN:!section {section_name(section)}\n")
                    section = ""
                notes += min(int(token["rests"][:4] or 1), 200) if kind == "rests" else kind in ("note", "chord")
                countable(notes)
                graces += len(re.findall("[A-Ga-g]", token["grace"] or ""))
                overlays += kind == "overlay"
                voices.setdefault(voice, []).append(_abc_token(token))
    sheet.title, sheet.composer, sheet.tempo = title, composer, _abc_tempo(fields["Q"], fields["L"])
    if graces:
        sheet.remarks.append(f"grace notes are left out ({graces})")
    if overlays:
        sheet.remarks.append("second voices inside a bar (&) are left out")
    propagation = next((line for line in lines if line.startswith("%%propagate-accidentals")), "")
    head_of_all = propagation + _abc_head(fields, clefs.get(next(iter(voices), ""), ""), sheet)
    return [head_of_all + "".join(voice) for voice in voices.values()]


def _abc_head(fields: dict[str, str], clef: str, sheet: Sheet) -> str:
    """Metre, unit length and key as music21 reads them; what they say of the whole tune goes to the sheet."""
    metre, length = _abc_field("M", fields["M"]) or "\nM:4/4\n", _abc_field("L", fields["L"])
    if not length and not re.search(r"\d/", metre):
        length = "\nL:1/8\n"
    key = _abc_field("K", fields["K"])
    if not key:
        sheet.remarks.append("there is no key signature: it is read as one without sharps or flats")
    if re.search(r"-8(?!\d)", fields["K"] + clef):
        sheet.note_move = (-7, -12)  # the clef of a part that sounds an octave lower
    if fields["M"].strip().lower() == "none":
        sheet.pick_up, sheet.free = False, True
    return metre + length + (key or "\nK:C\n")


def _abc_field(tag: str, value: str) -> str:
    """A field as music21 reads it safely, on a line of its own; empty if it says nothing usable."""
    value = value.strip()
    if tag == "M":
        value = {"C": "4/4", "C|": "2/2"}.get(value, value)
        metre = re.search(r"([\d+() ]+)/\s*(\d+)", value)
        beats = sum(map(int, re.findall(r"\d+", metre[1]))) if metre else 0
        if not metre or not 0 < beats <= 128 or int(metre[2]) not in (1, 2, 4, 8, 16, 32, 64):
            return ""
        groups = re.findall(r"\d+", metre[1])
        return f"\nM:{beats}/{metre[2]}\n" + (f"N:!groups {' '.join(groups)}\n" if len(groups) > 1 else "")
    if tag == "L":
        length = re.match(r"(\d{1,2})\s*/\s*(\d{1,3})", value)
        return f"\nL:{length[1]}/{length[2]}\n" if length and int(length[1]) and int(length[2]) else ""
    if tag == "K":
        key = re.match(r"(HP|Hp)|([A-G][#b]?)\s*((?i:maj|min|mix|dor|phr|lyd|ion|aeo|m(?![a-z]))?)", value)
        return f"\nK:{key[1] or key[2] + (key[3] or '')}\n" if key else ""
    return ""


def _abc_token(token: re.Match[str]) -> str:
    """One piece of ABC music as music21 reads it safely."""
    kind, all_of_it = token.lastgroup, token[0]
    if kind in ("bar", "ending"):
        bar, ending = token["bar"], token["ending"]
        out = "\nN:!end\n" if bar.startswith(":") else ""
        out += "\nN:!double\n" if ("||" in bar or "]" in bar) else ""
        out += "|" + ("\nN:!start\n" if bar.endswith(":") else "")
        return out + (f"\nN:!ending {ending}\n" if ending else "")
    if kind == "bracket":
        return f"|\nN:!ending {token['bracket']}\n"
    if kind == "field":
        return _abc_field(token["field"][0], token["field"][2:])
    if kind == "sign":
        sign = {"dacapo": "D.C.", "dacoda": "To Coda"}.get(token["sign"].lower(), token["sign"])
        return f"\nN:!mark {sign}\n" if STEERING.search(sign) else ""
    if kind == "rests":
        return f"\nN:!rest {token['rests'] or 1}\n"
    if kind == "chord":
        inside, _, length = all_of_it.partition("]")
        notes = re.sub("[^A-Ga-gz,'^_=/0-9]", "", inside)
        return f"[{notes}]{length}" + "-" * ("-" in inside) if re.search("[A-Ga-g]", notes) else ""
    if kind == "note":
        return all_of_it.replace("x", "z")
    return "" if kind in ("grace", "overlay", "spacer") else all_of_it


def _abc_tempo(value: str, length: str) -> float | None:
    """Quarter notes a minute of a ``Q:`` field, in its new form (1/4=120) and its old ones (120, C3=120)."""
    plain = re.sub(r'"[^"]*"', "", value)
    match = re.search(r"(?:^|=)\s*(\d+(?:\.\d+)?)\s*$", plain.strip())
    if not match:
        return None
    lengths = [Fraction(int(n), int(d)) for n, d in re.findall(r"(\d+)/(\d+)", plain) if int(d)]
    old = re.search(r"C(\d*)\s*=", plain)
    if old and (unit := re.match(r"(\d+)/(\d+)", length.strip())) and int(unit[2]):
        lengths = [Fraction(int(unit[1]), int(unit[2])) * int(old[1] or 1)]
    return likely_tempo(float(match[1]) * float(4 * sum(lengths) or 1))


def _lay_out(voice: str, sheet: Sheet) -> None:
    """The notes, chords and bars of a voice, token by token in time."""
    from music21 import abcFormat

    handler = abcFormat.ABCHandler(abcVersion=(2, 1, 0))
    handler.process(voice + "\n")
    at = opened = Fraction(0)
    metre, fifths = (4, 4), 0
    groups: tuple[int, ...] = ()
    bar = _fresh_bar(at, metre, fifths, "")
    carried = _Carried(voice)
    tied: tuple[Pitch, ...] = ()
    coming = ""  # a section named inside a bar opens with the next one

    def close() -> None:
        nonlocal bar, opened, coming
        if at > opened:
            sheet.bars.append(replace(bar, length=at - opened))
            opened = at
            bar = replace(_fresh_bar(at, metre, fifths, bar.ending), groups=groups, section=coming)
            coming = ""

    for token in handler.tokens:
        if isinstance(token, abcFormat.ABCMetadata):
            if token.isMeter():
                beats, unit = token.data.split("/")
                metre, groups = (int(beats), int(unit)), ()
            elif token.isKey():
                fifths, mode = token.getKeySignatureParameters()
                fifths = (fifths + 7) % 12 - 7 if abs(fifths) > 7 else fifths
                if sheet.mode is None and mode:
                    sheet.mode = MODE_NAMES.get(mode.lower(), "major")
            elif token.tag == "N" and token.data.startswith("!rest"):
                for _ in range(min(int(token.data[5:]), 200)):
                    at += Fraction(4 * metre[0], metre[1])
                    close()
            elif token.tag == "N" and token.data.startswith("!groups"):
                groups = tuple(map(int, token.data.split()[1:]))
            elif token.tag == "N" and token.data.startswith("!section") and at > opened:
                coming = token.data[8:].strip()
            elif token.tag == "N" and token.data.startswith("!"):
                bar = _steered(token.data[1:], bar, sheet, at == opened)
            if at == opened:
                bar = replace(bar, metre=metre, groups=groups, fifths=fifths)
        elif isinstance(token, abcFormat.ABCBar):
            close()
            carried.shown.clear()
        elif isinstance(token, abcFormat.ABCNote):
            for text in token.chordSymbols:
                bar = _abc_text(text, at, bar, sheet)
            length = _abc_length(token)
            single: list[Any] = token.subTokens if isinstance(token, abcFormat.ABCChord) else [token]
            into = tied if token.tie in ("stop", "continue") else ()
            pitches = [carried.pitch(note.src, fifths, into) for note in single if note.pitchName]
            sheet.notes += [(Note(p, at, length), p.midi in {q.midi for q in into}) for p in pitches if length]
            tied = tuple(pitches)
            at += length
    close()
    countable(quarters=at)
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
            signature = (fifths - "FCGDAEB".index(letter) + 6) // 7  # sharps from F on, flats from B back
            held = (pitch.alter for pitch in tied if (pitch.letter, pitch.octave) == (letter, octave))
            alter = self.shown.get(place, next(held, signature))
        return Pitch(letter, alter, octave)


def _abc_text(text: str, at: Fraction, bar: Bar, sheet: Sheet) -> Bar:
    """Takes a quoted text: a chord symbol goes to the sheet, a steering word to the bar, other words nowhere."""
    words = clean(text.strip('"'))
    if STEERING.search(words):
        return replace(bar, marks=(*bar.marks, steer(words.lstrip("^_<>@ "))))
    if NO_CHORD.fullmatch(words):
        sheet.chords.append((at, None))
        return bar
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
    return bar


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
