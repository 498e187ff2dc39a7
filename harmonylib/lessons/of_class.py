"""What is wrong in the class's file: told once, at the top of a chapter and by each command."""

from __future__ import annotations

from harmonylib.settings import faults, there


def class_faults() -> tuple[str, ...]:
    """A sentence on everything in the class's file that cannot be taken, whichever room it is for.

    >>> class_faults()
    ()
    """
    if not there():
        return ()
    import harmonylib.answering.stages
    import harmonylib.pictures.look  # noqa: F401  these rooms say what the file may hold

    return faults()
