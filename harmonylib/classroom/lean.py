"""What Jupyter's parts would load at every start and the course never needs: left out before they are imported.

Source: jsonschema loads a parser of internationalised addresses, if it is there, for a format ("iri") that no schema of
Jupyter's asks for; to build its grammar takes most of a second (measured, jsonschema 4.26 with rfc3987-syntax 1.1).
"""

from __future__ import annotations

import sys

UNUSED = "rfc3987_syntax"


def lean() -> None:
    """Have jsonschema do without that parser, as it does where it is not installed; call it before Jupyter is imported.

    >>> lean()
    >>> UNUSED in sys.modules
    True
    """
    sys.modules.setdefault(UNUSED, None)  # type: ignore[arg-type]  # so that an import of it fails, as Python has it
