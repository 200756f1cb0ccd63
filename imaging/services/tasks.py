"""What the queue runs: one task for every kind of job, and one that looks for lost ones."""

import logging
import uuid

from procrastinate import JobContext
from procrastinate.contrib.django import app as queue

from imaging.models import JobKind, JobStatus, TechnicalImage
from imaging.services.job_runs import JobHandler, run_job, run_job_here
from imaging.services.jobs import TASK_NAME, forget_old_places, requeue_stalled_jobs
from imaging.services.laying import publish_with_followers
from imaging.services.master_files import sweep_incoming
from imaging.services.pyramid_files import sweep_pyramid_parts
from imaging.services.reading import read_master_of_image
from imaging.services.uploading import expire_uploads
from imaging.services.verifying import run_verification

__all__ = ["HANDLERS", "look_after_jobs", "prepare_worker", "run_job_task", "run_jobs_here"]

logger = logging.getLogger(__name__)

HANDLERS: dict[str, JobHandler] = {
    JobKind.READ: read_master_of_image,
    JobKind.PUBLISH: publish_with_followers,
    JobKind.VERIFY: run_verification,
}


@queue.task(name=TASK_NAME, pass_context=True)
def run_job_task(context: JobContext, job_id: str) -> None:
    """Run one job; how it ended is kept on its own row, never only in the queue."""
    run_job(uuid.UUID(job_id), HANDLERS, is_interrupted=context.should_abort)


@queue.periodic(cron="* * * * *")
@queue.task(name="imaging.look_after_jobs", queueing_lock="imaging.look_after_jobs")
def look_after_jobs(timestamp: int) -> None:
    """Every minute: take up jobs that lost their worker, clear what killed processes left."""
    prepare_worker()
    forget_old_places()


def run_jobs_here(image: TechnicalImage) -> None:
    """Run the waiting jobs of an image in this thread, as a worker would; for tests and for commands that wait.

    A job that ends otherwise than done is an error of the caller's making and raises RuntimeError.
    """
    while (job := image.jobs.filter(status=JobStatus.WAITING).order_by("wanted_at").first()) is not None:
        ended = run_job_here(job, HANDLERS)
        if ended.status != JobStatus.DONE:
            raise RuntimeError(f"{ended.get_kind_display()} of {image} ended as {ended.status}: {ended.error}")


def prepare_worker() -> None:
    """Do what a worker owes before its first job; also done every minute."""
    stalled = requeue_stalled_jobs()
    swept = sweep_incoming() + sweep_pyramid_parts()
    expired = expire_uploads()
    if stalled or swept or expired:
        logger.info("%d jobs taken up again, %d parts and %d uploads cleared", len(stalled), swept, expired)
