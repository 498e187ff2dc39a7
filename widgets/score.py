"""`ScoreView`: engraved bars in a notebook, with one note in hand.

Conventions: notes are counted from 0 in the order of the tune, as in `harmonylib.arranging`; the engraver gives the
note number n the SVG id ``n`` + n.
"""

from __future__ import annotations

from typing import Any

import anywidget
import traitlets

from widgets.look import script, style


class ScoreView(anywidget.AnyWidget):
    """Bars as `score.engraving.engrave` draws them; `note` is the one in hand, `text` the line under the music.

    With `line_by_line` one line of music is seen at a time, that of the note in hand; buttons turn to the others.

    >>> view = ScoreView(svg="<svg/>", text="bars 1 to 4")
    >>> view
    bars 1 to 4
    >>> view.close()
    """

    _esm = traitlets.Unicode(script("sliders.js", "lines.js", "score.js")).tag(sync=True)
    _css = traitlets.Unicode(style("score", "lines")).tag(sync=True)

    svg = traitlets.Unicode("").tag(sync=True)
    text = traitlets.Unicode("").tag(sync=True)
    note = traitlets.Int(-1).tag(sync=True)
    line_by_line = traitlets.Bool(False).tag(sync=True)

    def _repr_mimebundle_(self, **how: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        shown = super()._repr_mimebundle_(**how)
        data = dict(shown[0]) if shown else {}
        return data | {"text/plain": self.text, "image/svg+xml": self.svg}, {}

    def __repr__(self) -> str:
        return self.text

    def close(self) -> None:
        """Free the view, its layout and everything in the browser."""
        if self.comm is None:
            return
        self.layout.close()
        super().close()
