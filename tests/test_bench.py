"""The benchmark's own parts: other searches find the same optimum, and its kernels answer."""

from __future__ import annotations

from pathlib import Path

import pytest

from harmonylib.arranging.arrangement import Settings
from harmonylib.arranging.chain import best_chains
from harmonylib.guitar.neck import Neck
from harmonylib.theory.voicings import SPREADS
from harmonylib.tunes.reading import read
from tests.bench.__main__ import PARTS, TUNES, Line, main, table
from tests.bench.learners import class_of
from tests.bench.searches import Lattice, by_networkx, by_ortools, by_trying_all, lattice

FAST = Settings(density="every", tempo=400)
WIDE = Settings(Neck(reach_mm=160), "every", spreads=tuple(SPREADS), tempo=300)


def best(given: Lattice) -> float:
    return best_chains(given.columns, given.gaps)[0][0]


@pytest.mark.parametrize("settings", [Settings(density="every"), FAST, WIDE], ids=["usual", "fast", "wide"])
@pytest.mark.parametrize("path", sorted(TUNES.glob("*.abc")), ids=lambda path: path.stem)
def test_networkx_and_ortools_find_the_same_optimum(path: Path, settings: Settings) -> None:
    given = lattice(read(path), settings)
    assert by_networkx(given) == pytest.approx(best(given))
    assert by_ortools(given) == pytest.approx(best(given), abs=1e-4)


@pytest.mark.parametrize("path", sorted(TUNES.glob("*.abc")), ids=lambda path: path.stem)
def test_trying_every_chain_finds_the_same_optimum(path: Path) -> None:
    given = lattice(read(path), Settings(density="every"), 5)
    assert by_trying_all(given) == pytest.approx(best(given))
    assert by_ortools(given) == pytest.approx(best(given), abs=1e-4)


def test_another_lattice_has_another_optimum() -> None:
    """The comparison can fail: one dearer option on the best chain is seen by every search."""
    given = lattice(read(TUNES / "slate_roof_blues.abc"), Settings(density="every"), 5)
    pick = best_chains(given.columns, given.gaps)[0][1][2]
    dearer = [own.copy() for own in given.own]
    dearer[2][pick] += 50
    changed = given._replace(own=dearer)
    found = {round(search(changed), 4) for search in (by_networkx, by_ortools, by_trying_all)}
    assert len(found) == 1
    assert found.pop() > best(given) + 0.01


@pytest.mark.slow
def test_a_small_class_gets_its_pictures() -> None:
    found = class_of(2, moves=3, pause=0)
    assert len(found.latencies) == 6
    assert all(0 < seconds < 30 for seconds in found.latencies)
    assert 20 < found.fairly <= found.alone < 1000


def test_the_table_is_aligned_and_parts_are_asked_for_by_name() -> None:
    lines = table([Line("a search", "2 ms, 7 times", "50 times"), Line("…", "3 s")]).splitlines()
    assert len({len(line) for line in lines}) == 1
    assert [cell.strip() for cell in lines[2].split("|")[1:4]] == ["a search", "2 ms, 7 times", "50 times"]
    with pytest.raises(SystemExit, match=f"no such part: nonsense; there are {PARTS[0].__name__}, "):
        main(["nonsense"])
