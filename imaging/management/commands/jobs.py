"""`manage.py jobs`: list long work; `--wait` until none runs or waits."""

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db.models import QuerySet

from imaging.management.progress_line import ProgressLine, duration_text
from imaging.models import Job, JobStatus
from imaging.services.job_waiting import wait_for_jobs
from imaging.services.jobs import requeue_stalled_jobs

__all__ = ["Command"]


class Command(BaseCommand):
    """List jobs, newest first; exit 1 if any stopped."""

    requires_system_checks: list[str] = []
    help = "List long work; with --wait, wait until nothing runs or waits. Exit 1 if any job stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take --wait, --json and --all."""
        parser.add_argument("--wait", action="store_true", help="wait until no job runs or waits")
        parser.add_argument("--json", action="store_true", help="print one JSON object a line")
        parser.add_argument("--all", action="store_true", help="list ended jobs too; else only the last of each image")

    def handle(self, *args: Any, **options: Any) -> None:
        """Wait if asked to, then list."""
        requeue_stalled_jobs()
        if options["wait"]:
            line = ProgressLine()
            wait_for_jobs(None, lambda jobs: line.show(_state_of(jobs)))
            line.end()
        jobs = Job.objects.select_related("image__campaign", "image__face__artwork")
        shown = jobs if options["all"] else _latest(jobs)
        for job in shown.order_by("wanted_at"):
            self.stdout.write(json.dumps(_document_of(job)) if options["json"] else _sentence_of(job))
        stopped = _latest(jobs).filter(status=JobStatus.STOPPED).count()
        if stopped:
            raise CommandError(f"{stopped} job(s) stopped; the sentences above say why.", returncode=1)


def _latest(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Return the newest job of each kind and image: an older one that stopped was made good by it."""
    newest = jobs.order_by("image_id", "kind", "-wanted_at").distinct("image_id", "kind").values("pk")
    return jobs.filter(pk__in=newest)


def _state_of(jobs: list[Job]) -> str:
    """Return what goes on, in one line."""
    running = [job for job in jobs if job.status == JobStatus.RUNNING]
    parts = [f"{len(running)} running, {len(jobs) - len(running)} waiting"]
    for job in running[:2]:
        share = f" {100 * job.done_units // job.total_units} %" if job.total_units else ""
        left = f", {duration_text(job.seconds_left)} left" if job.seconds_left is not None else ""
        parts.append(f"{job.kind} {_name_of(job)}: {job.stage}{share}{left}")
    return "; ".join(parts)


def _name_of(job: Job) -> str:
    """Return what a job is about."""
    if job.image is None:
        return ""
    return f"{job.image.face.artwork.inventory_number} {job.image} {job.image.title}".strip()


def _sentence_of(job: Job) -> str:
    """Return one line on a job."""
    took = (
        f" in {duration_text((job.ended_at - job.begun_at).total_seconds())}" if job.ended_at and job.begun_at else ""
    )
    error = f": {job.error}" if job.error else ""
    return f"{job.pk} {job.kind} {job.status}{took} {_name_of(job)}{error}".rstrip()


def _document_of(job: Job) -> dict[str, Any]:
    """Return a job as JSON values."""
    return {
        "id": str(job.pk),
        "kind": job.kind,
        "image": str(job.image_id) if job.image_id else None,
        "status": job.status,
        "stage": job.stage,
        "done_units": job.done_units,
        "total_units": job.total_units,
        "attempts": job.attempts,
        "error_code": job.error_code,
        "error": job.error,
        "result": job.result,
    }
