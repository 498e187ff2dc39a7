"""Themes: the colours, shapes and weights of every picture, for screen, projector and print.

Conventions
- A theme of paper has variants for a class: in black and white (“grey”), and with words of 12, 14 or 18 points.
- The label carries the meaning, the colour and shape of a mark repeat it.
- Text is written in black or white, whichever stands out more.

Sources: colours are the Okabe–Ito palette (M. Okabe, K. Ito, Color Universal Design, 2008). Contrast is WCAG 2.1
(relative luminance, success criterion 1.4.3).
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

from harmonylib.errors import HarmonyError
from harmonylib.pictures.look import SIZES, look

OKABE_ITO = {
    **{"black": "#000000", "orange": "#E69F00", "sky blue": "#56B4E9", "bluish green": "#009E73"},
    **{"yellow": "#F0E442", "blue": "#0072B2", "vermillion": "#D55E00", "reddish purple": "#CC79A7"},
}

MARKS = {
    # role         colour              marker, its size against a circle
    "root": ("blue", "s", 0.9),
    "third": ("orange", "o", 1.0),
    "fifth": ("sky blue", "o", 1.0),
    "seventh": ("bluish green", "o", 1.0),
    "extension": ("reddish purple", "H", 1.1),
    "foreign": ("yellow", "D", 0.76),
    "plain": ("black", "o", 1.0),
}


@dataclass(frozen=True)
class Theme:
    """How large and in which colours a picture is drawn; sizes in points on a picture `width` points wide.

    A theme without `colours` draws in black and white, as a photocopier does.
    """

    width: float
    small: float
    label: float
    chord: float
    mark: float
    paper: str
    ink: str
    soft: str
    line: str
    band: str
    fills_width: bool = True
    colours: bool = True

    def mark_colour(self, role: str) -> str:
        """The colour of a mark: in black and white a root is black and all others are open."""
        name = MARKS[role][0]
        if name == "black":
            return self.ink
        return OKABE_ITO[name] if self.colours else self.ink if role == "root" else self.paper

    def shade(self, name: str) -> str:
        """A colour of `OKABE_ITO` for an area, as a grey of its own in black and white."""
        return OKABE_ITO[name] if self.colours else GREYS[name]


GREYS = {
    **{"black": "#000000", "blue": "#262626", "vermillion": "#595959", "bluish green": "#808080"},
    **{"reddish purple": "#A6A6A6", "sky blue": "#C8C8C8", "orange": "#E0E0E0", "yellow": "#F6F6F6"},
}

SHEET = 485.0
"""Points between the number of a question and the right margin of a work sheet."""

_ON_PAPER = {
    "paper": Theme(490, 8, 8.5, 11, 17, "#FFFFFF", "#1A1A1A", "#555555", "#9A9A9A", "#F1EEE6", fills_width=False),
    "sheet": Theme(SHEET, 9, 9, 11, 15, "#FFFFFF", "#1A1A1A", "#555555", "#9A9A9A", "#F1EEE6", fills_width=False),
}


def _variants(name: str, theme: Theme) -> dict[str, Theme]:
    made = {name: theme} | {f"{name} {size}": _large(theme, size) for size in SIZES[1:]}
    return made | {f"{name} grey{kind.removeprefix(name)}": _grey(one) for kind, one in made.items()}


def _large(theme: Theme, size: int) -> Theme:
    width = max(theme.width, 720) if theme.width > SHEET else theme.width
    return replace(theme, width=width, small=size, label=size, chord=1.2 * size, mark=max(theme.mark, 1.35 * size))


def _grey(theme: Theme) -> Theme:
    return replace(theme, soft="#333333", line="#808080", band="#F4F4F4", colours=False)


THEMES = {
    **{variant: theme for name, held in _ON_PAPER.items() for variant, theme in _variants(name, held).items()},
    "projector light": Theme(720, 17, 17, 20, 22, "#FFFFFF", "#000000", "#333333", "#777777", "#EBE6DA"),
    "projector dark": Theme(720, 17, 17, 20, 22, "#101010", "#FFFFFF", "#D0D0D0", "#8A8A8A", "#2C2C2C"),
}

THEME_VARIABLE = "HARMONYLIB_THEME"
"""The environment variable that names the theme of pictures for which none is given."""


def text_on(colour: str) -> str:
    """Black or white, whichever is easier to read on `colour`.

    >>> text_on(OKABE_ITO["yellow"]), text_on(OKABE_ITO["blue"])
    ('#000000', '#FFFFFF')
    """
    return max("#000000", "#FFFFFF", key=lambda ink: _contrast(ink, colour))


def _contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.1).

    >>> round(_contrast("#000000", "#FFFFFF"), 1)
    21.0
    """
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    """Relative luminance of ``"#RRGGBB"``, 0 to 1 (WCAG 2.1)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def default_theme() -> str:
    """The theme of pictures that name none: that of the environment variable HARMONYLIB_THEME, else the class's paper.

    >>> default_theme()
    'paper'
    """
    return os.environ.get(THEME_VARIABLE) or class_theme("paper")


def class_theme(name: str) -> str:
    """The variant of a theme of paper that the class's file asks for.

    >>> class_theme("sheet")
    'sheet'
    """
    wanted = look()
    large = f" {wanted.size}" if wanted.size > SIZES[0] else ""
    return name + ("" if wanted.colour else " grey") + large


def named_theme(name: str | None) -> Theme:
    """The theme of that name, or the default one; raises `HarmonyError` for any other."""
    name = name or default_theme()
    if name not in THEMES:
        raise HarmonyError(f"{name!r} is not a theme: choose {', '.join(THEMES)}")
    return THEMES[name]
