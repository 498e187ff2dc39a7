"""Property tests: how many examples they try stands here alone, and no example is timed.

In “short”, the default, they are the same every time; in “long” (HYPOTHESIS_PROFILE=long or --hypothesis-profile=long)
they are drawn anew.
"""

import os

from hypothesis import HealthCheck, settings

settings.register_profile("short", max_examples=150, derandomize=True, deadline=None)
settings.register_profile(
    "long", max_examples=100_000, deadline=None, database=None, suppress_health_check=list(HealthCheck)
)
os.environ.setdefault("HARMONYLIB_PROGRESS", "off")  # kernels that tests start keep no learner's progress

settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE") or "short")
