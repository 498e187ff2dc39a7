"""The benchmark report: ``python -m tests.bench`` prints one table of figures measured in this run, machine named.

Each figure is the best of several runs unless its line says otherwise. Nothing here is a test: aims stand beside the
figures, for a person to compare.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from harmonylib.arranging import Settings, _columns, _options, _seconds_between, _steps, arrange, best_chains
from harmonylib.fills import answer
from harmonylib.neck import Neck
from harmonylib.scores import engrave, musicxml
from harmonylib.tunes import Tune, read
from harmonylib.voicings import SPREADS

TUNES = Path(__file__).resolve().parents[2] / "chapters" / "tunes"


def best_of(runs: int, work: Callable[[], object]) -> float:
    """Seconds of the quickest of several runs."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


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


def networkx_path(tune: Tune, settings: Settings) -> float:
    """The cost of the best chain as networkx finds it, on the same columns and step costs."""
    import networkx

    columns = _options(tune, settings)
    arrays = _columns(columns)
    graph = networkx.DiGraph()
    for pick in range(len(columns[0])):
        graph.add_edge("start", (0, pick), weight=arrays.cost[0][pick])
    for index, step in _steps(arrays, _seconds_between(tune, settings)):
        for a in range(len(columns[index - 1])):
            for b in range(len(columns[index])):
                weight = step[a, b] + arrays.cost[index][b]
                if np.isfinite(weight):
                    graph.add_edge((index - 1, a), (index, b), weight=weight)
    for pick in range(len(columns[-1])):
        graph.add_edge((len(columns) - 1, pick), "end", weight=0.0)
    return float(networkx.shortest_path_length(graph, "start", "end", weight="weight"))


def fresh(code: str) -> float:
    """Seconds a statement takes in a new Python, the interpreter's own start left out; best of five."""
    timed = f"import time; t = time.perf_counter()\n{code}\nprint(time.perf_counter() - t)"
    runs = [subprocess.run([sys.executable, "-c", timed], capture_output=True, text=True, check=True) for _ in range(5)]
    return min(float(run.stdout.split()[-1]) for run in runs)


def parse_alone(path: Path) -> float:
    """Seconds music21 takes to parse the file, and nothing more."""
    from music21 import converter

    return best_of(5, lambda: converter.parse(path, forceSource=True, storePickle=False))


def report() -> list[tuple[str, str, str]]:
    """(what, figure, aim) for every line of the table."""
    tune = read(TUNES / "lantern_on_the_landing.abc")
    settings = Settings(density="every")
    lines = []

    once = fresh(
        "from harmonylib.tunes import read\n"
        f"tune = read({str(TUNES / 'lantern_on_the_landing.abc')!r})\n"
        "from harmonylib.arranging import arrange\nt = time.perf_counter()\narrange(tune, density='every')"
    )
    again = best_of(20, lambda: arrange(tune, settings))
    lines.append(
        (f"arrange {len(tune.bars)} bars, {len(tune.notes)} notes, first time", f"{once * 1e3:.1f} ms", "10 ms")
    )
    lines.append(("… again in the same session", f"{again * 1e3:.1f} ms", "10 ms"))

    wide = Settings(Neck(reach_mm=160), "every", spreads=tuple(SPREADS))
    for label, given in (("", settings), (", all spreads, reach 160 mm", wide)):
        columns, gaps = _options(tune, given), _seconds_between(tune, given)
        slow, quick = (
            best_of(3, lambda given=given: networkx_path(tune, given)),
            best_of(20, lambda columns=columns, gaps=gaps: best_chains(columns, gaps)),
        )
        assert abs(networkx_path(tune, given) - best_chains(columns, gaps)[0][0]) < 1e-6, (
            "networkx finds another optimum"
        )
        figure = f"{quick * 1e3:.2f} ms against {slow * 1e3:.0f} ms, {slow / quick:.0f} times"
        width = sum(map(len, columns)) / len(columns)
        lines.append((f"the search alone against networkx, {width:.0f} options a note{label}", figure, "50 times"))

    with tempfile.TemporaryDirectory() as folder:
        score = Path(folder) / "tune.musicxml"
        score.write_text(musicxml(arrange(tune)), encoding="utf-8")
        for label, path in (("ABC", TUNES / "lantern_on_the_landing.abc"), *corpus_sheets()):
            alone = parse_alone(path)
            whole = best_of(5, lambda path=path: arrange(read(path)))
            figure = f"{whole * 1e3:.0f} ms, {whole / alone:.2f} times"
            lines.append((f"file to arrangement against music21's parse alone, {label}", figure, "1.3 times"))

    for notes in (100, 1_000, 10_000, 100_000):
        long = longer(tune, notes)
        seconds = best_of(1 if notes > 10_000 else 3, lambda long=long: arrange(long, settings))
        tracemalloc.start()
        arrange(long, settings)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        figure = f"{seconds:.3f} s, {seconds / notes * 1e6:.0f} µs a note, {peak / 1e6:.0f} MB"
        lines.append((f"arrange {notes:,} notes", figure, "linear"))

    chorus = arrange(tune, tempo=96)
    answered = best_of(10, lambda: answer(chorus, share=1.0, approached=0.5))
    lines.append((f"answer a chorus of {len(tune.bars)} bars", f"{answered * 1e3:.1f} ms", "50 ms"))

    bare = fresh("pass")
    lines.append(("import harmonylib", f"{fresh('import harmonylib') - bare:.3f} s", "0.15 s"))
    lines.append(
        ("… with all that arranging needs", f"{fresh('from harmonylib import arrange') - bare:.3f} s", "0.15 s")
    )
    arrangement = arrange(tune)
    written = best_of(10, lambda: musicxml(arrangement))
    lines.append((f"MusicXML of {len(tune.bars)} bars", f"{written * 1e3:.1f} ms", "20 ms"))
    lines.append(("… engraved", f"{best_of(5, lambda: engrave(arrangement)) * 1e3:.0f} ms", "120 ms"))
    return lines


def corpus_sheets() -> list[tuple[str, Path]]:
    """The two lead sheets that music21's corpus ships."""
    from music21 import corpus

    return [(path.name, Path(path)) for path in map(Path, corpus.getComposer("leadSheet"))]


def main() -> None:
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, numpy {np.__version__}")
    table = report()
    widths = [max(len(row[column]) for row in table) for column in (0, 1)]
    for what, figure, aim in table:
        print(f"{what:<{widths[0]}}  {figure:<{widths[1]}}  aim {aim}")


if __name__ == "__main__":
    main()
