"""API of jobs: how far, how long still, stop, again."""

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from imaging.access import access_job, jobs_open_to, require_role
from imaging.models import Job, Role
from imaging.services.jobs import cancel_job, retry_job

__all__ = ["JobCancellation", "JobDetail", "JobList", "JobRetry", "JobSerializer"]


class JobSerializer(serializers.ModelSerializer[Job]):
    """A job with its progress; `seconds_left` is null while unknown."""

    seconds_left = serializers.FloatField(read_only=True, allow_null=True)

    class Meta:
        model = Job
        fields: ClassVar = [
            "id",
            "kind",
            "image",
            "study",
            "status",
            "stage",
            "done_units",
            "total_units",
            "seconds_left",
            "attempts",
            "is_cancel_wanted",
            "error_code",
            "error",
            "wanted_at",
            "begun_at",
            "ended_at",
        ]


class JobList(ListAPIView[Job]):
    """Jobs that the reader may watch, newest first; `status` narrows."""

    serializer_class = JobSerializer
    queryset = Job.objects.none()

    def get_queryset(self) -> Any:
        """Return what is open to the reader."""
        jobs = jobs_open_to(self.request.user)
        if status := self.request.query_params.get("status"):
            jobs = jobs.filter(status__in=status.split(","))
        return jobs.order_by("-wanted_at")


class JobDetail(APIView):
    """One job."""

    @extend_schema(responses=JobSerializer)
    def get(self, request: Request, pk: str) -> Response:
        """Return it through the door."""
        return Response(JobSerializer(access_job(request.user, pk)).data)


class JobCancellation(APIView):
    """Stop a job (contributors)."""

    @extend_schema(request=None, responses=JobSerializer)
    def post(self, request: Request, pk: str) -> Response:
        """Ask the worker to stop at its next block."""
        return Response(JobSerializer(cancel_job(_writable_job(request, pk))).data)


class JobRetry(APIView):
    """Run a stopped or cancelled job again (contributors)."""

    @extend_schema(request=None, responses=JobSerializer)
    def post(self, request: Request, pk: str) -> Response:
        """Put it back into the queue."""
        return Response(JobSerializer(retry_job(_writable_job(request, pk))).data)


def _writable_job(request: Request, pk: str) -> Job:
    """Return a job that the person may stop or run again."""
    job = access_job(request.user, pk)
    study = job.study or (job.image.study if job.image else None)
    if study is not None:
        require_role(request.user, study, needed=Role.CONTRIBUTOR)
    return job
