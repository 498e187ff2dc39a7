"""What every panel loads: its rules of style, its colours and sizes in every theme, the names of its sliders.

What is loaded with a widget is loaded with that widget only, so each view that can stand in a panel carries these.
"""

from __future__ import annotations

from pathlib import Path

from harmonylib.errors import HarmonyError
from harmonylib.pictures.theme import THEMES

HERE = Path(__file__).parent


def theme_class(theme: str) -> str:
    """The CSS class of a theme; raises `HarmonyError` where there is no such theme."""
    if theme not in THEMES:
        raise HarmonyError(f"{theme!r} is not a theme: choose {', '.join(THEMES)}")
    return "neck-" + theme.replace(" ", "-")


def style(*names: str) -> str:
    """The style sheets of a view, with the rules that all panels share."""
    sheets = [(HERE / f"{name}.css").read_text(encoding="utf-8") for name in (*names, "panel")]
    return "\n".join([*sheets, *map(_theme_rule, THEMES)])


def script(*parts: str) -> str:
    """The parts of a script, files of this folder, as one module."""
    return "\n".join((HERE / part).read_text(encoding="utf-8") for part in parts)


def _theme_rule(name: str) -> str:
    look = THEMES[name]
    size = "clamp(17px, 1.35vw, 30px)" if look.fills_width else f"{max(13, round(look.small * 4 / 3))}px"
    return (
        f".neck-panel.{theme_class(name)} {{ background: {look.paper}; color: {look.ink}; padding: 6px; "
        f"--jp-widgets-color: {look.ink}; --jp-widgets-label-color: {look.ink}; "
        f"--jp-widgets-readout-color: {look.ink}; --jp-widgets-font-size: {size}; "
        f"--jp-widgets-inline-height: calc(2.15 * {size}); }}"
    )
