"""Ends that were not the tip's fault: left out of what lives learn, with who said so and why, and counted again."""

from __future__ import annotations

from functools import partial

from django.db import transaction

from crib.core import clock
from crib.core.errors import BadInput
from crib.core.wake import wake
from crib.floor.errors import EdgeExcused
from crib.floor.models import Edge
from crib.floor.selectors.excuses import COUNTED_AGAIN, EDGE, LEFT_OUT
from crib.floor.services.edges import checked_note
from crib.people.models import Person
from crib.people.services import record_change

MAY_BE_EXCUSED = (Edge.Outcome.WORN, Edge.Outcome.CHIPPED, Edge.Outcome.BROKEN)


@transaction.atomic
def excuse_end(*, edge: Edge, excuse: str, note: str, who: Person) -> Edge:
    """Say that an edge ended by something else than its wear; lives then take it as taken off at that age."""
    edge = _locked(edge)
    if edge.state != Edge.State.ENDED:
        raise EdgeExcused(f"{_name(edge)} has not ended; say first why it came off.", field="edge")
    if edge.outcome not in MAY_BE_EXCUSED:
        raise EdgeExcused(
            f"{_name(edge)} came off before its end ({edge.get_outcome_display().lower()}); there is nothing to "
            "excuse.",
            field="edge",
        )
    if edge.excuse:
        raise EdgeExcused(
            f"{_name(edge)} is left out already ({edge.get_excuse_display().lower()}, {edge.excused_by}); count it "
            "again first to give another reason.",
            field="edge",
        )
    if excuse not in Edge.Excuse.values:
        raise BadInput("excuse", f"Say what it was: {', '.join(Edge.Excuse.values)}.")
    note = checked_note(note=note)
    if not note:
        raise BadInput("note", "Say in a few words what happened, so that others can judge it later.")
    edge.excuse, edge.excuse_note, edge.excused_by, edge.excused_at = excuse, note, who, clock.now()
    _save(edge, who, act=LEFT_OUT, excuse=excuse, note=note, outcome=edge.outcome)
    return edge


@transaction.atomic
def count_again(*, edge: Edge, who: Person) -> Edge:
    """Take an excuse back: lives learn from that end again."""
    edge = _locked(edge)
    if not edge.excuse:
        raise EdgeExcused(f"{_name(edge)} is not left out; it counts as it is.", field="edge")
    said = {"excuse": edge.excuse, "note": edge.excuse_note, "by": edge.excused_by}
    edge.excuse, edge.excuse_note, edge.excused_by, edge.excused_at = "", "", None, None
    _save(edge, who, act=COUNTED_AGAIN, **said)
    return edge


def _locked(edge: Edge) -> Edge:
    # Held first and read after: who left it out may have changed while it was waited for.
    Edge.objects.select_for_update().get(pk=edge.pk)
    return Edge.objects.select_related("item", "excused_by").get(pk=edge.pk)


def _name(edge: Edge) -> str:
    return f"Edge {edge.number} of {edge.item.label}"


def _save(edge: Edge, who: Person, *, act: str, **details: object) -> None:
    edge.save(update_fields=["excuse", "excuse_note", "excused_by", "excused_at"])
    record_change(who=who, what=EDGE, which=str(edge), act=act, details=details)
    transaction.on_commit(partial(wake, "refit"))
