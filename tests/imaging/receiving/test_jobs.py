"""Jobs: started, stopped, lost and found again; errors kept with their sentence."""

from __future__ import annotations

import datetime as dt
import json

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateJob

from imaging.errors import JobLostError, UnfitStateError, WorkCancelledError
from imaging.models import ImageStatus, Job, JobKind, JobStatus
from imaging.services.job_runs import JobRun, claim, run_job, run_job_here, run_to_end, take_lock
from imaging.services.jobs import (
    MOST_DEATHS,
    cancel_job,
    forget_old_places,
    lock_number,
    requeue_stalled_jobs,
    retry_job,
    start_job,
)
from tests.factories import make_artwork, make_face, make_image, make_member, make_study


@pytest.fixture
def job(db):
    study = make_study()
    image = make_image(make_face(make_artwork(study)), make_member(study), status=ImageStatus.WAITING)
    return start_job(JobKind.READ, image=image)


def other_connection():
    values = connection.settings_dict
    return psycopg.connect(
        host=values["HOST"], user=values["USER"], dbname=values["NAME"], autocommit=True, connect_timeout=5
    )


def handler(function):
    return {JobKind.READ: function}


def test_a_started_job_waits_in_the_queue(job):
    row = ProcrastinateJob.objects.get(pk=job.queue_id)
    assert (job.status, row.status, row.args) == (JobStatus.WAITING, "todo", {"job_id": str(job.pk)})
    assert row.lock == f"image-{job.image_id}"


def test_a_done_job_keeps_its_result_and_its_progress(job):
    def work(run):
        run.begin_stage("levels")
        run.report(3, 4)
        run.write_progress()
        seen = Job.objects.get(pk=job.pk)
        assert (seen.stage, seen.done_units, seen.total_units) == ("levels", 3, 4)
        assert seen.seconds_left is not None
        return {"found": 1}

    done = run_job_here(job, handler(work))
    assert (done.status, done.result, done.attempts) == (JobStatus.DONE, {"found": 1}, 1)


def test_an_error_is_kept_with_its_code_and_sentence(job):
    def work(run):
        raise UnfitStateError(noun="image", state="odd", needed="even", remedy="Count again.")

    stopped = run_job_here(job, handler(work))
    assert (stopped.status, stopped.error_code) == (JobStatus.STOPPED, "unfit_state")
    assert stopped.error == "This image is odd; it must be even. Count again."


def test_an_unexpected_error_is_kept_too(job, caplog):
    def work(run):
        raise ZeroDivisionError("by nothing")

    stopped = run_job_here(job, handler(work))
    assert (stopped.error_code, stopped.error) == ("unexpected", "ZeroDivisionError: by nothing")
    assert "stopped" in caplog.text


def test_a_waiting_job_is_cancelled_at_once_and_never_runs(job):
    assert cancel_job(job).status == JobStatus.CANCELLED
    assert run_job_here(job, handler(lambda run: pytest.fail("ran"))).status == JobStatus.CANCELLED


def test_a_running_job_stops_at_its_next_look(job):
    def work(run):
        cancel_job(job)
        run.write_progress()
        assert run.is_cancelled()
        raise WorkCancelledError(file_name="a.tif")

    assert run_job_here(job, handler(work)).status == JobStatus.CANCELLED


def test_a_cancelled_job_runs_again_on_wish(job):
    cancel_job(job)
    retry_job(job)
    assert run_job_here(job, handler(lambda run: {})).status == JobStatus.DONE


def test_a_done_job_can_be_neither_cancelled_nor_repeated(job):
    run_job_here(job, handler(lambda run: {}))
    with pytest.raises(UnfitStateError, match="There is nothing to stop"):
        cancel_job(job)
    with pytest.raises(UnfitStateError, match="stopped or cancelled"):
        retry_job(job)


def test_repeating_a_refused_reading_lets_the_image_wait_again(job):
    job.image.status, job.image.refusal = ImageStatus.REFUSED, "bad"
    job.image.save()
    Job.objects.filter(pk=job.pk).update(status=JobStatus.STOPPED)
    retry_job(job)
    job.image.refresh_from_db()
    assert (job.image.status, job.image.refusal) == (ImageStatus.WAITING, "")


def test_a_worker_that_is_shut_down_gives_the_job_back(job):
    def work(run):
        raise WorkCancelledError(file_name="a.tif")

    claimed = claim(job.pk)
    run = JobRun(claimed, is_interrupted=lambda: True)
    run_to_end(run, work)
    job.refresh_from_db()
    assert job.status == JobStatus.WAITING
    assert ProcrastinateJob.objects.get(pk=job.queue_id).status == "todo"


def test_a_run_that_was_given_to_another_worker_writes_nothing(job):
    first = JobRun(claim(job.pk))
    second = JobRun(claim(job.pk))
    with pytest.raises(JobLostError, match="given to another worker"), first.committing():
        pytest.fail("entered")
    with second.committing() as current:
        assert current.attempts == 2


@pytest.mark.django_db(transaction=True)
def test_a_running_job_without_a_worker_is_found_at_once(job):
    claim(job.pk)
    assert requeue_stalled_jobs() == [Job.objects.get(pk=job.pk)]
    job.refresh_from_db()
    assert (job.status, job.result) == (JobStatus.WAITING, {"worker_deaths": 1})
    assert requeue_stalled_jobs() == []


@pytest.mark.django_db(transaction=True)
def test_a_running_job_whose_worker_lives_is_left_alone(job):
    claim(job.pk)
    with other_connection() as worker:
        worker.execute("SELECT pg_advisory_lock(%s)", [lock_number(job.pk)])
        assert requeue_stalled_jobs() == []


@pytest.mark.django_db(transaction=True)
def test_a_worker_that_has_been_silent_for_long_is_cut_off(job):
    claim(job.pk)
    with other_connection() as worker:
        worker.execute("SELECT pg_advisory_lock(%s)", [lock_number(job.pk)])
        Job.objects.filter(pk=job.pk).update(beat_at=timezone.now() - dt.timedelta(hours=1))
        assert [found.pk for found in requeue_stalled_jobs()] == [job.pk]
        with pytest.raises(psycopg.OperationalError, match=r"terminat|closed"):
            worker.execute("SELECT 1")


@pytest.mark.django_db(transaction=True)
def test_a_waiting_job_that_lost_its_place_gets_a_new_one(job):
    with connection.cursor() as cursor:
        cursor.execute("UPDATE procrastinate_jobs SET status = 'failed' WHERE id = %s", [job.queue_id])
    assert [found.pk for found in requeue_stalled_jobs()] == [job.pk]
    job.refresh_from_db()
    assert ProcrastinateJob.objects.get(pk=job.queue_id).status == "todo"


@pytest.mark.django_db(transaction=True)
def test_a_job_that_keeps_killing_its_workers_is_stopped_with_a_sentence(job):
    for _ in range(MOST_DEATHS + 1):
        claim(job.pk)
        requeue_stalled_jobs()
    job.refresh_from_db()
    assert (job.status, job.error_code) == (JobStatus.STOPPED, "worker_lost")
    assert "out of memory" in job.error


def take_place(job, *, is_alive=False):
    """Do what a worker of the queue does when it fetches a job."""
    with connection.cursor() as cursor:
        cursor.execute("INSERT INTO procrastinate_workers DEFAULT VALUES RETURNING id")
        worker = cursor.fetchone()[0]
        place = [worker, job.queue_id]
        cursor.execute("UPDATE procrastinate_jobs SET status = 'doing', worker_id = %s WHERE id = %s", place)
        if not is_alive:
            cursor.execute("UPDATE procrastinate_workers SET last_heartbeat = now() - interval '1 hour'")


@pytest.mark.django_db(transaction=True)
def test_a_place_left_taken_by_a_killed_worker_does_not_block_the_image(job):
    take_place(job, is_alive=True)
    run_job_here(job, handler(lambda run: {}))
    requeue_stalled_jobs()
    assert ProcrastinateJob.objects.get(pk=job.queue_id).status == "doing"
    Job.objects.filter(pk=job.pk).update(ended_at=timezone.now() - dt.timedelta(seconds=6))
    requeue_stalled_jobs()
    assert ProcrastinateJob.objects.get(pk=job.queue_id).status == "failed"


@pytest.mark.django_db(transaction=True)
def test_a_place_that_no_job_needs_is_released_with_its_dead_worker(job):
    old_place = job.queue_id
    take_place(job)
    claimed = claim(job.pk)
    JobRun(claimed).give_back()
    requeue_stalled_jobs()
    assert ProcrastinateJob.objects.get(pk=old_place).status == "failed"
    job.refresh_from_db()
    assert ProcrastinateJob.objects.get(pk=job.queue_id).status == "todo"


@pytest.mark.django_db(transaction=True)
def test_a_wish_to_cancel_outlives_the_worker(job):
    take_place(job)
    claim(job.pk)
    cancel_job(job)
    requeue_stalled_jobs()
    job.refresh_from_db()
    assert job.status == JobStatus.CANCELLED
    assert ProcrastinateJob.objects.get(pk=job.queue_id).status == "failed"


@pytest.mark.django_db(transaction=True)
def test_a_place_in_the_queue_that_ended_long_ago_is_forgotten_and_the_job_is_not(job):
    run_job_here(job, handler(lambda run: {}))
    with connection.cursor() as cursor:
        cursor.execute("UPDATE procrastinate_jobs SET status = 'doing' WHERE id = %s", [job.queue_id])
        cursor.execute("UPDATE procrastinate_jobs SET status = 'succeeded' WHERE id = %s", [job.queue_id])
        cursor.execute("UPDATE procrastinate_events SET at = now() - interval '100 hours'")
    forget_old_places()
    assert not ProcrastinateJob.objects.filter(pk=job.queue_id).exists()
    assert Job.objects.get(pk=job.pk).status == JobStatus.DONE


@pytest.mark.django_db(transaction=True)
def test_two_workers_never_run_one_job(job):
    with other_connection() as worker:
        worker.execute("SELECT pg_advisory_lock(%s)", [lock_number(job.pk)])
        run_job(job.pk, handler(lambda run: pytest.fail("ran")))
    job.refresh_from_db()
    assert job.status == JobStatus.WAITING


@pytest.mark.django_db(transaction=True)
def test_a_run_beats_while_it_works_and_frees_its_lock(job):
    def work(run):
        deadline = timezone.now() + dt.timedelta(seconds=10)
        begun = Job.objects.get(pk=job.pk).beat_at
        while Job.objects.get(pk=job.pk).beat_at == begun:
            assert timezone.now() < deadline
        return {}

    run_job(job.pk, handler(work))
    job.refresh_from_db()
    assert job.status == JobStatus.DONE
    assert take_lock(job.pk)


def test_the_command_lists_jobs_and_fails_when_one_stopped(job, capsys):
    call_command("jobs", "--json")
    assert json.loads(capsys.readouterr().out)["status"] == "waiting"
    Job.objects.filter(pk=job.pk).update(status=JobStatus.STOPPED, error="a.tif is damaged.")
    with pytest.raises(CommandError, match=r"1 job\(s\) stopped") as caught:
        call_command("jobs")
    assert caught.value.returncode == 1
    assert "a.tif is damaged." in capsys.readouterr().out
