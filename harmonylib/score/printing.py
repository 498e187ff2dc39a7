"""The printer: Typst with the fonts that are at hand, for scores, sheets and hand-outs alike.

Conventions
- Every text reaches the printer as data, never as markup. Same data, same bytes.
- Latin, Greek, Cyrillic, Hebrew and Arabic print as they are; Chinese, Japanese and Korean where the font of the extra
  `cjk` is installed. What has no font is told in one remark on the page.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from importlib.resources import files
from importlib.util import find_spec
from typing import Any, Literal

from harmonylib.wording import plain

FONTS = ["Libertinus Serif", "DejaVu Sans Mono"]

CJK_PACKAGE, CJK_FONT = "cvttf_NotoSansCJK_Regular", "Noto Sans CJK TC"

_PRINTED = "\\s!-\u058f\u0590-\u06ff\u0900-\u097f\u10a0-\u10ff\u1d00-\u2bff\ufb1d-\ufdff"
_EAST = "\u2e80-\u9fff\uac00-\ud7af\uf900-\ufaff\uff00-\uffef\U00020000-\U0003ffff"


Kind = Literal["pdf", "svg", "png"]


def printed(template: str, data: Mapping[str, Any], kind: Kind, ppi: float | None = None) -> bytes:
    """What a template makes of data, which holds `title`; it finds `fonts` and a remark, `unprinted`, beside it."""
    import typst

    east = find_spec(CJK_PACKAGE) is not None
    fonts = {"fonts": [*FONTS, CJK_FONT] if east else FONTS, "unprinted": unprinted(data["title"])}
    text = json.dumps({**data, **fonts}, ensure_ascii=False)
    paths = [str(files(CJK_PACKAGE))] if east and re.search(f"[{_EAST}]", text) else []
    how: Any = {"font_paths": paths, "ignore_system_fonts": True, "ppi": ppi}
    return bytes(typst.compile(template.encode(), format=kind, sys_inputs={"data": text}, **how))


def unprinted(text: str) -> str:
    """A remark on letters of a text for which there is no font; empty when all of them print.

    >>> unprinted("Ἁρμονία, שיר, Été"), unprinted("ก")
    ('', 'No font here prints “ก”.')
    """
    east = _EAST if find_spec(CJK_PACKAGE) is not None else ""
    lost = "".join(dict.fromkeys(re.findall(f"[^{_PRINTED}{east}]", plain(text))))
    how = " The extra “cjk” of this course brings one." if re.search(f"[{_EAST}]", lost) else ""
    return f"No font here prints “{lost[:12]}”.{how}" if lost else ""
