"""Jobs as the floor sees them: entered in the catalogue, and put away only when nothing works at them any more."""

from __future__ import annotations

from django.db import transaction

from crib.catalogue import services as catalogue
from crib.catalogue.models import Job
from crib.catalogue.services import change_job, create_job
from crib.floor.errors import InUseStill
from crib.floor.selectors import edges_at_work
from crib.people.models import Person

__all__ = ["change_job", "create_job", "retire_job"]


@transaction.atomic
def retire_job(*, job: Job, who: Person) -> Job:
    """Put a job away; refused while an edge fitted somewhere works at it."""
    if edges_at_work().filter(operation__job=job).exists():
        raise InUseStill(f"Edges still work at {job.code}; end them or take them out first.", field="job")
    return catalogue.retire_job(job=job, who=who)
