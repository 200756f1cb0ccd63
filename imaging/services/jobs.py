"""Long work as people see it: started, stopped, taken up again, never lost.

A row of `Job` is the truth; a row of the queue (procrastinate) only wakes a worker. While a job runs, its worker
holds an advisory lock of the database. The lock ends with the connection, so a job that is "running" while its lock is
free has lost its worker, on whatever host that was: it goes back to waiting.
"""

import datetime as dt
import logging
import uuid
from typing import Any

from asgiref.sync import async_to_sync
from django.db import connection, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from procrastinate import App
from procrastinate.contrib.django.django_connector import DjangoConnector
from procrastinate.contrib.django.models import ProcrastinateEvent, ProcrastinateJob
from procrastinate.jobs import Status

from imaging.errors import UnfitStateError
from imaging.models import ImageStatus, Job, JobKind, JobStatus, Person, Study, TechnicalImage

__all__ = [
    "MOST_DEATHS",
    "TASK_NAME",
    "UNFINISHED",
    "cancel_job",
    "enqueue",
    "forget_old_places",
    "lock_number",
    "put_back",
    "requeue_stalled_jobs",
    "retry_job",
    "start_job",
    "unfinished_jobs",
]

logger = logging.getLogger(__name__)

#: A way to the queue over Django's own connection, also inside a worker: a job and its place are committed together.
_queue = App(connector=DjangoConnector())
#: Name of the one procrastinate task; its argument is the id of a Job.
TASK_NAME = "imaging.run_job"
#: A worker beats every half second; one silent for this long has lost its way to the database.
_SILENT_S = 120
_KEPT_PLACE_HOURS = 72
#: A place still taken this long after the end of its job was left by a killed worker.
_RELEASE_S = 5
#: Workers of the queue beat every 10 s; one silent for three beats is dead.
_DEAD_WORKER_S = 30
#: Between fetching a job and taking its lock a worker needs milliseconds; past this it died there.
_CLAIM_S = 10
#: A job that took this many workers with it is stopped: its file is stronger than the machine.
MOST_DEATHS = 20
UNFINISHED = (JobStatus.WAITING, JobStatus.RUNNING)


def lock_number(job_id: uuid.UUID) -> int:
    """Return the number of a job's advisory lock: 63 of the identifier's random bits."""
    return job_id.int & (2**63 - 1)


def unfinished_jobs() -> QuerySet[Job]:
    """Return the jobs that wait or run."""
    return Job.objects.filter(status__in=UNFINISHED)


@transaction.atomic
def start_job(
    kind: JobKind,
    *,
    image: TechnicalImage | None = None,
    study: Study | None = None,
    parameters: dict[str, Any] | None = None,
    wanted_by: Person | None = None,
) -> Job:
    """Return a waiting job; a worker takes it up once the surrounding transaction is committed."""
    job = Job.objects.create(
        kind=kind,
        image=image,
        study=study or (image.study if image else None),
        parameters=parameters or {},
        wanted_by=wanted_by,
    )
    enqueue(job)
    return job


def enqueue(job: Job) -> None:
    """Put a waiting job into the queue; jobs of one image run one after the other."""
    lock = f"image-{job.image_id}" if job.image_id else None
    job.queue_id = _queue.configure_task(TASK_NAME, lock=lock, allow_unknown=True).defer(job_id=str(job.pk))
    job.save(update_fields=["queue_id"])


@transaction.atomic
def cancel_job(job: Job) -> Job:
    """Stop a job: a waiting one at once, a running one at its next look, within a second or so."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.status == JobStatus.WAITING:
        job.status, job.ended_at = JobStatus.CANCELLED, timezone.now()
    elif job.status == JobStatus.RUNNING:
        job.is_cancel_wanted = True
    else:
        raise UnfitStateError(
            noun="job", state=job.get_status_display(), needed="waiting or running", remedy="There is nothing to stop."
        )
    job.save(update_fields=["status", "ended_at", "is_cancel_wanted"])
    return job


@transaction.atomic
def retry_job(job: Job) -> Job:
    """Let a stopped or cancelled job wait for a worker again."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.status not in (JobStatus.STOPPED, JobStatus.CANCELLED):
        raise UnfitStateError(
            noun="job",
            state=job.get_status_display(),
            needed="stopped or cancelled",
            remedy="Wait for it, or stop it first.",
        )
    put_back(job)
    job.result = {}
    job.save(update_fields=["result"])
    if job.kind == JobKind.READ and job.image is not None and job.image.status == ImageStatus.REFUSED:
        job.image.status, job.image.refusal = ImageStatus.WAITING, ""
        job.image.save(update_fields=["status", "refusal"])
    enqueue(job)
    return job


def put_back(job: Job) -> None:
    """Save a job as waiting, with nothing left of its last run but the count of attempts."""
    job.status, job.stage, job.done_units, job.total_units = JobStatus.WAITING, "", 0, 0
    job.is_cancel_wanted, job.error_code, job.error = False, "", ""
    job.begun_at = job.beat_at = job.ended_at = None
    job.save()


def requeue_stalled_jobs() -> list[Job]:
    """Let every job that lost its worker, or its place in the queue, wait again; return them."""
    _release_dead_places()
    found = []
    in_queue = ProcrastinateJob.objects.filter(status="todo").values("pk")
    in_doubt = unfinished_jobs().exclude(status=JobStatus.WAITING, queue_id__in=in_queue)
    for job_id in in_doubt.values_list("pk", flat=True):
        with transaction.atomic():
            job = Job.objects.select_for_update(skip_locked=True).filter(pk=job_id).first()
            if job is not None and _requeue_if_stalled(job):
                found.append(job)
    return found


def _requeue_if_stalled(job: Job) -> bool:
    """Look at one unfinished job, locked by the caller; return whether it had stalled."""
    if job.status == JobStatus.RUNNING:
        if not _worker_is_gone(job):
            return False
        deaths = int(job.result.get("worker_deaths", 0)) + 1
        if job.is_cancel_wanted or deaths > MOST_DEATHS:
            _end_lost_job(job, deaths)
            return True
        put_back(job)
        job.result = {"worker_deaths": deaths}
        job.save(update_fields=["result"])
    elif job.status != JobStatus.WAITING or _is_queued(job):
        return False
    logger.info("job %s (%s) lost its worker and waits again", job.pk, job.kind)
    _enqueue_again(job)
    return True


def _end_lost_job(job: Job, deaths: int) -> None:
    """Save a job without a worker as cancelled, if that was wanted, or as stopped: it keeps killing its workers."""
    job.status, job.ended_at = JobStatus.CANCELLED, timezone.now()
    if not job.is_cancel_wanted:
        job.status, job.error_code = JobStatus.STOPPED, "worker_lost"
        job.error = (
            f"The worker ended {deaths} times in the middle of this job. "
            "Look whether the machine runs out of memory, then start it again."
        )
    job.save()
    _release_places(ProcrastinateJob.objects.filter(pk=job.queue_id, status="doing"))


def _worker_is_gone(job: Job) -> bool:
    """Return whether nobody holds the lock of a running job; a holder silent for long is cut off."""
    silent_since = timezone.now() - dt.timedelta(seconds=_SILENT_S)
    if job.beat_at is not None and job.beat_at < silent_since:
        _cut_off_holder(job)
    with connection.cursor() as cursor:
        # Held to the end of this transaction, so that no worker takes the job up meanwhile.
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [lock_number(job.pk)])
        return bool(cursor.fetchone()[0])


def _cut_off_holder(job: Job) -> None:
    """End the connection that holds the lock of a job; what its worker still does is refused at the commit."""
    number = lock_number(job.pk)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid, 5000) FROM pg_locks WHERE locktype = 'advisory' AND classid = %s "
            "AND objid = %s AND objsubid = 1 AND pid <> pg_backend_pid() "
            "AND database = (SELECT oid FROM pg_database WHERE datname = current_database())",
            [number >> 32, number & 0xFFFFFFFF],
        )


def _is_queued(job: Job) -> bool:
    """Return whether a waiting job has a place in the queue that a worker will come to."""
    row = ProcrastinateJob.objects.filter(pk=job.queue_id).first()
    if row is None or row.status not in ("todo", "doing"):
        return False
    if row.status == "todo":
        return True
    fetched = ProcrastinateEvent.objects.filter(job_id=row.pk, type="started").order_by("-at").first()
    return fetched is None or fetched.at > timezone.now() - dt.timedelta(seconds=_CLAIM_S)


def _release_dead_places() -> None:
    """Release places that a killed worker left taken; the next job of the same image would wait for them forever."""
    taken = ProcrastinateJob.objects.filter(status="doing")
    ended_before = timezone.now() - dt.timedelta(seconds=_RELEASE_S)
    ended = Job.objects.exclude(status__in=UNFINISHED).filter(ended_at__lt=ended_before)
    # A worker releases its place within milliseconds of the end of a job, unless it was killed between the two.
    _release_places(taken.filter(pk__in=ended.values("queue_id")))
    stalled = async_to_sync(_queue.job_manager.get_stalled_jobs)(seconds_since_heartbeat=_DEAD_WORKER_S)
    needed = set(unfinished_jobs().values_list("queue_id", flat=True))
    _release_places(taken.filter(pk__in=[row.id for row in stalled if row.id not in needed]))


def _release_places(rows: QuerySet[ProcrastinateJob]) -> None:
    """Mark places of the queue as failed; what became of their jobs is on the jobs' own rows."""
    finish = async_to_sync(_queue.job_manager.finish_job_by_id_async)
    for number in list(rows.values_list("pk", flat=True)):
        finish(job_id=number, status=Status.FAILED, delete_job=False)


def forget_old_places(*, kept_hours: int = _KEPT_PLACE_HOURS) -> None:
    """Remove places of the queue that ended long ago; what became of the jobs stays on their own rows."""
    forget = async_to_sync(_queue.job_manager.delete_old_jobs)
    forget(nb_hours=kept_hours, include_failed=True, include_cancelled=True, include_aborted=True)


def _enqueue_again(job: Job) -> None:
    """Give a job its old place in the queue back, or a new one; a dead worker's place would block its image."""
    for row in ProcrastinateJob.objects.filter(Q(pk=job.queue_id), status="doing"):
        _queue.job_manager.retry_job_by_id(row.pk, retry_at=timezone.now())
        return
    enqueue(job)
