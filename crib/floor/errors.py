"""Why the floor says no: one class per reason, so that a program can tell them apart."""

from __future__ import annotations

from crib.core.errors import BadInput, Refused


class OddReading(BadInput):
    """A reading that can hardly be; sent again with `looked_twice`, it is kept."""

    code = "odd-reading"


class DoesNotFit(Refused):
    """Two things that cannot be put together."""

    code = "does-not-fit"


class AlreadyBuiltIn(Refused):
    """A holder, body or tip that is part of another assembly."""

    code = "already-built-in"


class NotAtHand(Refused):
    """A thing that is somewhere nobody can lay hands on it."""

    code = "not-at-hand"


class TooFast(Refused):
    """A speed beyond what a part of the assembly may turn at."""

    code = "too-fast"


class PocketTaken(Refused):
    """The pocket holds another assembly."""

    code = "pocket-taken"


class PocketEmpty(Refused):
    """There is nothing in the pocket."""

    code = "pocket-empty"


class NothingFitted(Refused):
    """The assembly has no tip or tool in it."""

    code = "nothing-fitted"


class StillLoaded(Refused):
    """The assembly is in a machine, where this cannot be done to it."""

    code = "still-loaded"


class EdgeEnded(Refused):
    """The edge has come off already."""

    code = "edge-ended"


class EdgeStillInUse(Refused):
    """The edge in use must be ended before the next one is turned in."""

    code = "edge-still-in-use"


class NoFreshEdge(Refused):
    """Every edge of the item has been used."""

    code = "no-fresh-edge"


class WrongOrder(Refused):
    """A moment that lies before something it must follow."""

    code = "wrong-order"


class RunOverlaps(Refused):
    """Another run stands in the same pocket at the same time."""

    code = "run-overlaps"


class NothingLoaded(Refused):
    """No edge was in that pocket when the run started."""

    code = "nothing-loaded"


class AnotherDesign(Refused):
    """The operation is cut by another design than the one that was fitted."""

    code = "another-design"


class AlreadyReversed(Refused):
    """The run was taken back before, or is itself what takes one back."""

    code = "already-reversed"


class MinutesNotKnown(Refused):
    """The operation has no minutes per part from which a run's minutes could be worked out."""

    code = "minutes-not-known"


class InUseStill(Refused):
    """Something still depends on what was to be retired or changed."""

    code = "in-use-still"


class CannotGo(Refused):
    """A tool that cannot be sent out as it stands."""

    code = "cannot-go"


class NotOut(Refused):
    """A tool that is not at a regrind shop."""

    code = "not-out"


class EdgeExcused(Refused):
    """An end that cannot be left out, or counted again, as it stands."""

    code = "edge-excused"
