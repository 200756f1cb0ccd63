"""One run of one job in a worker: its lock, its beat, its progress, its end."""

import contextlib
import logging
import threading
import uuid
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Any

from django.db import DatabaseError, OperationalError, connection, transaction
from django.utils import timezone

from imaging.errors import ImagingError, JobLostError, WorkCancelledError
from imaging.models import Job, JobStatus
from imaging.services.jobs import enqueue, lock_number, put_back

__all__ = [
    "JobHandler",
    "JobRun",
    "claim",
    "run_job",
    "run_job_here",
    "run_to_end",
    "take_lock",
]

logger = logging.getLogger(__name__)

#: Seconds between two writes of progress, which are also the worker's sign of life.
_BEAT_S = 0.5


class JobRun:
    """What a handler is given: the claimed job, and how to tell how far it is.

    A handler calls `begin_stage`, passes `report` and `is_cancelled` to the compute functions, and makes its last
    writes inside `committing`, which refuses a run that has meanwhile been given to somebody else.
    """

    def __init__(self, job: Job, *, is_interrupted: Callable[[], bool] = lambda: False):
        self.job, self.attempt = job, job.attempts
        self.stage, self.done_units, self.total_units = job.stage, 0, 0
        self.is_stop_wanted = self.is_lost = False
        self._is_interrupted = is_interrupted

    def begin_stage(self, stage: str, total_units: int = 0) -> None:
        """Name what is being done now; units are whatever the stage counts."""
        self.stage, self.done_units, self.total_units = stage, 0, total_units

    def report(self, done: int, total: int) -> None:
        """Take note of progress; cheap enough for every block."""
        self.done_units, self.total_units = int(done), int(total)

    def is_cancelled(self) -> bool:
        """Return whether the work must end now: stopped by somebody, or taken from this worker."""
        return self.is_stop_wanted or self.is_lost or self.is_interrupted

    @property
    def is_interrupted(self) -> bool:
        """Whether this worker is being shut down; the job then goes back to waiting."""
        return self._is_interrupted()

    def refuse_cancelled(self) -> None:
        """Raise WorkCancelledError when the work must end; for handlers between two steps."""
        if self.is_cancelled():
            raise WorkCancelledError(file_name=str(self.job.image or self.job.kind))

    def write_progress(self) -> None:
        """Write progress and beat, and learn whether somebody wants the job stopped."""
        now = timezone.now()
        rows = Job.objects.filter(pk=self.job.pk, attempts=self.attempt, status=JobStatus.RUNNING)
        is_ours = rows.update(stage=self.stage, done_units=self.done_units, total_units=self.total_units, beat_at=now)
        if not is_ours:
            self.is_lost = True
        elif rows.filter(is_cancel_wanted=True).exists():
            self.is_stop_wanted = True

    @contextlib.contextmanager
    def committing(self) -> Iterator[Job]:
        """Open the transaction of the last writes; it fails with JobLostError if the run is no longer ours."""
        with transaction.atomic():
            job = Job.objects.select_for_update().get(pk=self.job.pk)
            if job.status != JobStatus.RUNNING or job.attempts != self.attempt:
                raise JobLostError(job_id=job.pk)
            yield job

    def end(
        self, status: JobStatus, *, error: BaseException | None = None, result: dict[str, Any] | None = None
    ) -> None:
        """Write how the run ended."""
        with self.committing() as job:
            job.status, job.ended_at = status, timezone.now()
            job.stage, job.done_units, job.total_units = self.stage, self.done_units, self.total_units
            job.beat_at = job.ended_at
            if result is not None:
                job.result = result
            if error is not None:
                job.error_code = getattr(error, "code", "unexpected")
                job.error = str(error) if isinstance(error, ImagingError) else f"{type(error).__name__}: {error}"
            job.save()

    def give_back(self) -> None:
        """Let the job wait for another worker, unless somebody has stopped it meanwhile."""
        with self.committing() as job:
            if job.is_cancel_wanted:
                job.status, job.ended_at = JobStatus.CANCELLED, timezone.now()
                job.save(update_fields=["status", "ended_at"])
            else:
                put_back(job)
                enqueue(job)


JobHandler = Callable[[JobRun], dict[str, Any] | None]


class _Beat:
    """A thread that writes the progress of a run and holds its lock on a connection of its own.

    The lock lives exactly as long as this process: the kernel closes the connection of a killed one.
    """

    def __init__(self, job_id: uuid.UUID):
        self.job_id = job_id
        self.has_lock = False
        self.run: JobRun | None = None
        self._is_settled, self._is_over = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._beat, name=f"beat-{job_id}", daemon=True)

    def __enter__(self) -> "_Beat":
        self._thread.start()
        self._is_settled.wait()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._is_over.set()
        self._thread.join()

    def _beat(self) -> None:
        try:
            self.has_lock = take_lock(self.job_id)
            self._is_settled.set()
            while self.has_lock and not self._is_over.wait(_BEAT_S):
                if self.run is not None:
                    self.run.write_progress()
            if self.has_lock:
                # Closing would free it too, but only when the server notices.
                _free_lock(self.job_id)
        except DatabaseError:
            logger.exception("job %s: the way to the database was lost", self.job_id)
            if self.run is not None:
                self.run.is_lost = True
        finally:
            self._is_settled.set()
            connection.close()


def take_lock(job_id: uuid.UUID) -> bool:
    """Take a job's lock for this connection; return False if another worker has it."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s)", [lock_number(job_id)])
        return bool(cursor.fetchone()[0])


def _free_lock(job_id: uuid.UUID) -> None:
    """Free a job's lock of this connection."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_unlock(%s)", [lock_number(job_id)])


@transaction.atomic
def claim(job_id: uuid.UUID) -> Job | None:
    """Mark a job as running and return it; None when there is nothing to do. The caller holds its lock."""
    job = Job.objects.select_for_update().filter(pk=job_id).first()
    if job is None or job.status not in (JobStatus.WAITING, JobStatus.RUNNING):
        return None
    if job.is_cancel_wanted:
        job.status, job.ended_at = JobStatus.CANCELLED, timezone.now()
        job.save(update_fields=["status", "ended_at"])
        return None
    job.status, job.attempts = JobStatus.RUNNING, job.attempts + 1
    job.begun_at = job.beat_at = timezone.now()
    job.save(update_fields=["status", "attempts", "begun_at", "beat_at"])
    return job


def run_job(
    job_id: uuid.UUID, handlers: dict[str, JobHandler], *, is_interrupted: Callable[[], bool] = lambda: False
) -> None:
    """Run a job in this worker, unless another one has it."""
    with _Beat(job_id) as beat:
        job = claim(job_id) if beat.has_lock else None
        if job is None:
            return
        beat.run = JobRun(job, is_interrupted=is_interrupted)
        run_to_end(beat.run, handlers[job.kind])


def run_job_here(job: Job, handlers: dict[str, JobHandler]) -> Job:
    """Run a job in this thread and transaction, without a beat; for tests and commands that wait for it."""
    claimed = claim(job.pk)
    if claimed is not None:
        run_to_end(JobRun(claimed), handlers[claimed.kind])
    return Job.objects.get(pk=job.pk)


def run_to_end(run: JobRun, handler: JobHandler) -> None:
    """Call the handler and write how it ended; what goes wrong is kept on the job and shown."""
    try:
        _end_run(run, handler)
    except JobLostError:
        logger.warning("job %s was given to another worker; this run's work is dropped", run.job.pk)


def _end_run(run: JobRun, handler: JobHandler) -> None:
    """Call the handler and write one of the ends; JobLostError when the run is no longer ours."""
    try:
        result = handler(run)
    except JobLostError:
        raise
    except WorkCancelledError as error:
        if run.is_lost:
            raise JobLostError(job_id=run.job.pk) from error
        if run.is_stop_wanted:
            run.end(JobStatus.CANCELLED)
        else:
            run.give_back()
    except ImagingError as error:
        run.end(JobStatus.STOPPED, error=error)
    except OperationalError:
        # Nothing can be written without the database: the job is found without a worker and taken up again.
        raise
    except Exception as error:
        logger.exception("job %s (%s) stopped", run.job.pk, run.job.kind)
        run.end(JobStatus.STOPPED, error=error)
    else:
        run.end(JobStatus.DONE, result=result or {})
