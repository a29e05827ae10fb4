"""Jobs with what the floor and the lives know of them."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from crib.api.catalogue import Jobs
from crib.api.outlooks import JobEdgesSerializer
from crib.floor import services
from crib.life.selectors.job_edges import job_edges


class FloorJobs(Jobs):
    """A job at which edges still work is not put away."""

    retires = services.retire_job

    @extend_schema(responses=JobEdgesSerializer)
    @action(detail=True, methods=["get"], pagination_class=None, filter_backends=[])
    def edges(self, request: Request, pk: str) -> Response:
        """All edges that cut a part of the job: which is first to fail, and does the batch come through."""
        return Response(JobEdgesSerializer(job_edges(job=self.get_object())).data)
