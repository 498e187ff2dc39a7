"""Which cell runs now, and what cells showed when they ran before: that is freed when they run again."""

from __future__ import annotations

import sys
from typing import Any

VIEW = "application/vnd.jupyter.widget-view+json"

_shown: dict[str, tuple[int, list[Any]]] = {}
"""By cell: the number of the run that showed widgets there, and those widgets."""


def here() -> tuple[str, int]:
    """The cell that runs now and the number of its run; an empty name where the front end names none."""
    shell = getattr(sys.modules.get("IPython"), "get_ipython", lambda: None)()
    if shell is None:
        return "", 0
    told = shell.kernel.get_parent().get("metadata", {})
    return str(told.get("cellId", "")), int(shell.execution_count)


def in_place(widget: Any) -> Any:
    """The widget, which takes the place of those that its cell showed when it ran before: they are closed."""
    cell, run = here()
    if cell:
        before, widgets = _shown.get(cell, (run, []))
        if before != run:
            for old in widgets:
                old.close()
            widgets = []
        _shown[cell] = run, [*widgets, widget]
    return widget
