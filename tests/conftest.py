"""Property tests: how many examples they try stands here alone, and no example is timed.

In “short”, the default, and in “longer” they are the same every time; in “long” they are drawn anew.
HYPOTHESIS_PROFILE or --hypothesis-profile chooses. Of the cases of a test that is marked “few”, so many are run each
time; of the others one half with the slow tests, the other half with those that take long. In a browser all are slow.
"""

import os
import sys
from itertools import groupby

import pytest
from hypothesis import HealthCheck, settings

from harmonylib.settings import CLASS_FILE

sys.dont_write_bytecode = False  # the library is compiled once, not again by each process that a test starts
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ[CLASS_FILE] = "off"  # a class's own settings change no test

settings.register_profile("short", max_examples=25, derandomize=True, deadline=None)
settings.register_profile("longer", max_examples=75, derandomize=True, deadline=None)
settings.register_profile(
    "long", max_examples=100_000, deadline=None, database=None, suppress_health_check=list(HealthCheck)
)
os.environ.setdefault("HARMONYLIB_PROGRESS", "off")  # kernels that tests start keep no learner's progress

settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE") or "short")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what a test marked “few” leaves for later: its cases run each time are spread evenly."""
    for _, group in groupby(items, key=lambda item: item.nodeid.partition("[")[0]):
        cases = list(group)
        few = cases[0].get_closest_marker("few")
        if few:
            kept = {number * len(cases) // few.args[0] for number in range(few.args[0])}
            for turn, number in enumerate(sorted(set(range(len(cases))) - kept)):
                at_once = not turn % 2 or cases[number].get_closest_marker("browser")
                cases[number].add_marker("slow" if at_once else "long")
