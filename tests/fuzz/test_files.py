"""Damaged files: whatever the bytes, a tune whose invariants hold, or a refusal in one line; nothing else, and soon."""

from __future__ import annotations

import functools
import re
import time
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

from hypothesis import assume, given
from hypothesis import strategies as st
from music21 import common

from harmonylib.answering.checking import check_answers
from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.checking import check
from harmonylib.errors import HarmonyError
from harmonylib.score.musicxml import musicxml
from harmonylib.tunes.container import unpacked
from harmonylib.tunes.reading import read, read_bytes, tunes_in
from harmonylib.tunes.tune import Tune
from tests.test_tunes import sound

CORPUS = Path(common.getCorpusFilePath())
OWN = sorted((Path(__file__).resolve().parents[2] / "chapters" / "tunes").glob("*.abc"))
SHEETS = sorted((CORPUS / "leadSheet").glob("*.mxl"))
BOOK = next((CORPUS / "nottingham-dataset").glob("*.abc"))
FOLK = sorted((CORPUS / "essenFolksong").glob("*.abc"))[:3]
SLOWEST_S = 10.0
"""No file of this size takes longer, on a machine with other work to do."""

WORDS = {
    "abc": '"Am7" "Bb7/D" "N.C." " | |: :| :: [1 [2 || |] ( (3 (3:2:4 (9 { } {g} [ ] [CEG] [^F_A]2 & !coda! !D.C.! - > '
    "< >> ^^ __ = ' , / // 0 1000 Z Z99 z x y K: K:Hp K:C#m [K:Eb] M: M:6/8 M:none M:0/4 [M:5/4] L:1/0 L:1/64 Q:0 V:2 "
    "[V:1] X:2 T: w: %% %%propagate-accidentals-octave + \\ \0 \ufeff \u202e",
    "musicxml": "<note> </note> <rest/> <chord/> <grace/> <cue/> <backup><duration>9</duration></backup> "
    "<forward><duration>4</duration></forward> <dot/> <tie/> & &amp; &a; <!-- --> <![CDATA[ ]]> <?x?> <!DOCTYPE "
    "</measure><measure> <kind/> <degree/> <root/> <offset>3</offset> \0 \ufffe",
}
NUMBERS = "-1 0 1 2 3 5 7 64 99 1000 65537 999999999999 1e308 1e-9 -0.5 nan inf ٣ ² 0x1 1_0".split()


@functools.cache
def sources() -> tuple[tuple[str, bytes], ...]:
    """(format, bytes): course tunes, corpus sheets packed and unpacked, our own scores, folk tunes given a chord."""
    made = [("abc", file.read_bytes()) for file in OWN]
    made += [("abc", tune) for tune in tunes_in(BOOK)[:2]]
    for file in FOLK:
        made.append(("abc", re.sub(rb"(?m)^(K:.*)$", rb'\1\n"C"z', tunes_in(file)[0], count=1)))
    made += [("musicxml", file.read_bytes()) for file in SHEETS]
    made += [("musicxml", shortened(unpacked(file.read_bytes()))) for file in SHEETS]
    for file in OWN:
        arrangement = respond(arrange(read(file)), share=1)
        made.append(("musicxml", musicxml(arrangement, last=4).encode()))
    return tuple(made)


def shortened(data: bytes, most: int = 6) -> bytes:
    root = ElementTree.fromstring(data)
    for part in root.findall("part"):
        for measure in part.findall("measure")[most:]:
            part.remove(measure)
    return ElementTree.tostring(root)


# --- damage -------------------------------------------------------------------------------------------------------


def spans(text: bytes, pattern: bytes) -> list[tuple[int, int]]:
    return [match.span() for match in re.finditer(pattern, text)]


def exchanged(data: bytes, one: tuple[int, int], other: tuple[int, int]) -> bytes:
    (a, b), (c, d) = sorted((one, other))
    return data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:] if b <= c else data


@st.composite
def bytes_damaged(draw: st.DrawFn, data: bytes, format: str) -> bytes:
    """One thing done to the bytes: a piece flipped, cut, doubled, put in, exchanged, a number changed, the end lost."""
    if not data:
        return data
    place, size = draw(st.integers(0, len(data) - 1)), draw(st.integers(1, 40))
    word = draw(st.sampled_from(WORDS[format].split(" "))).encode()
    lines = spans(data, rb"[^\n]+")
    numbers = spans(data, rb"\d+")
    parts = spans(data, rb"<[^>]*>" if format == "musicxml" else rb'"[^"]*"|[A-Ga-gz][,\']*\d*|[|:]+')
    kinds: dict[str, Callable[[], bytes]] = {
        "flip": lambda: data[:place] + bytes([data[place] ^ draw(st.integers(1, 255))]) + data[place + 1 :],
        "delete": lambda: data[:place] + data[place + size :],
        "double": lambda: data[: place + size] + data[place:],
        "insert": lambda: data[:place] + draw(st.binary(min_size=1, max_size=6)) + data[place:],
        "word": lambda: data[:place] + word + data[place:],
        "truncate": lambda: data[:place],
    }
    if lines:
        line = st.sampled_from(lines)
        kinds["lines"] = lambda: exchanged(data, draw(line), draw(line))
    if numbers:
        number = st.sampled_from(NUMBERS)
        kinds["number"] = lambda: replaced(data, draw(st.sampled_from(numbers)), draw(number).encode())
    if parts:
        part = st.sampled_from(parts)
        kinds["parts"] = lambda: exchanged(data, draw(part), draw(part))
        kinds["no part"] = lambda: replaced(data, draw(part), b"")
        kinds["other part"] = lambda: replaced(data, draw(part), word)
    return kinds[draw(st.sampled_from(sorted(kinds)))]()


def replaced(data: bytes, span: tuple[int, int], new: bytes) -> bytes:
    return data[: span[0]] + new + data[span[1] :]


@st.composite
def elements_damaged(draw: st.DrawFn, data: bytes) -> bytes:
    """A score that is XML still: elements taken out, doubled, moved, exchanged; texts and attributes changed."""
    root = ElementTree.fromstring(data)
    number = st.sampled_from(NUMBERS) | st.just("") | st.text("ABCDEFGH#b7m ", max_size=4)
    for _ in range(draw(st.integers(1, 4))):
        inside = [(parent, child) for parent in root.iter() for child in parent]
        if not inside:
            break
        parent, child = draw(st.sampled_from(inside))
        other, at = draw(st.sampled_from(inside))[1], draw(st.integers(0, 6))
        what = draw(st.sampled_from(("out", "double", "move", "exchange", "text", "attribute")))
        if what == "out":
            parent.remove(child)
        elif what == "double":
            parent.insert(at, child)
        elif what == "move" and child not in list(other.iter()) and other not in list(child.iter()):
            parent.remove(child)
            other.insert(at, child)
        elif what == "exchange":
            child.tag, other.tag = other.tag, child.tag
        elif what == "text":
            child.text = draw(number)
        elif what == "attribute":
            child.set(draw(st.sampled_from(("number", "type", "text", "implicit", "tempo"))), draw(number))
    return ElementTree.tostring(root)


@st.composite
def damaged_files(draw: st.DrawFn) -> tuple[bytes, str]:
    format, data = draw(st.sampled_from(sources()))
    if format == "musicxml" and not data.startswith(b"PK") and draw(st.booleans()):
        data = draw(elements_damaged(data))
    else:
        for _ in range(draw(st.integers(1, 4))):
            data = draw(bytes_damaged(data, format))
    return data, format


# --- what must hold -----------------------------------------------------------------------------------------------


def read_or_refused(data: bytes, format: str, number: int = 1) -> Tune | None:
    began = time.perf_counter()
    try:
        tune = read_bytes(data, format, number)
    except HarmonyError as error:
        message = str(error)
        assert message.isprintable()  # noqa: PT017  only what is refused has a message
        assert len(message) < 700  # noqa: PT017
        tune = None
    assert time.perf_counter() - began < SLOWEST_S
    return tune and sound(tune)


@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode), st.sampled_from(("abc", "musicxml")))
def test_any_bytes_are_a_tune_or_refused(data, format):
    read_or_refused(data, format)


@given(st.lists(st.sampled_from(WORDS["abc"].split(" ") + 'C D2 e/2 "C" "G7" | \n'.split(" ")), max_size=30))
def test_any_heap_of_abc_is_a_tune_or_refused(words):
    read_or_refused(("K:C\n" + "".join(words)).encode(), "abc")


@given(damaged_files(), st.sampled_from((1, 1, 1, 2)))
def test_a_damaged_file_is_a_tune_or_refused(damaged, number):
    read_or_refused(*damaged, number)


@given(damaged_files())
def test_what_is_read_from_a_damaged_file_is_arranged_or_refused(damaged):
    tune = read_or_refused(*damaged)
    assume(tune)
    try:
        arrangement = respond(arrange(tune))
        off_neck = [fault for fault in check(arrangement) if fault.endswith("lies off this neck")]
        assert check(arrangement) == off_neck
        assert check_answers(arrangement) == []
        ElementTree.fromstring(musicxml(arrangement))
    except HarmonyError as error:
        assert re.search("tempo|finest note values", str(error))  # noqa: PT017
