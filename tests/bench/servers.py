"""A class on one server: how soon everyone's server is ready and shows a first picture, and the memory it takes.

Conventions: seconds; megabytes of 10⁶ bytes, a page that n processes share counted as 1/n of a page to each.
"""

from __future__ import annotations

import subprocess
import time
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import psutil

from tests.bench.learners import PANEL
from tests.hub.running import class_server, fault, new_kernel, seats


class Server(NamedTuple):
    """What a class gets from one server."""

    ready: float
    """Until the teacher's command that starts everyone's server is done."""
    shown: list[float]
    """Of each learner, from asking for a kernel to the end of the cell with the picture, all learners at once."""
    fairly: float
    """Megabytes a learner, server and kernel."""
    base: float
    """Megabytes of the Hub, its proxy and its helpers."""


def class_on_one_server(learners: int) -> Server:
    """Measure a class; raises `RuntimeError` when a server or a picture does not come."""
    names = [f"learner-{number:02}" for number in range(1, learners + 1)]
    with class_server(names) as hub, ThreadPoolExecutor(learners) as pool:
        start = time.perf_counter()
        done = subprocess.run([str(hub.folder / "servers.sh")], capture_output=True, text=True, check=True)
        ready = time.perf_counter() - start
        if done.stdout.splitlines() != [f"{name}: ready" for name in ("mara", *names)]:
            raise RuntimeError(done.stdout)

        def first_picture(name: str) -> float:
            start = time.perf_counter()
            kernel = new_kernel(hub, name)
            if wrong := fault(kernel, PANEL):
                raise RuntimeError(wrong)
            return time.perf_counter() - start

        shown = list(pool.map(first_picture, names))
        theirs = seats(hub)
        mine = set(psutil.Process(hub.process.pid).children(recursive=True)) - set(theirs)
        return Server(ready, shown, _megabytes(theirs) / (learners + 1), _megabytes(mine))


def _megabytes(processes: Iterable[psutil.Process]) -> float:
    return sum(process.memory_full_info().pss for process in processes) / 1e6
