"""How often a test draws: a count stands for the profile in which a property has 150 examples.

The profile “short”, the default, draws a third of it; “longer” three times as much, “long” as long as a night lasts.
"""

from hypothesis import settings


def draws(count: int) -> int:
    """How many examples the present profile draws where 150 would be usual and this test takes `count`; one at least.

    >>> draws(150) == settings.default.max_examples, draws(0)
    (True, 1)
    """
    return max(count * settings.default.max_examples // 150, 1)
