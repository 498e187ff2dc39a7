"""The benchmark report: ``python -m tests.bench`` prints one table of figures measured in this run, machine named.

Each figure is the best of several runs unless its line says otherwise; p50 and p95 are the time half of all, and all
but one in twenty, keep to. The aims stand beside the figures, for a person to compare; what is asserted is that every
search finds the same optimum. ``python -m tests.bench search memory`` measures only the parts named.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import tempfile
import time
import tracemalloc
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from statistics import quantiles
from typing import NamedTuple

import numpy as np

from harmonylib.answering.respond import respond
from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.arrangement import Settings
from harmonylib.arranging.chain import best_chains
from harmonylib.classroom.repertoire import survey
from harmonylib.guitar.neck import Neck
from harmonylib.pictures.neck import grip_marks, neck_picture
from harmonylib.score.engraving import engrave
from harmonylib.score.musicxml import musicxml
from harmonylib.theory.voicings import SPREADS
from harmonylib.tunes.reading import read
from harmonylib.tunes.tune import Tune
from tests.bench.learners import PANEL, PLOT, class_of, first_picture
from tests.bench.searches import by_networkx, by_ortools, by_trying_all, lattice
from tests.bench.servers import class_on_one_server
from tests.bench.wall import Opening, openings
from tests.hub.running import lacking
from tests.refresh import CHAPTERS, refreshed

ROOT = Path(__file__).resolve().parents[2]
TUNES = CHAPTERS / "tunes"
LANTERN = TUNES / "lantern_on_the_landing.abc"
FEW = 7
"""Notes whose chains can all be tried."""


class Line(NamedTuple):
    """What was measured, the figure, and what it aims at."""

    what: str
    figure: str
    aim: str = ""


def best_of(runs: int, work: Callable[[], object]) -> float:
    """Seconds of the quickest of several runs."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def fresh(code: str) -> float:
    """Seconds a statement takes in a new Python, the interpreter's own start left out; best of five."""
    timed = f"import time; t = time.perf_counter()\n{code}\nprint(time.perf_counter() - t)"
    runs = [subprocess.run([sys.executable, "-c", timed], capture_output=True, text=True, check=True) for _ in range(5)]
    return min(float(run.stdout.split()[-1]) for run in runs)


def p50_p95(seconds: Sequence[float]) -> tuple[float, float]:
    """Milliseconds half of all keep to, and all but one in twenty."""
    cuts = quantiles(seconds, n=20, method="inclusive")
    return cuts[9] * 1e3, cuts[18] * 1e3


def longer(tune: Tune, notes: int) -> Tune:
    """The tune set end to end until it has `notes` notes."""
    rounds = -(-notes // len(tune.notes))

    def shift(item: object, by: Fraction) -> object:
        return replace(item, onset=item.onset + by)

    starts = [tune.end * k for k in range(rounds)]
    return replace(
        tune,
        notes=tuple(shift(n, s) for s in starts for n in tune.notes)[:notes],
        changes=tuple(shift(c, s) for s in starts for c in tune.changes),
        bars=tuple(shift(b, s) for s in starts for b in tune.bars),
    )


# --- the parts of the report --------------------------------------------------------------------------------------


def arranging() -> Iterator[Line]:
    tune, settings = read(LANTERN), Settings(density="every")
    once = fresh(
        "from harmonylib import read\n"
        f"tune = read({str(LANTERN)!r})\n"
        "from harmonylib.arranging.arrange import arrange\nt = time.perf_counter()\narrange(tune, density='every')"
    )
    again = best_of(20, lambda: arrange(tune, settings))
    bars = f"{len(tune.bars)} bars"
    yield Line(f"arrange {bars}, {len(tune.notes)} notes, first time", f"{once * 1e3:.1f} ms", "10 ms")
    yield Line("… again in the same session", f"{again * 1e3:.1f} ms", "10 ms")
    chorus = arrange(tune, tempo=96)
    answered = best_of(10, lambda: respond(chorus, share=1.0, approached=0.5))
    yield Line(f"answer a chorus of {bars}", f"{answered * 1e3:.0f} ms", "50 ms")
    arrangement = arrange(tune)
    yield Line(f"MusicXML of {bars}", f"{best_of(10, lambda: musicxml(arrangement)) * 1e3:.0f} ms", "20 ms")
    yield Line("… engraved", f"{best_of(5, lambda: engrave(arrangement)) * 1e3:.0f} ms", "120 ms")
    bare = fresh("pass")
    yield Line("import harmonylib", f"{(fresh('import harmonylib') - bare) * 1e3:.0f} ms", "150 ms")
    needed = fresh("from harmonylib import arrange") - bare
    yield Line("… with all that arranging needs", f"{needed * 1e3:.0f} ms", "150 ms")


def search() -> Iterator[Line]:
    """The search alone, from columns of options to the best chain, against others on the same lattice."""
    tune = read(LANTERN)
    wide = Settings(Neck(reach_mm=160), "every", spreads=tuple(SPREADS))
    for label, settings in (("", Settings(density="every")), (", all spreads, reach 160 mm", wide)):
        for others, notes in (
            ({"networkx": by_networkx, "OR-tools": by_ortools}, None),
            ({"every chain": by_trying_all}, FEW),
        ):
            given = lattice(tune, settings, notes)
            cost = best_chains(given.columns, given.gaps)[0][0]
            quick = best_of(20, lambda given=given: best_chains(given.columns, given.gaps))
            for name, other in others.items():
                assert abs(other(given) - cost) < 1e-4, f"{name} finds another optimum than {cost}"
                slow = best_of(1 if notes else 5, lambda other=other, given=given: other(given))
                what = (
                    f"the search alone, {len(given.columns)} notes of {given.width:.1f} options{label}: against {name}"
                )
                figure = f"{quick * 1e3:.2f} ms against {slow * 1e3:.1f} ms, {slow / quick:.0f} times"
                yield Line(what, figure, "50 times" if name == "networkx" else "")


def files() -> Iterator[Line]:
    from music21 import converter, corpus

    sheets = [
        (f"MusicXML, {number}", path) for number, path in enumerate(map(Path, corpus.getComposer("leadSheet")), 1)
    ]
    for label, path in (("ABC", LANTERN), *sheets):
        alone = best_of(5, lambda path=path: converter.parse(path, forceSource=True, storePickle=False))
        whole = best_of(5, lambda path=path: arrange(read(path)))
        figure = f"{whole * 1e3:.0f} ms, {whole / alone:.2f} times"
        yield Line(f"file to arrangement, against music21's parse alone: {label}", figure, "1.3 times")


def growth() -> Iterator[Line]:
    tune, settings = read(LANTERN), Settings(density="every")
    for notes in (100, 1_000, 10_000, 100_000):
        long = longer(tune, notes)
        seconds = best_of(1 if notes > 10_000 else 3, lambda long=long: arrange(long, settings))
        tracemalloc.start()
        arrange(long, settings)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        figure = f"{seconds:.3f} s, {seconds / notes * 1e6:.0f} µs a note, {peak / 1e6:.0f} MB"
        yield Line(f"arrange {notes:,} notes", figure, "linear")


def neck() -> Iterator[Line]:
    draw = (
        "from harmonylib import Neck, grip_marks, neck_picture\nneck = Neck()\n"
        "neck_picture(neck, grip_marks(neck, 'x3545x', label='note')).svg"
    )
    cold = fresh(draw) - fresh("pass")
    yield Line("neck picture as SVG, cold: a new Python, matplotlib imported", f"{cold * 1e3:.0f} ms")
    frets = iter(range(1, 10_000))
    held = Neck()

    def warm() -> str:
        marks = grip_marks(held, "x3545x", label="note")
        return neck_picture(held, marks, title=f"{next(frets)}").svg  # another title: nothing is kept from before

    yield Line("… warm", f"{best_of(20, warm) * 1e3:.0f} ms", "25 ms")


def browser() -> Iterator[Line]:
    """The browser test that times the panels, run here; its figures come back as properties of its report."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.xml"
        test = "tests/browser/test_panels.py::test_how_fast_a_panel_answers"
        options = ["-o", "addopts=", "-o", "junit_family=xunit1", "-q", f"--junitxml={report}"]
        command = [sys.executable, "-m", "pytest", *options, test]
        run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
        found = (
            {p.get("name", ""): p.get("value", "") for p in ET.parse(report).iter("property")}
            if report.is_file()
            else {}
        )
    if not found:
        yield Line("slider to picture in a browser", f"not measured: {run.stdout.strip().splitlines()[-1]}")
    aims = {"slider, all frames in the browser": "30/50 ms"}
    for name, figure in found.items():
        yield Line(f"JupyterLab in Chromium: {name}, p50/p95", f"{figure} ms", aims.get(name, ""))


def wall() -> Iterator[Line]:
    """Every chapter opened on the wall twice, the quicker counts; the slowest chapter is told."""
    try:
        found = openings(chapter_files())
    except RuntimeError as error:
        yield Line("a chapter on the wall", f"not measured: {error}")
        return
    slowest = Opening(*map(max, zip(*found.values(), strict=True)))
    yield Line("a chapter on the wall: stored pictures shown", f"{slowest.pictures:.1f} s", "1.5 s")
    yield Line("… live", f"{slowest.live:.1f} s", "6 s")
    yield Line("… its step has followed the bar, all of it has", f"{slowest.follows:.1f}, {slowest.whole:.1f} s", "3 s")


def kernels() -> Iterator[Line]:
    for name, code in (
        ("a kernel with matplotlib only, a plot", PLOT),
        ("a learner's kernel, the inversion panel", PANEL),
    ):
        runs = [first_picture(code) for _ in range(5)]
        started, shown, alone = (min(values) for values in zip(*runs, strict=True))
        yield Line(f"{name}: start + first picture, memory", f"{started:.2f} + {shown:.2f} s, {alone:.0f} MB")


def classroom(sizes: Sequence[int] = (10, 20, 30)) -> Iterator[Line]:
    for learners in sizes:
        found = class_of(learners)
        median, most = p50_p95(found.latencies)
        figure = f"p50/p95 {median:.0f}/{most:.0f} ms, {found.alone:.0f} MB each, {found.fairly:.0f} shared fairly"
        yield Line(f"{learners} learners' kernels side by side, all changing chords four times a second", figure)


def hub(sizes: Sequence[int] = (10, 20)) -> Iterator[Line]:
    """A class server with so many learners: everyone's server started, then everyone's first picture at once."""
    if lacking():
        yield Line("a class on one server", f"not measured: {lacking()} is missing")
        return
    for learners in sizes:
        found = class_on_one_server(learners)
        what = f"{learners} learners on one server"
        yield Line(f"{what}: all servers ready, {os.cpu_count()} at a time", f"{found.ready:.0f} s")
        median, most = p50_p95(found.shown)
        figure = f"{median / 1e3:.1f}/{most / 1e3:.1f} s"
        yield Line("… a new kernel's first picture, all at once, p50/p95", figure)
        figure = f"{found.fairly:.0f} MB a learner shared fairly, {found.base:.0f} MB for the server itself"
        yield Line("… memory then", figure)


def chapter_files() -> list[str]:
    return sorted(path.name for path in CHAPTERS.glob("[0-9][0-9]_*.ipynb"))


def course() -> Iterator[Line]:
    paths = [CHAPTERS / name for name in chapter_files()]
    start = time.perf_counter()
    alone = {path.name: best_of(1, lambda path=path: refreshed(path)) for path in paths}
    one_by_one = time.perf_counter() - start
    slowest = max(alone, key=alone.__getitem__)
    figure = f"{one_by_one:.0f} s, the longest ({slowest[:2]}) {alone[slowest]:.1f} s"
    yield Line(f"run all {len(paths)} chapters from fresh kernels, one by one", figure)
    start = time.perf_counter()
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(refreshed, paths))
    yield Line("… one a core", f"{time.perf_counter() - start:.0f} s")


def surveys(sheets: int = 800) -> Iterator[Line]:
    """Sheets that differ in their title only: nothing is known from before."""
    texts = [path.read_text(encoding="utf-8") for path in sorted(TUNES.glob("*.abc"))]
    with tempfile.TemporaryDirectory() as folder:
        for number in range(sheets):
            text = texts[number % len(texts)].replace("T:", f"T:{number} ", 1)
            Path(folder, f"{number:04}.abc").write_text(text, encoding="utf-8")
        speeds = {}
        for jobs in (1, os.cpu_count() or 1):
            start = time.perf_counter()
            found = survey(folder, jobs=jobs)
            speeds[jobs] = sheets / (time.perf_counter() - start)
            assert len(found.rows) == sheets
    one, all_ = speeds[1], speeds[max(speeds)]
    figure = f"{one:.0f} tunes a second, on {max(speeds)} cores {all_:.0f}, {all_ / one:.1f} times"
    yield Line(f"survey of {sheets} tunes on one core", figure, "1.6 times on two cores")


PARTS = (arranging, search, files, growth, neck, browser, wall, kernels, classroom, hub, course, surveys)


def table(lines: Sequence[Line]) -> str:
    """The lines as a table in Markdown, aligned."""
    rows = [Line("measured", "figure", "aim"), *lines]
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    rows.insert(1, Line(*("-" * width for width in widths)))
    return "\n".join(
        "| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |" for row in rows
    )


def machine() -> str:
    versions = f"Python {platform.python_version()}, numpy {np.__version__}"
    return f"{platform.machine()}, {os.cpu_count()} cores, {platform.system()}, {versions}"


def main(asked: Sequence[str]) -> None:
    named = {part.__name__: part for part in PARTS}
    if unknown := set(asked) - set(named):
        sys.exit(f"no such part: {', '.join(sorted(unknown))}; there are {', '.join(named)}")
    lines = []
    for name in asked or named:
        print(f"{name} …", file=sys.stderr)
        lines += named[name]()
    print(f"Measured on: {machine()}\n\n{table(lines)}")


if __name__ == "__main__":
    main(sys.argv[1:])
