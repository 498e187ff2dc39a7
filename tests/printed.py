"""What stands on a printed page: every word with its box, from the PDF itself.

Conventions
- Points from the lower left corner of the page; a box is that of the ink, not of the line.
- `pypdfium2` reads the page and draws it: neither wrote it.
"""

from collections.abc import Iterator
from typing import NamedTuple

import pypdfium2
from PIL import Image


class Word(NamedTuple):
    """A word of a page, numbered from 0, and its box."""

    page: int
    text: str
    left: float
    bottom: float
    right: float
    top: float


def words(sheet: bytes) -> list[Word]:
    """Every word of a PDF."""
    found = []
    document = pypdfium2.PdfDocument(sheet)
    for number, page in enumerate(document):
        text = page.get_textpage()
        letters = [(text.get_text_range(i, 1), *text.get_charbox(i)) for i in range(text.count_chars())]
        found += [Word(number, *word) for word in _joined(letters)]
    return found


Letter = tuple[str, float, float, float, float]


def _joined(letters: list[Letter]) -> Iterator[Letter]:
    """Letters that follow each other closely on a line, as one word; letters set as one sign share its box."""
    word: Letter | None = None
    last: tuple[float, ...] = ()
    for said, *box in letters:
        if word and tuple(box) == last:
            word = (word[0] + said, *word[1:])
            continue
        last = tuple(box)
        left, bottom, right, top = box
        if not said.strip() or right <= left:
            if word:
                yield word
            word = None
            continue
        high = word[4] - word[2] if word else 0
        if word and -0.35 * max(high, 3) <= left - word[3] < 0.4 * max(high, 3) and bottom < word[4] and top > word[2]:
            word = (word[0] + said, word[1], min(bottom, word[2]), right, max(top, word[4]))
        else:
            if word:
                yield word
            word = (said, left, bottom, right, top)
    if word:
        yield word


def overlaps(sheet: bytes, spare: float = 0.4) -> list[tuple[str, str]]:
    """Pairs of words of a page whose boxes cover each other by more than `spare` points both ways."""
    found = []
    held = sorted(words(sheet), key=lambda word: (word.page, word.left))
    for place, one in enumerate(held):
        for other in held[place + 1 :]:
            if other.page != one.page or other.left > one.right - spare:
                break
            if min(one.top, other.top) - max(one.bottom, other.bottom) > spare:
                found.append((one.text, other.text))
    return found


def outside(sheet: bytes, margin: float) -> list[str]:
    """Words that come nearer to the edge of their page than `margin` points."""
    sizes = [page.get_size() for page in pypdfium2.PdfDocument(sheet)]
    return [
        word.text
        for word in words(sheet)
        if word.left < margin
        or word.bottom < margin
        or word.right > sizes[word.page][0] - margin
        or word.top > sizes[word.page][1] - margin
    ]


def filled(sheet: bytes) -> list[float]:
    """How far down each page is printed, from 0 to 1; its foot is left out."""
    shares = []
    for page in pypdfium2.PdfDocument(sheet):
        picture = page.render(scale=0.5).to_pil().convert("L")
        inside = picture.crop((0, 0, picture.width, round(picture.height * 0.92)))
        box = inside.point(lambda value: 255 * (value < 200)).getbbox()
        shares.append(box[3] / inside.height if box else 0.0)
    return shares


def drawn(sheet: bytes, scale: float = 1.5) -> list[Image.Image]:
    """The pages as pictures."""
    return [page.render(scale=scale).to_pil() for page in pypdfium2.PdfDocument(sheet)]
