"""The jobs page: a day sheet of what runs, waits, is done or stopped."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from imaging.access import access_job, jobs_open_to, require_role
from imaging.models import Job, JobStatus, Role
from imaging.services.jobs import cancel_job, retry_job

__all__ = ["show_jobs", "stop_or_repeat_job"]

#: Done and stopped jobs shown; older ones are in the API.
_ENDED_SHOWN = 50


@require_GET
def show_jobs(request: HttpRequest) -> HttpResponse:
    """Show the day sheet; the list refreshes itself where scripts run."""
    jobs = jobs_open_to(request.user).select_related("image__face__artwork", "image__campaign", "wanted_by")
    ended = [JobStatus.DONE, JobStatus.STOPPED, JobStatus.CANCELLED]
    context: dict[str, Any] = {
        "running": [_described(job) for job in jobs.filter(status=JobStatus.RUNNING).order_by("begun_at")],
        "waiting": [_described(job) for job in jobs.filter(status=JobStatus.WAITING).order_by("wanted_at")],
        "ended": [_described(job) for job in jobs.filter(status__in=ended).order_by("-ended_at")[:_ENDED_SHOWN]],
    }
    is_part = request.headers.get("X-Part") == "jobs"
    return render(request, "jobs_list.html" if is_part else "jobs.html", context)


def _described(job: Job) -> dict[str, Any]:
    """Return a job with its progress in words."""
    left_s = job.seconds_left
    took_s = (job.ended_at - job.begun_at).total_seconds() if job.ended_at and job.begun_at else None
    return {
        "job": job,
        "percent": round(100 * job.done_units / job.total_units) if job.total_units else None,
        "left": _duration_in_words(left_s) if left_s is not None else "",
        "took": _duration_in_words(took_s) if took_s is not None else "",
    }


def _duration_in_words(seconds: float) -> str:
    """Return a duration as people say it: 8 s, 2 min 10 s, 1 h 5 min."""
    whole = round(seconds)
    if whole < 60:
        return _("%(seconds)d s") % {"seconds": whole}
    if whole < 3600:
        return _("%(minutes)d min %(seconds)d s") % {"minutes": whole // 60, "seconds": whole % 60}
    return _("%(hours)d h %(minutes)d min") % {"hours": whole // 3600, "minutes": whole % 3600 // 60}


@require_POST
def stop_or_repeat_job(request: HttpRequest, job_id: str) -> HttpResponse:
    """Stop a job that waits or runs, or run an ended one again."""
    job = access_job(request.user, job_id)
    if job.study is not None:
        require_role(request.user, job.study, needed=Role.CONTRIBUTOR)
    if request.POST.get("do") == "stop":
        cancel_job(job)
        messages.info(request, _("It stops at its next block; nothing half made is kept."))
    else:
        retry_job(job)
        messages.info(request, _("It waits for a worker again."))
    return redirect("jobs")
