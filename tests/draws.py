"""How often a test draws: its count is that of the profile “longer”, in which a property has 150 examples.

The profile “short”, the default, draws a third of it; “long” takes a night.
"""

from hypothesis import settings


def draws(count: int) -> int:
    """How many examples the present profile draws where “longer” draws `count`; one at least.

    >>> draws(150) == settings.default.max_examples, draws(0)
    (True, 1)
    """
    return max(count * settings.default.max_examples // 150, 1)
