"""Texts that want to be more than text, what a person sees of a tune that carries one, and what must not be in it.

Sources: the forms are those of the OWASP pages on cross-site scripting, CSV injection and path traversal.
"""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any
from xml.sax.saxutils import escape

from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Arrangement
from harmonylib.classroom.difficulty import Row as Surveyed
from harmonylib.classroom.marks import Marks, Row, overview
from harmonylib.classroom.reports import Survey
from harmonylib.classroom.sheets import sheet
from harmonylib.exercises.catalogue import find_gaps, harmonise_bar
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.calls import calls_picture
from harmonylib.pictures.hand import hand_picture
from harmonylib.pictures.melody import melody_picture
from harmonylib.pictures.neck import neck_picture
from harmonylib.score.engraving import engrave, page
from harmonylib.sound.listening import listen
from harmonylib.tunes.reading import read_text

TEXTS = {
    "script": "<script>window.pwned=1</script>",
    "image": "<img src=x onerror=window.pwned=1>",
    "attribute": "\" onload=\"window.pwned=1\" x='\" autofocus onfocus='window.pwned=1",
    "end of svg": "</title></desc></svg><svg onload=window.pwned=1><script>window.pwned=1</script>",
    "end of data": "]]><script>window.pwned=1</script>--><iframe srcdoc='<script>parent.pwned=1</script>'>",
    "link": '<a href="javascript:window.pwned=1">x</a> [x](javascript:window.pwned=1) <a xlink:href="http://a.test">y',
    "references": "&lt;script&gt;window.pwned=1&lt;/script&gt; &#x3c;img src=x onerror=window.pwned=1&#x3e; &amp;lt;",
    "fetched": '<style>@import "http://a.test/x"</style> url(http://a.test/y) <use href="http://a.test/z#a"/>',
    "typst": '#read("/etc/passwd") #import "@preview/x:1.0.0" #include("/etc/passwd") ] #panic("x") [',
    "typst too": '"); #read("/etc/passwd"); (" \\u{23}panic() *b* _e_ `r` $x$ @a <b> // c /* d',
    "formula of tex": "$\\frac{1}{$ \\input{/etc/passwd} \\write18{id} $_^{}$ %",
    "template": "{{7*7}} {%x%} ${7*7} #{7*7} %(title)s {title} {0} %s %n \\N{BULLET}",
    "shell": "$(touch pwned) `touch pwned` ; touch pwned | touch pwned && touch pwned",
    "path": "../../pwned",
    "path of windows": "C:\\pwned..\\..\\pwned CON: NUL.txt",
    "path with nul": "pwned\x00.txt/../..",
    "control": "a\x00b\x07c\x08d\x0be\x1ff\x7fg\x85h\u2028i\u2029j",
    "terminal": "\x1b[31mred\x1b]0;title\x07\x1b[2J\x9b31m\x1b]8;;http://a.test\x1b\\x",
    "lines": "one\ntwo\r\nX:2\nT:two\tthree",
    "direction": "\u202egpj.exe\u202c \u2066x\u2069 \u200f\u200e\u061cy",
    "unseen": "\u200b\u200c\u200d\ufeff\u00ad\u2060x\U000e0041\ufe0f",
    "half a letter": "a\ud800b\udfffc\ufffe\uffff",
    "marks": "Z̷̡̛" + "\u0300" * 150,
    "equals": "=HYPERLINK(\"http://a.test\",\"x\")",
    "command": "=cmd|'/C calc'!A0",
    "plus": "+1+1",
    "minus": "-1+1",
    "at": "@SUM(1)",
    "tab": "\t=1+1",
    "return": "\r=1+1",
    "spaces": "  =1+1",
    "quotes": "\"=1+1",
    "full width": "\uff1d1\uff0b1",
    "other separators": "x;=1+1;+1\t@x",
    "long word": "W" * 100_000,
    "long text": "<b>word</b> " * 9_000,
}  # fmt: skip
"""By name. Whatever runs sets `window.pwned`; whatever is fetched asks for a.test."""

ABC = 'X:1\nT:{}\nC:{}\nM:4/4\nL:1/4\nQ:1/4=60\nK:C\n"Cmaj7"E2 G D|"Dm7"F4|"G7"B2 G2|"C6"E4|\n'


def in_abc(text: str) -> str:
    """A tune in ABC whose heading is the text; a heading is one line."""
    return ABC.format(*[" ".join(text.split())] * 2)


def carrying(text: str) -> Arrangement:
    """An arrangement with answers whose tune carries the text wherever a tune can."""
    tune = read_text(ABC.format("x", "x"))
    bars = tuple(replace(bar, marks=(text,), ending=text) for bar in tune.bars)
    tune = replace(tune, title=text, composer=text, bars=bars, remarks=(text,))
    return respond(replace(arrange(tune, density="every"), remarks=(text,)))


def surveyed(text: str) -> Survey:
    """The survey of a folder with one tune in it."""
    figures: dict[str, Any] = dict.fromkeys(("chord_tones", "harmonisable", "chords_per_second"), 0.5)
    figures |= dict.fromkeys(("tempo", "travel_mm_per_minute", "widest_reach_mm"), 90.0)
    figures |= dict.fromkeys(("bars", "notes", "gaps"), 8) | {"fastest_change_s": None, "foreign": {"passing note": 1}}
    words = dict.fromkeys(("title", "key", "metre", "lowest", "highest"), text)
    return Survey(text, (Surveyed(text, 1, **words, **figures, remarks=(text,)),), (), 1)


def marked(text: str) -> Marks:
    """A class of one learner."""
    made = sheet(text[:120].strip("\r\n\t \x00") or "x", [{"kind": "harmonise_bar", "tune": in_abc(text)}])
    return Marks(made, (Row(text, 1, "spell", "not yet", text),), (text,))


def shown(text: str) -> dict[str, str]:
    """What a notebook shows of it, as HTML or SVG, by name."""
    from widgets import AnswerBox

    arrangement, tune = carrying(text), in_abc(text)
    exercises = [harmonise_bar(tune), find_gaps(tune)]
    box = AnswerBox(exercises[0])
    neck = Neck()
    found = {
        "engraving": engrave(arrangement),
        "page": page(arrangement)._repr_mimebundle_()["text/html"],
        "melody": melody_picture(arrangement, title=text).svg,
        "hand": hand_picture(arrangement, title=text).svg,
        "calls": calls_picture(arrangement, title=text).svg,
        "neck": neck_picture(neck, [(1, 1, text[:2000], "root")], title=text).svg,
        "player": listen(arrangement)._repr_mimebundle_()["text/html"],
        "survey": surveyed(text).picture().svg,
        "marks": overview(marked(text)).svg,
        "answer box": box.children[0].value,
        **{exercise.kind: exercise._repr_mimebundle_()["text/html"] for exercise in exercises},
    }
    box.close()
    return found


INERT = set(
    "svg g path defs use symbol rect line polyline polygon circle ellipse text tspan title desc style "
    "figure div details summary ol li p span em img audio br".split()
)
LOCAL = re.compile(r"#|data:(?:image/(?:svg\+xml|png)|audio/(?:mpeg|wav))[;,]")


class _Live(HTMLParser):
    """Collects what could act or fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.style = False

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.style = tag == "style"
        if tag.rpartition(":")[2] not in INERT:
            self.found.append(f"<{tag}>")
        for name, value in attributes:
            name, value = name.rpartition(":")[2], value or ""
            if name.startswith("on") or name in ("srcdoc", "action", "formaction", "srcset", "ping", "autofocus"):
                self.found.append(f"{name}={value[:40]}")
            if name in ("href", "src", "poster", "data", "background") and not LOCAL.match(value):
                self.found.append(f"{name}={value[:40]}")
            if name == "style" and re.search(r"url\(|expression|@import", value):
                self.found.append(f"style={value[:40]}")

    def handle_data(self, data: str) -> None:
        if self.style and re.search(r"url\((?!data:)|@import", data):
            self.found.append(f"style: {data[:40]}")

    def handle_decl(self, declaration: str) -> None:
        self.found.append(declaration[:40])

    unknown_decl = handle_pi = handle_decl


def live(html: str) -> list[str]:
    """What in a page could act or fetch; nothing, it is to be hoped.

    >>> live('<p onclick="x">a</p><script>b</script><img src="http://a.test">')
    ['onclick=x', '<script>', 'src=http://a.test']
    """
    reader = _Live()
    reader.feed(html)
    reader.close()
    return reader.found


SCORE = """<score-partwise><work><work-title>{0}</work-title></work><identification>
<creator type="composer">{0}</creator></identification><credit><credit-words>{0}</credit-words></credit>
<part-list><score-part id="P1"><part-name>{0}</part-name></score-part></part-list><part id="P1">
<measure number="{1}"><attributes><divisions>1</divisions><key><fifths>0</fifths><mode>{0}</mode></key>
<time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<direction><direction-type><words>Fine {0}</words></direction-type></direction>
<harmony><root><root-step>C</root-step></root><kind text="{1}">major-seventh</kind></harmony>
<harmony><root><root-step>D</root-step></root><kind text="{1}">other</kind></harmony>
<harmony><root><root-step>{0}</root-step></root><kind>{0}</kind></harmony>
<note><pitch><step>E</step><octave>5</octave></pitch><duration>4</duration><lyric><text>{0}</text></lyric></note>
<barline><ending number="{1}" type="start">{0}</ending></barline></measure></part></score-partwise>"""


def score(text: str) -> str:
    """A MusicXML file that carries the text wherever it can."""
    allowed = "".join(c for c in text if c in "\t\n" or (c >= " " and not "\ud800" <= c <= "\udfff" and c < "\ufffe"))
    return SCORE.format(escape(allowed), escape(allowed, {'"': "&quot;", "\n": " "}))
