"""Notebooks opened before their kernel runs: instead of widgets that no kernel holds, what is stored beside them.

A page that is loaded anew while its kernel runs keeps its widgets and what was written in them. Without a kernel a
saved widget would be shown as an error; its question, or its picture, is shown instead.

Conventions
- This is an extension of the server that `lab/jupyter_server_config.json` names; the file that is saved stays as it is.

Sources: the extension points and the contents service of Jupyter Server 2.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

VIEW = "application/vnd.jupyter.widget-view+json"
STILL = {"text/html", "image/svg+xml", "image/png"}


def still(book: Mapping[str, Any]) -> None:
    """Take the view of a widget out of each output that has something else to show.

    >>> data = {VIEW: {"model_id": "1"}, "text/html": "<p>Spell C7.</p>"}
    >>> still({"cells": [{"outputs": [{"data": data}]}]})
    >>> data
    {'text/html': '<p>Spell C7.</p>'}
    """
    for cell in book["cells"]:
        for output in cell.get("outputs", ()):
            data = output.get("data", {})
            if STILL & data.keys():
                data.pop(VIEW, None)


def _jupyter_server_extension_points() -> list[dict[str, str]]:
    return [{"module": __name__}]


def _load_jupyter_server_extension(server: Any) -> None:
    """Have the server still the notebooks that it hands out while no kernel runs for them."""
    from jupyter_core.utils import ensure_async

    manager = server.contents_manager
    found = manager.get

    async def get(path: str, *how: Any, **more: Any) -> Any:
        model = await ensure_async(found(path, *how, **more))
        if model["type"] == "notebook" and model["content"]:
            sessions = await ensure_async(server.session_manager.list_sessions())
            if path.strip("/") not in {session["path"].strip("/") for session in sessions}:
                still(model["content"])
        return model

    manager.get = get
