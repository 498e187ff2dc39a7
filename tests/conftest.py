"""Property tests: how many examples they try stands here alone, and no example is timed.

In “short”, the default, and in “longer” they are the same every time; in “long” they are drawn anew.
HYPOTHESIS_PROFILE or --hypothesis-profile chooses.
"""

import os

from hypothesis import HealthCheck, settings

from harmonylib.settings import CLASS_FILE

os.environ[CLASS_FILE] = "off"  # a class's own settings change no test

settings.register_profile("short", max_examples=50, derandomize=True, deadline=None)
settings.register_profile("longer", max_examples=150, derandomize=True, deadline=None)
settings.register_profile(
    "long", max_examples=100_000, deadline=None, database=None, suppress_health_check=list(HealthCheck)
)
os.environ.setdefault("HARMONYLIB_PROGRESS", "off")  # kernels that tests start keep no learner's progress

settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE") or "short")
