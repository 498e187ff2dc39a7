"""What a file is that is no lead sheet, and what to export instead, in one line.

Conventions: the bytes decide before the name does, for a name is easily changed.

Sources: the first bytes of PDF (ISO 32000), PNG and JPEG (W3C, ISO), GIF, TIFF, RIFF and MIDI 1.0 files.
"""

from __future__ import annotations

SUFFIXES = (".musicxml", ".xml", ".mxl", ".abc")
"""Kinds of file that are read."""

EXPORT = "open the tune in a notation program and export it as MusicXML (.musicxml, .xml), compressed MusicXML (.mxl)"
EXPORT += " or ABC (.abc)"

PICTURE = "a picture of music, and only notes can be read"
_SOUND = "a recording, and only notes can be read"
_MIDI = "a MIDI file, which has no chord symbols"
_OPENINGS = {
    b"%PDF": "a PDF, and only notes can be read",
    **dict.fromkeys((b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"II*\0", b"MM\0*"), PICTURE),
    **dict.fromkeys((b"ID3", b"OggS", b"fLaC", b"\xff\xfb"), _SOUND),
    b"MThd": _MIDI,
}
_NAMES = {
    ".pdf": _OPENINGS[b"%PDF"],
    **dict.fromkeys((".png", ".jpg", ".jpeg", ".gif", ".tif", ".tiff", ".bmp", ".webp", ".svg", ".heic"), PICTURE),
    **dict.fromkeys((".wav", ".mp3", ".ogg", ".flac", ".m4a", ".aac"), _SOUND),
    **dict.fromkeys((".mid", ".midi"), _MIDI),
}
MOST_ZEROS = 20
"""Zero bytes in the first 1024 of a text; a program's own file has hundreds."""
_UTF_16 = (b"\xff\xfe", b"\xfe\xff", b"<\0", b"\0<")


def foreign(data: bytes) -> str:
    """What the bytes are if they cannot be a lead sheet, in words; empty if they may be one.

    >>> foreign(b"%PDF-1.7"), foreign(b"<score-partwise/>")
    ('a PDF, and only notes can be read', '')
    """
    if data[:4] == b"RIFF":
        return PICTURE if data[8:12] == b"WEBP" else _SOUND
    known = next((what for opening, what in _OPENINGS.items() if data.startswith(opening)), "")
    packed_or_text = data[:2] == b"PK" or data.startswith(_UTF_16)
    if not known and data[:1024].count(0) > MOST_ZEROS and not packed_or_text:
        return "a program's own file, which only that program can read"
    return known


def foreign_name(suffix: str) -> str:
    """What a file with this suffix is, in words.

    >>> foreign_name(".PNG")
    'a picture of music, and only notes can be read'
    """
    return _NAMES.get(suffix.lower(), "not a kind of file this course reads")
