"""Learners' kernels: how soon the first picture is there, how much memory one takes, and a class of them at once.

Times are from the message a browser would send to the message that brings the picture; no browser is in them.

Conventions: seconds; megabytes of 10⁶ bytes. “Alone” is all the memory a process holds, “shared fairly” counts a page
that n processes share as 1/n of a page to each (PSS, where the system tells it).
"""

from __future__ import annotations

import queue
import random
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

import psutil
from jupyter_client.manager import start_new_kernel

PANEL = "from widgets import InversionPanel\npanel = InversionPanel()\npanel"
PLOT = (
    "from matplotlib.figure import Figure\nfrom IPython.display import SVG\nimport io\n"
    "figure, buffer = Figure(figsize=(8, 2)), io.StringIO()\nfigure.subplots().plot([0, 1])\n"
    "figure.savefig(buffer, format='svg')\nSVG(buffer.getvalue())"
)


class Kernel:
    """A kernel of its own, spoken to as a notebook does."""

    def __init__(self) -> None:
        self.manager, self.client = start_new_kernel(kernel_name="python3", startup_timeout=120)
        self.process = psutil.Process(self.manager.provisioner.pid)

    def run(self, code: str) -> list[dict[str, Any]]:
        """The messages a cell brings, until the kernel is idle again."""
        asked, messages = self.client.execute(code), []
        while True:
            message = self.client.get_iopub_msg(timeout=120)
            if message["parent_header"].get("msg_id") != asked:
                continue
            if message["msg_type"] == "error":
                raise RuntimeError("\n".join(message["content"]["traceback"]))
            messages.append(message)
            if message["msg_type"] == "status" and message["content"]["execution_state"] == "idle":
                return messages

    def move(self, control: str, state: dict[str, Any], neck: str) -> float:
        """Seconds from the change of a control to the frames it brings to the neck."""
        content = {"comm_id": control, "data": {"method": "update", "state": state, "buffer_paths": []}}
        start = time.perf_counter()
        self.client.shell_channel.send(self.client.session.msg("comm_msg", content))
        while True:
            message = self.client.get_iopub_msg(timeout=60)
            content = message["content"]
            if content.get("comm_id") == neck and "frames" in content["data"].get("state", ()):
                return time.perf_counter() - start

    def memory(self) -> tuple[float, float]:
        """Megabytes held alone, and shared fairly."""
        full = self.process.memory_full_info()
        return full.rss / 1e6, getattr(full, "pss", full.rss) / 1e6

    def close(self) -> None:
        self.client.stop_channels()
        self.manager.shutdown_kernel(now=True)


class FirstPicture(NamedTuple):
    """One new kernel and its first picture."""

    started: float
    shown: float
    alone: float


def first_picture(code: str) -> FirstPicture:
    """Seconds until a new kernel answers, seconds from there to the picture of a cell, and the memory it then holds."""
    begun = time.perf_counter()
    kernel = Kernel()
    try:
        started = time.perf_counter()
        kernel.run(code)
        return FirstPicture(started - begun, time.perf_counter() - started, kernel.memory()[0])
    finally:
        kernel.close()


class Class(NamedTuple):
    """What a class of learners on one machine gets: latencies in seconds, megabytes a kernel."""

    latencies: list[float]
    alone: float
    fairly: float


@contextmanager
def _kernels(count: int) -> Iterator[list[Kernel]]:
    made: list[Kernel] = []
    try:
        for _ in range(count):
            made.append(Kernel())
        yield made
    finally:
        for kernel in made:
            kernel.close()


def class_of(learners: int, moves: int = 20, pause: float = 0.25) -> Class:
    """So many learners at the inversion panel, all choosing other chords at once, each with a pause between."""
    with _kernels(learners) as kernels:
        ends = []
        for kernel in kernels:
            opened = [m["content"] for m in kernel.run(PANEL) if m["msg_type"] == "comm_open"]
            states = {one["comm_id"]: one["data"]["state"] for one in opened}
            menus = [name for name, state in states.items() if state.get("_model_name") == "DropdownModel"]
            ends.append((menus[1], next(name for name, state in states.items() if "frames" in state)))
        found: queue.Queue[float] = queue.Queue()

        def learner(number: int) -> None:
            pace, (family, neck) = random.Random(number), ends[number]
            for move in range(moves):
                time.sleep(pause * 2 * pace.random())
                found.put(kernels[number].move(family, {"index": (move + 1) % 13}, neck))

        threads = [threading.Thread(target=learner, args=(number,)) for number in range(learners)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        latencies = [found.get() for _ in range(found.qsize())]
        if len(latencies) != learners * moves:
            raise RuntimeError(f"{learners * moves - len(latencies)} moves brought no picture")
        alone, fairly = zip(*(kernel.memory() for kernel in kernels), strict=True)
    return Class(latencies, sum(alone) / learners, sum(fairly) / learners)
