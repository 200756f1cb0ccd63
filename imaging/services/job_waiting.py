"""Wait for jobs, and do them here when no worker would."""

import datetime as dt
import time
import uuid
from collections.abc import Callable, Collection

from django.db import connection
from django.db.models import QuerySet
from django.utils import timezone
from procrastinate.contrib.django import app as queue
from procrastinate.contrib.django.models import ProcrastinateWorker

from imaging.models import Job
from imaging.services.jobs import UNFINISHED, requeue_stalled_jobs

__all__ = ["has_worker", "wait_for_jobs", "work_here"]

_LOOK_S = 0.5
#: Stalled jobs are looked for this often while waiting.
_STALL_LOOK_S = 3.0
#: Workers beat every 10 s; one silent for three beats is dead.
_DEAD_WORKER_S = 30


def has_worker() -> bool:
    """Return whether any worker gave a sign of life lately."""
    since = timezone.now() - dt.timedelta(seconds=_DEAD_WORKER_S)
    return ProcrastinateWorker.objects.filter(last_heartbeat__gt=since).exists()


def work_here() -> None:
    """Do what waits in the queue in this process, until nothing does."""
    with queue.replace_connector(queue.connector.get_worker_connector()):  # type: ignore[attr-defined]
        queue.run_worker(wait=False, install_signal_handlers=False, listen_notify=False)


def wait_for_jobs(ids: Collection[uuid.UUID] | None, watch: Callable[[list[Job]], None]) -> None:
    """Return when none of the jobs (None: of all jobs) waits or runs; `watch` sees those that do."""
    looked_s = 0.0
    while True:
        if time.monotonic() - looked_s > _STALL_LOOK_S:
            requeue_stalled_jobs()
            looked_s = time.monotonic()
        jobs = list(_unfinished(ids))
        if not jobs:
            return
        watch(jobs)
        if not has_worker():
            connection.close()
            work_here()
            continue
        time.sleep(_LOOK_S)


def _unfinished(ids: Collection[uuid.UUID] | None) -> QuerySet[Job]:
    """Return the jobs that are waited for, the running ones first; work on an image includes what follows it."""
    jobs = Job.objects.filter(status__in=UNFINISHED).select_related("image").order_by("status", "wanted_at")
    if ids is None:
        return jobs
    images = Job.objects.filter(pk__in=ids, image__isnull=False).values("image")
    return jobs.filter(pk__in=ids) | jobs.filter(image__in=images)
