"""What a screen reader would trip over: axe-core, from npm, run on a part of a page.

Source: the rules of axe-core for WCAG 2.2, A and AA, and its good practices.
"""

from __future__ import annotations

import shutil
import subprocess
from functools import cache
from pathlib import Path
from typing import Any

from tests.browser.conftest import missing

LEVELS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
RUN = """async ([part, levels, off]) => (await axe.run(part, { runOnly: levels, resultTypes: ['violations'],
    rules: Object.fromEntries(off.map(rule => [rule, { enabled: false }])) })).violations.flatMap(found =>
    found.nodes.map(node => `${found.impact} ${found.id}: ${node.target.join(' ')} ${node.html.slice(0, 160)}`))"""


@cache
def axe() -> str:
    """The script; where npm has not installed it, the test says so."""
    npm = shutil.which("npm")
    root = subprocess.run([npm, "root", "-g"], capture_output=True, text=True, check=True).stdout.strip() if npm else ""
    script = Path(root, "axe-core", "axe.min.js")
    if not npm or not script.is_file():
        missing("axe-core (npm install -g axe-core@4.14.1)")
    return script.read_text(encoding="utf-8")


def faults(page: Any, part: Any = None, off: tuple[str, ...] = ()) -> list[str]:
    """What is wrong in a part of a page (a selector, or what axe takes for one), a line each; rules `off` are left."""
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(axe())
    return list(page.evaluate(RUN, [part or "html", list(LEVELS), list(off)]))
