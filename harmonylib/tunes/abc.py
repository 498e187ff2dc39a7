"""ABC to a `Sheet`: the text is made plain, music21 reads its notes, they are laid out by `abc_layout`.

Conventions
- Of a book only the wanted tune is read; what stands before the first ``X:`` belongs to every tune.
- Repeat signs, endings and words reach the layout as ``N:!`` fields, which music21 carries along untouched.
- A part name (``P:``) in the body opens a section; in the head it is an order of playing, which nothing here asks.

Sources: the ABC standard 2.1; the old forms of ``Q:`` and what counts as a chord or a mere word are common practice.
"""

from __future__ import annotations

import re
from fractions import Fraction

from harmonylib.errors import HarmonyError
from harmonylib.tunes.abc_layout import lay_out
from harmonylib.tunes.sheet import (
    STEERING,
    Sheet,
    clean,
    countable,
    likely_tempo,
    section_name,
)

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
            lay_out(voice, sheet)
        elif not sheet.chords:
            other = Sheet()
            lay_out(voice, other)
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
    if kind == "text" and STEERING.search(words := clean(all_of_it.strip('"'))):
        return "\nN:!mark " + words.lstrip("^_<>@ ") + "\n"
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
