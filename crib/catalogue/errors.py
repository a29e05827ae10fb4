"""Why the catalogue refuses."""

from __future__ import annotations

from crib.core.errors import Refused


class CouplingDoesNotFit(Refused):
    """Two parts that are to be joined do not go together; the sentence says which sides and why."""

    code = "coupling-does-not-fit"
