"""From the bytes of a MusicXML file to the root of its score, part by part, with plain element names.

Conventions
- An archive is unpacked in memory, one member of at most `LIMIT` bytes, and nothing is fetched or written to disk.
- Entities are refused; a plain document type, a namespace and any encoding that XML knows are not.
- An archive whose container leads nowhere is searched for its score, and a remark says which one was taken.

Source: MusicXML 4.0 (W3C), its compressed form, and its two orders: by part and by measure (time-wise).
"""

from __future__ import annotations

import codecs
import contextlib
import io
import re
import zipfile
import zlib
from xml.etree.ElementTree import Element, ParseError, SubElement

from harmonylib.errors import HarmonyError
from harmonylib.tunes.sheet import LIMIT, clean

CONTAINER = "META-INF/container.xml"
ROOTS = ("score-partwise", "score-timewise")

MOST_MEMBERS = 1000
"""Files an archive may hold when its score has to be searched for; a score with its pictures has a few dozen."""


def score_root(data: bytes, remarks: list[str]) -> Element:
    """The root of the score in the bytes of a file, plain or packed; `remarks` takes what a reader should know."""
    root = _parsed(unpacked(data, remarks) if data[:2] == b"PK" else data)
    for element in root.iter():
        if isinstance(element.tag, str):
            element.tag = element.tag.rpartition("}")[2]
    if root.tag not in ROOTS:
        raise HarmonyError(f"it is XML but no score (it opens with <{clean(root.tag)[:40]}>): save it as MusicXML")
    return _by_part(root) if root.tag == "score-timewise" else root


def unpacked(data: bytes, remarks: list[str] | None = None) -> bytes:
    """The score inside a compressed MusicXML file, unpacked in memory and never beyond `LIMIT`."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            listed = _listed(archive)
            if listed:
                return _member(archive, next((name for name in listed if _is_score(archive, name)), listed[0]))
            name, remark = _searched(archive)
            if remarks is not None:
                remarks.append(remark)
            return _member(archive, name)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, zlib.error) as error:
        why = clean(str(error))[:120]  # zipfile quotes whole pieces of a damaged file
        raise HarmonyError(f"the compressed file is damaged or locked ({why}): save it as MusicXML again") from error


def _listed(archive: zipfile.ZipFile) -> list[str]:
    """The members that the container names and the archive has; none where the container cannot be read."""
    names = set(archive.namelist())
    if CONTAINER not in names:
        return []
    data = _member(archive, CONTAINER)
    try:
        container = _parsed(data)
    except _NotXml:
        return []
    files = [file.get("full-path", "") for file in container.iter() if str(file.tag).endswith("rootfile")]
    return [name for name in files if name in names and name != CONTAINER and not name.endswith("/")]


def _searched(archive: zipfile.ZipFile) -> tuple[str, str]:
    """The archive's own score where the container does not lead to it, the first by name of several; and a remark."""
    members = sorted({n for n in archive.namelist() if not n.endswith("/") and not n.startswith("META-INF/")})
    if len(members) > MOST_MEMBERS:
        raise HarmonyError(f"the compressed file holds {len(members)} files: give the file of a single tune")
    scores = [name for name in members if _is_score(archive, name)]
    named = [name for name in members if name.lower().endswith((".xml", ".musicxml"))]
    if not scores and not named:
        raise HarmonyError("the compressed file holds no score: open it in the program that wrote it, export MusicXML")
    taken = (scores or named)[0]
    shown = repr(clean(taken)[:60])
    if len(scores) > 1:
        return taken, f"the archive does not say which of its {len(scores)} scores is meant: {shown} is read"
    return taken, f"the archive does not say where its score is: {shown}, the only one in it, is read"


def _is_score(archive: zipfile.ZipFile, name: str) -> bool:
    """Whether a member opens as a score does; no more of it is unpacked than that takes."""
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    try:
        with archive.open(name) as stream:
            head = io.BytesIO(_tidy(stream.read(_HEAD)))
            _, root = next(iter(iterparse(head, events=("start",))))
            return str(root.tag).rpartition("}")[2] in ROOTS
    except (DefusedXmlException, ParseError, StopIteration, ValueError, LookupError):
        return False


_HEAD = 65_536
"""Bytes of a member that are looked at to see what it is."""


def _member(archive: zipfile.ZipFile, name: str) -> bytes:
    too_large = HarmonyError(
        f"{clean(name)[:60]!r} unpacks to more than {LIMIT // 1_000_000} MB: give the file of a single tune"
    )
    if archive.getinfo(name).file_size > LIMIT:
        raise too_large
    with archive.open(name) as stream:
        data = stream.read(LIMIT + 1)
    if len(data) > LIMIT:  # the size a zip declares is only a claim
        raise too_large
    return data


class _NotXml(HarmonyError):
    """What was to be XML is not."""


def _parsed(data: bytes) -> Element:
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root: Element = fromstring(_tidy(data))
        return root
    except DefusedXmlException:
        raise HarmonyError("it declares XML entities, which no score needs: save it as plain MusicXML") from None
    except (ParseError, ValueError, LookupError) as error:
        raise _NotXml(f"it is not XML ({error}): save it as MusicXML again") from error


_OPENINGS = {
    # how a file starts, and the encoding that tells, whatever it declares
    **{b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"},
    **{b"<\0": "utf-16-le", b"\0<": "utf-16-be"},
}
_WIDE = "shift_jis cp932 euc_jp iso2022_jp gb2312 gbk gb18030 big5 euc_kr cp949".split()
"""Encodings of several bytes a letter that a file may declare and the parser does not know (Python's names)."""


def _tidy(data: bytes) -> bytes:
    """The bytes as an XML parser takes them: nothing before the first tag, and an encoding that it knows."""
    encoding = next((name for opening, name in _OPENINGS.items() if data.startswith(opening)), "")
    if not encoding:
        data = data.lstrip()
        declared = re.match(rb"<\?xml[^>]*encoding=[\"']([\w.-]{1,20})[\"']", data[:200])
        with contextlib.suppress(LookupError):
            encoding = codecs.lookup(declared[1].decode()).name if declared else ""
        if encoding not in _WIDE:
            return data
    text = data.decode(encoding, "replace").lstrip()
    return re.sub(r"\A<\?xml[^>]*\?>", "", text).encode("utf-8", "replace")


def _by_part(timewise: Element) -> Element:
    """A score in the order of time turned into one in the order of its parts."""
    root = Element("score-partwise", dict(timewise.attrib))
    parts: dict[str, Element] = {}
    for child in timewise:
        if child.tag != "measure":
            root.append(child)
    for measure in timewise.findall("measure"):
        for part in measure.findall("part"):
            name = part.get("id", "")
            if name not in parts:
                parts[name] = SubElement(root, "part", id=name)
            bar = SubElement(parts[name], "measure", dict(measure.attrib))
            bar.extend(part)
    return root
