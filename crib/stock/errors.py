"""Why the crib refuses: each with the sentence that says what to do instead."""

from __future__ import annotations

from crib.core.errors import KeyAlreadyUsed, NotFound, Refused


class NotEnoughOnHand(Refused):
    """Fewer are there than were asked for; the sentence says where else they are."""

    code = "not-enough-on-hand"


class DesignRetired(Refused):
    """The design is no longer handed out."""

    code = "design-retired"


class ItemNotThere(Refused):
    """The item stands somewhere else than where it is taken from."""

    code = "item-not-there"


class ItemNeeded(Refused):
    """The design is kept piece by piece, so the piece has to be named."""

    code = "item-needed"


class LimitReached(Refused):
    """More would go out than one person, or one job, may draw; a lead may allow it."""

    code = "limit-reached"


class JobNeeded(Refused):
    """The design is limited for each job, so the job has to be named."""

    code = "job-needed"


class SpentNotHandedOut(Refused):
    """Spent edges are not handed out."""

    code = "spent-not-handed-out"


class AlreadyReversed(Refused):
    """A line of the ledger is reversed once."""

    code = "already-reversed"


class OwnedByDocument(Refused):
    """The line belongs to a document, such as an order, and is taken back there."""

    code = "owned-by-document"


class CountClosed(Refused):
    """The count was posted or dropped before."""

    code = "count-closed"


class CountAgain(Refused):
    """Something in the count is to be looked at a second time before it goes on."""

    code = "count-again"


class MovedMeanwhile(Refused):
    """What is being counted moved while somebody looked at it."""

    code = "moved-meanwhile"


class NobodyThere(Refused):
    """The person has left the shop, or is a shared tablet."""

    code = "nobody-there"


class UnknownLabel(NotFound):
    """What was scanned or typed is nothing in this shop."""

    code = "unknown-label"


class SeveralFit(Refused):
    """What was typed names more than one thing."""

    code = "several-fit"


__all__ = [
    "AlreadyReversed",
    "CountAgain",
    "CountClosed",
    "DesignRetired",
    "ItemNeeded",
    "ItemNotThere",
    "JobNeeded",
    "KeyAlreadyUsed",
    "LimitReached",
    "MovedMeanwhile",
    "NobodyThere",
    "NotEnoughOnHand",
    "OwnedByDocument",
    "SeveralFit",
    "SpentNotHandedOut",
    "UnknownLabel",
]
