"""Music with a neck beside it, as it stands on the wall: two bars in a line, and the part of the neck that is played.

Conventions: the music takes 59 hundredths of the width, so that two bars of it and the neck have letters and fret
numbers as large as those of the whole wall.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import ipywidgets

MUSIC_MM = 76.0
"""Width of a line of music, as for `score.engraving.engrave`: 59 hundredths of the wall's."""

NECK_POINTS = 286.0
"""How much of the neck is seen, as for `NeckView`: the rest of the wall."""

_HELD = re.compile(r"[;:] [^;:]* on strings \d+, [^;:,]*$")


def beside(music: Sequence[ipywidgets.Widget], neck: Sequence[ipywidgets.Widget]) -> ipywidgets.HBox:
    """What belongs to the music on the left, what belongs to the neck on the right."""
    box = ipywidgets.HBox([ipywidgets.VBox(list(music)), ipywidgets.VBox(list(neck))])
    box.add_class("music-beside")
    return box


def briefly(reason: str) -> str:
    """The reason for a grip without the name of its shape, which stands beside it.

    >>> briefly("E is the third of Cmaj7: drop 2 on strings 5432, root position")
    'E is the third of Cmaj7'
    """
    return _HELD.sub("", reason)
