"""Music that a cell plays: a player of one line under its picture; on the wall, with an arrangement, one that shows its
notes and beside them the neck with the grip that sounds.
"""

from __future__ import annotations

from typing import Any

import ipywidgets

from harmonylib.arranging.arrangement import Arrangement
from harmonylib.guitar.grips import Grip
from harmonylib.pictures.neck import Mark, grip_marks
from harmonylib.pictures.theme import named_theme
from harmonylib.score.engraving import engrave
from harmonylib.sound.listening import Sound
from harmonylib.theory.voicings import Voicing
from widgets.beside import MUSIC_MM, NECK_POINTS
from widgets.cells import VIEW, in_place
from widgets.neck import NeckView
from widgets.player import Player


def shown(sound: Sound) -> dict[str, Any]:
    """The bundle of a sound in a notebook: its player, and where a page may be kept without one, the sound itself."""
    heard, wall = sound.of, named_theme(None).fills_width
    assert heard is not None
    if wall and isinstance(heard.music, Arrangement) and heard.first is not None and heard.last is not None:
        made: Any = played(heard.music, heard.first, heard.last)
    else:
        made = Player(heard.music, heard.texts, "", heard.title, heard.first, heard.last, brief=True, **heard.settings)
    live = in_place(made)._repr_mimebundle_()
    view = {VIEW: (live[0] if isinstance(live, tuple) else live)[VIEW]}
    return view if wall else {**sound.still, **view}


class Beside(ipywidgets.Box):
    """A player and the neck that follows it; closing it frees both, and what ties them."""

    def __init__(self, player: Player, neck: NeckView) -> None:
        super().__init__([player, neck])
        self.add_class("player-beside")
        self._link = ipywidgets.jslink((player, "now"), (neck, "frame"))

    def close(self) -> None:
        for part in (self._link, *self.children, self.layout):
            part.close()
        super().close()


def played(music: Arrangement, first: int, last: int) -> Beside:
    """The bars `first` to `last` of an arrangement in a player, the neck following what sounds.

    >>> from harmonylib.arranging.arrange import arrange
    >>> from harmonylib.tunes.reading import read_text
    >>> box = played(arrange(read_text('T:Two\\nM:2/4\\nL:1/4\\nK:C\\n"Cmaj7"E F|"C6"G2|')), 2, 2)
    >>> player, neck = box.children
    >>> player, neck.titles[player.now]
    (Player: Two, 2 bars at 120, 'bar 2, C6, 8x798x')
    >>> box.close()
    """
    svg = engrave(music, first, last, width=MUSIC_MM)
    player = Player(music, svg=svg, first=first, last=last, line_by_line=True, within=[first, last])
    rows = player.score["events"]
    frames = [_marks(music, row["id"]) for row in rows]
    neck = NeckView(music.settings.neck, frames, titles=[row["text"] for row in rows], beside=NECK_POINTS)
    at_first = {bar["number"]: bar["onset"] for bar in reversed(player.score["bars"])}[first]
    player.now = next((number for number, row in enumerate(rows) if row["onset"] >= at_first), 0)
    neck.frame = player.now
    return Beside(player, neck)


def _marks(music: Arrangement, event: str) -> tuple[Mark, ...]:
    """The grip of an event of the player, as in n12 or a3."""
    made: Any = music.answers[int(event[1:])] if event[0] == "a" else music.choices[int(event[1:])]
    grip: Grip = made.grip
    voicing: Voicing | None = made.voicing
    return grip_marks(music.settings.neck, grip, voicing, "degree" if voicing else "note")
