"""How often a test draws: its count is for 150 examples a property, and in proportion to those of a profile.

The profile “short”, the default, has 25, “longer” 75; “long” takes a night.
"""

from hypothesis import settings


def draws(count: int) -> int:
    """How many examples the present profile draws where one with 150 draws `count`; one at least.

    >>> draws(150) == settings.default.max_examples, draws(0)
    (True, 1)
    """
    return max(count * settings.default.max_examples // 150, 1)
